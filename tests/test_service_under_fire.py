"""kill -9 at any moment, several services on one database: nothing is lost, nothing is told by two.

``COATCAST_KILLS=200`` kills at two hundred points instead of a dozen.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import shutil
import signal
import subprocess
import time
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from channel_samples import Receiver, answers, receiver
from notice_samples import AT, Clock, Post, Sample, notice, wants, yard_of
from reminder_samples import job, log, wanted

from scheduler.reminders import queue_outbox as outbox
from scheduler.reminders.channels import Message
from scheduler.settings import YardFile
from scheduler.tick import tick
from scheduler.yard import entries as make
from scheduler.yard.book import By
from scheduler.yard.facts import Moment
from scheduler.yard.store import open_store

KILLS = int(os.environ.get("COATCAST_KILLS", "12"))
FORK = multiprocessing.get_context("fork")
LOGS = 40
# The receiver's thread runs while children are forked; they use none of it. Python warns from 3.12 on.
pytestmark = pytest.mark.filterwarnings("ignore:.*multi-threaded:DeprecationWarning")


def served(folder: Path, to: Receiver, url: str | None = None) -> YardFile:
    """A yard that pushes to a receiver on this computer."""
    channel = f'[[channel]]\nkind = "push"\naddress = "{to.base}/yard"\n'
    return yard_of(folder, channel, "" if url is None else f'[store]\nurl = "{url}"')


def uid(yard: YardFile, key: str) -> str:
    """What the receiver knows a row by."""
    return Message(f"{yard.yard.key}/{key}", "x", "", AT).uid


def counted(to: Receiver) -> Counter[str]:
    return Counter(one.headers["Idempotency-Key"].strip('"') for one in to.asked)


@pytest.fixture(autouse=True)
def _no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")


# ------------------------------------------------------------------ kill -9


def load(n: int) -> tuple[list[Sample], object]:
    """What the n-th round wants: forty reminders that move, and notices in which they ride."""
    logs = [f"H{k:02}" for k in range(LOGS)]
    derived = wanted([job(tag=tag) for tag in logs], [log(tag) for tag in logs])
    keys = [w.key for w in derived.items]
    notices = [
        notice(f"look/{n}-{k}", due=AT, expires=AT + timedelta(days=30), reminder_keys=keys[k::5])
        for k in range(5)
    ]
    return notices, derived


def works(yard: YardFile, n: int, told: int) -> None:
    """A child that enters facts and runs rounds till it is killed; says through a pipe what is written."""
    with open_store(yard.store_url) as store:
        clock = Clock(AT + timedelta(hours=n))  # every child later than any lease of the last
        notices, derived = load(n)
        while True:
            done = store.append("yard", lambda _: [make.roof(By("yard", AT), "H01", Moment(AT))])
            os.write(told, f"{done[0].number}\n".encode())
            tick(store, yard, clock, plan=wants(*notices, derived=derived), force=True)
            clock.goes(timedelta(seconds=1))


def killed(yard: YardFile, n: int, after: float) -> int:
    """Run a child and kill it; the last entry that it was told is written."""
    reading, writing = os.pipe()
    child = FORK.Process(target=works, args=(yard, n, writing), daemon=True)
    child.start()
    os.close(writing)
    first = os.read(reading, 64)  # it is at work: from here on the moment of its death is counted
    time.sleep(after)
    assert child.pid is not None
    os.kill(child.pid, signal.SIGKILL)
    child.join()
    with os.fdopen(reading, "rb") as pipe:
        numbers = (first + pipe.read()).split(b"\n")[:-1]
    return int(numbers[-1])


def test_killed_at_any_moment_no_fact_and_no_message_is_lost_and_only_the_one_in_flight_comes_twice(
    tmp_path: Path,
) -> None:
    chance = random.Random(20251103)
    with receiver(answers(200)) as to:
        yard = served(tmp_path, to)
        open_store(yard.store_url).close()
        written = 0
        for n in range(KILLS):
            written = max(written, killed(yard, n, chance.uniform(0.0, 0.35)))
        with open_store(yard.store_url) as store:
            assert len(store.entries("yard")) >= written
            clock = Clock(AT + timedelta(hours=KILLS + 1))
            tick(store, yard, clock, plan=wants(derived=load(0)[1]), force=True)  # what is left over
            rows = outbox.rows(store, "yard")
            with store.reading() as connection:
                whole = connection.exec_driver_sql("PRAGMA integrity_check").scalar()
            told = store.reminders("yard")
        got = counted(to)
    assert whole == "ok"
    assert {row.state for row in rows} == {"sent"}
    assert got.keys() == {uid(yard, row.key) for row in rows}, "each was received, none was made up"
    assert sum(got.values()) - len(got) <= KILLS, "a kill repeats one message at most"
    assert len(told) == LOGS
    assert {row.state for row in told} == {"sent"}, "reminders of a notice that left count as told"
    if KILLS >= 100:
        repeated = sum(got.values()) - len(got)
        print(f"{KILLS} kills, {written} facts, {len(rows)} messages, {repeated} came twice")


def test_a_kill_between_sending_and_writing_it_down_repeats_the_message_under_the_same_key(
    tmp_path: Path,
) -> None:
    def sends_and_dies(yard: YardFile) -> None:
        with open_store(yard.store_url) as store:
            real = outbox.step

            def dies(*words: object, **names: object) -> object:
                if words[5:] and words[5] is not None:
                    os.kill(os.getpid(), signal.SIGKILL)
                return real(*words, **names)  # type: ignore[arg-type]

            outbox.step = dies  # type: ignore[assignment]
            tick(store, yard, Clock(), plan=wants(notice()), force=True)

    with receiver(answers(200)) as to:
        yard = served(tmp_path, to)
        open_store(yard.store_url).close()
        child = FORK.Process(target=sends_and_dies, args=(yard,))
        child.start()
        child.join()
        assert child.exitcode == -signal.SIGKILL
        with open_store(yard.store_url) as store:
            tick(store, yard, Clock(AT + timedelta(minutes=5)), plan=wants(notice()), force=True)
        assert [one.body for one in to.asked] == [to.asked[0].body] * 2
        assert counted(to) == {uid(yard, "morning/2025-11-03/push/1"): 2}


# ------------------------------------------------------------------ two services on one database


def races(yard: YardFile, notices: list[Sample], start: float) -> None:
    """A service among several: rounds till nothing is left."""
    time.sleep(max(0.0, start - time.monotonic()))
    with open_store(yard.store_url) as store:
        for _ in range(4):
            tick(store, yard, Clock(), plan=wants(*notices), force=True)


def raced(yard: YardFile, count: int, services: int) -> None:
    notices = [notice(f"look/{n}") for n in range(count)]
    open_store(yard.store_url).close()
    start = time.monotonic() + 0.2
    children = [FORK.Process(target=races, args=(yard, notices, start)) for _ in range(services)]
    for child in children:
        child.start()
    for child in children:
        child.join(60)
        assert child.exitcode == 0


def test_three_services_on_one_file_send_every_message_once(tmp_path: Path) -> None:
    with receiver(answers(200)) as to:
        yard = served(tmp_path, to)
        raced(yard, 60, 3)
        assert set(counted(to).values()) == {1}
        assert len(to.asked) == 60


# ------------------------------------------------------------------ PostgreSQL


@pytest.fixture(scope="module")
def postgres(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server of this test run; it will not run as root, so another user runs it there."""
    pytest.importorskip("psycopg", reason="the extra postgres is not installed")
    programs = {name: found_program(name) for name in ("initdb", "pg_ctl")}
    if None in programs.values():
        pytest.skip("there is no PostgreSQL server on this computer")
    base = tmp_path_factory.mktemp("pg", numbered=True)
    who: list[str] = []
    if os.getuid() == 0:
        if shutil.which("setpriv") is None:
            pytest.skip("PostgreSQL does not run as root, and there is no setpriv")
        who = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"]
        made = subprocess.run([*who, "mktemp", "-d"], check=True, capture_output=True, text=True)
        base = Path(made.stdout.strip())
    data = base / "data"

    def call(*words: str) -> None:
        subprocess.run([*who, *words], check=True, capture_output=True, cwd=base, timeout=60)

    call(str(programs["initdb"]), "-D", str(data), "-U", "yard", "-A", "trust", "--no-sync")
    options = f"-c listen_addresses='' -c unix_socket_directories='{base}' -c fsync=off"
    call(str(programs["pg_ctl"]), "-D", str(data), "-o", options, "-l", str(base / "log"), "-w", "start")
    try:
        yield f"postgresql+psycopg://yard@/postgres?host={base}"
    finally:
        call(str(programs["pg_ctl"]), "-D", str(data), "-m", "immediate", "stop")
        shutil.rmtree(base, ignore_errors=True)


