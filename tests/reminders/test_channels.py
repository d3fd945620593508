"""Messages, outcomes, and the channels that stay on this computer: a file, the screen, a command, Apprise."""

from __future__ import annotations

import errno
import json
import logging
import os
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from uuid import UUID

import pytest
from channel_samples import AT, NOW, SECRET, YARD, Declared, answers, notice, receiver, sends
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler import settings as yard_settings
from scheduler.reminders import channels, channels_local
from scheduler.reminders.channels import Attachment, Message, Outcome, carries_notices, check, longest
from scheduler.reminders.channels_secret import Mask
from scheduler.reminders.channels_told import MOST_ATTACHMENT, MOST_TEXT, Target, one_line
from scheduler.views.words import words_in

# ------------------------------------------------------------------ messages


@given(st.text())
@settings(max_examples=200)
def test_a_subject_is_one_printable_line_of_at_most_sixty_characters(text: str) -> None:
    try:
        message = Message("k", text, text, AT)
    except ValueError:
        assert not one_line(text, 60)
        return
    assert 1 <= len(message.subject) <= 60
    assert message.subject.isprintable()
    assert all(line.isprintable() for line in message.text.split("\n"))
    assert message.text
    message.whole.encode()
    json.loads(message.as_json(text))


@given(st.text(min_size=1).filter(str.strip), st.text(min_size=1).filter(str.strip))
def test_the_same_key_makes_the_same_id_and_another_key_another(one: str, other: str) -> None:
    first = Message(one, "a", "b", AT)
    again = Message(one, "c", "d", AT + timedelta(hours=1))
    assert first.uid == again.uid
    assert UUID(first.uid).version == 5
    if one.encode("utf-8", "replace") != other.encode("utf-8", "replace"):
        assert Message(other, "a", "b", AT).uid != first.uid


def test_the_id_of_a_key_never_changes() -> None:
    # Receivers know messages by it: a change would double every message in flight at an upgrade.
    assert notice().uid == "ab228cad-86bc-528e-b185-73751a8de2c7"


def test_what_is_no_message_is_refused() -> None:
    with pytest.raises(ValueError, match="needs a key"):
        Message(" ", "a", "b", AT)
    with pytest.raises(ValueError, match="offset"):
        Message("k", "a", "b", datetime(2025, 11, 3))  # noqa: DTZ001
    with pytest.raises(ValueError, match="subject or a text"):
        Message("k", "\n", " \r\n", AT)


def test_without_a_subject_the_first_line_is_it_and_without_a_text_the_subject() -> None:
    assert Message("k", "", "Seal H03\nfrom 9", AT).subject == "Seal H03"
    assert Message("k", "Seal H03", "", AT).text == "Seal H03"
    assert Message("k", "Seal H03", "", AT).whole == "Seal H03"


def test_what_is_too_long_is_cut_and_says_so() -> None:
    message = notice(text="a line\n" * 10_000, subject="x" * 100)
    assert len(message.text) <= MOST_TEXT
    assert message.text.endswith("a line\n… cut here")
    assert message.subject == "x" * 59 + "…"
    assert len(notice(text="x" * 50_000).text) <= MOST_TEXT


def test_an_attachment_too_large_is_left_out_and_the_text_says_so() -> None:
    message = notice(attachment=Attachment("coats.ics", bytes(MOST_ATTACHMENT + 1)))
    assert message.attachment is None
    assert message.text.endswith("coats.ics is left out: it is larger than 1 MB.")
    assert notice(attachment=Attachment("coats.ics", bytes(MOST_ATTACHMENT))).attachment is not None


def probe(yard: str, at: datetime) -> Message:
    words = words_in("en")
    return channels.test_message(
        yard, at, subject=words["reminder.test_subject"], text=words["reminder.test"]
    )


def test_a_test_message_says_that_it_is_one_and_two_are_no_repeat() -> None:
    first = probe("Ellerquern\nBcc: x", AT)
    second = probe("Ellerquern\nBcc: x", AT + timedelta(seconds=1))
    assert first.subject == "Coatcast test, 05:47"
    assert first.text.startswith("A test of Ellerquern Bcc: x, written 2025-11-03 05:47.\n")
    assert first.kind == "test"
    assert first.uid != second.uid
    assert probe(YARD, AT).uid == probe(YARD, AT.astimezone(UTC)).uid


