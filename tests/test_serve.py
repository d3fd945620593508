"""The loop: a bell that keeps nothing, rounds that live through trouble, a log that stays small."""

from __future__ import annotations

import json
import logging
import os
import re
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from command_line import columns_of, fair, run, stored, yard_file
from notice_samples import Clock, mornings, notice, wants, yard_of

from scheduler import serve as serving
from scheduler.reminders import queue_outbox as outbox
from scheduler.serve import Bell, Runner, log_to
from scheduler.settings import load_yard
from scheduler.yard.store import open_store

ROOT = Path(__file__).parents[1]
WHEN = ("--at", "2025-11-03T06:00")


@pytest.fixture(autouse=True)
def _log_as_before() -> Iterator[None]:
    root = logging.getLogger("scheduler")
    before, level, raises = list(root.handlers), root.level, logging.raiseExceptions
    yield
    for handler in root.handlers:
        if handler not in before:
            handler.close()
    root.handlers, logging.raiseExceptions = before, raises
    root.setLevel(level)


def runner(folder: Path, clock: Clock) -> Runner:
    yard = yard_of(folder, '[[channel]]\nkind = "file"\npath = "notices.txt"')
    assert yard.path is not None
    return Runner(yard.path, clock=clock, plan=mornings)


# ------------------------------------------------------------------ rounds


def test_a_runner_goes_on_through_days_and_writes_each_morning_once(tmp_path: Path) -> None:
    clock = Clock()
    runs = runner(tmp_path, clock)
    for _ in range(3 * 24):
        assert runs.ring() is not None
        clock.goes(timedelta(hours=1))
    text = (tmp_path / "notices.txt").read_text(encoding="utf-8")
    assert text.count("Seal today, morning/2025-11-0") == 3
    assert not runs.health()["ok"], "an hour without a round"
    runs.ring()
    assert runs.health()["ok"]
    runs.close()


