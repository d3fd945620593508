"""Which notices a moment calls for: each kind, how few lines, when there is silence, what is news."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from morning_samples import MORNINGS, morning, wording
from test_today import AT, HOUR, NEVER, VALUES, W, job, log, small, span

from scheduler.planning.jobs import Job
from scheduler.planning.night import Night, Peril
from scheduler.planning.pail import Frost, Order, Warming
from scheduler.planning.verdict import Age
from scheduler.reminders.outgoing import ToldNotice, composed
from scheduler.reminders.pails import frost_facts, order_facts, warming_facts
from scheduler.reminders.wanted import Wanted
from scheduler.settings import NoticeTimes, pail_numbers
from scheduler.views.notice import Notice, notices
from scheduler.views.notice_said import kept_short, key_of
from scheduler.views.today import Briefing
from scheduler.views.wording import Wording
from scheduler.views.words import words_in
from scheduler.yard.facts import Coat, Moment, Pail, Register
from scheduler.yard.reminder_row import ReminderRow

DAY = timedelta(days=1)
SUN = (AT + 1.2 * HOUR, AT + 10.7 * HOUR)  # 7:12 and 16:42 in the yard
SUNS = tuple((rise + n * DAY, fall + n * DAY) for n in range(3) for rise, fall in [SUN])
COLD = Night(-2.0, AT + 20 * HOUR, -1.0, 0.5, 0.9)
MILD = Night(4.0, None, 3.0, 3.0, 0.0)
TIMES = NoticeTimes()


def told(one: Notice, *, sent: bool = True, number: int = 1, at: Any = None) -> ToldNotice:
    """A notice as the outbox remembers it."""
    when = one.due if at is None else at
    return ToldNotice(one.key, one.kind, one.action, number, when, sent, tuple(one.reminder_keys))


def at_hour(b: Briefing, hours: float) -> Briefing:
    """The same, so many hours after 6:00 of that Tuesday."""
    return replace(b, morning=replace(b.morning, at=AT + hours * HOUR))


def asked(
    b: Briefing, *, times: NoticeTimes = TIMES, hours: float | None = None, language: str = "en", **facts: Any
) -> dict[str, Notice]:
    """The notices that may leave now, by kind."""
    b = b if hours is None else at_hour(b, hours)
    b = b if b.suns else replace(b, suns=SUNS)
    at = b.morning.at
    found = notices(b, Wording(W.zone, "metric", at, language), times, **facts)
    due = [one for one in found if one.due <= at < one.expires]
    assert len({one.key for one in due}) == len(due)
    return {one.kind: one for one in due}


NUMBERS = pail_numbers()
FACTS: dict[str, dict[str, Any]] = {
    "pail_frost": frost_facts(
        Frost("pail", "shed", "roofed", -2.0, 1.0, 0.5, AT + 20 * HOUR, bring_in=True), NUMBERS
    ),
    "pail_warm": warming_facts(Warming("pail", 3.0, 5.0, AT, AT + DAY), NUMBERS),
    "pail_order": order_facts(Order(3.6, None, None, van_may_freeze=False), NUMBERS),
    "season": {"action": "last", "years": 30},
}


def item(kind: str, tag: str = "H01", **facts: Any) -> Wanted:
    """A reminder that is wanted on that Tuesday."""
    payload = {"day": "2025-11-04", "action": kind} | FACTS.get(kind, {}) | facts.pop("payload", {})
    return Wanted(kind, tag, facts.pop("end", "butt"), 1, 0, AT - HOUR, payload)


def row(of: Wanted, **facts: Any) -> ReminderRow:
    """The same as it is kept."""
    kept: dict[str, Any] = {"payload": dict(of.payload), "tag": of.tag, "id": 12}
    return ReminderRow(of.key, of.kind, of.due, "", AT, **(kept | facts))


# ------------------------------------------------------------------ the morning


def test_a_morning_on_which_something_is_due_and_possible_says_what_when_and_till_when() -> None:
    one = asked(small("seal", job("H01"), job("H02", kind="cut_and_coat", people=2), people=2))["morning"]
    assert one.key == "morning/2025-11-04"
    assert one.subject == one.lines[0] == "Seal today, brush 9 to 13. First H02 cherry, H01 cherry."
    assert one.lines[1] == "About 9 in 10 that it holds. Takes rain by 20:00. Stop at 13:00."
    assert "H02 cherry, cut back to clean wood, coat at once (two people)" in one.lines[2]
    assert not one.alone
    assert one.action == "brush 09:00-13:00"
    assert one.expires == AT + 6 * HOUR, "of use till an hour before the brush must stop"


def test_a_morning_slept_through_is_told_while_the_brush_can_still_be_used_and_not_after() -> None:
    b = small("seal", job())
    assert "morning" in asked(b, hours=4.0)
    assert "morning" not in asked(b, hours=6.5)
    assert "morning" in asked(small("leave_it", job()), hours=4.9)
    assert "morning" not in asked(small("leave_it", job()), hours=5.1)


def test_with_nothing_due_good_weather_is_told_once_and_then_there_is_silence() -> None:
    b = small("seal", logs=(log("H01"),))
    first = asked(b)["morning"]
    assert first.subject == "Good coating weather, nothing is due."
    assert "Wood cut today: coat between 9 and 13." in first.lines
    before = replace(told(first), key="morning/2025-11-03", at=AT - DAY)
    assert asked(b, told=[before]) == {}
    assert "morning" in asked(b, told=[before], times=NoticeTimes(daily=True))


def test_wood_that_waits_to_be_cut_makes_good_hours_worth_a_word_each_day() -> None:
    b = small("seal", logs=(log("H20", state="standing", ends=()),))
    b = replace(b, morning=replace(b.morning, spans=(span(),)))
    before = ToldNotice("morning/2025-11-03", "morning", "fair", 1, AT - DAY, True)
    one = asked(b, told=[before])["morning"]
    assert any("Still to cut: H20." in line for line in one.lines)


def test_the_week_is_told_once_within_its_first_notice() -> None:
    b = small("leave_it", job(), ahead=span(27, 31))
    b = replace(b, morning=replace(b.morning, spans=(span(27, 31), span(99, 101.5, 0.6))))
    said = asked(b)["morning"].lines
    assert "This week: brush Wed 5 9 to 13, Sat 8 9 to 11:30." in said
    monday = ToldNotice("morning/2025-11-03", "morning", "leave", 1, AT - DAY, True)
    assert not any("This week" in line for line in asked(b, told=[monday])["morning"].lines)
    last_week = replace(monday, key="morning/2025-11-02", at=AT - 2 * DAY)
    assert any("This week" in line for line in asked(b, told=[last_week])["morning"].lines)


def test_without_a_forecast_the_morning_says_so() -> None:
    b = small("unknown", job(), why="There is no forecast.", age=Age(None, "none"))
    one = asked(b)["morning"]
    assert one.subject.startswith("Unknown.")
    assert one.action == "unknown"


# ------------------------------------------------------------------ reminders ride in it


@pytest.mark.parametrize("kind", ["look", "saw", "saw_by", "pail_order", "season", "anything_new"])
def test_a_reminder_of_any_kind_rides_in_the_morning_once(kind: str) -> None:
    one = item(kind)
    b = small("leave_it")
    notice = asked(b, items=[one], rows=[row(one)])["morning"]
    assert notice.reminder_keys == (one.key,)
    said = {"pail_order": "Order 3.6 L of wax", "season": "the last day to count on"}.get(kind, "H01")
    assert any(said in line for line in notice.lines[1:])
    assert not notice.alone
    assert asked(b, items=[one], rows=[row(one, state="sent")]) == {}, "then it waits in the list"


@pytest.mark.parametrize("kind", ["seal", "touch_up", "second_coat"])
def test_a_coat_rides_on_its_day_where_the_day_is_good_for_it(kind: str) -> None:
    work = job(kind="first_coat" if kind == "seal" else kind)
    one = item(kind)
    assert key_of(work) == one.key
    assert asked(small("seal", work), items=[one])["morning"].reminder_keys == (one.key,)
    tomorrow = item(kind, payload={"day": "2025-11-05"})
    assert asked(small("seal", work), items=[tomorrow])["morning"].reminder_keys == ()
    assert asked(small("leave_it", work), items=[one])["morning"].reminder_keys == ()


def test_a_second_coat_is_asked_for_once_and_then_waits_in_the_list() -> None:
    one, b = item("second_coat"), small("leave_it", job(kind="second_coat"))
    before = ToldNotice("morning/2025-11-03", "morning", "leave", 1, AT - DAY, True, (one.key,))
    assert "morning" in asked(b, items=[one], rows=[row(one)])
    assert asked(b, items=[one], rows=[row(one)], told=[before]) == {}


@pytest.mark.parametrize(
    "kept",
    [
        {"state": "dropped", "payload": {"closed": "keeper"}},
        {"state": "done", "payload": {"closed": "keeper"}},
        {"later_until": AT + DAY},
    ],
)
def test_what_a_person_ended_or_put_off_is_not_put_again(kept: dict[str, Any]) -> None:
    coat, look = item("seal"), item("look", "H05")
    rows = [row(coat, **kept), row(look, **kept)]
    assert asked(small("leave_it", job()), items=[coat, look], rows=rows) == {}
    again = [row(coat, **kept | {"state": "planned", "later_until": AT - HOUR}), row(look)]
    assert "morning" in asked(small("leave_it", job()), items=[coat, look], rows=again)


# ------------------------------------------------------------------ silence


def winter(*jobs: Job, **facts: Any) -> Briefing:
    """No hours for the brush in sight, with a forecast that reaches far."""
    return small("leave_it", *(jobs or (job(), job(end="top"))), **facts)


def days_of_winter(days: int, thaw: Any = None) -> list[tuple[int, Notice]]:
    """The mornings of so many days from that Tuesday on, and what each told."""
    out: list[tuple[int, Notice]] = []
    known: list[ToldNotice] = []
    for n in range(days):
        b = winter(thaw=thaw if n >= 9 else None)
        at = AT + n * DAY
        b = replace(b, morning=replace(b.morning, at=at), suns=())
        found = notices(b, Wording(W.zone, "metric", at), TIMES, told=known)
        for one in found:
            out.append((n, one))
            known.append(told(one, at=at))
    return out


def test_in_winter_it_is_said_once_that_there_will_be_silence_and_then_one_line_on_mondays() -> None:
    said = days_of_winter(28)
    assert [n for n, _ in said] == [0, 6, 13, 20, 27]
    first, monday = said[0][1], said[1][1]
    assert first.lines == [
        "No hours for the brush in sight. Ends that wait: 2.",
        "Silence till that changes, but for a line on Mondays.",
    ]
    assert monday.lines == ["No hours for the brush in sight. Ends that wait: 2."]


def test_a_thaw_wakes_it_once() -> None:
    said = days_of_winter(14, thaw=AT + 9 * DAY + 5 * HOUR)
    assert [n for n, _ in said] == [0, 6, 9, 13]
    assert said[2][1].lines[1].startswith("Thaw at 11:00: the ends sweat first.")


def test_the_first_likely_hours_wake_it_and_are_told_as_such() -> None:
    rest = ToldNotice("morning/2025-11-03", "morning", "rest", 1, AT - DAY, True)
    one = asked(small("seal", job()), told=[rest])["morning"]
    assert "The first likely hours for the brush after a rest." in " ".join(one.lines)


def test_with_nothing_in_the_yard_winter_says_nothing_at_all() -> None:
    assert asked(replace(winter(), morning=replace(winter().morning, due=()))) == {}


def test_a_short_forecast_is_no_reason_to_speak_of_a_rest() -> None:
    b = winter()
    b = replace(b, forecast=replace(b.forecast, hours=40))
    assert asked(b)["morning"].action == "leave"


def test_while_the_keeper_is_away_all_rests_but_the_pail() -> None:
    b = small("seal", job(), wet=(("H09", "butt"),), night=COLD, perils=PERILS)
    b = replace(b, register=replace(b.register, away_until=AT + 3 * DAY))
    look, frost, order = item("look"), item("pail_frost", ""), item("pail_order", "")
    assert asked(b, items=[look], hours=9.0).keys() == {"pail"}
    assert asked(b, items=[look, frost, order]).keys() == {"pail_frost", "pail_order"}


def test_nothing_leaves_into_the_saw_pocket_but_a_wet_coat_in_danger() -> None:
    times = NoticeTimes(morning="08:30", work="08:00-16:30")
    b = small("seal", job(), wet=(("H09", "butt"),), night=COLD, perils=PERILS)
    found = asked(b, times=times, hours=8.0)
    assert found.keys() == {"danger", "pail"}, "what would be of no use after work is not put"
    assert asked(b, times=NoticeTimes(), hours=8.0).keys() == {"danger", "before_dark"}


# ------------------------------------------------------------------ what rings alone

PERILS = (Peril("H09", "butt", "rain_before_it_holds", AT + 9.5 * HOUR),)


def test_a_wet_coat_in_danger_rings_alone_in_the_light_and_says_what_to_do_first() -> None:
    b = small("seal", wet=(("H09", "butt"),), perils=PERILS, night=MILD)
    one = asked(b, hours=5.0)["danger"]
    assert one.alone
    assert list(one.lines) == [
        "Rain at 15:30: H09 still milky.",
        "Saw down first, then roof it by 15:00, sheet above, ends open.",
        "From the ground only. Too windy to hold a sheet? Let it go: it is a cup of wax, not the log.",
    ]
    assert one.expires == PERILS[0].at
    assert "danger" not in asked(b, hours=2.0), "not long before"
    assert "danger" not in asked(
        replace(b, suns=tuple((r - 9 * HOUR, f - 9 * HOUR) for r, f in SUNS)), hours=5.0
    )


def test_danger_rings_again_only_for_another_log() -> None:
    b = small("seal", wet=(("H09", "butt"),), perils=PERILS, night=MILD)
    one = asked(b, hours=5.0)["danger"]
    assert "danger" not in asked(b, hours=6.0, told=[told(one)])
    sooner = (replace(PERILS[0], at=AT + 8 * HOUR),)
    assert "danger" not in asked(replace(b, perils=sooner), hours=6.0, told=[told(one)])
    two = (*PERILS, replace(PERILS[0], tag="H03"))
    assert "danger" in asked(replace(b, perils=two), hours=6.0, told=[told(one)])


def laid(tag: str, ago: timedelta) -> Any:
    of = log(tag)
    coated = replace(of.ends[0], coats=(Coat(Moment(AT - ago), 1, 2),))
    return replace(of, ends=(coated, of.ends[1]))


@pytest.mark.parametrize("word", ["old", "stale", "none"])
def test_no_fresh_forecast_while_a_coat_is_wet_rings_alone_once_a_day(word: Any) -> None:
    age = Age(None if word == "none" else 15.0, word)
    b = small("seal", wet=(("H09", "butt"),), age=age, logs=(laid("H09", DAY),))
    one = asked(b, hours=2.0)["blind"]
    assert one.alone
    assert one.subject == "No fresh forecast, and H09 still milky."
    assert asked(b, hours=4.0, told=[told(one)])["blind"].action == one.action, (
        "the same key and action: once"
    )
    assert "blind" not in asked(b, hours=0.0), "not in the dark"
    assert "blind" not in asked(replace(b, register=Register(AT, (laid("H09", 6 * DAY),))), hours=2.0)


def test_a_fresh_forecast_rings_for_nothing() -> None:
    b = small("seal", wet=(("H09", "butt"),), logs=(laid("H09", DAY),))
    assert "blind" not in asked(b, hours=2.0)


def test_frost_for_the_pail_rings_alone_once_till_the_pail_is_used_again() -> None:
    b = small("leave_it", night=COLD)
    one = asked(b, hours=8.0)["pail"]
    assert one.alone
    assert one.subject == "Pail indoors tonight: about -1 °C in the yard."
    assert asked(b, hours=8.0, told=[replace(told(one), at=AT - DAY, key="pail/2025-11-03")]) == {}
    used = replace(b, register=Register(AT, pails=(Pail("pail", Moment(AT - HOUR), 3),)))
    assert "pail" in asked(used, hours=8.0, told=[replace(told(one), at=AT - DAY, key="pail/2025-11-03")])
    assert asked(small("leave_it", night=MILD), hours=8.0) == {}


def test_only_three_things_ring_alone() -> None:
    b = small("seal", job(), wet=(("H09", "butt"),), night=COLD, perils=PERILS, age=Age(15.0, "old"))
    b = replace(b, register=replace(b.register, logs=(*b.register.logs, laid("H09", DAY))))
    alone = set()
    for hours in (0.0, 2.0, 5.0, 8.0, 11.0, 13.0):
        items = [item("look"), item("pail_frost", ""), item("saw_by"), item("season", "")]
        alone |= {one.kind for one in asked(b, hours=hours, items=items).values() if one.alone}
    assert alone == {"danger", "blind", "pail_frost", "before_dark"}
    # Before dark rings alone only for the wet coat in danger that it tells to roof.
    dry = replace(b, perils=(), morning=replace(b.morning, wet=()))
    assert not any(
        one.alone for one in asked(dry, hours=8.0).values() if one.kind not in ("pail", "pail_frost")
    )


# ------------------------------------------------------------------ before dark, evening


def test_before_dark_tells_three_hours_before_sunset_what_to_roof_and_to_bring_in() -> None:
    frost = (Peril("H09", "butt", "frost_on_face", AT + 20 * HOUR),)
    b = small("leave_it", job(), wet=(("H09", "butt"),), night=COLD, perils=frost, ahead=span(27, 31))
    assert "before_dark" not in asked(b, hours=7.6)
    one = asked(b, hours=7.8)["before_dark"]
    assert one.due == SUN[1] - 3 * HOUR
    assert one.expires == SUN[1] - HOUR / 2, "what is not begun by then is not begun"
    assert one.lines[0] == "Before dark: roof H09."
    said = " ".join(one.lines)
    for part in ("Frost on the wood tomorrow at 2:00", "Pail indoors", "Tomorrow: brush 9 to 13"):
        assert part in said
    assert "before_dark" not in asked(b, hours=10.3)
    assert "before_dark" not in asked(b, hours=9.0, told=[told(one)])
    more = replace(b, perils=(*frost, replace(frost[0], tag="H03")))
    assert "before_dark" in asked(more, hours=9.0, told=[told(one)])


def test_the_pail_rides_in_the_before_dark_notice_and_does_not_ring_beside_it() -> None:
    b = small("leave_it", job(), night=COLD, ahead=span(27, 31))
    found = asked(b, hours=8.0)
    assert found.keys() == {"before_dark"}
    assert asked(b, hours=9.0, told=[told(found["before_dark"])]) == {}


def test_nothing_to_do_in_the_light_is_no_notice() -> None:
    assert "before_dark" not in asked(small("seal", job(), night=MILD), hours=8.0)
    assert "before_dark" not in asked(small("leave_it", night=MILD, ahead=span(27, 31)), hours=8.0)


def test_the_evening_tells_of_tomorrow_only_what_the_afternoon_did_not_and_sends_nobody_out() -> None:
    b = small("leave_it", job(), night=MILD, ahead=span(27, 31), wet=(("H09", "butt"),), perils=PERILS)
    one = asked(b, hours=12.6)["evening"]
    assert list(one.lines) == ["Tomorrow: brush 9 to 13, about 9 in 10.", "First H01."]
    assert not any(word in " ".join(one.lines) for word in ("roof", "while it is light", "clear the way"))
    dark = asked(b, hours=8.0)["before_dark"]
    assert "evening" not in asked(b, hours=12.6, told=[told(dark)]), "no news"
    gone = small("leave_it", job(), night=MILD)
    assert asked(gone, hours=12.6, told=[told(dark)])["evening"].subject == (
        "Tomorrow not after all: leave it."
    )
    assert "evening" not in asked(gone, hours=12.6)
    assert "evening" not in asked(b, hours=12.6, times=NoticeTimes(evening="no"))
    assert "evening" not in asked(b, hours=14.5), "nothing after 20:00"


# ------------------------------------------------------------------ corrections


def corrected(
    was: Briefing, now: Briefing, hours: float, *, sent: bool = True, number: int = 1
) -> Notice | None:
    first = asked(was)["morning"]
    found = asked(now, hours=hours, told=[told(first, sent=sent, number=number)])
    return found.get("changed") or found.get("morning")


GOOD, BAD = small("seal", job()), small("leave_it", job())


def with_span(b: Briefing, begin: float, end: float) -> Briefing:
    work = replace(b.morning.work, span=span(begin, end))
    return replace(b, morning=replace(b.morning, work=work))


def test_hours_that_are_called_off_are_corrected_under_the_same_key() -> None:
    one = corrected(GOOD, BAD, 2.0)
    assert one is not None
    assert (one.kind, one.key, one.action) == ("changed", "morning/2025-11-04", "leave")
    assert one.subject == "Changed: leave it today."
    assert not one.alone
    unknown = corrected(GOOD, small("unknown", job(), why="No forecast."), 2.0)
    assert unknown is not None
    assert unknown.subject == "Changed: unknown. Judge by eye, or wait."


def test_a_correction_of_what_never_left_is_the_morning_notice_itself() -> None:
    one = corrected(GOOD, BAD, 2.0, sent=False)
    assert one is not None
    assert one.kind == "morning"


@pytest.mark.parametrize(
    ("begin", "end", "said"),
    [
        (3.0, 7.0, None),
        (3.5, 7.0, None),
        (3.0, 6.5, None),
        (3.0, 9.0, None),
        (3.0, 5.0, "Changed: stop at 11:00."),
        (5.0, 8.0, "Changed: brush 11 to 14."),
    ],
)
def test_hours_are_corrected_only_where_they_moved_by_an_hour(
    begin: float, end: float, said: str | None
) -> None:
    one = corrected(GOOD, with_span(GOOD, begin, end), 2.0)
    assert (None if one is None else one.subject) == said


def test_other_chances_and_words_alone_are_no_news() -> None:
    other = small("touch_and_go", job(), job("H02"))
    assert corrected(GOOD, with_span(other, 3.0, 7.0), 2.0) is None


def test_the_start_that_creeps_along_with_the_clock_is_no_change() -> None:
    first = asked(GOOD)["morning"]
    for quarter in range(12, 60):
        hours = quarter / 4
        left = with_span(GOOD, max(hours, 3.0), 7.0) if hours < 7.0 else BAD
        assert "changed" not in asked(left, hours=hours, told=[told(first)]), hours


def test_hours_that_open_after_a_no_are_told_where_they_are_worth_it() -> None:
    one = corrected(BAD, with_span(GOOD, 5.0, 8.0), 3.0)
    assert one is not None
    assert one.subject == "Changed: brush 11 to 14 after all."
    assert one.expires == AT + 7 * HOUR
    assert corrected(BAD, with_span(GOOD, 5.0, 5.75), 3.0) is None
    assert corrected(BAD, with_span(GOOD, 5.0, 8.0), 3.0, number=4) is None, "not to and fro all day"


def test_work_that_is_done_or_came_since_is_no_change_of_the_forecast() -> None:
    done = small("seal", logs=(log("H01"),))
    assert corrected(GOOD, done, 4.0) is None
    fair = small("seal", logs=(log("H01"),))
    assert corrected(fair, GOOD, 4.0) is None


def test_a_correction_tells_of_what_was_brushed_by_the_first_word() -> None:
    rain = replace(BAD, morning=replace(BAD.morning, wet=(("H01", "butt"),)), night=COLD)
    one = corrected(GOOD, rain, 5.0)
    assert one is not None
    assert any("H01 is still milky" in line for line in one.lines)


# ------------------------------------------------------------------ few lines, plain words


def test_lines_are_joined_before_one_is_left_out_and_the_first_stays_as_it_is() -> None:
    lines: list[tuple[int, str | None]] = [
        (9, "first"),
        (8, "a."),
        (7, "b."),
        (1, None),
        (2, "c" * 149),
        (6, "d."),
    ]
    assert kept_short(lines, 5) == ["first", "a.", "b.", "c" * 149, "d."]
    assert kept_short(lines, 4) == ["first", "a. b.", "c" * 149, "d."]
    assert kept_short(lines, 3) == ["first", "a. b.", "d."]


def check_plain(found: Sequence[Notice], public: str | None, language: str) -> None:
    for one in found:
        numbers = {key: (n, key.split("/")[1]) for n, key in enumerate(one.reminder_keys, 1)}
        text = composed(one, numbers, public, answer=words_in(language)["reminder.answer"])
        assert len(text.splitlines()) <= 5, text
        assert one.lines[0] == one.subject
        assert 0 < len(one.subject) <= 60, one.subject
        assert one.due < one.expires
        if language == "en":
            assert not NEVER.search(text), text
        assert not VALUES.search("\n".join(one.lines)), text


KINDS = ("first_coat", "cut_and_coat", "second_coat", "touch_up")


@st.composite
def yards(draw: st.DrawFn) -> tuple[Briefing, list[Wanted], float]:
    """A drawn yard: verdict, many jobs, wet coats, perils, pail, hours, reminders of all kinds."""
    tags = draw(st.lists(st.sampled_from([f"H{n:02}" for n in range(30)] + ["WALNUT-BUTT-13A"]), max_size=12))
    jobs = [
        job(tag, end, draw(st.sampled_from(KINDS)), people=draw(st.integers(1, 2)))
        for tag in dict.fromkeys(tags)
        for end in ("butt", "top")
    ]
    wet = tuple((tag, "butt") for tag in draw(st.lists(st.sampled_from(["H41", "H42", "H43"]), unique=True)))
    later = draw(st.floats(6.0, 30.0))
    perils = tuple(
        Peril(tag, end, draw(st.sampled_from(["rain_before_it_holds", "frost_on_face"])), AT + later * HOUR)
        for tag, end in wet
    )
    verdict = draw(st.sampled_from(["seal", "touch_and_go", "prepare", "leave_it", "unknown"]))
    ahead = draw(st.sampled_from([None, span(27, 31), span(51, 53, 0.55)]))
    logs = tuple(laid(tag, DAY) for tag, _ in wet) + tuple(log(tag) for tag in dict.fromkeys(tags))
    b = small(
        verdict,
        *jobs,
        wet=wet,
        perils=perils,
        logs=(*logs, log("H50", state="long", ends=())),
        ahead=ahead,
        night=draw(st.sampled_from([None, COLD, MILD])),
        age=draw(st.sampled_from([Age(2.0, "fresh"), Age(15.0, "old"), Age(None, "none")])),
        why="No forecast.",
        thaw=draw(st.sampled_from([None, AT + 5 * HOUR])),
    )
    b = replace(b, morning=replace(b.morning, spans=(span(27, 31), span(51, 53), span(75, 77))))
    kinds = st.sampled_from(["look", "saw", "saw_by", "seal", "pail_frost", "pail_warm", "season", "thaw"])
    items = {
        (k, t): item(k, t) for k, t in draw(st.lists(st.tuples(kinds, st.sampled_from(tags or ["H01"]))))
    }
    return b, list(items.values()), draw(st.sampled_from([0.0, 1.0, 2.5, 5.0, 7.9, 9.0, 12.6]))


@settings(max_examples=80, deadline=None)
@given(
    drawn=yards(), language=st.sampled_from(["en", "de"]), public=st.sampled_from([None, "https://a.example"])
)
def test_of_any_yard_at_any_hour_a_notice_has_five_lines_at_most(
    drawn: tuple[Briefing, list[Wanted], float], language: str, public: str | None
) -> None:
    b, items, hours = drawn
    found = asked(b, items=items, hours=hours, language=language, linked=public is not None)
    check_plain(list(found.values()), public, language)
    known = [told(one) for one in found.values()]
    again = asked(b, items=items, hours=hours, language=language, told=known)
    new = {one.key: one.action for one in again.values() if one.key in {k.key for k in known}}
    assert all(new[k.key] == k.action for k in known if k.key in new), "asked twice it is no news"


@pytest.mark.parametrize(("yard", "n"), MORNINGS)
def test_the_notices_of_the_invented_yards_are_plain_and_short(yard: str, n: int) -> None:
    b, _ = morning(yard, n)
    for units in ("metric", "us"):
        found = notices(b, wording(yard, n, units), TIMES)
        assert all(one.kind in ("morning", "before_dark", "pail", "evening") for one in found)
        check_plain(found, None, "en")
