"""The one weather value that every reader makes and everything else uses.

Convention
----------
Row ``k`` is the hour ``[t_k, t_k + 1 h)`` with ``t_k = start + k h`` in UTC.
Air, dew point, wind, cloud and pressure are instants at ``t_k`` and run
linearly to the next row; rain, sun and gust belong to the interval. A source
that labels an interval by its end is moved one row earlier by its reader.
Unknown is ``NaN``, never zero.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, fields, replace
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

__all__ = ["HOUR", "INSTANTS", "INTERVALS", "QUANTITIES", "Array", "Provenance", "Weather", "WeatherError"]

Array = NDArray[np.float64]
HOUR = timedelta(hours=1)

INSTANTS = ("air_c", "dew_point_c", "wind_ms", "cloud", "pressure_hpa", "air_sigma_k")
INTERVALS = ("rain_mm", "rain_chance", "sun_wm2", "gust_ms", "code")
QUANTITIES = INSTANTS + INTERVALS


class WeatherError(ValueError):
    """A weather answer that cannot be used; the text says what and how to mend it."""


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a weather value came from.

    ``issued`` is the time the forecast was made: the source's own word, else
    what the user said, else the time it was fetched, else the first hour
    (then ``issued_known`` is false).
    """

    family: str
    address: str | None = None  # secrets masked
    issued: datetime | None = None
    issued_known: bool = False
    fetched: datetime | None = None
    latitude: float | None = None  # of the cell that answered
    longitude: float | None = None
    altitude_m: float | None = None
    notes: tuple[str, ...] = ()  # what the reader wants the user to know


@dataclass(frozen=True, eq=False)
class Weather:
    """Hourly weather, each quantity an array of shape (members, hours), or None where not offered.

    Units: °C, m/s (wind at 10 m), share 0..1 (cloud, rain_chance), W/m², mm per
    hour, hPa, WMO 4677 code. ``rain_chance`` is the chance of more than about
    0.1 mm in the hour. ``air_sigma_k`` is the standard deviation that the source
    itself gives for the air, K; one row of it may serve all members. ``filled``
    (hours,) marks hours in which a short gap was closed.
    """

    start: datetime
    air_c: Array
    dew_point_c: Array
    wind_ms: Array
    rain_mm: Array
    rain_chance: Array | None = None
    cloud: Array | None = None
    sun_wm2: Array | None = None
    gust_ms: Array | None = None
    pressure_hpa: Array | None = None
    code: Array | None = None
    air_sigma_k: Array | None = None
    filled: NDArray[np.bool_] | None = None
    provenance: Provenance = field(default_factory=lambda: Provenance("unknown"))

    def __post_init__(self) -> None:
        if self.start.tzinfo is None or self.start.utcoffset() != timedelta(0):
            raise ValueError("Weather.start must be in UTC")
        # Rows of a source in a zone of half or quarter hours start between whole hours of UTC.
        if self.start.minute % 15 or self.start.second or self.start.microsecond:
            raise ValueError("Weather.start must be a whole quarter hour")
        shape = self.air_c.shape
        if len(shape) != 2:
            raise ValueError("Weather arrays have the shape (members, hours)")
        for name, values in self.arrays():
            # The doubt of one forecast still stands beside the members that were drawn from it.
            if values.shape != shape and not (name == "air_sigma_k" and values.shape == (1, shape[1])):
                raise ValueError(f"{name} has shape {values.shape}, air_c {shape}")

    @property
    def members(self) -> int:
        """Number of members."""
        return int(self.air_c.shape[0])

    @property
    def hours(self) -> int:
        """Number of hourly rows."""
        return int(self.air_c.shape[1])

    @property
    def end(self) -> datetime:
        """End of the last row."""
        return self.start + self.hours * HOUR

    def arrays(self) -> Iterable[tuple[str, Array]]:
        """Name and array of every quantity that is present."""
        for name in QUANTITIES:
            values = getattr(self, name)
            if values is not None:
                yield name, values

    def hour_of(self, when: datetime) -> float:
        """Hours from the start of the series to ``when`` (negative before it)."""
        return (when.astimezone(UTC) - self.start) / HOUR

    def time_at(self, hours: float) -> datetime:
        """The UTC time that lies ``hours`` after the start of the series."""
        return self.start + timedelta(hours=float(hours))

    def known_until(self) -> datetime:
        """End of the last hour for which air, dew point, wind and rain are all known in some member."""
        known = np.isfinite(self.air_c) & np.isfinite(self.dew_point_c)
        known &= np.isfinite(self.wind_ms) & np.isfinite(self.rain_mm)
        rows = np.flatnonzero(known.any(axis=0))
        return self.start + (int(rows[-1]) + 1) * HOUR if rows.size else self.start

    def between(self, first: datetime, last: datetime) -> Weather:
        """The rows that lie in ``[first, last)``; an error when none does."""
        a = max(0, int(np.floor(self.hour_of(first))))
        b = min(self.hours, int(np.ceil(self.hour_of(last))))
        if b <= a:
            raise WeatherError(
                f"the weather holds no hour between {first:%Y-%m-%d %H:%M} and {last:%Y-%m-%d %H:%M}"
            )
        cut = {name: values[:, a:b] for name, values in self.arrays()}
        filled = None if self.filled is None else self.filled[a:b]
        return replace(self, start=self.start + a * HOUR, filled=filled, **cut)  # type: ignore[arg-type]

    def with_past(self, older: Weather) -> Weather:
        """The same weather with the hours before it from an older answer, as far as that one goes.

        Of several older members the first row stands for all; what the older
        answer does not offer is unknown in its hours. Answers whose hours begin
        at another minute, or that leave a gap, cannot be joined: the weather is
        given back as it is.
        """
        lead = (self.start - older.start) / HOUR
        if lead <= 0 or lead != int(lead) or older.end < self.start:
            return self
        hours = int(lead)
        joined = {}
        for name, values in self.arrays():
            before = getattr(older, name)
            past = np.full((values.shape[0], hours), np.nan)
            if before is not None:
                past[:] = before[:1, :hours]
            joined[name] = np.concatenate([past, values], axis=1)
        filled = np.zeros(hours + self.hours, bool)
        if older.filled is not None:
            filled[:hours] = older.filled[:hours]
        if self.filled is not None:
            filled[hours:] = self.filled
        return replace(self, start=older.start, filled=filled, **joined)  # type: ignore[arg-type]

    def from_source(self, **changes: object) -> Weather:
        """The same weather with some of its provenance changed."""
        names = {f.name for f in fields(Provenance)}
        unknown = set(changes) - names
        if unknown:
            raise TypeError(f"no such provenance: {sorted(unknown)}")
        return replace(self, provenance=replace(self.provenance, **changes))  # type: ignore[arg-type]
