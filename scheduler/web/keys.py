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
_MAKING = threading.Lock()
_KEPT_HERE: dict[Path, Keys] = {}


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
        made = _read(file) or _KEPT_HERE.get(file)
        if made is None:
            made = Keys(*(secrets.token_urlsafe(24) for _ in range(3)))
            _write(file, made, new=not file.exists())
            made = _read(file) or _KEPT_HERE.setdefault(
                file, made
            )  # where nothing can be written: till it ends
        return made


def change_feed(yard_file: Path) -> Keys:
    """Give the feed another address; the old one is dead at once."""
    file = _file(yard_file)
    new = replace(keys_of(yard_file), feed=secrets.token_urlsafe(24))
    _write(file, new)
    if file in _KEPT_HERE:
        _KEPT_HERE[file] = new
    return new


def _read(file: Path) -> Keys | None:
    with suppress(OSError, ValueError, TypeError):
        kept = Keys(**json.loads(file.read_text(encoding="utf-8")))
        if all(isinstance(x, str) and len(x) >= LEAST for x in asdict(kept).values()):
            return kept
    return None


def _write(file: Path, keys: Keys, *, new: bool = False) -> None:
    """Whole or not at all, for the owner's eyes only; a ``new`` file never replaces one made meanwhile."""
    with suppress(OSError):
        handle, part = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}-")
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            json.dump(asdict(keys), stream)
        try:
            if new:
                os.link(part, file)
                Path(part).unlink()
                return
        except FileExistsError:
            Path(part).unlink()
            return
        except OSError:  # a file system without links
            pass
        Path(part).replace(file)
