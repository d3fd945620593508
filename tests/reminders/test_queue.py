from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from hypothesis import HealthCheck, given, settings
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
    span,
    wanted,
)

from scheduler.planning.verdict import TimedSpan
from scheduler.reminders.queue import QueueError, due, is_due, mark, reconcile, rows
from scheduler.reminders.settle import settle
from scheduler.reminders.wanted import Derived
from scheduler.views.reminder import reminder_text
from scheduler.views.wording import Wording
from scheduler.yard.facts import Look, Moment
from scheduler.yard.reminder_row import ReminderRow
from scheduler.yard.store import Store, open_store

YARD = "ellerquern"


@pytest.fixture
def store() -> Iterator[Store]:
    with open_store("sqlite://") as opened:
        yield opened


def the_only(store: Store, kind: str = "span", **facts: Any) -> ReminderRow:
    found = [
        row
        for row in rows(store, YARD)
        if row.kind == kind and all(getattr(row, k) == v for k, v in facts.items())
    ]
    assert len(found) == 1, found
    return found[0]


def text_of(row: ReminderRow) -> str:
    return reminder_text(row, Wording(BERLIN, "metric", AT))


def states(store: Store) -> list[tuple[str, str]]:
    return sorted((row.key, row.state) for row in rows(store, YARD))


# ------------------------------------------------------------------ jobs


def test_what_is_wanted_is_kept_with_a_random_uid_of_its_own(store: Store) -> None:
    changes = reconcile(store, YARD, wanted([job(), job(name="top")], spans=[span()]), AT)
    assert len(changes.added) == 3
    kept = rows(store, YARD)
    assert len({row.uid for row in kept}) == 3
    assert {UUID(str(row.uid)).version for row in kept} == {4}
    assert all(row.tag is None or row.tag not in str(row.uid) for row in kept)
    assert {(row.state, row.sequence, row.changed_at) for row in kept} == {("planned", 0, AT)}


def test_planning_twice_changes_nothing_even_at_a_later_hour(store: Store) -> None:
    derived = wanted([job(), job("look")], spans=[span(), moved(span(), 3 * DAY)])
    reconcile(store, YARD, derived, AT)
    before = rows(store, YARD)
    again = reconcile(store, YARD, derived, AT + 2 * HOUR)
    assert not again.any
    assert sorted(again.kept) == sorted(row.key for row in before)
    assert rows(store, YARD) == before


def test_a_job_that_falls_due_later_moves_under_the_same_uid(store: Store) -> None:
    reconcile(store, YARD, wanted([job("look", due=AT + DAY)]), AT)
    first = the_only(store, "look")
    changes = reconcile(store, YARD, wanted([job("look", due=AT + 2 * DAY)]), AT + HOUR)
    second = the_only(store, "look")
    assert changes.moved == (first.key,)
    assert (second.uid, second.sequence, second.changed_at) == (first.uid, 1, AT + HOUR)
    assert second.due_at == AT + 2 * DAY


def test_other_wording_alone_does_not_raise_the_sequence(store: Store) -> None:
    reconcile(store, YARD, wanted([job()]), AT)
    other = log(felled=None)
    changes = reconcile(store, YARD, wanted([job()], [other]), AT + HOUR)
    row = the_only(store, "seal")
    assert changes.reworded == (row.key,)
    assert (row.sequence, row.changed_at) == (0, AT + HOUR)
    assert "felled" not in text_of(row)


def test_another_place_in_the_order_is_kept_but_is_no_news(store: Store) -> None:
    jobs = [job(), job(name="top")]
    reconcile(store, YARD, wanted(jobs), AT)
    changes = reconcile(store, YARD, wanted(jobs[::-1]), AT + HOUR)
    assert not changes.any
    assert the_only(store, "seal", end="top").payload["order"] == 0
    assert the_only(store, "seal", end="top").changed_at == AT


def test_a_bare_end_that_cracked_is_the_same_reminder_with_a_new_meaning(store: Store) -> None:
    reconcile(store, YARD, wanted([job()]), AT)
    reconcile(store, YARD, wanted([job("cut_and_coat", why="cracked: cut back to clean wood")]), AT)
    assert the_only(store, "seal").sequence == 1


