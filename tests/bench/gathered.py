"""Figures of one benchmark, for the one table of ``all_benches.py``."""

from __future__ import annotations

import json
import os
from pathlib import Path

TABLE = "COATCAST_BENCH_TABLE"


def tell(what: str, ours: str, ratio: float, reference: str) -> None:
    """Keep a line: what was done, our figure, and how many times as much the reference took in the same run.

    Does nothing unless the gathering command asks for it by the environment variable ``TABLE``.
    """
    if file := os.environ.get(TABLE):
        with Path(file).open("a", encoding="utf-8") as lines:
            lines.write(json.dumps([what, ours, ratio, reference]) + "\n")
