"""Wall time and memory of the morning verdict from a cold start, beside ``python -c "import numpy"``.

Run by hand, with nothing else busy:  python tests/bench/bench_today.py [--runs 9] [--breakdown]

The demo's yard is copied to a folder of its own and its logs are imported; then the command a person would
give and the bare import run in turn, each in a new process. Wall clock and peak of resident memory of each
process (``os.wait4``); the middle of the runs is told. Files are warm in the system's cache and the byte code
is written, as on a second morning. ``--breakdown`` adds where the time goes by import.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from gathered import tell

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo"
CLOCK = "2025-11-03T05:45"
ISSUED = "2025-11-03T05:00"
AIM_S, AIM_MB = 1.0, 150.0


def run(args: list[str], folder: Path) -> tuple[float, float, int, str]:
    """Seconds, peak MB, exit code and what was printed, of one process."""
    with tempfile.TemporaryFile() as out:
        begin = time.perf_counter()
        process = subprocess.Popen(args, cwd=folder, stdout=out, stderr=subprocess.STDOUT)
        _, status, usage = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - begin
        process.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        text = out.read().decode("utf-8", "replace")
    scale = 1024.0 * 1024.0 if sys.platform == "darwin" else 1024.0
    return seconds, usage.ru_maxrss / scale, process.returncode, text


def prepared(folder: Path) -> list[str]:
    """The yard with its logs in a folder; the command to time."""
    for name in ("yard.toml", "weather.json", "logs.csv"):
        shutil.copy(DEMO / name, folder)
    base = [sys.executable, "-m", "scheduler.cli"]
    enter = [*base, "log", "import", "logs.csv", "--yard", "yard.toml", "--at", CLOCK]
    _, _, code, text = run(enter, folder)
    if code:
        print(f"the demo's logs could not be entered, the register stays empty: {text.strip()}")
    return [
        *base,
        "today",
        "--yard",
        "yard.toml",
        "--forecast",
        "weather.json",
        "--issued",
        ISSUED,
        "--at",
        CLOCK,
    ]


def breakdown(command: list[str], folder: Path) -> None:
    """The slowest imports, own time, milliseconds."""
    _, _, _, text = run([command[0], "-X", "importtime", *command[1:]], folder)
    rows = [
        line.removeprefix("import time:").split("|") for line in text.splitlines() if "import time:" in line
    ]
    times = sorted(((int(r[0]), r[2].strip()) for r in rows if r[0].strip().isdigit()), reverse=True)
    print(f"\nimports: {sum(t for t, _ in times) / 1000:.0f} ms in all; the slowest by themselves:")
    for own, name in times[:12]:
        print(f"    {own / 1000:7.1f} ms  {name}")


def main() -> None:
    """Runs in turn, then one table."""
    parser = argparse.ArgumentParser(description="coatcast today from a cold start")
    parser.add_argument("--runs", type=int, default=9)
    parser.add_argument("--breakdown", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        today = prepared(folder)
        bare = [sys.executable, "-c", "import numpy"]
        _, _, code, text = run(today, folder)  # writes the byte code
        print(f"exit {code}; it says: {text.splitlines()[0] if text else 'nothing'}")
        found: dict[str, list[tuple[float, float]]] = {"coatcast today": [], "import numpy": []}
        for _ in range(asked.runs):
            for label, command in (("coatcast today", today), ("import numpy", bare)):
                seconds, megabytes, _, _ = run(command, folder)
                found[label].append((seconds, megabytes))
        print(f"Python {sys.version.split()[0]}, {asked.runs} runs in turn, middle (least - most)")
        print("                       seconds                  peak memory")
        middle = {}
        for label, rows in found.items():
            s, m = [r[0] for r in rows], [r[1] for r in rows]
            middle[label] = (median(s), median(m))
            print(f"    {label:<16} {median(s):6.3f} ({min(s):.3f} - {max(s):.3f})   {median(m):7.1f} MB")
        (a, b), (c, d) = middle["coatcast today"], middle["import numpy"]
        print(f"    ratio            {a / c:6.1f}                    {b / d:9.1f}")
        tell("today from a cold start", f"{a:.2f} s, {b:.0f} MB", c / a, "python -c 'import numpy'")
        met = "met" if a < AIM_S and b < AIM_MB else "not met"
        print(f"    aim: under {AIM_S:g} s and {AIM_MB:g} MB: {met}")
        if asked.breakdown:
            breakdown(today, folder)


if __name__ == "__main__":
    main()