def test_what_is_gone_is_cancelled_and_kept(store: Store) -> None:
    reconcile(store, YARD, wanted([job()], spans=[span()]), AT)
    gone = log(state="gone")
    changes = reconcile(store, YARD, wanted([job()], [gone], [span()]), AT + HOUR)
    row = the_only(store, "seal")
    assert changes.cancelled == (row.key,)
    assert (row.state, row.sequence, row.changed_at) == ("cancelled", 1, AT + HOUR)


def test_a_coat_that_was_entered_makes_its_reminder_done_not_cancelled(store: Store) -> None:
    reconcile(store, YARD, wanted([job()]), AT)
    coated = log("H01", end(coats=(coat("2025-11-03T10:00", 9),)))
    changes = reconcile(store, YARD, wanted([], [coated]), AT + 5 * HOUR)
    assert changes.finished == ("seal/H01/butt/1/0",)
    assert the_only(store, "seal").state == "done"


def test_a_look_that_was_entered_makes_its_reminder_done_and_the_next_one_wanted(store: Store) -> None:
    on = (coat("2025-11-02T10:00", 7),)
    reconcile(store, YARD, wanted([job("look", cause=7)], [log("H01", end(coats=on))]), AT)
    seen = end(coats=on, looks=(Look(Moment(AT), "clear", 8),))
    reconcile(
        store, YARD, wanted([job("look", cause=7, ordinal=1, due=AT + 6 * DAY)], [log("H01", seen)]), AT
    )
    assert states(store) == [("look/H01/butt/7/0", "done"), ("look/H01/butt/7/1", "planned")]


def test_a_new_coat_makes_the_look_at_the_old_one_done(store: Store) -> None:
    on = (coat("2025-11-02T10:00", 7),)
    reconcile(store, YARD, wanted([job("look", cause=7)], [log("H01", end(coats=on))]), AT)
    twice = end(coats=(*on, coat("2025-11-03T10:00", 9, layer=2)))
    changes = reconcile(store, YARD, wanted([], [log("H01", twice)]), AT + HOUR)
    assert changes.finished == ("look/H01/butt/7/0",)


def test_a_coat_that_is_taken_back_brings_its_reminder_back(store: Store) -> None:
    reconcile(store, YARD, wanted([job()]), AT)
    uid = the_only(store, "seal").uid
    coated = log("H01", end(coats=(coat("2025-11-03T10:00", 9),)))
    reconcile(store, YARD, wanted([], [coated]), AT + HOUR)
    changes = reconcile(store, YARD, wanted([job()]), AT + 2 * HOUR)
    row = the_only(store, "seal")
    assert changes.moved == (row.key,)
    assert (row.uid, row.state, row.sequence) == (uid, "planned", 2)


def test_a_log_that_is_sawn_has_its_saw_reminder_done(store: Store) -> None:
    reconcile(store, YARD, wanted([job("saw", name=None), job()]), AT)
    pack = log("H01", end("ends", entry=9), sawn=Moment(AT), count=9)
    changes = reconcile(store, YARD, wanted([], [pack]), AT + HOUR)
    assert changes.finished == ("saw/H01//1/0", "seal/H01/butt/1/0")


@pytest.mark.parametrize("answer", ["done", "drop"])
def test_what_a_person_ended_is_never_touched_again(store: Store, answer: Any) -> None:
    reconcile(store, YARD, wanted([job()], spans=[span()]), AT)
    mark(store, YARD, the_only(store, "seal").id or 0, answer, AT + HOUR)
    mark(store, YARD, the_only(store, "span").id or 0, answer, AT + HOUR)
    before = rows(store, YARD)
    later = wanted([job(due=AT + DAY)], spans=[moved(span(), HOUR)])
    assert not reconcile(store, YARD, later, AT + 2 * HOUR).any
    assert not reconcile(store, YARD, wanted(), AT + 2 * HOUR).any
    assert rows(store, YARD) == before


