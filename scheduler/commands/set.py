"""``set``: one setting of the yard file changed, its comments kept."""

from __future__ import annotations

import difflib
import re
import tomllib
from pathlib import Path
from typing import Annotated, Any, get_args

import typer
from pydantic import BaseModel

from scheduler.commands.common import AtOption, Fail, JsonOption, YardOption, print_json, say
from scheduler.commands.table import write_whole
from scheduler.settings import SettingsError, YardFile, find_yard_file, load_yard

__all__ = ["SHORT", "changed", "set_value"]

SHORT = {  # the few that people change
    "name": "yard.name",
    "people": "yard.people",
    "coats": "coating.coats",
    "hollow": "site.hollow",
    "learn": "site.learn",
    "morning": "notice.morning",
    "notice": "notice.morning",
    "language": "yard.language",
}
YES = {"yes": True, "on": True, "true": True, "no": False, "off": False, "false": False}
TIMES = ("notice.morning",)
TRIES = 5
Value = str | bool | int | float


def set_value(
    name: Annotated[
        str, typer.Argument(help="name, people, coats, hollow, morning, or a key: forecast.url.")
    ],
    value: Annotated[list[str], typer.Argument(metavar="VALUE")],
    yard: YardOption = None,
    at: AtOption = None,
    as_json: JsonOption = False,
) -> None:
    """Change a setting of the yard file: set people 2. The comments in the file are kept."""
    del at  # taken like everywhere; a setting has no time
    file = find_yard_file(yard)
    load_yard(file)  # a file that is at fault already is told of as such
    key, was, now = changed(file, name, " ".join(value))
    if as_json:
        print_json({"name": key, "value": now, "was": was, "file": str(file)})
        return
    before = "" if was is None else f" (was {_shown(was)})"
    say(f"{key} = {_shown(now)}{before}, in {file}")


def changed(file: Path, name: str, value: str) -> tuple[str, Any, Any]:
    """Write one setting into a yard file: its full key, what it was, what it is now."""
    path = _path(name)
    was, now = _written(file, path, " ".join(value.split()))
    return ".".join(path), was, now


def _shown(value: Any) -> str:
    return {True: "true", False: "false"}[value] if isinstance(value, bool) else str(value)


# ------------------------------------------------------------------ which setting


def _path(name: str) -> tuple[str, ...]:
    """The full key of a setting; an unknown name is answered with the nearest."""
    name = SHORT.get(name.casefold(), name.strip())
    path = tuple(name.split("."))
    if _model_of(path) is not None:
        return path
    known = _known()
    inside = [f"{table}.{name}" for table in YardFile.model_fields if _model_of((table, *path)) is not None]
    near = inside or [key for key in known if key.rpartition(".")[2] == name]
    near = near or difflib.get_close_matches(name, [*SHORT, *known], 1, cutoff=0.5)
    hint = f"Did you mean {' or '.join(near)}?" if near else f"Those people change: {', '.join(SHORT)}."
    raise Fail(f"set {name}: there is no such setting. {hint}")


def _model_of(path: tuple[str, ...]) -> Any:
    """The type of a setting, None where there is no such one or it is a whole table."""
    current: Any = YardFile
    for n, part in enumerate(path):
        if _is_model(current):
            field = current.model_fields.get(part)
            if field is None or field.exclude:
                return None
            current = _inner(field.annotation)
        elif n and getattr(current, "__origin__", None) is dict and part:
            current = _inner(get_args(current)[1])
        else:
            return None
    return None if _is_table(current) else current


def _is_model(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def _is_table(kind: Any) -> bool:
    return _is_model(kind) or getattr(kind, "__origin__", None) in (dict, tuple)


def _inner(annotation: Any) -> Any:
    """The model, dict or tuple inside "X | None" and the like; else the annotation as it stands."""
    if _is_table(annotation):
        return annotation
    return next((found for arg in get_args(annotation) if _is_table(found := _inner(arg))), annotation)


def _known(model: type[BaseModel] = YardFile, above: str = "") -> list[str]:
    out: list[str] = []
    for name, field in model.model_fields.items():
        inner = _inner(field.annotation)
        if field.exclude or getattr(inner, "__origin__", None) in (dict, tuple):
            continue
        out += _known(inner, f"{above}{name}.") if _is_model(inner) else [f"{above}{name}"]
    return out


# ------------------------------------------------------------------ which value


def _candidates(path: tuple[str, ...], said: str) -> list[Value]:
    """The values that may be meant, likeliest first; the checked model decides."""
    key, kind = ".".join(path), str(_model_of(path))
    if key in TIMES:
        return [_clock(key, said)]
    out: list[Value] = []
    if "bool" in kind and said.casefold() in YES:
        out.append(YES[said.casefold()])
    try:
        read = tomllib.loads(f"v = {said}")["v"]
    except tomllib.TOMLDecodeError:
        read = None
    if isinstance(read, int | float | str) and not isinstance(read, bool):
        out.append(read)
    number = said.replace(",", ".") if re.fullmatch(r"-?\d+,\d+", said) else said
    if re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)", number):
        out.append(float(number) if "." in number else int(number))
    return [*out, said]


def _clock(key: str, said: str) -> str:
    """A time of the day as the file has it: 06:00."""
    match = re.fullmatch(r"(\d{1,2})(?:[:.](\d{2}))?\s*(am|pm)?", said.casefold())
    hour, minute = (int(match[1]), int(match[2] or 0)) if match else (99, 0)
    if match and match[3]:
        hour = hour % 12 + 12 * (match[3] == "pm") if 1 <= hour <= 12 else 99
    if hour > 23 or minute > 59:
        raise Fail(f"set {key} {said}: this is no time of the day; write it as 06:00")
    return f"{hour:02d}:{minute:02d}"


# ------------------------------------------------------------------ writing


def _written(file: Path, path: tuple[str, ...], said: str) -> tuple[Any, Any]:
    """Write the first value that the checked model accepts; what it was, what it is now."""
    for _ in range(TRIES):
        data = _read(file)
        text, now = _accepted(file, data.decode("utf-8-sig"), path, said)
        if _read(file) != data:
            continue  # somebody else has just changed it: look again
        mark = b"\xef\xbb\xbf" if data.startswith(b"\xef\xbb\xbf") else b""
        from scheduler.views.yard_edit import looked_up

        write_whole(file, mark + text.encode("utf-8"))
        return looked_up(data.decode("utf-8-sig"), path), now
    raise Fail(f"{file}: another program keeps changing it; try again", 1)


def _read(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise Fail(f"{file}: cannot be read ({error.strerror or error})", 1) from None


def _accepted(file: Path, text: str, path: tuple[str, ...], said: str) -> tuple[str, Value]:
    from scheduler.views.yard_edit import EditError, with_value

    trouble: Exception | None = None
    for value in _candidates(path, said):
        try:
            new = with_value(text, path, value)
            _check(file, new)
        except (EditError, SettingsError) as error:
            trouble = trouble or error
            continue
        return new, value
    raise Fail(f"Nothing was changed. {trouble}")


def _check(file: Path, text: str) -> None:
    """Let the same reader judge the new text that will read it."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        draft = Path(folder) / "yard.toml"
        draft.write_bytes(text.encode("utf-8"))
        try:
            load_yard(draft)
        except SettingsError as error:
            raise SettingsError(str(error).replace(str(draft), str(file))) from None
