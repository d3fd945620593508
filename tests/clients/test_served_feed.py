"""The calendar as it is served: real clients fetch it from a running page and all read the same."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from urllib.error import URLError
from uuid import UUID, uuid5

import pytest
import vobject
from calendar_clients import HERE, feed_derived, feed_log, ical_js, node_ical, radicale, vdirsyncer
from feed_samples import FeedYard, events
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from reminder_samples import AT, BERLIN, DAY, HOUR, job, log, moved, span, wanted
from test_khal import GERMAN, Khal

from scheduler.reminders.settle import settle
from scheduler.settings import FeedChoice
from scheduler.views.calendar import calendar_bytes

Told = dict[str, dict[str, Any]]
UIDS = UUID("6ba7b810-9dad-11d1-80b4-00c04fd430c8")


@contextmanager
def running(app: Any) -> Iterator[str]:
    """The page on a free port of this computer."""
    import uvicorn

    with socket.socket() as here:
        here.bind(("127.0.0.1", 0))
        here.listen(16)
        config = uvicorn.Config(app, log_level="error", access_log=False, ws="none")
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [here]}, daemon=True)
        thread.start()
        try:
            yield f"http://127.0.0.1:{here.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join(10)


@pytest.fixture
def yard(tmp_path: Path) -> FeedYard:
    """A yard whose calendar has everything that there is, and odd letters."""
    folder = tmp_path / "yard"
    folder.mkdir()
    yard = FeedYard(folder)
    for derived in feed_derived():
        yard.wants(derived)
    return yard


@pytest.fixture
def address(yard: FeedYard) -> Iterator[str]:
    with running(yard.app) as base:
        yield f"{base}{yard.path}?days=10"


def fetched(address: str) -> bytes:
    with urllib.request.urlopen(address, timeout=10) as answer:
        data: bytes = answer.read()
    return data


def instant(when: datetime | date) -> str:
    if not isinstance(when, datetime):
        return when.isoformat()
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")


def written(data: bytes) -> Told:
    """What icalendar finds: the yardstick is what the program meant, see tests/views/test_calendar.py."""
    return {
        uid: {
            "start": instant(event["DTSTART"].dt),
            "end": instant(event["DTEND"].dt),
            "summary": str(event["SUMMARY"]),
            "description": str(event.get("DESCRIPTION", "")),
            "sequence": int(event["SEQUENCE"]),
            "status": str(event["STATUS"]),
        }
        for uid, event in events(data).items()
    }


def by_vobject(data: bytes) -> Told:
    calendar = vobject.readOne(data.decode())
    assert calendar.validate(raiseException=True)
    return {
        event.uid.value: {
            "start": instant(event.dtstart.value),
            "end": instant(event.dtend.value),
            "summary": event.summary.value,
            "description": event.description.value if "description" in event.contents else "",
            "sequence": int(event.sequence.value),
            "status": event.status.value,
        }
        for event in calendar.contents.get("vevent", [])
    }


def by_script(script: str, node: str, module: Path, data: bytes, folder: Path) -> Any:
    file = folder / "feed.ics"
    file.write_bytes(data)
    run = [node, str(HERE / "clients" / script), str(module), str(file)]
    # Whole days are whole days wherever the reader lives.
    env = {**os.environ, "TZ": "America/New_York"}
    done = subprocess.run(run, capture_output=True, text=True, encoding="utf-8", timeout=60, env=env)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


NAMES = ("start", "end", "summary", "description", "sequence", "status")


def listed(found: list[dict[str, Any]]) -> Told:
    told = {one["uid"]: {"description": "", **one} for one in found}
    return {uid: {name: one[name] for name in NAMES} for uid, one in told.items()}


@pytest.mark.parametrize("times", ["utc", "zone"])
@pytest.mark.filterwarnings("default")  # a reader's own
def test_vobject_reads_the_served_calendar(address: str, times: str) -> None:
    data = fetched(f"{address}&times={times}")
    assert by_vobject(data) == written(data)
    assert len(written(data)) == 7


@pytest.mark.parametrize("times", ["utc", "zone"])
def test_ical_js_reads_the_served_calendar(address: str, times: str, tmp_path: Path) -> None:
    data = fetched(f"{address}&times={times}")
    found = by_script("read.mjs", *ical_js(), data, tmp_path)["events"]
    assert listed(found) == written(data)


@pytest.mark.parametrize("times", ["utc", "zone"])
def test_node_ical_reads_the_served_calendar(address: str, times: str, tmp_path: Path) -> None:
    data = fetched(f"{address}&times={times}")
    found = by_script("read_node.mjs", *node_ical(), data, tmp_path)
    assert listed(found) == written(data)


# ------------------------------------------------------------------ in German


def speaks_german(yard: FeedYard) -> None:
    text = yard.file.read_text(encoding="utf-8")
    yard.file.write_text(text.replace("[yard]\n", '[yard]\nlanguage = "de"\n'), encoding="utf-8")


@pytest.mark.filterwarnings("default")  # a reader's own
def test_all_read_the_german_calendar_alike(yard: FeedYard, address: str, tmp_path: Path) -> None:
    """Umlauts and quotes, folded within and between letters of more than one octet."""
    english = written(fetched(address))
    speaks_german(yard)
    data = fetched(address)
    ours = written(data)
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))
    for uid, one in ours.items():
        same = {name: value for name, value in one.items() if name not in ("summary", "description")}
        assert same == {name: english[uid][name] for name in same}, "only texts are of the language"
        assert one["summary"] != english[uid]["summary"]
    assert any("verträgt Regen ab" in one["description"] for one in ours.values())
    assert by_vobject(data) == ours
    assert listed(by_script("read.mjs", *ical_js(), data, tmp_path)["events"]) == ours
    assert listed(by_script("read_node.mjs", *node_ical(), data, tmp_path)) == ours


def test_a_subscription_takes_the_german_texts_for_the_same_days(
    yard: FeedYard, address: str, tmp_path: Path
) -> None:
    khal, sync = Khal(tmp_path), Sync(tmp_path, address)
    sync("sync")
    speaks_german(yard)
    sync("sync")
    assert sync.told() == texts_of(written(fetched(address)))
    assert khal.listed("2025-11-03", "12d") == [line.removesuffix("⏰").rstrip() for line in GERMAN], (
        "nothing stays behind in English"
    )


# ------------------------------------------------------------------ vdirsyncer: a real subscription

SYNC = """\
[general]
status_path = "{folder}/status"

