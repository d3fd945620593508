"""Bring it inside: light logs for which the open yard has no good day, where the yard has a roof."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from reminder_samples import end, job
from test_outlook import PLACES
from test_worth import AT, GOOD, fresh, looked
from weather_samples import by_day, weather

from scheduler.planning.chances import day_chances
from scheduler.planning.inside import Carry, best_shelter, carried, light_enough, weight_of
from scheduler.planning.ledger import ledger_of
from scheduler.planning.worth import worth_of_jobs
from scheduler.settings import Place, doubt, species_table
from scheduler.yard.condition import EndState
from scheduler.yard.facts import Log, Register

FROST = GOOD | {"air_c": by_day(-5.0, 9.0)}


def small(tag: str = "L01", across: float = 24.0, **facts: Any) -> Log:
    ends = (replace(end(cut="2025-11-03T12:00"), diameter_cm=across),)
    usual: dict[str, Any] = {
        "species": "Prunus domestica",
        "length_cm": 80.0,
        "worth": "prized",
        "ends": ends,
    }
    return fresh(tag, **(usual | facts))


def inside(*logs: Log, place: str = "cellar", given: Any = None) -> tuple[Carry, ...]:
    view = looked(given if given is not None else weather(24 * 12, **FROST))
    facts = Register(AT, logs)
    jobs = [job(tag=log.tag) for log in logs]
    ledger = ledger_of(view.yard, facts, AT, view.coating, species_table(), outlook=view)
    states = {(log.tag, e.name): EndState("bare") for log in logs for e in log.ends}
    days = {name: day_chances(view, name, False, ledger.horizon.end, doubt()) for name in (None, place)}
    worths = worth_of_jobs(jobs, facts, states, ledger, {(None, False): days[None]})
    return carried(light_enough(jobs, facts, ledger), facts, states, ledger, place, days[place], worths)


def test_a_small_prized_log_goes_to_the_frost_free_place_when_every_night_freezes() -> None:
    (one,) = inside(small())
    assert (one.tag, one.place) == ("L01", "cellar")
    assert 20.0 < one.kg < 80.0
    assert one.saves > 0.0
    assert one.chance > 0.5


def test_a_heavy_log_stays_where_it_is_and_so_does_one_without_sizes() -> None:
    assert inside(fresh(worth="prized")) == ()
    assert inside(small(length_cm=None)) == ()


def test_plain_thin_wood_is_not_worth_the_carry() -> None:
    assert inside(small(worth="plain", across=10.0)) == ()


def test_on_a_good_day_outside_nothing_is_carried() -> None:
    good = {"air_c": by_day(10.0, 16.0), "humidity": 60.0, "wind": 3.0, "cloud": 0.9}
    assert inside(small(), given=weather(24 * 12, **good)) == ()


def test_frost_free_comes_before_a_mere_roof() -> None:
    chosen = best_shelter(PLACES)
    assert chosen is not None
    assert chosen.name == "cellar"
    assert best_shelter((Place(name="hedge", shaded=True),)) is None


def test_the_weight_is_on_the_careful_side() -> None:
    view = looked()
    facts = Register(AT, (small(),))
    ledger = ledger_of(view.yard, facts, AT, view.coating, species_table(), outlook=view)
    kg = weight_of(facts.logs[0], ledger)
    assert kg is not None
    # 24 cm across and 0.8 m long: 0.034 m3; green plum about 900 to 1,100 kg/m3, bark and doubt on top
    assert 33.0 < kg < 55.0
