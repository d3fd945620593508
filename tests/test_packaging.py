"""The program as it is installed: the wheel and the source archive hold all it needs, anywhere."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
pytestmark = pytest.mark.slow


def call(*words: str | Path, cwd: Path, **environment: str) -> str:
    """Run a program to its end; its output, or a failure that shows what it said."""
    clean = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "PYTHONHOME")}
    ran = subprocess.run(
        [str(word) for word in words],
        cwd=cwd,
        env=clean | environment,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return ran.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built without the network by the tools that are installed."""
    pytest.importorskip("hatchling", reason="hatchling is not installed: pip install -e '.[dev]'")
    folder = tmp_path_factory.mktemp("wheel")
    pip = (sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation", "--no-index")
    call(*pip, "--disable-pip-version-check", "-w", folder, ROOT, cwd=folder)
    [built] = folder.glob("coatcast-*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel installed into a folder of its own."""
    folder = tmp_path_factory.mktemp("installed")
    pip = (sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--no-index", "--no-compile")
    call(*pip, "--disable-pip-version-check", "--target", folder, wheel, cwd=folder)
    return folder


def python(installed: Path, cwd: Path, code: str) -> str:
    """Python with the installed folder first on its path; the checkout is not on it."""
    head = (
        f"import sys; sys.path = [p for p in sys.path if p not in ('', {str(ROOT)!r})]; "
        f"sys.path.insert(0, {str(installed)!r}); "
        f"sys.meta_path = [f for f in sys.meta_path if 'editable' not in repr(f).lower()]; "
    )
    return call(sys.executable, "-c", head + code, cwd=cwd)


def test_the_wheel_holds_the_program_its_config_and_its_demo_and_no_tests(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    for name in (ROOT / "config").glob("*.toml"):
        assert f"scheduler/_config/{name.name}" in names
    for name in ("yard.toml", "southern.toml", "weather.json", "southern_weather.json", "logs.csv"):
        assert f"scheduler/_demo/{name}" in names
    for path in (ROOT / "scheduler").rglob("*.py"):
        assert f"scheduler/{path.relative_to(ROOT / 'scheduler')}" in names
    assert "scheduler/yard/migrations/script.py.mako" in names
    assert not [
        name for name in names if name.startswith("tests/") or "__pycache__" in name or name.endswith(".db")
    ]
    assert any(name.endswith("licenses/LICENSE") for name in names)


def test_the_installed_program_finds_its_own_config_and_demo(installed: Path, tmp_path: Path) -> None:
    said = python(
        installed,
        tmp_path,
        "import scheduler.settings as s; print(s.__file__, s.shipped_config(), s.demo_folder(), sep='\\n')",
    )
    assert said.splitlines() == [
        str(installed / "scheduler" / "settings.py"),
        str(installed / "scheduler" / "_config"),
        str(installed / "scheduler" / "_demo"),
    ]


def test_the_installed_program_runs_the_demo_elsewhere(installed: Path, tmp_path: Path) -> None:
    code = "sys.argv = ['coatcast', 'demo', '--out', 'out']; from scheduler.cli import main; main()"
    said = python(installed, tmp_path, code)
    assert said.startswith("Ellerquern Bench")
    assert "Seal today, brush 9 to " in said
    assert (tmp_path / "out" / "ellerquern.ics").read_bytes().startswith(b"BEGIN:VCALENDAR")
    assert not list(installed.rglob("*.db")), "nothing is written where the program lies"


def test_the_installed_program_sets_up_a_yard_and_its_store(installed: Path, tmp_path: Path) -> None:
    main = "from scheduler.cli import main; "
    init = "coatcast init --place 48.0,8.2 --zone Europe/Berlin -o yard.toml"
    python(installed, tmp_path, f"{main}sys.argv = '{init}'.split(); main()")
    said = python(installed, tmp_path, f"{main}sys.argv = 'coatcast log add walnut 22in 8ft'.split(); main()")
    assert "walnut" in said
    assert (tmp_path / "coatcast.db").is_file()


def test_the_command_of_the_wheel_is_coatcast(wheel: Path) -> None:
    archive = zipfile.ZipFile(wheel)
    [name] = [name for name in archive.namelist() if name.endswith("entry_points.txt")]
    assert "coatcast = scheduler.cli:main" in archive.read(name).decode()


def test_the_source_archive_holds_what_a_wheel_is_built_from(tmp_path: Path) -> None:
    pytest.importorskip("hatchling", reason="hatchling is not installed: pip install -e '.[dev]'")
    call(sys.executable, "-m", "hatchling", "build", "-t", "sdist", "-d", tmp_path, cwd=ROOT)
    [archive] = tmp_path.glob("coatcast-*.tar.gz")
    with tarfile.open(archive) as inside:
        names = {name.split("/", 1)[1] for name in inside.getnames() if "/" in name}
    needed = {
        "pyproject.toml",
        "README.md",
        "LICENSE",
        "config/rules.toml",
        "demo/weather.json",
        "scheduler/cli.py",
    }
    assert needed <= names
    assert "tests/test_packaging.py" in names
    assert not [name for name in names if name.endswith((".db", ".pyc"))]
    assert {name for name in names if name.startswith(".")} <= {".gitignore"}


def test_the_version_is_told_in_one_place_only_once_more() -> None:
    from scheduler import __version__

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == __version__
    assert project["scripts"] == {"coatcast": "scheduler.cli:main"}
    assert project["requires-python"] == ">=3.11"