def test_a_log_that_gets_another_tag_keeps_the_history_of_its_reminders(store: Store) -> None:
    reconcile(store, YARD, wanted([job(), job(name="top")]), AT)
    uids = {row.end: row.uid for row in rows(store, YARD)}
    mark(store, YARD, the_only(store, "seal", end="top").id or 0, "drop", AT)
    renamed = wanted([job(tag="W1"), job(tag="W1", name="top")], [log("W1")])
    changes = reconcile(store, YARD, renamed, AT + HOUR)
    assert (changes.added, changes.cancelled) == ((), ())
    assert {row.end: row.uid for row in rows(store, YARD)} == uids
    assert (the_only(store, "seal", end="butt").tag, the_only(store, "seal", end="butt").sequence) == (
        "W1",
        0,
    )
    assert the_only(store, "seal", end="top").state == "dropped"
    assert not reconcile(store, YARD, renamed, AT + HOUR).any


def test_a_divided_log_hands_the_reminder_of_its_old_end_to_the_piece(store: Store) -> None:
    reconcile(store, YARD, wanted([job()]), AT)
    uid = the_only(store, "seal").uid
    logs = [
        log("H01", state="gone", children=("H01-1", "H01-2")),
        log("H01-1", end("butt"), end("top", entry=5)),
        log("H01-2", end("butt", entry=5), end("top")),
    ]
    jobs = [job(tag="H01-1"), job(tag="H01-1", name="top", cause=5), job(tag="H01-2", cause=5)]
    reconcile(store, YARD, wanted(jobs, logs), AT + HOUR)
    assert the_only(store, "seal", tag="H01-1", end="butt").uid == uid
    assert len(rows(store, YARD)) == 3


def test_two_yards_in_one_store_do_not_see_each_other(store: Store) -> None:
    reconcile(store, YARD, wanted([job()]), AT)
    reconcile(store, "tarnholt", wanted([job()]), AT)
    reconcile(store, "tarnholt", wanted([], [log(state="gone")]), AT)
    assert states(store) == [("seal/H01/butt/1/0", "planned")]


# ------------------------------------------------------------------ the day a job stands on


def test_a_look_is_put_once_and_then_waits_in_the_list(store: Store) -> None:
    look = job("look", due=local("2025-10-20T09:00"))
    reconcile(store, YARD, wanted([look]), AT)
    changes = reconcile(store, YARD, wanted([look], at=AT + 3 * DAY), AT + 3 * DAY)
    assert not changes.any
    assert the_only(store, "look").payload["day"] == "2025-11-03"


def test_a_coat_that_was_not_laid_moves_to_the_next_span(store: Store) -> None:
    saturday = moved(span(), 4 * DAY)
    reconcile(store, YARD, wanted([job()], spans=[span(), saturday]), AT)
    reconcile(store, YARD, wanted([job()], spans=[saturday], at=AT + 2 * DAY), AT + 2 * DAY)
    row = the_only(store, "seal")
    assert (row.payload["day"], row.sequence) == ("2025-11-08", 1)


def test_a_coat_without_a_span_any_more_is_called_off_for_its_day_and_stays_in_the_list(store: Store) -> None:
    reconcile(store, YARD, wanted([job()], spans=[span()]), AT)
    reconcile(store, YARD, wanted([job()], spans=[]), AT + HOUR)
    row = the_only(store, "seal")
    assert (row.state, row.payload["day"], row.payload["called_off"]) == ("planned", None, "2025-11-04")
    assert not reconcile(store, YARD, wanted([job()], spans=[]), AT + 2 * HOUR).any
    saturday = moved(span(), 4 * DAY)
    reconcile(store, YARD, wanted([job()], spans=[saturday]), AT + 3 * HOUR)
    assert "called_off" not in the_only(store, "seal").payload


def test_a_day_that_passed_without_a_coat_is_not_called_off(store: Store) -> None:
    reconcile(store, YARD, wanted([job()], spans=[span()]), AT)
    reconcile(store, YARD, wanted([job()], spans=[], at=AT + 2 * DAY), AT + 2 * DAY)
    assert "called_off" not in the_only(store, "seal").payload


