"""The yard's own cold air, learned from nights: what the forecast had said against what was read there.

Pure. A night's reading minus its forecast is taken as

    e = air + still * hollow + scatter

with two unknowns in K: ``air``, how the yard differs on any night, and
``hollow``, what clear calm nights add. ``still`` is how much of one degree of
cold air would have shown in that night's lowest (0 to 1), by the same rule that
puts cold air into the members, so that the two regimes need no border. A Kalman
filter follows both (form after Galanis & Anadranistakis 2002, Meteorol. Appl. 9,
there for a single offset): old nights fade, and the doubt comes for free. White
frost seen or not seen is a night with a threshold instead of a number; it enters
by the moments of a probit (Rasmussen & Williams 2006, section 3.9, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from math import erf, exp, pi, sqrt
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from scheduler.settings import Doubt, Physics
from scheduler.weather.members import likely_cloud, still_share
from scheduler.weather.series import Weather
from scheduler.weather.sun import sun_height

__all__ = [
    "Night",
    "NightForecast",
    "Offset",
    "in_the_yard",
    "learn_offset",
    "night_forecast",
    "night_of",
]

F = NDArray[np.float64]
Numbers = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class NightForecast:
    """What a forecast had said of a night: lowest air in °C, how clear and calm, how long before, in days."""

    low_c: float
    still: float
    lead_days: float


@dataclass(frozen=True, slots=True)
class Night:
    """A night that can be compared: its morning, the forecast, and what was read or seen."""

    morning: date
    forecast: NightForecast
    low_c: float | None = None
    frost: bool | None = None


@dataclass(frozen=True, slots=True)
class Offset:
    """What was learned of the yard's air, K with one standard deviation each.

    ``nights`` were used, ``still_nights`` of them clear and calm; ``aside`` are
    those that were not, each with the reason.
    """

    air_c: float
    air_sd: float
    hollow_c: float
    hollow_sd: float
    nights: int
    still_nights: int
    aside: tuple[tuple[date, str], ...] = ()
    before_k: float | None = None  # root mean square of reading minus forecast
    after_k: float | None = None  # the same after what had been learned until the night before

    @property
    def still_c(self) -> float:
        """The yard against the forecast on a clear calm night, K."""
        return self.air_c + self.hollow_c


def night_of(when: datetime, zone: ZoneInfo, evening: float) -> date:
    """The morning of the night in which a time lies; from the evening hour on it is the next day's."""
    local = when.astimezone(zone)
    return local.date() + timedelta(days=1 if local.hour >= evening else 0)


def night_forecast(
    weather: Weather,
    morning: date,
    *,
    zone: ZoneInfo,
    latitude: float,
    longitude: float,
    physics: Physics,
    doubt: Doubt,
    numbers: Numbers,
) -> NightForecast | None:
    """What a forecast says of the night before ``morning``; None where it does not know the whole of it.

    Of several members the mean is taken. ``numbers`` are those of [offset] in config/learning.toml.
    """
    begin = datetime.combine(morning - timedelta(days=1), time(int(numbers["evening"])), zone)
    end = datetime.combine(morning, time(int(numbers["morning"])), zone)
    first, last = weather.hour_of(begin), weather.hour_of(end) + 1.0
    rows = slice(int(np.ceil(first - 1e-9)), int(np.floor(last + 1e-9)))
    if rows.start < 0 or rows.stop > weather.hours or rows.stop <= rows.start:
        return None
    air, wind = weather.air_c[:, rows], weather.wind_ms[:, rows]
    if not (np.isfinite(air).all() and np.isfinite(wind).all()):
        return None
    height = sun_height(weather.start, np.arange(rows.start, rows.stop) + 0.5, latitude, longitude)
    share = still_share(_cloud(weather, rows, doubt), wind, height[None, :], physics)
    low = air.min(axis=1)
    shown = low - (air - share).min(axis=1)
    issued = weather.provenance.issued or weather.start
    dawn = weather.start + timedelta(hours=rows.start + float(np.mean(np.argmin(air, axis=1))))
    lead = max((dawn - issued) / timedelta(days=1), 0.0)
    return NightForecast(float(low.mean()), float(np.clip(shown.mean(), 0.0, 1.0)), float(lead))


def _cloud(weather: Weather, rows: slice, doubt: Doubt) -> F:
    spread = weather.air_c[:, rows] - weather.dew_point_c[:, rows]
    guess = likely_cloud(np.nan_to_num(spread, nan=3.0), weather.rain_mm[:, rows], doubt["cloud_missing"])
    if weather.cloud is None:
        return guess
    told = weather.cloud[:, rows]
    return np.where(np.isfinite(told), told, guess)


# ------------------------------------------------------------------ the estimator


