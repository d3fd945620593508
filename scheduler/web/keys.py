"""The page's own secrets, in a file beside the yard file that only its owner may read.

They are not in the database, so that a copy of it gives nobody a way in. An
edge: reads and writes that file.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import tempfile
import threading
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from pathlib import Path

__all__ = ["Keys", "change_feed", "keys_of", "same"]

SUFFIX = ".keys"
LEAST = 20  # characters: shorter is no secret


@dataclass(frozen=True, slots=True)
class Keys:
    """Three secrets: into the page from other machines, in the feed's address, and under the forms."""

    page: str
    feed: str
    form: str

    def __repr__(self) -> str:
        """Nothing of them."""
        return "Keys(...)"

    @property
    def stamp(self) -> str:
        """What every form of the page carries and no other site can know."""
        return hmac.new(self.form.encode(), b"form", hashlib.sha256).hexdigest()[:32]

    @property
    def pass_word(self) -> str:
        """What the cookie holds; changes with the page's secret."""
        return hmac.new(self.form.encode(), self.page.encode(), hashlib.sha256).hexdigest()


# As last read, with the file's state, so that a request costs no parsing.
_READ: dict[Path, tuple[tuple[int, int, int], Keys]] = {}
_MAKING = threading.Lock()
_UNWRITTEN: dict[Path, Keys] = {}  # of folders that take nothing: they hold till the program ends


def same(one: str, other: str) -> bool:
    """Whether two secrets are equal, in a time that tells nothing."""
    return hmac.compare_digest(one.encode("utf-8", "replace"), other.encode("utf-8", "replace"))


def _file(yard_file: Path) -> Path:
    return yard_file.with_suffix(SUFFIX)


def keys_of(yard_file: Path) -> Keys:
    """The secrets of a yard's page, made at the first call; new ones where the file is damaged.

    Whoever asks at the same time, here or in another process, gets the same.
    """
    file = _file(yard_file)
    kept = _read(file)
    if kept is not None:
        return kept
    with _MAKING:
        found = _read(file) or _UNWRITTEN.get(file)
        if found is None:
            found = Keys(*(secrets.token_urlsafe(24) for _ in range(3)))
            with suppress(OSError):  # a folder that takes nothing is borne with
                _write(file, found, new=not file.exists())
            found = _read(file) or _UNWRITTEN.setdefault(file, found)
        return found


def change_feed(yard_file: Path) -> Keys:
    """Give the feed another address; the old one is dead at once, in a running page too.

    Raises
    ------
    OSError
        When the new one cannot be written: the old one lives on.
    """
    new = replace(keys_of(yard_file), feed=secrets.token_urlsafe(24))
    try:
        _write(_file(yard_file), new)
    except OSError as error:
        raise OSError(
            f"The new address cannot be written to {_file(yard_file).name} beside the yard file "
            f"({error.strerror or error}); the old address holds."
        ) from None
    return new


def _read(file: Path) -> Keys | None:
    with suppress(OSError, ValueError, TypeError):
        found = file.stat()
        state = (found.st_mtime_ns, found.st_ino, found.st_size)
        if file in _READ and _READ[file][0] == state:
            return _READ[file][1]
        kept = Keys(**json.loads(file.read_text(encoding="utf-8")))
        if all(isinstance(x, str) and len(x) >= LEAST for x in asdict(kept).values()):
            _READ[file] = (state, kept)
            return kept
    return None


def _write(file: Path, keys: Keys, *, new: bool = False) -> None:
    """Whole or not at all, for the owner's eyes only; a ``new`` file never replaces one made meanwhile."""
    handle, part = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}-")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            json.dump(asdict(keys), stream)
        if not (new and _linked(part, file)):
            Path(part).replace(file)
    finally:
        Path(part).unlink(missing_ok=True)


def _linked(part: str, file: Path) -> bool:
    """Whether there is a file of that name now, this one or another's; false on a disk without links."""
    try:
        os.link(part, file)
    except FileExistsError:
        return True
    except OSError:
        return False
    return True
