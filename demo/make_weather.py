"""The weather of the two invented yards, made from a story.

``python demo/make_weather.py`` writes both files beside this one.

The story is the table of days below, in the yard's own wall-clock time. Between
its points every quantity runs on a smooth curve that never overshoots them, so
the lowest and highest values of a day are the ones written here. The answer has
the shape of hourly column JSON of the Open-Meteo family: UTC, instants at the
hour, and rain, its chance, sun and gusts for the hour that *ends* at the label.

Invented from end to end; no forecast or record was used. There is no clock
change within either story, so each yard keeps one offset from UTC.
"""

from __future__ import annotations

import json
import math
from bisect import bisect_right
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

HOUR = timedelta(hours=1)
HOURS = (3 + 16) * 24  # three days past and sixteen ahead, as such a service answers when asked for both

Points = dict[float, float]  # hour of the day (wall clock) -> value
SATURATED = 12.0  # a dew point above any air of these stories; it is cut to the air's, so the air is full


@dataclass(frozen=True)
class Day:
    """One day of a story. A bare number holds from 6 to 18 h; a dict gives the turning points itself."""

    low: float  # °C, reached at 7 h
    high: float  # °C, reached at 15 h, about two hours and a half after the sun stands highest
    dew: float | Points  # °C
    wind: float | Points  # m/s at 10 m
    cloud: float | Points  # % of the sky
    pressure: float  # hPa at the yard, at noon
    chance: int = 2  # % in an hour, of rain when none is near
    air: Points = field(default_factory=dict)  # instead of the usual curve from low to high


@dataclass(frozen=True)
class Rain:
    """Rain or melted snow from a wall-clock hour on, mm in each hour, and how sure the forecast is of it."""

    day: date
    hour: int
    amounts: tuple[float, ...]
    chance: int  # %


@dataclass(frozen=True)
class Story:
    """A place, its offset from UTC, the days in a row from ``first``, and the rain."""

    latitude: float
    longitude: float
    elevation: float
    offset_h: int
    first: date  # also the UTC day on which the file starts
    days: tuple[Day, ...]
    rain: tuple[Rain, ...]


