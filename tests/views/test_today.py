"""What is said of a morning, read over all mornings of both invented yards."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from morning_samples import MORNINGS, morning, wording

from scheduler.planning.jobs import Job
from scheduler.planning.night import Night
from scheduler.planning.verdict import Age, Milestone, Morning, PlaceVerdict, TimedSpan
from scheduler.settings import species_table
from scheduler.views.chart import board_svg
from scheduler.views.today import (
    Briefing,
    ForecastLine,
    cautions,
    first_jobs,
    headline,
    json_of,
    lines,
    tonight,
)
from scheduler.views.wording import VERDICT_WORDS, Wording, wrapped
from scheduler.weather.series import Provenance
from scheduler.yard.facts import End, Log, Moment, Register

# Words that a screen never says: they promise what nobody knows, hurry or blame.
NEVER = re.compile(
    r"!|\b(safe|safely|late|later than|overdue|missed|hurry|only \d+ minutes left|span|member|milestone)\b",
    re.IGNORECASE,
)
CHANCES = re.compile(r"(\d+(?:\.\d+)?) in 10\b")
VALUES = re.compile(r"\b(nan|None|inf|null)\b|\{|\}|_|-0(\.0)? °")
UNITS = ("metric", "us")


def said(yard: str, n: int, units: str) -> list[str]:
    b, _ = morning(yard, n)
    w = wording(yard, n, units)
    return wrapped([*lines(b, w), *tonight(b, w), *cautions(b, w)])


@pytest.mark.parametrize(("yard", "n"), MORNINGS)
def test_every_line_of_every_morning_is_plain_and_promises_nothing(yard: str, n: int) -> None:
    for units in UNITS:
        text = said(yard, n, units)
        whole = " ".join(text)
        assert not NEVER.search(whole), NEVER.findall(whole)
        assert not VALUES.search(whole), VALUES.findall(whole)
        assert all(1 <= float(chance) <= 9 for chance in CHANCES.findall(whole))
        assert max(map(len, text)) <= 78
        assert text[0]
        assert all(line == line.rstrip() for line in text)
        assert not any(a == b == "" for a, b in pairwise(text)), "one empty line parts"
        assert ("°C" if units == "us" else "°F") not in whole


@pytest.mark.parametrize(("yard", "n"), MORNINGS)
def test_the_first_line_of_every_morning_says_the_verdict_in_sixty_characters(yard: str, n: int) -> None:
    b, _ = morning(yard, n)
    for units in UNITS:
        line = headline(b, wording(yard, n, units))
        assert len(line) <= 60
        assert line.endswith(".")
        starts = {
            "seal": ("Seal today, brush ", "Good coating weather, nothing is due."),
            "touch_and_go": ("Touch and go: brush ", "Fair coating weather, about "),
            "prepare": ("Prepare. ",),
            "leave_it": ("Leave it today.",),
            "unknown": ("Unknown.",),
        }
        assert line.startswith(starts[b.morning.verdict])


@pytest.mark.parametrize(("yard", "n"), MORNINGS)
def test_the_json_and_the_text_of_a_morning_say_the_same(yard: str, n: int) -> None:
    b, _ = morning(yard, n)
    w = wording(yard, n)
    data = json_of(b, w)
    assert data["headline"] == lines(b, w)[0]
    assert data["verdict"] == b.morning.verdict
    text = " ".join(lines(b, w))
    named = list(dict.fromkeys(job["tag"] for job in data["first"]))
    assert all(f"{tag} " in text for tag in named[:3])
    for key in ("tonight", "cautions"):
        assert all(line in text for line in data[key])
    us = json_of(b, wording(yard, n, "us"))
    for key in set(data) - {"headline", "tonight"}:
        assert us[key] == data[key], f"{key} does not depend on the units of the screen"


@pytest.mark.parametrize(("yard", "n"), MORNINGS)
def test_a_day_that_is_none_says_what_to_do_with_wood_that_comes_today(yard: str, n: int) -> None:
    b, _ = morning(yard, n)
    text = " ".join(lines(b, wording(yard, n)))
    if b.morning.verdict in ("leave_it", "prepare"):
        assert "Wood cut today: leave the stem long, or shade the ends; small pieces under cover." in text
        assert re.search(r"(Why|Not today): |No working hours", text), "and the reason"
    elif not b.morning.due:
        assert re.search(r"Wood cut today: coat between \S+ and \S+\.", text)


@pytest.mark.parametrize(("yard", "n"), [m for m in MORNINGS if m[0] == "southern"])
def test_good_weather_with_nothing_due_is_never_told_as_leave_it(yard: str, n: int) -> None:
    b, _ = morning(yard, n)
    assert not b.morning.due
    assert b.morning.verdict == b.morning.weather.verdict
    if b.morning.weather.span is not None and b.morning.weather.span.chance >= 0.8:
        assert headline(b, wording(yard, n)) == "Good coating weather, nothing is due."


@pytest.mark.parametrize(("yard", "n"), MORNINGS)
def test_no_more_work_is_listed_than_fits_seven_tenths_of_the_hours(yard: str, n: int) -> None:
    b, _ = morning(yard, n)
    span = b.morning.work.span
    if span is None or b.morning.verdict not in ("seal", "touch_and_go"):
        return
    named, left = first_jobs(b)
    hours = (span.sure_until or span.end) - (span.sure_from or span.start)
    room = (hours / timedelta(minutes=1) + 15.0) * 0.7 * b.people - b.set_up_min
    assert sum(job.minutes * job.people for job in named) <= max(room, named[0].minutes if named else 0.0)
    assert all(job.people <= b.people for job in named)
    assert len(named) + left == len(b.morning.now)


def test_what_cannot_be_reached_has_no_rank_and_nobody_climbs() -> None:
    b, _ = morning("upland", 3)
    text = " ".join(lines(b, wording("upland", 3)))
    assert "Can't be reached: H06 top. Do not climb." in text
    assert not any(job.tag == "H06" and job.end == "top" for job in b.morning.due)


def test_firewood_and_what_is_sawn_first_are_named_and_not_listed() -> None:
    b, _ = morning("upland", 3)
    text = " ".join(lines(b, wording("upland", 3)))
    assert "Not worth wax: H12 silver birch." in text
    assert "Saw, don't coat: H07 sycamore maple." in text
    assert not {job.tag for job in b.morning.due} & {"H07", "H12", "H16"}


# ------------------------------------------------------------------ small mornings made by hand

AT = datetime(2025, 11, 4, 5, tzinfo=UTC)  # a Tuesday, 6:00 in the yard
HOUR = timedelta(hours=1)


def milestones(**hours: float) -> Milestone:
    names = ("touch_dry", "rain_safe", "frost_safe", "dry", "second_coat")
    return Milestone(*(AT + hours[name] * HOUR if name in hours else None for name in names))


def span(begin: float = 3.0, end: float = 7.0, chance: float = 0.93, **facts: Any) -> TimedSpan:
    told: dict[str, Any] = {
        "start": AT + begin * HOUR,
        "end": AT + end * HOUR,
        "best": AT + begin * HOUR,
        "chance": chance,
        "milestones": milestones(
            touch_dry=begin + 4, rain_safe=begin + 11, frost_safe=begin + 6, dry=begin + 20
        ),
        "reasons": (),
    }
    return TimedSpan(**(told | facts))


def log(tag: str, species: str = "Prunus avium", **facts: Any) -> Log:
    ends = tuple(End(name, Moment(AT - timedelta(days=3)), 1, diameter_cm=50.0) for name in ("butt", "top"))
    told: dict[str, Any] = {
        "species": species,
        "species_said": "",
        "state": "in_yard",
        "felled": None,
        "length_cm": 240.0,
        "ends": ends,
        "entry": 1,
    }
    return Log(tag, **(told | facts))


def job(tag: str = "H01", end: str = "butt", kind: str = "first_coat", **facts: Any) -> Job:
    return Job(kind, tag, end, AT - HOUR, 1, **({"minutes": 4.0, "litres": 0.1} | facts))


def small(verdict: Any = "seal", *jobs: Job, people: int = 1, **facts: Any) -> Briefing:
    """A morning with a span from 9 to 13 and the jobs given."""
    brushing = verdict in ("seal", "touch_and_go")
    place = facts.pop("place", None)
    here = span() if brushing else None
    work = PlaceVerdict(place, verdict, here, facts.pop("ahead", None), ())
    weather = PlaceVerdict(None, facts.pop("outside", verdict), here, work.next_span, ())
    told = Morning(
        AT,
        verdict,
        weather,
        work,
        (weather, work) if place else (work,),
        jobs,
        (),
        (),
        (),
        facts.pop("age", Age(2.0, "fresh")),
        facts.pop("why", None),
        facts.pop("wet", ()),
        jobs if brushing else (),
    )
    tags = dict.fromkeys(j.tag for j in jobs)
    logs = facts.pop("logs", tuple(log(tag) for tag in tags))
    forecast = ForecastLine(Provenance("columns", issued=AT - 2 * HOUR, issued_known=True), 168, 48, True)
    return Briefing(
        told,
        Register(AT, logs),
        species_table(),
        **({"forecast": forecast, "yard_name": "Yard", "people": people} | facts),
    )


W = Wording(wording("upland", 0).zone, "metric", AT)


def test_the_first_line_names_as_many_logs_as_fit() -> None:
    one = small("seal", job("H01"))
    assert headline(one, W) == "Seal today, brush 9 to 13. First H01 cherry."
    three = small("seal", job("H01"), job("H02"), job("H03"))
    assert headline(three, W) == "Seal today, brush 9 to 13. First H01 cherry, H02 cherry."
    both_ends = small("seal", job("H01"), job("H01", "top"))
    assert headline(both_ends, W) == "Seal today, brush 9 to 13. First H01 cherry."


def test_where_all_the_work_needs_two_the_first_line_says_so() -> None:
    b = small("seal", job("H02", kind="cut_and_coat", people=2))
    assert headline(b, W) == "Seal today, brush 9 to 13. The work needs two people."
    assert "Needs a second person: H02." in " ".join(lines(b, W))


@settings(max_examples=60, deadline=None)
@given(
    tags=st.lists(
        st.from_regex(r"[A-Z][A-Z0-9-]{0,17}", fullmatch=True), min_size=0, max_size=60, unique=True
    ),
    verdict=st.sampled_from(["seal", "touch_and_go", "prepare", "leave_it", "unknown"]),
    units=st.sampled_from(UNITS),
    place=st.one_of(
        st.none(), st.text(st.characters(codec="utf-8", categories=("L", "Zs")), min_size=1, max_size=40)
    ),
    people=st.integers(1, 4),
)
def test_the_first_line_has_sixty_characters_at_most_whatever_the_register_holds(
    tags: list[str], verdict: Any, units: Any, place: str | None, people: int
) -> None:
    jobs = [job(tag, end) for tag in tags for end in ("butt", "top")]
    ahead = span(27.0, 31.0)
    b = small(
        verdict, *jobs, people=people, place=place, outside="leave_it" if place else verdict, ahead=ahead
    )
    w = Wording(W.zone, units, AT)
    line = headline(b, w)
    assert 0 < len(line) <= 60
    assert len([row for row in lines(b, w) if row.startswith("  ")]) <= 6, "five lines and how many more"
    assert len(json_of(b, w)["headline"]) <= 60
    assert "</svg>" in board_svg(b, w)


def test_five_lines_of_work_and_then_how_many_more() -> None:
    b = small("leave_it", *(job(f"H{n:02}", end) for n in range(1, 10) for end in ("butt", "top")))
    rows = [line for line in lines(b, W) if line.startswith("  ")]
    assert len(rows) == 6
    assert rows[0].startswith("  H01 wild cherry: coat, butt and top; open since Sat 1")
    assert rows[-1] == "  and 8 more ends"


def test_the_work_named_fills_seven_tenths_of_the_hours_and_the_rest_is_counted() -> None:
    # 9 to 13 and the last quarter hour: 255 min, seven tenths of it less 20 min to set up and clean: 158 min.
    jobs = [job(f"H{n:02}", minutes=30.0) for n in range(1, 11)]
    named, left = first_jobs(small("seal", *jobs))
    assert ([j.tag for j in named], left) == (["H01", "H02", "H03", "H04", "H05"], 5)
    assert "  and 5 more ends" in lines(small("seal", *jobs), W)
    two = first_jobs(small("seal", *jobs, people=2))
    assert len(two[0]) == 10
    big = [job("BIG", minutes=500.0), job("H02", minutes=30.0)]
    assert [j.tag for j in first_jobs(small("seal", *big))[0]] == ["BIG"], "the first is named in any case"


def test_on_a_day_that_is_none_all_that_is_due_is_named_to_a_program() -> None:
    jobs = [job(f"H{n:02}", minutes=90.0) for n in range(1, 11)]
    assert len(json_of(small("leave_it", *jobs), W)["first"]) == 10


def test_the_milestones_are_said_in_the_order_of_time_with_the_day_where_it_changes() -> None:
    text = " ".join(lines(small("seal", job()), W))
    assert (
        "Brushed at 9:00: dry to touch by 13:00, past frost by 15:00, takes rain by 20:00, "
        "dry through by tomorrow 5:00." in text
    )
    ahead = small("prepare", ahead=span(27.0, 31.0))
    text = " ".join(lines(ahead, W))
    assert (
        "Brushed tomorrow at 9:00: dry to touch by 13:00, past frost by 15:00, takes rain by 20:00," in text
    )
    assert "dry through by Thu 5:00." in text


def test_rain_is_named_only_where_it_comes_after_the_brush() -> None:
    def why(rain: datetime | None) -> str:
        return " ".join(lines(small("seal", job(), rain=rain), W))

    assert "Why: rain tomorrow at 10:00." in why(AT + 28 * HOUR)
    assert "Why: no rain in sight." in why(None)
    assert "rain at 7:00" not in why(AT + HOUR)


def test_start_and_stop_are_both_said_and_the_hours_with_less_of_a_chance_apart() -> None:
    sure = span(sure_from=AT + 3 * HOUR, sure_until=AT + 6 * HOUR)
    b = small("seal", job())
    place = replace(b.morning.work, span=sure)
    b = replace(b, morning=replace(b.morning, work=place))
    assert headline(b, W).startswith("Seal today, brush 9 to 12.")
    assert "Stop at 12:00; from then to 13:00 less than 8 in 10." in " ".join(lines(b, W))
    assert "Stop at 13:00." in " ".join(lines(small("seal", job()), W))


@pytest.mark.parametrize(
    ("wood_c", "words"),
    [
        (1.2, "H09 is still milky. No frost on it tonight (about 1.2 °C). Leave it be."),
        (-1.2, "roof it while it is light, sheet above, ends open."),
        (None, "H09 is still milky. The night is not known."),
    ],
)
def test_a_milky_coat_is_told_what_the_night_brings(wood_c: float | None, words: str) -> None:
    night = Night(wood_c, None, wood_c, wood_c, None)
    b = small("leave_it", wet=(("H09", "butt"), ("H09", "top")), night=night)
    assert words in tonight(b, W)[0]
    assert len([line for line in tonight(b, W) if "H09" in line]) == 1, "one line a log"


def test_a_coat_that_nobody_has_looked_at_may_be_milky_and_is_not_said_to_be() -> None:
    night = Night(1.2, None, 1.2, 1.2, None)
    b = small("leave_it", wet=(("H09", "butt"),), night=night, unsure=frozenset({"H09"}))
    assert tonight(b, W)[0].startswith("H09 may still be milky.")


def test_two_milky_logs_are_named_and_the_rest_counted() -> None:
    wet = tuple((f"H{n:02}", "butt") for n in range(1, 6))
    said = tonight(small("leave_it", wet=wet, night=Night(3.0, None, 3.0, 3.0, 0.0)), W)
    assert [line.split()[0] for line in said] == ["H01", "H02", "3"]


def test_the_pail_is_told_of_frost_before_dark_and_of_a_night_that_is_not_known() -> None:
    cold = small("leave_it", night=Night(-2.0, None, -1.0, 1.0, 0.9))
    assert tonight(cold, W) == ["Pail indoors before dark: about -1 °C in the yard tonight."]
    few = small("leave_it", night=Night(4.0, None, 4.0, 4.0, 0.3))
    assert tonight(few, W)[0].startswith("Pail indoors before dark")
    mild = small("leave_it", night=Night(6.0, None, 6.0, 6.0, 0.0))
    assert tonight(mild, W) == []
    dark = small("unknown", night=None)
    assert tonight(dark, W) == ["The night is not known: take the pail indoors."]


def test_one_caution_the_one_of_the_riskiest_work() -> None:
    saw = job("H02", kind="cut_and_coat", people=2)
    two = small("seal", job(), saw, people=2)
    [text] = cautions(two, W)
    assert text.startswith("Saw: two people, off the stack, in the light.")
    metal = small("seal", saw, people=2, logs=(log("H02", metal=True),))
    assert "Metal was seen: look for nails before the saw." in cautions(metal, W)[0]
    assert cautions(small("seal", job()), W)[0].startswith("Feel the ends first: dull and dry")
    milky = small("leave_it", wet=(("H09", "butt"),), night=Night(-1.0, None, -1.0, -1.0, 1.0))
    assert cautions(milky, W)[0].startswith("From the ground only.")
    assert cautions(small("leave_it"), W) == []


def test_without_a_forecast_the_notice_says_so_and_how_to_judge_by_eye() -> None:
    b = small(
        "unknown",
        job(),
        age=Age(None, "none"),
        why="The answer is a web page, not a forecast.",
        forecast=ForecastLine(None),
    )
    text = lines(b, W)
    assert text[0] == "Unknown. There is no usable forecast."
    assert text[1] == "The answer is a web page, not a forecast."
    assert text[-1] == "By eye: dull dry face, and no rain or frost for two days. Else wait."
    assert "H01" in " ".join(text), "what is due is said all the same"


def test_a_stale_forecast_says_of_when_it_is() -> None:
    old = ForecastLine(Provenance("columns", issued=AT - 40 * HOUR, issued_known=True))
    b = small("unknown", age=Age(40.0, "stale"), why="The forecast is 40 hours old.", forecast=old)
    assert headline(b, W) == "Unknown. Last forecast is of Sun 14:00, 40 h old."


def test_wax_that_is_not_enough_is_said_and_unknown_stock_raises_no_alarm() -> None:
    jobs = [job(f"H{n:02}", litres=0.5) for n in range(1, 4)]
    assert "Wax: 1.5 L of your 1 L - not enough." in " ".join(
        lines(small("seal", *jobs, stock_litres=1.0), W)
    )
    text = " ".join(lines(small("seal", *jobs), W))
    assert "Wax: 1.5 L." in text
    assert "not enough" not in text


def test_every_verdict_has_a_word_of_its_own_and_no_colour() -> None:
    assert len(set(VERDICT_WORDS.values())) == len(VERDICT_WORDS) == 5
