"""today, spans and why from outside: the JSON contract, exit codes, bad input, a service that fails.

The keys, enums and units are those of the project's written contract for programs.
"""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from command_line import MORNING, Ran, columns_of, fair, run, stored, yard_file
from loopback import Service, dead_url, service
from weather_samples import at_hours, by_day, weather
from yard_story import Story

from scheduler.settings import load_yard
from scheduler.weather import fetch
from scheduler.yard.facts import Moment
from scheduler.yard.store import open_store

AT = datetime(2025, 11, 3, 5, tzinfo=UTC)  # MORNING
MADE = ("--issued", "2025-11-03T04:00")
TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d")
VERDICTS = {"seal", "touch_and_go", "prepare", "leave_it", "unknown"}
MILESTONES = ("touch_dry", "rain_safe", "frost_safe", "dry", "second_coat")
UNITS = {"°C", "K", "mm", "m/s", "h", "min", "%", "people", "code"}
LEAN_TO = '[[place]]\nname = "lean-to"\nroofed = true'


def today(yard: Path, answer: Path | None, *more: str | Path, at: str = MORNING) -> Ran:
    given = () if answer is None else ("--forecast", answer)
    return run("today", "--yard", yard, "--at", at, *given, *more)


def told(yard: Path, story: Story) -> None:
    """Put what a story tells into the yard's own store."""
    checked = load_yard(yard)
    with open_store(checked.store_url) as store:
        store.append(checked.yard.key, lambda _known: tuple(replace(e, yard="yard") for e in story.entries))


def two_logs(**more: Any) -> Story:
    """A bare cherry and a cracked walnut."""
    cut = Moment(AT - timedelta(days=2))
    story = Story(AT - timedelta(hours=1))
    story.add("H01", species="Prunus avium", species_said="cherry", butt_cm=50.0, cut=cut, **more)
    return story.add(
        "H02", species="Juglans regia", species_said="walnut", butt_cm=60.0, cut=cut, checks="open", **more
    )


@pytest.fixture
def yard(tmp_path: Path) -> Path:
    return yard_file(tmp_path)


@pytest.fixture
def good(tmp_path: Path) -> Path:
    return stored(tmp_path, columns_of(fair()))


# ------------------------------------------------------------------ the shape of the answers


def instant(value: Any) -> datetime:
    assert isinstance(value, str)
    assert TIME.fullmatch(value), f"{value} is no ISO 8601 time with its offset"
    return datetime.fromisoformat(value)


def number(value: Any) -> float:
    assert isinstance(value, (int, float))
    assert not isinstance(value, bool)
    return float(value)


def check_span(span: Any) -> None:
    if span is None:
        return
    assert set(span) == {"start", "end", "chance", *MILESTONES}
    assert instant(span["start"]) <= instant(span["end"])
    assert 0.0 < number(span["chance"]) < 1.0
    for name in MILESTONES:
        if span[name] is not None:
            assert instant(span[name]) > instant(span["start"])


def check_reason(reason: Any, *more: str) -> None:
    assert set(reason) == {"rule", "breach", "value", "limit", "unit", "at", "share", *more}
    assert isinstance(reason["rule"], str)
    assert reason["breach"] in ("stop", "doubt")
    assert reason["value"] is None or number(reason["value"]) is not None
    number(reason["limit"])
    assert reason["unit"] in UNITS
    assert reason["at"] is None or instant(reason["at"])
    assert 0.0 <= number(reason["share"]) <= 1.0


def check_today(data: Any) -> None:
    """Every key of the contract, and none that it does not name but places and question."""
    assert set(data) == {
        "yard",
        "at",
        "verdict",
        "headline",
        "weather",
        "span",
        "next_span",
        "reasons",
        "first",
        "tonight",
        "cautions",
        "question",
        "forecast",
        "places",
    }
    instant(data["at"])
    assert data["verdict"] in VERDICTS
    assert 0 < len(data["headline"]) <= 60
    assert set(data["weather"]) == {"verdict", "span"}
    assert data["weather"]["verdict"] in VERDICTS
    for span in (data["weather"]["span"], data["span"], data["next_span"]):
        check_span(span)
    for reason in data["reasons"]:
        check_reason(reason)
    for job in data["first"]:
        assert set(job) == {"tag", "end", "job", "cost_of_waiting_per_day", "unit", "why"}
        assert job["cost_of_waiting_per_day"] is None or number(job["cost_of_waiting_per_day"]) >= 0.0
        assert job["unit"] in (None, "cm", "EUR")
        assert all(isinstance(job[key], str) for key in ("tag", "end", "job", "why"))
    assert all(isinstance(text, str) for text in data["tonight"] + data["cautions"])
    check_forecast(data["forecast"])


