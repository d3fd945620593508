"""Answers on disk: thinned out after 400 days, whole after a crash, and with several processes at once."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import textwrap
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from fetch_server import NOW, forecast

from scheduler.weather import fetch_kept
from scheduler.weather.fetch_kept import (
    Answer,
    keep,
    kept,
    kept_before,
    last_kept,
    newest_first,
    prune,
    renew,
)

DAY = timedelta(days=1)
MIDNIGHT = NOW.replace(hour=0, minute=0)


def put(folder: Path, when: datetime, air: float = 8.0, address: str = "https://example.org/") -> Path:
    return keep(Answer(forecast(air=air), address, "asked", when), folder, written=when)


def times(folder: Path) -> list[datetime]:
    return [one.fetched for one in kept(folder)]


def pairs_are_whole(folder: Path) -> bool:
    names = {path.name for path in folder.iterdir()}
    metas = {name.removesuffix(".meta.json") for name in names if name.endswith(".meta.json")}
    return names == {f"{stem}{end}" for stem in metas for end in (".meta.json", ".json.gz")}


# ------------------------------------------------------------------ thinning out


def test_every_answer_is_kept_for_four_hundred_days_and_then_the_first_of_a_day(tmp_path: Path) -> None:
    old = [MIDNIGHT - 401 * DAY + timedelta(hours=h) for h in (1, 7, 13)]
    young = [MIDNIGHT - 400 * DAY + timedelta(hours=h) for h in (1, 7, 13)]
    for when in old + young:
        put(tmp_path, when)
    assert times(tmp_path) == old + young, "at the time of the last of them none is old"
    assert prune(tmp_path, NOW) == 4
    assert times(tmp_path) == [old[0], *young]
    assert pairs_are_whole(tmp_path)
    assert prune(tmp_path, NOW) == 0
    assert prune(tmp_path, NOW + 3 * DAY) == 4
    assert times(tmp_path) == [old[0], young[0]]


def test_keeping_an_answer_thins_out(tmp_path: Path) -> None:
    for hour in (1, 7):
        put(tmp_path, MIDNIGHT - 500 * DAY + timedelta(hours=hour))
    put(tmp_path, NOW)
    assert times(tmp_path) == [MIDNIGHT - 500 * DAY + timedelta(hours=1), NOW]


def test_a_time_that_is_only_played_thins_out_nothing(tmp_path: Path) -> None:
    for hour in (1, 7):
        put(tmp_path, MIDNIGHT + timedelta(hours=hour))
    keep(Answer(forecast(), "a", "asked", NOW + 900 * DAY), tmp_path, written=NOW)
    keep(Answer(forecast(), "a", "asked", NOW - 900 * DAY), tmp_path, written=NOW)
    assert len(kept(tmp_path)) == 4


def test_each_service_keeps_its_own_first_of_a_day(tmp_path: Path) -> None:
    day = MIDNIGHT - 500 * DAY
    for hour, address in ((1, "https://a/"), (2, "https://b/"), (3, "https://a/"), (4, "https://b/")):
        put(tmp_path, day + timedelta(hours=hour), address=address)
    prune(tmp_path, NOW)
    assert [(one.address, one.fetched.hour) for one in kept(tmp_path)] == [
        ("https://a/", 1),
        ("https://b/", 2),
    ]


def test_of_a_day_the_first_whole_answer_stays_and_nothing_goes_where_none_is_whole(tmp_path: Path) -> None:
    day = MIDNIGHT - 500 * DAY
    metas = [put(tmp_path, day + timedelta(hours=hour)) for hour in (1, 2, 3)]
    bodies = [path.with_name(path.name.replace(".meta.json", ".json.gz")) for path in metas]
    whole = bodies[1].read_bytes()
    for body in bodies:
        body.write_bytes(b"damaged")
    assert prune(tmp_path, NOW) == 0
    bodies[1].write_bytes(whole)
    assert prune(tmp_path, NOW) == 4
    assert [one.fetched.hour for one in kept(tmp_path)] == [2]


def test_what_a_crash_left_half_done_goes_after_a_day(tmp_path: Path) -> None:
    put(tmp_path, NOW)
    orphan = tmp_path / "20251103T040000Z-01234567.json.gz"
    part = tmp_path / ".part-abc"
    for path in (orphan, part):
        path.write_bytes(b"x")
        os.utime(path, times=(NOW.timestamp(), NOW.timestamp()))
    other = tmp_path / "notes.json.gz"
    other.write_bytes(b"mine")
    assert prune(tmp_path, NOW + DAY) == 0
    assert prune(tmp_path, NOW + DAY + timedelta(seconds=1)) == 2
    assert not orphan.exists()
    assert not part.exists()
    assert other.exists(), "what has another name is not ours"
    assert times(tmp_path) == [NOW]


def test_a_folder_that_is_not_there_needs_no_thinning(tmp_path: Path) -> None:
    assert prune(tmp_path / "none", NOW) == 0
    assert list(newest_first(tmp_path / "none")) == []
    assert kept_before(tmp_path / "none", NOW) is None


# ------------------------------------------------------------------ finding


def test_the_newest_come_first_and_each_is_read_when_it_is_its_turn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for day in range(50):
        put(tmp_path, NOW - day * DAY)
    read: list[str] = []
    real = fetch_kept._about
    monkeypatch.setattr(fetch_kept, "_about", lambda path: read.append(path.name) or real(path))
    first = next(newest_first(tmp_path, NOW - 10 * DAY))
    assert first.fetched == NOW - 10 * DAY
    assert len(read) == 1
    assert kept_before(tmp_path, NOW - 10 * DAY - timedelta(seconds=1)) == kept(tmp_path)[-12].load()


def test_a_part_of_a_second_counts_for_what_was_known(tmp_path: Path) -> None:
    put(tmp_path, NOW + timedelta(milliseconds=500))
    assert kept_before(tmp_path, NOW + timedelta(milliseconds=499)) is None
    assert kept_before(tmp_path, NOW + timedelta(milliseconds=500)) is not None


def test_everything_that_is_known_of_an_answer_is_kept(tmp_path: Path) -> None:
    answer = Answer(
        body=forecast(),
        address="https://example.org/",
        asked="asked",
        fetched=NOW,
        status=203,
        etag='"a"',
        last_modified="yesterday",
        expires=NOW + DAY,
        link="https://example.org/gridpoints/LZK/83,73",
        notes=("one", "two"),
    )
    path = keep(answer, tmp_path, written=NOW + timedelta(seconds=3))
    assert last_kept(tmp_path) == answer
    [one] = kept(tmp_path)
    assert one.written == NOW + timedelta(seconds=3)
    renew(one, Answer(**{name: getattr(answer, name) for name in answer.__slots__} | {"checked": NOW + DAY}))
    [again] = kept(tmp_path)
    assert (again.path, again.checked, again.written) == (path, NOW + DAY, one.written)


def test_the_true_time_of_writing_is_known_without_being_said(tmp_path: Path) -> None:
    keep(Answer(forecast(), "a", "asked", NOW), tmp_path)
    [one] = kept(tmp_path)
    assert one.written is not None
    assert abs(one.written - datetime.now(UTC)) < timedelta(minutes=1)


def test_an_answer_that_was_kept_by_an_earlier_version_is_read(tmp_path: Path) -> None:
    path = put(tmp_path, NOW)
    about = json.loads(path.read_text())
    for name in ("checked", "expires", "link", "notes", "written"):
        del about[name]
    path.write_text(json.dumps(about))
    [one] = kept(tmp_path)
    assert (one.checked, one.expires, one.link, one.notes, one.written) == (None, None, None, (), None)
    assert one.load().body == forecast()


@pytest.mark.parametrize(
    "bad",
    [{"fetched": None}, {"fetched": 5}, {"checked": "soon"}, {"expires": []}, {"notes": 5}, {"sha256": None}],
)
def test_what_cannot_be_read_is_left_out(tmp_path: Path, bad: dict[str, object]) -> None:
    put(tmp_path, NOW - DAY)
    path = put(tmp_path, NOW)
    path.write_text(json.dumps(json.loads(path.read_text()) | bad))
    answer = last_kept(tmp_path)
    assert answer is not None
    assert answer.fetched == NOW - DAY


# ------------------------------------------------------------------ crashes and company

SCRIPT = """
    import os, sys
    from datetime import datetime, timedelta
    from pathlib import Path
    from scheduler.weather import fetch_kept
    from scheduler.weather.fetch_kept import Answer, keep, kept, last_kept

    folder, start = Path(sys.argv[1]), datetime.fromisoformat(sys.argv[2])

    def put(minutes, body):
        when = start + timedelta(minutes=minutes)
        keep(Answer(body, "https://example.org/", "asked", when), folder, written=when)