UPLAND = Story(  # 3 to 18 November: "now" is Monday the 3rd
    latitude=48.0,
    longitude=8.2,
    elevation=720.0,
    offset_h=1,
    first=date(2025, 10, 31),
    days=(
        # Fri 31 Oct to Sun 2 Nov: the days before; fog settles in on Saturday night
        Day(4, 10, dew=4, wind=2, cloud=70, pressure=931),
        Day(3, 9, dew={6: 3, 16: 4, 22: SATURATED}, wind=1, cloud={6: 70, 16: 70, 22: 100}, pressure=932),
        Day(2, 5, dew=SATURATED, wind=0.5, cloud=100, pressure=933),
        # Mon 3: fog till noon and no warmth after it; in the evening a dry south wind gets up
        Day(
            low=1,
            high=6,
            dew={0: SATURATED, 8: SATURATED, 12: 2.8, 20: 3.6},
            wind={6: 0.5, 20: 0.5},
            cloud={6: 100, 12: 100, 15: 88, 22: 88},
            pressure=930,
            air={7: 1, 12: 2.8, 15: 3.8, 22: 6},
        ),
        # Tue 4: the dry day
        Day(
            low=5,
            high=12,
            dew={3: 2, 22: 2},
            wind={3: 4, 9: 5, 14: 6, 20: 4.5},
            cloud={3: 60, 9: 40, 16: 40, 22: 80},
            pressure=924,
            chance=1,
            air={4: 5, 7: 5.8, 11: 10, 15: 12, 21: 8.5},
        ),
        # Wed 5: rain from ten
        Day(
            low=4,
            high=8,
            dew={3: 3, 8: 4, 15: 7, 20: 5.5},
            wind=3,
            cloud=100,
            pressure=918,
            chance=5,
            air={7: 4, 11: 5.8, 15: 8, 20: 5.8, 23: 4.3},
        ),
        # Thu 6: a little rain before light, drying up, clear at dusk and calm after it
        Day(
            low=2,
            high=7,
            dew={4: 2, 8: 1, 18: 0.5},
            wind={6: 2, 15: 2, 18: 1, 21: 0.5},
            cloud={4: 100, 8: 85, 14: 70, 16: 45, 18: 8, 21: 2},
            pressure=929,
            chance=4,
            air={7: 2, 11: 5, 15: 7, 19: 3.6, 23: 2.1},
        ),
        # Fri 7: the forecast's air stays just above zero; cloud comes in the evening
        Day(
            low=0.5,
            high=5,
            dew={6: -2, 16: -2},
            wind=0.5,
            cloud={6: 2, 15: 5, 18: 60, 20: 95},
            pressure=936,
            air={2: 1.1, 7: 0.5, 12: 3.6, 15: 5, 21: 3.2},
        ),
        # Sat 8, Sun 9: high cloud, hazy sun, little wind: two slow days, and damp again on Sunday evening
        Day(2, 8, dew=1, wind=1.5, cloud={6: 95, 9: 75, 16: 75, 20: 95}, pressure=935, chance=1),
        Day(
            low=2,
            high=8,
            dew={6: 1, 15: 1, 20: 2.5},
            wind={6: 1.5, 15: 1.5, 19: 0.5},
            cloud={6: 95, 9: 75, 16: 75, 20: 95},
            pressure=931,
            chance=1,
        ),
        # Mon 10: cloud
        Day(3, 7, dew={6: 3, 20: 3}, wind=1, cloud=95, pressure=925, chance=5, air={7: 3, 15: 7, 23: 3.1}),
        # Tue 11: a front with wet snow
        Day(
            low=-1,
            high=3,
            dew={6: 0, 18: 0},
            wind={4: 5, 16: 5, 22: 2.5},
            cloud={4: 100, 18: 100, 23: 50},
            pressure=917,
            chance=8,
            air={0: 3, 6: 1.2, 14: 0.6, 20: -0.4, 23: -1},
        ),
        # Wed 12 to Fri 14: cold; on Friday night mild wet air comes in over the cold
        Day(-7, -1, dew={7: -8, 18: -8}, wind=1, cloud=10, pressure=934, chance=3),
        Day(-7, -1, dew=-8, wind=1, cloud=10, pressure=936),
        Day(
            low=-7,
            high=-1,
            dew={6: -8, 15: -8, 23: -1},
            wind=1,
            cloud={6: 10, 16: 20, 21: 95},
            pressure=931,
            chance=5,
            air={7: -7, 11: -3.4, 15: -1, 19: -2.6, 23: -1},
        ),
        # Sat 15: a moist thaw; Sun 16: a dry one
        Day(
            0,
            6,
            dew={1: SATURATED, 21: SATURATED},
            wind=2,
            cloud=100,
            pressure=926,
            chance=5,
            air={0: 0, 15: 6},
        ),
        Day(3, 8, dew={5: 1, 18: 1}, wind=3, cloud=55, pressure=924, chance=4, air={7: 3, 15: 8, 23: 3}),
        # Mon 17 on: frost
        Day(-9, -3, dew=-10, wind=1, cloud=10, pressure=932, chance=4, air={6: -4, 15: -3, 21: -6.5}),
        Day(-9, -3, dew=-10, wind=1, cloud=10, pressure=935, chance=4),
        Day(-9, -3, dew=-10, wind=1, cloud=10, pressure=935, chance=4),
    ),
    rain=(
        Rain(date(2025, 11, 5), 10, (0.4, 0.8, 1.2, 1.4, 1.4, 1.2, 1.0, 0.8, 0.5, 0.3), chance=95),
        Rain(date(2025, 11, 6), 2, (0.3, 0.4, 0.3), chance=70),
        Rain(date(2025, 11, 11), 3, (0.3, 0.6, 0.9, 1.0, 1.0, 0.9, 0.7, 0.6, 0.5, 0.3, 0.2), chance=75),
    ),
)