# ------------------------------------------------------------------ all kinds


def test_the_yard_file_declares_all_that_a_channel_needs() -> None:
    fields = yard_settings.Channel.model_fields
    needed = {name for name, value in vars(Target).items() if isinstance(value, property)}
    if "host" not in fields:
        pytest.skip("settings.Channel does not declare mail and push yet")
    assert needed <= set(fields)


def test_a_kind_that_nobody_knows_is_never() -> None:
    outcome, found = sends(Declared("pigeon")), check(Declared("pigeon"))
    assert outcome.state == "never"
    assert "kind 'pigeon'" in outcome.why
    assert not found.ok


def test_a_fault_of_the_program_is_kept_from_the_queue_and_its_words_from_the_log(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: Any) -> Outcome:
        raise KeyError(SECRET)

    monkeypatch.setattr(channels, "send_screen", broken)
    monkeypatch.setattr(channels, "check_screen", broken)
    outcome = sends(Declared("screen", name="hut"))
    found = check(Declared("screen", name="hut"))
    assert outcome.state == "later"
    assert outcome.why == "Channel hut broke down (KeyError); please report this."
    assert found == (False, outcome.why)
    assert "KeyError in broken" in caplog.text
    assert SECRET not in caplog.text


def test_every_wait_has_an_end_and_a_slower_channel_a_later_one() -> None:
    assert all(longest(Declared(kind)) < 180 for kind in channels.KINDS)
    for kind in ("email", "push", "command", "alive", "apprise"):
        assert longest(Declared(kind, timeout_s=100.0)) > 100.0


def test_notices_go_through_all_channels_but_the_one_that_is_only_called() -> None:
    assert [kind for kind in channels.KINDS if not carries_notices(Declared(kind))] == ["alive"]
    assert channels.alive_message(NOW).kind == "alive"


# ------------------------------------------------------------------ secrets


@pytest.mark.parametrize("content", ["", "  \n", "two\nlines", "a\0b", "\udcff"])
def test_a_file_that_holds_no_secret_is_said(tmp_path: Path, content: str) -> None:
    (tmp_path / "token").write_bytes(content.encode("utf-8", "surrogateescape"))
    channel = Declared("push", address="https://push.invalid", secret_file=str(tmp_path / "token"))
    outcome = sends(channel)
    assert not outcome.ok
    assert str(tmp_path / "token") in outcome.why


def test_a_secret_file_that_is_away_may_come_back(tmp_path: Path) -> None:
    channel = Declared("push", address="https://push.invalid", secret_file=str(tmp_path / "token"))
    assert sends(channel).state == "later"


@pytest.mark.skipif(os.name != "posix", reason="file modes are POSIX's")
def test_a_secret_file_that_others_can_read_is_said(tmp_path: Path) -> None:
    path = tmp_path / "token"
    path.write_text("abcdef")
    channel = Declared("push", address="https://push.invalid", secret_file=str(path))
    path.chmod(0o644)
    assert "chmod 600" in check(channel, reach=False).said
    path.chmod(0o600)
    assert "chmod" not in check(channel, reach=False).said


@given(st.text(st.characters(min_codepoint=33, max_codepoint=0x2FF), min_size=4, max_size=40))
def test_a_mask_finds_a_secret_in_every_coding(secret: str) -> None:
    from base64 import b64encode
    from urllib.parse import quote, quote_plus

    if not secret.isprintable() or "*" in secret:
        return
    mask = Mask(Declared("push", address="https://example.org", user="log"), secret)
    forms = [secret, quote(secret), quote(secret, safe=""), quote_plus(secret), json.dumps(secret)[1:-1]]
    forms.append(b64encode(f"log:{secret}".encode()).decode())
    forms.append(b64encode(f"\0log\0{secret}".encode()).decode())
    for form in forms:
        assert form not in mask(f"it said {form} and went")


# ------------------------------------------------------------------ a file


def to_file(path: Path) -> Declared:
    return Declared("file", path=str(path))


