"""What a command has at hand: the forecast of the yard file or of a file, and the register. An edge."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from scheduler.planning.verdict import Age, age_of
from scheduler.settings import (
    YardFile,
    assumptions,
)
from scheduler.weather.formats import read_answer
from scheduler.weather.series import Weather, WeatherError
from scheduler.yard.facts import Register

if TYPE_CHECKING:
    from scheduler.yard.entries import Entry
    from scheduler.yard.store import Store

__all__ = [
    "Forecast",
    "entries_of",
    "forecast_of",
    "kept_forecast",
    "open_register",
    "register_of",
    "store_exists",
]

CLOCK_SLACK = timedelta(minutes=5)  # an answer from a little later than now: two clocks, not the future


@dataclass(frozen=True, eq=False)
class Forecast:
    """A forecast, or the reason why there is none."""

    weather: Weather | None
    age: Age
    why: str | None = None  # why the answer must be Unknown
    fallback: str | None = None  # why an older answer is used
    asked: str | None = None


def forecast_of(
    yard: YardFile, at: datetime, file: Path | None = None, issued: datetime | None = None
) -> Forecast:
    """The forecast to go by: a stored answer, else the endpoint's newest, with its age.

    Raises
    ------
    FileNotFoundError
        When the named file is not there, and IsADirectoryError when it is a folder.
        Everything else that is wrong with a forecast is an answer: Unknown, and why.
    """
    nothing = Age(None, "none")
    place = (yard.yard.place.lat, yard.yard.place.lon)
    asked, fallback = None, None
    try:
        if file is not None:
            weather = read_answer(
                file.read_bytes(),
                place=place,
                issued=issued,
                address=str(file),
                names=yard.forecast.names,
            )
        elif yard.forecast.url is None:
            return Forecast(None, nothing, "No forecast: the yard file names no endpoint ([forecast] url).")
        else:
            from scheduler.weather.fetch import latest, weather_of

            answer, fallback = latest(yard.forecast, yard.yard.place, yard.cache_folder, at)
            asked = answer.asked
            weather = weather_of(answer, yard.yard.place, issued=issued, names=yard.forecast.names)
    except (FileNotFoundError, IsADirectoryError):
        raise
    except (WeatherError, OSError) as error:
        return Forecast(None, nothing, str(error))
    return _dated(yard, at, weather, fallback, asked)


def kept_forecast(yard: YardFile, at: datetime) -> Forecast:
    """The newest answer kept on disk; nobody is asked. For commands that must not wait for the network."""
    from scheduler.weather.fetch import newest_first, weather_of

    for one in newest_first(yard.cache_folder, at + CLOCK_SLACK):
        try:
            weather = weather_of(one.load(), yard.yard.place, names=yard.forecast.names)
        except WeatherError:
            continue  # damaged, or of another place: an older one may do
        return _dated(yard, at, weather, None, one.asked)
    return Forecast(None, Age(None, "none"), "No answer of a weather service is kept here yet.")


def _dated(
    yard: YardFile, at: datetime, weather: Weather, fallback: str | None, asked: str | None
) -> Forecast:
    source = yard.forecast
    age = age_of(weather.provenance.issued, at, source.warn_age_h, source.stale_age_h)
    return Forecast(weather, age, _unusable(weather, age, at, yard), fallback, asked)


def _unusable(weather: Weather, age: Age, at: datetime, yard: YardFile) -> str | None:
    if age.word == "stale":
        known = (
            ""
            if weather.provenance.issued_known
            else " (it does not say when it was made: name it with --issued)"
        )
        return (
            f"The forecast is {age.hours:.0f} hours old{known}; over {yard.forecast.stale_age_h:.0f} hours"
            " I can't say yes or no, and won't guess."
        )
    if weather.known_until() <= at + timedelta(hours=1):
        return "The forecast ends before now: ask for a new one."
    if weather.start > at:
        return "The forecast begins after now: this is not the answer for today."
    return None


def store_exists(yard: YardFile) -> bool:
    """Whether anything has been recorded yet (a database elsewhere counts as there)."""
    url = yard.store_url
    return not url.startswith("sqlite:///") or Path(url.removeprefix("sqlite:///")).exists()


def open_register(yard: YardFile) -> Store:
    """The yard's store, made or brought up to date where needed."""
    from scheduler.yard.store import open_store

    return open_store(yard.store_url)


def entries_of(yard: YardFile) -> tuple[Entry, ...]:
    """All entries of the yard; none where nothing has been recorded."""
    if not store_exists(yard):
        return ()
    from scheduler.yard.store_read import read_entries

    entries = read_entries(yard.store_url, yard.yard.key)
    if entries is None:
        with open_register(yard) as store:
            entries = store.entries(yard.yard.key)
    return entries


def register_of(yard: YardFile, at: datetime) -> Register:
    """The register as it stands; empty where nothing has been recorded."""
    if not store_exists(yard):
        return Register(at)
    from scheduler.yard.state import fold

    entries = entries_of(yard)
    return fold(entries, at, same_coat=timedelta(hours=assumptions()["same_coat"]))
