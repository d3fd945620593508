"""A yard's first weeks at the command line, from five short lines to a table in a new yard."""

from __future__ import annotations

from pathlib import Path

from keeper import YARD, Keeper

FIVE = (
    "walnut 22in 8ft cut saturday",
    "H07 cherry 47x43cm 2.5m felled 27 oct needs 2.4m",
    "oak 50cm 3.1m cut 10:30 yesterday",
    "don't know 40cm",
    "ash expected wed",
)


def test_the_story_of_a_register_from_five_short_lines_to_a_new_yard(keeper: Keeper, tmp_path: Path) -> None:
    for line in FIVE:
        keeper.does("log", "add", line)
    assert [log["tag"] for log in keeper.logs()] == ["L01", "H07", "H08", "H09", "H10"]

    keeper.does("note", "L01,H07-H08", "coat", "--when", "9:00")
    assert [keeper.end(tag)["layers"] for tag in ("L01", "H07", "H08")] == [1, 1, 1]
    undone = keeper.does("undo")
    assert "Taken back: coat on L01 butt and top, coat on H07 butt and top, coat on H08" in undone
    assert keeper.end("H07")["layers"] == 0
    keeper.does("note", "L01", "coat", "--when", "8:00", "--end", "butt", "--litres", "150 ml")

    number = keeper.run("log", "show", "L01", "--json").json["entries"][-1]["number"]
    keeper.does("note", "L01", "correct", str(number), "--when", "9:15")
    assert "today 9:15" in keeper.does("log", "show", "L01")

    keeper.does("note", "H08", "divide", "2.1m", at="2025-11-05T10:00")
    later = "2025-11-06T10:00"
    tags = [log["tag"] for log in keeper.logs(at=later)]
    assert tags == ["L01", "H07", "H09", "H10", "H08-1", "H08-2"]
    assert [log["length_cm"] for log in keeper.logs(at=later) if "-" in log["tag"]] == [210.0, 100.0]
    assert keeper.end("H08-1", "top", at=later)["cut"] == "2025-11-05T10:00:00+01:00"
    assert keeper.end("H08-1", "butt", at=later)["cut"] == "2025-11-02T10:30:00+01:00"
    assert keeper.run("log", "show", "H08-1", "--json", at=later).json["parent"] == "H08"

    keeper.does("note", "H07", "saw", "--into", "9", "--thick", "55mm", at=later)
    assert "H07 cherry, 9 pieces" in keeper.does("log", "list", at=later)
    keeper.does("note", "H09", "gone", "sold", at=later)
    assert "H09" not in keeper.does("log", "list", at=later)
    assert "gone (sold)" in keeper.does("log", "list", "--gone", at=later)
    keeper.does("note", "H10", "cut", "--when", "8:00", at=later)  # it came, and its ends are open now
    assert next(log for log in keeper.logs(at=later) if log["tag"] == "H10")["state"] == "in_yard"

    table = tmp_path / "logs.csv"
    keeper.does("log", "export", "-o", str(table), at=later)
    new = tmp_path / "new"
    new.mkdir()
    other = Keeper(new, YARD, at=later)
    assert other.does("log", "import", str(table)).startswith("7 logs in: L01, H07, H08, H09, H10, H08-1")
    assert other.run("log", "export").raw == table.read_bytes()
    assert other.logs() == keeper.logs(at=later)


def test_a_mistake_of_the_first_hour_is_undone_step_by_step(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak")
    keeper.does("log", "add", "2 cherry")
    keeper.does("log", "change", "L02", "--length", "2m")
    for left in (["L01", "L02", "L03"], ["L01"], []):
        keeper.does("undo")
        assert [log["tag"] for log in keeper.logs()] == left