SOUTHERN = Story(  # 11 to 25 May: "now" is Monday the 11th, and winter is near
    latitude=-45.0,
    longitude=169.4,
    elevation=310.0,
    offset_h=12,
    first=date(2026, 5, 7),
    days=(
        # Thu 7 to Sun 10: the days before
        Day(4, 11, dew=3, wind=2, cloud=70, pressure=977),
        Day(2, 12, dew=1, wind=1.5, cloud=30, pressure=980),
        Day(-1, 11, dew=-1, wind=0.5, cloud=10, pressure=985),
        Day(-2, 10, dew=-2, wind=0.5, cloud=5, pressure=985),
        # Mon 11: white frost, then cloud; Tue 12: the dry wind over the ranges
        Day(-2, 10, dew={6: -2, 18: 0}, wind=0.5, cloud={6: 5, 14: 40, 20: 90}, pressure=979),
        Day(
            6,
            14,
            dew=2,
            wind={3: 4, 9: 5, 14: 6, 20: 5},
            cloud=45,
            pressure=970,
            chance=1,
            air={4: 6, 15: 14, 21: 10},
        ),
        # Wed 13: still mild; Thu 14: rain before noon; Fri 15: showers from the south
        Day(6, 12, dew=3, wind=4, cloud=70, pressure=967, chance=4),
        Day(5, 9, dew={6: 4, 12: 6, 20: 4}, wind=4, cloud=100, pressure=961, chance=8),
        Day(2, 7, dew=1, wind=5, cloud=80, pressure=970, chance=10),
        # Sat 16 to Wed 20: frost each clear night, little sun between
        Day(-2, 7, dew=-2, wind={6: 1, 20: 0.5}, cloud=20, pressure=984),
        Day(-4, 7, dew=-4, wind=0.5, cloud=5, pressure=988),
        Day(-4, 8, dew=-4, wind=0.5, cloud=5, pressure=988),
        Day(-4, 8, dew=-4, wind=0.5, cloud=10, pressure=986, chance=4),
        Day(-3, 8, dew=-3, wind=1, cloud={6: 20, 18: 50}, pressure=981, chance=4),
        # Thu 21, Fri 22: dry and cold, with wind: the season's main risk here
        Day(1, 8, dew=-4, wind=6, cloud=30, pressure=975, chance=4),
        Day(0, 7, dew=-5, wind=6, cloud=30, pressure=975, chance=5),
        # Sat 23 on: hard frost
        Day(-5, 6, dew=-6, wind=0.5, cloud=5, pressure=985, chance=5),
        Day(-6, 5, dew=-7, wind=0.5, cloud=5, pressure=987, chance=5),
        Day(-6, 5, dew=-7, wind=0.5, cloud=5, pressure=987, chance=5),
        Day(-6, 5, dew=-7, wind=0.5, cloud=5, pressure=987, chance=5),
    ),
    rain=(
        Rain(date(2026, 5, 14), 9, (0.3, 0.6, 1.0, 1.2, 1.2, 0.9, 0.6, 0.2), chance=85),
        Rain(date(2026, 5, 15), 13, (0.4, 0.2, 0.0, 0.8, 0.6), chance=60),
    ),
)

STORIES = {"weather.json": UPLAND, "southern_weather.json": SOUTHERN}


# ------------------------------------------------------------------ curves


def curve(points: Iterable[tuple[float, float]]) -> Callable[[float], float]:
    """A smooth curve through the points that never overshoots them, flat beyond both ends.

    Cubic Hermite pieces; the slope at a point is the harmonic mean of its
    neighbours' slopes and nothing at a turning point (Fritsch and Butland 1984).
    """
    ordered = sorted(points)
    xs, ys = [x for x, _ in ordered], [y for _, y in ordered]
    steps = [(ys[k + 1] - ys[k]) / (xs[k + 1] - xs[k]) for k in range(len(xs) - 1)]
    slopes = [0.0, *(_between(a, b) for a, b in pairwise(steps)), 0.0]

    def at(x: float) -> float:
        if x <= xs[0] or x >= xs[-1]:
            return float(ys[0] if x <= xs[0] else ys[-1])
        k = bisect_right(xs, x) - 1
        width = xs[k + 1] - xs[k]
        u = (x - xs[k]) / width
        rise = u * u * (3 - 2 * u)
        bend = width * u * (1 - u) * (slopes[k] * (1 - u) - slopes[k + 1] * u)
        return ys[k] + (ys[k + 1] - ys[k]) * rise + bend

    return at


