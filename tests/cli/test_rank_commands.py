"""``rank`` and ``season``: what waiting costs, and how long there is time, as a keeper asks for it."""

from __future__ import annotations

import csv
import re
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_line import columns_of, fair, run, stored, yard_file
from keeper import DEMO, WEATHER, Keeper

TUESDAY = "2025-11-04T06:00"


@pytest.fixture
def demo(tmp_path: Path) -> Keeper:
    keeper = Keeper(tmp_path, (DEMO / "yard.toml").read_text(encoding="utf-8"), at=TUESDAY)
    keeper.does("log", "import", str(DEMO / "logs.csv"), at="2025-11-03T05:45")
    return keeper


def ranked(demo: Keeper, *more: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = demo.run("rank", *WEATHER, "--json", *more).json["ends"]
    return found


def test_every_end_with_work_has_its_numbers_dearest_first(demo: Keeper) -> None:
    ends = ranked(demo)
    assert len(ends) >= 12
    for one in ends:
        assert {
            "tag",
            "end",
            "state",
            "job",
            "cost_of_waiting_per_day",
            "cost_till_spring",
            "loss_so_far_cm",
            "unit",
            "why",
        } <= set(one)
        assert one["unit"] == "EUR"
        assert one["cost_till_spring"] >= one["cost_of_waiting_per_day"] >= 0.0
        assert one["loss_till_spring_low_cm"] < one["loss_till_spring_cm"] < one["loss_till_spring_high_cm"]
    by_tag = {one["tag"]: one for one in ends}
    assert ("H06", "top") not in {(one["tag"], one["end"]) for one in ends}, "it cannot be reached"
    assert "H12" not in by_tag, "firewood"
    best: dict[str, float] = {}
    for one in ends:
        best[one["tag"] + one["job"]] = max(one["points"], best.get(one["tag"] + one["job"], 0.0))
    order = [best[one["tag"] + one["job"]] for one in ends]
    assert order == sorted(order, reverse=True)


def test_the_list_says_what_it_rests_on_and_asks_nobody_to_climb(demo: Keeper) -> None:
    text = " ".join(demo.run("rank", *WEATHER).out.split())
    assert "half to double" in text
    assert "rules of thumb, not measured" in text
    assert "Can't be reached: H06 top. No rank, do not climb." in text
    assert "a week's wait" in text


def test_without_a_price_lengths_are_weighted_and_no_currency_is_shown(tmp_path: Path) -> None:
    keeper = Keeper(tmp_path, at=TUESDAY)
    keeper.does("log", "add", "walnut 22in 8ft cut yesterday")
    ends = ranked(keeper)
    assert {one["unit"] for one in ends} == {"cm"}
    text = keeper.run("rank", *WEATHER).out
    assert "EUR" not in text
    assert "of a good log" in text


def test_without_a_forecast_the_order_stands_and_nothing_is_advised_for_today(tmp_path: Path) -> None:
    keeper = Keeper(tmp_path, at=TUESDAY)
    keeper.does("log", "add", "walnut 22in 8ft cut yesterday")
    done = keeper.run("rank", "--json")
    assert {one["today"] for one in done.json["ends"]} == {False}
    assert "Without a forecast" in keeper.run("rank").out


def test_cuts_and_the_saw_stand_beside_their_estimates(demo: Keeper) -> None:
    demo.does("note", "H02", "cut", "2cm", "still", "cracked", at="2025-11-04T10:00")
    demo.does("note", "H02", "cut", "2cm", "clean", at="2025-11-04T10:30")
    demo.does("note", "H05", "saw", "--into", "9", "--lost", "1cm", at="2025-11-05T10:30")
    rows = demo.run("rank", "--cuts", "--json", *WEATHER, at="2025-11-05T12:00").json["cuts"]
    assert [(row["tag"], row["end"], row["coated"]) for row in rows] == [
        ("H02", "butt", False),
        ("H02", "top", False),
        ("H05", "butt", True),
        ("H05", "top", True),
    ]
    assert rows[0]["above_cm"] == 2.0
    assert rows[0]["at_most_cm"] == 4.0
    wrong = demo.run("note", "H04", "saw", "--lost", "1.3m", at="2025-11-05T12:00")
    assert wrong.code == 2
    assert "Look at the unit" in wrong.err


# ------------------------------------------------------------------ season


def daily(folder: Path, years: int = 6, cold: float = -12.0, warm: float = 18.0, coldest: int = 17) -> Path:
    """Days of an invented place: cold around the ``coldest`` day of the year, a little rain."""
    file = folder / "daily.csv"
    first = date(2018, 1, 1)
    rng = np.random.default_rng(2)
    with file.open("w", newline="", encoding="utf-8") as out:
        rows = csv.writer(out)
        rows.writerow(["date", "min_c", "max_c", "rain_mm"])
        for n in range(366 * years):
            day = first + timedelta(days=n)
            turn = (day.timetuple().tm_yday - coldest) / 365 * 2 * np.pi
            mean = (warm + cold) / 2 - (warm - cold) / 2 * np.cos(turn)
            low = mean - 4.0 + rng.normal(0, 2.5)
            rows.writerow([day.isoformat(), f"{low:.1f}", f"{low + 8.0:.1f}", "0.0" if n % 4 else "3.0"])
    return file


def test_the_season_says_what_is_left_and_keeps_what_it_worked_out(tmp_path: Path) -> None:
    file = yard_file(tmp_path)
    forecast = stored(tmp_path, columns_of(fair(10)))
    words = ("season", "--yard", file, "--at", "2025-11-03T06:00", "--history", daily(tmp_path, cold=3.0))
    told = run(*words, "--forecast", forecast, "--issued", "2025-11-03T05:00")
    assert told.code == 0, told.err
    text = " ".join(told.out.split())
    assert "In 9 of 10 years there was still a good day after" in text
    assert "First frost in the yard's air" in text
    data = run(*words, "--json").json()
    assert set(data) >= {"first_freeze", "spans_left", "last_good_day"}
    assert data["spans_left"]["p10"] <= data["spans_left"]["p50"] <= data["spans_left"]["p90"]
    assert set(data["first_freeze"]) == {"0", "-2"}


def test_the_season_holds_the_yards_own_work_against_the_days_left(demo: Keeper, tmp_path: Path) -> None:
    history = str(daily(tmp_path, cold=-4.0))
    found = demo.run("season", *WEATHER, "--history", history, "--json").json
    assert found["minutes"] > 60
    told = {(one["tag"], one["end"], one["job"]) for one in (*found["fits"], *found["left_out"])}
    assert ("H01", "butt", "first_coat") in told
    assert all(0.0 <= one["chance"] <= 1.0 for one in found["fits"])
    ways = {"inside", "leave_long", "saw", "other_coating"}
    assert all(one["what"] in ways for one in found["left_out"])
    text = demo.does("season", *WEATHER, "--history", history)
    assert "Work for the brush: about" in text
    assert all(len(line) <= 80 for line in text.splitlines())
    assert not re.search(r"\b(safe|late|overdue|missed|None|nan|inf)\b|!", text)


def test_when_no_day_is_left_every_end_has_its_way_out_and_its_place_in_spring(
    demo: Keeper, tmp_path: Path
) -> None:
    history = str(daily(tmp_path, cold=-22.0))
    demo.at = "2025-12-10T06:00"
    found = demo.run("season", "--history", history, "--json").json
    assert found["spans_left"]["p90"] == 0.0
    assert found["fits"] == []
    left = {one["tag"]: one for one in found["left_out"]}
    assert left["H11"]["what"] == "inside", "64 kg can be carried"
    assert left["H03"]["what"] in ("leave_long", "other_coating")
    cut = left["H03"]["cut_back_cm"]
    assert 2.5 <= cut["low"] <= cut["middle"] <= cut["high"]
    assert "H03" in found["winter_list"]
    assert "H11" not in found["winter_list"]
    assert "H01" in {one["tag"] for one in found["spring"]}
    text = demo.does("season", "--history", history)
    assert "Winter list: " in text
    assert "In spring from about" in text


def test_in_the_south_the_season_ends_in_their_winter(tmp_path: Path) -> None:
    keeper = Keeper(tmp_path, (DEMO / "southern.toml").read_text(encoding="utf-8"), at="2026-04-20T06:00")
    found = keeper.run("season", "--history", str(daily(tmp_path, cold=-4.0, coldest=201)), "--json").json
    assert found["last_good_day"]["p50"] is not None
    assert "2026-04-20" <= found["last_good_day"]["p50"] < "2026-08-01"
    assert found["first_good_day"]["p50"] > "2026-07-15"


def test_where_it_freezes_on_every_day_that_is_said_and_where_it_never_does_too(tmp_path: Path) -> None:
    keeper = Keeper(tmp_path, at="2025-11-03T06:00")
    always = daily(tmp_path, years=4, cold=-30.0, warm=-6.0)
    assert "can come on any day of the year here" in " ".join(
        keeper.does("season", "--history", str(always)).split()
    )
    never = daily(tmp_path, years=4, cold=16.0)
    text = " ".join(keeper.does("season", "--history", str(never)).split())
    assert "No hard frost (-2 °C) in any of these 3 years." in text
    assert "There are days for the brush all winter here." in text


def test_a_place_that_never_freezes_has_no_first_freeze(tmp_path: Path) -> None:
    words = ("season", "--yard", yard_file(tmp_path), "--at", "2025-11-03T06:00", "--json")
    data = run(*words, "--history", daily(tmp_path, years=3, cold=16.0)).json()
    assert data["first_freeze"]["-2"] is None
    assert data["all_winter"] is True


def test_without_past_years_or_with_a_wrong_file_it_says_what_to_do(tmp_path: Path) -> None:
    file = yard_file(tmp_path)
    none = run("season", "--yard", file, "--at", "2025-11-03T06:00")
    assert none.code == 1
    assert "archive = " in none.err
    gone = run("season", "--yard", file, "--history", tmp_path / "no.csv")
    assert (gone.code, "no such file" in gone.err) == (2, True)
    odd = run("season", "--yard", file, "--history", stored(tmp_path, "hello", "odd.csv"))
    assert odd.code == 2
    assert "odd.csv" in odd.err
