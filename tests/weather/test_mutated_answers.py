"""Answers spoiled in many ways: weather or a clear refusal, and never a better word than the clean answer.

One of three bad weathers, told by each forecast family, is spoiled once to three times (``mutations.py``).
Whatever comes of it must be a ``Weather`` or a ``WeatherError`` in whole sentences; any other error and any
warning fails. Where information was only destroyed, each hour of the result is unknown or as it was (a night
never warmer), and the real rules find no start with a fair chance, so no *Seal* and no span either.

The number of cases is 400; ``COATCAST_FUZZ=10000`` raises it (two minutes). Each case has its number as seed:
the message of a failure names it, and ``spoiled(family, story, number)`` makes it again. ``pytest -s`` prints
how many gave weather. Below the drawn cases stand those that could turn a bad answer good, by name.
"""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

import mutations
import numpy as np
import pytest
from family_samples import PLACE, START
from mutations import ANSWERS, DESTROYING, DISORDERING, STORIES, TELLING, TEXTUAL

from scheduler.planning.outlook import Outlook
from scheduler.planning.verdict import judge_place
from scheduler.settings import Position, Yard, YardFile
from scheduler.weather.formats import read_answer
from scheduler.weather.sensor import read_sensor
from scheduler.weather.series import HOUR, QUANTITIES, Weather, WeatherError

CASES = int(os.environ.get("COATCAST_FUZZ") or 400)
AT = START + timedelta(hours=6)  # 7 in the morning at the yard
YARD = YardFile(yard=Yard(place=Position(lat=PLACE[0], lon=PLACE[1], altitude_m=500.0), zone="Europe/Berlin"))
SHARES = (0.74, 0.05, 0.10, 0.11)  # of destroying, disordering, telling, textual mutations
KINDS = (DESTROYING, DISORDERING, TELLING, TEXTUAL)
EACH = [(family, story) for family in ANSWERS for story in STORIES]
TALLY: Counter[tuple[str, str]] = Counter()


@pytest.fixture(scope="module", autouse=True)
def _told_at_the_end() -> Iterator[None]:
    yield
    count = sum(number for (_, what), number in TALLY.items() if what != "of it changed")
    print(f"\n{count} spoiled answers")
    for family in ANSWERS:
        row = {what: count for (name, what), count in sorted(TALLY.items()) if name == family}
        print(f"    {family:<12} {', '.join(f'{what} {count}' for what, count in row.items())}")


# ------------------------------------------------------------------ one case


def spoiled(family: str, story: str, number: int) -> tuple[bytes, list[str]]:
    """The bytes of a case and the names of what was done to them."""
    rng = np.random.default_rng([list(ANSWERS).index(family), list(STORIES).index(story), number])
    data: Any = ANSWERS[family](STORIES[story])
    done: list[str] = []
    textual = []
    for _ in range(int(rng.choice([1, 1, 1, 2, 2, 3]))):
        kind = KINDS[int(rng.choice(len(KINDS), p=SHARES))]
        mutate: Any = kind[int(rng.integers(len(kind)))]
        if kind is TEXTUAL:
            textual.append(mutate)
        elif isinstance(data, dict):
            mutate(data, rng)
            done.append(mutate.__name__)
    body = mutations.as_bytes(data, rng)
    for mutate in textual[:1]:
        body = mutate(body, rng)
        done.append(mutate.__name__)
    return body, done


def outcome(body: bytes, place: tuple[float, float] | None = PLACE) -> Weather | str:
    """The weather of some bytes, or the sentences that refuse them; everything else fails the test."""
    try:
        weather = read_answer(body, place=place, issued=START)
    except WeatherError as error:
        return whole_sentences(str(error))
    _is_well_formed(weather)
    return weather


def whole_sentences(text: str) -> str:
    """The text of a refusal, which must be fit for a terminal."""
    assert text.endswith("."), text
    assert text.isprintable(), text
    assert 20 < len(text) < 1000, text
    text.encode()
    return text


def _is_well_formed(weather: Weather) -> None:
    assert 2 <= weather.hours <= 960
    for name, values in weather.arrays():
        assert values.dtype == np.float64, name
        assert not np.isinf(values).any(), name
    known = np.isfinite(weather.dew_point_c) & np.isfinite(weather.air_c)
    assert (weather.dew_point_c <= weather.air_c + 1e-9)[known].all()
    for name in ("rain_mm", "wind_ms", "rain_chance", "cloud", "gust_ms"):
        values = getattr(weather, name)
        assert values is None or not (values < 0.0).any(), name


