"""``plan``: the week as a keeper asks for it, what if, and that nothing is written."""

from __future__ import annotations

import hashlib
import re
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from keeper import DEMO, WEATHER, Keeper

TUESDAY = "2025-11-04T06:00"
CONTRACT = {"tag", "end", "job", "start", "minutes", "who", "chance", "keeps"}


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Keeper:
    keeper = Keeper(
        tmp_path_factory.mktemp("plan"), (DEMO / "yard.toml").read_text(encoding="utf-8"), at=TUESDAY
    )
    keeper.does("log", "import", str(DEMO / "logs.csv"), at="2025-11-03T05:45")
    return keeper


def planned(keeper: Keeper, *more: str) -> dict[str, Any]:
    found: dict[str, Any] = keeper.run("plan", *WEATHER, "--json", *more).json
    return found


def contents(folder: Path) -> dict[str, str]:
    """Every file of a folder with a digest of what is in it, but for what SQLite keeps for its readers."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.endswith(("-shm", "-wal"))
    }


def test_the_week_is_told_day_by_day_with_who_when_and_why(shared: Keeper) -> None:
    said = shared.does("plan", *WEATHER)
    lines = said.splitlines()
    assert lines[0] == "From Tue 4 to Mon 10"
    assert all(len(line) <= 80 for line in lines)
    assert "Today, two people, brush 9 to" in said
    assert "1 and 2: H02 European walnut: cut back to clean wood" in said
    assert "set up" in said
    assert "clean up" in said
    assert "keeps about" in said
    assert "H06 top: it can't be reached; do not climb." in said
    assert "EUR" in said
    assert not re.search(r"\b(safe|late|overdue|missed|None|nan|inf)\b|!", said)


def test_the_json_holds_what_the_contract_names(shared: Keeper) -> None:
    found = planned(shared)
    assert {"jobs", "left_out", "optimal_within"} <= set(found)
    assert found["jobs"]
    for one in found["jobs"]:
        assert set(one) >= CONTRACT
        assert datetime.fromisoformat(one["start"]).utcoffset() is not None
        assert one["minutes"] > 0
        assert set(one["who"]) <= {1, 2}
        assert one["chance"] is None or 0.0 < one["chance"] < 1.0
    for one in found["left_out"]:
        assert set(one) >= {"tag", "end", "job", "why"}
        assert len(one["why"]) > 5
    assert 0.0 <= found["optimal_within"] <= 1.0
    assert found["unit"] == "EUR"
    assert found["litres"] == pytest.approx(sum(one["litres"] for one in found["jobs"]), abs=0.01)
    begins = [one["start"] for one in found["jobs"]]
    assert begins == sorted(begins)


def test_so_many_days_as_asked_and_no_more(shared: Keeper) -> None:
    two = planned(shared, "--days", "2")
    assert datetime.fromisoformat(two["until"]) == datetime.fromisoformat("2025-11-06T00:00:00+01:00")
    assert all(one["start"] < "2025-11-06" for one in two["jobs"])
    assert "7<=x<=" not in shared.fails("plan", *WEATHER, "--days", "0")


def test_nothing_is_written_by_a_plan_or_a_what_if(shared: Keeper) -> None:
    before = contents(shared.file.parent)
    shared.does("plan", *WEATHER)
    shared.does("plan", *WEATHER, "--by", "friday", "--people", "3", "--litres", "0.5", "--only", "H01,H02")
    assert "Nothing was written." in shared.does("plan", *WEATHER, "--also", "3 Ulmus glabra 20in")
    assert contents(shared.file.parent) == before
    assert len(shared.logs()) == 16


def test_four_logs_by_a_day_are_answered_yes_or_only_these(shared: Keeper) -> None:
    said = shared.does("plan", *WEATHER, "--by", "wed", "--only", "H01,H03,H04,H11")
    assert said.startswith("Yes, all 4 fit by tomorrow: ")
    some = planned(shared, "--by", "wed", "--only", "H01,H03,H16")
    assert (some["fits"], some["not_fitting"]) == ("some", ["H16"])
    assert {one["tag"] for one in some["jobs"]} <= {"H01", "H03", "H16"}


def test_a_log_to_be_bought_is_asked_about_in_the_words_of_log_add(shared: Keeper) -> None:
    found = planned(shared, "--also", "3 Ulmus glabra 20in 2m")
    new = ["H17", "H18", "H19"]
    assert (found["fits"], found["fitting"]) == ("yes", new)
    assert set(found["saw_by"]) == set(new)
    coats = [one for one in found["jobs"] if one["tag"] in new and one["job"] == "first_coat"]
    assert len(coats) == 6
    assert found["pushed_out"] == []
    alone = planned(shared)
    assert found["litres"] > alone["litres"]


def test_what_cannot_be_understood_is_said_with_the_option_that_said_it(shared: Keeper) -> None:
    assert '--also "3 unobtainium"' in shared.fails("plan", *WEATHER, "--also", "3 unobtainium")
    assert "--litres" in shared.fails("plan", *WEATHER, "--litres", "much")
    assert "--by" in shared.fails("plan", *WEATHER, "--by", "last week")
    assert "H99" in shared.fails("plan", *WEATHER, "--only", "H99")
    assert "--keep" in shared.fails("plan", *WEATHER, "--keep", "--by", "fri")


def test_a_day_that_no_forecast_reaches_is_refused(shared: Keeper) -> None:
    assert "no forecast reaches" in shared.fails("plan", *WEATHER, "--by", "2026-01-10")


def test_without_a_forecast_the_answer_is_unknown(shared: Keeper) -> None:
    failed = shared.run("plan", "--forecast", WEATHER[1], "--issued", "2025-11-01T04:00")
    assert failed.code == 1
    assert failed.err.startswith("Unknown: ")


def test_an_empty_yard_has_nothing_to_do(tmp_path: Path) -> None:
    keeper = Keeper(tmp_path, (DEMO / "yard.toml").read_text(encoding="utf-8"), at=TUESDAY)
    found = planned(keeper)
    assert (found["jobs"], found["left_out"], found["optimal_within"]) == ([], [], 0.0)
    assert "nothing" in keeper.does("plan", *WEATHER)
    assert "There is nothing to coat." in keeper.does("plan", *WEATHER, "--by", "fri")
    assert not (tmp_path / "coatcast.db").exists()


def test_a_plan_that_is_kept_is_held_to(tmp_path: Path) -> None:
    keeper = Keeper(tmp_path, (DEMO / "yard.toml").read_text(encoding="utf-8"), at="2025-11-03T05:45")
    keeper.does("log", "import", str(DEMO / "logs.csv"))
    keeper.does("plan", *WEATHER, "--keep")
    kept = {(j["tag"], j["end"], j["job"]): j["start"] for j in planned(keeper)["jobs"]}
    free = {(j["tag"], j["end"], j["job"]): j["start"] for j in planned(keeper)["jobs"] if j["chance"]}
    keeper.at = TUESDAY
    then = {(j["tag"], j["end"], j["job"]): j for j in planned(keeper)["jobs"] if j["chance"]}
    same = [key for key in free if key in then]
    assert same
    for key in same:
        moved = datetime.fromisoformat(then[key]["start"]) - datetime.fromisoformat(kept[key])
        assert abs(moved) <= timedelta(minutes=75), key
        assert then[key]["moved"] is False


def test_the_exact_plan_keeps_no_less_and_says_how_near_it_is(shared: Keeper) -> None:
    pytest.importorskip("highspy", reason="the solver HiGHS (highspy) is not installed")
    words = ("--only", "H10,H11", "--days", "1")
    exact, ours = planned(shared, *words, "--exact"), planned(shared, *words)
    assert exact["keeps"] >= ours["keeps"] - 1e-6
    assert exact["optimal_within"] <= 0.001