# ------------------------------------------------------------------ spans


def test_a_moved_span_keeps_key_and_uid_while_it_overlaps(store: Store) -> None:
    reconcile(store, YARD, wanted(spans=[span()]), AT)
    first = the_only(store)
    changes = reconcile(store, YARD, wanted(spans=[moved(span(), HOUR, hours=5)]), AT + HOUR)
    second = the_only(store)
    assert changes.moved == (first.key,)
    assert (second.key, second.uid, second.sequence) == (first.key, first.uid, 1)
    assert text_of(second) == "Tue 4 Nov: brush 10 to 15, about 9 in 10."


def test_a_span_that_moves_to_the_next_day_is_the_same_within_24_hours(store: Store) -> None:
    reconcile(store, YARD, wanted(spans=[span()]), AT)
    uid = the_only(store).uid
    reconcile(store, YARD, wanted(spans=[moved(span(), 28 * HOUR)]), AT)  # 24 h between end and start
    assert the_only(store).uid == uid
    reconcile(store, YARD, wanted(spans=[moved(span(), 57 * HOUR)]), AT)  # 25 h farther
    assert [row.state for row in rows(store, YARD)] == ["cancelled", "planned"]


def test_each_of_two_spans_keeps_its_own_uid_when_the_first_is_called_off(store: Store) -> None:
    wednesday = moved(span(), DAY)
    reconcile(store, YARD, wanted(spans=[span(), wednesday]), AT)
    uids = [row.uid for row in rows(store, YARD)]
    changes = reconcile(store, YARD, wanted(spans=[wednesday]), AT)
    assert changes.cancelled == ("span///0/1",)
    kept = rows(store, YARD)
    assert [(row.uid, row.state) for row in kept] == [(uids[0], "cancelled"), (uids[1], "planned")]


def test_a_span_that_comes_back_is_the_one_that_was_called_off(store: Store) -> None:
    reconcile(store, YARD, wanted(spans=[span()]), AT)
    uid = the_only(store).uid
    reconcile(store, YARD, wanted(spans=[]), AT + HOUR)
    assert the_only(store).state == "cancelled"
    reconcile(store, YARD, wanted(spans=[moved(span(), HOUR)]), AT + 2 * HOUR)
    row = the_only(store)
    assert (row.uid, row.state, row.sequence) == (uid, "planned", 2)


def test_a_span_under_way_keeps_the_start_it_had(store: Store) -> None:
    reconcile(store, YARD, wanted(spans=[span()]), AT)
    first = the_only(store)
    now = TUESDAY_9 + 1.9 * HOUR
    rest = replace(span(), start=TUESDAY_9 + 2 * HOUR)  # starts only begin at now
    assert not reconcile(store, YARD, wanted(spans=[rest], at=now), now).any
    assert the_only(store) == first
    shorter = replace(rest, end=TUESDAY_9 + 3 * HOUR)
    changes = reconcile(store, YARD, wanted(spans=[shorter], at=now), now)
    assert changes.moved == (first.key,)
    assert text_of(the_only(store)) == "Tue 4 Nov: brush 9 to 12, about 9 in 10."


def test_the_rest_of_a_day_after_its_good_hours_is_no_news(store: Store) -> None:
    wide = span(hours=7.25, sure_from=TUESDAY_9, sure_until=TUESDAY_9 + 4 * HOUR)
    reconcile(store, YARD, wanted(spans=[wide]), AT)
    first = the_only(store)
    now = TUESDAY_9 + 4.1 * HOUR
    rest = replace(span(chance=0.6), start=TUESDAY_9 + 4.25 * HOUR, end=wide.end)
    assert not reconcile(store, YARD, wanted(spans=[rest], at=now), now).any
    assert the_only(store) == first


