"""Bring it under a roof and coat it there: which logs, when the open yard has no good day for them. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from scheduler.planning.chances import DayChances
from scheduler.planning.jobs import Job
from scheduler.planning.ledger import stick_of_log
from scheduler.planning.worth import EndWorth, Key, Ledger, worth_of_jobs
from scheduler.settings import Place
from scheduler.wood.value import green_weight
from scheduler.yard.condition import EndState
from scheduler.yard.facts import Log, Register

__all__ = ["Carry", "best_shelter", "carried", "light_enough", "weight_of"]


@dataclass(frozen=True, slots=True)
class Carry:
    """A log to be carried under a roof: where to, how heavy (kg, on the careful side), what it saves."""

    tag: str
    place: str
    kg: float
    saves: float
    chance: float


def best_shelter(places: Sequence[Place]) -> Place | None:
    """The place to bring wood to: frost-free if there is one, else with a roof; None: there is none."""
    return next((p for p in places if p.frost_free), next((p for p in places if p.roofed), None))


def weight_of(log: Log, ledger: Ledger) -> float | None:
    """Green weight on the careful side, kg; None where its size is not known."""
    if log.length_cm is None or not any(end.diameter_cm for end in log.ends):
        return None
    wood = ledger.wood(log)
    volume = stick_of_log(log).volume_m3
    return green_weight(volume, wood.basic_density, wood.green_moisture, ledger.value).high


def light_enough(jobs: Sequence[Job], register: Register, ledger: Ledger) -> list[Job]:
    """Jobs at logs in the open that people can carry: a machine is never taken for granted."""
    out = []
    for job in jobs:
        log = register.log(job.tag)
        if job.coats and job.place is None and log is not None:
            kg = weight_of(log, ledger)
            if kg is not None and kg <= ledger.value["lift_machine"]:
                out.append(job)
    return out


def carried(
    jobs: Sequence[Job],
    register: Register,
    states: Mapping[tuple[str, str], EndState],
    ledger: Ledger,
    place: str,
    days: DayChances,
    worths: Mapping[Key, EndWorth],
) -> tuple[Carry, ...]:
    """Logs better carried to a place and coated there today than left where they lie, dearest first.

    ``jobs`` are those of ``light_enough``; ``days`` are the chances of the place.
    """
    moved = [replace(job, place=place, roofed=False) for job in jobs]
    inside = worth_of_jobs(moved, register, states, ledger, {(place, False): days})
    saved: dict[str, float] = {}
    chance = 0.0
    for key, there in inside.items():
        here = worths.get(key)
        if here is not None and there.now and not here.now:
            saved[key[0]] = saved.get(key[0], 0.0) + here.expected - there.expected
            chance = there.chance
    out = []
    for tag, gain in saved.items():
        log = register.log(tag)
        kg = None if log is None else weight_of(log, ledger)
        gain -= _carry_cost(tag, ledger)
        if kg is not None and gain > 0.0:
            out.append(Carry(tag, place, kg, gain, chance))
    return tuple(sorted(out, key=lambda c: (-c.saves * ledger.points.get(c.tag, 1.0), c.tag)))


def _carry_cost(tag: str, ledger: Ledger) -> float:
    """What carrying a log costs, in its own unit."""
    worth = ledger.worths[tag]
    if worth.unit == "money" and ledger.wage is not None:
        return ledger.worth["carry_minutes"] / 60.0 * ledger.wage
    points = ledger.points.get(tag, 0.0)
    return ledger.worth["carry_points"] / points if points > 0.0 else 0.0