"""


def start(folder: Path, script: str) -> subprocess.Popen[str]:
    code = textwrap.dedent(SCRIPT) + textwrap.dedent(script)
    return subprocess.Popen(
        [sys.executable, "-c", code, str(folder), NOW.isoformat()],
        cwd=Path(__file__).parents[2],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_a_crash_between_body_and_metadata_leaves_the_older_answer_usable(tmp_path: Path) -> None:
    put(tmp_path, NOW - timedelta(hours=1), air=1.0)
    script = """
        fetch_kept._write_about = lambda *_: os._exit(9)
        put(0, b"new")
    """
    crashed = start(tmp_path, script)
    crashed.communicate(timeout=60)
    assert crashed.returncode == 9
    assert len(list(tmp_path.glob("*.json.gz"))) == 2
    assert len(kept(tmp_path)) == 1
    answer = last_kept(tmp_path)
    assert answer is not None
    assert answer.body == forecast(air=1.0)
    put(tmp_path, NOW + timedelta(hours=1), air=2.0)
    assert len(kept(tmp_path)) == 2


def test_two_processes_that_keep_at_once_do_not_harm_each_other(tmp_path: Path) -> None:
    script = """
        for n in range(40):
            put(n // 4, b'{"same": %d}' % n if n % 2 else b'{"own": %d}' % os.getpid())
            assert last_kept(folder) is not None
            for one in kept(folder):
                one.load()
        print("done")
    """
    both = [start(tmp_path, script) for _ in range(2)]
    said = [process.communicate(timeout=60) for process in both]
    assert [out.strip() for out, _ in said] == ["done", "done"], said
    assert pairs_are_whole(tmp_path)
    # 20 answers that both kept under one name, and each one's own, once for every minute.
    assert len(kept(tmp_path)) == 20 + 2 * 10
