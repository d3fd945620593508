"""Log tags: big letters, and a code that another program reads back."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from paper_samples import pictured, printed
from test_sheet import MARKUP, Page
from test_today import AT, W, log

from scheduler.settings import species_table
from scheduler.views.tags import code_text, tags_html
from scheduler.yard.facts import Moment

ADDRESS = "http://192.168.1.20:8300"


def page(*logs: Any, address: str | None = None, paper: Any = "a4", yard: str = "Yard") -> str:
    return tags_html(logs, species_table(), W, yard, address, paper)


def codes(html: str, scale: int = 4) -> list[Any]:
    """The codes of a page as pictures, drawn here from their SVG squares."""
    out = []
    for side, path in re.findall(r'viewBox="0 0 (\d+) \d+".*?<path d="([^"]*)"', html):
        picture = np.full((int(side), int(side)), 255, dtype=np.uint8)
        for x, y in re.findall(r"M(\d+) (\d+)h1v1h-1z", path):
            picture[int(y), int(x)] = 0
        out.append(np.kron(picture, np.ones((scale, scale), dtype=np.uint8)))
    return out


def read(picture: Any) -> list[str]:
    """What an independent decoder reads in a picture."""
    zxing = pytest.importorskip("zxingcpp", reason="zxing-cpp is not installed: pip install -e '.[dev]'")
    # Of QR codes alone: noise in a picture may look like a short bar code.
    return [found.text for found in zxing.read_barcodes(picture, formats=zxing.BarcodeFormat.QRCode)]


def test_the_code_of_a_tag_is_the_address_of_its_page_and_another_program_reads_it() -> None:
    html = page(log("H01"), log("H05-2"), address=ADDRESS)
    assert [read(code) for code in codes(html)] == [[f"{ADDRESS}/log/H01"], [f"{ADDRESS}/log/H05-2"]]


def test_without_an_address_the_code_holds_the_tag() -> None:
    assert [read(code) for code in codes(page(log("H01")))] == [["H01"]]


def test_a_code_with_dirt_on_it_is_still_read() -> None:
    [code] = codes(page(log("H01"), address=ADDRESS))
    side = code.shape[0]
    dirty = code.copy()
    dirty[side // 2 : side // 2 + side // 8, side // 2 : side // 2 + side // 5] = 0
    assert read(dirty) == [f"{ADDRESS}/log/H01"]


@settings(max_examples=40, deadline=None)
@given(
    tag=st.from_regex(r"[^\W_][\w./-]{0,23}", fullmatch=True),
    path=st.sampled_from(["", "/yard/s3cret", "/ä"]),
)
def test_every_tag_that_can_be_given_is_read_back(tag: str, path: str) -> None:
    text = code_text(tag, ADDRESS + path)
    assert text.rpartition("/")[0] == f"{ADDRESS}{path}/log", "a slash in a tag makes no path"
    [code] = codes(page(log(tag), address=ADDRESS + path))
    assert read(code) == [text]


def test_a_tag_says_what_the_log_is() -> None:
    text = Page(page(log("H01", felled=Moment(AT)), yard="Ellerquern")).text
    assert "H01 Wild cherry felled Nov 2025; 2.4 m long; butt 50 cm; top 50 cm Ellerquern." in text
    bare = log("H02", species=None, species_said="", length_cm=None)
    bare = replace(bare, ends=tuple(replace(end, diameter_cm=None) for end in bare.ends))
    assert Page(page(bare)).texts[1:4] == [
        "H02",
        "Wood",
        "Yard. Plastic or aluminium, no steel: the saw finds it."
        " Write the tag on the face too, before the coat.",
    ]


def test_markup_in_a_logs_name_stays_text() -> None:
    html = page(log("H01", species=None, species_said=MARKUP), yard=MARKUP)
    found = Page(html)
    assert "script" not in found.names
    assert "b" not in found.names
    assert found.text.count(MARKUP) == 3, "the title, the wood, the yard"


def test_a_page_holds_eight_tags_and_prints_as_many_pages_as_it_takes(tmp_path: Path) -> None:
    logs = [log(f"H{n:02}") for n in range(1, 18)]
    pages = printed(page(*logs, paper="letter"), tmp_path)
    assert [len(re.findall(r"H\d\d", text)) for text in pages] == [8, 8, 1]


def test_the_code_is_read_from_the_page_that_a_browser_shows(tmp_path: Path) -> None:
    image = pytest.importorskip("PIL.Image", reason="pillow is not installed: pip install -e '.[dev]'")
    logs = [log(f"H{n:02}") for n in range(1, 9)]
    picture = pictured(page(*logs, address=ADDRESS), tmp_path, 760, 1100)
    found = read(np.asarray(image.open(picture).convert("L")))
    assert sorted(found) == [f"{ADDRESS}/log/H{n:02}" for n in range(1, 9)]