def _between(a: float, b: float) -> float:
    return 0.0 if a * b <= 0 else 2 * a * b / (a + b)


def _held(value: float | Points) -> Points:
    return value if isinstance(value, dict) else {6: value, 18: value}


def _usual_air(day: Day, following: Day | None) -> Points:
    """From the low at sunrise quickly to the high, and quickly off it after dark."""
    points: Points = {7: day.low, 11: day.low + 0.6 * (day.high - day.low), 15: day.high}
    if following is not None:
        points[21] = following.low + 0.35 * (day.high - following.low)
    return points


def curves(story: Story) -> dict[str, Callable[[float], float]]:
    """Each quantity of a story as a function of the wall-clock hours since 0 h of its first day."""
    followers = (*story.days[1:], None)
    rows: dict[str, list[Points]] = {
        "air": [d.air or _usual_air(d, then) for d, then in zip(story.days, followers, strict=True)],
        "dew": [_held(d.dew) for d in story.days],
        "wind": [_held(d.wind) for d in story.days],
        "cloud": [_held(d.cloud) for d in story.days],
        "pressure": [{12: d.pressure} for d in story.days],
    }
    return {
        name: curve((24 * k + hour, value) for k, points in enumerate(days) for hour, value in points.items())
        for name, days in rows.items()
    }


# ------------------------------------------------------------------ sun, rain, sky


def sun_height(when: datetime, latitude: float, longitude: float) -> float:
    """Sine of the sun's height above the horizon (declination and equation of time by Spencer 1971)."""
    hours = when.hour + when.minute / 60
    turn = 2 * math.pi * (when.timetuple().tm_yday - 1 + hours / 24) / 365
    c1, s1, c2, s2 = math.cos(turn), math.sin(turn), math.cos(2 * turn), math.sin(2 * turn)
    declination = 0.006918 - 0.399912 * c1 + 0.070257 * s1 - 0.006758 * c2 + 0.000907 * s2
    ahead_min = 229.18 * (0.000075 + 0.001868 * c1 - 0.032077 * s1 - 0.014615 * c2 - 0.040849 * s2)
    angle = math.radians(15 * (hours - 12 + ahead_min / 60) + longitude)
    lat = math.radians(latitude)
    return math.sin(lat) * math.sin(declination) + math.cos(lat) * math.cos(declination) * math.cos(angle)


def sunshine(height: float, cloud: float) -> float:
    """W/m2 on level ground: clear sky by Haurwitz (1945), cloud (%) by Kasten and Czeplak (1980)."""
    if height <= 0:
        return 0.0
    return 1098 * height * math.exp(-0.057 / height) * (1 - 0.75 * math.pow(cloud / 100, 3.4))


