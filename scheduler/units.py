"""Quantities as people write them, and back (times: ``moments``, places: ``places``).

Inside the program everything is SI and UTC (cm for lengths of logs, °C, litres,
m/s, mm). This module is the door: it reads what a person types and shows a
value in the person's own units. Pure: the clock (``at``) and the zone are
passed in, nothing is fetched.

Every reader raises :class:`UnitError` (a ``ValueError``) with a whole sentence
that names what was read and shows how to write it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import datetime, time
from typing import Literal

__all__ = [
    "LENGTH_UNITS",
    "UnitError",
    "Units",
    "parse_length",
    "parse_number",
    "parse_speed",
    "parse_temperature",
    "parse_volume",
    "show_clock",
    "show_date",
    "show_length",
    "show_rain",
    "show_speed",
    "show_temperature",
    "show_volume",
]

Units = Literal["metric", "us"]


class UnitError(ValueError):
    """Something typed that cannot be read; the text is a sentence for the person."""


def short(text: str) -> str:
    """``text`` as it is quoted in a message: one line, not endless."""
    flat = " ".join(text.split())
    return flat if len(flat) <= 60 else flat[:57] + "..."


# ------------------------------------------------------------------ quantities in

# Exact by definition: inch 25.4 mm, US gallon 231 cubic inches, imperial gallon
# 4.54609 L, knot 1852 m in an hour.
_LENGTHS: dict[str, float] = {}
for _words, _factor in (
    ("mm millimetre millimetres millimeter millimeters", 0.1),
    ("cm centimetre centimetres centimeter centimeters", 1.0),
    ("dm", 10.0),
    ("m metre metres meter meters", 100.0),
    ('in inch inches "', 2.54),
    ("ft foot feet '", 30.48),
):
    _LENGTHS |= dict.fromkeys(_words.split(), _factor)

LENGTH_UNITS: Mapping[str, float] = _LENGTHS  # word -> cm

_GALLON = 3.785411784
_VOLUMES: dict[str, float] = {}
for _words, _factor in (
    ("l liter liters litre litres", 1.0),
    ("dl", 0.1),
    ("cl", 0.01),
    ("ml milliliter milliliters millilitre millilitres", 0.001),
    ("gal gals gallon gallons", _GALLON),
    ("qt qts quart quarts", _GALLON / 4),
    ("pt pint pints", _GALLON / 8),
    ("cup cups", _GALLON / 16),
    ("floz oz", _GALLON / 128),
    ("impgal", 4.54609),
):
    _VOLUMES |= dict.fromkeys(_words.split(), _factor)

_SPEEDS: dict[str, float] = {}
for _words, _factor in (
    ("m/s ms mps", 1.0),
    ("km/h kmh kph", 1 / 3.6),
    ("mph mi/h", 0.44704),
    ("kn kt kts knot knots", 1852 / 3600),
    ("ft/s fps", 0.3048),
):
    _SPEEDS |= dict.fromkeys(_words.split(), _factor)

SIGNS = str.maketrans(
    {"−": "-", "–": "-", "’": "'", "‘": "'", "′": "'", "`": "'", "″": '"', "”": '"', "“": '"', "×": "x"}
)
_FRACTIONS = {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8"}
_PART = re.compile(
    r"(?P<number>[0-9]+ +[0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]+(?:[.,][0-9]+)*|[.,][0-9]+)"
    r" *(?P<unit>[a-z]+(?:/[a-z]+)?|['\"])?"
)


def clean(text: str) -> str:
    text = text.translate(SIGNS)
    for sign, plain in _FRACTIONS.items():
        text = text.replace(sign, plain)
    text = " ".join(text.replace("''", '"').casefold().split())
    return re.sub(r"(?<=[a-z])\.", "", text)  # 14 in., 2 ft. 6 in.


def parse_number(text: str) -> float:
    """A plain number, with point or comma for the decimals, or a fraction such as 14 1/2.

    ``1,200`` is refused: it is 1200 to one reader and 1.2 to another.

    Raises
    ------
    UnitError
        When it is no finite number.
    """
    raw = clean(text)
    match = re.fullmatch(r"(?:([0-9]+) +)?([0-9]+)/([0-9]+)", raw)
    if match:
        if int(match[3]) == 0:
            raise UnitError(f"'{short(text)}' divides by zero; write a number such as 14.5")
        return _finite(float(match[1] or 0) + int(match[2]) / int(match[3]), text)
    if re.fullmatch(r"[1-9][0-9]{0,2}[,.][0-9]{3}[,.][0-9]+|[1-9][0-9]{0,2}(?:,[0-9]{3})+", raw):
        raise UnitError(f"'{short(text)}' can be read in two ways; write it without the thousands mark")
    if not re.fullmatch(r"-?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)", raw):
        raise UnitError(f"'{short(text)}' is not a number; write one such as 14 or 3.6")
    return _finite(float(raw.replace(",", ".")), text)


def _finite(value: float, text: str) -> float:
    if not math.isfinite(value):
        raise UnitError(f"'{short(text)}' is too large to be a number")
    return value


def _quantity(
    text: str,
    factors: Mapping[str, float],
    what: str,
    example: str,
    default: str | None,
) -> float:
    """Sum of the parts of ``text`` (2 ft 6 in), each a number with a unit, in the base unit."""
    cleaned = clean(text)
    if cleaned.startswith("-") and len(cleaned) > 1 and cleaned[1].isdigit():
        raise UnitError(f"'{short(text)}' is below zero, which no {what} can be; write it like {example}")
    refused = UnitError(f"'{short(text)}' is not a {what}; write it like {example}")
    if not cleaned or len(cleaned) > 60:
        raise refused
    total, position, last = 0.0, 0, math.inf
    while position < len(cleaned):
        match = _PART.match(cleaned, position)
        if match is None:
            raise refused
        unit = match["unit"]
        if unit is None and position and last == factors.get("ft") and "in" in factors:
            unit = "in"  # 8' 6
        unit = unit or (default if position == 0 and match.end() == len(cleaned) else None)
        if unit is None:
            raise UnitError(f"'{short(text)}' has no unit; write it like {example}")
        if unit not in factors or factors[unit] >= last:
            raise refused
        last = factors[unit]
        try:
            total += parse_number(match["number"]) * last
        except UnitError as error:
            raise UnitError(f"'{short(text)}' is not a {what}: {error}") from None
        position = match.end()
        while position < len(cleaned) and cleaned[position] in " ,":
            position += 1
    return _finite(total, text)


def parse_length(text: str, default_unit: str | None = None) -> float:
    """A length in cm from ``14 in``, ``14"``, ``3.6 m``, ``3,6 m``, ``8ft``, ``2 ft 6 in``, ``360 mm``.

    ``default_unit`` ("cm", "m", "in", "ft", "mm") is taken for a bare number;
    without it a bare number is refused. Zero is read; whether a size is
    possible is for the caller to say.

    Raises
    ------
    UnitError
        For nonsense and for what is negative or not finite.
    """
    return _quantity(text, _LENGTHS, "length", "14 in, 36 cm, 3.6 m or 2 ft 6 in", default_unit)


def parse_volume(text: str, default_unit: str | None = None) -> float:
    """A volume in litres from ``3.6 L``, ``250 ml``, ``1 gal`` (US), ``2 qt``, ``8 fl oz``, ``1 imp gal``.

    Raises
    ------
    UnitError
        For nonsense and for what is negative or not finite.
    """
    joined = re.sub(r"\b(?:fl(?:uid)?\.?\s*(?:oz|ounces?)\.?|ounces?)", "floz", text.casefold())
    joined = re.sub(r"\b(?:imp(?:erial)?\.?|uk)\s*gal(?:lons?|s)?\b", "impgal", joined)
    joined = re.sub(r"\bus\s+(?=gal|qt|quart|pt|pint|floz)", "", joined)
    joined = re.sub(r"(gal|gals|gallons?|qts?|quarts?|pt|pints?|floz)\s*\(?us\)?\s*$", r"\1", joined)
    try:
        return _quantity(joined, _VOLUMES, "volume", "3.6 L, 250 ml, 1 gal or 8 fl oz", default_unit)
    except UnitError as error:
        raise UnitError(str(error).replace(short(joined), short(text), 1)) from None


def parse_speed(text: str, default_unit: str | None = None) -> float:
    """A speed in m/s from ``4 m/s``, ``14 km/h``, ``9 mph``, ``8 kn``.

    Raises
    ------
    UnitError
        For nonsense and for what is negative or not finite.
    """
    return _quantity(text, _SPEEDS, "speed", "4 m/s, 14 km/h or 9 mph", default_unit)


_TEMPERATURE = re.compile(
    r"(?P<sign>[+-]|minus )? *(?P<number>[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
    r" *(?:°|deg(?:rees?)?)? *(?P<unit>c|celsius|f|fahrenheit)?"
)
_SCALES = {"c": "C", "metric": "C", "f": "F", "us": "F"}


def parse_temperature(text: str, default: str = "C") -> float:
    """A temperature in °C from ``40 F``, ``4.4 C``, ``-3``, ``-3,5 °C``, ``minus 3``.

    ``default`` is the scale of a bare number: "C" or "F" ("metric" or "us" will do).

    Raises
    ------
    UnitError
        For nonsense and for what lies below absolute zero.
    """
    match = _TEMPERATURE.fullmatch(clean(text))
    if match is None:
        raise UnitError(f"'{short(text)}' is not a temperature; write it like 4.4 C, 40 F or -3")
    value = parse_number(match["number"]) * (-1 if match["sign"] in {"-", "minus "} else 1)
    scale = _SCALES[match["unit"][0] if match["unit"] else default.casefold()]
    celsius = (value - 32) / 1.8 if scale == "F" else value
    if celsius < -273.15:
        raise UnitError(f"'{short(text)}' is colder than anything can be; write it like 4.4 C, 40 F or -3")
    return celsius


# ------------------------------------------------------------------ quantities out


def _plain(value: float, digits: int) -> str:
    """``value`` with at most ``digits`` decimals, no trailing zeros, no minus before a zero."""
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def _half(value: float) -> float:
    return math.floor(value * 2 + 0.5) / 2


def show_length(cm: float, units: Units) -> str:
    """A length in the person's units: ``62 cm``, ``2.65 m``; ``22 in``, ``8 ft 6 in`` (from 4 ft on).

    Rounded to 0.1 below 10 (cm, in), then to a half; metres to the cm, feet to the inch.
    """
    if not math.isfinite(cm):
        return "unknown"
    if units == "metric":
        if abs(cm) < 99.75:
            return f"{_plain(cm if abs(cm) < 10 else _half(cm), 1)} cm"
        return f"{_plain(cm / 100, 2)} m"
    inches = cm / 2.54
    if abs(inches) < 47.75:
        return f"{_plain(inches if abs(inches) < 10 else _half(inches), 1)} in"
    whole = math.floor(abs(inches) + 0.5)
    feet, rest = divmod(whole, 12)
    sign = "-" if inches < 0 else ""
    return f"{sign}{feet} ft" + (f" {rest} in" if rest else "")


def show_temperature(c: float, units: Units) -> str:
    """A temperature in the person's units; tenths where they decide something, near freezing.

    Metric: tenths below 10 °C in size. US: whole degrees, tenths within 2 °F of 32.
    """
    if not math.isfinite(c):
        return "unknown"
    if units == "metric":
        return f"{_plain(c, 1 if abs(c) < 9.95 else 0)} °C"
    f = c * 1.8 + 32
    return f"{_plain(f, 1 if abs(f - 32) < 2 else 0)} °F"


def show_volume(litres: float, units: Units) -> str:
    """A volume in the person's units: ``60 mL``, ``0.22 L``, ``3.6 L``; ``7.5 fl oz``, ``0.9 gal``."""
    if not math.isfinite(litres):
        return "unknown"
    if units == "metric":
        if abs(litres) < 0.0995:
            return f"{_plain(litres * 1000, 0)} mL"
        return f"{_plain(litres, 2 if abs(litres) < 1 else 1 if abs(litres) < 100 else 0)} L"
    ounces = litres / _GALLON * 128
    if abs(ounces) < 31.5:
        return f"{_plain(_half(ounces) if abs(ounces) < 10 else ounces, 1 if abs(ounces) < 10 else 0)} fl oz"
    gallons = litres / _GALLON
    return f"{_plain(gallons, 2 if abs(gallons) < 1 else 1)} gal"


