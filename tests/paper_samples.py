"""Printing pages in tests: a real browser where there is one, and what its PDF holds."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def browser() -> str:
    """A headless browser, else the test is skipped."""
    found = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip("no chromium here to print with")
    return found


def _headless(folder: Path, *words: str) -> None:
    common = ("--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={folder / 'profile'}")
    subprocess.run([browser(), *common, *words], check=True, capture_output=True, timeout=120)


def printed(html: str, folder: Path) -> list[str]:
    """The text of every page, as a browser prints it."""
    pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed: pip install -e '.[dev]'")
    source, target = folder / "page.html", folder / "page.pdf"
    source.write_text(html, encoding="utf-8")
    _headless(folder, "--no-pdf-header-footer", f"--print-to-pdf={target}", source.as_uri())
    return [page.extract_text() for page in pypdf.PdfReader(target).pages]


def pictured(html: str, folder: Path, width: int, height: int) -> Path:
    """A picture of the page as a browser shows it."""
    source, target = folder / "page.html", folder / "page.png"
    source.write_text(html, encoding="utf-8")
    _headless(
        folder,
        "--hide-scrollbars",
        f"--window-size={width},{height}",
        f"--screenshot={target}",
        source.as_uri(),
    )
    return target