def check_forecast(forecast: Any) -> None:
    assert set(forecast) == {
        "source",
        "issued",
        "issued_known",
        "fetched",
        "age_h",
        "hours",
        "members",
        "complete",
    }
    assert forecast["source"] is None or isinstance(forecast["source"], str)
    for name in ("issued", "fetched"):
        assert forecast[name] is None or instant(forecast[name])
    assert isinstance(forecast["issued_known"], bool)
    assert isinstance(forecast["complete"], bool)
    assert forecast["age_h"] is None or number(forecast["age_h"]) >= 0.0
    assert isinstance(forecast["hours"], int)
    assert isinstance(forecast["members"], int)


def as_json(ran: Ran, code: int = 0) -> Any:
    assert (ran.code, ran.err) == (code, "")
    return ran.json()


def test_today_with_an_empty_register_gives_the_weather_and_says_that_nothing_is_due(
    yard: Path, good: Path
) -> None:
    data = as_json(today(yard, good, *MADE, "--json"))
    check_today(data)
    assert (data["yard"], data["at"]) == ("Test yard", "2025-11-03T06:00:00+01:00")
    assert data["verdict"] == data["weather"]["verdict"] == "seal"
    assert data["headline"] == "Good coating weather, nothing is due."
    assert data["first"] == []
    assert data["forecast"] == {
        "source": str(good),
        "issued": "2025-11-03T04:00:00+01:00",
        "issued_known": True,
        "fetched": None,
        "age_h": 2.0,
        "hours": 8 * 24 - 53 - 1,  # the last hour has no rain: it is labelled by its end
        "members": 48,
        "complete": False,  # seven days are needed, less are there
    }


def test_the_text_of_good_weather_with_nothing_due_says_until_when_wood_cut_today_can_be_coated(
    yard: Path, good: Path
) -> None:
    ran = today(yard, good, *MADE)
    assert ran.code == 0
    assert ran.out.startswith("Good coating weather, nothing is due.\n")
    assert re.search(r"Wood cut today: coat between 9 and 1\d", ran.out)
    assert "Leave it" not in ran.out


def test_today_with_logs_says_which_end_comes_first_and_why(yard: Path, good: Path) -> None:
    told(yard, two_logs())
    data = as_json(today(yard, good, *MADE, "--json"))
    check_today(data)
    assert data["verdict"] == "seal"
    assert re.fullmatch(r"Seal today, brush 9 to 15:45\. First H01 cherry\.", data["headline"])
    assert {(job["tag"], job["job"]) for job in data["first"]} == {("H01", "first_coat")}, "the saw needs two"
    text = " ".join(today(yard, good, *MADE).out.split())
    assert "Needs a second person: H02." in text
    assert (
        "Do first (lost by spring if left as it is, half to double) H01 wild cherry: coat, butt and top ("
        in text
    )


def test_with_two_people_the_saw_comes_first(tmp_path: Path, good: Path) -> None:
    yard = yard_file(tmp_path, yard="people = 2")
    told(yard, two_logs())
    data = as_json(today(yard, good, *MADE, "--json"))
    assert (data["first"][0]["tag"], data["first"][0]["job"]) == ("H02", "cut_and_coat")
    assert data["cautions"][0].startswith("Saw: two people, off the stack, in the light.")


def test_a_full_horizon_is_said_to_be_complete(tmp_path: Path, yard: Path) -> None:
    data = as_json(today(yard, stored(tmp_path, columns_of(fair(14))), *MADE, "--json"))
    assert data["forecast"]["complete"] is True


def test_the_reasons_stand_in_the_order_of_their_share_and_name_rules_that_exist(
    tmp_path: Path, yard: Path
) -> None:
    from scheduler.settings import rule_specs

    frosty = weather(240, air_c=by_day(-4.0, 9.0), humidity=90.0, wind=0.8, cloud=0.0)
    data = as_json(today(yard, stored(tmp_path, columns_of(frosty)), *MADE, "--json"))
    check_today(data)
    shares = [reason["share"] for reason in data["reasons"]]
    assert shares == sorted(shares, reverse=True)
    assert {reason["rule"] for reason in data["reasons"]} <= set(rule_specs())
    assert data["reasons"][0]["share"] > 0.5
    assert data["verdict"] == "leave_it"


