"""How each family of services wants to be asked: path, parameters, and who must say who asks. Pure.

- columns: latitude, longitude, hourly quantities, days (https://open-meteo.com/en/docs).
- met-norway: lat and lon to four decimals at most, altitude in whole metres, a
  contact in the User-Agent, https (https://api.met.no/doc/TermsOfService).
- nws: /points/{lat},{lon}, which names the grid to follow; a contact; no
  parameter that it does not know (https://www.weather.gov/documentation/services-web-api).
- coverage: a position query of OGC API EDR (OGC 19-086r6): coords=POINT(lon lat).
- everything else is asked as the address stands.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from ipaddress import ip_address
from urllib.parse import SplitResult, urlsplit

from scheduler.settings import Position, endpoints
from scheduler.weather.fetch_errors import MEND_URL, FetchError
from scheduler.weather.formats import FAMILIES
from scheduler.weather.formats.columns import NEEDED_NAMES, VARIABLE_MAP, request_params

__all__ = ["Plan", "contact_of", "family_of", "is_loopback", "plan_for", "refuse_without_manners"]

DAYS, PAST_DAYS = 16, 10  # a log that froze through thaws for days: its heat needs what is behind it
IDENTITY = {  # families that refuse who does not say who asks
    "met-norway": "MET Norway",
    "nws": "The National Weather Service",
}
ENCRYPTED = frozenset({"met-norway"})  # families that are asked over https only
Pairs = list[tuple[str, str]]

# /v1/forecast, /v1/ensemble, ... and an address without any path: the family that is asked most.
_COLUMN_PATH = re.compile(r"/?|.*/v\d+(/[a-z0-9-]+)?/?", re.ASCII | re.IGNORECASE)
_POSITION_PATH = re.compile(r".*/collections/[^/]+(/instances/[^/]+)?/position/?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Plan:
    """What is asked of a family: the path (percent-coded), the query, a sentence, and the wanted type."""

    path: str
    pairs: Pairs
    asked: str
    accept: str = "application/json"
    lookup: bool = False  # the answer only names the address of the forecast


def is_loopback(host: str | None) -> bool:
    """Whether a host is this computer by its very name."""
    host = (host or "").strip("[]").lower()
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost" or host.endswith(".localhost")


def family_of(url: str, said: str | None) -> str | None:
    """The family of an address: by the host of a service we know, else as said, else by the path.

    None: not known, to be asked as it stands. A FetchError for a family that nobody knows.
    """
    parts = urlsplit(url)
    if not is_loopback(parts.hostname):
        for one in endpoints().values():
            if urlsplit(one.url).hostname == parts.hostname:
                return one.family
    if said is not None:
        known = [family.name for family in FAMILIES]
        if said not in known:
            raise FetchError(
                f"The family '{said}' is not known. Known are {', '.join(known)}: "
                "mend family in yard.toml under [forecast], or leave it out."
            )
        return said
    if _COLUMN_PATH.fullmatch(parts.path):
        return "columns"
    return "coverage" if _POSITION_PATH.fullmatch(parts.path) else None


def contact_of(contact: str | None) -> str:
    """A contact as it can stand in a header: printable ASCII; empty where there is none."""
    return "".join(c for c in contact or "" if " " <= c <= "~").strip()


def refuse_without_manners(family: str | None, parts: SplitResult, contact: str | None) -> None:
    """Refuse to ask a service in a way that it refuses: without a contact, or without encryption."""
    name = IDENTITY.get(family or "")
    given = contact_of(contact)
    how = 'Write your own mail address or web page in yard.toml under [forecast]: contact = "…"'
    if name and not given:
        raise FetchError(f"{name} wants to know who asks, and no contact is named. {how}.")
    if name and not re.search(r"[^@\s]@[^@\s]|[^.\s]\.[^.\s]", given):
        raise FetchError(
            f"{name} wants to know who asks, and the contact '{given[:60]}' is neither a mail address "
            f"nor a web page. {how}."
        )
    if family in ENCRYPTED and parts.scheme != "https" and not is_loopback(parts.hostname):
        raise FetchError(f"{name} is asked over https only. {MEND_URL} It begins with https://.")


def plan_for(family: str | None, parts: SplitResult, own: Pairs, place: Position) -> Plan:
    """The question to a family at a place; the user's own parameters (``own``) are kept."""
    return _PLANS.get(family or "", _as_it_stands)(parts, own, place)


# ------------------------------------------------------------------ columns


def _columns(parts: SplitResult, own: Pairs, place: Position) -> Plan:
    named = dict(own)
    if {"daily", "start_date", "end_date"} <= named.keys() and "hourly" not in named:
        return _past_days(parts, own, place)
    pairs = [(name, value) for name, value in own if name != "hourly"]
    pairs += [(n, v) for n, v in _missing(dict(own), place).items() if n != "hourly"]
    pairs.append(("hourly", ",".join(_quantities(own))))
    query = dict(pairs)
    count = len(query["hourly"].split(","))
    days = query.get("forecast_days")
    stretch = f"{days} days, " if days else ""
    where = _where(query["latitude"], query["longitude"])
    return Plan(parts.path, pairs, f"asked {parts.hostname} for {count} quantities, {stretch}at {where}")