def test_good_hours_that_end_before_they_were_said_to_are_told(store: Store) -> None:
    wide = span(hours=7.25, sure_from=TUESDAY_9, sure_until=TUESDAY_9 + 4 * HOUR)
    reconcile(store, YARD, wanted(spans=[wide]), AT)
    now = TUESDAY_9 + 2.1 * HOUR
    rest = replace(span(chance=0.6), start=TUESDAY_9 + 2.25 * HOUR, end=wide.end)
    assert reconcile(store, YARD, wanted(spans=[rest], at=now), now).moved
    assert text_of(the_only(store)) == "Tue 4 Nov: brush 9 to 16:15, about 6 in 10."


def test_a_span_that_is_over_is_done_not_called_off(store: Store) -> None:
    reconcile(store, YARD, wanted(spans=[span()]), AT)
    after = TUESDAY_9 + 5 * HOUR
    changes = reconcile(store, YARD, wanted(spans=[], at=after), after)
    row = the_only(store)
    assert changes.finished == (row.key,)
    assert (row.state, row.sequence, row.changed_at) == ("done", 0, AT)


def test_a_clock_that_is_set_back_brings_an_hour_that_was_over_back_unchanged(store: Store) -> None:
    reconcile(store, YARD, wanted(spans=[span()]), AT)
    first = the_only(store)
    after = TUESDAY_9 + 5 * HOUR
    reconcile(store, YARD, wanted(spans=[], at=after), after)
    assert not reconcile(store, YARD, wanted(spans=[span()]), AT).any
    assert the_only(store) == first


def test_unknown_weather_calls_nothing_off_but_makes_it_unsure(store: Store) -> None:
    reconcile(store, YARD, wanted([job()], spans=[span()]), AT)
    changes = reconcile(store, YARD, wanted([job()], spans=None), AT + HOUR)
    row = the_only(store)
    assert (changes.cancelled, changes.moved) == ((), (row.key,))
    assert row.state == "planned"
    assert row.payload["tentative"]
    assert text_of(row) == "Tue 4 Nov: brush 9 to 13, about 9 in 10 by an old forecast."
    assert the_only(store, "seal").payload["day"] == "2025-11-04"
    assert not reconcile(store, YARD, wanted([job()], spans=None), AT + 2 * HOUR).any
    reconcile(store, YARD, wanted([job()], spans=[span()]), AT + 3 * HOUR)
    assert the_only(store).sequence == 2
    assert not the_only(store).payload["tentative"]


def test_a_span_beyond_a_shorter_forecast_is_unsure_not_called_off(store: Store) -> None:
    saturday = moved(span(), 4 * DAY)
    reconcile(store, YARD, wanted(spans=[span(), saturday]), AT)
    until = AT + 3 * DAY
    changes = reconcile(store, YARD, wanted(spans=[], known_until=until), AT)
    assert changes.cancelled == ("span///0/1",)
    assert changes.moved == ("span///0/2",)


def test_a_reminder_that_was_told_is_planned_again_when_it_moves(store: Store) -> None:
    reconcile(store, YARD, wanted([job("look", due=AT)]), AT)
    row = the_only(store, "look")
    store.update_reminder(YARD, row.id or 0, if_state="planned", if_sequence=0, state="sent")
    reconcile(store, YARD, wanted([job("look", due=AT)]), AT)
    assert the_only(store, "look").state == "sent"
    reconcile(store, YARD, wanted([job("look", due=AT + DAY)]), AT)
    assert the_only(store, "look").state == "planned"


# ------------------------------------------------------------------ answers


def test_a_reminder_is_due_from_its_time_on_until_it_is_answered(store: Store) -> None:
    reconcile(store, YARD, wanted([job("look", due=AT + HOUR)], spans=[span()]), AT)
    look = the_only(store, "look")
    assert not is_due(look, AT)
    assert is_due(look, AT + HOUR)
    put_off = mark(store, YARD, look.id or 0, "later", AT + HOUR, until=AT + 3 * HOUR)
    assert not is_due(put_off, AT + 2 * HOUR)
    assert is_due(put_off, AT + 3 * HOUR)
    assert due([mark(store, YARD, look.id or 0, "done", AT + 3 * HOUR)], AT + 4 * HOUR) == ()


