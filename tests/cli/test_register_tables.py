"""The register as a table at the command line: all or nothing, faults by row and column."""

from __future__ import annotations

from pathlib import Path

import pytest
from keeper import DEMO, Keeper


def table(folder: Path, text: str, encoding: str = "utf-8") -> str:
    file = folder / "in.csv"
    file.write_bytes(text.encode(encoding))
    return str(file)


def test_the_bundled_logs_come_in_and_stand_in_the_list(keeper: Keeper) -> None:
    said = keeper.does("log", "import", str(DEMO / "logs.csv"))
    assert said.startswith("16 logs in: H01, H02")
    assert len(keeper.logs()) == 16
    assert keeper.end("H08")["layers"] == 2
    keeper.does("undo")
    assert keeper.logs() == []


def test_every_fault_is_told_by_row_and_column_and_nothing_comes_in(keeper: Keeper, tmp_path: Path) -> None:
    text = "tag,species,butt_cm,cut\nA1,oak,50,2025-10-20\nA2,oka,900,2025-02-32\nA1,oak,x,sat\n"
    said = keeper.fails("log", "import", table(tmp_path, text))
    for part in (
        "row 3, species: No wood called 'oka'",
        "row 3, cut:",
        "row 4, butt_cm:",
        "row 4, tag: A1 stands",
    ):
        assert part in said
    assert "Nothing was taken in." in said
    assert keeper.logs() == []


def test_a_tag_that_is_in_use_is_told_with_its_row(keeper: Keeper, tmp_path: Path) -> None:
    keeper.does("log", "add", "A1 oak")
    said = keeper.fails("log", "import", table(tmp_path, "tag,species\nA0,oak\nA1,oak\n"))
    assert "row 3 (A1): A1 is there already" in said
    assert len(keeper.logs()) == 1


def test_a_double_word_in_a_table_is_a_fault_until_the_yard_knows_it(keeper: Keeper, tmp_path: Path) -> None:
    file = table(tmp_path, "species\nsycamore\n")
    assert "row 2, species: 'sycamore' is the name of more than one wood" in keeper.fails(
        "log", "import", file
    )
    keeper.does("log", "add", "sycamore", "--species", "Acer pseudoplatanus")
    keeper.does("log", "import", file)
    assert [log["species"] for log in keeper.logs()] == ["Acer pseudoplatanus"] * 2


def test_rough_times_are_read_as_people_say_them(keeper: Keeper, tmp_path: Path) -> None:
    keeper.does(
        "log", "import", table(tmp_path, "species;butt_cm;felled;cut\noak;50,5;about 20 Oct;saturday\n")
    )
    assert keeper.end("L01")["cut"] == "2025-11-01T12:00:00+01:00"
    assert "felled about 20 Oct" in keeper.does("log", "show", "L01")


@pytest.mark.parametrize(
    ("text", "encoding", "holds"),
    [
        ("species,butt\noak,50\n", "utf-8", "the heading 'butt' is not known. Did you mean butt_"),
        ("", "utf-8", "empty"),
        ("species\nLärche\n", "latin-1", "row 2: not in UTF-8"),
        ('species,note\noak,"open', "utf-8", "quotation mark"),
        ("species,butt_cm\noak\n", "utf-8", "1 cells where the heading has 2"),
    ],
)
def test_a_file_that_is_no_table_is_refused(
    keeper: Keeper, tmp_path: Path, text: str, encoding: str, holds: str
) -> None:
    assert holds in keeper.fails("log", "import", table(tmp_path, text, encoding))


def test_a_folder_is_no_table(keeper: Keeper, tmp_path: Path) -> None:
    assert "cannot be read" in keeper.fails("log", "import", str(tmp_path))


def test_cells_that_a_spreadsheet_would_run_are_quoted_on_the_way_out_and_plain_again_inside(
    keeper: Keeper, tmp_path: Path
) -> None:
    keeper.does("log", "add", "--species", "oak", "--use", "=1+1", "--note", "@sum")
    out = keeper.does("log", "export")
    assert "'=1+1" in out
    file = table(tmp_path, out.replace("L01", "L02"))
    keeper.does("log", "import", file)
    assert keeper.run("log", "show", "L02", "--json").json["use"] == "=1+1"


def test_the_table_goes_to_standard_output_byte_for_byte_as_to_a_file(keeper: Keeper, tmp_path: Path) -> None:
    keeper.does("log", "add", "--species", "oak", "--note", "für später")
    file = tmp_path / "out.csv"
    assert keeper.does("log", "export", "-o", str(file)) == f"Written: {file} (1 log)\n"
    assert keeper.run("log", "export").raw == file.read_bytes()
    assert b"\r\n" in file.read_bytes()


def test_a_place_that_takes_no_file_is_said_and_ends_with_1(keeper: Keeper, tmp_path: Path) -> None:
    said = keeper.fails("log", "export", "-o", str(tmp_path / "nowhere" / "out.csv"), code=1)
    assert "cannot be written" in said
