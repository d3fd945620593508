"""The logs of a replayed season, by a stated scheme, and what their ends lose. Pure.

The same logs for all policies of a seed. Wood is lost by the front model (wood/endgrain.py) under the
hours that the yard truly had; behind the end of the record stand the hours of a year before,
where it has them, else the usual air of the latitude.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.coating.product import Coating, litres_for
from scheduler.planning.normals import Normals
from scheduler.planning.worth import Horizon, horizon_of
from scheduler.replay.worlds import World
from scheduler.settings import CoatingProfile, Species
from scheduler.weather.series import HOUR
from scheduler.wood.endgrain import (
    EndClock,
    Ends,
    check_factor,
    coat_resistance,
    depth,
    depth_if_coated,
    end_clock,
    loss_cm,
)
from scheduler.wood.value import Price, log_worth, stick_of

__all__ = ["Stock", "Woods", "coat_of", "losses", "stock_of", "true_clock", "true_hours", "woods_of"]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays
Numbers = Mapping[str, float]
YEAR_H = 365 * 24


@dataclass(frozen=True, eq=False)
class Woods:
    """Kinds of log in the scheme, each array (woods, 2) for butt and top or (woods,)."""

    moisture: F  # (woods,) green
    factor: F  # (woods,) cracks over dry depth
    per_cm: F  # (woods,) money for a cm at one end
    litres: F  # (woods, 2) for one coat
    share: F  # (woods,)


def woods_of(
    rows: Sequence[Mapping[str, Any]],
    species: Mapping[str, Species],
    coating: Coating,
    value: Numbers,
    grain: Numbers,
    assumed: Mapping[str, float],
    length_cm: float,
) -> Woods:
    """The scheme's woods with their worth and wax."""
    found = []
    for row in rows:
        wood = species[row["species"]]
        top = row["butt_cm"] - assumed["taper"] * length_cm / 100.0
        stick = stick_of(
            row["butt_cm"], top, length_cm, value, taper_cm_m=assumed["taper"], nominal_cm=assumed["butt"]
        )
        worth = log_worth(
            stick, wood.worth, value, nominal_cm=assumed["butt"], price=Price(row["price_per_m3"], "m3 sawn")
        )
        factor = wood.check_factor or check_factor(wood.proneness, grain)
        litres = [litres_for(coating, across) for across in (row["butt_cm"], top)]
        found.append((wood.green_moisture, factor, worth.per_cm, litres, row["share"]))
    moisture, factors, per_cm, wax, share = zip(*found, strict=True)
    shares = np.array(share) / np.sum(share)
    return Woods(np.array(moisture), np.array(factors), np.array(per_cm), np.array(wax), shares)


@dataclass(frozen=True, eq=False)
class Stock:
    """The ends of one season, (ends,) each; hours are hours of the record.

    ``cost`` is wax and labour of one try; ``day`` the first morning on which an end is there.
    """

    wood: I
    cut_h: F
    day: I
    per_cm: F
    factor: F
    litres: F
    cost: F
    until_h: F  # spring, when an open end may still be coated
    sawn_h: F

    @property
    def count(self) -> int:
        """Number of ends."""
        return int(self.wood.size)


