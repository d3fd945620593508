"""A place on the globe as a map gives it when it is copied."""

from __future__ import annotations

import re

from scheduler.units import SIGNS, UnitError, short

__all__ = ["PlaceError", "parse_place"]


class PlaceError(UnitError):
    """A place that cannot be read or is not on the globe."""


_PLACE_HOW = "48.0123, 8.2345 or 48°0'44\"N 8°14'4\"E"
_NUMBER = r"[0-9]{{1,10}}(?:[{0}][0-9]{{1,15}})?"
_BODY = (
    r"[+-]?\s*" + _NUMBER + r"\s*°?"
    r"(?:\s*" + _NUMBER + r"\s*'(?:\s*" + _NUMBER + r"\s*\")?)?"
)
_PAIR = r"(?P<a>[NSEW]\s*{0}|{0}\s*[NSEW]?)(?:\s*[,;]\s*|\s+|(?<=[NSEW])\s*)(?P<b>[NSEW]\s*{0}|{0}\s*[NSEW]?)"
_PAIRS = tuple(re.compile(_PAIR.format(_BODY.format(marks))) for marks in (r".", r".,"))


def parse_place(text: str) -> tuple[float, float]:
    """Latitude and longitude (degrees, WGS 84) from what a map gives when a place is copied.

    ``48.0123, 8.2345``, ``48.0123 8.2345``, ``48°0'N 8°12'E``, ``48°00'44.3"N 8°14'04.2"E``,
    ``S 45.0 E 169.4``, ``geo:48.0,8.2;u=10`` (RFC 5870). Latitude first unless the letters say else.

    Raises
    ------
    PlaceError
        When it cannot be read or lies outside the globe.
    """
    plain = " ".join(text.translate(SIGNS).replace("''", '"').replace("º", "°").split())
    if plain.casefold().startswith("geo:"):
        plain = _geo(plain[4:], text)
    plain = re.sub(r"\b(?:LAT|LON|LNG|LONG)(?:ITUDE)?\b\s*[:=]?", "", plain.upper().replace("DEG", "°"))
    plain = plain.strip(" ()[]")
    match = None
    if len(plain) <= 80:
        match = next((m for m in (pattern.fullmatch(plain) for pattern in _PAIRS) if m), None)
    if match is None:
        raise PlaceError(f"'{short(text)}' is not a place; copy it from a map, such as {_PLACE_HOW}")
    (a, a_sign), (b, b_sign) = (_degrees(match[name], text) for name in ("a", "b"))
    if a_sign in {"E", "W"} or b_sign in {"N", "S"}:
        a, a_sign, b, b_sign = b, b_sign, a, a_sign
    if a_sign in {"E", "W"} or b_sign in {"N", "S"}:
        raise PlaceError(f"'{short(text)}' gives the same direction twice; write it like {_PLACE_HOW}")
    if abs(a) > 90:
        hint = "; the latitude stands first, are the two swapped?" if abs(b) <= 90 and abs(a) <= 180 else ""
        raise PlaceError(f"'{short(text)}': a latitude runs from -90 to 90, not {a:g}{hint}")
    if abs(b) > 180:
        raise PlaceError(f"'{short(text)}': a longitude runs from -180 to 180, not {b:g}")
    return a, b


def _geo(body: str, text: str) -> str:
    """The two numbers of a geo: address, its height and parameters dropped."""
    numbers, *parameters = body.split("?")[0].split(";")
    for parameter in parameters:
        name, _, value = parameter.casefold().partition("=")
        if name == "crs" and value != "wgs84":
            raise PlaceError(f"'{short(text)}' is in another system of coordinates; give it as {_PLACE_HOW}")
    return ",".join(numbers.split(",")[:2])


def _degrees(part: str, text: str) -> tuple[float, str]:
    letter = "".join(c for c in part if c in "NSEW")
    numbers = [n.replace(",", ".") for n in re.findall(r"[0-9]+(?:[.,][0-9]+)?", part)]
    if any("." in n for n in numbers[:-1]):
        raise PlaceError(
            f"'{short(text)}' has a fraction before its smallest part; write it like {_PLACE_HOW}"
        )
    values = [float(n) for n in numbers]
    if any(v >= 60 for v in values[1:]):
        raise PlaceError(f"'{short(text)}': minutes and seconds stay below 60")
    size = sum(v / 60**n for n, v in enumerate(values))
    if "-" in part:
        if letter:
            raise PlaceError(f"'{short(text)}' has both a minus and a letter; write it like {_PLACE_HOW}")
        return -size, ""
    return (-size if letter in {"S", "W"} else size), letter