def test_frost_on_the_wood_is_the_reason_where_the_airs_minimum_stays_above_it(
    tmp_path: Path, yard: Path
) -> None:
    clear = weather(240, air_c=by_day(1.0, 9.0), humidity=85.0, wind=0.8, cloud=0.0)
    data = as_json(today(yard, stored(tmp_path, columns_of(clear)), *MADE, "--json"))
    assert data["verdict"] != "seal"
    frost = next(reason for reason in data["reasons"] if reason["rule"] == "frost_on_face")
    assert frost["share"] > 0.5
    assert frost["value"] < 0.0
    assert instant(frost["at"]) > AT + timedelta(hours=8), "in the night"


def test_spans_and_what_stops_between_them_hold_the_contract_and_do_not_overlap(
    tmp_path: Path, yard: Path
) -> None:
    mixed = fair(rain=at_hours(0.0, **{f"h{n}": 2.0 for n in range(82, 92)}))
    answer = stored(tmp_path, columns_of(mixed))
    data = as_json(run("spans", "--yard", yard, "--at", MORNING, "--forecast", answer, *MADE, "--json"))
    assert set(data) == {"spans", "stopped"}
    assert data["spans"]
    for span in data["spans"]:
        check_span(span)
    for stop in data["stopped"]:
        assert set(stop) == {"start", "end", "rule", "value", "limit", "unit"}
        assert instant(stop["start"]) < instant(stop["end"])
        assert isinstance(stop["rule"], str)
    assert {"daylight", "hands", "rain_before_it_holds"} <= {stop["rule"] for stop in data["stopped"]}
    rows = sorted((instant(row["start"]), instant(row["end"])) for row in data["spans"] + data["stopped"])
    for (_, end), (start, _) in pairwise(rows):
        assert end <= start
        assert start - end <= timedelta(minutes=15), "no stretch is left without a word"


def test_why_goes_rule_by_rule_through_one_start(yard: Path, good: Path) -> None:
    words = ("--yard", yard, "--at", MORNING, "--forecast", good, *MADE)
    data = as_json(run("why", "tomorrow 10:00", *words, "--json"))
    assert set(data) == {"start", "chance", "milestones", "rules"}
    assert data["start"] == "2025-11-04T10:00:00+01:00"
    assert 0.5 < data["chance"] < 1.0
    assert set(data["milestones"]) == set(MILESTONES)
    for when in data["milestones"].values():
        assert when is None or instant(when) > instant(data["start"])
    for rule in data["rules"]:
        check_reason(rule, "outcome")
        assert rule["outcome"] in ("pass", "break", "unknown")
    assert len({rule["rule"] for rule in data["rules"]}) == len(data["rules"]) >= 10
    text = run("why", "tomorrow 10:00", *words)
    assert text.out.startswith("Brushed tomorrow 10:00: about 9 in 10.")
    assert "coldest on the wood while milky" in text.out


@pytest.mark.parametrize("start", ["2025-11-04T10:00", "Tue 10:00", "tomorrow 10:00", "2025-11-04T09:00Z"])
def test_a_start_can_be_told_in_many_ways(yard: Path, good: Path, start: str) -> None:
    data = as_json(run("why", start, "--yard", yard, "--at", MORNING, "--forecast", good, *MADE, "--json"))
    assert data["start"] == "2025-11-04T10:00:00+01:00"


@pytest.mark.parametrize("start", ["2025-11-02T10:00", "2025-12-24T10:00", "sometime", "2025-02-32"])
def test_a_start_that_cannot_be_judged_is_wrong_input(yard: Path, good: Path, start: str) -> None:
    ran = run("why", start, "--yard", yard, "--at", MORNING, "--forecast", good, *MADE)
    assert (ran.code, ran.out) == (2, "")
    assert_kind(ran.err)


# ------------------------------------------------------------------ the clock


def test_a_naive_time_is_on_the_yards_clock(tmp_path: Path, good: Path) -> None:
    there = as_json(today(yard_file(tmp_path), good, *MADE, "--json"))
    same = as_json(today(yard_file(tmp_path), good, *MADE, "--json", at="2025-11-03T05:00Z"))
    assert there == same
    west = yard_file(tmp_path, zone="America/New_York")
    other = as_json(today(west, good, "--issued", "2025-11-03T04:00Z", "--json"))
    assert other["at"] == "2025-11-03T06:00:00-05:00"


