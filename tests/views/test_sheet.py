"""The wall sheet: the page's order, boxes, cautions, and one page of paper whatever the yard holds."""

from __future__ import annotations

import re
from datetime import timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from morning_samples import MORNINGS, morning, wording
from paper_samples import printed
from test_today import AT, NEVER, VALUES, W, job, log, small

from scheduler.planning.inside import Carry
from scheduler.planning.night import DayOutlook, Night, days_of
from scheduler.views.sheet import CSS, sheet_html, sheet_rows
from scheduler.views.today import first_jobs

VOID = {"meta"}


class Page(HTMLParser):
    """The texts of a page, and whether every element closes where it should."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.texts: list[str] = []
        self.names: list[str] = []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.names.append(tag)
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] != "style" and data.strip():
            self.texts.append(data.strip())

    @property
    def text(self) -> str:
        return " ".join(self.texts)


def sixty(**facts: Any) -> Any:
    """A morning with sixty ends due on thirty logs."""
    jobs = [job(f"H{n:02}", end, minutes=1.0) for n in range(1, 31) for end in ("butt", "top")]
    return small("seal", *jobs, **facts)


def week_of(n: int = 7) -> list[DayOutlook]:
    return [DayOutlook(AT + timedelta(days=k), -1.5 + k, 0.5 + k) for k in range(n)]


@pytest.mark.parametrize(("yard", "n"), MORNINGS)
def test_the_sheet_of_every_morning_is_plain_and_promises_nothing(yard: str, n: int) -> None:
    b, outlook = morning(yard, n)
    for units in ("metric", "us"):
        w = wording(yard, n, units)
        for week in (False, True):
            days = days_of(outlook, 7) if week else []
            text = Page(sheet_html(b, w, "a4", week=week, days=days, jobs=b.morning.due)).text
            assert not NEVER.search(text), NEVER.findall(text)
            assert not VALUES.search(text), VALUES.findall(text)
            assert ("°C" if units == "us" else "°F") not in text


def test_the_lines_stand_in_the_order_of_the_morning_first_ends_first() -> None:
    b, _ = morning("upland", 3)
    w = wording("upland", 3)
    tags = [row.tag for row in sheet_rows(b, w)]
    first = list(dict.fromkeys(j.tag for j in first_jobs(b)[0]))
    assert len(first) > 3
    assert tags[: len(first)] == first
    page = Page(sheet_html(b, w))
    shown = [text for text in page.texts if text in tags]
    assert shown == tags[: len(shown)]


def test_every_line_has_a_box_for_cut_coated_milky_clear_and_three_times() -> None:
    html = sheet_html(small("seal", job("H01"), job("H02")), W)
    page = Page(html)
    assert page.names.count("u") == 14
    for word in ("cut", "coated", "milky", "clear", "morning", "noon"):
        assert word in page.texts


def test_all_cautions_stand_on_the_sheet_with_the_weights_of_the_yard() -> None:
    text = Page(sheet_html(small("seal", job()), W)).text
    for words in (
        "sheets rule over every number",
        "Feel the ends first",
        "no order to cut alone",
        "Never climb a stack",
        "above 25 kg two people or a machine, above 80 kg a machine only",
        "not alone in wind",
        "Storm or thunder: stop",
        "carbon monoxide",
        "A sealed log is not a kept log",
        "bark",
        "not a yes",
    ):
        assert words in text, words


def test_metal_that_was_seen_stands_beside_its_log() -> None:
    b = small("seal", job("H02", kind="cut_and_coat", people=2), people=2, logs=(log("H02", metal=True),))
    assert "butt; two people; metal seen in it" in Page(sheet_html(b, W)).text


def test_what_is_better_carried_inside_stands_on_the_sheet() -> None:
    b = small("leave_it", job("H01"), carry=(Carry("H01", "shed", 22.0, 1.0, 0.9),))
    assert (
        "Into the shed and coat there, about 9 in 10: H01 wild cherry (up to 22 kg)."
        in Page(sheet_html(b, W)).text
    )


def test_what_does_not_fit_is_counted_and_nothing_is_lost() -> None:
    for paper, days in (("a4", 0), ("letter", 0), ("a4", 7), ("letter", 7)):
        b = sixty(people=4)
        named, left = first_jobs(b)
        page = Page(
            sheet_html(b, W, paper, week=bool(days), days=week_of(days), jobs=b.morning.due)  # type: ignore[arg-type]
        )
        shown = page.names.count("u") // 7
        more = re.search(r"and (\d+) more ends", page.text)
        assert more is not None
        assert shown * 2 + int(more[1]) == len(named) + left == 60
        assert shown >= 5


def test_one_end_that_does_not_fit_is_one() -> None:
    jobs = [job(f"H{n:02}", minutes=30.0) for n in range(1, 7)]
    b = small("seal", *jobs)
    assert first_jobs(b)[1] == 1
    assert "and 1 more end:" in Page(sheet_html(b, W)).text


def test_an_unknown_morning_says_so_and_makes_up_no_hours() -> None:
    page = Page(sheet_html(small("unknown", job(), why="The forecast is 40 hours old."), W, week=True))
    assert "Unknown" in page.texts
    assert "There was no usable forecast." in page.text
    assert "brush" not in page.text.replace("Before you begin", "")


def test_a_day_without_work_says_that_nothing_is_due_and_leaves_lines_for_new_wood() -> None:
    page = Page(sheet_html(small("seal"), W))
    assert page.texts[2] == "Good coating weather, nothing is due"
    assert "Nothing is due." in page.texts
    assert "Wood that came today: tag, wood, sizes, when cut" in page.texts


def test_what_is_read_from_two_metres_is_large_and_everything_is_black_on_white() -> None:
    # A capital is 0.72 of its type size (Liberation Sans); 4 mm at 2 m is 7 minutes of arc, and what a
    # normal eye just reads is 5 (acuity chart of ISO 8596).
    sizes = {name: float(pt) for name, pt in re.findall(r"\.(\w+) \{[^}]*?font-size: ([\d.]+)pt", CSS)}
    for name in ("verdict", "hours", "what", "day"):
        assert sizes[name] * 0.3528 * 0.72 >= 3.8, name
    assert sizes["cautions"] >= 9.0
    assert set(re.findall(r"#[0-9a-fA-F]{3,6}\b", sheet_html(sixty(), W))) <= {"#000", "#fff"}


def test_a_long_line_below_a_job_is_set_smaller() -> None:
    hint = "shorter than it is thick: halve it through the pith, coat the halves"
    html = sheet_html(small("seal", job("H01", hint=hint), job("H02")), W)
    assert f'<p class="ends long">butt; {hint}</p>' in html
    assert '<p class="ends">butt</p>' in html


MARKUP = "<b onclick=x>&\"'</b><script>"


def test_markup_in_what_people_type_stays_text() -> None:
    nasty = log("H01", species=None, species_said=MARKUP, place=MARKUP)
    b = small("seal", job(), logs=(nasty,), yard_name=MARKUP, place=MARKUP, outside="leave_it")
    for week in (False, True):
        page = Page(sheet_html(b, W, week=week, days=week_of(), jobs=b.morning.due))
        assert "script" not in page.names
        assert page.names.count("b") == 7, "the days alone are bold"
        assert MARKUP in page.text


@settings(max_examples=50, deadline=None)
@given(
    said=st.text(min_size=1, max_size=60),
    tag=st.from_regex(r"[A-Z][A-Z0-9-]{0,23}", fullmatch=True),
    name=st.text(max_size=200),
    hint=st.text(max_size=200),
)
def test_whatever_people_type_the_page_keeps_its_shape(said: str, tag: str, name: str, hint: str) -> None:
    nasty = log(tag, species=None, species_said=said)
    b = small("seal", job(tag, hint=hint), logs=(nasty,), yard_name=name)
    plain = Page(sheet_html(small("seal", job(tag), logs=(log(tag),)), W))
    assert Page(sheet_html(b, W)).names == plain.names


# ------------------------------------------------------------------ printed by a real browser


@pytest.mark.parametrize(("paper", "week"), [("a4", False), ("letter", True)])
def test_sixty_ends_with_long_names_print_on_one_page_with_everything_on_it(
    paper: Any, week: bool, tmp_path: Path
) -> None:
    jobs = [
        job(f"H{n:02}-LONG-TAG-{n:02}", end, minutes=1.0, hint="shorter than it is thick: halve it " * 3)
        for n in range(1, 31)
        for end in ("butt", "top")
    ]
    wet = tuple((f"H{n:02}-LONG-TAG-{n:02}", "butt") for n in range(1, 9))
    night = Night(-1.0, None, -1.0, -1.0, 1.0)
    b = small("seal", *jobs, people=4, yard_name="A yard with a long name " * 4, wet=wet, night=night)
    days = week_of() if week else []
    pages = printed(sheet_html(b, W, paper, week=week, days=days, jobs=b.morning.due), tmp_path)
    assert len(pages) == 1
    text = " ".join(pages[0].split())
    assert "H01-LONG-TAG-01" in text
    assert re.search(r"and \d+ more ends", text)
    assert "Pail indoors" in text
    assert "stands above this sheet." in text, "the last caution"
    assert "look, feel, measure." in text, "the last line"


def test_the_demo_yards_tuesday_prints_on_one_page(tmp_path: Path) -> None:
    b, _ = morning("upland", 3)
    [text] = printed(sheet_html(b, wording("upland", 3)), tmp_path)
    assert "Seal today" in text
    assert "H02" in text
