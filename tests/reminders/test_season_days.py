"""The season's two days: said once, kept while nothing is known, over when they are over."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from reminder_samples import AT, BERLIN, DAY, local, season, wanted

from scheduler.reminders.queue import is_due
from scheduler.reminders.season import season_wanted
from scheduler.reminders.settle import settle
from scheduler.reminders.wanted import Derived
from scheduler.settings import FeedChoice
from scheduler.views.feed import CalendarEntry, calendar_entries
from scheduler.yard.reminder_row import ReminderRow

TODAY = date(2025, 11, 3)


def derived(today: date = TODAY, **facts: object) -> Derived:
    items = season_wanted(season(**facts), today, BERLIN)  # type: ignore[arg-type]
    at = datetime.combine(today, AT.time(), AT.tzinfo)
    return replace(wanted(at=at), items=items, today=today)


def after(known: list[ReminderRow], now: Derived, at: datetime = AT) -> list[ReminderRow]:
    rows = {row.key: row for row in known}
    for row in settle(known, now, at)[0]:
        rows[row.key] = replace(row, id=row.id or len(rows) + 1, uid=row.uid or f"uid-{row.key}")
    return list(rows.values())


def shown(rows: list[ReminderRow], at: datetime = AT) -> list[CalendarEntry]:
    return list(calendar_entries(rows, BERLIN, "metric", FeedChoice(), at))


def test_both_days_stand_in_the_calendar_however_far_ahead() -> None:
    last, first = shown(after([], derived()))
    assert (last.start, last.end) == (date(2025, 11, 22), date(2025, 11, 23))
    assert last.summary == "The last day to count on for the brush"
    assert last.description == (
        "In 9 of 10 years a good day still came after it; then it is luck. In half of the years the last one "
        "came by Thu 4 Dec. By 30 past years under this yard's rules, not by the forecast."
    )
    assert (first.start, first.summary) == (date(2026, 3, 20), "The brush can come out again")
    assert "In half of them by Sat 28 Feb." in first.description
    assert {entry.status for entry in (last, first)} == {"CONFIRMED"}


def test_where_the_brush_works_all_winter_there_is_no_such_day() -> None:
    assert derived(all_winter=True).items == ()


@pytest.mark.parametrize(("last", "first", "names"), [(None, "2026-03-20", ["first"]), (None, None, [])])
def test_what_past_years_do_not_say_is_not_said(
    last: str | None, first: str | None, names: list[str]
) -> None:
    assert [item.end for item in derived(last=last, first=first).items] == names


def test_asking_again_changes_nothing() -> None:
    rows = after([], derived())
    written, changes = settle(rows, derived(date(2025, 11, 9)), AT + 6 * DAY)
    assert written == ()
    assert not changes.any


def test_a_day_that_moves_is_the_same_entry_with_the_next_sequence() -> None:
    rows = after([], derived())
    moved = after(rows, derived(last="2025-11-25"), AT + DAY)
    (last, _) = shown(moved)
    assert (last.start, last.sequence, last.uid) == (date(2025, 11, 25), 1, shown(rows)[0].uid)


def test_a_day_that_is_past_is_over_and_not_called_off() -> None:
    rows = after([], derived())
    late = local("2025-11-24T05:45")
    rows = after(rows, derived(date(2025, 11, 24)), late)
    (last, first) = shown(rows, late)
    assert (last.status, last.sequence, last.summary) == (
        "CONFIRMED",
        0,
        "The last day to count on for the brush",
    )
    assert first.start == date(2026, 3, 20)
    assert [row.state for row in rows if row.end == "last"] == ["done"]
    assert len(shown(rows, late + 20 * DAY)) == 1, "what is over leaves"


def test_while_past_years_are_not_known_what_stands_stays() -> None:
    rows = after([], derived())
    nothing = replace(wanted(), items=(), unknown=frozenset({"season"}))
    assert settle(rows, nothing, AT + DAY)[0] == ()
    off = after(rows, replace(nothing, unknown=frozenset()), AT + DAY)
    assert {entry.status for entry in shown(off)} == {"CANCELLED"}


def test_nobody_is_asked_to_do_anything_about_it() -> None:
    rows = after([], derived())
    assert not any(is_due(row, AT + timedelta(days=365)) for row in rows)


def test_the_winter_after_has_entries_of_its_own() -> None:
    later = replace(season("2026-11-20", "2027-03-20"), end=date(2027, 1, 14))
    keys = {item.key for item in (*derived().items, *season_wanted(later, TODAY, BERLIN))}
    assert len(keys) == 4
