"""From the briefing through the outbox: over days of rounds, which notices a person really gets."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from notice_samples import DAY, HOUR, Clock, Post, yard_of
from notice_samples import notice as sample
from reminder_samples import BERLIN, wanted
from reminder_samples import job as due_job
from reminder_samples import log as one_log
from starlette.routing import Match

from scheduler.planning.jobs import Job
from scheduler.planning.night import Night
from scheduler.planning.verdict import Age, Milestone, Morning, PlaceVerdict, TimedSpan
from scheduler.reminders import queue_outbox as outbox
from scheduler.reminders.channels import later, sent
from scheduler.reminders.codes import LETTERS, code_of, number_of
from scheduler.reminders.outgoing import composed
from scheduler.reminders.queue import QueueError, mark
from scheduler.reminders.wanted import Derived
from scheduler.settings import YardFile, species_table
from scheduler.tick import Plan, Planner, tick
from scheduler.views.notice import notices
from scheduler.views.today import Briefing, ForecastLine
from scheduler.views.wording import Wording
from scheduler.weather.series import Provenance
from scheduler.yard.facts import End, Log, Moment, Register
from scheduler.yard.store import Store, open_store

MONDAY = datetime(2025, 11, 3, 5, 0, tzinfo=UTC)  # 6:00 in the yard
Hours = Callable[[datetime], tuple[float, float] | None]


@pytest.fixture
def store() -> Iterator[Store]:
    with open_store("sqlite://") as opened:
        yield opened


def log() -> Log:
    ends = (End("butt", Moment(MONDAY - 2 * DAY), 1, diameter_cm=50.0),)
    return one_log("H01", *ends)


def briefing(at: datetime, hours: Hours, *jobs: Job, night: Night | None = None) -> Briefing:
    """A morning whose hours for the brush are a script: local hours of the day, or None."""

    def span_on(day: int) -> TimedSpan | None:
        midnight = (at.astimezone(BERLIN) + day * DAY).replace(hour=0, minute=0, second=0, microsecond=0)
        told = hours(midnight.astimezone(UTC) if day else at)
        if told is None:
            return None
        start, end = (midnight + h * HOUR for h in told)
        start = max(start.astimezone(UTC), at + timedelta(minutes=(-at.minute) % 15))  # starts begin at now
        return (
            None
            if start >= end
            else TimedSpan(start, end.astimezone(UTC), start, 0.9, Milestone(*[None] * 5), ())
        )

    today, ahead = span_on(0), [s for n in range(1, 6) if (s := span_on(n)) is not None]
    verdict = "seal" if today else "prepare" if ahead and ahead[0].start - at < 2 * DAY else "leave_it"
    place = PlaceVerdict(None, verdict, today, ahead[0] if ahead else None, ())  # type: ignore[arg-type]
    spans = (*([today] if today else []), *ahead)
    word = Morning(
        at, verdict, place, place, (place,), jobs, (), spans, (), Age(1.0, "fresh"),  # type: ignore[arg-type]
        now=jobs if today else (),
    )  # fmt: skip
    line = ForecastLine(Provenance("columns", issued=at, issued_known=True), 168, 48, True)
    rise = at.astimezone(BERLIN).replace(hour=7, minute=10, second=0, microsecond=0).astimezone(UTC)
    suns = tuple((rise + n * DAY, rise + n * DAY + 9.5 * HOUR) for n in range(3))
    return Briefing(
        word, Register(at, (log(),)), species_table(), line, "Yard", people=1, suns=suns, night=night
    )


def script(hours: Hours, *jobs: Job, night: Night | None = None, derived: Derived | None = None) -> Planner:
    """A planner that derives its notices as the real one does, from a briefing that is told."""

    def plan(yard: YardFile, at: datetime, store: Store) -> Plan:
        items = derived or Derived(())
        found = notices(
            briefing(at, hours, *jobs, night=night),
            Wording(yard.zone, "metric", at),
            yard.notice,
            items=items.items,
            rows=store.reminders(yard.yard.key),
            told=outbox.told_notices(store, yard.yard.key, at - 22 * DAY),
        )
        return Plan(items, found)

    return plan


def lived(
    store: Store, yard: YardFile, plan: Planner, days: float, post: Post, every: timedelta = HOUR / 2
) -> None:
    clock = Clock(MONDAY - every)
    while clock.at < MONDAY + days * DAY:
        tick(store, yard, clock, plan=plan, sender=post, force=True)
        clock.goes(every)


def kinds(post: Post) -> list[str]:
    return [message.kind for _, message in post.got]


COAT = due_job()


def test_a_week_of_good_days_is_one_word_a_morning_and_no_correction(store: Store, tmp_path: Path) -> None:
    post = Post()
    lived(store, yard_of(tmp_path), script(lambda _: (9, 13), COAT), 6.9, post)
    mornings = [m for _, m in post.got if m.kind == "morning"]
    assert len(mornings) == 7
    assert set(kinds(post)) == {"morning", "before_dark"}
    assert len({m.key for _, m in post.got}) == len(post.got)
    assert sum("This week" in m.text for m in mornings) == 1


def test_a_forecast_that_changes_the_action_is_told_once_under_the_next_number(
    store: Store, tmp_path: Path
) -> None:
    def hours(at: datetime) -> tuple[float, float] | None:
        return (9, 13) if at < MONDAY + 2 * HOUR else (9, 10.5) if at < MONDAY + 5 * HOUR else None

    post = Post()
    lived(store, yard_of(tmp_path), script(hours, COAT), 0.9, post)
    assert [(m.kind, m.key[-1], m.subject) for _, m in post.got] == [
        ("morning", "1", "Seal today, brush 9 to 13. First H01 cherry."),
        ("changed", "2", "Changed: stop at 10:30."),
    ]


def test_a_correction_waits_for_no_work_hours_to_end_where_it_would_be_of_no_more_use(
    store: Store, tmp_path: Path
) -> None:
    yard = yard_of(tmp_path, '[notice]\nwork = "08:00-17:00"')
    post = Post()
    lived(store, yard, script(lambda at: (9, 13) if at < MONDAY + 4 * HOUR else None, COAT), 0.9, post)
    assert kinds(post) == ["morning"]
    assert {row.state for row in outbox.rows(store, "yard")} == {"sent"}, "and nothing is left to expire"


def test_what_the_morning_could_not_send_is_replaced_and_no_correction(store: Store, tmp_path: Path) -> None:
    post = Post([later("away")] * 3 + [sent("taken")])
    lived(
        store, yard_of(tmp_path), script(lambda at: (9, 13) if at < MONDAY + HOUR else None, COAT), 0.3, post
    )
    taken = post.got[-1][1]
    assert (taken.kind, taken.key[-1]) == ("morning", "2")
    assert taken.subject.startswith("No hours for the brush in sight.")  # nobody had the first word


def test_a_winter_month_is_one_line_a_week_and_one_word_for_the_pail(store: Store, tmp_path: Path) -> None:
    frost = Night(-6.0, None, -5.0, -4.0, 1.0)
    post = Post()
    lived(store, yard_of(tmp_path), script(lambda _: None, COAT, night=frost), 27.9, post, 2 * HOUR)
    per_kind = {kind: kinds(post).count(kind) for kind in kinds(post)}
    assert per_kind == {"morning": 4, "pail": 2}, "the pail again after a fortnight"


def test_after_a_power_loss_the_afternoon_is_told_while_it_is_light_and_not_in_the_dark(
    store: Store, tmp_path: Path
) -> None:
    yard, plan, post = (
        yard_of(tmp_path),
        script(lambda at: (9, 13) if at > MONDAY + 12 * HOUR else None, COAT),
        Post(),
    )
    tick(store, yard, Clock(MONDAY + 9.5 * HOUR), plan=plan, sender=post)
    assert kinds(post) == ["before_dark"]
    tick(store, yard, Clock(MONDAY + DAY + 10.5 * HOUR), plan=plan, sender=post)
    assert kinds(post) == ["before_dark"]


def test_a_reminder_that_was_put_off_by_its_code_stays_out_of_the_next_mornings_notice(
    store: Store, tmp_path: Path
) -> None:
    derived = wanted([due_job("look", due=MONDAY - HOUR, why="clear or milky?")], at=MONDAY)
    yard, post = yard_of(tmp_path), Post()
    plan = script(lambda _: None, derived=derived)
    tick(store, yard, Clock(MONDAY), plan=plan, sender=post)
    text = post.got[0][1].text
    code = text.split("reminders done ")[1].split(",")[0]
    assert "To answer (H01 " in text
    assert mark(store, "yard", code.upper(), "later", MONDAY + HOUR).later_until == MONDAY + HOUR + DAY
    tick(store, yard, Clock(MONDAY + DAY), plan=plan, sender=post)
    assert len(post.got) == 1


def test_with_an_address_of_the_page_a_notice_holds_one_link_that_the_page_knows(
    store: Store, tmp_path: Path
) -> None:
    from scheduler.web.routes import ROUTES

    yard = yard_of(tmp_path, '[page]\naddress = "http://192.168.1.20:8300/"')
    one = due_job("look", due=MONDAY - HOUR, why="clear or milky?")
    cases = {
        "/": [],
        "/reminder/1": [one],
        "/log/H01": [one, replace(one, end="top")],
        "/reminders": [one, replace(one, tag="H02")],
    }
    for n, (path, jobs) in enumerate(cases.items()):
        numbers = {str(k): (k, job.tag) for k, job in enumerate(jobs, 1)}
        notice = sample(f"a/{n}", reminder_keys=list(numbers))
        text = composed(notice, numbers, yard.page.address, answer="")
        assert text.splitlines()[-1] == f"http://192.168.1.20:8300{path}"
        scope = {"type": "http", "path": path, "method": "GET"}
        assert any(route.matches(scope)[0] is Match.FULL for route in ROUTES), path
    derived = wanted([one], at=MONDAY)
    post = Post()
    tick(store, yard, Clock(MONDAY), plan=script(lambda _: None, derived=derived), sender=post)
    assert post.got[0][1].text.splitlines()[-1] == "http://192.168.1.20:8300/reminder/1"


# ------------------------------------------------------------------ codes


def test_a_code_with_one_wrong_digit_or_two_that_changed_places_fits_no_letter() -> None:
    for number in (1, 7, 12, 98, 123, 4567):
        code = code_of(number)
        assert number_of(code) == number_of(code.upper()) == number
        digits = str(number)
        for n, right in enumerate(digits):
            for wrong in "0123456789":
                if wrong != right:
                    assert number_of(f"{digits[:n]}{wrong}{digits[n + 1 :]}{code[-1]}") is None
            if n and digits[n - 1] != right:
                swapped = digits[: n - 1] + right + digits[n - 1] + digits[n + 1 :]
                assert number_of(f"{swapped}{code[-1]}") is None
    assert not set("ilo") & set(LETTERS)
    assert [number_of(text) for text in ("", "a", "12", "12 b", "-1b", "12bb", "１２a")] == [None] * 7


def test_a_code_whose_letter_does_not_fit_answers_nothing_and_says_so(store: Store) -> None:
    with pytest.raises(QueueError, match="its letter does not fit its number"):
        mark(store, "yard", "12b", "done", MONDAY)
