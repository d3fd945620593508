"""The picture of a morning: one well-formed SVG with the words on it, night hatched, nothing off the page."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from morning_samples import MORNINGS, morning, wording

from scheduler.views.chart import WIDTH, board_svg
from scheduler.views.today import headline
from scheduler.views.wording import VERDICT_WORDS

SVG = "{http://www.w3.org/2000/svg}"
SOME = [m for m in MORNINGS if m[1] in (0, 2, 3, 5, 8, 11)]


def drawn(yard: str, n: int, units: str = "metric") -> ElementTree.Element:
    b, _ = morning(yard, n)
    return ElementTree.fromstring(board_svg(b, wording(yard, n, units)))


def words(picture: ElementTree.Element) -> list[str]:
    return [text.text or "" for text in picture.iter(f"{SVG}text")]


@pytest.mark.parametrize(("yard", "n"), SOME)
def test_the_picture_is_well_formed_and_says_the_first_line_to_a_reader(yard: str, n: int) -> None:
    b, _ = morning(yard, n)
    for units in ("metric", "us"):
        picture = drawn(yard, n, units)
        assert picture.tag == f"{SVG}svg"
        assert picture.get("role") == "img"
        line = headline(b, wording(yard, n, units))
        assert picture.findtext(f"{SVG}title") == line
        assert (picture.findtext(f"{SVG}desc") or "").startswith(line)


@pytest.mark.parametrize(("yard", "n"), SOME)
def test_the_word_of_the_verdict_is_the_biggest_thing_on_the_page(yard: str, n: int) -> None:
    b, _ = morning(yard, n)
    texts = list(drawn(yard, n).iter(f"{SVG}text"))
    biggest = max(texts, key=lambda text: float(text.get("font-size", "0")))
    assert (biggest.text or "").startswith(VERDICT_WORDS[b.morning.verdict])


@pytest.mark.parametrize(("yard", "n"), SOME)
def test_nothing_is_drawn_off_the_page(yard: str, n: int) -> None:
    for shape in drawn(yard, n).iter():
        for name in ("x", "y"):
            if shape.get(name) is not None:
                assert 0.0 <= float(shape.get(name, "")) <= (WIDTH if name == "x" else 640.0)
        for name in ("width", "height"):
            value = shape.get(name)
            assert value is None or float(value) >= 0.0
        if shape.tag == f"{SVG}rect" and shape.get("fill") == "url(#night)":
            right = float(shape.get("x", "")) + float(shape.get("width", ""))
            assert right <= WIDTH - 15.9


def test_the_night_is_hatched_and_the_brush_lies_in_the_day() -> None:
    picture = drawn("upland", 3)
    rects = list(picture.iter(f"{SVG}rect"))
    nights = [rect for rect in rects if rect.get("fill") == "url(#night)"]
    [brush] = [rect for rect in rects if rect.get("fill") == "#111"]
    left = float(brush.get("x", ""))
    right = left + float(brush.get("width", ""))
    assert len(nights) >= 2
    for night in nights:
        fall = float(night.get("x", ""))
        assert right <= fall or left >= fall + float(night.get("width", ""))


def test_a_day_to_seal_shows_hours_chance_flags_and_the_first_two_logs() -> None:
    said = words(drawn("upland", 3))
    assert "Seal today" in said
    assert any(re.fullmatch(r"brush 9 to 1[56](:\d\d)?", text) for text in said)
    assert "about 9 in 10" in said
    for flag in ("dry to touch by ", "takes rain by ", "past frost by ", "rain tomorrow"):
        assert any(text.startswith(flag) for text in said), flag
    assert any(text.startswith("Coldest on the wood while milky +") for text in said)
    assert "Do first" in said
    assert [text for text in said if re.fullmatch(r"H\d\d", text)] == ["H02", "H01"]


def test_a_day_that_is_none_says_so_and_does_not_ask_for_work() -> None:
    said = words(drawn("upland", 5))
    assert "Leave it today" in said
    assert "Do first" not in said


def test_with_an_empty_register_nothing_is_due() -> None:
    assert "Nothing is due" in words(drawn("southern", 4))


def test_signs_of_markup_in_names_do_no_harm() -> None:
    from dataclasses import replace

    b, _ = morning("southern", 4)
    svg = board_svg(replace(b, yard_name="A <b> & 'c' \"d\""), wording("southern", 4))
    picture = ElementTree.fromstring(svg)
    assert any(text.startswith("A <b> & 'c' \"d\"") for text in words(picture))


@pytest.mark.parametrize(("yard", "n"), SOME)
def test_the_picture_says_no_more_than_nine_in_ten_and_promises_nothing(yard: str, n: int) -> None:
    whole = " ".join(words(drawn(yard, n)))
    assert not re.search(r"!|\b(safe|late|overdue|missed)\b", whole)
    assert all(1 <= int(k) <= 9 for k in re.findall(r"(\d+) in 10", whole))
