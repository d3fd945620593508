from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reminder_samples import (
    AT,
    BERLIN,
    DAY,
    HOUR,
    TUESDAY_9,
    coat,
    end,
    job,
    local,
    log,
    moved,
    register,
    said,
    span,
    wanted,
)

from scheduler.planning.verdict import Milestone
from scheduler.reminders.wanted import Wanted, derive
from scheduler.yard.facts import Moment


def only(derived: Any, kind: str) -> Wanted:
    (found,) = [w for w in derived.items if w.kind == kind]
    return found


# ------------------------------------------------------------------ jobs


def test_a_first_coat_names_tag_wood_end_and_since_when_it_is_open() -> None:
    found = only(wanted([job()]), "seal")
    assert said(found) == "H01 wild cherry, butt: first coat. Open since Sat 1 Nov, felled Fri 31 Oct."
    assert found.key == "seal/H01/butt/1/0"
    assert found.due == local("2025-11-01T16:00")


def test_a_fresh_cut_with_coat_is_the_same_reminder_as_the_coat_it_grew_from() -> None:
    bare = only(wanted([job()]), "seal")
    cracked = only(
        wanted([job("cut_and_coat", why="cracked: cut back to clean wood", people=2)]),
        "seal",
    )
    assert cracked.key == bare.key
    assert cracked.payload["action"] != bare.payload["action"]
    assert "fresh cut and first coat. Cracked: cut back to clean wood." in said(cracked)
    assert said(cracked).endswith("Two people for the saw.")


def test_felled_and_cut_on_one_day_is_said_once() -> None:
    at_once = log(felled=Moment(local("2025-11-01T08:00")))
    assert said(only(wanted([job()], [at_once]), "seal")).endswith("Felled and open since Sat 1 Nov.")


def test_a_rough_date_is_told_as_about() -> None:
    rough = log("H01", end(cut="2025-10-20T12:00"), felled=Moment(local("2025-10-10T12:00"), 5 * DAY))
    rough = replace(rough, ends=(replace(rough.ends[0], cut=Moment(local("2025-10-20T12:00"), 2 * DAY)),))
    text = said(only(wanted([job()], [rough]), "seal"))
    assert text.endswith("Open since about 20 Oct, felled about 10 Oct.")


def test_a_cut_that_nobody_told_is_not_given_out_as_known() -> None:
    silent = replace(end(), cut=Moment(local("2025-11-02T12:00"), assumed=True))
    text = said(only(wanted([job()], [log("H01", silent, felled=None)]), "seal"))
    assert text.endswith("Cut not told, taken as Sun 2 Nov.")


def test_a_wood_that_nobody_could_name_keeps_the_persons_word() -> None:
    odd = log(species=None, species_said="grandfather's tree")
    assert said(only(wanted([job()], [odd]), "seal")).startswith("H01 grandfather's tree, butt:")


def test_a_second_coat_and_a_look_say_since_when_the_coat_is_on() -> None:
    coated = log("H05", end("top", coats=(coat("2025-11-02T10:00", 7),)))
    jobs = [
        job("second_coat", "H05", "top", cause=7, due=local("2025-11-03T18:07"), why="fills pinholes"),
        job("look", "H05", "top", cause=7, due=local("2025-11-03T10:00"), why="clear or milky?"),
    ]
    derived = wanted(jobs, [coated])
    assert said(only(derived, "second_coat")) == "H05 wild cherry, top: second coat. Coated Sun 2 Nov."
    assert said(only(derived, "look")) == "H05 wild cherry, top: look. Clear or milky? Coated Sun 2 Nov."
    assert only(derived, "look").key == "look/H05/top/7/0"


def test_the_saw_is_a_reminder_of_the_log_as_a_whole() -> None:
    derived = wanted([job("saw", name=None, why="stain is the loss here, not cracks")])
    found = only(derived, "saw")
    assert (found.key, found.end) == ("saw/H01//1/0", "")
    assert said(found) == (
        "H01 wild cherry: saw it, don't coat. Stain is the loss here, not cracks. Felled Fri 31 Oct."
    )


