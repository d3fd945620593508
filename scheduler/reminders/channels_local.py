"""Notices that stay on this computer: a file, the screen, a command. An edge: files, screen, processes."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from contextlib import suppress
from pathlib import Path
from typing import IO

from scheduler.reminders.channels_secret import Mask, secret_of
from scheduler.reminders.channels_told import (
    Message,
    Outcome,
    Target,
    Trouble,
    label,
    later,
    never,
    one_line,
    sent,
)

__all__ = [
    "COMMAND_TIMEOUT",
    "check_command",
    "check_file",
    "check_screen",
    "send_command",
    "send_file",
    "send_screen",
]

COMMAND_TIMEOUT = 30.0  # s for a command to end
TAIL = 65_536  # bytes at the end of a file in which a repeat is looked for
MOST_WORDS = 4096  # bytes of a command's complaint that are kept
# Ends of a command that no repeat will change (BSD sysexits.h): wrong use, wrong data, no such person,
# no such host, not allowed, wrong settings; 126 and 127 are a shell's (POSIX): cannot be run, not found.
NO_USE = frozenset({64, 65, 67, 68, 77, 78, 126, 127})


# ------------------------------------------------------------------ a file


def send_file(target: Target, message: Message) -> Outcome:
    """Append a notice to a file: whole lines, on the disk when this returns, and a repeat only once.

    Raises
    ------
    Trouble
        When it could not be written; then nothing of it stands in the file.
    """
    path = _path(target)
    try:
        fresh = not path.exists()
        if not fresh and not path.is_file():
            return never(f"{target.path} is no ordinary file. Change path in yard.toml.")
        with path.open("a+b", buffering=0) as file:
            _lock(file)
            repeated = _append(file, message)
        if fresh:
            _sync_folder(path.parent)
    except OSError as error:
        raise Trouble(f"{target.path} cannot be written: {_why(error)}.", passing=True) from None
    return sent(f"{'stood already' if repeated else 'written'} in {target.path}")


def _path(target: Target) -> Path:
    if not target.path or not target.path.isprintable():
        raise Trouble(f'Channel {label(target)} names no file. Write path = "…" into yard.toml.')
    try:
        return Path(target.path).expanduser()
    except RuntimeError:  # no such home
        raise Trouble(f"{target.path} names a home that is not there. Change path in yard.toml.") from None


def _append(file: IO[bytes], message: Message) -> bool:
    """Write the block of a message behind what is there; True where it stood there already."""
    size = file.seek(0, os.SEEK_END)
    file.seek(max(0, size - TAIL))
    tail = file.read(TAIL)
    mark = f"  [{message.uid.replace('-', '')[:12]}]\n"
    if mark.encode() in tail:
        return True
    lines = message.text.split("\n")
    body = lines[1:] if lines[0].strip() == message.subject else lines
    head = f"{message.at:%Y-%m-%d %H:%M %z}  {message.subject}{mark}"
    block = head + "".join(f"    {line}".rstrip() + "\n" for line in body) + "\n"
    if tail and not tail.endswith(b"\n"):  # somebody's half line, or what was left of a power cut
        block = "\n" + block
    try:
        _write_all(file, block.encode())
        os.fsync(file.fileno())
    except OSError:
        with suppress(OSError):
            file.truncate(size)
        raise
    return False


def _write_all(file: IO[bytes], data: bytes) -> None:
    while data:
        data = data[file.write(data) :]


def _lock(file: IO[bytes]) -> None:
    """Keep another process of ours out while we write; where the system has no such lock, do without."""
    try:
        from fcntl import LOCK_EX, LOCK_NB, flock
    except ImportError:
        return
    try:
        flock(file.fileno(), LOCK_EX | LOCK_NB)
    except BlockingIOError:
        raise
    except OSError:
        return  # some network drives cannot lock


def _sync_folder(folder: Path) -> None:
    with suppress(OSError):  # not every system can
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def _why(error: OSError) -> str:
    """What the system says, in words for the person."""
    known = {
        errno.ENOSPC: "the disk is full",
        errno.EACCES: "it is not allowed",
        errno.EROFS: "the disk is read-only",
        errno.ENOENT: "there is no such folder",
        errno.ENOTDIR: "there is no such folder",
        errno.EWOULDBLOCK: "another process is writing to it",
    }
    return known.get(error.errno or 0) or os.strerror(error.errno or errno.EIO).lower()


def check_file(target: Target) -> str:
    """Whether a file can be written, without writing to it."""
    path = _path(target)
    folder = path.resolve().parent
    if not folder.is_dir():
        raise Trouble(f"there is no folder {folder}")
    if path.exists() and not path.is_file():
        raise Trouble(f"{target.path} is no ordinary file; change path in yard.toml")
    if not os.access(path if path.exists() else folder, os.W_OK):
        raise Trouble(f"{target.path} may not be written by this user")
    return f"writes to {target.path}"


# ------------------------------------------------------------------ the screen


def send_screen(message: Message) -> Outcome:
    """Print a notice; letters that the screen does not have become question marks."""
    coding = getattr(sys.stdout, "encoding", None) or "utf-8"
    text = message.whole.encode(coding, "replace").decode(coding, "replace")
    try:
        print(text, end="\n\n", flush=True)
    except (OSError, ValueError):
        return later("The screen is not there to be written to.")
    return sent("on the screen")


def check_screen() -> str:
    """There is always a screen, or something in its place."""
    return "prints to the screen"


# ------------------------------------------------------------------ a command


def send_command(target: Target, message: Message) -> Outcome:
    """Run a command with the notice on its standard input: a list of words, no shell.

    It finds ``COATCAST_ID`` (the same for a repeat), ``COATCAST_KIND``,
    ``COATCAST_SUBJECT`` and ``COATCAST_URGENT`` in its environment. Exit 0 is
    sent; those of ``NO_USE`` are never; every other, and no end in time, is later.

    Raises
    ------
    Trouble
        When it could not be run.
    """
    words = _words(target)
    mask = Mask(target, secret_of(target))
    limit = target.timeout_s or COMMAND_TIMEOUT
    with tempfile.TemporaryFile() as text:  # not a pipe: a command that does not read must not block us
        text.write((message.whole + "\n").encode())
        text.seek(0)
        process = _start(words, text, message)
        complaint = _Complaint(process)
        try:
            code = process.wait(limit)
        except subprocess.TimeoutExpired:
            return later(f"{_first(words)} did not end within {limit:g} s and was stopped.")
        finally:
            _stop(process)
            complaint.end()
    if code == 0:
        return sent(f"{_first(words)} ended well")
    said = mask(complaint.last_line)
    why = f"{_first(words)} " + (f"was stopped by signal {-code}" if code < 0 else f"ended with {code}")
    why += f': "{said}"' if said else "."
    return never(why) if code in NO_USE else later(why)


def _words(target: Target) -> tuple[str, ...]:
    words = target.command or ()
    if not words or not words[0] or any("\0" in word for word in words):
        raise Trouble(
            f'Channel {label(target)} names no command. Write command = ["program", "word"] into yard.toml.'
        )
    return (str(Path(words[0]).expanduser()) if words[0].startswith("~") else words[0], *words[1:])


def _first(words: tuple[str, ...]) -> str:
    """What is shown of a command: its name, not its words, of which one may be a secret."""
    return one_line(Path(words[0]).name, 40)


def _start(words: tuple[str, ...], text: IO[bytes], message: Message) -> subprocess.Popen[bytes]:
    facts = {
        "COATCAST_ID": message.uid,
        "COATCAST_KIND": one_line(message.kind, 40),
        "COATCAST_SUBJECT": message.subject,
        "COATCAST_URGENT": "yes" if message.urgent else "no",
    }
    try:
        return subprocess.Popen(
            words,
            stdin=text,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            env={**os.environ, **facts},
            start_new_session=True,  # so that what it starts can be stopped with it
        )
    except FileNotFoundError:
        raise Trouble(f"There is no command {_first(words)}. Mend command in yard.toml.") from None
    except PermissionError:
        raise Trouble(f"{_first(words)} may not be run. Make it executable (chmod +x).") from None
    except (OSError, ValueError) as error:
        passing = isinstance(error, OSError) and error.errno in {errno.ENOMEM, errno.EAGAIN, errno.ETXTBSY}
        raise Trouble(f"{_first(words)} cannot be run.", passing=passing) from None


def _stop(process: subprocess.Popen[bytes]) -> None:
    """Stop a command that has not ended, and what it has started."""
    if process.poll() is None:
        with suppress(OSError):
            if hasattr(os, "killpg"):
                os.killpg(process.pid, signal.SIGKILL)
            else:
                process.kill()
        process.wait()


class _Complaint:
    """What a command writes to standard error: its beginning kept, the rest read and dropped."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self._pipe = process.stderr
        self._kept = bytearray()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        assert self._pipe is not None
        with suppress(OSError, ValueError):
            while piece := os.read(self._pipe.fileno(), MOST_WORDS):
                self._kept += piece[: MOST_WORDS - len(self._kept)]
            self._pipe.close()

    def end(self) -> None:
        """Wait a moment for the last words; something left behind by the command may hold the pipe longer."""
        self._thread.join(0.5)

    @property
    def last_line(self) -> bytes:
        """The last line that says something."""
        lines = [line for line in bytes(self._kept).splitlines() if line.strip()]
        return lines[-1] if lines else b""


def check_command(target: Target) -> str:
    """Whether a command is there and may be run, without running it."""
    words = _words(target)
    secret_of(target)
    if shutil.which(words[0]) is None:
        raise Trouble(f"there is no command {words[0]} that may be run; mend command in yard.toml")
    return f"runs {_first(words)} with the notice on its standard input"