def learn_offset(nights: Iterable[Night], hollow_c: float, numbers: Numbers, doubt: Doubt) -> Offset:
    """The yard's offset from nights in any order; ``hollow_c`` is the yard file's word, where it begins."""
    state = np.array([0.0, hollow_c])
    spread = np.diag([numbers["prior_air_sd"] ** 2, numbers["prior_hollow_sd"] ** 2])
    aside: list[tuple[date, str]] = []
    raw: list[float] = []
    left: list[float] = []
    used = still = 0
    before: Night | None = None
    for night in sorted(nights, key=lambda n: n.morning):
        why = _doubtful(night, before, numbers)
        last, before = before, night
        if why is not None:
            aside.append((night.morning, why))
            continue
        gap = min((night.morning - last.morning).days, 365) if last is not None else 0
        spread = spread + np.eye(2) * numbers["forget"] * gap
        scatter = _scatter(night, gap == 1, numbers, doubt)
        look = np.array([1.0, night.forecast.still])
        if night.low_c is not None:
            miss = night.low_c - night.forecast.low_c
            raw.append(miss)
            left.append(miss - float(look @ state))
            state, spread = _by_reading(state, spread, look, miss, scatter)
        elif night.frost is not None:
            edge = numbers["frost_air"] - night.forecast.low_c
            width = scatter + numbers["frost_sd"] ** 2
            state, spread = _by_frost(state, spread, look, edge, night.frost, width)
        used += 1
        still += night.forecast.still >= numbers["still_night"]
    return Offset(
        air_c=float(state[0]),
        air_sd=sqrt(float(spread[0, 0])),
        hollow_c=float(state[1]),
        hollow_sd=sqrt(float(spread[1, 1])),
        nights=used,
        still_nights=int(still),
        aside=tuple(aside),
        before_k=_rms(raw),
        after_k=_rms(left),
    )


def _rms(values: Sequence[float]) -> float | None:
    return sqrt(sum(v * v for v in values) / len(values)) if values else None


def _scatter(night: Night, day_after: bool, numbers: Numbers, doubt: Doubt) -> float:
    """Variance of a night's scatter, K²; of two nights in a row the second tells less: errors are linked."""
    table = doubt["air"]
    sigma = float(np.interp(night.forecast.lead_days, table["days"], table["sigma"]))
    link = exp(-24.0 / table["hours"]) if day_after else 0.0
    reading = numbers["reading_sd"] if night.low_c is not None else 0.0
    return sigma**2 * (1.0 + link) / (1.0 - link) + reading**2


def _doubtful(night: Night, before: Night | None, numbers: Numbers) -> str | None:
    """Why a night is asked about and not learned from, or None."""
    low, said = night.low_c, night.forecast.low_c
    if low is None:
        return None
    if abs(low - said) > numbers["outlier"]:
        if abs((low - 32.0) * 5.0 / 9.0 - said) < 0.5 * numbers["outlier"]:
            return f"{low:g} read, {said:.0f} °C forecast: was that in °F?"
        return (
            f"{low:g} °C read, {said:.0f} °C forecast: too far apart; is the thermometer in the open shade?"
        )
    if (
        before is not None
        and before.low_c == low
        and (night.morning - before.morning).days == 1
        and said - before.forecast.low_c > numbers["unreset"]
    ):
        return f"{low:g} °C as the night before, though it was warmer: was the thermometer reset?"
    return None


def _by_reading(state: F, spread: F, look: F, miss: float, scatter: float) -> tuple[F, F]:
    """One step of a Kalman filter with a scalar reading."""
    gain = spread @ look / (look @ spread @ look + scatter)
    kept = np.eye(2) - np.outer(gain, look)
    return state + gain * (miss - look @ state), kept @ spread @ kept.T + np.outer(gain, gain) * scatter


def _by_frost(state: F, spread: F, look: F, edge: float, frost: bool, width: float) -> tuple[F, F]:
    """The same for frost or none: the offset lay below or above ``edge``, to within ``width`` (K²)."""
    sign = -1.0 if frost else 1.0
    total = sqrt(float(look @ spread @ look) + width)
    z = sign * (float(look @ state) - edge) / total
    # Far in the tail the ratio of density and probability tends to -z.
    below = 0.5 * (1.0 + erf(z / sqrt(2.0)))
    ratio = exp(-0.5 * z * z) / sqrt(2.0 * pi) / below if below > 1e-12 else -z
    lean = spread @ look
    mean = state + sign * lean * ratio / total
    return mean, spread - np.outer(lean, lean) * ratio * (z + ratio) / total**2


def in_the_yard(
    weather: Weather, hollow_c: float, latitude: float, longitude: float, physics: Physics, doubt: Doubt
) -> Weather:
    """A forecast with the yard's cold air put into it, by the rule that the members go by."""
    rows = np.arange(weather.hours) + 0.5
    height = sun_height(weather.start, rows, latitude, longitude)
    cloud = _cloud(weather, slice(0, weather.hours), doubt)
    share = still_share(cloud, weather.wind_ms, height[None, :], physics)
    return replace(weather, air_c=weather.air_c + hollow_c * np.nan_to_num(share))
