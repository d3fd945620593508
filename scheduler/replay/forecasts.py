"""Forecasts of a morning made from the record by the documented growth of error. Pure.

The error of an hour is the sum of what each morning until then still has to learn: a forecast made a
day later has the same error less a part of its own, so forecasts of one hour are linked from
morning to morning as they are from hour to hour. A forecast keeps the variance of the weather, as a
weather model does. Rain comes in events: each is forecast at a wrong time, or not at all until
it is near; others are invented, as many as are missed, and fade as they come near. Nothing
of the record behind the last hour of a forecast enters it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from scheduler.replay.worlds import Sky, World
from scheduler.weather.series import HOUR, Weather
from scheduler.weather.sun import sunshine

__all__ = ["Forecasts"]

F = NDArray[np.float64]
Numbers = Mapping[str, float]
STREAMS = ("air", "dew", "wind", "cloud")
FAR = 9.0  # days: beyond it no more of the rain is missed


@dataclass(frozen=True, slots=True)
class _Event:
    """A stretch of rain: its first hour in the record and the amounts of its hours."""

    first: int
    amounts: tuple[float, ...]


@dataclass(eq=False)
class Forecasts:
    """What a service would have said on any morning in one world.

    ``numbers`` are those of [forecast] in config/replay.toml.
    """

    world: World
    sky: Sky
    numbers: Numbers
    _fresh: dict[int, F] = field(default_factory=dict)

    def __post_init__(self) -> None:
        record, n = self.world.weather, self.numbers
        rng = np.random.default_rng([self.world.seed, 702])
        self.rain = record.rain_mm[0]
        self.invent, self.which, self.damp, self.drier = rng.random((4, record.hours))
        self.events = _events(self.rain, n["wet"], int(n["joined"]))

    def at(self, issued: int) -> Weather:
        """The forecast made at hour ``issued`` of the record, past hours as observed; ``issued`` is in it."""
        n, record = self.numbers, self.world.weather
        first = max(issued - round(24 * n["past"]), 0)
        last = min(issued + round(24 * n["ahead"]), record.hours)
        part = record.between(record.start + first * HOUR, record.start + last * HOUR)
        ahead = np.arange(first, last) >= issued
        lead = np.maximum(np.arange(first, last) - issued, 0) / 24.0
        height = self.world.height[first:last]

        def noise(name: str, sigma: F) -> F:
            out = np.zeros(last - first)
            out[issued - first :] = self._noise(name, issued, last, sigma[issued - first :])
            return out

        sigma = (n["air_first"] + n["air_day"] * lead) * np.interp(
            height, [-6.0, 15.0], [1.0, n["air_by_day"]]
        )
        grown = n["air_first"] + n["air_day"] * lead
        air_noise = noise("air", grown)
        wrong = np.where(ahead, self._missed("air_c", issued, part.air_c[0], sigma, air_noise), 0.0)
        own = n["dew_first"] + n["dew_day"] * lead
        air = part.air_c[0] + wrong
        dew = part.dew_point_c[0] + n["dew_follows"] * wrong + np.where(ahead, own * noise("dew", own), 0.0)
        log_sd = n["wind_first"] + n["wind_day"] * lead
        wind = self._wind(issued, part.wind_ms[0], log_sd, noise("wind", log_sd), ahead)
        rain = self._rain(issued, first, last)
        dew = np.minimum(self._moist(dew, air, rain, part.rain_mm[0], ahead, first), air)
        kept = np.clip(n["cloud_first"] + n["cloud_day"] * lead, 0.2, 1.0)
        off = np.sqrt(1.0 - kept**2)
        true = self.world.score[first:last]
        score = np.where(ahead, kept * true + off * noise("cloud", off), true)
        cloud = self.sky.cloud(score, air - dew, rain, height)
        told = replace(
            part,
            air_c=air[None, :],
            dew_point_c=dew[None, :],
            wind_ms=wind[None, :],
            rain_mm=rain[None, :],
            cloud=cloud[None, :],
            sun_wm2=sunshine(height, cloud)[None, :],
        )
        return told.from_source(issued=record.start + issued * HOUR, issued_known=True)

    # ---------------------------------------------------------------- linked errors

    def _noise(self, name: str, issued: int, last: int, sigma: F) -> F:
        """Noise of unit spread for the hours ahead: what each morning until then still learns, (hours,)."""
        count = last - issued
        total = np.zeros(count)
        for day in range(int(np.ceil(count / 24.0))):
            begin = 24 * day
            fresh = self._learnt(issued + begin)[STREAMS.index(name)][: count - begin]
            # Variance at this lead less that a day nearer; within the last day all of it.
            now = sigma[: count - begin] ** 2
            nearer = np.concatenate([np.zeros(24), now])[: now.size]
            total[begin:] += np.sqrt(np.maximum(now - nearer, 0.0)) * fresh
        return total / sigma

    def _learnt(self, hour: int) -> F:
        """What the day after a morning tells of all hours ahead, of unit spread, (streams, hours)."""
        if hour not in self._fresh:
            n = self.numbers
            span, bell = round(24 * n["ahead"]), round(n["bell"])
            rng = np.random.default_rng([self.world.seed, hour, 703])
            parts = ((n["air_long_share"], n["air_long"]), (1.0 - n["air_long_share"], n["air_short"]))
            shapes = {
                "air": (parts, bell),
                "dew": (parts, bell),
                "wind": (((1.0, n["wind_memory"]),), 0),
                "cloud": (((1.0, n["cloud_memory"]),), 0),
            }
            self._fresh[hour] = np.stack([_colour(*shapes[name], span, rng) for name in STREAMS])
            if len(self._fresh) > 400:
                self._fresh.pop(next(iter(self._fresh)))
        return self._fresh[hour]

    def _usual(self, name: str, issued: int, count: int) -> tuple[F, float]:
        """The usual course of the day about a morning, (count,), and the spread of the weather about it."""
        n = self.numbers
        last = min(issued + round(24 * n["ahead"]), self.world.weather.hours)
        first = max(issued - round(24 * n["usual_before"]), 0)
        values = getattr(self.world.weather, name)[0][first:last]
        values = np.sqrt(values) if name == "wind_ms" else values
        clock = np.arange(first, last) % 24
        mean = np.bincount(clock, values, 24) / np.bincount(clock, minlength=24)
        spread = float((values - mean[clock]).std())
        least = n["usual_root_wind"] if name == "wind_ms" else n["usual_sd"]
        return mean[np.arange(last - count, last) % 24], max(spread, least)

    def _missed(self, name: str, issued: int, true: F, sigma: F, noise: F) -> F:
        """Forecast minus truth of what keeps the variance of the weather."""
        normal, spread = self._usual(name, issued, true.size)
        kept = np.maximum(1.0 - sigma**2 / (2.0 * spread**2), 0.0)
        return np.asarray((kept - 1.0) * (true - normal) + np.sqrt(1.0 - kept**2) * spread * noise)

    def _wind(self, issued: int, true: F, log_sd: F, noise: F, ahead: NDArray[np.bool_]) -> F:
        """Wind is wrong in its square root, which is what is normal of hourly wind."""
        root = np.sqrt(true)
        normal, _ = self._usual("wind_ms", issued, true.size)
        off = self._missed("wind_ms", issued, root, log_sd * float(normal.mean()) / 2.0, noise)
        return np.where(ahead, np.maximum(root + off, 0.3) ** 2, true)

    # ---------------------------------------------------------------- rain

    def _lost(self, lead_days: F | float) -> F:
        n = self.numbers
        return np.asarray(n["missed_first"] + n["missed_day"] * np.clip(lead_days, 0.0, FAR))

    def _rain(self, issued: int, first: int, last: int) -> F:
        """Rain as forecast for the hours ``first`` to ``last``; what has fallen is known."""
        n, out = self.numbers, np.zeros(last - first)
        near = [e for e in self.events if first - 72 < e.first < last]
        for event in near:
            dice = _Dice.of(self.world.seed, event.first)
            if dice.missed >= float(self._lost((event.first - issued) / 24.0)):
                begin_at = event.first + self._shift(dice, event.first, issued)
                self._put(out, first, begin_at, event.amounts[: last - event.first], dice)
        pool = [
            e for e in self.events if issued - 30 * 24 < e.first and e.first + len(e.amounts) <= last - 24
        ]
        stretch = (min(issued, 30 * 24) + last - 24 - issued) / 1.0
        begin = np.arange(max(issued - 24, 0), last)
        rate = len(pool) / max(stretch, 1.0)
        for hour in begin[self.invent[begin] < rate * self._lost((begin - issued) / 24.0)]:
            like = pool[int(self.which[hour] * len(pool))]
            dice = _Dice.of(self.world.seed, int(hour))
            self._put(out, first, int(hour), like.amounts, dice)
        out[out < n["wet"]] = 0.0
        out[: issued - first] = self.rain[first:issued]
        return out

    def _shift(self, dice: _Dice, begin: int, issued: int) -> int:
        """Hours by which an event is forecast at the wrong time; the error shrinks as it comes near."""
        n, lead = self.numbers, max(begin - issued, 0) / 24.0
        leads = lead % 1.0 + np.arange(int(lead) + 1)
        grown = (n["shift_first"] + n["shift_day"] * leads) ** 2
        steps = np.sqrt(np.diff(np.concatenate([[0.0], grown])))
        return round(float(steps @ dice.late[: steps.size]))

    def _put(self, out: F, first: int, begin: int, amounts: Sequence[float], dice: _Dice) -> None:
        n = self.numbers
        for k, amount in enumerate(amounts):
            at = begin + k - first
            if 0 <= at < out.size:
                told = amount * np.exp(n["amount_log"] * (dice.amount[0] + dice.amount[1 + k % 63]))
                out[at] += max(told, n["wet"] if amount >= n["wet"] else 0.0)

    def _moist(self, dew: F, air: F, rain: F, true: F, ahead: NDArray[np.bool_], first: int) -> F:
        """A model's rain moistens its own air; where it has none, its air is not as damp as in the rain."""
        wet, rows = self.numbers["wet"], slice(first, first + dew.size)
        invented = (rain >= wet) & (true < wet) & ahead
        dry = (rain < wet) & (true >= wet) & ahead
        dew = np.where(invented, np.maximum(dew, air - 0.5 - 2.0 * self.damp[rows]), dew)
        return np.where(dry, np.minimum(dew, air - 0.5 - 3.5 * self.drier[rows]), dew)


