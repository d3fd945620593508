"""What past years say: the chance that a start on a day of the frost year would have passed the yard's rules.

The real rules, film and faces are run on hours made from the days of a record,
with a few members for what is doubted of the film, the wind at the face, the
drying and the yard's cold air. There is no error of a forecast in it: the
weather of those years is taken as it was, and the day's best start counts, as
a keeper takes who has seen the day's forecast.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from scheduler.clocks import first_from
from scheduler.coating.face import Exposure, exposure_of
from scheduler.coating.film import FilmClocks, surroundings
from scheduler.coating.product import Coating, coating_of
from scheduler.rules.engine import PASS, UNKNOWN, Findings, judge, series_of
from scheduler.rules.hours import Openness, openness
from scheduler.rules.rule import Rule, rules_of
from scheduler.rules.spans import Limits
from scheduler.settings import (
    DAYS,
    Place,
    Yard,
    YardFile,
    assumptions,
    coating_profiles,
    doubt,
    physics,
    rule_specs,
    thresholds,
)
from scheduler.weather.air import humidity
from scheduler.weather.fine import PER_HOUR, Fine, fine_grid
from scheduler.weather.history import YEAR, DailyRecord, FrostCalendar, frost_calendar, numbered
from scheduler.weather.history_hours import Numbers, day_offset, hours_from_days
from scheduler.weather.members import Members, cold_air, quantiles
from scheduler.weather.series import Weather, WeatherError
from scheduler.weather.sun import sun_height

__all__ = ["Climate", "climate_of"]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays
DAY = timedelta(days=1)
WINDOW = 24  # days worked out at once: memory against the days before and after that come with each
LEAD = 3  # days before them, for the heat of the log, as a forecast brings them
AFTER = 5  # days behind them, for the film of the last start
SLOW_H = 96  # a coat that has not come through by then counts as failed
DAY_STEPS = 24 * PER_HOUR


@dataclass(frozen=True, eq=False)
class Climate:
    """What would have held in past years.

    ``passed`` (years, 365) is the share of the members in which the best start of a
    day of the frost year passed all stopping rules; ``hours`` (years, 365) the hours
    of that day whose starts passed in at least ``show_chance`` of them. NaN where the
    record does not say. ``starts`` are the first days of the years.
    """

    calendar: FrostCalendar
    starts: tuple[date, ...]
    passed: F
    hours: F
    smooth_days: int
    air_c: F | None = None  # (365,) usual air and relative humidity (share) of each day of the frost year
    humidity: F | None = None

    def chance(self) -> F:
        """Chance by day of the frost year that its best start passes, (365,), NaN where no year says.

        Mean over the years and the days around; a finite number of years proves
        neither never nor always: (k + 1/2) / (n + 1).
        """
        known = np.isfinite(self.passed)
        count, total = known.sum(axis=0), np.where(known, self.passed, 0.0).sum(axis=0)
        around = np.arange(-self.smooth_days, self.smooth_days + 1)
        days = (np.arange(YEAR)[:, None] + around[None, :]) % YEAR
        seen, kept = count[days].sum(axis=1), total[days].sum(axis=1)
        share = np.divide(kept, seen, out=np.full(YEAR, np.nan), where=seen > 0)
        years = seen / around.size
        return np.asarray((share * years + 0.5) / (years + 1.0))

    def on(self, day: date) -> float:
        """The chance on a date."""
        return float(self.chance()[self.calendar.number_of(day)])

    def good(self, least: float = 0.5) -> NDArray[np.bool_]:
        """Days with a start that passed in at least this share of the members, (years, 365).

        A day that the record does not tell is not among them.
        """
        return np.asarray(np.nan_to_num(self.passed) >= least)

    def left_after(self, number: int, until: int = YEAR, least: float = 0.5) -> I:
        """Good days of each year after a numbered day and before day ``until``, (years,)."""
        return np.asarray(self.good(least)[:, number + 1 : until].sum(axis=1))

    def last_good(self, until: int = YEAR, least: float = 0.5) -> F:
        """Number of each year's last good day before day ``until``, (years,); -inf where there was none."""
        good = self.good(least)[:, :until]
        last = good.shape[1] - 1 - np.argmax(good[:, ::-1], axis=1)
        return np.where(good.any(axis=1), last, -np.inf)


