"""Readers of open forecast formats, one module per family.

A new family is one module with ``recognise`` and ``read``, and one line in ``FAMILIES``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from scheduler.weather.formats import brightsky, columns, coverage, met_norway, nws
from scheduler.weather.formats.column_table import quoted
from scheduler.weather.gaps import fill_gaps
from scheduler.weather.series import Weather, WeatherError

__all__ = ["FAMILIES", "Family", "read_answer"]

NEAR_KM = 10.0  # within this the cell counts as the place itself; up to columns.FAR_KM it is said


@dataclass(frozen=True, slots=True)
class Family:
    """An open format: how an answer is known, and how it is read (None: known, but not read yet).

    ``named``: its reader takes the yard's own names for what the answer's parameters are.
    """

    name: str
    title: str
    recognise: Callable[[object], bool]
    read: Callable[..., Weather] | None = None
    named: bool = False


def _has(*path: str) -> Callable[[object], bool]:
    """A test for the keys of ``path``, each inside the one before."""

    def test(data: object) -> bool:
        for key in path:
            if not isinstance(data, dict) or key not in data:
                return False
            data = data[key]
        return True

    return test


FAMILIES: tuple[Family, ...] = (  # the first that recognises an answer reads it
    Family("columns", "hourly column", columns.recognise, columns.read),
    Family("met-norway", "MET Norway", met_norway.recognise, met_norway.read),
    Family("nws", "US National Weather Service", nws.recognise, nws.read),
    Family("coverage", "CoverageJSON", coverage.recognise, coverage.read, named=True),
    Family("brightsky", "Bright Sky", brightsky.recognise, brightsky.read),
    Family("smhi", "SMHI", lambda data: _has("timeSeries")(data) and _has("referenceTime")(data)),
)


def read_answer(
    body: bytes,
    *,
    place: tuple[float, float] | None = None,
    issued: datetime | None = None,
    fetched: datetime | None = None,
    address: str | None = None,
    names: Mapping[str, str] | None = None,
) -> Weather:
    """The weather in a stored answer of any family, recognised by its shape.

    Parameters
    ----------
    body
        The bytes as the service sent them, unpacked.
    place
        Latitude and longitude of the yard; an answer for another place is refused.
    issued, fetched
        When the forecast was made (as the user said) and when it was asked for; both aware.
    address
        Where it came from, secrets already masked; kept in the provenance.
    names
        What the yard file says of a service's parameters (``[forecast.names]``), for families that
        have no fixed names.

    Returns
    -------
    Weather
        With short gaps closed and its provenance filled: ``issued`` is the source's own word, else
        ``issued``, else ``fetched``, else the first hour with ``issued_known`` false.

    Raises
    ------
    WeatherError
        When it is no forecast that can be read, or one for another place.
    """
    data = _decode(body)
    family = next((one for one in FAMILIES if one.recognise(data)), None)
    if family is None:
        raise WeatherError(
            "The answer is JSON, but of no kind of forecast that is known here. "
            "Check the address; it should ask for hourly values of a forecast."
        )
    if family.read is None:
        raise WeatherError(
            f"This is a {family.title} answer, which this version does not read. "
            f"Name a service of another family in yard.toml under [forecast]: {_readable()}."
        )
    own_names = {"names": names} if family.named and names else {}
    weather = _checked_place(family.read(data, place=place, **own_names), place)
    own = weather.provenance.issued
    made = own or issued or fetched
    return fill_gaps(
        weather.from_source(
            issued=made.astimezone(UTC) if made else weather.start,
            issued_known=made is not None,
            fetched=fetched.astimezone(UTC) if fetched else None,
            address=address,
        )
    )


def _readable() -> str:
    return ", ".join(family.title for family in FAMILIES if family.read is not None)


def _checked_place(weather: Weather, place: tuple[float, float] | None) -> Weather:
    lat, lon = weather.provenance.latitude, weather.provenance.longitude
    if place is None:
        return weather
    if lat is None or lon is None:
        return _noted(weather, "the answer does not say for which place it is")
    away = columns.distance_km(place, (lat, lon))
    if away > columns.FAR_KM:
        raise WeatherError(
            f"The answer is for {lat:.2f}, {lon:.2f}, {away:.0f} km away from the yard: "
            "check the sign of the longitude, and latitude and longitude in the address and in yard.toml."
        )
    return _noted(weather, f"the forecast's cell is {away:.0f} km away") if away > NEAR_KM else weather


def _noted(weather: Weather, note: str) -> Weather:
    return weather.from_source(notes=(*weather.provenance.notes, note))


# ------------------------------------------------------------------ bytes to JSON


def _decode(body: bytes) -> Any:
    """Strict JSON: UTF-8, no NaN, no key twice; what is no JSON is told apart by its look."""
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise WeatherError(
            "The answer is no text in UTF-8, so it is no JSON. Give it as the service sent it, unpacked."
        ) from None
    if not text.strip():
        raise WeatherError("The answer is empty. Ask the service again.")
    try:
        return json.loads(text, parse_constant=_no_constant, object_pairs_hook=_no_key_twice)
    except RecursionError:
        raise WeatherError("The answer is nested too deeply to be a forecast. Check the address.") from None
    except ValueError as error:
        if isinstance(error, WeatherError):
            raise
        raise WeatherError(_why_no_json(text)) from None


def _no_constant(name: str) -> Any:
    raise WeatherError(
        f"The answer holds the bare word {name}, which is no JSON: the server is too old. "
        "Update it, or name another service."
    )


def _no_key_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        names = [key for key, _ in pairs]
        twice = next(key for key in names if names.count(key) > 1)
        raise WeatherError(
            f"'{quoted(twice, 60)}' stands twice in the answer, so it is not clear which counts. Ask again."
        )
    return made


def _why_no_json(text: str) -> str:
    start = text.lstrip()
    if "Unexpected error while streaming data" in text:
        return (
            "The service broke off in the middle of its answer with an error of its own. Ask it again later."
        )
    if start.startswith("<"):
        return "The answer is a web page, not a forecast. Check the address, or the network's sign-in page."
    if start[0] in "{[":
        return "The answer is cut off or damaged in the middle. Ask the service again."
    return "The answer is not JSON. Give the answer as the service sent it; check the address in yard.toml."