def _past_days(parts: SplitResult, own: Pairs, place: Position) -> Plan:
    """Days of an archive: the dates are the question's own, only the place is added."""
    named = dict(own)
    where = {"latitude": f"{place.lat + 0.0:.4f}", "longitude": f"{place.lon + 0.0:.4f}"}
    pairs = own + [(name, value) for name, value in where.items() if name not in named]
    query = dict(pairs)
    stretch = f"{query['start_date']} to {query['end_date']}"
    at = _where(query["latitude"], query["longitude"])
    return Plan(parts.path, pairs, f"asked {parts.hostname} for the days {stretch} at {at}")


def _missing(own: Mapping[str, str], place: Position) -> dict[str, str]:
    """Our parameters that the user's address does not settle."""
    ours = {"latitude": f"{place.lat + 0.0:.4f}", "longitude": f"{place.lon + 0.0:.4f}"}
    ours |= request_params(DAYS, PAST_DAYS)
    if own.keys() & {"start_date", "end_date", "start_hour", "end_hour"}:  # these exclude a number of days
        del ours["forecast_days"], ours["past_days"]
    if "forecast_hours" in own:
        ours.pop("forecast_days", None)
    if "past_hours" in own:
        ours.pop("past_days", None)
    return {name: value for name, value in ours.items() if name not in own}


def _quantities(own: Pairs) -> list[str]:
    """The user's own hourly quantities and what cannot be done without; when none is named, all of ours."""
    named = [part for name, value in own if name == "hourly" for part in value.split(",") if part]
    if not named:
        return request_params(DAYS, PAST_DAYS)["hourly"].split(",")
    offered = {VARIABLE_MAP.get(name) for name in named}
    if "humidity" in offered:
        offered.add("dew_point_c")
    return named + [name for name in NEEDED_NAMES if VARIABLE_MAP[name] not in offered]


# ------------------------------------------------------------------ the others


def _met_norway(parts: SplitResult, own: Pairs, place: Position) -> Plan:
    path = parts.path.rstrip("/")
    if re.search(r"/\d+\.\d+$", path):  # only the version: the product that has all quantities
        path += "/complete"
    named = dict(own)
    ours = {"lat": _plain(place.lat), "lon": _plain(place.lon)}
    if place.altitude_m is not None:
        ours["altitude"] = str(round(place.altitude_m))
    pairs = [(name, _shortened(name, value)) for name, value in own]
    pairs += [(name, value) for name, value in ours.items() if name not in named]
    query = dict(pairs)
    high = f", {query['altitude']} m" if "altitude" in query else ""
    product = next((one for one in ("complete ", "compact ") if path.endswith(one.strip())), "")
    where = _where(query["lat"], query["lon"])
    return Plan(path, pairs, f"asked {parts.hostname} for its {product}forecast at {where}{high}")


def _shortened(name: str, value: str) -> str:
    """The user's own place as the service takes it: more decimals are answered with 403."""
    if name not in {"lat", "lon", "altitude"}:
        return value
    try:
        number = float(value)
    except ValueError:
        return value
    if not math.isfinite(number):
        return value
    return str(round(number)) if name == "altitude" else _plain(number)


def _nws(parts: SplitResult, own: Pairs, place: Position) -> Plan:
    path, accept = parts.path.rstrip("/"), "application/geo+json"
    if "/gridpoints/" in path:
        return Plan(path, own, f"asked {parts.hostname} for the forecast grid of the address", accept)
    if match := re.search(r"/points/([^/]+?)(?:,|%2[Cc])([^/]+)$", path):
        where = _where(match[1], match[2])
    else:
        path = path.removesuffix("/points") + f"/points/{_plain(place.lat)},{_plain(place.lon)}"
        where = _where(str(place.lat), str(place.lon))
    return Plan(path, own, f"asked {parts.hostname} for its forecast grid at {where}", accept, lookup=True)


def _coverage(parts: SplitResult, own: Pairs, place: Position) -> Plan:
    accept = "application/prs.coverage+json, application/json;q=0.9"
    if not parts.path.rstrip("/").endswith("/position"):
        return Plan(parts.path, own, _as_it_stands(parts, own, place).asked, accept)
    named = dict(own)
    ours = {"coords": f"POINT({_plain(place.lon)} {_plain(place.lat)})", "f": "CoverageJSON"}
    pairs = own + [(name, value) for name, value in ours.items() if name not in named]
    where = _where(str(place.lat), str(place.lon)) if "coords" not in named else "the place of the address"
    return Plan(parts.path, pairs, f"asked {parts.hostname} for a coverage at {where}", accept)


def _as_it_stands(parts: SplitResult, own: Pairs, place: Position) -> Plan:
    return Plan(
        parts.path, own, f"asked {parts.hostname} as the address stands", "application/json, */*;q=0.1"
    )


_PLANS: dict[str, Callable[[SplitResult, Pairs, Position], Plan]] = {
    "columns": _columns,
    "met-norway": _met_norway,
    "nws": _nws,
    "coverage": _coverage,
}


def _plain(degrees: float) -> str:
    """Four decimals at most and no zeros at the end, as some services send the rest on to this form."""
    text = f"{degrees:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _where(latitude: str, longitude: str) -> str:
    try:
        lat, lon = float(latitude), float(longitude)
    except ValueError:  # the user's own address may name several places
        return f"{latitude:.40} and {longitude:.40}"
    return f"{abs(lat):.1f} {'N' if lat >= 0 else 'S'} {abs(lon):.1f} {'E' if lon >= 0 else 'W'}"