def climate_of(
    record: DailyRecord,
    yard: YardFile,
    numbers: Numbers,
    *,
    place: Place | None = None,
    calendar: FrostCalendar | None = None,
    days: tuple[int, int] = (0, YEAR),
) -> Climate:
    """Run the yard's rules over the latest whole frost years of a record.

    Parameters
    ----------
    record : days of a station near the yard or of the archive's cell
    numbers : config/history.toml
    place : one of the yard's places; None: the open yard
    calendar : the frost year, where it is known already
    days : first numbered day and the one after the last; the others stay unknown, and cost no time

    Raises
    ------
    WeatherError
        When the record holds no whole frost year, no maxima or no rain.
    """
    for word, values in (("maxima", record.max_c), ("rain", record.rain_mm)):
        if not np.isfinite(values).any():
            raise WeatherError(f"The record holds no {word}; without them a coat's chance cannot be told.")
    calendar = calendar or frost_calendar(record)
    starts = _whole_years(record, calendar, int(numbers["years"]))
    run = _Run(record, yard, numbers, place, calendar, starts)
    passed, hours = np.full((2, len(starts), YEAR), np.nan)
    begin, end = days
    for first in range(begin, end, WINDOW):
        last = min(first + WINDOW, end)
        passed[:, first:last], hours[:, first:last] = run.window(first, last - first)
    usual = _usual(run.hours, calendar)
    return Climate(calendar, starts, passed, hours, int(numbers["smooth_days"]), *usual)


