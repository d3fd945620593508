"""The hours that a yard has had (air, dew point, wind, rain, cloud, sun), joined as answers come. An edge.

An open end and a felled log have clocks that run for months; a forecast brings
three days of the past. So what each answer says of hours gone by is put into one
small file beside the kept answers. It can be lost without harm: it is made anew
from those.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zipfile import BadZipFile

import numpy as np

from scheduler.weather.fetch_files import write_whole
from scheduler.weather.series import HOUR, Provenance, Weather

__all__ = ["FILE", "hours_had", "joined", "keep_hours"]

FILE = "hours.npz"
NAMES = ("air_c", "dew_point_c", "wind_ms", "rain_mm", "cloud", "sun_wm2")
LONGEST = timedelta(days=3 * 366)  # older hours move no clock that anybody asks for
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def hours_had(folder: Path, place: str) -> Weather | None:
    """The hours kept for a place, one member, NaN where nothing is known; None where there are none."""
    try:
        with np.load(io.BytesIO((folder / FILE).read_bytes()), allow_pickle=False) as data:
            if str(data["place"]) != place:
                return None
            start = EPOCH + int(data["start"]) * HOUR
            arrays = {name: np.asarray(data[name], np.float64)[None, :] for name in NAMES}
    except (OSError, ValueError, KeyError, BadZipFile, OverflowError, EOFError):
        return None
    if len({values.shape for values in arrays.values()}) != 1 or arrays["air_c"].shape[1] == 0:
        return None
    return Weather(start=start, provenance=Provenance("hours had"), **arrays)  # type: ignore[arg-type]


def joined(kept: Weather | None, weather: Weather, at: datetime) -> Weather | None:
    """The kept hours with those of a weather that lie before ``at``; what the newer one knows replaces.

    Hours between the two that neither knows are unknown. None where there is nothing.
    """
    past = weather.between(weather.start, min(at, weather.end)) if weather.start < at else None
    if past is None or past.hours == 0 or (past.start - EPOCH) % HOUR:
        return kept
    if kept is None:
        return _laid(past, past.start, past.hours, ())
    start = min(kept.start, past.start)
    end = max(kept.end, past.end)
    start = max(start, end - LONGEST)
    return _laid(kept, start, int((end - start) / HOUR), (past,))


def _laid(first: Weather, start: datetime, hours: int, over: Iterable[Weather]) -> Weather:
    arrays = {name: np.full((1, hours), np.nan) for name in NAMES}
    for one in (first, *over):
        shift = int((one.start - start) / HOUR)
        a, b = max(shift, 0), min(shift + one.hours, hours)
        for name in NAMES:
            values = getattr(one, name)
            if values is None or b <= a:
                continue
            row = values.mean(axis=0)[a - shift : b - shift]
            known = np.isfinite(row)
            arrays[name][0, a:b][known] = row[known]
    return Weather(start=start, provenance=Provenance("hours had"), **arrays)


def keep_hours(folder: Path, place: str, hours: Weather) -> None:
    """Write the hours; where the folder cannot be written nothing is lost that cannot be made anew."""
    data = io.BytesIO()
    arrays = {name: np.asarray(getattr(hours, name)[0], np.float32) for name in NAMES}
    about = {"place": np.array(place), "start": np.array(int((hours.start - EPOCH) / HOUR))}
    np.savez(data, **about, **arrays)  # type: ignore[arg-type]  # names of arrays, none is allow_pickle
    with suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(folder / FILE, data.getvalue())
