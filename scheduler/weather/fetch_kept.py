"""Answers of forecast services on disk: each the packed body and a small JSON beside it. An edge.

The name of a file begins with the time of the answer, so that a folder of
years is searched by names alone. Every answer is kept for 400 days, then the
first of each day: advice of the past can be had again, and a forecast be held
against what came.
"""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import re
import zlib
from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from scheduler.weather.fetch_files import PART, SIZE_LIMIT, unpacked, write_whole
from scheduler.weather.fetch_request import masked
from scheduler.weather.series import WeatherError

__all__ = [
    "SIZE_LIMIT",
    "Answer",
    "Kept",
    "keep",
    "kept",
    "kept_before",
    "last_kept",
    "newest_first",
    "prune",
    "renew",
    "unpacked",
]

EVERY_ANSWER = timedelta(days=400)  # how long every answer is kept; of older ones the first of a day
HALF_DONE = timedelta(days=1)  # what is still half written after so long will never be whole
STAMP = "%Y%m%dT%H%M%SZ"
ABOUT, BODY = ".meta.json", ".json.gz"
_NAME = re.compile(r"(\d{8}T\d{6}Z)-[0-9a-f]{8}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Answer:
    """What a service sent, unpacked, with where and when it was asked (UTC). Holds no secret.

    ``fetched`` is when this body came, ``checked`` when the service last said
    that it still holds, ``expires`` until when it need not be asked again.
    ``link`` is the address that the forecast came from where the service named
    it itself. ``notes`` belong into the provenance of the weather.
    """

    body: bytes = field(repr=False)
    address: str
    asked: str
    fetched: datetime
    status: int = 200
    etag: str | None = None
    last_modified: str | None = None
    checked: datetime | None = None  # None: never since it was fetched
    expires: datetime | None = None  # None: not said
    link: str | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Kept:
    """An answer on disk: what stands beside its body, and how to get that."""

    path: Path  # of the small JSON; the body lies beside it
    address: str
    asked: str
    fetched: datetime
    status: int
    etag: str | None
    last_modified: str | None
    digest: str
    checked: datetime | None = None
    expires: datetime | None = None
    link: str | None = None
    notes: tuple[str, ...] = ()
    written: datetime | None = None  # by the true clock, whatever time was played

    def load(self) -> Answer:
        """The whole answer; a WeatherError when the body is gone or damaged."""
        body_path = _body_path(self.path)
        try:
            body = unpacked([body_path.read_bytes()], SIZE_LIMIT, packed=True)
        except (OSError, EOFError, OverflowError, zlib.error):
            body = b""
        if hashlib.sha256(body).hexdigest() != self.digest:
            raise WeatherError(
                f"{body_path}: the kept answer is damaged. Delete it; a new one will be asked for."
            )
        return Answer(
            body=body,
            address=self.address,
            asked=self.asked,
            fetched=self.fetched,
            status=self.status,
            etag=self.etag,
            last_modified=self.last_modified,
            checked=self.checked,
            expires=self.expires,
            link=self.link,
            notes=self.notes,
        )


# ------------------------------------------------------------------ writing


def keep(answer: Answer, folder: Path, *, written: datetime | None = None) -> Path:
    """Write an answer into ``folder``: first the packed body, then a small JSON; each whole or not at all.

    Then what has become too old is thinned out (``prune``). ``written`` is the
    true time, now by default.

    Returns the path of the JSON. An OSError when the disk does not take it.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = written or datetime.now(UTC)
    fetched = answer.fetched.astimezone(UTC)
    digest = hashlib.sha256(answer.body).hexdigest()
    path = folder / f"{fetched.strftime(STAMP)}-{digest[:8]}{ABOUT}"
    write_whole(_body_path(path), gzip.compress(answer.body, mtime=0))
    # Last, as it vouches for the body.
    _write_about(path, answer, digest, written)
    with suppress(OSError):  # the answer is kept; the next one tries again
        prune(folder, min(written, fetched))
    return path


def renew(one: Kept, answer: Answer) -> None:
    """Write beside a kept body what its service says of it now: checked, until when, its validators."""
    _write_about(one.path, answer, one.digest, one.written)


def _write_about(path: Path, answer: Answer, digest: str, written: datetime | None) -> None:
    about = {
        "address": masked(answer.address),
        "asked": answer.asked,
        "fetched": _text_of(answer.fetched),
        "checked": _text_of(answer.checked),
        "expires": _text_of(answer.expires),
        "status": answer.status,
        "etag": answer.etag,
        "last_modified": answer.last_modified,
        "link": answer.link and masked(answer.link),
        "notes": list(answer.notes),
        "written": _text_of(written),
        "sha256": digest,
    }
    write_whole(path, json.dumps(about, indent=1, ensure_ascii=False).encode())


def _text_of(when: datetime | None) -> str | None:
    return None if when is None else when.astimezone(UTC).isoformat()


# ------------------------------------------------------------------ reading


def kept(folder: Path) -> list[Kept]:
    """All answers kept in ``folder``, the oldest first; what cannot be read is left out."""
    return sorted(newest_first(folder), key=lambda one: (one.fetched, one.path.name))


def newest_first(folder: Path, until: datetime | None = None) -> Iterator[Kept]:
    """The kept answers one by one from the newest on, each read when it is its turn.

    Only those fetched at or before ``until``, if given; what cannot be read is left out.
    """
    last = None if until is None else until.astimezone(UTC).strftime(STAMP)
    for name in sorted(_names(folder, ABOUT), reverse=True):
        if last is not None and name[: len(last)] > last:
            continue
        one = _about(folder / (name + ABOUT))
        if one is not None and (until is None or one.fetched <= until):
            yield one


def last_kept(folder: Path) -> Answer | None:
    """The newest kept answer that is whole, or None."""
    return _first_whole(newest_first(folder))


def kept_before(folder: Path, at: datetime) -> Answer | None:
    """The newest whole answer that was there at a time (aware), or None: what was known then."""
    return _first_whole(newest_first(folder, at))


def _first_whole(choice: Iterable[Kept]) -> Answer | None:
    for one in choice:
        with suppress(WeatherError):
            return one.load()
    return None


def _names(folder: Path, ending: str) -> list[str]:
    """Names of the files of one kind, without the ending."""
    try:
        with os.scandir(folder) as files:
            found = [file.name[: -len(ending)] for file in files if file.name.endswith(ending)]
    except OSError:
        return []
    return [name for name in found if _NAME.fullmatch(name)]


def _about(path: Path) -> Kept | None:
    try:
        about = json.loads(path.read_text(encoding="utf-8"))
        fetched = _time_of(about["fetched"])
        if fetched is None:
            return None
        return Kept(
            path=path,
            address=masked(str(about["address"])),
            asked=str(about["asked"]),
            fetched=fetched,
            status=int(about["status"]),
            etag=_header(about.get("etag")),
            last_modified=_header(about.get("last_modified")),
            digest=str(about["sha256"]),
            checked=_time_of(about.get("checked")),
            expires=_time_of(about.get("expires")),
            link=_header(about.get("link")),
            notes=tuple(str(note) for note in about.get("notes") or ()),
            written=_time_of(about.get("written")),
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError):
        return None


def _time_of(text: Any) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text).astimezone(UTC)


def _header(value: Any) -> str | None:
    """A text that may go into a header or an address again, or None."""
    return value if isinstance(value, str) and value.isprintable() and len(value) <= 1000 else None


def _body_path(path: Path) -> Path:
    return path.with_name(path.name.removesuffix(ABOUT) + BODY)


# ------------------------------------------------------------------ thinning out


def prune(folder: Path, now: datetime) -> int:
    """Thin out what is older than 400 days to the first whole answer of each day and address.

    Also takes away what a crash has left half done more than a day ago. Returns
    how many files were taken away. An OSError when the folder cannot be read.
    """
    now = now.astimezone(UTC)
    gone = 0
    for day in _crowded_days(folder, (now - EVERY_ANSWER).strftime(STAMP)):
        gone += sum(_remove(one.path) + _remove(_body_path(one.path)) for one in _too_many(folder, day))
    return gone + sum(_remove(path) for path in _half_done(folder, now - HALF_DONE))


def _crowded_days(folder: Path, before: str) -> list[list[str]]:
    """The names of each day with more than one answer, of days that lie wholly before a time."""
    days = defaultdict(list)
    for name in sorted(_names(folder, ABOUT)):
        if name[:8] < before[:8]:
            days[name[:8]].append(name)
    return [names for names in days.values() if len(names) > 1]


def _too_many(folder: Path, names: list[str]) -> Iterator[Kept]:
    """All but the first whole answer of each address; none where no answer is whole."""
    by_address = defaultdict(list)
    for name in names:
        if (one := _about(folder / (name + ABOUT))) is not None:
            by_address[one.address].append(one)
    for same in by_address.values():
        if len(same) == 1:
            continue
        first = next((one for one in same if _first_whole([one]) is not None), None)
        yield from (one for one in same if first is not None and one is not first)


def _half_done(folder: Path, before: datetime) -> list[Path]:
    """Bodies without the JSON that vouches for them, and parts of files, untouched since a time."""
    whole = set(_names(folder, ABOUT))
    paths = [folder / (name + BODY) for name in _names(folder, BODY) if name not in whole]
    paths += list(folder.glob(f"{PART}*"))
    out = []
    for path in paths:
        with suppress(OSError):  # another process was faster
            if path.stat().st_mtime < before.timestamp():
                out.append(path)
    return out


def _remove(path: Path) -> int:
    with suppress(OSError):
        path.unlink()
        return 1
    return 0
