"""``coatcast calendar --address`` and ``--new-address``: the secret address, without a page that runs."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_line import run
from notice_samples import yard_of

from scheduler.web import keys
from scheduler.web.keys import keys_of


def test_the_address_is_told_and_stays(tmp_path: Path) -> None:
    file = yard_of(tmp_path).path
    assert file is not None
    first, again = (run("calendar", "--address", "--yard", file) for _ in range(2))
    assert first.code == 0
    assert first.out == again.out == f"http://localhost:8732/feed/{keys_of(file).feed}.ics\n"
    assert "coatcast serve --lan" in first.err
    assert not (tmp_path / "coatcast.db").exists(), "asking for it makes no record"


def test_a_new_address_is_told_and_the_old_one_is_no_more(tmp_path: Path) -> None:
    file = yard_of(tmp_path, '[page]\naddress = "https://yard.example.org"').path
    assert file is not None
    old = run("calendar", "--address", "--yard", file).out
    new = run("calendar", "--new-address", "--yard", file)
    assert new.out != old
    assert new.out == f"https://yard.example.org/feed/{keys_of(file).feed}.ics\n"
    assert "The old address gives nothing any more." in new.err


def test_where_it_cannot_be_changed_it_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = yard_of(tmp_path).path
    assert file is not None
    run("calendar", "--address", "--yard", file)

    def refuses(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(keys.tempfile, "mkstemp", refuses)
    done = run("calendar", "--new-address", "--yard", file)
    assert done.code == 1
    assert "Permission denied" in done.err
    assert "the old address holds" in done.err