def test_the_month_and_the_year_do_not_matter_only_the_weather(tmp_path: Path) -> None:
    """The same weather half a year later and on the other half of the earth is judged alike."""
    from command_line import PLACE

    spring = replace(fair(), start=datetime(2026, 5, 1, tzinfo=UTC))
    south = (-PLACE[0], PLACE[1])
    found = []
    for given, place, at in ((fair(), PLACE, MORNING), (spring, south, "2026-05-03T06:00")):
        yard = yard_file(tmp_path, place=place)
        answer = stored(tmp_path, columns_of(given, place))
        data = as_json(today(yard, answer, "--issued", at[:-5] + "04:00", "--json", at=at))
        found.append(data["verdict"])
    assert found == ["seal", "seal"]


@pytest.mark.parametrize("at", ["2025-11-03T15:50", "2025-11-03T20:00", "2025-11-03T23:59"])
def test_when_today_is_over_no_reason_of_tomorrow_is_given_for_it(yard: Path, good: Path, at: str) -> None:
    text = today(yard, good, "--issued", "2025-11-03T12:00", at=at).out
    assert text.startswith("Prepare. Tomorrow brush 9 to ")
    assert "No working hours with light are left today." in text
    assert "Not today" not in text


def test_a_day_on_which_the_yard_is_closed_says_so(tmp_path: Path, good: Path) -> None:
    yard = yard_file(tmp_path, '[yard.hours]\nmon = "closed"\nfri = "09:00-12:00"')
    text = today(yard, good, *MADE).out
    assert text.startswith("Leave it today. No working hours are left.")
    assert "Next: Fri 7 brush 9 to 11:45" in text


def test_the_last_start_of_a_day_is_a_time_and_not_a_stretch(yard: Path, good: Path) -> None:
    ran = today(yard, good, *MADE, at="2025-11-03T15:40")
    assert "Wood cut today: coat at 15:45." in ran.out
    assert "15:45 to 15:45" not in ran.out


@pytest.mark.parametrize("units", ["metric", "us"])
def test_spans_and_why_speak_as_plainly_as_the_notice(tmp_path: Path, units: str) -> None:
    never = re.compile(r"!|\b(safe|late|overdue|missed|span|member|None|nan)\b|[{}]|-0(\.0)? °")
    frosty = weather(
        240, air_c=by_day(-3.0, 9.0), humidity=88.0, cloud=0.2, rain=at_hours(0.0, h100=2.0, h101=1.0)
    )
    answer = stored(tmp_path, columns_of(frosty))
    words = ("--yard", yard_file(tmp_path, units=units), "--at", MORNING, "--forecast", answer, *MADE)
    said = [run("spans", *words)]
    said += [run("why", start, *words) for start in ("today 10:00", "Wed 14:00", "Sun 12:00", "today 22:00")]
    for ran in said:
        assert ran.code in (0, 1)
        assert not never.search(ran.out), never.findall(ran.out)
        assert ("°C" if units == "us" else "°F") not in ran.out
        assert all(1 <= int(n) <= 9 for n in re.findall(r"(\d+) in 10\b", ran.out))
    assert "nobody would brush then" in said[-1].out
    assert "no: " in said[0].out


# ------------------------------------------------------------------ places under a roof


def rainy() -> Any:
    """Mild days with rain from the early morning to the evening."""
    wet = {f"h{n}": 1.0 for n in range(240) if 3 <= n % 24 < 18}
    return columns_of(weather(240, air_c=by_day(8.0, 13.0), humidity=70.0, rain=at_hours(0.0, **wet)))


def test_in_rain_the_lean_to_has_an_answer_of_its_own(tmp_path: Path) -> None:
    yard = yard_file(tmp_path, LEAN_TO)
    story = two_logs()
    told(yard, story.note("H01", "move", "lean-to"))
    answer = stored(tmp_path, rainy())
    data = as_json(today(yard, answer, *MADE, "--json"))
    check_today(data)
    assert data["headline"].startswith("Leave it outside; lean-to: seal ")
    assert data["weather"]["verdict"] == "leave_it"
    assert data["verdict"] == "seal"
    assert {place["place"]: place["verdict"] for place in data["places"]} == {
        None: "leave_it",
        "lean-to": "seal",
    }
    assert {job["tag"] for job in data["first"]} == {"H01"}, "H02 lies in the rain"
    assert "Leave for now, where they lie: H02." in today(yard, answer, *MADE).out