def rain_by_hour(story: Story) -> tuple[dict[datetime, float], dict[datetime, int]]:
    """Rain in mm and its chance in %, by the UTC start of the hour.

    The chance swells for three hours before the rain and fades for three after it.
    """
    amount: dict[datetime, float] = {}
    chance: dict[datetime, int] = {}
    for event in story.rain:
        begins = datetime.combine(event.day, time(event.hour), UTC) - story.offset_h * HOUR
        last = len(event.amounts) - 1
        for k in range(-3, last + 4):
            away = max(-k, k - last, 0)
            hour = begins + k * HOUR
            chance[hour] = max(chance.get(hour, 0), event.chance // (1, 2, 3, 6)[away])
            if not away and event.amounts[k]:
                amount[hour] = event.amounts[k]
    return amount, chance


def sky_code(air: float, dew: float, wind: float, cloud: float, rain: float) -> int:
    """The WMO 4677 code of an hour, of the few kinds that these stories hold."""
    if rain > 0:
        degree = 0 if rain < 0.5 else 1 if rain < 2.5 else 2
        return (71, 73, 75)[degree] if air <= 2 else (51, 61, 63)[degree]
    if cloud >= 99 and wind <= 1 and air - dew < 0.3:
        return 45
    return 0 if cloud < 12.5 else 1 if cloud < 37.5 else 2 if cloud < 75 else 3


# ------------------------------------------------------------------ the answer

UNITS = {
    "time": "iso8601",
    "temperature_2m": "°C",
    "dew_point_2m": "°C",
    "wind_speed_10m": "m/s",
    "wind_gusts_10m": "m/s",
    "precipitation": "mm",
    "precipitation_probability": "%",
    "cloud_cover": "%",
    "shortwave_radiation": "W/m²",
    "surface_pressure": "hPa",
    "weather_code": "wmo code",
}


def answer(story: Story) -> dict[str, Any]:
    """The story as such a service would send it: one column for each quantity, HOURS long."""
    return {
        "latitude": story.latitude,
        "longitude": story.longitude,
        "elevation": story.elevation,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "hourly_units": UNITS,
        "hourly": columns(story),
    }


def columns(story: Story) -> dict[str, list[Any]]:
    """Time and every quantity, hour by hour, rounded as such a service rounds them."""
    values = curves(story)
    amount, chance = rain_by_hour(story)
    start = datetime.combine(story.first, time(0), UTC)
    rows = []
    for k in range(HOURS):
        now, wall = start + k * HOUR, k + story.offset_h
        usual = story.days[(wall - 1) // 24].chance  # of the hour that ends now, like the rain
        air, wind, cloud = values["air"](wall), values["wind"](wall), values["cloud"](wall)
        dew, rain = min(values["dew"](wall), air), amount.get(now - HOUR, 0.0)
        row = (
            f"{now:%Y-%m-%dT%H:%M}",
            _tenth(air),
            _tenth(dew),
            round(wind, 2),
            round(1.7 * max(wind, values["wind"](wall - 1)) + 0.5, 1),
            rain,
            max(usual, chance.get(now - HOUR, 0)),
            round(cloud),
            round(sun_of_hour(story, values["cloud"], k), 1),
            round(values["pressure"](wall), 1),
            sky_code(air, dew, wind, cloud, rain),
        )
        rows.append(row)
    return {name: [row[n] for row in rows] for n, name in enumerate(UNITS)}


def _tenth(value: float) -> float:
    return round(value, 1) + 0.0  # no minus zero


def sun_of_hour(story: Story, cloud: Callable[[float], float], k: int) -> float:
    """Mean sun of the hour that ends at row ``k``, W/m2, from its sixths."""
    start = datetime.combine(story.first, time(0), UTC)
    middles = [k - 1 + (n + 0.5) / 6 for n in range(6)]
    return sum(
        sunshine(
            sun_height(start + h * HOUR, story.latitude, story.longitude),
            cloud(h + story.offset_h),
        )
        for h in middles
    ) / len(middles)


def main() -> None:
    """Write the files beside this one, a line for each column."""
    for name, story in STORIES.items():
        Path(__file__).with_name(name).write_text(text_of(answer(story)), encoding="utf-8")


def text_of(content: dict[str, Any]) -> str:
    """JSON with a line for each key, so that a change of the story shows as a change of few lines."""
    parts = []
    for key, value in content.items():
        if isinstance(value, dict):
            inner = ",\n".join(f"    {json.dumps(k)}: {_flat(v)}" for k, v in value.items())
            parts.append(f"  {json.dumps(key)}: {{\n{inner}\n  }}")
        else:
            parts.append(f"  {json.dumps(key)}: {_flat(value)}")
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _flat(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


if __name__ == "__main__":
    main()
