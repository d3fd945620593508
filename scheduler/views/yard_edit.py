"""One setting of a yard file's text changed, everything else left as it stands, comments too. Pure.

Only the line of the setting is touched, or a line is put in. Whatever the
text looks like, the result is read again: it must hold the new value and
otherwise exactly what was there, else nothing is changed.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

__all__ = ["EditError", "literal", "looked_up", "with_value"]

Path = tuple[str, ...]
_HEADER = re.compile(r"^\s*\[(?!\[)\s*(?P<name>[^\[\]]+?)\s*\]\s*(?:#.*)?$")
_ARRAY = re.compile(r"^\s*\[\[")
_KEY = r"(?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')"
_LINE = re.compile(rf"^(?P<head>\s*(?P<key>{_KEY}(?:\s*\.\s*{_KEY})*)\s*=\s*)(?P<rest>.*)$")
_EXAMPLE = re.compile(rf"^\s*#\s*(?P<key>{_KEY}(?:\s*\.\s*{_KEY})*)\s*=")
_PLAIN = re.compile(r"[A-Za-z0-9_-]+")
_MISSING = object()


class EditError(ValueError):
    """The text cannot be changed without doing more than asked; the sentence says what to do."""


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of the file, and what it is."""

    number: int  # from 0
    text: str
    table: Path | None  # the table it stands in; None inside [[...]]
    key: Path | None = None  # full key, for a line that sets something
    example: Path | None = None  # full key of an example that is commented out
    header: bool = False


def literal(value: str | bool | int | float) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    escaped = value.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + re.sub(r"[\x00-\x1f\x7f]", lambda c: f"\\u{ord(c[0]):04x}", escaped) + '"'


def looked_up(text: str, path: Path) -> Any:
    """The value that the text holds under a path, None where there is none."""
    found: Any = tomllib.loads(text)
    for part in path:
        found = found.get(part) if isinstance(found, dict) else None
    return found


def with_value(text: str, path: Path, value: str | bool | int | float) -> str:
    """The text with one setting set.

    Parameters
    ----------
    path
        Names from the outermost table to the setting: ("yard", "hours", "mon").

    Raises
    ------
    EditError
        When the file is written in a way that a change of one line cannot serve.
    """
    lines = _lines(text)
    new = _replaced(lines, path, value)
    if new is None:
        new = _put_in(lines, path, value)
    changed = "".join(new)
    wanted = _set(tomllib.loads(text), path, value)
    try:
        got = tomllib.loads(changed)
    except tomllib.TOMLDecodeError:
        got = None
    if wanted is None or got != wanted:
        line = next(
            (f", line {one.number + 1}" for one in lines if one.key and path[: len(one.key)] == one.key), ""
        )
        raise EditError(f"'{'.'.join(path)}' is written in a way that has to be changed by hand{line}.")
    return changed


def _set(data: dict[str, Any], path: Path, value: Any) -> dict[str, Any] | None:
    """What the file must hold afterwards; None where the path leads through something that is no table."""
    whole = deepcopy(data)
    place = whole
    for part in path[:-1]:
        place = place.setdefault(part, {})
        if not isinstance(place, dict):
            return None
    place[path[-1]] = value
    return whole


# ------------------------------------------------------------------ reading the lines


def _lines(text: str) -> list[_Line]:
    """All lines with the table they stand in; lines inside a long text or list count as nothing."""
    out: list[_Line] = []
    table: Path | None = ()
    inside = ""
    # TOML knows one end of a line; splitlines knows more, which may stand inside a name.
    for number, raw in enumerate(re.findall(r"[^\n]*\n|[^\n]+", text)):
        bare = raw.rstrip("\r\n")
        if inside:
            inside = _still_open(inside, bare)
            out.append(_Line(number, raw, table))
            continue
        if _ARRAY.match(bare):
            table = None
            out.append(_Line(number, raw, table, header=True))
        elif header := _HEADER.match(bare):
            table = _parts(header["name"])
            out.append(_Line(number, raw, table, header=True))
        elif line := _LINE.match(bare):
            key = None if table is None else table + _parts(line["key"])
            out.append(_Line(number, raw, table, key))
            inside = _opens(line["rest"])
        else:
            example = _EXAMPLE.match(bare)
            named = None if table is None or example is None else table + _parts(example["key"])
            out.append(_Line(number, raw, table, example=named))
    return out


def _parts(dotted: str) -> Path:
    return tuple(part.strip("\"'") for part in re.findall(_KEY, dotted))