def test_spans_and_why_can_be_asked_of_a_place(tmp_path: Path) -> None:
    yard, answer = yard_file(tmp_path, LEAN_TO), stored(tmp_path, rainy())
    words = ("--yard", yard, "--at", MORNING, "--forecast", answer, *MADE)
    assert as_json(run("spans", *words, "--json"))["spans"] == []
    assert as_json(run("spans", *words, "--place", "lean-to", "--json"))["spans"]
    inside = as_json(run("why", "tomorrow 10:00", *words, "--place", "lean-to", "--json"))
    assert "rain_before_it_holds" not in {rule["rule"] for rule in inside["rules"]}
    wrong = run("spans", *words, "--place", "barn")
    assert (wrong.code, wrong.out) == (2, "")
    assert "lean-to" in wrong.err


def test_a_log_under_a_sheet_is_told_from_those_in_the_rain(tmp_path: Path) -> None:
    yard = yard_file(tmp_path)
    told(yard, two_logs().note("H01", "roof"))
    data = as_json(today(yard, stored(tmp_path, rainy()), *MADE, "--json"))
    assert data["verdict"] == "seal"
    assert data["headline"].startswith("Leave it outside; ")
    assert {job["tag"] for job in data["first"]} == {"H01"}
    assert {place["roofed"]: place["verdict"] for place in data["places"]} == {
        True: "seal",
        False: "leave_it",
    }


# ------------------------------------------------------------------ Unknown


def damaged(name: str) -> Any:
    """A good answer that has come to harm."""
    answer: Any = columns_of(fair())
    hourly = answer["hourly"]
    if name == "null throughout":
        for column in set(hourly) - {"time"}:
            hourly[column] = [None] * len(hourly["time"])
    elif name == "a dew point above the air":
        hourly["dew_point_2m"][60] = 20.0
    elif name == "another place":
        answer["longitude"] = -answer["longitude"]
    elif name == "unsorted":
        hourly["time"][7], hourly["time"][8] = hourly["time"][8], hourly["time"][7]
    elif name == "without a unit":
        del answer["hourly_units"]["precipitation"]
    elif name == "an error of the service":
        answer = {"error": True, "reason": "Parameter 'latitude' is missing"}
    elif name == "of the days to come":
        answer = columns_of(fair(start=datetime(2025, 11, 20, tzinfo=UTC)))
    elif name == "of days gone by":
        answer = columns_of(fair(2))
    elif name == "HTML":
        answer = "<!doctype html><html><body>Please sign in</body></html>"
    elif name == "cut off":
        answer = json.dumps(answer)[:5000]
    elif name == "empty":
        answer = b""
    elif name == "no text":
        answer = b"\x89PNG\r\n\xff\xfe"
    elif name == "no forecast at all":
        answer = {"hello": "world"}
    elif name == "of another family":
        answer = {"type": "Feature", "properties": {"timeseries": []}}
    return answer


HARM = {
    "null throughout": "null throughout",
    "a dew point above the air": "contradicts itself",
    "another place": "check the sign of the longitude",
    "unsorted": "",
    "without a unit": "",
    "an error of the service": "Parameter 'latitude' is missing",
    "of the days to come": "begins after now",
    "of days gone by": "ends before now",
    "HTML": "web page",
    "cut off": "cut off",
    "empty": "empty",
    "no text": "UTF-8",
    "no forecast at all": "no kind of forecast",
    "of another family": "",
}


def assert_kind(text: str) -> None:
    assert text.strip()
    for word in ("Traceback", "Error:\n", "Exception", "ValueError", "None"):
        assert word not in text


@pytest.mark.parametrize("name", HARM)
def test_a_damaged_answer_is_unknown_and_says_why_and_never_gives_a_good_day(
    tmp_path: Path, yard: Path, name: str
) -> None:
    told(yard, two_logs())
    answer = stored(tmp_path, damaged(name))
    text = today(yard, answer, *MADE)
    assert text.code == 1
    assert text.out.startswith("Unknown.")
    assert HARM[name] in " ".join(text.out.split())
    assert "dull dry face" in text.out
    assert_kind(text.out)
    data = as_json(today(yard, answer, *MADE, "--json"), 1)
    check_today(data)
    assert data["verdict"] == data["weather"]["verdict"] == "unknown"
    assert (data["span"], data["next_span"], data["reasons"]) == (None, None, [])
    for command in (("spans",), ("why", "tomorrow 10:00")):
        ran = run(*command, "--yard", yard, "--at", MORNING, "--forecast", answer, *MADE)
        assert (ran.code, ran.out) == (1, "")
        assert ran.err.startswith("Unknown. ")
        assert_kind(ran.err)


