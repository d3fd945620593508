"""The end of the season, end by end: what fits in the days left, and the way out for the rest."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from reminder_samples import end, log
from test_season import at

from scheduler.planning.jobs import Job
from scheduler.planning.season import Season
from scheduler.planning.winter import Rest, Winter, winter_of
from scheduler.wood.storage import SawBy
from scheduler.yard.facts import Log, Register

NOW = datetime(2025, 11, 1, 6, tzinfo=UTC)


def job(tag: str, name: str = "butt", **more: Any) -> Job:
    return Job("first_coat", tag, name, NOW, 1, minutes=30.0, litres=0.1, **more)


def season(hours: list[float], days: float = 1.0, **more: Any) -> Season:
    """A season with so many hours left in each year."""
    found = at(120)
    rows = np.array(hours)
    return replace(found, hours_by_row=rows, days_by_row=np.full(rows.size, days), **more)


def worth(cm: float = 6.0, best_day: int | None = 0) -> Any:
    """What an end loses, as far as the season asks."""
    return SimpleNamespace(so_far_cm=(0.5, 1.0, 2.0), open_cm=(cm / 2, cm, cm * 2), best_day=best_day)


def ledger(kg: float | None = 400.0) -> Any:
    return SimpleNamespace(worth={"trim": 2.5}, value={"lift_machine": 80.0}, kg=kg)


def winter(jobs: list[Job], given: Season, logs: tuple[Log, ...] = (), **more: Any) -> Winter:
    settings: dict[str, Any] = {"people": 1.0, "fill": 0.7, "frame_min": 20.0}
    worths = {(j.tag, j.end or "", j.kind): worth() for j in jobs} | more.pop("worths", {})
    return winter_of(
        given,
        jobs,
        Register(NOW, logs),
        worths,
        more.pop("ledger", None),
        more.pop("saw_by", {}),
        **(settings | more),
    )


def test_the_dearest_fit_and_the_chance_is_the_share_of_years_with_room_for_all_before_it() -> None:
    # (2 h * 60 * 0.7 - 20 = 64 min) in half the years, 22 min in the others: one of 30 min, two of 30 min
    found = winter([job("H1"), job("H2"), job("H3")], season([2.0, 2.0, 1.0, 2.0]))
    assert [fit.job.tag for fit in found.fits] == ["H1", "H2"]
    assert [fit.chance for fit in found.fits] == [0.75, 0.75]
    assert [one.job.tag for one in found.rest] == ["H3"]
    assert found.rest[0].chance == 0.0
    assert found.minutes == 90.0


def test_a_helper_makes_room_and_the_saw_takes_two() -> None:
    jobs = [job("H1"), job("H2"), job("H3")]
    assert len(winter(jobs, season([2.0] * 4), people=2.0).fits) == 3
    assert len(winter([job("H1", people=2)], season([1.0] * 4)).fits) == 0


def test_a_try_that_no_day_is_worth_does_not_count_as_fitting() -> None:
    none = {("H1", "butt", "first_coat"): worth(best_day=None)}
    assert winter([job("H1")], season([9.0] * 4), worths=none).fits == ()


def one(found: Winter) -> Rest:
    [rest] = found.rest
    return rest


def test_what_does_not_fit_is_left_as_long_as_it_is_with_what_a_cut_back_takes() -> None:
    rest = one(winter([job("H1")], season([0.0] * 4), (log("H1", end()),)))
    assert rest.way == "leave_long"
    assert rest.cm == (3.5, 7.0, 14.0)


def test_a_cut_back_takes_an_inch_at_least() -> None:
    little = {("H1", "butt", "first_coat"): worth(cm=0.2)}
    rest = one(winter([job("H1")], season([0.0] * 4), (log("H1", end()),), worths=little))
    assert rest.cm is not None
    assert min(rest.cm) == 2.5


def test_a_log_without_length_to_spare_wants_another_coating() -> None:
    tight = replace(log("H1", end(), end("top")), length_cm=310.0, needs_cm=300.0)
    assert one(winter([job("H1")], season([0.0] * 4), (tight,))).way == "other_coating"
    long = replace(tight, length_cm=340.0)
    assert one(winter([job("H1")], season([0.0] * 4), (long,))).way == "leave_long"


def test_a_light_log_goes_under_the_roof_and_a_heavy_one_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    for kg, way in ((64.0, "inside"), (200.0, "leave_long"), (None, "leave_long")):
        monkeypatch.setattr("scheduler.planning.winter.weight_of", lambda *_, kg=kg: kg)
        rest = one(
            winter([job("H1")], season([0.0] * 4), (log("H1", end()),), ledger=ledger(), shelter="shed")
        )
        assert rest.way == way
    monkeypatch.setattr("scheduler.planning.winter.weight_of", lambda *_: 64.0)
    assert (
        one(winter([job("H1")], season([0.0] * 4), (log("H1", end()),), ledger=ledger())).way == "leave_long"
    )


def saw(by: datetime) -> SawBy:
    fields = dict.fromkeys(SawBy.__dataclass_fields__)
    return SawBy(**(fields | {"by": by, "warn": by, "group": "white woods", "words": ()}))  # type: ignore[arg-type]


def test_what_wants_the_saw_before_spring_goes_there_first_of_all() -> None:
    given = season([0.0] * 4)
    spring = given.first_good.p50
    assert spring is not None
    early = datetime.combine(spring - timedelta(days=20), datetime.min.time(), UTC)
    jobs = [job("H1"), job("H2")]
    found = winter(jobs, given, saw_by={"H2": saw(early), "H1": saw(early + timedelta(days=300))})
    assert {rest.job.tag: rest.way for rest in found.rest} == {"H1": "leave_long", "H2": "saw"}
    assert [j.tag for j in found.spring] == ["H2", "H1"]


def test_days_of_the_forecast_beyond_the_usual_end_are_told_and_those_before_it_are_not() -> None:
    given = season([4.0] * 4)
    over = given.last_good.p50
    assert over is not None
    days = [(over - timedelta(days=1), 0.9), (over + timedelta(days=2), 0.6), (over + timedelta(days=3), 0.1)]
    found = winter([], given, days=days)
    assert [(thaw.day, thaw.chance) for thaw in found.thaws] == [(over + timedelta(days=2), 0.6)]
    assert winter([], replace(given, all_winter=True), days=days).thaws == ()


def test_logs_left_long_and_standing_need_nothing() -> None:
    logs = (replace(log("H1", end()), left_long=True), replace(log("H2", end()), state="standing"))
    assert winter([], season([1.0]), logs).long == ("H1", "H2")


def test_without_any_past_year_nothing_fits() -> None:
    assert winter([job("H1")], season([])).fits == ()


def test_the_day_it_is_told_for_does_not_matter_to_what_is_never_and_always() -> None:
    assert at(60).day < date(2026, 12, 31)
    assert at(60).never == frozenset()
    assert at(60).always == frozenset()