def found_program(name: str) -> str | None:
    places = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    return shutil.which(name) or (str(places[-1]) if places else None)


def test_on_postgresql_too_every_message_is_sent_once_and_leases_and_moves_work(
    postgres: str, tmp_path: Path
) -> None:
    with receiver(answers(200)) as to:
        yard = served(tmp_path, to, postgres)
        raced(yard, 60, 3)
        assert set(counted(to).values()) == {1}
        assert len(to.asked) == 60
    from scheduler.backup import record_lines, restore_record

    file = tmp_path / "record.jsonl"
    with open_store(postgres) as store:
        store.append("yard", lambda _: [make.roof(By("yard", AT), "H01", Moment(AT))])
        tick(store, yard, Clock(), plan=wants(derived=wanted([job()])), sender=Post(), force=True)
        lines = list(record_lines(store, "yard", datetime(2025, 11, 3, tzinfo=UTC)))
        file.write_text("\n".join(lines) + "\n", encoding="utf-8")
        restore_record(store, "yard", file, replace=True)
        assert [x for x in record_lines(store, "yard", AT) if '"outbox"' not in x][1:] == [
            x for x in lines if '"outbox"' not in x
        ][1:]
        more = wanted([job(), job(tag="H02")], [log("H01"), log("H02")])
        tick(store, yard, Clock(), plan=wants(derived=more), sender=Post(), force=True)
        assert len({row.id for row in store.reminders("yard")}) == 2
    with open_store(f"sqlite:///{tmp_path / 'moved.db'}") as other:
        restore_record(other, "yard", file)
        assert len(other.entries("yard")) == 1