def test_a_changed_yard_file_is_taken_up_and_one_at_fault_is_not(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    runs = runner(tmp_path, Clock())
    text = runs.file.read_text(encoding="utf-8")
    runs.file.write_text(text.replace("Test yard", "Old mill"), encoding="utf-8")
    os.utime(runs.file, ns=(1, 1))
    runs.ring()
    assert runs.yard.yard.name == "Old mill"
    runs.file.write_text("this is no yard file", encoding="utf-8")
    os.utime(runs.file, ns=(2, 2))
    assert runs.ring() is not None
    assert runs.yard.yard.name == "Old mill"
    assert "the changed yard file is not used" in caplog.text
    runs.close()


def test_trouble_is_told_once_and_ends_when_it_ends(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    clock = Clock()
    runs = runner(tmp_path, clock)
    (tmp_path / "coatcast.db").mkdir()
    for _ in range(3):
        assert runs.ring() is None
    assert runs.trouble is not None
    assert not runs.health()["ok"]
    assert caplog.text.count("coatcast.db") == 1
    (tmp_path / "coatcast.db").rmdir()
    assert runs.ring() is not None
    assert runs.trouble is None
    runs.close()


def test_a_fault_of_the_program_in_one_round_does_not_stop_the_next(tmp_path: Path) -> None:
    calls = []

    def plan(*words: object) -> object:
        calls.append(1)
        if len(calls) == 1:
            raise KeyError("a secret word")
        return wants()(*words)

    runs = Runner(yard_of(tmp_path).path or Path(), clock=Clock(), plan=plan)  # type: ignore[arg-type]
    assert runs.ring() is None
    assert runs.trouble == "This round broke down (KeyError); please report this."
    assert runs.ring() is not None
    runs.close()


@pytest.mark.parametrize(
    ("pragma", "said"),
    [("max_page_count = 1", "the disk is full"), ("query_only = 1", "it can be read only")],
)
def test_a_full_disk_and_a_database_that_can_only_be_read_are_said_and_what_was_kept_stays(
    pragma: str, said: str, tmp_path: Path
) -> None:
    clock = Clock()
    runs = runner(tmp_path, clock)
    runs.ring()
    with open_store(runs.yard.store_url) as store:
        before = outbox.rows(store, "yard")
    spoilt = open_store(runs.yard.store_url)
    sa.event.listen(spoilt.engine, "connect", lambda raw, _: raw.execute(f"PRAGMA {pragma}").close())
    runs._store = spoilt
    runs._plan = wants(*[notice(f"a/{n}", subject="x" * 200_000) for n in range(3)])
    clock.goes(timedelta(hours=1))
    assert runs.ring() is None
    assert said in (runs.trouble or "")
    runs._plan = mornings
    assert runs.ring() is not None, "it opens the database anew and goes on"
    with open_store(runs.yard.store_url) as store:
        assert outbox.rows(store, "yard") == before
    runs.close()


# ------------------------------------------------------------------ the bell


def test_the_bell_rings_at_once_then_again_and_keeps_nothing() -> None:
    rung: list[float] = []
    bell = Bell(lambda: rung.append(time.monotonic()), 0.05, blocking=False)
    bell.start()
    [job] = bell.scheduler.get_jobs()
    assert (job.coalesce, job.max_instances, job.misfire_grace_time) == (True, 1, None)
    until = time.monotonic() + 5
    while len(rung) < 3 and time.monotonic() < until:
        time.sleep(0.01)
    bell.stop()
    assert len(rung) >= 3


def test_a_round_that_fails_or_takes_too_long_does_not_silence_the_bell(
    caplog: pytest.LogCaptureFixture,
) -> None:
    rung: list[int] = []

    def slow() -> None:
        rung.append(1)
        if len(rung) == 1:
            time.sleep(0.15)
        raise ValueError("no")

    bell = Bell(slow, 0.05, blocking=False)
    bell.start()
    until = time.monotonic() + 5
    while len(rung) < 3 and time.monotonic() < until:
        time.sleep(0.01)
    bell.stop()
    assert len(rung) >= 3
    assert "a round broke down: ValueError" in caplog.text
    assert "has not ended yet" in caplog.text


def test_the_library_of_the_bell_is_loaded_only_by_serve() -> None:
    code = (
        "import sys, scheduler.cli, scheduler.service, scheduler.tick; sys.exit('apscheduler' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


# ------------------------------------------------------------------ the log


def test_the_log_begins_anew_and_keeps_a_few_old_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serving, "LOG_SIZE", 2000)
    log_to(tmp_path / "coatcast.log")
    for n in range(1000):
        logging.getLogger("scheduler.tick").info("round %d", n)
    files = sorted(p.name for p in tmp_path.iterdir())
    assert files == ["coatcast.log", *(f"coatcast.log.{n}" for n in range(1, serving.LOG_COUNT + 1))]
    assert all(p.stat().st_size <= 2000 for p in tmp_path.iterdir())
    assert "round 999" in (tmp_path / "coatcast.log").read_text(encoding="utf-8")


def test_where_no_log_can_be_written_the_service_still_runs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log_to(tmp_path / "nowhere" / "coatcast.log")
    logging.getLogger("scheduler.tick").warning("still heard")
    said = capsys.readouterr().err
    assert "no log can be written there" in said


# ------------------------------------------------------------------ the whole, as it is started


def test_serve_starts_answers_health_and_stops_when_asked(tmp_path: Path) -> None:
    file = yard_file(tmp_path)
    port = free_port()
    words = [sys.executable, "-m", "scheduler.cli", "serve", "--yard", str(file), "--port", str(port)]
    process = subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        found = health_of(port)
        assert found["ok"]
        assert found["last_round"] is not None
    finally:
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate(timeout=20)
    assert process.returncode == 0, err
    assert "Nothing is looked at or sent while this computer sleeps." in out
    assert "stopped" in (tmp_path / "coatcast.log").read_text(encoding="utf-8")


def free_port() -> int:
    import socket

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def health_of(port: int) -> dict[str, object]:
    until = time.monotonic() + 20
    while True:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/health", timeout=5) as answer:
                return dict(json.load(answer))
        except (OSError, urllib.error.HTTPError):
            if time.monotonic() > until:
                raise
            time.sleep(0.1)


# ------------------------------------------------------------------ the command tick


def test_a_round_by_cron_says_what_it_did_and_the_second_finds_nothing_to_do(tmp_path: Path) -> None:
    file = yard_file(tmp_path)
    assert run("log", "add", "walnut 22in 8ft cut saturday", "--yard", file, *WHEN).code == 0
    answer = stored(tmp_path, columns_of(fair()))
    words = ("tick", "--yard", file, "--forecast", answer, "--issued", "2025-11-03T04:00", *WHEN)
    first = run(*words, "--json")
    assert first.code == 0
    found = first.json()
    assert found["planned"]
    assert found["reminders"]["added"] > 0
    again = run(*words, "--json").json()
    assert again["reminders"] == {"added": 0, "moved": 0, "cancelled": 0, "finished": 0}
    assert again["put"] == []
    with open_store(load_yard(file).store_url) as store:
        assert store.reminders("yard")


def test_a_round_without_a_forecast_says_why_and_keeps_the_jobs(tmp_path: Path) -> None:
    file = yard_file(tmp_path)
    assert run("log", "add", "walnut 22in 8ft cut saturday", "--yard", file, *WHEN).code == 0
    ran = run("tick", "--yard", file, *WHEN)
    assert ran.code == 0
    assert "names no endpoint" in ran.err


# ------------------------------------------------------------------ what the documents give to copy


def test_the_settings_in_the_readme_and_in_the_example_are_settings(tmp_path: Path) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```toml\n(.*?)^```", readme, re.MULTILINE | re.DOTALL)
    assert blocks
    for block in blocks:
        yard = load_yard(yard_file(tmp_path, block))
        assert [c.kind for c in yard.channels] == ["email", "push", "alive"]
    example = (ROOT / "config" / "yard.example.toml").read_text(encoding="utf-8")
    (tmp_path / "example.toml").write_text(example, encoding="utf-8")
    assert load_yard(tmp_path / "example.toml").notice.quiet == "20:00-05:30"


def test_unit_and_container_start_the_command_with_options_that_exist() -> None:
    unit = (ROOT / "demo" / "coatcast.service").read_text(encoding="utf-8")
    container = (ROOT / "demo" / "Containerfile").read_text(encoding="utf-8")
    options = run("serve", "--help").out
    started = re.findall(r"coatcast serve (.*)", unit.split("[Service]")[1])
    started += [" ".join(json.loads(container.split("\nCMD ")[-1])[2:])]
    for words in started:
        for option in re.findall(r"--[a-z]+", words):
            assert option in options
    assert "8732/health" in container
    assert "8732" in options