def test_a_notice_is_appended_in_whole_lines(tmp_path: Path) -> None:
    path = tmp_path / "notices.txt"
    assert sends(to_file(path)).ok
    assert sends(to_file(path), notice("other", subject="Look at H09", text="Clear or milky?\n\nSay so.")).ok
    text = path.read_text(encoding="utf-8")
    first, second = text.split("\n\n", 1)
    assert first.splitlines()[0].startswith("2025-11-03 05:47 +0100  Seal: 9 to 1, first H03 walnut butt  [")
    assert first.splitlines()[1:] == ["    Takes rain by 14:30, past frost by 17:00."]
    assert second.splitlines()[1:4] == ["    Clear or milky?", "", "    Say so."]
    assert text.endswith("\n\n")


def test_the_same_notice_again_stands_in_the_file_once(tmp_path: Path) -> None:
    path = tmp_path / "notices.txt"
    assert sends(to_file(path)).ok
    before = path.read_bytes()
    outcome = sends(to_file(path))
    assert outcome.ok
    assert "stood already" in outcome.why
    assert path.read_bytes() == before


def test_half_a_line_of_a_power_cut_does_not_spoil_the_next(tmp_path: Path) -> None:
    path = tmp_path / "notices.txt"
    path.write_text("2025-11-02 half a li")
    assert sends(to_file(path)).ok
    assert path.read_text().splitlines()[:2][1].startswith("2025-11-03 05:47")


def test_a_notice_is_on_the_disk_before_it_counts_as_sent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[int] = []
    real = os.fsync
    monkeypatch.setattr(channels_local.os, "fsync", lambda number: (synced.append(number), real(number)))
    assert sends(to_file(tmp_path / "notices.txt")).ok
    assert len(synced) == 2  # the file, and the folder that has a new name in it


def test_on_a_full_disk_nothing_of_the_notice_is_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "notices.txt"
    path.write_text("before\n")
    sizes: list[int] = []

    def full(number: int) -> None:
        sizes.append(path.stat().st_size)
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(channels_local.os, "fsync", full)
    outcome = sends(to_file(path))
    assert outcome.state == "later"
    assert "the disk is full" in outcome.why
    assert sizes[0] > len("before\n")
    assert path.read_text() == "before\n"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs the device that is always full")
def test_a_device_is_no_file() -> None:
    assert sends(to_file(Path("/dev/full"))).state == "never"
    assert not check(to_file(Path("/dev/full"))).ok