def stock_of(
    seed: int,
    mornings: Sequence[float],
    start: datetime,
    woods: Woods,
    numbers: Numbers,
    price_per_litre: float,
    wage: float,
    minutes: float,
    latitude: float,
    worth: Numbers,
) -> Stock:
    """Logs that come in between the day before the first morning and the day before the last one.

    ``mornings`` are hours of the record; ``numbers`` those of [yard] in config/replay.toml.
    """
    rng = np.random.default_rng([seed, 705])
    days = len(mornings)
    day = np.zeros(int(numbers["logs_first"]), np.int64)
    more = rng.binomial(days, min(numbers["logs_week"] / 7.0, 1.0))
    day = np.sort(np.concatenate([day, rng.integers(1, max(days, 2), more)]))
    day = day[day < days]
    wood = rng.choice(woods.share.size, day.size, p=woods.share)
    back = (numbers["asks_at"] - numbers["cut_at"]) % 24.0
    cut = np.asarray(mornings)[day] - back
    horizons: dict[int, Horizon] = {}
    for one in np.unique(day):
        horizons[int(one)] = horizon_of(start + float(mornings[one]) * HOUR, latitude, worth)
    until = np.array([(horizons[int(d)].end - start) / HOUR for d in day])
    sawn = np.array([(horizons[int(d)].sawn - start) / HOUR for d in day])
    litres = woods.litres[wood].reshape(-1)

    def both(values: F | I) -> NDArray[Any]:
        return np.repeat(values, 2)

    cost = litres * price_per_litre + minutes / 60.0 * wage
    kind = both(wood)
    return Stock(
        kind,
        both(cut),
        both(day),
        woods.per_cm[kind],
        woods.factor[kind],
        litres,
        cost,
        both(until),
        both(sawn),
    )


def true_hours(world: World, normals: Normals, count: int) -> tuple[F, F, F]:
    """Air, dew point and rain that the yard has, ``count`` hours from the start of the record, (1, count)."""
    w = world.weather
    air, dew = (np.full(count, np.nan) for _ in range(2))
    rain = np.full(count, np.nan)
    n = min(w.hours, count)
    air[:n], dew[:n], rain[:n] = world.yard_air[:n], w.dew_point_c[0, :n], w.rain_mm[0, :n]
    for k in range(n, count, YEAR_H):
        # A year later as a year before, as far as the record goes back.
        rows = np.arange(k, min(k + YEAR_H, count))
        before = rows - YEAR_H
        fit = before >= 0
        for values in (air, dew, rain):
            values[rows[fit]] = values[before[fit]]
    usual, damp = normals.hours(w.start, count)
    hidden = ~np.isfinite(air)
    air, dew = np.where(hidden, usual[0], air), np.where(hidden, damp[0], dew)
    return air[None, :], np.minimum(dew, air)[None, :], rain[None, :]


def true_clock(hours: tuple[F, F, F], woods: Woods, grain: Numbers) -> EndClock:
    """The clock of ends under hours, one kind for each wood."""
    return end_clock(*hours, woods.moisture, grain, fill=True)


def losses(
    clock: EndClock,
    stock: Stock,
    rows: I,
    hours: F,
    grain: Numbers,
    coat_m: float,
    *,
    sawn_h: F | float | None = None,
    shift_h: float = 0.0,
) -> tuple[F, F]:
    """What ends lose till they are sawn if coated at each of ``hours``, and if they stay bare, cm.

    Parameters
    ----------
    rows : which ends
    hours : (hours,) for all or (ends, hours), on the clock
    sawn_h : hour of the record at which all are sawn; None: each at its own
    shift_h : hour of the record at which the clock begins

    Returns
    -------
    (ends, hours) and (ends,).
    """
    ends = Ends.bare(stock.wood[rows], stock.cut_h[rows] - shift_h)
    sawn = np.broadcast_to(stock.sawn_h[rows] if sawn_h is None else sawn_h, rows.shape) - shift_h
    deep = depth_if_coated(clock, ends, hours, coat_m, sawn)[:, 0, :]
    bare = depth(clock, ends, sawn[:, None])[:, 0, 0]
    factor = stock.factor[rows]
    return loss_cm(deep, factor, grain).mid, loss_cm(bare, factor, grain).mid


def coat_of(profile: CoatingProfile, skip_chance: float, worth: Numbers, grain: Numbers) -> float:
    """Resistance of a first coat with the skips that are to be expected, m of end grain."""
    skips = skip_chance * worth["skip_share"]
    one, two = profile.resistance_one.value, profile.resistance_two.value
    return float(coat_resistance(1, skips, one, two, grain))