@lru_cache(maxsize=64)
def clean(family: str, story: str) -> Weather:
    """The weather of the answer as it was."""
    weather = outcome(json.dumps(ANSWERS[family](STORIES[story])).encode())
    assert isinstance(weather, Weather)
    return weather


def same(one: Weather, other: Weather) -> bool:
    """Whether two weathers tell the same."""
    return one.start == other.start and all(
        (a is None) == (b is None) and (a is None or (a.shape == b.shape and np.array_equal(a, b, True)))
        for a, b in ((getattr(one, name), getattr(other, name)) for name in QUANTITIES)
    )


def assert_only_lost(weather: Weather, before: Weather) -> None:
    """Each hour is unknown or as it was; only a night may be colder, and gaps were closed."""
    shift = (weather.start - before.start) / HOUR
    assert shift == int(shift)
    rows = np.arange(weather.hours) + int(shift)
    inside = (rows >= 0) & (rows < before.hours)
    filled = np.zeros(weather.hours, bool) if weather.filled is None else weather.filled

    def was(name: str) -> Any:
        told = np.full(weather.hours, np.nan)
        told[inside] = getattr(before, name)[0, rows[inside]]
        return told

    for name in ("air_c", "dew_point_c", "wind_ms", "rain_mm"):
        values, told = getattr(weather, name), was(name)
        ok = np.isnan(values) | (np.abs(values - told) <= 1e-6)
        if name == "air_c":
            ok |= values < told
        if name == "dew_point_c":
            ok |= values == weather.air_c
        if name != "rain_mm":
            ok |= filled
        assert ok.all(), f"{name} at {np.argwhere(~ok)[:4].tolist()}: {values[~ok][:4]}"


def assert_no_better_word(weather: Weather, *, whole: bool) -> None:
    """No start has a fair chance by the real rules; with ``whole`` the verdict is asked for too."""
    if weather.known_until() <= AT + HOUR or weather.start > AT:
        return  # the service says Unknown before any rule is asked
    outlook = Outlook(YARD, weather, AT)
    best = np.nan_to_num(outlook.of().chance).max(initial=0.0)
    assert best < outlook.limits.show_chance, f"a start has the chance {best:.2f}"
    if whole:
        assert judge_place(outlook, None, False, prized=True).verdict not in ("seal", "touch_and_go")


def check(family: str, story: str, number: int) -> None:
    """One case against all laws."""
    body, done = spoiled(family, story, number)
    found = outcome(body)
    TALLY[family, "refused" if isinstance(found, str) else "weather"] += 1
    if set(done) <= {"truncated", "without_start"} or set(done) <= {"shuffle_hours", "repeat_hour"}:
        assert isinstance(found, str), "it should have been refused"
    if isinstance(found, str) or same(found, clean(family, story)):
        return
    TALLY[family, "of it changed"] += 1
    telling = any(mutate.__name__ in done for mutate in TELLING)
    if not telling:
        assert_only_lost(found, clean(family, story))
        assert_no_better_word(found, whole=number % 8 == 0)
    elif found.known_until() > AT + HOUR and found.start <= AT:
        Outlook(YARD, found, AT).of()