@pytest.mark.parametrize(
    "facts",
    [{"state": "gone"}, {"state": "expected"}, {"state": "standing"}, {"state": "long"}, {"skip": True}],
)
def test_nothing_is_wanted_for_a_log_that_is_not_to_be_worked_on(facts: dict[str, Any]) -> None:
    assert (
        wanted([job(), job("look"), job("saw", name=None)], [log(**facts)], [span()]).items[0].kind == "span"
    )
    assert len(wanted([job()], [log(**facts)]).items) == 0


def test_nothing_is_wanted_for_a_tag_that_is_not_in_the_register() -> None:
    assert wanted([job(tag="H99")]).items == ()


def test_due_is_told_in_whole_minutes_and_never_too_early() -> None:
    exact = local("2025-11-03T18:07")
    assert only(wanted([job(due=exact)]), "seal").due == exact
    late = exact + timedelta(seconds=1, microseconds=5)
    assert only(wanted([job(due=late)]), "seal").due == exact + timedelta(minutes=1)


# ------------------------------------------------------------------ the day it is put to the person


def test_a_coat_stands_on_the_day_of_the_first_span_in_which_it_can_be_done() -> None:
    saturday = moved(span(), 4 * DAY)
    derived = wanted(
        [job(), job("second_coat", name="top", due=TUESDAY_9 + 12 * HOUR)], spans=[span(), saturday]
    )
    assert only(derived, "seal").payload["day"] == "2025-11-04"
    assert only(derived, "second_coat").payload["day"] == "2025-11-08"


def test_a_coat_without_a_span_in_sight_stands_on_no_day() -> None:
    assert only(wanted([job()]), "seal").payload["day"] is None


def test_a_look_that_fell_due_before_it_was_entered_is_put_today() -> None:
    old = only(wanted([job("look", due=local("2025-10-20T09:00"))]), "look")
    ahead = only(wanted([job("look", due=local("2025-11-09T09:00"))]), "look")
    assert (old.payload["day"], ahead.payload["day"]) == ("2025-11-03", "2025-11-09")


def test_the_day_is_the_yards_day_not_that_of_utc() -> None:
    kiritimati = ZoneInfo("Pacific/Kiritimati")
    derived = derive([job()], register(log()), [span()], AT, kiritimati)
    assert only(derived, "span").payload["day"] == "2025-11-04"
    assert said(only(derived, "span"), zone=kiritimati).startswith("Tue 4 Nov: brush 22 to 2,")


def test_who_is_away_is_put_nothing_before_coming_back() -> None:
    back = local("2025-11-07T00:00")
    derived = derive(
        [job(), job("look", due=local("2025-11-03T12:00"))],
        register(log(), away_until=back),
        [span(), moved(span(), 4 * DAY)],
        AT,
        BERLIN,
    )
    assert only(derived, "span").payload["day"] == "2025-11-08"
    assert only(derived, "seal").payload["day"] == "2025-11-08"
    assert only(derived, "look").payload["day"] == "2025-11-07"


# ------------------------------------------------------------------ spans


def test_a_span_is_told_with_its_hours_and_its_chance() -> None:
    found = only(wanted(spans=[span()]), "span")
    assert said(found) == "Tue 4 Nov: brush 9 to 13, about 9 in 10."
    assert found.due == TUESDAY_9


def test_in_us_units_the_hours_are_on_a_twelve_hour_clock() -> None:
    zone = ZoneInfo("America/New_York")
    derived = derive([], register(), [span(local("2025-11-04T09:00", zone))], AT, zone)
    assert said(only(derived, "span"), units="us", zone=zone) == "Tue 4 Nov: brush 9 to 1, about 9 in 10."


