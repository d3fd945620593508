"""Tags and ends as people write them: finding, listing, giving the next one."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence

from scheduler.yard.entries import YardError
from scheduler.yard.facts import Log, Register
from scheduler.yard.telling import and_list

__all__ = ["check_tag", "find_ends", "find_log", "nearest", "next_tag", "parse_tags"]

FIRST_TAG = "L01"
_NUMBERED = re.compile(r"^(.*?)(\d+)$")
_TAG = re.compile(r"^[^\W_][\w./-]{0,23}$")
_RANGE = re.compile(r"^(.*?)(\d+)-(\D*?)(\d+)$")


def nearest(wrong: str, known: Iterable[str]) -> str | None:
    """The known name that looks most like ``wrong``, letter case aside."""
    by_fold = {name.casefold(): name for name in known}
    close = difflib.get_close_matches(wrong.casefold(), by_fold, 1, cutoff=0.5)
    return by_fold[close[0]] if close else None


def find_log(register: Register, tag: str) -> Log:
    """The log of that tag; an error names the nearest tag."""
    log = register.log(tag)
    if log is not None:
        return log
    near = nearest(tag, (log.tag for log in register.logs))
    if near:
        raise YardError(f"There is no log {tag}. Did you mean {near}?")
    if not register.logs:
        raise YardError(f"There is no log {tag}: the register is empty. Add one with: coatcast log add")
    raise YardError(f"There is no log {tag}. See them with: coatcast log list")


def parse_tags(text: str, register: Register, first: Sequence[str] = ()) -> tuple[str, ...]:
    """ "H01,H03,H05-H07" or "@first" as tags of logs that are there, each once, in the order written.

    A range passes over numbers that are not in use and logs that are gone; ``first`` is the list that
    today's notice gave.
    """
    found: dict[str, None] = {}
    parts = [part for part in re.split(r"[,;\s]+", text.strip()) if part]
    if not parts:
        raise YardError("Say which logs: a tag such as H01, several as H01,H03,H05-H07, or @first.")
    for part in parts:
        if part.casefold() == "@first":
            found.update(dict.fromkeys(_first(register, first)))
        elif (log := register.log(part)) is not None:
            found[log.tag] = None
        elif (match := _RANGE.match(part)) is not None:
            found.update(dict.fromkeys(_range(register, part, match)))
        else:
            found[find_log(register, part).tag] = None
    return tuple(found)


def _first(register: Register, first: Sequence[str]) -> list[str]:
    tags = [log.tag for tag in first if (log := register.log(tag)) is not None and log.state != "gone"]
    if not tags:
        raise YardError(
            "@first stands for the list of today's notice, and that list is empty. Name the tags."
        )
    return tags


def _range(register: Register, part: str, match: re.Match[str]) -> list[str]:
    prefix, low, second, high = match.groups()
    if second and second.casefold() != prefix.casefold():
        raise YardError(f"'{part}' runs from one kind of tag to another. Write for example H05-H07.")
    if not second and len(low) != len(high):
        find_log(register, part)  # looks like a piece of a divided log
    if int(high) < int(low):
        raise YardError(f"'{part}' runs backwards. Write the lower tag first: {prefix}{high}-{prefix}{low}.")
    ends = [f"{prefix}{low}", f"{second or prefix}{high}"]
    for tag in ends:
        find_log(register, tag)
    numbered = [(int(m[2]), log.tag) for log in register.present if (m := _like(log.tag, prefix)) is not None]
    tags = [tag for number, tag in sorted(numbered) if int(low) <= number <= int(high)]
    if not tags:
        raise YardError(f"All logs of {part} are gone.")
    return tags


def _like(tag: str, prefix: str) -> re.Match[str] | None:
    match = _NUMBERED.match(tag)
    return match if match is not None and match[1].casefold() == prefix.casefold() else None


def next_tag(tags: Iterable[str]) -> str:
    """The next free number after ``tags`` (in the order they were given), with the prefix last used.

    Pieces of divided logs do not count.
    """
    all_tags = list(tags)
    known = {tag.casefold() for tag in all_tags}
    plain = [m for tag in all_tags if not _is_piece(tag, known) and (m := _NUMBERED.match(tag)) is not None]
    if not plain:
        return FIRST_TAG
    prefix = plain[-1][1]
    same = [m[2] for m in plain if m[1].casefold() == prefix.casefold()]
    number, width = max(int(digits) for digits in same) + 1, max(len(digits) for digits in same)
    return f"{prefix}{number:0{width}d}"


def _is_piece(tag: str, known: set[str]) -> bool:
    stem, dash, digits = tag.rpartition("-")
    return bool(dash) and digits.isdigit() and stem.casefold() in known


def check_tag(tag: str) -> str | None:
    """What is wrong with a new tag, or None."""
    if not _TAG.match(tag):
        return f"'{tag}' cannot be a tag: use letters, figures, dot and dash, at most 24, no blanks."
    match = _RANGE.match(tag)
    if match is not None and match[3]:
        return f"'{tag}' reads like a range of tags. Give it a tag such as {match[1]}{match[2]}."
    return None


def find_ends(log: Log, names: Sequence[str]) -> tuple[str, ...]:
    """The ends of those names, each once; an error names the nearest."""
    known = {end.name.casefold(): end.name for end in log.ends}
    found: dict[str, None] = {}
    for name in names:
        if name.casefold() == "both":
            found.update(dict.fromkeys(known.values()))
        elif name.casefold() in known:
            found[known[name.casefold()]] = None
        else:
            near = nearest(name, known.values())
            hint = f" Did you mean {near}?" if near else f" It has {and_list(known.values())}."
            raise YardError(f"{log.tag} has no end '{name}'.{hint}")
    return tuple(found)
