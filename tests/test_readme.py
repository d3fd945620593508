"""The documents: every command line in them works, and what they promise is there."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer
from command_line import columns_of, fair, run
from loopback import Service, service

from scheduler.cli import program
from scheduler.settings import rule_specs
from scheduler.weather import fetch

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
EXAMPLE = (ROOT / "config" / "yard.example.toml").read_text(encoding="utf-8")
MARKER = "<!-- test command -->"


def blocks(text: str) -> list[list[str]]:
    """The lines of every fenced block, comments and empty lines left out."""
    found = re.findall(r"^```\w*\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    return [[line for line in block.splitlines() if line.strip()] for block in found]


def typed(line: str) -> list[str]:
    """The words of a command line as a shell would split them."""
    return shlex.split(line, comments=True)


def commands(text: str) -> list[str]:
    """Every ``coatcast ...`` in blocks and between backticks."""
    lines = [line for block in blocks(text) for line in block if line.startswith("coatcast ")]
    prose = re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)
    return lines + re.findall(r"`(coatcast [^`]+)`", prose)


WHOLE = typer.main.get_command(program())
EVERY = list(dict.fromkeys(commands(README) + commands(DEVELOPERS) + commands(EXAMPLE)))


def found(words: list[str]) -> tuple[Any, list[str]]:
    """The command that the words name, and what follows it."""
    command: Any = WHOLE
    rest = words
    while hasattr(command, "commands") and rest and not rest[0].startswith("-"):
        inner = command.commands.get(rest[0])
        assert inner is not None, f"there is no command {rest[0]}; there are {', '.join(command.commands)}"
        command, rest = inner, rest[1:]
    return command, rest


@pytest.mark.parametrize("line", EVERY)
def test_every_command_line_of_the_documents_names_a_command_and_options_that_exist(line: str) -> None:
    words = typed(line)
    assert words[0] == "coatcast"
    command, rest = found(words[1:])
    known = {name for parameter in command.params for name in (*parameter.opts, *parameter.secondary_opts)}
    for word in rest:
        if re.match(r"--?[a-z]", word):
            assert word.split("=")[0] in known | {"--help"}, f"{word}: {command.name} has {sorted(known)}"


def test_there_are_enough_of_them_to_be_worth_the_check() -> None:
    names = {typed(line)[1] for line in EVERY if len(typed(line)) > 1}
    assert names >= {
        "init",
        "verify",
        "today",
        "log",
        "note",
        "why",
        "spans",
        "reminders",
        "calendar",
        "undo",
    }


# ------------------------------------------------------------------ the five minutes, as a person types them


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> Iterator[Service]:
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    manners = fetch.Manners(waits=(0.0, 0.0), sleep=lambda _s: None)
    monkeypatch.setattr(fetch, "Manners", lambda: manners)
    with service(columns_of(fair(16), place=(48.0123, 8.2345))) as running:
        yield running


def five_minutes() -> list[str]:
    """The block of README.md that begins with init."""
    return next(block for block in blocks(README) if block[0].startswith("coatcast init"))


def test_the_five_minutes_of_the_readme_run_from_the_first_line_to_the_last(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, served: Service
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("TZ", "Europe/Berlin")
    monkeypatch.delenv("COATCAST_YARD", raising=False)
    clock = ("--at", "2025-11-03T09:40")  # the stored weather's Monday; a person's clock needs no option
    for line in five_minutes():
        words = typed(line)[1:]
        ran = run(*words, *(() if words[0] == "init" else clock))
        assert ran.code == 0, f"{line}\n{ran.out}{ran.err}"
        assert ran.err == ""
        if words[0] == "init":
            yard = tmp_path / "home" / "coatcast" / "yard.toml"
            text = yard.read_text(encoding="utf-8")
            mended = re.sub(r'^url = "https://[^"]*"', f'url = "{served.url}"', text, flags=re.MULTILINE)
            assert mended != text, "the short name has put its address in"
            yard.write_text(mended, encoding="utf-8")
    assert (tmp_path / "yard.ics").read_bytes().startswith(b"BEGIN:VCALENDAR")
    assert served.asked


# ------------------------------------------------------------------ the two commands


def test_the_test_command_is_marked_once_and_is_one_line_to_paste() -> None:
    assert README.count(MARKER) == 1
    after = README.split(MARKER, 1)[1]
    [line] = blocks(after)[0]
    assert line.startswith("python3 -m venv ")
    assert line.endswith("-m pytest -n auto")
    assert "\n" not in line


def test_the_first_command_sets_up_and_shows_the_demo() -> None:
    [line] = blocks(README)[0]
    assert line.startswith("python3 -m venv ")
    assert line.endswith("coatcast demo")


def test_the_first_paragraph_says_the_whole_job() -> None:
    paragraph = README.split("\n\n")[1]
    words = (
        "log",
        "ends",
        "dry",
        "crack",
        "wax",
        "second",
        "rained",
        "frozen",
        "least temperature",
        "forecast",
        "why",
    )
    for word in words:
        assert word in paragraph, word


# ------------------------------------------------------------------ what must be said, and what must not


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md", "config/yard.example.toml", "pyproject.toml"])
def test_no_document_names_a_path_of_a_machine(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    for path in re.findall(r"(?<![\w.:/])/(?:work|root|tmp|usr|opt|mnt|Users)\b[^\s`\"']*", text):
        pytest.fail(f"{name} names {path}")


def test_nothing_is_left_to_be_filled_in() -> None:
    for name, text in (("README.md", README), ("DEVELOPERS.md", DEVELOPERS)):
        left = re.findall(r"\b[A-Z_]*PLACEHOLDER\b|\bTODO\b|\bFIXME\b|\bXXX\b|\bTBD\b", text)
        assert not left, f"{name}: {left}"


@pytest.mark.parametrize(
    "words",
    [
        "non-commercial use only",
        "No message is not a yes",
        "safety sheet",
        "never climb a stack",
        "two people",
        "A sealed log is not a kept log",
        "carbon monoxide",
        "no source",
        "never above 9 in 10",
        "Licence: MIT",
    ],
)
def test_the_readme_holds_its_cautions_and_its_doubts(words: str) -> None:
    assert words in README


def test_the_guide_for_contributors_names_every_folder_and_top_file_of_the_program() -> None:
    scheduler = ROOT / "scheduler"
    folders = [
        path.relative_to(scheduler)
        for path in scheduler.rglob("*")
        if path.is_dir() and not path.name.startswith("_") and list(path.glob("*.py"))
    ]
    assert folders
    for folder in folders:
        if folder.name != "versions":
            assert f"{folder.name}/" in DEVELOPERS, folder
    for path in scheduler.glob("*.py"):
        assert path.name in DEVELOPERS or path.name == "__init__.py", path.name


def test_the_guide_says_how_to_add_each_thing_that_can_be_added() -> None:
    section = DEVELOPERS.split("## How to add")[1]
    for thing in ("A rule", "A forecast family", "A coating", "A channel", "A species"):
        assert f"**{thing}.**" in section


def test_every_dependency_is_explained_to_contributors() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    for requirement in project["dependencies"]:
        name = re.match(r"[A-Za-z0-9-]+", requirement)
        assert name is not None
        assert name[0] in DEVELOPERS, name[0]


def test_every_shipped_rule_is_tried_in_the_tests_of_the_rules() -> None:
    tests = "\n".join(
        path.read_text(encoding="utf-8") for path in (ROOT / "tests" / "rules").glob("test_*.py")
    )
    missing = [name for name in rule_specs() if not re.search(rf"\b{name}\b", tests)]
    assert missing == []
