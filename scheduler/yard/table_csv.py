"""The register as a CSV table, out and in. Pure: text to values and back.

Headings carry the unit (``butt_cm`` or ``butt_in``). Every column that is written can be read again;
what a table cannot hold is the history: earlier cuts and looks, who did what, litres.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any, Protocol

from scheduler.yard.entries import YardError
from scheduler.yard.facts import End, Log, Moment, Register
from scheduler.yard.newlog import NewEnd, NewLog, check_new
from scheduler.yard.tags import nearest
from scheduler.yard.telling import Voice

__all__ = ["Rough", "TableError", "TableRow", "read_table", "write_table"]

CM_IN = {"cm": 1.0, "mm": 0.1, "m": 100.0, "in": 2.54, "ft": 30.48}  # exact by definition
SIZES = ("length", "needs", "thick")
END_SIZES = ("", "trimmed")  # butt_cm, butt_trimmed_cm
END_WORDS = ("cut", "reach", "coats", "coated", "part", "checks", "face", "look", "looked", "guessed")
PLAIN = (
    "tag",
    "species",
    "botanical",
    "state",
    "felled",
    "expected",
    "ends",
    "cut",
    "checks",
    "reach",
    "face",
    "place",
    "roofed",
    "worth",
    "lump",
    "price_per_m3",
    "use",
    "count",
    "halved",
    "sawn",
    "parent",
    "left_long",
    "left_till",
    "skip",
    "saw_first",
    "metal",
    "gone_why",
    "note",
    "assumed",
)
ALSO_CALLED = {"story": "note", "price_sawn_per_m3": "price_per_m3", "log": "tag", "wood": "species"}
YES = {"yes": True, "true": True, "1": True, "x": True, "no": False, "false": False, "0": False}
_DANGEROUS = re.compile(r"^'*[=+\-@\t\r]")  # a spreadsheet would take the cell for a formula
_DAY = re.compile(r"^(\d{4})-(\d{2})-(\d{2})$")
_INSTANT = re.compile(r"^(\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}\S*?)(?: \+/- ([\d.]+) s)?$")
_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")  # line ends as they are: they may stand in a cell
_JOIN = " | "


class TableError(YardError):
    """A table that cannot be taken in; each line names row and column."""


class Rough(Protocol):
    """A time as rough as it was said, as the readers of typed times give it."""

    @property
    def time(self) -> datetime:
        """The middle, UTC."""

    @property
    def half(self) -> timedelta:
        """Half the stretch."""


@dataclass(frozen=True, slots=True)
class TableRow:
    """A log read from a table, and the row it stands in (the heading is row 1)."""

    row: int
    log: NewLog

    @property
    def label(self) -> str:
        """For messages: "row 5 (H04)"."""
        return f"row {self.row} ({self.log.tag})" if self.log.tag else f"row {self.row}"


# ------------------------------------------------------------------ out


def write_table(register: Register, *, zone: tzinfo = UTC, units: str = "metric") -> str:
    """The logs of a register as CSV text, those that are gone among them.

    ``units`` is metric (cm) or us (in). Text that a spreadsheet would run as a formula gets an
    apostrophe in front, which ``read_table`` takes away.
    """
    unit = "in" if units == "us" else "cm"
    names = list(dict.fromkeys(end.name for log in register.logs for end in log.ends)) or ["butt", "top"]
    headings = _headings(names, unit)
    out = _Lines([])
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(headings)
    for log in register.logs:
        cells = _cells(log, zone, unit)
        writer.writerow([cells.get(heading, "") for heading in headings])
    return "".join(out.lines)


@dataclass(slots=True)
class _Lines:
    """What a CSV writer writes to: memory, no file."""

    lines: list[str]

    def write(self, text: str) -> None:
        self.lines.append(text)


def _headings(names: Sequence[str], unit: str) -> list[str]:
    head = ["tag", "species", "botanical", "state", *(f"{name}_{unit}" for name in names)]
    head += [f"length_{unit}", f"needs_{unit}", "felled", "expected", "ends"]
    for name in names:
        head += [f"{name}_{word}" for word in END_WORDS] + [f"{name}_trimmed_{unit}"]
    done = {*head, "cut", "checks", "reach", "face"}
    return [*head, f"thick_{unit}", *(name for name in PLAIN if name not in done)]


def _cells(log: Log, zone: tzinfo, unit: str) -> dict[str, str]:
    plain: dict[str, Any] = {name: getattr(log, name, None) for name in PLAIN}
    plain |= {"species": log.species_said, "botanical": log.species}
    plain |= {"ends": ", ".join(end.name for end in log.ends), "assumed": _JOIN.join(log.assumed)}
    if log.metal is False:
        plain["metal"] = "no"  # looked for and not found, which is more than not known
    cells = {name: _cell(value, zone) for name, value in plain.items()}
    for name in SIZES:
        cells[f"{name}_{unit}"] = _size(getattr(log, f"{name}_cm"), unit)
    for end in log.ends:
        cells |= {f"{end.name}_{word}": _cell(value, zone) for word, value in _end_values(end).items()}
        cells[f"{end.name}_{unit}"] = _size(end.diameter_cm, unit)
        cells[f"{end.name}_trimmed_{unit}"] = _size(end.trimmed_cm or None, unit)
    return cells


def _end_values(end: End) -> dict[str, Any]:
    coat, look = end.last_coat, end.film_look
    return {
        "cut": end.cut,
        "reach": "yes" if end.reach else "no",
        "coats": coat.layer if coat else 0,
        "coated": coat.moment if coat else None,
        "part": bool(coat and coat.part),
        "checks": end.checks,
        "face": end.face,
        "look": look.seen if look else None,
        "looked": look.moment if look else None,
        "guessed": end.assumed_diameter,
    }


def _cell(value: Any, zone: tzinfo) -> str:
    match value:
        case None | False:
            return ""
        case True:
            return "yes"
        case Moment():
            return _moment_out(value, zone)
        case datetime():
            return value.astimezone(UTC).isoformat()
        case int() | float():
            return repr(value)
        case _:
            text = str(value)
            return f"'{text}" if _DANGEROUS.match(text) else text


def _size(cm: float | None, unit: str) -> str:
    if cm is None:
        return ""
    return repr(cm) if unit == "cm" else f"{cm / CM_IN[unit]:.10g}"


def _moment_out(moment: Moment, zone: tzinfo) -> str:
    """A whole day as the day; else the middle in UTC and half the stretch; "?" where it was assumed."""
    first, last = moment.first.astimezone(zone), moment.last.astimezone(zone)
    next_day = first.date() + timedelta(days=1)
    if moment.half and (last.date(), last.time(), first.time()) == (
        next_day,
        last.min.time(),
        first.min.time(),
    ):
        text = first.date().isoformat()
    else:
        doubt = f" +/- {moment.half / timedelta(seconds=1):.6f}".rstrip("0").rstrip(".") + " s"
        text = moment.time.astimezone(UTC).isoformat() + (doubt if moment.half else "")
    return f"{text}?" if moment.assumed else text


# ------------------------------------------------------------------ in


@dataclass(slots=True)
class _Reader:
    at: datetime
    zone: tzinfo
    moment: Callable[[str, bool], Rough] | None
    species: Callable[[str], str | None] | None
    voice: Voice
    decimal_comma: bool
    columns: dict[int, tuple[str, str, float]]  # position -> heading, field, cm per unit
    faults: list[tuple[int, str]]


def read_table(
    text: str,
    *,
    at: datetime,
    zone: tzinfo,
    moment: Callable[[str, bool], Rough] | None = None,
    species: Callable[[str], str | None] | None = None,
    voice: Voice | None = None,
) -> list[TableRow]:
    """The logs of a CSV text, for ``book.add_logs``.

    Parameters
    ----------
    moment
        Reads a rough time as people type it; the second argument says whether it may lie ahead. Days and
        times of ISO 8601 are read without it.
    species
        Botanical name of a wood by its common name, None when it is not known; may raise ``ValueError``.

    Raises
    ------
    TableError
        With every fault of the table, each with row and column. Nothing is returned then.
    """
    rows, delimiter = _rows(text)
    columns, wrong = _columns(rows)
    voice = voice or Voice(zone)
    reader = _Reader(at, zone, moment, species, voice, delimiter == ";", columns, wrong)
    found = [_row(reader, number, cells, len(rows[0][1])) for number, cells in rows[1:]]
    _twice(reader, found)
    if reader.faults:
        lines = [line for _, line in sorted(reader.faults, key=lambda fault: fault[0])]
        raise TableError("\n".join([*lines, "Nothing was taken in."]))
    if not found:
        raise TableError("The table holds a heading and no log.")
    return [row for row in found if row is not None]


def _rows(text: str) -> tuple[list[tuple[int, list[str]]], str]:
    """Rows that hold anything, with the number a spreadsheet gives them, and the separator."""
    text = text.removeprefix("\ufeff")
    head = re.sub(r'"[^"]*"', "", text.lstrip().partition("\n")[0])
    delimiter = max(",;\t", key=head.count)
    try:
        read = list(csv.reader(_LINE.findall(text), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise TableError(f"The table cannot be read: {error}. Is a quotation mark missing?") from None
    rows = [(n, cells) for n, cells in enumerate(read, start=1) if any(cell.strip() for cell in cells)]
    if not rows:
        raise TableError(
            "The table is empty. Its first row names the columns, for example: tag,species,butt_cm"
        )
    return rows, delimiter


def _columns(
    rows: list[tuple[int, list[str]]],
) -> tuple[dict[int, tuple[str, str, float]], list[tuple[int, str]]]:
    first, headings = rows[0]
    keys = [re.sub(r"\s+", "_", heading.strip().casefold()) for heading in headings]
    ends = _end_names(rows, keys)
    known = _known(ends)
    columns: dict[int, tuple[str, str, float]] = {}
    faults: list[tuple[int, str]] = []
    seen: dict[str, str] = {}
    for place, (key, heading) in enumerate(zip(keys, headings, strict=True)):
        if key not in known:
            near = nearest(key, known)
            hint = f" Did you mean {near}?" if near else f" Known are {', '.join(_headings(ends, 'cm'))}."
            what = f"the heading '{heading.strip()}' is not known." if key else "a column without a heading."
            faults.append((first, f"row {first}, column {place + 1}: {what}{hint if key else ''}"))
            continue
        name, factor = known[key]
        if name in seen:
            faults.append((first, f"row {first}: '{seen[name]}' and '{key}' say the same. Leave one out."))
        seen[name] = key
        columns[place] = (key, name, factor)
    return columns, faults


def _end_names(rows: list[tuple[int, list[str]]], keys: list[str]) -> list[str]:
    names = ["butt", "top"]
    if "ends" in keys:
        place = keys.index("ends")
        for _, cells in rows[1:]:
            if place < len(cells):
                names += _names(cells[place])
    return list(dict.fromkeys(names))


def _known(ends: Iterable[str]) -> dict[str, tuple[str, float]]:
    """Every heading that can be read -> its field, and cm per unit for a size."""
    known = {name: (name, 1.0) for name in PLAIN}
    known |= {other: (name, 1.0) for other, name in ALSO_CALLED.items()}
    for unit, factor in CM_IN.items():
        known |= {f"{name}_{unit}": (f"{name}_cm", factor) for name in SIZES}
        for end in ends:
            known[f"{end}_{unit}"] = (f"{end}_cm", factor)
            known[f"{end}_trimmed_{unit}"] = (f"{end}_trimmed_cm", factor)
    known |= {f"{end}_{word}": (f"{end}_{word}", 1.0) for end in ends for word in END_WORDS}
    return known


def _row(reader: _Reader, number: int, cells: list[str], width: int) -> TableRow | None:
    if len(cells) != width:
        why = (
            "is a text with commas not in quotation marks?" if len(cells) > width else "is the file cut off?"
        )
        reader.faults.append(
            (number, f"row {number}: {len(cells)} cells where the heading has {width}; {why}")
        )
        return None
    values: dict[str, Any] = {}
    wrong: set[str] = set()
    for place, (heading, name, factor) in reader.columns.items():
        cell = cells[place][1:] if re.match(r"^'+[=+\-@\t\r]", cells[place]) else cells[place]
        if not cell.strip():
            continue
        try:
            values[name] = _value(reader, name, cell, factor)
        except ValueError as error:
            wrong.add(name)
            reader.faults.append((number, f"row {number}, {heading}: {error}"))
    log = _log(reader, number, values)
    headings = {name: heading for heading, name, _ in reader.columns.values()}
    for fault in check_new(log, reader.at, reader.voice):
        if fault.field not in wrong:  # a cell that could not be read is told of once
            column = headings.get(fault.field, fault.field)
            reader.faults.append((number, f"row {number}, {column}: {fault.text}"))
    return TableRow(number, log)


def _twice(reader: _Reader, rows: Iterable[TableRow | None]) -> None:
    seen: dict[str, int] = {}
    for row in rows:
        if row is None or row.log.tag is None:
            continue
        first = seen.setdefault(row.log.tag.casefold(), row.row)
        if first != row.row:
            reader.faults.append(
                (row.row, f"row {row.row}, tag: {row.log.tag} stands in row {first} already.")
            )


# ------------------------------------------------------------------ cells

_MOMENTS = ("felled", "expected", "cut", "coated", "looked", "halved", "sawn")
_FLAGS = ("roofed", "left_long", "skip", "saw_first", "metal", "part", "guessed")
_LOWER = ("state", "worth", "checks", "face", "look")


def _value(reader: _Reader, name: str, cell: str, factor: float) -> Any:
    """A cell as its field wants it; ``ValueError`` with a sentence when it cannot be."""
    word = name.rpartition("_")[2] if name not in PLAIN else name
    if word == "cm":
        return round(_number(reader, cell) * factor, 6)  # 2.2 m is 220 cm
    if name in ("lump", "price_per_m3"):
        return _number(reader, cell)
    if word in ("count", "coats"):
        number = _number(reader, cell)
        if not number.is_integer():
            raise ValueError(f"'{cell.strip()}' is not a whole number.")
        return int(number)
    if word in _MOMENTS:
        return _moment_in(reader, cell.strip(), word in ("felled", "expected"))
    if word in _FLAGS or (word == "reach" and name != "reach"):
        if cell.strip().casefold() not in YES:
            raise ValueError(f"'{cell.strip()}' is neither yes nor no.")
        return YES[cell.strip().casefold()]
    if name == "left_till":
        return _moment_in(reader, cell.strip(), True).last
    if name in ("ends", "reach"):
        return _names(cell)
    if word in _LOWER:
        return " ".join(cell.casefold().split())
    return cell if name in ("note", "assumed") else cell.strip()


def _names(cell: str) -> list[str]:
    return [part for part in re.split(r"[,;+/|\s]+", cell.strip().casefold()) if part and part != "and"]


def _number(reader: _Reader, cell: str) -> float:
    text = cell.strip()
    if reader.decimal_comma and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", text):
        raise ValueError(f"'{cell.strip()}' is no number. The unit stands in the heading, not in the cell.")
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"'{cell.strip()}' is too big.")
    return number


def _moment_in(reader: _Reader, cell: str, ahead: bool) -> Moment:
    text = cell.removesuffix("?").strip()
    assumed = cell.endswith("?")
    if match := _DAY.match(text):
        try:
            first = datetime(int(match[1]), int(match[2]), int(match[3]), tzinfo=reader.zone)
        except ValueError:
            raise ValueError(f"there is no day {text}.") from None
        begin, end = first.astimezone(UTC), (first + timedelta(days=1)).astimezone(UTC)
        half = (end - begin) / 2
        return Moment(begin + half, half, "" if assumed else text, assumed)
    if match := _INSTANT.match(text):
        try:
            time = datetime.fromisoformat(match[1])
            half = timedelta(seconds=float(match[2] or 0))
        except (ValueError, OverflowError):
            raise ValueError(f"'{text}' is no time there is.") from None
        time = time if time.tzinfo else time.replace(tzinfo=reader.zone)
        return Moment(time.astimezone(UTC), half, "", assumed)
    if reader.moment is None:
        raise ValueError(f"'{text}' is no day; write it as 2025-10-31.")
    rough = reader.moment(text, ahead)
    return Moment(rough.time.astimezone(UTC), rough.half, text, assumed)


# ------------------------------------------------------------------ rows to logs


def _log(reader: _Reader, number: int, values: Mapping[str, Any]) -> NewLog:
    names = {f.name for f in fields(NewLog)} - {"ends", "species", "reach", "assumed"}
    plain = {name: value for name, value in values.items() if name in names}
    said = values.get("species", "")
    ends = tuple(_end(name, values) for name in values.get("ends") or ("butt", "top"))
    complete = any(name == "assumed" for _, name, _ in reader.columns.values())
    plain |= {"butt_cm": None, "top_cm": None}  # they stand in the ends
    return NewLog(
        **plain,
        species=_species(reader, number, said, values.get("botanical")),
        species_said=said,
        reach=_reach(values.get("reach"), ends),
        ends=ends,
        assumed=tuple(filter(None, values.get("assumed", "").split(_JOIN))),
        complete=complete,
    )


def _end(name: str, values: Mapping[str, Any]) -> NewEnd:
    told = {word: values.get(f"{name}_{word}") for word in END_WORDS}
    return NewEnd(
        name,
        values.get(f"{name}_cm"),
        bool(told["guessed"]),
        told["cut"],
        told["reach"],
        told["checks"],
        told["face"],
        values.get(f"{name}_trimmed_cm", 0.0),
        told["coats"],
        told["coated"],
        bool(told["part"]),
        told["look"],
        told["looked"],
    )


def _reach(named: list[str] | None, ends: tuple[NewEnd, ...]) -> frozenset[str] | None:
    if named is None:
        return None
    if named in (["both"], ["all"]):
        return frozenset(end.name for end in ends)
    return frozenset() if named == ["none"] else frozenset(named)


def _species(reader: _Reader, number: int, said: str, botanical: str | None) -> str | None:
    if botanical or not said or reader.species is None:
        return botanical
    try:
        return reader.species(said)
    except ValueError as error:
        reader.faults.append((number, f"row {number}, species: {error}"))
        return None