@dataclass(frozen=True, eq=False)
class _Dice:
    """What is drawn once for an event: whether it is missed, how it is late, how much it is told."""

    missed: float
    late: F
    amount: F

    @staticmethod
    @lru_cache(maxsize=4096)
    def of(seed: int, hour: int) -> _Dice:
        rng = np.random.default_rng([seed, hour, 704])
        return _Dice(float(rng.random()), rng.standard_normal(24), rng.standard_normal(64))


def _events(rain: F, wet_mm: float, joined: int) -> tuple[_Event, ...]:
    wet = np.flatnonzero(rain >= wet_mm)
    if not wet.size:
        return ()
    parts = np.split(wet, np.flatnonzero(np.diff(wet) > joined + 1) + 1)
    return tuple(_Event(int(p[0]), tuple(rain[p[0] : p[-1] + 1])) for p in parts)


@lru_cache(maxsize=16)
def _memory(count: int, hours: float) -> F:
    """The matrix that links white noise, (count, count)."""
    keep = float(np.exp(-1.0 / hours))
    apart = np.arange(count)[:, None] - np.arange(count)[None, :]
    link = np.where(apart >= 0, keep ** np.maximum(apart, 0), 0.0)
    link[:, 1:] *= np.sqrt(1.0 - keep**2)
    return link


@lru_cache(maxsize=8)
def _bell(parts: tuple[tuple[float, float], ...], bell: int) -> F:
    """Weights of a bell that leave linked noise at unit spread."""
    at = np.arange(-3 * bell, 3 * bell + 1)
    weight = np.exp(-0.5 * (at / bell) ** 2)
    apart = np.abs(at[:, None] - at[None, :])
    covered = sum(share * np.exp(-apart / hours) for share, hours in parts)
    return np.asarray(weight / np.sqrt(weight @ covered @ weight))


def _colour(parts: tuple[tuple[float, float], ...], bell: int, count: int, rng: np.random.Generator) -> F:
    """Noise of unit spread whose memory is a mixture of exponentials (share, hours), drawn over a bell."""
    length = count + 6 * bell
    out = sum(
        np.sqrt(share) * (_memory(length, hours) @ rng.standard_normal(length)) for share, hours in parts
    )
    return np.asarray(np.convolve(out, _bell(parts, bell), mode="valid") if bell else out)