[pair yard]
a = "served"
b = "kept"
collections = null
conflict_resolution = "a wins"

[storage served]
type = "http"
url = "{address}"

[storage kept]
type = "filesystem"
path = "{folder}/calendar"
fileext = ".ics"
"""


def texts_of(found: Told) -> list[str]:
    """Entries without their UIDs: this client names what it fetches by its content."""
    return sorted(json.dumps(one) for one in found.values())


class Sync:
    """vdirsyncer that keeps a folder in step with the served calendar."""

    def __init__(self, folder: Path, address: str) -> None:
        self.program, self.folder = vdirsyncer(), folder
        self.conf = folder / "sync.conf"
        self.conf.write_text(SYNC.format(folder=folder, address=address), encoding="utf-8")
        self("discover", "yard")

    def __call__(self, *words: str) -> str:
        env = {"HOME": str(self.folder), "LC_ALL": "C.UTF-8", "PATH": "/usr/bin:/bin"}
        run = [self.program, "-c", str(self.conf), *words]
        done = subprocess.run(
            run, input="y\n" * 20, capture_output=True, text=True, encoding="utf-8", env=env, timeout=60
        )
        assert done.returncode == 0, done.stderr
        return done.stdout + done.stderr

    @property
    def files(self) -> set[bytes]:
        return {file.read_bytes() for file in (self.folder / "calendar").glob("*.ics")}

    def told(self) -> list[str]:
        return texts_of({f"{n}": one for n, data in enumerate(self.files) for one in written(data).values()})


def test_vdirsyncer_keeps_in_step_and_khal_shows_it(yard: FeedYard, address: str, tmp_path: Path) -> None:
    """The story of a span that moves and is called off, through a real subscription to a real client."""
    khal = Khal(tmp_path)
    sync = Sync(tmp_path, address)
    sync("sync")
    assert sync.told() == texts_of(written(fetched(address)))
    assert len(sync.files) == 7
    assert "2025-11-04 09:00 -> 2025-11-04 13:00 | Brush 9 to 13: about 9 in 10 | CONFIRMED |" in khal.listed(
        "2025-11-04", "1d"
    )
    before = sync.files
    assert "Copying" not in sync("sync"), "nothing has changed"
    assert sync.files == before

    yard.clock.goes(HOUR)
    jobs, logs = [job(), job(name="top")], [feed_log()]
    yard.wants(wanted(jobs, logs, [moved(span(), HOUR)], at=yard.clock()))
    sync("sync")
    shown = [line for line in khal.listed("2025-11-04", "1d") if "Brush" in line]
    assert shown == ["2025-11-04 10:00 -> 2025-11-04 14:00 | Brush 10 to 14: about 9 in 10 | CONFIRMED |"]

    yard.clock.goes(HOUR)
    yard.wants(wanted(jobs, logs, at=yard.clock()))
    sync("sync")
    shown = [line for line in khal.listed("2025-11-04", "1d") if "Brush" in line]
    assert shown == [
        "2025-11-04 10:00 -> 2025-11-04 14:00 | Called off: Brush 10 to 14: about 9 in 10 | CANCELLED |"
    ]

    yard.clock.goes(96 * HOUR)
    sync("sync")
    assert [line for line in khal.listed("2025-11-04", "1d") if "Brush" in line] == [], "gone two days later"
    assert sync.told() == texts_of(written(fetched(address)))


# ------------------------------------------------------------------ a calendar server takes it

SERVER = """\
[server]
hosts = 127.0.0.1:{port}
[auth]
type = none
[rights]
type = owner_only
[storage]
filesystem_folder = {folder}/collections
[logging]
level = error
"""


@contextmanager
def calendar_server(folder: Path) -> Iterator[str]:
    """Radicale on a free port of this computer."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    conf = folder / "radicale.conf"
    conf.write_text(SERVER.format(port=port, folder=folder), encoding="utf-8")
    process = subprocess.Popen(
        [radicale(), "--config", str(conf)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        base = f"http://127.0.0.1:{port}/"
        for _ in range(200):
            try:
                urllib.request.urlopen(base, timeout=1).close()
                break
            except (URLError, OSError):
                assert process.poll() is None, "the server did not start"
                time.sleep(0.05)
        yield base
    finally:
        process.terminate()
        process.wait(10)


def asked(method: str, url: str, data: bytes = b"", **headers: str) -> tuple[int, bytes]:
    more = {"Authorization": "Basic eWFyZDp5YXJk", **{k.replace("_", "-"): v for k, v in headers.items()}}
    request = urllib.request.Request(url, data or None, more, method=method)
    with urllib.request.urlopen(request, timeout=20) as answer:
        return answer.status, answer.read()


@pytest.mark.parametrize("times", ["utc", "zone"])
def test_a_calendar_server_takes_it_whole_and_gives_the_same_back(
    address: str, times: str, tmp_path: Path
) -> None:
    data = fetched(f"{address}&times={times}")
    with calendar_server(tmp_path) as base:
        status, _ = asked("PUT", f"{base}yard/coatcast/", data, Content_Type="text/calendar; charset=utf-8")
        assert status == 201
        _, back = asked("GET", f"{base}yard/coatcast/")
        assert written(back) == written(data)
        query = (
            b'<?xml version="1.0"?><C:calendar-query xmlns:C="urn:ietf:params:xml:ns:caldav" xmlns:D="DAV:">'
            b"<D:prop><C:calendar-data/></D:prop><C:filter><C:comp-filter name='VCALENDAR'>"
            b"<C:comp-filter name='VEVENT'><C:time-range start='20251104T070000Z' end='20251104T140000Z'/>"
            b"</C:comp-filter></C:comp-filter></C:filter></C:calendar-query>"
        )
        _, found = asked("REPORT", f"{base}yard/coatcast/", query, Depth="1", Content_Type="text/xml")
    assert found.count(b"BEGIN:VEVENT") == 3, "the span and the two whole days of that Tuesday"


# ------------------------------------------------------------------ any text

LETTERS = st.one_of(
    st.sampled_from(list(",;\\:\"'\n nN🌳🪵é&<>")), st.characters(exclude_categories=("Cs", "Cc"))
)
WORDS = st.text(LETTERS, min_size=1, max_size=80)


@pytest.mark.filterwarnings("default")
@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(texts=st.lists(st.tuples(WORDS, WORDS), min_size=1, max_size=75))
def test_any_text_is_read_alike_by_all(tmp_path: Path, texts: list[tuple[str, str]]) -> None:
    """Commas, semicolons, backslashes, line breaks, emoji: three readers find what icalendar finds."""
    jobs = [
        job("look", f"T{n}", why=told, due=AT + n // 5 * DAY, cause=n + 1)
        for n, (_, told) in enumerate(texts)
    ]
    logs = [log(f"T{n}", species=None, species_said=wood) for n, (wood, _) in enumerate(texts)]
    rows = [
        replace(row, uid=str(uuid5(UIDS, row.key)), id=n)
        for n, row in enumerate(settle([], wanted(jobs, logs), AT)[0])
    ]
    feed = FeedChoice(days=16)
    data = calendar_bytes(rows, "Yard", BERLIN, "metric", feed, at=AT)
    ours = written(data)
    assert len(ours) == len(texts)
    assert by_vobject(data) == ours
    assert listed(by_script("read.mjs", *ical_js(), data, tmp_path)["events"]) == ours
    found = listed(by_script("read_node.mjs", *node_ical(), data, tmp_path))
    assert found == ours