def test_a_pipe_does_not_make_us_wait(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert sends(to_file(tmp_path / "pipe")).state == "never"


def test_a_folder_that_is_away_may_come_back(tmp_path: Path) -> None:
    channel = to_file(tmp_path / "stick" / "notices.txt")
    assert sends(channel).state == "later"
    assert "no such folder" in sends(channel).why
    assert "there is no folder" in check(channel).said
    (tmp_path / "stick").mkdir()
    assert check(channel).ok
    assert sends(channel).ok


def test_a_file_channel_without_a_file_is_never() -> None:
    assert sends(Declared("file")).state == "never"
    assert sends(Declared("file", path="~nobody-of-this-name/x")).state == "never"


def test_two_processes_that_write_at_once_keep_their_lines_whole(tmp_path: Path) -> None:
    path = tmp_path / "notices.txt"
    done: list[Outcome] = []

    def write(who: int) -> None:
        for n in range(20):
            message = notice(f"{who}/{n}", subject=f"from {who}", text=f"line {who}\n" * 20)
            while not (outcome := sends(to_file(path), message)).ok:
                assert outcome.state == "later"
            done.append(outcome)

    threads = [threading.Thread(target=write, args=(who,)) for who in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    blocks = path.read_text().strip().split("\n\n")
    assert len(blocks) == len(done) == 40
    for block in blocks:
        head, *lines = block.splitlines()
        who = head.split("from ")[1][0]
        assert lines == [f"    line {who}"] * 20


def test_a_file_that_another_process_is_writing_to_is_left_for_later(tmp_path: Path) -> None:
    fcntl = pytest.importorskip("fcntl", reason="needs locks of POSIX")
    path = tmp_path / "notices.txt"
    with path.open("a") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        outcome = sends(to_file(path))
    assert outcome.state == "later"
    assert "another process is writing" in outcome.why
    assert path.read_text() == ""
    assert sends(to_file(path)).ok


# ------------------------------------------------------------------ the screen


def test_a_notice_is_printed_without_what_could_move_the_cursor(capsys: pytest.CaptureFixture[str]) -> None:
    assert sends(Declared("screen"), notice(subject="Seal\x1b[2J", text="H03\x07\x9b1m walnut")).ok
    out = capsys.readouterr().out
    assert out == "Seal [2J\n\nH03  1m walnut\n\n"


def test_a_screen_that_is_not_there_is_later(monkeypatch: pytest.MonkeyPatch) -> None:
    class Gone:
        encoding = "ascii"
        said = ""

        def write(self, text: str) -> None:
            self.said += text

        def flush(self) -> None:
            raise BrokenPipeError

    gone = Gone()
    monkeypatch.setattr(sys, "stdout", gone)
    outcome = sends(Declared("screen"), notice(subject="Nuß", text="Nuß"))
    assert outcome.state == "later"
    assert gone.said == "Nu?\n\n"


# ------------------------------------------------------------------ a command


def python(code: str, *words: str, **changes: Any) -> Declared:
    return Declared("command", command=(sys.executable, "-c", code, *words), **changes)


def test_a_command_reads_the_notice_and_its_words_are_no_shells(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in [name for name in os.environ if name.startswith("COATCAST_")]:
        monkeypatch.delenv(name)  # such as those that tell these tests where things are
    code = (
        "import json, os, sys; json.dump([sys.stdin.buffer.read().decode(), sys.argv[1:], "
        "{k: v for k, v in os.environ.items() if k.startswith('COATCAST_')}], open(sys.argv[1], 'w'))"
    )
    out = tmp_path / "out"
    hostile = "$(touch x); `touch y` | z > w"
    assert sends(python(code, str(out), hostile), notice(subject="Nuß; $(id)", urgent=True)).ok
    told, words, facts = json.loads(out.read_text())
    assert told == notice(subject="Nuß; $(id)").whole + "\n"
    assert words[1] == hostile
    assert facts == {
        "COATCAST_ID": notice().uid,
        "COATCAST_KIND": "morning",
        "COATCAST_SUBJECT": "Nuß; $(id)",
        "COATCAST_URGENT": "yes",
    }
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize(
    ("code", "state"), [(0, "sent"), (1, "later"), (75, "later"), (64, "never"), (77, "never"), (78, "never")]
)
def test_the_end_of_a_command_decides(code: int, state: str) -> None:  # BSD sysexits.h
    script = (
        f"import sys; print('first', file=sys.stderr); print('no paper', file=sys.stderr); sys.exit({code})"
    )
    outcome = sends(python(script))
    assert outcome.state == state
    if code:
        assert f'ended with {code}: "no paper"' in outcome.why


def test_a_command_that_complains_with_the_secret_is_masked(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("YARD_SECRET", SECRET)
    script = "import os, sys; sys.exit('wrong: ' + os.environ['YARD_SECRET'])"
    outcome = sends(python(script, secret_env="YARD_SECRET"))
    assert outcome.why.endswith('ended with 1: "wrong: ***"')


def test_a_command_that_does_not_end_is_stopped_with_what_it_started(tmp_path: Path) -> None:
    alive = tmp_path / "alive"
    child = f"import time; time.sleep(0.7); open({str(alive)!r}, 'w')"
    script = (
        f"import subprocess, sys, time; subprocess.Popen([sys.executable, '-c', {child!r}]); time.sleep(9)"
    )
    began = time.monotonic()
    outcome = sends(python(script, timeout_s=0.3))
    assert outcome.state == "later"
    assert "did not end within 0.3 s" in outcome.why
    assert time.monotonic() - began < 2.0
    time.sleep(0.8)
    assert not alive.exists()


def test_a_command_that_floods_is_read_and_dropped() -> None:
    script = "import sys; [print('x' * 100_000, file=f) for f in (sys.stdout, sys.stderr) for _ in range(50)]"
    outcome = sends(python(script + "; sys.exit(3)"))
    assert outcome.state == "later"
    assert len(outcome.why) < 250


def test_a_command_that_leaves_something_running_with_its_output_is_not_waited_for() -> None:
    script = "import subprocess, sys; subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(2)'])"
    began = time.monotonic()
    assert sends(python(script)).ok
    assert time.monotonic() - began < 1.5


def test_a_command_that_does_not_read_is_not_waited_for() -> None:
    assert sends(python("pass"), notice(text="x" * 100 + "\n" + "long\n" * 3000)).ok


def test_a_command_that_cannot_be_run_is_never(tmp_path: Path) -> None:
    (tmp_path / "note").write_text("#!/bin/sh\n")
    (tmp_path / "note").chmod(0o600)
    cases = {
        "names no command": Declared("command"),
        "There is no command nowhere": Declared("command", command=("/no/nowhere",)),
        "may not be run": Declared("command", command=(str(tmp_path / "note"),)),
    }
    for said, channel in cases.items():
        outcome = sends(channel)
        assert outcome.state == "never"
        assert said in outcome.why
        assert not check(channel).ok
    assert check(python("pass")).ok


# ------------------------------------------------------------------ apprise


def test_without_apprise_it_is_said_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "apprise", None)
    channel = Declared("apprise", address="json://127.0.0.1/")
    outcome, found = sends(channel), check(channel)
    assert outcome.state == "never"
    assert outcome.why == "Apprise is not installed here. Install it with: pip install 'coatcast[apprise]'"
    assert found == (False, outcome.why)


class Stand:
    """Stands in for Apprise: knows addresses that begin with good://, and does as it is told."""

    def __init__(self, does: Any) -> None:
        self.does, self.told = does, []
        outer = self

        class Sender:
            def add(self, service: Any) -> bool:
                outer.told.append(service)
                return True

            def notify(self, **told: Any) -> Any:
                outer.told.append(told)
                return outer.does()

            @staticmethod
            def instantiate(url: str) -> str | None:
                logging.getLogger("apprise").error("Could not load %s", url)
                return url if url.startswith("good://") else None

        self.module = SimpleNamespace(Apprise=Sender)


def raises() -> bool:
    raise RuntimeError(SECRET)


@pytest.mark.parametrize(
    ("does", "state", "said"),
    [
        (lambda: True, "sent", "by Apprise"),
        (lambda: False, "later", "did not take the notice"),
        (lambda: None, "later", "did not take the notice"),
        (raises, "later", "did not take the notice"),
        (lambda: time.sleep(0.5), "later", "did not answer in time"),
    ],
)
def test_what_apprise_says_decides(
    does: Any, state: str, said: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    stand = Stand(does)
    monkeypatch.setitem(sys.modules, "apprise", stand.module)
    monkeypatch.setenv("YARD_SECRET", f"good://{SECRET}")
    outcome = sends(Declared("apprise", address="{secret}", secret_env="YARD_SECRET", timeout_s=0.2))
    assert outcome.state == state
    assert said in outcome.why
    assert stand.told[0] == f"good://{SECRET}"
    assert stand.told[1]["title"] == "Seal: 9 to 1, first H03 walnut butt"
    assert "Could not load ***" in caplog.text
    assert SECRET not in caplog.text + repr(outcome)


def test_an_address_that_apprise_does_not_know_is_never(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "apprise", Stand(lambda: True).module)
    outcome = sends(Declared("apprise", address="bad://x"))
    assert outcome.state == "never"
    assert "does not know the address" in outcome.why
    assert sends(Declared("apprise")).state == "never"


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # of its own modules
def test_the_real_apprise_hands_it_over() -> None:
    pytest.importorskip("apprise", reason="the extra is not installed")
    with receiver(answers(200)) as post:
        channel = Declared("apprise", address=f"json://{post.base.removeprefix('http://')}/x")
        assert check(channel).ok
        assert sends(channel).ok
        post.script = [answers(500)]
        assert sends(channel).state == "later"
    assert json.loads(post.asked[0].body)["title"] == "Seal: 9 to 1, first H03 walnut butt"
    assert not check(Declared("apprise", address="nothing://x")).ok
