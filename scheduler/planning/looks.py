"""How fast the yard's coats dry, learned from looks: milky at ten, clear the next morning.

Pure. Every coat that somebody looked at is run again through the weather it had,
on a grid of drying factors and least film temperatures; how well each point of
the grid fits the looks, times what was held before, is the posterior. In cold
weather the least film temperature decides and in mild weather the drying, so
both are kept apart although only looks of one kind come in.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import zip_longest
from math import log, sqrt

import numpy as np
from numpy.typing import NDArray

from scheduler.coating.film import step_film
from scheduler.planning.outlook import Outlook
from scheduler.weather.fine import PER_HOUR, Fine
from scheduler.weather.members import Beliefs
from scheduler.weather.nights import Offset
from scheduler.yard.facts import Coat, End, Look, Register

__all__ = ["Drying", "Grid", "Learned", "Watched", "dry_hours", "learn_drying", "watched_coats"]

F = NDArray[np.float64]
Numbers = Mapping[str, float]
ROUGH = 0.25  # a time known worse than this share of the hours between teaches nothing
WATCHED_DAYS = 8.0  # a coat is followed through the weather for so long


@dataclass(frozen=True, slots=True)
class Watched:
    """A coat that was looked at: hours after it when last seen milky (0: never) and first seen clear."""

    place: str | None
    roofed: bool
    second: bool
    start: datetime
    milky_h: float
    clear_h: float | None

    @property
    def looked(self) -> datetime:
        """When it was last looked at."""
        return self.start + timedelta(hours=max(self.milky_h, self.clear_h or 0.0))

    @property
    def key(self) -> str:
        """One coat and what was seen of it; ends coated and seen together are one observation."""
        clear = "-" if self.clear_h is None else f"{self.clear_h:.1f}"
        where = f"{self.place or ''}{'/roofed' if self.roofed else ''}{'/second' if self.second else ''}"
        return f"{self.start.astimezone(UTC):%Y-%m-%dT%H:%MZ} {where} {self.milky_h:.1f} {clear}"


@dataclass(frozen=True, slots=True)
class Grid:
    """Points (drying factor's logarithm, shift of the least film temperature in K), each (points,)."""

    log_drying: F
    film_k: F

    @classmethod
    def of(cls, numbers: Numbers) -> Grid:
        """The grid of [drying] in config/learning.toml."""
        steps = round(numbers["log_reach"] / numbers["log_step"])
        drying = np.arange(-steps, steps + 1) * numbers["log_step"]
        film = np.arange(-2, 3) * numbers["film_step"]
        return cls(np.repeat(drying, film.size), np.tile(film, drying.size))


@dataclass(frozen=True, slots=True)
class Drying:
    """What was learned of the yard's coats from ``coats`` looked at: mean and standard deviation."""

    log_factor: float
    log_sd: float
    film_k: float
    film_sd: float
    coats: int


@dataclass(frozen=True, slots=True)
class Learned:
    """What is held of the yard; ``beliefs`` None: the yard file's word alone.

    ``offset`` and ``drying`` are told even while they are too few to be used.
    """

    offset: Offset | None = None
    drying: Drying | None = None
    beliefs: Beliefs | None = None
    refused: bool = False


def watched_coats(register: Register) -> tuple[Watched, ...]:
    """Coats with a look that tells of drying, once for all ends that share it; the oldest first."""
    found: dict[str, Watched] = {}
    for log_ in register.logs:
        for end in log_.ends:
            for coat, following in zip_longest(end.coats, end.coats[1:]):
                one = _watched(end, coat, following, log_.place, log_.roofed)
                if one is not None:
                    found[one.key] = one
    return tuple(sorted(found.values(), key=lambda one: one.start))


def _watched(end: End, coat: Coat, following: Coat | None, place: str | None, roofed: bool) -> Watched | None:
    if coat.spoiled or coat.part:
        return None  # what became of it is not a matter of drying
    until = None if following is None else following.moment.time
    looks = [
        look
        for look in end.looks
        if look.seen in ("milky", "clear")
        and look.moment.time > coat.moment.time
        and (until is None or look.moment.time <= until)
        and _exact(coat, look)
    ]
    clear = next((look for look in looks if look.seen == "clear"), None)
    milky = [look for look in looks if look.seen == "milky" and (clear is None or _before(look, clear))]
    if clear is None and not milky:
        return None
    return Watched(
        place,
        roofed,
        coat.layer >= 2,
        coat.moment.time,
        max((_hours(coat, look) for look in milky), default=0.0),
        None if clear is None else _hours(coat, clear),
    )


def _before(one: Look, other: Look) -> bool:
    return one.moment.time < other.moment.time


def _hours(coat: Coat, look: Look) -> float:
    return (look.moment.time - coat.moment.time) / timedelta(hours=1)


def _exact(coat: Coat, look: Look) -> bool:
    rough = (coat.moment.half + look.moment.half) / timedelta(hours=1)
    return rough <= ROUGH * _hours(coat, look)


# ------------------------------------------------------------------ the coats again


def dry_hours(outlook: Outlook, coats: Sequence[Watched], grid: Grid) -> dict[str, F]:
    """Hours from each coat until it is dry, at every point of the grid, (points,); inf where never.

    Runs on the mean of the outlook's members. A coat whose hours up to its looks
    are not all known is left out.
    """
    out: dict[str, F] = {}
    points = grid.log_drying.size
    fine = _mean(outlook.fine, points)
    fine = replace(
        fine,
        drying=np.exp(grid.log_drying)[:, None],
        shelter=np.ones((points, 1)),
        film_k=grid.film_k[:, None],
    )
    for place, roofed, second in dict.fromkeys((c.place, c.roofed, c.second) for c in coats):
        group = [c for c in coats if (c.place, c.roofed, c.second) == (place, roofed, second)]
        known = [(c, round(outlook.step_of(c.start))) for c in group]
        known = [(c, step) for c, step in known if _is_known(fine, c, step)]
        if not known:
            continue
        film = outlook.coating.second() if second else outlook.coating
        starts = np.array([step for _, step in known], np.int64)
        stepped = step_film(outlook.faces_under(fine, place, roofed), film, starts, WATCHED_DAYS * 24.0)
        hours = (stepped.milestones.dry - starts[None, :]) / PER_HOUR
        out.update({c.key: hours[:, n] for n, (c, _) in enumerate(known)})
    return out


def _is_known(fine: Fine, coat: Watched, step: int) -> bool:
    last = int(np.ceil(fine.step_of(coat.looked)))
    if step < 0 or last > fine.steps:
        return False
    return not bool(fine.unknown[:, step:last].any() | fine.rain_unknown[:, step:last].any())


def _mean(fine: Fine, points: int) -> Fine:
    """The mean of all members, once for each point."""

    def spread(values: F) -> F:
        return np.repeat(values.mean(axis=0, keepdims=True), points, axis=0)

    pressure = spread(fine.pressure_kpa) if isinstance(fine.pressure_kpa, np.ndarray) else fine.pressure_kpa
    return replace(
        fine,
        air_c=spread(fine.air_c),
        dew_point_c=spread(fine.dew_point_c),
        wind_ms=spread(fine.wind_ms),
        cloud=spread(fine.cloud),
        sun_wm2=spread(fine.sun_wm2),
        rain_mm=spread(fine.rain_mm),
        gust_ms=spread(fine.gust_ms),
        code=None,
        pressure_kpa=pressure,
        unknown=np.repeat(fine.unknown.any(axis=0, keepdims=True), points, axis=0),
        rain_unknown=np.repeat(fine.rain_unknown.any(axis=0, keepdims=True), points, axis=0),
    )


# ------------------------------------------------------------------ the posterior


def learn_drying(coats: Iterable[tuple[Watched, F]], grid: Grid, numbers: Numbers, film_sd: float) -> Drying:
    """Posterior of drying factor and least film temperature.

    Parameters
    ----------
    coats
        Watched coats with their hours until dry on the grid.
    film_sd
        Doubt of the least film temperature before any look, K.
    """
    weight = -0.5 * (grid.log_drying / numbers["prior_log_sd"]) ** 2 - 0.5 * (grid.film_k / film_sd) ** 2
    count = 0
    for coat, hours in coats:
        weight = weight + np.log(_likelihood(coat, hours, numbers["look_log_sd"]))
        count += 1
    share = np.exp(weight - weight.max())
    share /= share.sum()
    mean, film = float(share @ grid.log_drying), float(share @ grid.film_k)
    return Drying(
        log_factor=mean,
        log_sd=sqrt(float(share @ (grid.log_drying - mean) ** 2)),
        film_k=film,
        film_sd=sqrt(float(share @ (grid.film_k - film) ** 2)),
        coats=count,
    )


def _likelihood(coat: Watched, hours: F, log_sd: float) -> F:
    """Chance of the looks at each point: clear by the last, not yet clear at the milky one."""
    by_clear = np.ones_like(hours) if coat.clear_h is None else _clear_by(coat.clear_h, hours, log_sd)
    by_milky = _clear_by(coat.milky_h, hours, log_sd) if coat.milky_h > 0.0 else np.zeros_like(hours)
    # A floor: one strange look must not outweigh all others.
    return np.asarray(np.maximum(by_clear - by_milky, 0.01))


def _clear_by(looked_h: float, hours: F, log_sd: float) -> F:
    with np.errstate(over="ignore"):
        z = (log(looked_h) - np.log(np.maximum(hours, 0.05))) / log_sd
    return _normal(z)


def _normal(z: F) -> F:
    """Normal distribution function by Abramowitz & Stegun 7.1.26, to 1e-7: erf is not in numpy."""
    x = np.clip(np.abs(z) / sqrt(2.0), 0.0, 20.0)
    t = 1.0 / (1.0 + 0.3275911 * x)
    poly = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    tail = 0.5 * poly * np.exp(-x * x)
    return np.asarray(np.where(z > 0.0, 1.0 - tail, tail))
