"""A CSV table of past weather: headings with units, missing codes, one row a line. For ``history_read``.

Nothing is mended in silence: what cannot be read is refused with its line and
column; the codes that stations write for "not measured" become unknown.
"""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.series import WeatherError

__all__ = ["FAHRENHEIT_HINT", "Column", "Table", "heading", "in_bounds", "read_table", "refuse_other_scale"]

F = NDArray[np.float64]
NO_VALUE = {"", "na", "n/a", "nan", "null", "none", "m", "-", "--"}
_NEGATIVE = (-9999.0, -999.9, -999.0, -99.9, -99.0)  # what stations and archives write where nothing is known
_HIGH = (9999.0, 9999.9, 999.9)
_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?", re.ASCII)
FAHRENHEIT_HINT = "that looks like °F; give °C, or name the columns min_f and max_f"


@dataclass(frozen=True, slots=True)
class Column:
    """A quantity in the unit of its heading: into the house's unit, bounds of nature there, missing codes."""

    house: str  # name in this house
    unit: str  # the house's unit, as it is said
    low: float
    high: float
    factor: float = 1.0
    shift: float = 0.0
    codes: tuple[float, ...] = _NEGATIVE + _HIGH
    trace: bool = False  # a T, for a trace of rain, counts as none


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells under their headings; ``lines`` are the numbers of the lines they stand on."""

    headings: Mapping[str, int]  # as ``heading`` makes them, to the place in the row
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    comma: bool  # a comma is the decimal point

    def texts(self, name: str) -> list[str]:
        """The cells of a column."""
        place = self.headings[name]
        return [row[place].strip() for row in self.rows]

    def values(self, name: str, column: Column) -> F:
        """A column in the house's unit, NaN for what was not measured."""
        raw = np.array([self._number(text, name, n, column) for n, text in enumerate(self.texts(name))])
        missing = np.isin(raw, column.codes)
        values = np.where(missing, np.nan, raw * column.factor + column.shift)
        return in_bounds(values, raw, name, column, lambda row: f"line {self.lines[row]}")

    def _number(self, text: str, name: str, row: int, column: Column) -> float:
        word = text.lower()
        if word in NO_VALUE:
            return float(np.nan)
        if column.trace and word == "t":
            return 0.0
        plain = text.replace(",", ".") if self.comma else text
        if not _NUMBER.fullmatch(plain):
            raise WeatherError(
                f"Line {self.lines[row]}, {name}: '{text:.40}' is no number. "
                "Leave the cell empty where nothing was measured."
            )
        return float(plain)


def heading(text: str) -> str:
    """A heading in plain form: "Min (°C)" and "min_c" are the same."""
    return re.sub(r"[^a-z0-9]+", "_", text.lower().replace("°", "")).strip("_")


def read_table(text: str, needed: Iterable[str], about: str) -> Table:
    """Split a CSV text (comma, semicolon or tab) into rows under headings.

    Raises
    ------
    WeatherError
        For no headings, a heading that stands twice, one of ``needed`` that lacks, or a row that is cut.
    """
    lines = text.removeprefix("\ufeff").splitlines()
    kept = [
        (n, line) for n, line in enumerate(lines, 1) if line.strip() and not line.lstrip().startswith("#")
    ]
    if not kept:
        raise WeatherError(f"The file is empty. {about}")
    number, first = kept[0]
    separator = max(",;\t", key=first.count)
    names = [heading(cell) for cell in _cells(first, separator, number)]
    twice = next((name for name in names if name and names.count(name) > 1), None)
    if twice:
        raise WeatherError(f"The heading {twice} stands twice, so it is not clear which column counts.")
    for name in needed:
        if name not in names:
            raise WeatherError(_lacking(name, names, about))
    rows = []
    for number, line in kept[1:]:
        row = _cells(line, separator, number)
        if len(row) < len(names):
            raise WeatherError(f"Line {number} has {len(row)} cells under {len(names)} headings; it is cut.")
        rows.append(tuple(row))
    if not rows:
        raise WeatherError(f"The file has headings and no rows. {about}")
    places = {name: n for n, name in enumerate(names)}
    return Table(places, tuple(rows), tuple(number for number, _ in kept[1:]), separator != ",")


def _cells(line: str, separator: str, number: int) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator))
    except csv.Error as error:
        raise WeatherError(f"Line {number} cannot be read: {error}.") from None


def _lacking(name: str, names: list[str], about: str) -> str:
    near = difflib.get_close_matches(name, names, 1, cutoff=0.7)
    hint = (
        f"did you mean {name} by '{near[0]}'?"
        if near
        else f"there are: {', '.join(filter(None, names))[:200]}"
    )
    return f"The file has no column {name}; {hint}. {about}"


def in_bounds(values: F, raw: F, name: str, column: Column, where: Callable[[int], str]) -> F:
    """The values, when none lies beyond what nature allows."""
    slack = 1e-9 * max(abs(column.high), 1.0)
    with np.errstate(invalid="ignore"):
        wrong = np.flatnonzero((values < column.low - slack) | (values > column.high + slack))
    if not wrong.size:
        return values
    row = int(wrong[0])
    hint = (
        f"; {FAHRENHEIT_HINT}"
        if column.unit == "°C" and 60.0 < raw[row] <= 134.0 and column.factor == 1.0
        else ""
    )
    raise WeatherError(
        f"{where(row).capitalize()}, {name}: {raw[row]:g} lies outside "
        f"{column.low:g} to {column.high:g} {column.unit}{hint}."
    )


def refuse_other_scale(low_c: F, high_c: F, fahrenheit: bool) -> None:
    """Refuse temperatures that were plainly read on the other scale.

    Said to be °C: all between 32 and 60, or a year whose mean maximum is over 45 °C
    (no place on Earth). Said to be °F: a whole year that never reached 45 °F.
    """
    known_low, known_high = low_c[np.isfinite(low_c)], high_c[np.isfinite(high_c)]
    both = np.concatenate([known_low, known_high])
    if not both.size:
        return
    if not fahrenheit:
        year_too_warm = known_high.size >= 365 and float(known_high.mean()) > 45.0
        if (float(both.min()) >= 32.0 and float(both.max()) <= 60.0) or year_too_warm:
            raise WeatherError(
                f"The temperatures lie between {both.min():g} and {both.max():g} and are said to be °C; "
                f"{FAHRENHEIT_HINT}."
            )
    elif known_high.size >= 365 and float(known_high.max()) < 45.0 / 1.8 - 32.0 / 1.8:
        raise WeatherError(
            f"The warmest day of the whole file is {known_high.max() * 1.8 + 32:.0f} °F; that looks like °C: "
            "name the columns min_c, max_c."
        )