@given(st.floats(0.0, 1.0))
def test_a_chance_is_never_above_nine_nor_below_one_in_ten(chance: float) -> None:
    in_ten = only(wanted(spans=[span(chance=chance)]), "span").payload["in_ten"]
    assert 1 <= in_ten <= 9
    assert abs(in_ten - 10 * chance) <= 1.0


def test_the_hours_told_are_those_of_a_plain_yes_where_there_are_any() -> None:
    wide = span(hours=7.25, sure_from=TUESDAY_9, sure_until=TUESDAY_9 + 4 * HOUR)
    found = only(wanted(spans=[wide]), "span")
    assert said(found) == "Tue 4 Nov: brush 9 to 13, about 9 in 10."
    assert found.payload["end"] == (TUESDAY_9 + 7.25 * HOUR).isoformat()


def test_milestones_are_given_in_half_hours_of_the_yards_clock_upwards() -> None:
    kathmandu = ZoneInfo("Asia/Kathmandu")  # 5 h 45 min ahead of UTC
    start = local("2025-11-04T09:00", kathmandu)
    reached = Milestone(start + 4.2 * HOUR, start + 9 * HOUR, None, start + 28.51 * HOUR, None)
    found = only(derive([], register(), [span(start, milestones=reached)], AT, kathmandu), "span")
    assert found.payload["milestones"] == {
        "touch_dry": (start + 4.5 * HOUR).isoformat(),
        "rain_safe": (start + 9 * HOUR).isoformat(),
        "frost_safe": None,
        "dry": (start + 29 * HOUR).isoformat(),
    }


def test_a_span_beyond_the_trusted_days_is_tentative() -> None:
    found = wanted(spans=[span(), moved(span(), 7 * DAY)])
    assert [w.payload["tentative"] for w in found.items] == [False, True]


def test_a_span_lists_at_most_five_lines_of_work_and_how_many_more() -> None:
    logs = [log(f"H{n:02}") for n in range(1, 9)]
    jobs = [job(tag=one.tag, name=name) for one in logs for name in ("butt", "top")]
    payload = only(wanted(jobs, logs, [span()]), "span").payload
    assert payload["work"][0] == {
        "tag": "H01",
        "species": "Prunus avium",
        "ends": ["butt", "top"],
        "action": "first_coat",
        "two": False,
    }
    assert (len(payload["work"]), payload["more"]) == (5, 3)


def test_work_under_a_roof_has_the_spans_of_its_place() -> None:
    inside = moved(span(), -20 * HOUR)
    jobs = [job(), job(name="top", place="lean-to")]
    derived = wanted(jobs, spans=[span()], covered={("lean-to", False): [inside, moved(span(), DAY)]})
    told = sorted(said(w) for w in derived.items if w.kind == "span")
    assert told == [
        "Mon 3 Nov: brush 13 to 17 in the lean-to, about 9 in 10.",
        "Tue 4 Nov: brush 9 to 13, about 9 in 10.",
    ]  # the lean-to's other span has no work in it and stays out
    assert {w.end: w.payload["day"] for w in derived.items if w.kind == "seal"} == {
        "butt": "2025-11-04",
        "top": "2025-11-03",
    }


def test_unknown_weather_wants_no_span_and_says_that_nothing_is_known() -> None:
    derived = wanted([job()], spans=None)
    assert [w.kind for w in derived.items] == ["seal"]
    assert derived.known_until == AT


def test_a_span_that_is_over_is_not_wanted() -> None:
    assert wanted(spans=[span()], at=TUESDAY_9 + 4 * HOUR).items == ()


@given(st.floats(-100.0, 100.0), st.floats(0.0, 12.0), st.floats(0.0, 1.0))
def test_what_is_wanted_survives_the_way_through_json(start: float, hours: float, chance: float) -> None:
    derived = wanted([job()], spans=[span(AT + start * HOUR, hours, chance)])
    for item in derived.items:
        assert json.loads(json.dumps(item.payload)) == item.payload
