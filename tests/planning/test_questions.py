"""The one question of a morning: where the answer is open and teaches something."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from command_line import fair
from reminder_samples import coat, end, log, register
from test_outlook import outlook
from weather_samples import by_day, weather

from scheduler.planning.questions import Question, questions
from scheduler.settings import learning
from scheduler.yard.condition import EndState, fates_of_coats
from scheduler.yard.facts import Register

MORNING = datetime(2025, 11, 4, 6, 0, tzinfo=UTC)  # seven on the yard's clock


def asked(given, at: datetime = MORNING, facts: Register | None = None, **known: float) -> list[Question]:  # type: ignore[no-untyped-def]
    facts = facts or Register(at)
    view = outlook(given, at=at)
    coats = [c for one in facts.present for e in one.ends for c in e.coats]
    fates = fates_of_coats(view.faces(), view.coating, view.rules, coats, 0.8, at)
    states = {
        (one.tag, e.name): EndState("wet", fate=fates.get(e.last_coat) if e.last_coat else None)
        for one in facts.present
        for e in one.ends
    }
    return list(questions(view, facts, states, learning(), **known))


def edge(low: float = 1.0):  # type: ignore[no-untyped-def]
    return weather(24 * 8, air_c=by_day(low, 9.0, peak=14.0), wind=0.5, cloud=0.3, humidity=85.0)


def test_after_a_night_near_freezing_frost_is_asked_about_in_the_morning_only() -> None:
    assert [q.kind for q in asked(edge())] == ["frost"]
    assert not asked(edge(), at=MORNING.replace(hour=14))
    assert not asked(edge(), at=MORNING.replace(hour=2))


def test_after_a_mild_or_a_hard_night_it_is_not() -> None:
    assert not asked(edge(8.0))
    assert not asked(edge(-9.0))


def test_a_night_that_was_told_of_is_not_asked_about() -> None:
    midnight = MORNING.replace(hour=0) - timedelta(hours=1)
    assert not asked(edge(), facts=Register(MORNING, frost_seen=((midnight, True),)))
    assert not asked(edge(), facts=Register(MORNING, minima_seen=((midnight, -1.0),)))
    before = midnight - timedelta(days=1)
    assert asked(edge(), facts=Register(MORNING, frost_seen=((before, True),)))


def test_a_coat_that_may_be_dry_or_not_is_asked_about_and_one_that_was_seen_is_not() -> None:
    coated = replace(end(), coats=(coat("2025-11-03T09:00", 5),))
    facts = register(log("H09", coated), at=MORNING + timedelta(hours=8))
    chances: dict[int, Question] = {}
    for hours in range(-18, 40):
        for question in asked(fair(8), MORNING + timedelta(hours=hours), facts):
            if question.kind == "coat":
                chances[hours] = question
    assert chances
    first = chances[min(chances)]
    assert (first.tag, first.end, first.key) == ("H09", "butt", "coat 5")
    seen = {("H09", "butt"): EndState("coated", seen=True)}
    here = outlook(fair(8), at=MORNING + timedelta(hours=min(chances)))
    assert not questions(here, facts, seen, learning())


def test_what_is_known_well_already_is_asked_about_last() -> None:
    loose = asked(edge())[0].teaches
    known = asked(edge(), offset_sd=0.4)[0].teaches
    assert known < 0.3 * loose