def test_two_hours_without_rain_never_give_a_yes_that_needs_them(tmp_path: Path, yard: Path) -> None:
    answer = copy.deepcopy(columns_of(fair()))
    dark = [84, 85]  # labelled by their end: Tuesday 12:00 to 14:00 on the yard's clock, in UTC 11 to 13
    for row in dark:
        answer["hourly"]["precipitation"][row] = None
    first, last = datetime(2025, 11, 4, 11, tzinfo=UTC), datetime(2025, 11, 4, 13, tzinfo=UTC)
    path = stored(tmp_path, answer)
    spans = as_json(run("spans", "--yard", yard, "--at", MORNING, "--forecast", path, *MADE, "--json"))
    assert spans["spans"]
    for span in spans["spans"]:
        held = span["rain_safe"] and instant(span["rain_safe"])
        assert instant(span["end"]) < first or instant(span["start"]) >= last
        assert held is not None
        assert held <= first or instant(span["start"]) >= last
    assert "weather_unknown" in {stop["rule"] for stop in spans["stopped"]}
    why = run("why", "2025-11-04T10:00", "--yard", yard, "--at", MORNING, "--forecast", path, *MADE, "--json")
    data = as_json(why, 1)
    assert data["chance"] is None
    assert {r["rule"] for r in data["rules"] if r["outcome"] == "unknown"} >= {"rain_before_it_holds"}
    tuesday = today(yard, path, *MADE, "--json", at="2025-11-04T06:00")
    data = as_json(tuesday, 1)
    assert data["verdict"] == "unknown"
    check_today(data)


def test_gaps_of_air_and_wind_of_two_hours_are_filled_but_three_are_not(tmp_path: Path, yard: Path) -> None:
    for hours, chance_known in ((2, True), (3, False)):
        answer = copy.deepcopy(columns_of(fair()))
        for name in ("temperature_2m", "wind_speed_10m"):
            answer["hourly"][name][84 : 84 + hours] = [None] * hours
        path = stored(tmp_path, answer)
        words = ("--yard", yard, "--at", MORNING, "--forecast", path, *MADE)
        ran = run("why", "2025-11-04T10:00", *words, "--json")
        assert (ran.json()["chance"] is not None) is chance_known
        assert ran.code == (0 if chance_known else 1)


@pytest.mark.parametrize(
    ("issued", "code", "said"),
    [
        ("2025-11-03T04:00", 0, ""),
        ("2025-11-02T16:00", 0, "The forecast is 14 h old"),
        ("2025-11-01T14:00", 1, "40 hours old"),
        ("2025-11-04T09:00", 0, ""),  # a clock that is ahead: counts as made now
    ],
)
def test_the_age_of_a_forecast_is_said_over_twelve_hours_and_makes_it_unknown_over_36(
    yard: Path, good: Path, issued: str, code: int, said: str
) -> None:
    ran = today(yard, good, "--issued", issued)
    assert ran.code == code
    assert said in ran.out
    assert ("Unknown" in ran.out) is (code == 1)


def test_a_stored_answer_that_does_not_say_when_it_was_made_counts_from_its_first_hour(
    yard: Path, good: Path
) -> None:
    data = as_json(today(yard, good, "--json"), 1)
    assert data["forecast"]["issued_known"] is False
    assert data["forecast"]["issued"] == "2025-11-01T01:00:00+01:00"
    assert "--issued" in today(yard, good).out


def test_a_yard_without_an_endpoint_and_without_a_file_is_unknown(yard: Path) -> None:
    ran = today(yard, None)
    assert ran.code == 1
    assert "the yard file names no endpoint" in ran.out


# ------------------------------------------------------------------ wrong input


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--at", "32 Feb"), "--at 32 Feb"),
        (("--at", "2025-13-01T06:00"), "2025-13-01"),
        (("--issued", "soon"), "--issued soon"),
        (("--forecast", "nowhere.json"), "nowhere.json"),
        (("--forecast", "."), "folder"),
        (("--yard", "nowhere.toml"), "coatcast init -o nowhere.toml"),
        (("--yrad", "x"), "--yard"),
        (("--place", "x"), "--place"),
    ],
)
def test_wrong_input_ends_with_2_and_says_what_and_how_to_mend_it(
    yard: Path, good: Path, words: tuple[str, ...], said: str
) -> None:
    usual = {"--yard": str(yard), "--at": MORNING, "--forecast": str(good)} | {words[0]: words[1]}
    ran = run("today", *[part for pair in usual.items() for part in pair])
    assert (ran.code, ran.out) == (2, "")
    assert said in ran.err
    assert_kind(ran.err)


