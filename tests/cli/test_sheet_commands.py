"""``sheet`` and ``tags`` as a keeper types them."""

from __future__ import annotations

from pathlib import Path

from keeper import WEATHER, YARD, Keeper

PAGE = '\n[page]\naddress = "http://192.168.1.20:8300/"\n'


def test_the_sheet_is_written_and_says_what_the_morning_says(keeper: Keeper, tmp_path: Path) -> None:
    keeper.does("log", "add", "H01 cherry 50cm cut saturday")
    target = tmp_path / "sheet.html"
    assert (
        keeper.does("sheet", "-o", str(target), *WEATHER)
        == f"Written: {target} (open it in a browser and print it)\n"
    )
    html = target.read_text(encoding="utf-8")
    word = keeper.does("today", *WEATHER).split(".")[0]
    assert f">{word}" in html
    assert "H01" in html
    assert "size: A4" in html
    week = keeper.does("sheet", "--week", *WEATHER)
    assert "Test bench: the week from Monday 3 November 2025" in week
    assert "Thu 6" in week


def test_a_yard_with_us_units_gets_letter_paper_and_either_can_be_asked_for(tmp_path: Path) -> None:
    keeper = Keeper(tmp_path, YARD.replace('"metric"', '"us"'))
    assert "size: letter" in keeper.does("sheet", *WEATHER)
    assert "size: A4" in keeper.does("sheet", "--paper", "A4", *WEATHER)
    assert "there are a4 and letter" in keeper.fails("sheet", "--paper", "a5", *WEATHER)


def test_without_a_forecast_the_sheet_is_written_and_says_unknown(keeper: Keeper) -> None:
    done = keeper.run("sheet", "--week")
    assert done.code == 0
    assert "Unknown" in done.out
    assert "no endpoint" in done.err


def test_tags_are_written_for_all_or_for_those_named(keeper: Keeper, tmp_path: Path) -> None:
    assert "nothing to tag" in keeper.fails("tags")
    for n in range(1, 4):
        keeper.does("log", "add", f"H0{n} cherry 50cm cut saturday")
    target = tmp_path / "tags.html"
    said = keeper.does("tags", "H01,H03", "-o", str(target))
    assert "holds the tag alone" in said
    html = target.read_text(encoding="utf-8")
    assert [tag for tag in ("H01", "H02", "H03") if f">{tag}</h2>" in html] == ["H01", "H03"]
    everything = keeper.does("sheet", "--tags")
    assert all(f">{tag}</h2>" in everything for tag in ("H01", "H02", "H03"))
    assert "There is no log H9" in keeper.fails("tags", "H9")
    assert "--week goes with the sheet" in keeper.fails("sheet", "--tags", "--week")


def test_with_an_address_the_codes_open_the_page(tmp_path: Path) -> None:
    keeper = Keeper(tmp_path, YARD + PAGE)
    keeper.does("log", "add", "H01 cherry")
    said = keeper.does("tags", "-o", str(tmp_path / "tags.html"))
    assert "opens its log's page under http://192.168.1.20:8300\n" in said
    Keeper(tmp_path, YARD + PAGE.replace("http:", "ftp:")).fails("tags")
