"""Running the page: what is printed, what a taken port says, the page beside the rounds in one process."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from http.cookiejar import CookieJar
from pathlib import Path

import pytest
from command_line import yard_file
from page_browser import Browser
from page_samples import demo_yard, entries_of, page_app

from scheduler.web import run
from scheduler.web.keys import keys_of

ROOT = Path(__file__).parents[2]


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def asked(
    url: str, opener: urllib.request.OpenerDirector | None = None, waits_for: int | None = None
) -> tuple[int, str]:
    """An answer, waited for until something listens there, and answers so."""
    until = time.monotonic() + 30
    get = urllib.request.build_opener().open if opener is None else opener.open
    while True:
        try:
            with get(url, timeout=20) as answer:
                return answer.status, answer.read().decode("utf-8")
        except urllib.error.HTTPError as error:
            with error:
                if waits_for in (None, error.code) or time.monotonic() > until:
                    return error.code, error.read().decode("utf-8")
            time.sleep(0.1)
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.1)


# ------------------------------------------------------------------ what is printed


def test_without_the_wifi_the_address_is_plain_and_the_other_way_is_named(tmp_path: Path) -> None:
    lines = run.told(yard_file(tmp_path), 8732, lan=False)
    assert lines[0] == "The page: http://localhost:8732/"
    assert "--lan" in lines[1]
    assert not (tmp_path / "yard.keys").exists(), "no secret is made before one is needed"


def test_on_the_wifi_address_secret_code_and_warning_are_printed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run, "addresses", lambda: ["192.168.1.20"])
    file = yard_file(tmp_path)
    lines = run.told(file, 8732, lan=True)
    address = f"http://192.168.1.20:8732/in/{keys_of(file).page}"
    assert address in lines[0]
    assert sum("█" in line for line in lines) > 10
    assert "nothing is encrypted" in "\n".join(lines)


def test_the_printed_code_is_read_back_as_the_address() -> None:
    zxing = pytest.importorskip("zxingcpp", reason="no zxing-cpp: the code is not read back")
    numpy = pytest.importorskip("numpy")
    address = "http://192.168.1.20:8732/in/vGXBXNXkisAW6tGI1pUa7X2BdudWmXDb"
    dark = {
        "█": (0, 0),
        "▀": (0, 1),
        "▄": (1, 0),
        " ": (1, 1),
    }  # upper and lower half of a letter, light is 0
    lines = run.qr_lines(address)
    wide = max(map(len, lines))
    rows = [[dark[letter][half] for letter in line.ljust(wide)] for line in lines for half in (0, 1)]
    cells = numpy.pad(numpy.array(rows, dtype=numpy.uint8), 4)
    picture = numpy.kron(numpy.where(cells == 1, 0, 255), numpy.ones((6, 6))).astype(numpy.uint8)
    assert [code.text for code in zxing.read_barcodes(picture)] == [address]


def test_without_any_network_the_page_is_still_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "addresses", list)
    assert run.told(yard_file(tmp_path), 8732, lan=True)[0].startswith("No network is found")


def test_the_public_address_of_the_yard_file_is_printed_with_its_secret(tmp_path: Path) -> None:
    file = yard_file(tmp_path, '[page]\naddress = "https://mill.example"')
    assert f"From outside, once: https://mill.example/in/{keys_of(file).page}" in run.told(
        file, 8732, lan=False
    )


def test_a_taken_port_is_told_with_the_next_one(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = int(taken.getsockname()[1])
        with pytest.raises(OSError, match=rf"Port {port} cannot be used .* --port {port + 1}"):
            run.run_page(yard_file(tmp_path), port=port, say=lambda _line: None)


def test_addresses_are_those_of_this_computer_and_never_the_loopback() -> None:
    assert not [one for one in run.addresses() if one.startswith("127.")]


# ------------------------------------------------------------------ as it is started


def started(file: Path, *more: str) -> tuple[subprocess.Popen[str], int]:
    port = free_port()
    words = [sys.executable, "-m", "scheduler.cli", "serve", "--yard", str(file), "--port", str(port), *more]
    return subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True), port


def test_one_process_runs_the_rounds_and_the_page_and_stops_when_asked(tmp_path: Path) -> None:
    file = demo_yard(tmp_path)
    process, port = started(file)
    try:
        status, html = asked(f"http://127.0.0.1:{port}/")
        assert status == 200
        assert "Unknown" in html, "this yard file names no service, so nothing is guessed"
        status, said = asked(f"http://127.0.0.1:{port}/health", waits_for=200)
        assert status == 200
        assert '"page":true' in said
        assert '"last_round"' in said
    finally:
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate(timeout=30)
    assert process.returncode == 0, err
    assert f"The page: http://localhost:{port}/" in out
    assert "Traceback" not in err
    log = (tmp_path / "coatcast.log").read_text(encoding="utf-8")
    assert log.rstrip().endswith("stopped"), "the round in hand is finished, not cut off"


def test_who_listens_for_others_asks_them_for_the_secret(tmp_path: Path) -> None:
    """A container listens on all addresses without ``--lan``; that must not open the page to all."""
    file = yard_file(tmp_path)
    process, port = started(file, "--host", "0.0.0.0")
    try:
        assert asked(f"http://127.0.0.1:{port}/health", waits_for=200)[0] == 200
        assert asked(f"http://127.0.0.1:{port}/")[0] == 403
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        assert asked(f"http://127.0.0.1:{port}/in/{keys_of(file).page}", opener)[0] == 200
        assert asked(f"http://127.0.0.1:{port}/logs", opener)[0] == 200
    finally:
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=30)
    assert process.returncode == 0, err
    assert "for phones on the same network" in out or "No network is found" in out


# ------------------------------------------------------------------ trouble, and many at once


def test_a_record_that_cannot_be_read_is_said_and_nothing_breaks(tmp_path: Path) -> None:
    page = Browser(page_app(tmp_path))
    page.app.state.room.desk.close()  # type: ignore[attr-defined]
    for part in tmp_path.glob("coatcast.db*"):
        part.unlink()
    (tmp_path / "coatcast.db").write_bytes(b"this is no database " * 500)
    page.open("/")
    assert page.status == 503
    assert "Not now" in page.text
    assert "Traceback" not in page.html
    assert page.client.get("/health").status_code == 503


def test_a_fault_of_ours_is_told_in_a_sentence_and_written_down(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    page = Browser(page_app(tmp_path))

    def broken() -> None:
        raise ZeroDivisionError("a secret number")

    monkeypatch.setattr(page.app.state.room.desk, "view", broken)  # type: ignore[attr-defined]
    page.open("/")
    assert page.status == 500
    assert "What you had noted before is kept" in page.text
    assert "secret number" not in page.html
    assert "default-src 'none'" in page.client.get("/").headers["content-security-policy"]
    assert "a secret number" in caplog.text


def test_the_same_form_from_many_hands_at_once_is_one_entry(tmp_path: Path) -> None:
    page = Browser(page_app(tmp_path)).open("/")
    pairs = page.filled("/note", "Coated", tag="H01")
    before = len(entries_of(tmp_path))
    with ThreadPoolExecutor(6) as hands:
        done = list(hands.map(lambda _n: page.another().send("/note", pairs).status, range(12)))
    assert done == [200] * 12
    assert len(entries_of(tmp_path)) == before + 1


def test_different_taps_at_once_are_all_kept(tmp_path: Path) -> None:
    page = Browser(page_app(tmp_path))
    before = len(entries_of(tmp_path))
    ready = threading.Barrier(4)

    def tap(tag: str) -> int:
        hand = page.another().open(f"/log/{tag}")
        ready.wait(20)
        return hand.tap("/note", "Coated").status

    with ThreadPoolExecutor(4) as hands:
        assert list(hands.map(tap, ("H01", "H03", "H04", "H11"))) == [200] * 4
    assert len(entries_of(tmp_path)) == before + 4


def test_the_morning_is_worked_out_behind_a_tap_and_shown_on_the_next_page(tmp_path: Path) -> None:
    later: list = []
    page = Browser(page_app(tmp_path, behind=later.append)).open("/")
    page.tap("/note", "Coated", tag="H01")
    assert len(later) == 1, "one at a time"
    later.pop()()
    assert "H01 is still milky" in page.open("/").text
    planned = page.open("/calendar").text
    assert "look" in planned, "and the reminders go with it"
