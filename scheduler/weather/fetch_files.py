"""Files that are whole or not there, and packed bytes that cannot grow without end. An edge: files."""

from __future__ import annotations

import os
import tempfile
import zlib
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

__all__ = ["PART", "SIZE_LIMIT", "unpacked", "write_whole"]

SIZE_LIMIT = 5_000_000  # bytes of an unpacked answer
PART = ".part-"  # how the name of a file begins while it is being written


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that a reader sees all of it or nothing; an OSError when the disk does not take it."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=PART)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).replace(path)  # atomic: the folder never shows half a file
    except BaseException:
        with suppress(OSError):
            Path(temporary).unlink()
        raise


def unpacked(pieces: Iterable[bytes], limit: int, *, packed: bool) -> bytes:
    """The pieces in one; OverflowError as soon as they unpack to more than ``limit``, EOFError when cut."""
    unpack = zlib.decompressobj(31) if packed else None
    out = bytearray()
    for piece in pieces:
        out += unpack.decompress(piece, limit + 1 - len(out)) if unpack else piece
        if len(out) > limit:
            raise OverflowError
    if unpack and out and not unpack.eof:
        raise EOFError
    return bytes(out)