@pytest.mark.parametrize(("family", "story"), EACH)
def test_a_spoiled_answer_is_weather_or_a_refusal_and_never_better_than_the_clean_one(
    family: str, story: str
) -> None:
    count = -(-CASES // len(EACH))
    for number in range(count):
        try:
            check(family, story, number)
        except Exception as error:
            body, done = spoiled(family, story, number)
            told = f"case {family!r}, {story!r}, {number}: {', '.join(done)}"
            raise AssertionError(f"{told}: {type(error).__name__}: {error}\n{body[:300]!r}") from error


@pytest.mark.parametrize(("family", "story"), EACH)
def test_the_clean_answers_are_read_and_their_word_is_no(family: str, story: str) -> None:
    weather = clean(family, story)
    assert weather.hours >= mutations.HOURS
    assert weather.known_until() >= START + 46 * HOUR
    first = slice(0, mutations.HOURLY)
    for name, told in (("air_c", "air"), ("dew_point_c", "dew"), ("wind_ms", "wind"), ("rain_mm", "rain")):
        assert getattr(weather, name)[0, first] == pytest.approx(getattr(STORIES[story], told)[first]), name
    outlook = Outlook(YARD, weather, AT)
    assert np.nanmax(outlook.of().chance) < 0.1
    assert not np.isnan(outlook.of().chance[~outlook.of().findings.closed()]).all()
    assert judge_place(outlook, None, False, prized=True).verdict == "leave_it"


def test_spoiled_reports_of_a_station_are_readings_as_they_were_or_a_refusal() -> None:
    zone = ZoneInfo("Europe/Berlin")
    before = {one.time: one for one in read_sensor(json.dumps(mutations.reports_answer()).encode(), zone)}
    assert len(before) == 12
    for number in range(-(-CASES // 4)):
        rng = np.random.default_rng([99, number])
        data, mutate = mutations.reports_answer(), DESTROYING[int(rng.integers(len(DESTROYING)))]
        mutate(data, rng)
        body = mutations.as_bytes(data, rng)
        if number % 5 == 0:
            body = TEXTUAL[int(rng.integers(len(TEXTUAL)))](body, rng)
        try:
            found = read_sensor(body, zone)
        except WeatherError as error:
            whole_sentences(str(error))
            continue
        for one in found:
            was = before[one.time]
            assert one.air_c in (None, was.air_c), number
            assert one.rain_mm in (None, was.rain_mm), number


# ------------------------------------------------------------------ what could turn a bad answer good


def word(data: Any) -> str:
    """The verdict's word for an answer at seven in the morning, or the sentences that refuse it."""
    weather = outcome(data if isinstance(data, bytes) else json.dumps(data).encode())
    return weather if isinstance(weather, str) else word_of(weather)


def word_of(weather: Weather) -> str:
    return judge_place(Outlook(YARD, weather, AT), None, False, prized=False).verdict


every_family = pytest.mark.parametrize("family", ANSWERS)


@every_family
def test_the_fair_day_is_one_to_coat_and_rain_or_frost_from_noon_on_spoils_it(family: str) -> None:
    assert word(ANSWERS[family](mutations.FAIR)) == "seal"
    for story in (mutations.WET_FROM_NOON, mutations.FROST_FROM_NOON):
        assert word(ANSWERS[family](story)) in ("leave_it", "prepare")


@every_family
def test_wet_hours_that_are_null_are_unknown_and_not_dry(family: str) -> None:
    data = ANSWERS[family](mutations.WET_FROM_NOON)
    mutations.null_wet(data)
    assert word(data) == "unknown"


@pytest.mark.parametrize("family", [family for family in ANSWERS if family != "nws"])  # there in sums of six
def test_a_shower_that_is_null_is_not_closed_over_by_the_dry_hours_around_it(family: str) -> None:
    rain = np.where(np.isin(np.arange(mutations.HOURS), (12, 13)), 2.4, 0.0)
    data = ANSWERS[family](replace(mutations.FAIR, rain=rain))
    mutations.null_wet(data)
    found = outcome(json.dumps(data).encode())
    assert isinstance(found, Weather)
    assert np.isnan(found.rain_mm[:, 12:14]).all()
    assert np.nan_to_num(Outlook(YARD, found, AT).of().chance[: 4 * 6]).max() == 0.0, "starts from 6 to 12"


@every_family
def test_rain_that_is_told_twice_is_refused(family: str) -> None:
    """The first time wet, then dry: the usual reader of JSON would take the last."""
    name = {"met-norway": "precipitation_amount", "nws": "quantitativePrecipitation", "coverage": "rr"}
    wet, dry = (ANSWERS[family](story) for story in (mutations.WET_FROM_NOON, mutations.FAIR))
    path = next(
        one for one in mutations.rain_amounts(wet)[::-1] if "member" not in str(one) or "member03" in str(one)
    )
    key = name.get(family, "precipitation_member03" if family == "ensemble" else "precipitation")
    owner = mutations.inside(wet, path[: path.index(key)])
    owner["here"] = mutations.inside(dry, path[: path.index(key)])[key]
    assert "stands twice" in word(json.dumps(wet).replace('"here"', f'"{key}"').encode())


@every_family
def test_hours_of_frost_that_are_null_are_unknown_and_not_mild(family: str) -> None:
    data = ANSWERS[family](mutations.FROST_FROM_NOON)
    frost = {-9.0, -9.0 + 273.15, -9.0 * 1.8 + 32.0}
    for path in list(mutations.places(data)):
        value = mutations.inside(data, path)
        if isinstance(value, float) and value in frost and "minTemperature" not in path:
            mutations.inside(data, path[:-1])[path[-1]] = None
    data.get("properties", {}).pop("minTemperature", None)
    assert word(data) == "unknown"


@every_family
def test_an_answer_that_ends_before_the_rain_is_unknown(family: str) -> None:
    data = ANSWERS[family](mutations.WET_FROM_NOON)
    if family == "nws":  # its layers end each for itself
        del data["properties"]["quantitativePrecipitation"]["values"][2:]
    else:
        mutations.shortened(data, lambda size: 11)
    assert word(data) == "unknown"


@every_family
@pytest.mark.parametrize("said", ["0", "0.0", "", "trace", False, True, [], [0.0], {}, {"value": 0.0}])
def test_rain_that_is_no_number_is_refused(family: str, said: Any) -> None:
    data = ANSWERS[family](mutations.WET_FROM_NOON)
    path = next(path for path in mutations.rain_amounts(data) if mutations.inside(data, path) > 0)
    mutations.inside(data, path[:-1])[path[-1]] = said
    assert "not a number" in word(data)


@every_family
@pytest.mark.parametrize("code", [-9999, -999.9, -99, -1, -0.1, 999, 9999.0, 32767, 1e6, 1e308, 10**400])
def test_a_number_that_stands_for_no_rain_reading_is_refused(family: str, code: float) -> None:
    data = ANSWERS[family](mutations.WET_FROM_NOON)
    for path in mutations.rain_amounts(data):
        if mutations.inside(data, path) > 0:
            mutations.inside(data, path[:-1])[path[-1]] = code
    assert any(said in word(data) for said in ("contradicts nature", "too large"))


@every_family
@pytest.mark.parametrize("bare", ["NaN", "-NaN", "Infinity", "-Infinity", "1e999", "-1e999"])
def test_rain_that_is_a_bare_word_or_beyond_all_numbers_is_refused(family: str, bare: str) -> None:
    data = ANSWERS[family](mutations.WET_FROM_NOON)
    for path in mutations.rain_amounts(data):
        if mutations.inside(data, path) > 0:
            mutations.inside(data, path[:-1])[path[-1]] = "here"
    assert word(json.dumps(data).replace('"here"', bare).encode()).endswith(".")


@every_family
def test_an_answer_without_any_rain_is_refused(family: str) -> None:
    data = ANSWERS[family](mutations.WET_FROM_NOON)
    for path in mutations.rain_amounts(data):
        mutations.inside(data, path[:-1])[path[-1]] = None
    assert "rain" in word(data)


UNIT_OF_RAIN = {
    "columns": ("hourly_units", "precipitation"),
    "ensemble": ("hourly_units", "precipitation_member05"),
    "met-norway": ("properties", "meta", "units", "precipitation_amount"),
    "nws": ("properties", "quantitativePrecipitation", "uom"),
    "coverage": ("parameters", "rr", "unit", "symbol", "value"),
}


@pytest.mark.parametrize(
    "family", UNIT_OF_RAIN
)  # Bright Sky names no units: they are those of its description
@pytest.mark.parametrize(
    "unit",
    [None, "", "furlong", "MM", "mm/h", "kg m-2 s-1", "%", "K", 1, ["mm"], {"mm": 1}, "\ud800mm\x1b[31m"],
)
def test_rain_in_no_known_unit_is_refused(family: str, unit: Any) -> None:
    data = ANSWERS[family](mutations.WET_FROM_NOON)
    path = UNIT_OF_RAIN[family]
    mutations.inside(data, path[:-1])[path[-1]] = unit
    assert "unit" in word(data)
    del mutations.inside(data, path[:-1])[path[-1]]
    assert "unit" in word(data)


def test_an_answer_in_kelvin_where_degrees_are_the_rule_is_refused() -> None:
    """Bright Sky names no units; an answer in SI units would otherwise tell a wind too light by 3.6."""
    data = ANSWERS["brightsky"](mutations.WET_FROM_NOON)
    for row in data["weather"]:
        row["temperature"] += 273.15
    assert "outside -60 to 60 °C" in word(data)


@every_family
def test_a_dry_hour_that_stands_in_the_place_of_a_wet_one_is_refused(family: str) -> None:
    rng = np.random.default_rng(5)
    for _ in range(20):
        for disorder in DISORDERING:
            data = ANSWERS[family](mutations.WET_FROM_NOON)
            disorder(data, rng)
            assert word(data).endswith("."), disorder.__name__


@every_family
def test_humidity_that_is_lost_is_unknown_and_not_dry_air(family: str) -> None:
    """Nothing tells how damp the air is from noon on; a share of nothing would dry any film."""
    data = ANSWERS[family](mutations.FAIR)
    names = {"dew_point_2m", "relative_humidity_2m", "dew_point_temperature", "relative_humidity"}
    names |= {"dewpoint", "relativeHumidity", "td2", "rh", "dew_point"}
    for path in list(mutations.places(data)):
        value = mutations.inside(data, path)
        damp = names & {str(key).partition("_member")[0] for key in path}
        hour = next((key for key in path if isinstance(key, int)), 0)
        if damp and hour >= 12 and isinstance(value, float):
            mutations.inside(data, path[:-1])[path[-1]] = None
    found = outcome(json.dumps(data).encode())
    assert isinstance(found, Weather)
    assert np.isnan(found.dew_point_c[:, 12:]).all()
    assert word_of(found) == "unknown"


def test_a_period_that_is_lost_is_not_taken_from_the_hours_around_it() -> None:
    data = ANSWERS["met-norway"](mutations.WET_FROM_NOON)
    for entry in data["properties"]["timeseries"][12:24]:
        entry["data"].pop("next_1_hours")
    assert word(data) == "unknown"


def test_a_wet_interval_that_is_lost_is_not_closed_over_by_its_dry_neighbours() -> None:
    data = ANSWERS["nws"](mutations.WET_FROM_NOON)
    del data["properties"]["quantitativePrecipitation"]["values"][2:4]
    assert word(data) == "unknown"


def test_sums_whose_hours_are_no_longer_said_are_refused() -> None:
    data = ANSWERS["coverage"](mutations.WET_FROM_NOON)
    del data["parameters"]["rr"]["measurementType"]["period"]
    assert "before or after" in word(data)


@pytest.mark.parametrize("lost", [range(1, 9), range(3, 9)])
def test_members_whose_rain_is_lost_are_unknown_and_the_dry_ones_do_not_speak_for_them(lost: range) -> None:
    """One or three dry members of nine, and the wet ones lose their rain."""
    data = ANSWERS["ensemble"](mutations.WET_FROM_NOON)
    hourly = data["hourly"]
    columns = [name for name in hourly if name.startswith("precipitation")]
    dry = [name for name in columns if not any(name.endswith(f"{member:02d}") for member in lost)]
    hourly |= {name: [0.0] * mutations.HOURS for name in dry}
    assert word(data) in ("leave_it", "prepare")
    hourly |= {name: [None] * mutations.HOURS for name in set(columns) - set(dry)}
    assert word(data) == "unknown"


def test_a_single_member_of_many_that_is_lost_changes_nothing() -> None:
    data = mutations.ensemble_answer(mutations.FAIR, 30)
    data["hourly"]["precipitation_member07"] = [None] * mutations.HOURS
    assert word(data) == "seal"


@every_family
@pytest.mark.parametrize("depth", [200, 900, 960, 975, 980, 985, 990, 995, 1000, 20_000])
def test_an_answer_that_is_nested_too_deeply_is_refused_or_does_no_harm(family: str, depth: int) -> None:
    whole = ANSWERS[family](mutations.FAIR)
    for path in list(mutations.places(whole))[:12]:
        data = ANSWERS[family](mutations.FAIR)
        mutations.inside(data, path[:-1])[path[-1]] = "here"
        body = json.dumps(data).replace('"here"', "[" * depth + "]" * depth)
        outcome(body.encode())


@pytest.mark.parametrize("said", ["\\ud800", "\\u001b[31m", "\\u202e", "\\n\\n", "\\u0000"])
def test_the_words_of_a_service_can_always_be_printed(said: str) -> None:
    for body in (
        f'{{"error": true, "reason": "no {said} data"}}',
        f'{{"detail": "no {said} data"}}',
        f'{{"correlationId": "1", "title": "no {said} data"}}',
        f'{{"a{said}": 1, "a{said}": 2}}',
    ):
        assert isinstance(outcome(body.encode()), str)