def test_a_span_is_due_while_it_lasts(store: Store) -> None:
    reconcile(store, YARD, wanted(spans=[span()]), AT)
    row = the_only(store)
    moments = [TUESDAY_9 - HOUR, TUESDAY_9, TUESDAY_9 + 3.9 * HOUR, TUESDAY_9 + 4 * HOUR]
    assert [is_due(row, at) for at in moments] == [False, True, True, False]


def test_the_same_answer_twice_changes_nothing(store: Store) -> None:
    reconcile(store, YARD, wanted([job()]), AT)
    number = the_only(store, "seal").id or 0
    first = mark(store, YARD, number, "done", AT + HOUR)
    assert (first.state, first.sequence, first.changed_at) == ("done", 1, AT + HOUR)
    assert mark(store, YARD, number, "done", AT + 2 * HOUR) == first
    assert the_only(store, "seal") == first


def test_later_survives_the_next_plan(store: Store) -> None:
    reconcile(store, YARD, wanted([job()]), AT)
    mark(store, YARD, f"#{the_only(store, 'seal').id}", "later", AT, until=AT + 2 * DAY)
    assert not reconcile(store, YARD, wanted([job()]), AT + HOUR).any
    assert the_only(store, "seal").later_until == AT + 2 * DAY


def test_an_answer_to_an_unknown_number_names_the_nearest(store: Store) -> None:
    reconcile(store, YARD, wanted([job(), job(name="top")]), AT)
    with pytest.raises(QueueError, match=r"no reminder 99\. Near: 2: H01 wild cherry, top: first coat"):
        mark(store, YARD, 99, "done", AT, said=text_of)
    with pytest.raises(QueueError, match=r"no reminder h01\. Near: 1: H01 .*; 2: H01"):
        mark(store, YARD, "h01", "done", AT, said=text_of)
    with pytest.raises(QueueError, match="no number of a reminder"):
        mark(store, YARD, "xyzzy", "done", AT, said=text_of)
    with pytest.raises(QueueError, match=r"'snooze' is no answer .* done, drop, later"):
        mark(store, YARD, 1, "snooze", AT)  # type: ignore[arg-type]
    assert {row.state for row in rows(store, YARD)} == {"planned"}


def test_an_answer_that_does_not_fit_is_refused(store: Store) -> None:
    with pytest.raises(QueueError, match="the list is empty"):
        mark(store, YARD, 1, "done", AT)
    reconcile(store, YARD, wanted([job()], spans=[span()]), AT)
    with pytest.raises(QueueError, match="weather, it cannot wait"):
        mark(store, YARD, the_only(store).id or 0, "later", AT)
    with pytest.raises(QueueError, match="still to come"):
        mark(store, YARD, the_only(store, "seal").id or 0, "later", AT, until=AT - HOUR)
    reconcile(store, YARD, wanted([], [log(state="gone")]), AT)
    with pytest.raises(QueueError, match="called off already"):
        mark(store, YARD, the_only(store, "seal").id or 0, "done", AT)


# ------------------------------------------------------------------ whatever comes


@st.composite
def plans(draw: st.DrawFn) -> Derived:
    """Any jobs, and spans that do not overlap; sometimes weather that is not known."""
    tags, names = st.sampled_from(["H01", "H02"]), st.sampled_from(["butt", "top"])
    kinds = st.sampled_from(["first_coat", "cut_and_coat", "second_coat", "look"])
    drawn = draw(st.lists(st.tuples(kinds, tags, names, st.integers(-40, 90), st.integers(1, 2)), max_size=5))
    jobs = [job(k, t, n, due=AT + h * HOUR, cause=c) for k, t, n, h, c in drawn]
    one_each = {(j.kind.replace("cut_and", "first"), j.tag, j.end, j.cause): j for j in jobs}
    spans: list[TimedSpan] | None = []
    begin = AT
    for gap, hours in draw(st.lists(st.tuples(st.integers(0, 160), st.integers(0, 40)), max_size=4)):
        begin += (gap + 1) * timedelta(minutes=15)
        spans.append(span(begin, hours / 4, draw(st.floats(0.3, 1.0))))
        begin = spans[-1].end
    if draw(st.booleans()) and draw(st.booleans()):
        spans = None
    return wanted(list(one_each.values()), [log("H01"), log("H02")], spans)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(plans(), min_size=1, max_size=4), st.lists(st.integers(0, 20), max_size=3))
