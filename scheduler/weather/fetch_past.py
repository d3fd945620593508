"""The hours that a yard has had, brought up to date from a forecast at hand and the answers kept. An edge."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from scheduler.settings import YardFile
from scheduler.weather.fetch import newest_first, place_key, weather_of
from scheduler.weather.fetch_hours import hours_had, joined, keep_hours
from scheduler.weather.series import Weather, WeatherError

__all__ = ["hours_until"]

MOST = 60  # kept answers that are read to close a gap; some milliseconds each
PAST = timedelta(days=3)


def hours_until(yard: YardFile, weather: Weather | None, at: datetime, *, most: int = MOST) -> Weather | None:
    """All hours before ``at`` that are known for the yard's place, and kept for another day; None: none are.

    Hours that lie after ``at`` (of a clock that was turned back) are left out, not forgotten.
    """
    folder = yard.cache_folder
    if not folder.is_dir():
        return None if weather is None else joined(None, weather, at)
    place = f"{yard.yard.key} {place_key(yard.yard.place)}"
    kept = hours_had(folder, place)
    whole = kept if weather is None else joined(kept, weather, at)
    whole = _closed(yard, whole, kept, at, folder, most)
    if whole is not None and (kept is None or whole.end > kept.end or whole.start < kept.start):
        keep_hours(folder, place, whole)
    if whole is None or whole.start >= at:
        return None
    return whole.between(whole.start, min(whole.end, at)) if whole.end > at else whole


def _closed(
    yard: YardFile, whole: Weather | None, kept: Weather | None, at: datetime, folder: Path, most: int
) -> Weather | None:
    """With the answers kept from the time that the hours at hand do not tell of."""
    if kept is not None and whole is not None:
        begin = int((kept.end - whole.start) / timedelta(hours=1))
        if np.isfinite(whole.air_c[0, begin:]).all():
            return whole  # it goes on where the last one ended
    for tries, one in enumerate(newest_first(folder, at)):
        if tries >= most or (kept is not None and one.fetched < kept.end):
            break
        with suppress(WeatherError):
            older = weather_of(one.load(), yard.yard.place, names=yard.forecast.names)
            then = min(at, one.fetched + PAST)
            base = joined(None, older, then)
            whole = base if whole is None else (whole if base is None else joined(base, whole, at) or whole)
    return whole
