"""All benchmarks, one after the other, and one table of their ratios.

Run by hand, with nothing else busy:  python tests/bench/all_benches.py [--full] [--only NAME ...] [--verbose]

Each is a process of its own; its ratios are against a named reference in the same run. Without ``--full``
those that can take a smaller sample do. The calibration and the replay are tables of their own and left out.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from gathered import TABLE

HERE = Path(__file__).parent
APART = {"bench_calibration", "bench_replay"}


def main() -> None:
    """Run them, print the table."""
    ask = argparse.ArgumentParser(description="all benchmarks, one table")
    ask.add_argument("--full", action="store_true", help="the whole samples")
    ask.add_argument("--only", nargs="+", default=[], metavar="NAME")
    ask.add_argument("--verbose", action="store_true", help="what each prints, too")
    options = ask.parse_args()
    rows, failed = [], []
    with tempfile.TemporaryDirectory() as folder:
        table = Path(folder) / "rows"
        for bench in sorted(HERE.glob("bench_*.py")):
            name = bench.stem.removeprefix("bench_")
            if bench.stem in APART or (options.only and name not in options.only):
                continue
            table.unlink(missing_ok=True)
            quick = [] if options.full or "--quick" not in bench.read_text(encoding="utf-8") else ["--quick"]
            begin = time.perf_counter()
            ran = subprocess.run(
                [sys.executable, str(bench), *quick],
                env={**os.environ, TABLE: str(table)},
                text=True,
                stdout=None if options.verbose else subprocess.PIPE,
                stderr=subprocess.STDOUT,
            )
            seconds = time.perf_counter() - begin
            print(f"{name}: {seconds:.0f} s", file=sys.stderr)
            if ran.returncode:
                failed.append((name, (ran.stdout or "").strip().splitlines()[-1:]))
            elif table.exists():
                lines = table.read_text(encoding="utf-8").splitlines()
                rows += [(name, *json.loads(line)) for line in lines]
    print("| part | what | ours | reference takes | reference |")
    print("| --- | --- | --- | --- | --- |")
    for name, what, ours, ratio, reference in rows:
        if ratio >= 1.0:
            times = f"{ratio:,.0f} times as long" if ratio >= 10 else f"{ratio:.1f} times as long"
        else:
            times = f"1/{1.0 / ratio:.1f} as long"
        print(f"| {name} | {what} | {ours} | {times} | {reference} |")
    for name, last in failed:
        print(f"{name} did not run: {' '.join(last)}")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
