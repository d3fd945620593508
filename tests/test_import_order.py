"""A file of scheduler/ imports only from lines above its own, and the core stays pure.

The table ``ORDER`` is the whole rule. A line ends in ``*`` where a folder holds
files that need no order among themselves; no two files may import each other.
A file that has no line here makes a test fail: give it one.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from fnmatch import fnmatchcase
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from textwrap import dedent
from typing import NamedTuple

import pytest

ROOT = Path(__file__).parents[1]

ORDER = (
    "__init__.py",
    "units.py",
    "moments.py",
    "places.py",
    "clocks.py",
    "settings.py",
    "weather/__init__.py",
    "weather/series.py",
    "weather/air.py",
    "weather/sun.py",
    "weather/gaps.py",
    "weather/formats/*",
    "weather/members.py",
    "weather/nights.py",
    "weather/history.py",
    "weather/skill.py",
    "weather/*",
    "weather/fetch_*.py",
    "weather/fetch.py",
    "weather/fetch_past.py",
    "coating/__init__.py",
    "coating/product.py",
    "coating/face.py",
    "coating/film.py",
    "coating/*",
    "rules/__init__.py",
    "rules/rule.py",
    "rules/hours.py",
    "rules/engine.py",
    "rules/spans.py",
    "rules/*",
    "wood/__init__.py",
    "wood/species.py",
    "wood/*",
    "yard/__init__.py",
    "yard/facts.py",
    "yard/entries.py",
    "yard/apply.py",
    "yard/state.py",
    "yard/condition.py",
    "yard/*",
    "yard/migrations/*",
    "yard/store_*.py",
    "yard/store.py",
    "planning/__init__.py",
    "planning/outlook.py",
    "planning/climate.py",
    "planning/looks.py",
    "planning/questions.py",
    "planning/jobs.py",
    "planning/decision.py",
    "planning/chances.py",
    "planning/normals.py",
    "planning/tries.py",
    "planning/keeping.py",
    "planning/worth.py",
    "planning/ledger.py",
    "planning/truth.py",
    "planning/inside.py",
    "planning/season.py",
    "planning/winter.py",
    "planning/plan.py",
    "planning/*",
    "replay/__init__.py",
    "replay/*",
    "reminders/__init__.py",
    "reminders/wanted.py",
    "reminders/*",
    "reminders/queue_*.py",
    "reminders/queue.py",
    "reminders/channels_*.py",
    "reminders/channels.py",
    "learning.py",
    "scored.py",
    "seasons.py",
    "views/*",
    "delivery.py",
    "health.py",
    "sources.py",
    "service.py",
    "selfcheck.py",
    "demo.py",
    "backup.py",
    "tick.py",
    "serve.py",
    "web/__init__.py",
    "web/keys.py",
    "commands/__init__.py",
    "commands/common.py",
    "commands/*",
    "cli.py",
    "__main__.py",
    "web/__init__.py",
    "web/keys.py",
    "web/guard.py",
    "web/tape.py",
    "web/desk.py",
    "web/*",
    "web/pages.py",
    "web/routes.py",
    "web/app.py",
    "web/run.py",
)

# The files with effects, and which they may have. All others are pure.
EVERYTHING = frozenset({"files", "environment", "network", "sql", "clock", "chance", "process", "screen"})
EDGES = {
    "settings.py": frozenset({"files", "environment"}),
    "weather/fetch*.py": frozenset({"files", "environment", "network", "clock", "chance"}),
    "yard/migrations/*": frozenset({"files", "sql"}),
    "yard/tables.py": frozenset({"sql"}),
    "yard/store*.py": frozenset({"files", "sql", "clock", "chance"}),
    "reminders/queue*.py": frozenset({"sql"}),
    "reminders/channels*.py": frozenset({"files", "environment", "network", "process", "screen"}),
    "web/app.py": EVERYTHING,
    "web/acts.py": EVERYTHING,
    "web/desk.py": EVERYTHING,
    "web/feedout.py": frozenset({"network"}),
    "web/forms.py": frozenset({"network", "chance"}),
    "web/guard.py": frozenset({"network"}),
    "web/keys.py": EVERYTHING,
    "web/pages.py": frozenset({"files"}),
    "web/routes.py": EVERYTHING,
    "web/rows.py": frozenset(),  # of the kinds of value that the desk keeps; they read nothing
    "web/screens.py": frozenset(),
    "web/run.py": EVERYTHING,
    "learning.py": frozenset({"files"}),
    "scored.py": frozenset({"files"}),
    "seasons.py": frozenset({"files"}),
    "sources.py": EVERYTHING,
    "service.py": EVERYTHING,
    "selfcheck.py": EVERYTHING,
    "demo.py": EVERYTHING,
    "delivery.py": EVERYTHING,
    "backup.py": EVERYTHING,
    "tick.py": EVERYTHING,
    "health.py": EVERYTHING,
    "serve.py": EVERYTHING,
    "commands/*": EVERYTHING,
    "cli.py": EVERYTHING,
    "__main__.py": EVERYTHING,
}

# What an import gives a file the power to do. The longest name that fits counts.
POWERS = {
    "os": "files",
    "io": "files",
    "pathlib": "files",
    "pathlib.PurePath": None,
    "pathlib.PurePosixPath": None,
    "shutil": "files",
    "tempfile": "files",
    "glob": "files",
    "fileinput": "files",
    "importlib.resources": "files",
    "dateutil.tz.tzlocal": "environment",
    "getpass": "environment",
    "locale": "environment",
    "platform": "environment",
    "sys": "environment",
    "aiosmtplib": "network",
    "apprise": "network",
    "asyncio": "network",
    "ftplib": "network",
    "http": "network",
    "http.HTTPStatus": None,
    "httpx": "network",
    "imaplib": "network",
    "requests": "network",
    "select": "network",
    "smtplib": "network",
    "socket": "network",
    "socketserver": "network",
    "ssl": "network",
    "starlette": "network",
    "urllib.request": "network",
    "urllib3": "network",
    "uvicorn": "network",
    "alembic": "sql",
    "psycopg": "sql",
    "sqlalchemy": "sql",
    "sqlite3": "sql",
    "apscheduler": "clock",
    "sched": "clock",
    "time": "clock",
    "random": "chance",
    "secrets": "chance",
    "uuid.uuid1": "chance",
    "uuid.uuid4": "chance",
    "multiprocessing": "process",
    "signal": "process",
    "subprocess": "process",
    "threading": "process",
}

CALLS = {"open": "files", "print": "screen", "input": "screen"}
FILE_METHODS = {"read_text", "read_bytes", "write_text", "write_bytes"}
CLOCK_METHODS = {"now", "today", "utcnow"}
CLOCKS = {"datetime.datetime", "datetime.date"}
SEEDED = {"default_rng", "Generator", "SeedSequence", "PCG64", "PCG64DXSM", "Philox", "SFC64", "MT19937"}

# Names of settings.py that read the yard's own files: for the edges alone. The shipped numbers of config/ are
# read once and do not change, so the core may ask for them.
YARD_READERS = {
    f"scheduler.settings.{name}"
    for name in ("load_yard", "find_yard_file", "home_yard_file", "demo_folder", "shipped_config")
}


def files_of_the_package() -> dict[str, Path]:
    """Every Python file of scheduler/, by its path inside the package."""
    package = ROOT / "scheduler"
    return {path.relative_to(package).as_posix(): path for path in sorted(package.rglob("*.py"))}


FILES = files_of_the_package()


def line_of(name: str) -> int | None:
    """Which line of the table a file stands on: its own, else the longest with a ``*`` that fits."""
    fits = [line for line in ORDER if fnmatchcase(name, line)]
    return ORDER.index(name if name in fits else max(fits, key=len)) if fits else None


def powers_of(name: str) -> frozenset[str]:
    return next((powers for line, powers in EDGES.items() if fnmatchcase(name, line)), frozenset())


def is_edge(name: str) -> bool:
    return any(fnmatchcase(name, line) for line in EDGES)


class Imported(NamedTuple):
    """One imported name: as the file uses it, what that stands for, what was fetched, and on which line."""

    used: str
    meaning: str
    full: str
    line: int


def imported_names(tree: ast.AST, name: str) -> Iterator[Imported]:
    """Every name that is imported anywhere in a file, inside functions too."""
    folder = ["scheduler", *name.split("/")[:-1]]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                top = alias.name.split(".")[
                    0
                ]  # "import a.b" makes a known, "import a.b as c" makes a.b known
                meaning = alias.name if alias.asname else top
                yield Imported(alias.asname or top, meaning, alias.name, node.lineno)
        elif isinstance(node, ast.ImportFrom):
            above = folder[: len(folder) - node.level + 1] if node.level else []
            module = ".".join([*above, *([node.module] if node.module else [])])
            for alias in node.names:
                full = f"{module}.{alias.name}"
                yield Imported(alias.asname or alias.name, full, full, node.lineno)


def file_of(full: str, files: dict[str, Path]) -> str | None:
    """The file of the package that an imported name comes from."""
    parts = full.split(".")
    if parts[0] != "scheduler":
        return None
    for n in range(len(parts), 0, -1):
        stem = "/".join(parts[1:n])
        for candidate in (f"{stem}.py", f"{stem}/__init__.py".lstrip("/")):
            if candidate in files:
                return candidate
    return None


def imports_of(name: str, source: str, files: dict[str, Path]) -> dict[str, int]:
    """The files of the package that a file imports, and on which line."""
    found: dict[str, int] = {}
    for item in imported_names(ast.parse(source), name):
        target = file_of(item.full, files)
        if target is not None and target != name:
            found.setdefault(target, item.line)
    return found


def out_of_order(name: str, source: str, files: dict[str, Path]) -> list[str]:
    """The imports of a file that the table forbids, in words."""
    own = line_of(name)
    faults = []
    for target, line in imports_of(name, source, files).items():
        other = line_of(target)
        same_folder_line = other == own and own is not None and "*" in ORDER[own]
        if own is not None and other is not None and other >= own and not same_folder_line:
            faults.append(f"{name}:{line} imports {target}, which does not stand above it")
        if not is_edge(name) and is_edge(target) and target != "settings.py":
            faults.append(f"{name}:{line} is pure and imports {target}, which has effects")
    return faults


def dotted(node: ast.expr, meaning: dict[str, str]) -> str:
    """``np.random.rand`` as ``numpy.random.rand``; empty where the node is no plain name."""
    if isinstance(node, ast.Name):
        return meaning.get(node.id, node.id)
    if isinstance(node, ast.Attribute):
        left = dotted(node.value, meaning)
        return f"{left}.{node.attr}" if left else ""
    return ""


def power_of_import(full: str) -> str | None:
    parts = full.split(".")
    for n in range(len(parts), 0, -1):
        head = ".".join(parts[:n])
        if head in POWERS:
            return POWERS[head]
    return None


def power_of_call(call: ast.Call, meaning: dict[str, str]) -> str | None:
    """What a call does beyond reckoning: files, clock, chance, environment, or nothing."""
    bare = not call.args and not call.keywords
    full = dotted(call.func, meaning)
    left, _, last = full.rpartition(".")
    if full in CALLS:
        return CALLS[full]
    if isinstance(call.func, ast.Attribute) and call.func.attr in FILE_METHODS:
        return "files"
    if left in CLOCKS and last in CLOCK_METHODS:
        return "clock"
    if full == "numpy.datetime64" and any(
        isinstance(a, ast.Constant) and a.value in CLOCK_METHODS for a in call.args
    ):
        return "clock"
    if isinstance(call.func, ast.Attribute) and call.func.attr == "astimezone" and bare:
        return "environment"  # the computer's own zone
    if left == "numpy.random" and (last not in SEEDED or (bare and last != "Generator")):
        return "chance"
    if full in {"uuid.uuid1", "uuid.uuid4"}:
        return "chance"
    return None


def impurities(name: str, source: str) -> list[str]:
    """What a file does that its line of the table does not allow, in words."""
    tree = ast.parse(source)
    names = list(imported_names(tree, name))
    meaning = {item.used: item.meaning for item in names}
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    found = [(item.line, f"imports {item.full}", power_of_import(item.full)) for item in names]
    found += [(call.lineno, f"calls {ast.unparse(call)}", power_of_call(call, meaning)) for call in calls]
    faults = [
        f"{name}:{line} {what} ({power})"
        for line, what, power in found
        if power and power not in powers_of(name)
    ]
    if not is_edge(name):
        faults += [
            f"{name}:{item.line} imports {item.full}, which reads the yard's own files"
            for item in names
            if item.full in YARD_READERS
        ]
    return faults


def test_the_package_is_there_to_be_checked() -> None:
    assert {"settings.py", "clocks.py", "weather/series.py"} <= set(FILES)


@pytest.mark.parametrize("name", FILES)
def test_every_file_has_a_line_in_the_order(name: str) -> None:
    assert line_of(name) is not None, f"{name} has no line in ORDER of {Path(__file__).name}: give it one"


@pytest.mark.parametrize("name", FILES)
def test_a_file_imports_only_from_lines_above_its_own(name: str) -> None:
    assert out_of_order(name, FILES[name].read_text(encoding="utf-8"), FILES) == []


@pytest.mark.parametrize("name", FILES)
def test_a_pure_file_has_no_effects_and_an_edge_only_its_own(name: str) -> None:
    assert impurities(name, FILES[name].read_text(encoding="utf-8")) == []


def test_no_two_files_import_each_other() -> None:
    graph = {name: imports_of(name, path.read_text(encoding="utf-8"), FILES) for name, path in FILES.items()}
    try:
        order = list(TopologicalSorter(graph).static_order())
    except CycleError as error:
        pytest.fail(f"these import each other: {' <- '.join(error.args[1])}")
    assert set(FILES) == set(order)


# ------------------------------------------------------------------ the guard itself

SOME_NAMES = [
    *("__init__.py", "units.py", "settings.py"),
    *("weather/__init__.py", "weather/series.py", "weather/air.py", "weather/fetch.py"),
    *("wood/volume.py", "wood/storage.py", "yard/store.py", "planning/jobs.py"),
]
SOME = dict.fromkeys(SOME_NAMES, Path())


@pytest.mark.parametrize(
    ("name", "source"),
    [
        ("weather/series.py", "from scheduler.weather import air"),
        ("weather/series.py", "from scheduler.weather.air import dew_point"),
        ("weather/series.py", "from .air import dew_point"),
        ("weather/series.py", "from . import air"),
        ("units.py", "import scheduler.settings"),
        ("units.py", "def f():\n    import scheduler.settings as s"),
        ("settings.py", "from scheduler import weather"),
        ("planning/jobs.py", "from scheduler.yard.store import Store"),
        ("planning/jobs.py", "from scheduler.weather import fetch"),
    ],
)
def test_the_guard_sees_an_import_that_goes_the_wrong_way(name: str, source: str) -> None:
    assert out_of_order(name, source, SOME)


@pytest.mark.parametrize(
    ("name", "source"),
    [
        ("weather/air.py", "from scheduler.weather.series import Weather"),
        ("weather/air.py", "from . import series"),
        ("wood/volume.py", "from scheduler.wood.storage import saw_by"),
        ("planning/jobs.py", "from scheduler.settings import Yard\nimport numpy as np"),
    ],
)
def test_the_guard_lets_an_import_from_above_pass(name: str, source: str) -> None:
    assert out_of_order(name, source, SOME) == []


@pytest.mark.parametrize(
    "source",
    [
        "import requests",
        "from sqlalchemy import select",
        "import socket",
        "import os",
        "from os.path import exists",
        "from pathlib import Path",
        "import urllib.request",
        "import time",
        "from time import monotonic as m",
        "import random",
        "from importlib.resources import files",
        "from scheduler.settings import load_yard",
        "text = open('x')",
        "def f(p):\n    return p.read_text()",
        "from datetime import datetime\nx = datetime.now()",
        "from datetime import datetime as dt, UTC\nx = dt.now(UTC)",
        "import datetime\nx = datetime.date.today()",
        "from datetime import date\nx = date.today()",
        "def f(at):\n    return at.astimezone()",
        "import numpy as np\nx = np.random.default_rng()",
        "import numpy as np\nx = np.random.normal(0, 1)",
        "import numpy\nx = numpy.random.rand(3)",
        "from numpy.random import default_rng\nx = default_rng()",
        "import numpy as np\nx = np.datetime64('now')",
        "from uuid import uuid4",
        "import uuid\nx = uuid.uuid4()",
    ],
)
def test_the_guard_sees_an_effect_in_a_pure_file(source: str) -> None:
    assert impurities("planning/jobs.py", source)


@pytest.mark.parametrize(
    "source",
    [
        "from datetime import datetime, time, UTC\nx = datetime(2025, 1, 1, tzinfo=UTC)\ny = time(6)",
        "import numpy as np\nx = np.random.default_rng(7)",
        "import numpy as np\nx = np.random.Generator(np.random.Philox(key=3))",
        "from uuid import uuid5, NAMESPACE_URL\nx = uuid5(NAMESPACE_URL, 'a')",
        "from urllib.parse import urlsplit",
        "from pathlib import PurePosixPath",
        "from zoneinfo import ZoneInfo\ndef f(at):\n    return at.astimezone(ZoneInfo('UTC'))",
        dedent('''
            from scheduler.settings import Yard, physics
            def today(open_since):
                """Open since: open(file) in a text is no call."""
                return open_since
        '''),
    ],
)
def test_the_guard_lets_plain_reckoning_pass(source: str) -> None:
    assert impurities("planning/jobs.py", source) == []


def test_an_edge_has_only_the_effects_of_its_line() -> None:
    assert impurities("weather/fetch.py", "import requests\nfrom pathlib import Path") == []
    assert impurities("weather/fetch.py", "import sqlalchemy")
    assert impurities("settings.py", "import requests")
    assert impurities("cli.py", "import requests, sqlalchemy, time, random, os") == []