def test_a_yard_file_with_a_wrong_key_names_the_line_and_the_nearest_right_one(
    tmp_path: Path, good: Path
) -> None:
    yard = yard_file(tmp_path, "[site]\nhollw = -2")
    ran = today(yard, good, *MADE)
    assert (ran.code, ran.out) == (2, "")
    assert f"{yard}, line 9: 'site.hollw' is not a setting; did you mean 'hollow'?" in ran.err


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ("[rules.frost_on_fase]\nbelow = 1.0", "did you mean 'frost_on_face'?"),
        ('[rules.mine]\nquantity = "gust"\nabove = 9.0', "did you mean 'gust_ms'?"),
        ('[rules.frost_on_face]\nunit = "°F"\nbelow = 33.0', "°C"),
        ('[rules.frost_on_face]\nstretch = "until noon"', "until frost-safe"),
    ],
)
def test_a_wrong_rule_of_the_yard_is_an_error_with_its_line(
    tmp_path: Path, good: Path, rule: str, said: str
) -> None:
    ran = today(yard_file(tmp_path, rule), good, *MADE)
    assert (ran.code, ran.out) == (2, "")
    assert said in ran.err
    assert re.search(r"yard\.toml, line \d+: ", ran.err)


def test_a_rule_of_the_yards_own_stops_the_coat(tmp_path: Path, good: Path) -> None:
    strict = yard_file(tmp_path, '[rules.my_wind]\nquantity = "wind_ms"\nabove = 1.0')
    data = as_json(today(strict, good, *MADE, "--json"))
    assert data["verdict"] == "leave_it"
    assert data["reasons"][0]["rule"] == "my_wind"
    off = yard_file(tmp_path, "[rules.rain_before_it_holds]\non = false\n[rules.face_wet]\non = false")
    shower = stored(tmp_path, rainy())
    assert as_json(today(off, shower, *MADE, "--json"))["verdict"] == "seal"


def test_in_us_units_the_text_is_in_fahrenheit_and_the_json_stays_in_celsius(
    tmp_path: Path, good: Path
) -> None:
    yard = yard_file(tmp_path, units="us")
    text = today(yard, good, *MADE).out
    assert "°F" in text
    assert "°C" not in text
    assert re.search(r"brush(ed)? .* pm|Stop at \d+(:\d\d)? pm", text)
    metric = as_json(today(yard_file(tmp_path), good, *MADE, "--json"))
    assert as_json(today(yard, good, *MADE, "--json")) == metric


def test_the_notice_fits_an_eighty_column_screen(yard: Path, good: Path) -> None:
    told(yard, two_logs())
    assert max(len(line) for line in today(yard, good, *MADE).out.splitlines()) <= 78


# ------------------------------------------------------------------ through the endpoint


