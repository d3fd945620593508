"""The record out and back: whole, of the right yard, into any database, or not at all."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest
from command_line import run, yard_file
from notice_samples import AT, Clock, Post, notice, wants
from reminder_samples import job, wanted

from scheduler.backup import BackupError, record_lines, restore_record, weather_in
from scheduler.reminders import queue_outbox as outbox
from scheduler.settings import load_yard
from scheduler.tick import tick
from scheduler.yard.store import open_store

WHEN = ("--at", "2025-11-03T06:00")


@pytest.fixture
def yard(tmp_path: Path) -> Path:
    """A yard with logs, reminders, a notice that was sent, and weather."""
    file = yard_file(tmp_path)
    assert run("log", "add", "walnut 22in 8ft cut saturday", "--yard", file, *WHEN).code == 0
    assert run("note", "L01", "coat", "--yard", file, *WHEN).code == 0
    with open_store(load_yard(file).store_url) as store:
        plan = wants(notice(), derived=wanted([job()]))
        tick(store, load_yard(file), Clock(), plan=plan, sender=Post())
    (tmp_path / "coatcast-weather").mkdir()
    (tmp_path / "coatcast-weather" / "answer.json.gz").write_bytes(b"weather")
    return file


def lines_of(file: Path) -> list[str]:
    with open_store(load_yard(file).store_url) as store:
        return list(record_lines(store, "yard", AT))


def test_a_backup_restored_on_another_computer_gives_the_same_record(yard: Path, tmp_path: Path) -> None:
    file = tmp_path / "b.zip"
    assert run("backup", "-o", file, "--yard", yard, *WHEN).code == 0
    there = tmp_path / "there" / "yard.toml"
    ran = run("restore", file, "--yard", there, *WHEN)
    assert (ran.code, ran.err) == (0, "")
    assert there.read_bytes() == yard.read_bytes()
    assert lines_of(there) == lines_of(yard)
    assert (there.parent / "coatcast-weather" / "answer.json.gz").read_bytes() == b"weather"
    with open_store(load_yard(there).store_url) as store:
        post = Post()
        plan = wants(notice(), derived=wanted([job()]))
        tick(store, load_yard(there), Clock(), plan=plan, sender=post, force=True)
        assert post.got == []  # what was told is not told again


def test_the_export_is_one_json_document_a_line_with_head_and_count(yard: Path) -> None:
    ran = run("export", "--yard", yard, *WHEN)
    head, *rows, end = [json.loads(line) for line in ran.out.splitlines()]
    assert (ran.code, head["record"], end["end"]) == (0, "coatcast", len(rows))
    assert {row["table"] for row in rows} >= {"entry", "reminder", "notice", "outbox", "memo"}


def test_what_is_there_is_not_overwritten_unless_that_is_said_and_then_a_copy_is_kept(
    yard: Path, tmp_path: Path
) -> None:
    file = tmp_path / "e.jsonl"
    assert run("export", "-o", file, "--yard", yard, *WHEN).code == 0
    assert run("log", "add", "plum", "--yard", yard, *WHEN).code == 0
    before = lines_of(yard)
    refused = run("restore", file, "--yard", yard, *WHEN)
    assert refused.code == 2
    assert "--replace" in refused.err
    assert lines_of(yard) == before
    assert run("restore", file, "--replace", "--yard", yard, *WHEN).code == 0
    assert "plum" not in "".join(lines_of(yard))
    [copy] = tmp_path.glob("coatcast-before-restore-*.jsonl")
    assert copy.read_text(encoding="utf-8").splitlines()[1:] == before[1:]


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda lines: lines[:-1], "cut off"),
        (lambda lines: [*lines[:2], *lines[3:]], "cut off"),
        (lambda lines: ["hello"], "no record"),
        (lambda lines: [], "no record"),
        (lambda lines: [lines[0].replace('"revision": "00', '"revision": "99'), *lines[1:]], "newer program"),
        (lambda lines: [lines[0].replace('"yard": "yard"', '"yard": "north"'), *lines[1:]], "yard 'north'"),
        (lambda lines: [lines[0], '{"table": "entry", "tag"', *lines[2:]], "no record"),
    ],
)
def test_a_record_that_is_not_whole_or_not_ours_changes_nothing(
    yard: Path, tmp_path: Path, spoil: object, said: str
) -> None:
    file = tmp_path / "spoilt.jsonl"
    file.write_text("\n".join(spoil(lines_of(yard))) + "\n", encoding="utf-8")  # type: ignore[operator]
    before = lines_of(yard)
    with (
        open_store(load_yard(yard).store_url) as store,
        pytest.raises(BackupError, match=said),
    ):
        restore_record(store, "yard", file, replace=True)
    assert lines_of(yard) == before


def test_a_record_of_an_earlier_revision_goes_into_the_tables_of_today(yard: Path, tmp_path: Path) -> None:
    lines = [line for line in lines_of(yard) if '"table": "notice"' not in line and '"outbox"' not in line]
    head, *rows, _ = lines
    old = [head.replace('"revision": "0002"', '"revision": "0001"'), *rows, json.dumps({"end": len(rows)})]
    file = tmp_path / "old.jsonl"
    file.write_text("\n".join(old) + "\n", encoding="utf-8")
    with open_store(f"sqlite:///{tmp_path / 'new.db'}") as store:
        assert restore_record(store, "yard", file)["entry"] == sum('"table": "entry"' in r for r in rows)
        assert outbox.rows(store, "yard") == ()


def test_a_packed_file_from_elsewhere_writes_nowhere_but_into_the_folder_of_the_weather(
    tmp_path: Path,
) -> None:
    evil = tmp_path / "evil.zip"
    with zipfile.ZipFile(evil, "w") as packed:
        packed.writestr("record.jsonl", "")
        for name in ("../out.txt", "coatcast-weather/../../out.txt", "/out.txt", "coatcast-weather/a/b"):
            packed.writestr(name, "x")
        packed.writestr("coatcast-weather/good", "x")
    folder = tmp_path / "deep" / "coatcast-weather"
    assert weather_in(evil, folder) == 1
    assert [p.name for p in tmp_path.rglob("*") if p.is_file()] == ["evil.zip", "good"]


def test_a_backup_that_cannot_be_written_leaves_nothing_half_done(yard: Path, tmp_path: Path) -> None:
    ran = run("backup", "-o", tmp_path / "nowhere" / "b.zip", "--yard", yard, *WHEN)
    assert ran.code == 1
    assert "cannot be written" in ran.err
    assert not list(tmp_path.glob("*.part"))


def test_no_secret_is_in_a_backup(yard: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("YARD_TOKEN", "tk-5f2c9d17")
    with yard.open("a", encoding="utf-8") as text:
        text.write('[[channel]]\nkind = "push"\naddress = "http://127.0.0.1:9/{secret}"\n')
        text.write('secret_env = "YARD_TOKEN"\n')
    with open_store(load_yard(yard).store_url) as store:
        tick(store, load_yard(yard), Clock(), plan=wants(notice(action="leave it")), force=True)
        assert [row.state for row in outbox.rows(store, "yard", states=["due"])] == ["due"]
    file = tmp_path / "b.zip"
    assert run("backup", "-o", file, "--yard", yard, *WHEN).code == 0
    with zipfile.ZipFile(file) as packed:
        assert all(b"tk-5f2c9d17" not in packed.read(name) for name in packed.namelist())