def _usual(hours: Weather, calendar: FrostCalendar) -> tuple[F, F]:
    """Mean air and relative humidity (share) of each day of the frost year, (365,) each."""
    first = np.datetime64(hours.start.date(), "D")
    days = first + np.arange(hours.hours // 24)
    number = (numbered(days) - calendar.begins) % YEAR
    rows = slice(0, days.size * 24)
    out = []
    damp = humidity(hours.air_c, hours.dew_point_c)
    for values in (hours.air_c[0, rows], damp[0, rows]):
        known = np.isfinite(values)
        whole = np.where(known, values, 0.0).reshape(-1, 24).sum(axis=1)
        count = known.reshape(-1, 24).sum(axis=1)
        total = np.bincount(number, whole, YEAR)
        out.append(total / np.maximum(np.bincount(number, count, YEAR), 1))
    return out[0], out[1]


def _whole_years(record: DailyRecord, calendar: FrostCalendar, latest: int) -> tuple[date, ...]:
    start = calendar.start_of(record.first)
    if start < record.first:
        start = calendar.date_of(YEAR, start)
    starts = []
    while (after := calendar.date_of(YEAR, start)) <= record.last + DAY:
        starts.append(start)
        start = after
    if not starts:
        raise WeatherError(
            f"The record ({record.first} to {record.last}) holds no whole frost year; "
            f"here one runs from {start} to {after - DAY}. Give a longer record."
        )
    return tuple(starts[-latest:])


class _Run:
    """One record under one yard: everything that the windows share."""

    def __init__(
        self,
        record: DailyRecord,
        yard: YardFile,
        numbers: Numbers,
        place: Place | None,
        calendar: FrostCalendar,
        starts: tuple[date, ...],
    ) -> None:
        self.record, self.calendar, self.starts = record, calendar, starts
        self.yard = yard.yard.model_copy(update=_any_day(yard.yard))
        self.zone = yard.zone
        self.numbers, self.physics, self.thresholds = numbers, physics(), thresholds()
        self.coating: Coating = coating_of(coating_profiles()[yard.coating.profile], yard.coating)
        self.rules: tuple[Rule, ...] = rules_of(rule_specs(), yard.rules, self.coating, yard.coating.method)
        self.limits = Limits.of(self.thresholds)
        self.exposure: Exposure = exposure_of(yard.site, self.physics, place)
        self.frost_free = place is not None and place.frost_free
        where = yard.yard.place
        self.latitude, self.longitude = where.lat, where.lon
        self.altitude = where.altitude_m if where.altitude_m is not None else (record.altitude_m or 0.0)
        self.hours = hours_from_days(record, self.latitude, self.longitude, numbers)
        # Days here run from midnight to midnight of the sun at the yard, wherever the record's begin.
        self.midnight = int(np.rint(day_offset(record, self.longitude) - self.longitude / 15.0))
        self._draw(yard.site.hollow)

    def _draw(self, hollow_c: float) -> None:
        """Draws for each year and member, in one row; their order is shuffled anew for each year."""
        count, doubts = int(self.numbers["members"]), doubt()
        rng = np.random.default_rng([int(self.numbers["seed"]), 2])

        def scores() -> F:
            return np.concatenate([quantiles(count, rng) for _ in self.starts])

        self.members = count
        self.drying = np.exp(doubts["drying"]["log_sd"] * scores())
        self.shelter = np.exp(doubts["shelter"]["log_sd"] * scores())
        self.film_k = doubts["film"]["sd"] * scores()
        sd = max(doubts["hollow"]["sd"], doubts["hollow"]["share"] * abs(hollow_c))
        self.hollow = hollow_c + sd * scores()

    def window(self, first: int, days: int) -> tuple[F, F]:
        """Share of passing members and usable hours of some days of the frost year, each (years, days)."""
        fine = self._fine(first, days)
        open_ = openness(fine, self.yard, self.zone, assumptions())
        begin = LEAD * DAY_STEPS
        starts = np.arange(begin, begin + days * DAY_STEPS, PER_HOUR, dtype=np.int64)
        starts = starts[(open_.hands[starts] >= 1.0) & (open_.light_min[starts] > 0.0)]
        share = self._shares(fine, open_, starts)
        day = (starts - begin) // DAY_STEPS
        passed, hours = np.zeros((2, len(self.starts), days))
        for n in range(days):
            passed[:, n], hours[:, n] = _of_day(share[:, day == n], self.limits.show_chance)
        return passed, hours

    def _fine(self, first: int, days: int) -> Fine:
        """The quarter-hour weather of a window in all years, years and members in rows."""
        length = (LEAD + days + AFTER) * 24
        begins = [self.calendar.date_of(first, start) - LEAD * DAY for start in self.starts]
        rows = np.array([(begin - self.record.first).days * 24 + self.midnight for begin in begins])
        index = rows[:, None] + np.arange(length)
        outside = (index < 0) | (index >= self.hours.hours)
        index = np.clip(index, 0, self.hours.hours - 1)

        def cut(values: F | None) -> F:
            assert values is not None
            return np.repeat(np.where(outside, np.nan, values[0][index]), self.members, axis=0)

        # One year stands for all in light and working hours: a day of the year is the same sun.
        at = self.hours.start + timedelta(hours=int(rows[-1]))
        w = self.hours
        cloud, wind, air = cut(w.cloud), cut(w.wind_ms), cut(w.air_c)
        height = sun_height(at, np.arange(length) + 0.5, self.latitude, self.longitude)
        air = air + cold_air(self.hollow[:, None], cloud, wind, height, self.physics)
        if self.frost_free:
            air = np.maximum(air, self.physics["frost_free_least"])
        weather = Weather(
            start=at,
            air_c=air,
            dew_point_c=np.minimum(cut(w.dew_point_c), air),
            wind_ms=wind,
            rain_mm=cut(w.rain_mm),
            cloud=cloud,
            sun_wm2=cut(w.sun_wm2),
            gust_ms=wind * self.physics["rough_wind_gust"],
        )
        return fine_grid(Members(weather, self.drying, self.shelter, self.film_k), self.altitude)

    def _shares(self, fine: Fine, open_: Openness, starts: I) -> F:
        """Share of the members that pass, by year and start; NaN where the record does not say."""
        wetness = self.physics["drying_wetness"]
        place = surroundings(
            fine, self.exposure, self.physics["face_water_held"], wetness, self.thresholds.rain_hour.value
        )
        milestones = FilmClocks(place, self.coating, wetness).milestones(starts)
        findings = judge(
            self.rules,
            series_of(place, open_),
            place,
            milestones,
            starts,
            self.limits.brush_steps,
            fine.rain_unknown,
        )
        return self._by_year(findings, fine, starts)

    def _by_year(self, findings: Findings, fine: Fine, starts: I) -> F:
        outcome = findings.outcome()
        hidden = fine.unknown if self.exposure.roofed else fine.unknown | fine.rain_unknown
        seen = first_from(hidden)[:, starts] - starts >= SLOW_H * PER_HOUR
        shape = (len(self.starts), self.members, starts.size)
        unknown = ((outcome == UNKNOWN) & ~seen).reshape(shape)
        passing = (outcome == PASS).reshape(shape).sum(axis=1)
        known = self.members - unknown.sum(axis=1)
        share = np.divide(passing, known, out=np.zeros(known.shape), where=known > 0)
        few = self.members - known > self.limits.unknown_share * self.members
        return np.where(few, np.nan, np.where(findings.closed(), 0.0, share))


def _of_day(share: F, show: float) -> tuple[F, F]:
    """The best start of a day and the hours with a fair one, each (years,), of shares (years, starts)."""
    if not share.shape[1]:
        none = np.zeros(share.shape[0])
        return none, none
    best = np.nan_to_num(share).max(axis=1)
    hours = (np.nan_to_num(share) >= show).sum(axis=1)
    # One unknown start may have been the good one.
    hidden = np.isnan(share).any(axis=1) & (best < 0.5)
    return np.where(hidden, np.nan, best), np.where(hidden, np.nan, hours)


def _any_day(yard: Yard) -> dict[str, object]:
    """Somebody is there on every day, from the week's earliest opening to its latest closing."""
    stretches = [hours for n in range(7) if isinstance(hours := yard.hours_of(n), tuple)]
    people = max(1, yard.people)
    if not stretches:
        return {"hours": {}, "people": people}
    first, last = min(a for a, _ in stretches), max(b for _, b in stretches)
    return {"hours": dict.fromkeys(DAYS, f"{first:%H:%M}-{last:%H:%M}"), "people": people}