@pytest.fixture(autouse=True)
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same manners towards a service, without the waits; and no proxy on the way to the loopback."""
    manners = fetch.Manners(timeout=(1.0, 0.3), total=1.0, waits=(0.0, 0.0), sleep=lambda _s: None)
    monkeypatch.setattr(fetch, "Manners", lambda: manners)
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")


@pytest.fixture
def served() -> Iterator[Service]:
    with service(columns_of(fair())) as running:
        yield running


def at_service(folder: Path, url: str, *more: str) -> Path:
    return yard_file(folder, f'[forecast]\nurl = "{url}"', *more)


def test_the_same_answer_from_a_file_and_over_http_gives_the_same_verdict(
    tmp_path: Path, served: Service, good: Path
) -> None:
    yard = at_service(tmp_path, served.url)
    told(yard, two_logs())
    over_http = as_json(today(yard, None, "--json"))
    from_file = as_json(today(yard, good, "--issued", MORNING, "--json"))
    assert over_http["forecast"].pop("source").startswith("http://127.0.0.1")
    assert over_http["forecast"].pop("fetched") == "2025-11-03T06:00:00+01:00"
    assert from_file["forecast"].pop("source") == str(good)
    assert from_file["forecast"].pop("fetched") is None
    assert over_http == from_file
    [asked] = served.asked
    assert (asked["latitude"], asked["longitude"]) == (["48.0000"], ["8.2000"])
    assert "temperature_2m" in asked["hourly"][0]
    assert served.agents[0].startswith("coatcast/")


def test_a_service_is_not_asked_again_within_half_an_hour(tmp_path: Path, served: Service) -> None:
    yard = at_service(tmp_path, served.url)
    for at in ("2025-11-03T06:00", "2025-11-03T06:20", "2025-11-03T06:40"):
        assert today(yard, None, at=at).code == 0
    assert len(served.asked) == 2


TROUBLE: dict[str, tuple[Any, int]] = {
    "answered 500": (b"oops", 500),
    "wants fewer requests": ({"error": True, "reason": "Minutely API request limit exceeded"}, 429),
    "a web page": (b"<html>maintenance</html>", 200),
    "answered 404": (b"no", 404),
}


@pytest.mark.parametrize("said", TROUBLE)
def test_a_service_in_trouble_gives_unknown_and_with_a_kept_answer_that_one_and_its_age(
    tmp_path: Path, served: Service, said: str
) -> None:
    yard = at_service(tmp_path, served.url)
    body, status = TROUBLE[said]
    served.gives(body, status)
    alone = today(yard, None)
    assert alone.code == 1
    assert alone.out.startswith("Unknown.")
    assert said in " ".join(alone.out.split())
    assert_kind(alone.out)
    served.gives(columns_of(fair()))
    assert today(yard, None).code == 0
    served.gives(body, status)
    older = today(yard, None, at="2025-11-03T20:00")
    assert older.code == 0
    shown = " ".join(older.out.split())
    assert said in shown
    assert "The answer of 2025-11-03 05:00 UTC is used." in shown
    assert "The forecast is 14 h old" in shown
    data = as_json(today(yard, None, "--json", at="2025-11-03T20:00"))
    assert (data["forecast"]["age_h"], data["forecast"]["fetched"]) == (14.0, "2025-11-03T06:00:00+01:00")
    stale = today(yard, None, at="2025-11-05T06:00")
    assert stale.code == 1
    assert stale.out.startswith("Unknown. Last forecast is of ")


def test_a_service_that_is_down_or_slow_is_unknown_in_a_sentence(tmp_path: Path, served: Service) -> None:
    down = today(at_service(tmp_path, dead_url()), None)
    assert down.code == 1
    assert "could not be reached" in " ".join(down.out.split())
    served.pause = 1.0
    slow = today(at_service(tmp_path, served.url), None)
    assert slow.code == 1
    assert "did not answer in time" in " ".join(slow.out.split())
    assert_kind(down.out + slow.out)


def test_a_key_never_stands_in_what_is_said_or_kept(
    tmp_path: Path, served: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MY_KEY", "s3cr3t-k3y")
    yard = at_service(tmp_path, served.url, 'key_env = "MY_KEY"')
    ran = today(yard, None, "--json")
    assert ran.code == 0
    assert served.asked[0]["apikey"] == ["s3cr3t-k3y"]
    served.gives(b"bad key s3cr3t-k3y", 403)
    bad = today(yard, None, at="2025-11-03T09:00")
    kept = b"".join(p.read_bytes() for p in tmp_path.rglob("*.json"))
    assert "s3cr3t" not in ran.out + ran.err + bad.out + bad.err + kept.decode("utf-8", "replace")


def test_what_lies_beyond_the_trusted_week_is_planned_on_and_not_promised(tmp_path: Path, yard: Path) -> None:
    forecast = stored(tmp_path, columns_of(fair(14)))
    when = ("--yard", yard, "--forecast", forecast, "--issued", MORNING, "--at", MORNING)
    rows = run("spans", *when).out.splitlines()
    marks = [n for n, row in enumerate(rows) if "plan on it, don't count on it" in row]
    assert len(marks) == 1
    first = datetime.fromisoformat(MORNING)
    after = f"{(first + timedelta(days=8)).day} Nov"
    assert any(after in row for row in rows[marks[0] :])
    assert not any(after in row for row in rows[: marks[0]])
    far = (first + timedelta(days=8)).replace(hour=11)
    assert "plan on it" in run("why", far.isoformat(), *when).out
    assert "plan on it" not in run("why", (first + timedelta(days=2)).replace(hour=11).isoformat(), *when).out