def _opens(rest: str) -> str:
    """What a value opens on its line and does not close there: a long text, or brackets."""
    for quotes in ('"""', "'''"):
        if rest.startswith(quotes):
            return "" if quotes in rest[3:] else quotes
    depth = _depth(rest)
    return "[" * depth if depth > 0 else ""


def _still_open(inside: str, line: str) -> str:
    if inside[0] != "[":
        return "" if inside in line else inside
    depth = len(inside) + _depth(line)
    return "[" * depth if depth > 0 else ""


def _depth(text: str) -> int:
    """Square brackets opened minus closed, outside of texts and comments."""
    return sum({"[": 1, "]": -1}.get(c, 0) for c in _outside(text))


def _outside(text: str) -> str:
    """The text up to its comment, with what stands in quotation marks blanked; as long as it was."""
    out, quote = [], ""
    escaped = False
    for c in text:
        if quote:
            out.append(" ")
            if c == quote and not escaped:
                quote = ""
            escaped = c == "\\" and quote == '"' and not escaped
            continue
        if c == "#":
            break
        if c in "\"'":
            quote = c
            out.append(" ")
        else:
            out.append(c)
    return "".join(out)


# ------------------------------------------------------------------ changing


def _replaced(lines: Sequence[_Line], path: Path, value: Any) -> list[str] | None:
    """The lines with the value of the setting replaced; None where no line sets it."""
    texts = [line.text for line in lines]
    for line in lines:
        if line.key is None or path[: len(line.key)] != line.key:
            continue
        match = _LINE.match(line.text.rstrip("\r\n"))
        assert match is not None
        end = line.text[len(line.text.rstrip("\r\n")) :]
        rest = match["rest"]
        held = rest[: len(_outside(rest))].rstrip()
        comment = rest[len(held) :]
        below = path[len(line.key) :]
        new = literal(value) if not below else _in_table(held, below, value)
        # A comment behind the value stays in its column where the new value leaves room.
        gap = len(comment) - len(comment.lstrip())
        if comment.strip():
            comment = " " * max(gap + len(held) - len(new), 1) + comment.lstrip()
        texts[line.number] = f"{match['head']}{new}{comment}{end}"
        return texts
    return None


def _in_table(held: str, below: Path, value: Any) -> str:
    """A table on one line, ``{ lat = 48.0, lon = 8.2 }``, with one of its settings changed or added."""
    if not (held.startswith("{") and held.endswith("}")) or len(below) != 1:
        return held  # the check of the result will say so
    name = re.escape(below[0])
    found = re.search(rf"(?<![\w.-]){name}(\s*=\s*)(?P<value>[^,{{}}\[\]]*?)(?=\s*[,}}])", held)
    if found is not None:
        return held[: found.start("value")] + literal(value) + held[found.end("value") :]
    inner = held[1:-1].strip().rstrip(",")
    return f"{{ {inner + ', ' if inner else ''}{_key(below)} = {literal(value)} }}"


def _put_in(lines: Sequence[_Line], path: Path, value: Any) -> list[str]:
    """The lines with one more: below its example, else at the end of its table, else with a new table."""
    end = "\r\n" if any(line.text.endswith("\r\n") for line in lines) else "\n"
    texts = [line.text for line in lines]
    if texts and not texts[-1].endswith("\n"):
        texts[-1] += end
    example = next((line for line in lines if line.example == path), None)
    if example is not None and example.table is not None:
        key = _key(path[len(example.table) :])
        texts.insert(example.number + 1, f"{key} = {literal(value)}{end}")
        return texts
    headers = {line.table: line.number for line in lines if line.header and line.table is not None}
    above = [path[:n] for n in range(len(path) - 1, 0, -1) if path[:n] in headers]
    if not above:
        gap = [end] if texts and texts[-1].strip() else []
        table, key = _key(path[:-1]), _key(path[-1:])
        return [*texts, *gap, f"[{table}]{end}", f"{key} = {literal(value)}{end}"]
    table_path = above[0]
    last = headers[table_path]
    for line in lines[last + 1 :]:
        if line.header:
            break
        if line.text.strip() and not line.text.lstrip().startswith("#"):
            last = line.number
    texts.insert(last + 1, f"{_key(path[len(table_path) :])} = {literal(value)}{end}")
    return texts


def _key(parts: Sequence[str]) -> str:
    return ".".join(part if _PLAIN.fullmatch(part) else literal(part) for part in parts)
