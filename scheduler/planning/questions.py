"""The one question of a morning: what the yard could tell that would teach the most. Pure.

White frost last night, or clear or milky at a coat. A question is worth putting
where the answer is open and what it bears on is not yet well known.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from math import erf, sqrt
from typing import Literal

import numpy as np

from scheduler.planning.outlook import Outlook
from scheduler.weather.nights import night_of
from scheduler.yard.condition import EndState
from scheduler.yard.facts import Register

__all__ = ["Question", "questions"]

Numbers = Mapping[str, Mapping[str, float]]
WAITING = ("wet", "coated", "sealed")


@dataclass(frozen=True, slots=True)
class Question:
    """A question, how open its answer is (a chance) and how much it would teach (larger: more)."""

    kind: Literal["frost", "coat"]
    key: str  # the same question has the same key on every day
    chance: float
    teaches: float
    tag: str | None = None
    end: str | None = None


def questions(
    outlook: Outlook,
    register: Register,
    states: Mapping[tuple[str, str], EndState],
    numbers: Numbers,
    *,
    offset_sd: float | None = None,
    drying_sd: float | None = None,
) -> tuple[Question, ...]:
    """Questions worth putting now, the one that teaches most first.

    ``numbers`` are config/learning.toml; ``offset_sd`` and ``drying_sd`` the doubt
    that is left after what was learned, None where nothing was.
    """
    frost = _frost(outlook, register, numbers, offset_sd)
    found = [frost] if frost is not None else []
    found += _coats(register, states, numbers, drying_sd)
    least = numbers["question"]["least"]
    open_ = [q for q in found if least <= q.chance <= 1.0 - least]
    return tuple(sorted(open_, key=lambda q: -q.teaches))


def _open(chance: float) -> float:
    return 4.0 * chance * (1.0 - chance)


def _frost(
    outlook: Outlook, register: Register, numbers: Numbers, offset_sd: float | None
) -> Question | None:
    """White frost on the ends this morning? In the morning only, and not where the night was told of."""
    n = numbers["offset"]
    local = outlook.at.astimezone(outlook.yard.zone)
    if not n["morning"] - 5.0 <= local.hour < numbers["question"]["until"]:
        return None
    told = [when for when, _ in (*register.frost_seen, *register.minima_seen)]
    if any(night_of(when, outlook.yard.zone, n["evening"]) == local.date() for when in told):
        return None
    evening = datetime.combine(local.date() - timedelta(days=1), time(int(n["evening"])), outlook.yard.zone)
    first, last = (int(outlook.step_of(when)) for when in (evening, outlook.at))
    if first < 0 or last > outlook.fine.steps or last <= first:
        return None
    low = outlook.fine.air_c[:, first:last].min(axis=1)
    if not np.isfinite(low).all():
        return None
    edge = [(n["frost_air"] - float(x)) / (n["frost_sd"] * sqrt(2.0)) for x in low]
    chance = float(np.mean([0.5 * (1.0 + erf(x)) for x in edge]))
    left = 1.0 if offset_sd is None else offset_sd / n["prior_hollow_sd"]
    return Question("frost", f"frost {local.date()}", chance, _open(chance) * left)


def _coats(
    register: Register,
    states: Mapping[tuple[str, str], EndState],
    numbers: Numbers,
    drying_sd: float | None,
) -> list[Question]:
    """Clear or milky? Of coats that some members have dry by now and others have not."""
    left = 1.0 if drying_sd is None else drying_sd / numbers["drying"]["prior_log_sd"]
    out: dict[datetime, Question] = {}
    for log in register.present:
        for end in log.ends:
            state, coat = states.get((log.tag, end.name)), end.last_coat
            if state is None or coat is None or state.seen or state.state not in WAITING:
                continue
            chance = None if state.fate is None else state.fate.dry_now
            if chance is not None:  # ends coated together are one question
                found = Question(
                    "coat", f"coat {coat.entry}", chance, _open(chance) * left, log.tag, end.name
                )
                out.setdefault(coat.moment.time, found)
    return list(out.values())
