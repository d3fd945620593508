"""Entries: checked facts that JSON can hold."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import FrozenInstanceError
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.yard import entries as make
from scheduler.yard.entries import By, Entry, YardError, moment_from, moment_to, numbered
from scheduler.yard.facts import Moment

AT = datetime(2025, 11, 3, 9, 40, tzinfo=UTC)
NOW = Moment(AT)
BY = By("yard", AT, "Jo")

EVERY_KIND: dict[str, Callable[[], Entry]] = {
    "add": lambda: make.add(BY, "H01", NOW, {"ends": [{"name": "butt"}, {"name": "top"}]}),
    "cut": lambda: make.cut(BY, "H01", ["butt"], NOW, size_cm=5.0, found="still cracked"),
    "coat": lambda: make.coat(BY, "H01", ["butt", "top"], NOW, part=True, second=True, litres=0.2),
    "look": lambda: make.look(BY, "H01", ["butt"], NOW, "checks", checks="right through"),
    "roof": lambda: make.roof(BY, "H01", NOW),
    "unroof": lambda: make.unroof(BY, "H01", NOW),
    "move": lambda: make.move(BY, "H01", NOW, "lean-to", ["butt"]),
    "divide": lambda: make.divide(BY, "H01", NOW, 210.0, ["H01-1", "H01-2"]),
    "halve": lambda: make.halve(BY, "H01", NOW),
    "saw": lambda: make.saw(BY, "H01", NOW, 9, 5.5),
    "leave": lambda: make.leave(BY, "H01", NOW, AT + timedelta(days=30)),
    "skip": lambda: make.skip(BY, "H01", NOW),
    "saw_first": lambda: make.saw_first(BY, "H01", NOW),
    "gone": lambda: make.gone(BY, "H01", NOW, "sold"),
    "change": lambda: make.change(BY, "H01", NOW, {"length_cm": 240.0}),
    "correct": lambda: make.correct(BY, "H01", NOW, 7, NOW),
    "undo": lambda: make.undo(BY, "H01", NOW, [7, 8]),
    "seen": lambda: make.seen(BY, NOW, "min", -3.0),
    "word": lambda: make.word(BY, NOW, " Black  Walnut ", "Juglans nigra"),
    "pail": lambda: make.pail(BY, NOW, by_eye="half", place="shed", coldest_c=-1.0),
    "away": lambda: make.away(BY, NOW, AT + timedelta(days=7)),
}


def test_there_is_a_constructor_for_every_kind() -> None:
    assert set(EVERY_KIND) == set(make.KINDS)


@pytest.mark.parametrize("kind", make.KINDS)
def test_every_kind_of_entry_can_be_written_as_json_and_says_who(kind: str) -> None:
    entry = EVERY_KIND[kind]()
    assert (entry.kind, entry.who, entry.number) == (kind, "Jo", 0)
    assert json.loads(json.dumps(dict(entry.data))) == entry.data


def test_an_entry_cannot_be_changed() -> None:
    with pytest.raises(FrozenInstanceError):
        make.roof(BY, "H01", NOW).tag = "H02"  # type: ignore[misc]


def test_times_are_kept_in_utc_and_a_naive_one_is_refused() -> None:
    there = datetime(2025, 11, 3, 10, 40, tzinfo=timezone(timedelta(hours=1)))
    entry = make.roof(By("yard", there), "H01", Moment(there))
    assert entry.moment.time == AT
    assert entry.moment.time.tzinfo is UTC
    assert entry.recorded_at.tzinfo is UTC
    naive = datetime(2025, 11, 3, 10, 40)  # noqa: DTZ001 - the fault under test
    with pytest.raises(ValueError, match="zone"):
        make.roof(BY, "H01", Moment(naive))
    with pytest.raises(ValueError, match="UTC"):
        Entry(1, "yard", "roof", Moment(there), AT)


@pytest.mark.parametrize(
    ("wrong", "word"),
    [
        (lambda: make.cut(BY, "H01", ["butt"], NOW, size_cm=0.0), "more than nothing"),
        (lambda: make.cut(BY, "H01", ["butt"], NOW, size_cm=float("nan")), "more than nothing"),
        (lambda: make.cut(BY, "H01", ["butt"], NOW, found="tidy"), "clean"),
        (lambda: make.cut(BY, "H01", [], NOW), "which end"),
        (lambda: make.coat(BY, "H01", ["butt"], NOW, layers=3), "1 or 2"),
        (lambda: make.coat(BY, "H01", ["butt"], NOW, litres=-1.0), "more than nothing"),
        (lambda: make.look(BY, "H01", ["butt"], NOW, "shiny"), "clear"),
        (lambda: make.look(BY, "H01", ["butt"], NOW, "checks", checks="deep"), "hairline"),
        (lambda: make.look(BY, "H01", ["butt"], NOW, "checks"), "hairline"),
        (lambda: make.look(BY, "H01", ["butt"], NOW, "clear", checks="open"), "checks"),
        (lambda: make.divide(BY, "H01", NOW, 100.0, ["A", "A"]), "own tag"),
        (lambda: make.saw(BY, "H01", NOW, 0), "at least 1"),
        (lambda: make.seen(BY, NOW, "frost", 1.0), "yes or no"),
        (lambda: make.seen(BY, NOW, "min", -300.0), "-70"),
        (lambda: make.seen(BY, NOW, "snow", True), "frost, rain or min"),
        (lambda: make.pail(BY, NOW), "litres"),
        (lambda: make.pail(BY, NOW, litres=2.0, by_eye="half"), "not both"),
        (lambda: make.pail(BY, NOW, by_eye="some"), "scrapings"),
        (lambda: make.word(BY, NOW, "  ", "Juglans regia"), "word"),
        (lambda: make.undo(BY, None, NOW, []), "nothing"),
        (lambda: make.change(BY, "H01", NOW, {}), "nothing"),
        (lambda: make.add(BY, "H01", NOW, {"ends": [{"name": "butt"}, {"name": "butt"}]}), "twice"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(wrong: Callable[[], Entry], word: str) -> None:
    with pytest.raises(YardError, match=word):
        wrong()


def test_a_value_that_json_cannot_hold_is_refused_before_it_reaches_the_store() -> None:
    with pytest.raises(ValueError, match="JSON"):
        make.change(BY, "H01", NOW, {"length_cm": float("inf")})


def test_the_entries_of_one_command_are_one_batch_with_numbers_that_follow() -> None:
    done = numbered([make.roof(BY, "H01", NOW), make.roof(BY, "H02", NOW)], 6)
    assert [(e.number, e.batch) for e in done] == [(7, 7), (8, 7)]


def test_the_end_is_named_only_when_there_is_one() -> None:
    assert make.coat(BY, "H01", ["top"], NOW).end == "top"
    assert make.coat(BY, "H01", ["butt", "top"], NOW).end is None


@given(
    time=st.datetimes(datetime(1925, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001
    half=st.timedeltas(timedelta(0), timedelta(days=400)),
    said=st.text(max_size=20),
    assumed=st.booleans(),
)
def test_a_moment_comes_back_from_json_as_it_was(
    time: datetime, half: timedelta, said: str, assumed: bool
) -> None:
    moment = Moment(time, half, said, assumed)
    assert moment_from(json.loads(json.dumps(moment_to(moment)))) == moment
