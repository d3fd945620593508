"""The register through real processes: exit codes, stderr, and several writers at once."""

from __future__ import annotations

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from keeper import MONDAY, Keeper

ROOT = Path(__file__).parents[2]


def coatcast(keeper: Keeper, *words: str, at: str = MONDAY) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "scheduler.cli", *words, "--yard", str(keeper.file), "--at", at],
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=ROOT,
        env={**os.environ, "PYTHONUTF8": "1"},
        stdin=subprocess.DEVNULL,
        timeout=60,
        check=False,
    )


def test_a_plain_mistake_ends_with_2_and_a_sentence_on_stderr(keeper: Keeper) -> None:
    done = coatcast(keeper, "log", "add", "oak", "cut", "32", "february")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "There is no 32 February: February has 28 or 29 days\n"
    assert coatcast(keeper, "log", "add").returncode == 2  # nobody there to be asked


def test_a_store_that_cannot_be_used_ends_with_1_and_says_what_to_do(keeper: Keeper) -> None:
    (keeper.file.parent / "coatcast.db").write_text("this is no database " * 100)
    done = coatcast(keeper, "log", "add", "oak")
    assert (done.returncode, done.stdout) == (1, "")
    assert "no database" in done.stderr
    assert "Traceback" not in done.stderr


def test_writers_at_the_same_time_lose_nothing_and_share_no_number_and_no_tag(keeper: Keeper) -> None:
    woods = ("oak", "cherry", "walnut")
    with ThreadPoolExecutor(3) as pool:
        done = list(pool.map(lambda wood: coatcast(keeper, "log", "add", wood, "22in"), woods))
    assert [one.returncode for one in done] == [0] * len(woods), [one.stderr for one in done]
    logs = keeper.logs()
    assert [log["tag"] for log in logs] == [f"L{n:02d}" for n in range(1, len(woods) + 1)]
    shown = [keeper.run("log", "show", log["tag"], "--json").json for log in logs]
    assert sorted(log["species_said"] for log in shown) == sorted(woods)
    assert sorted(log["entries"][0]["number"] for log in shown) == list(range(1, len(woods) + 1))