def test_after_any_history_planning_again_changes_nothing(many: list[Derived], dropped: list[int]) -> None:
    known: dict[str, ReminderRow] = {}
    for hour, derived in enumerate(many):
        known = applied(known, derived, AT + hour * timedelta(minutes=1))
        for n in dropped:
            if n < len(known):
                key = sorted(known)[n]
                known[key] = replace(known[key], state="dropped")
    at = AT + timedelta(hours=1)
    written, _ = settle(list(known.values()), many[-1], at)
    settled = applied(known, many[-1], at)
    again, changes = settle(list(settled.values()), many[-1], at)
    assert again == ()
    assert not changes.any
    # Nothing is lost, nothing doubled: every wanted job has its row, and no row went away.
    assert settled.keys() >= known.keys()
    assert {w.key for w in many[-1].items if w.kind != "span"} <= settled.keys()
    open_spans = [row for row in settled.values() if row.kind == "span" and row.state == "planned"]
    assert len({row.payload["start"] for row in open_spans}) == len(open_spans)
    assert all(row.sequence >= known[row.key].sequence for row in written if row.key in known)


def applied(known: dict[str, ReminderRow], derived: Derived, at: datetime) -> dict[str, ReminderRow]:
    """The rows after one plan, as the store would hold them."""
    written, _ = settle(list(known.values()), derived, at)
    out = dict(known)
    for row in written:
        payload = json.loads(json.dumps(dict(row.payload)))
        out[row.key] = replace(
            row, id=row.id or len(out) + 1, uid=row.uid or f"uid-{row.key}", payload=payload
        )
    return out


# ------------------------------------------------------------------ two at once

WRITER = """
import sys, time
from pathlib import Path
from reminder_samples import AT, DAY, HOUR, job, log, span, moved, wanted
from scheduler.reminders.queue import reconcile
from scheduler.yard.store import open_store

folder, me = Path(sys.argv[1]), sys.argv[2]
plans = [
    wanted([job("look", f"H{n:02}", due=AT + (n + late) * HOUR) for n in range(20)],
           [log(f"H{n:02}") for n in range(20)], [moved(span(), late * HOUR)])
    for late in (0, 1)
]
with open_store(f"sqlite:///{folder / 'yard.db'}") as store:
    (folder / f"ready-{me}").touch()
    while len(list(folder.glob("ready-*"))) < 2:
        time.sleep(0.002)
    moves = adds = 0
    for turn in range(12):
        changes = reconcile(store, "yard", plans[(turn + int(me)) % 2], AT + turn * HOUR / 60)
        moves += len(changes.moved)
        adds += len(changes.added)
    print(moves, adds)
"""


def test_two_processes_at_once_lose_nothing_and_double_nothing(tmp_path: Path) -> None:
    open_store(f"sqlite:///{tmp_path / 'yard.db'}").close()
    root = Path(__file__).parents[2]
    run = [sys.executable, "-c", WRITER, str(tmp_path)]
    both = [
        subprocess.Popen(
            [*run, str(n)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=root,
            env={"PYTHONPATH": f"{root}:{root / 'tests'}", "PATH": ""},
        )
        for n in (0, 1)
    ]
    said = [process.communicate(timeout=60) for process in both]
    assert [process.returncode for process in both] == [0, 0], said
    moves, adds = (sum(column) for column in zip(*(map(int, out.split()) for out, _ in said), strict=True))
    with open_store(f"sqlite:///{tmp_path / 'yard.db'}") as store:
        kept = rows(store, "yard")
    assert len(kept) == len({row.key for row in kept}) == adds == 21
    assert {row.state for row in kept} == {"planned"}
    # Every move that was reported is in the sequences: no writer overwrote another.
    assert sum(row.sequence for row in kept) == moves
    assert moves > 0