def show_speed(ms: float, units: Units) -> str:
    """A wind speed in the person's units: ``4.5 m/s``, ``12 m/s``; ``9 mph``."""
    if not math.isfinite(ms):
        return "unknown"
    if units == "metric":
        return f"{_plain(ms, 1 if abs(ms) < 9.95 else 0)} m/s"
    return f"{_plain(ms / 0.44704, 0)} mph"


def show_rain(mm: float, units: Units) -> str:
    """An amount of rain in the person's units: ``0.2 mm``, ``9 mm``; ``0.01 in``. A trace is never 0."""
    if not math.isfinite(mm):
        return "unknown"
    amount, digits, unit = (mm, 1, "mm") if units == "metric" else (mm / 25.4, 2, "in")
    shown = _plain(amount, digits if amount < 10 else digits - 1)
    return f"under {10**-digits:g} {unit}" if shown == "0" and amount > 0 else f"{shown} {unit}"


def show_clock(dt_local: datetime | time, units: Units, *, short: bool = False) -> str:
    """A clock time of the yard: ``9:00``, ``13:30`` or ``9 am``, ``1:30 pm``, ``noon``, ``midnight``.

    ``short`` is for spans ("brush 9 to 10:30"): ``9``, ``10:30``, without am and pm.
    """
    hour, minute = dt_local.hour, dt_local.minute
    if units == "metric":
        return f"{hour}" if short and not minute else f"{hour}:{minute:02d}"
    if not short and not minute and hour in {0, 12}:
        return "noon" if hour else "midnight"
    face = f"{hour % 12 or 12}" + (f":{minute:02d}" if minute else "")
    return face if short else f"{face} {'am' if hour < 12 else 'pm'}"


_DATE = re.compile(r"E+|M+|d|y")
_DATE_NAMES = {"EEE": "%a", "EEEE": "%A", "MMM": "%b", "MMMM": "%B"}


def show_date(local: datetime, pattern: str) -> str:
    """A day in English by a Unicode date pattern (UTS 35), such as ``EEE d MMM``: ``Sat 1 Nov``."""

    def shown(token: re.Match[str]) -> str:
        number = {"d": local.day, "y": local.year}.get(token[0])
        return local.strftime(_DATE_NAMES[token[0]]) if number is None else str(number)

    return _DATE.sub(shown, pattern)
