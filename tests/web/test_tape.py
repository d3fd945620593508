"""The tape and the faces: drawn inside their frame, well-formed, named in words, by the yard's clock."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from page_samples import MONDAY, TUESDAY, Clock, page_app

from scheduler.views.wording import Wording
from scheduler.web import screens, tape
from scheduler.web.desk import View


def view_at(folder: Path, at: datetime) -> View:
    view: View = page_app(folder, Clock(at)).state.room.desk.view()
    return view


def drawn(view: View, w: Wording | None = None) -> ElementTree.Element:
    said = tape.tape(view.briefing, w or view.wording, screens.shown_span(view.briefing))
    return ElementTree.fromstring(str(said))


def numbers(root: ElementTree.Element) -> list[str]:
    return [text.text or "" for text in root.iter("text") if text.get("class") == "hour"]


@pytest.mark.parametrize("at", [MONDAY, TUESDAY])
def test_the_tape_is_well_formed_and_all_its_words_stand_in_the_frame(at: datetime, tmp_path: Path) -> None:
    root = drawn(view_at(tmp_path, at))
    _, _, wide, high = map(float, (root.get("viewBox") or "").split())
    for text in root.iter("text"):
        x, y, long = float(text.get("x") or 0), float(text.get("y") or 0), len(text.text or "") * tape.LETTER
        assert 0 < y <= high
        if text.get("class") == "flag":
            left, right = (x, x + long) if text.get("text-anchor") == "start" else (x - long, x)
            assert left >= -4
            assert right <= wide + 4


def test_the_hours_are_those_of_the_yard(tmp_path: Path) -> None:
    view = view_at(tmp_path, TUESDAY)
    assert numbers(drawn(view))[:3] == ["12", "18", "0"]
    us = replace(view.wording, units="us", zone=ZoneInfo("America/New_York"))
    assert set(numbers(drawn(view, us))) == {"6", "12"}, "a clock of twelve hours"


def test_the_night_is_hatched_and_the_brush_begins_where_the_hours_say(tmp_path: Path) -> None:
    view = view_at(tmp_path, TUESDAY)
    root = drawn(view)
    assert [rect.get("fill") for rect in root.iter("rect")].count("url(#night)") >= 2
    [stroke] = [path.get("d") or "" for path in root.iter("path") if path.get("class") == "stroke"]
    nine = TUESDAY.astimezone(view.yard.zone).replace(hour=9, minute=0)
    ruler = tape._ruler(view.briefing, view.wording, screens.shown_span(view.briefing))
    assert float(stroke[1:].split()[0]) == pytest.approx(ruler.x(nine), abs=0.1)


def test_a_flag_with_markup_in_its_words_stays_words(tmp_path: Path) -> None:
    view = view_at(tmp_path, TUESDAY)
    ruler = tape._ruler(view.briefing, view.wording, None)
    _, words = tape._hung([tape._Flag(TUESDAY + timedelta(hours=3), "<script>&")], ruler, 60.0)
    assert "&lt;script&gt;&amp;" in words[0]


def test_a_span_behind_the_end_of_the_tape_is_not_drawn_on_its_edge(tmp_path: Path) -> None:
    view = view_at(tmp_path, TUESDAY)
    span = screens.shown_span(view.briefing)
    assert span is not None
    far = replace(span, start=span.start + timedelta(days=5), end=span.end + timedelta(days=5))
    far = replace(far, sure_from=None, sure_until=None)
    root = ElementTree.fromstring(str(tape.tape(view.briefing, view.wording, far)))
    assert not [path for path in root.iter("path") if path.get("class") == "stroke"]


def test_faces_differ_by_shape_and_not_by_colour_alone() -> None:
    words = ("bare", "opened", "wet", "coated", "sealed", "spoiled")
    faces = {state: str(tape.end_face(state)) for state in words}
    assert len(set(faces.values())) == len(words)
    verdicts = ("seal", "touch_and_go", "prepare", "leave_it", "unknown")
    assert len({str(tape.verdict_face(one)) for one in verdicts}) == len(verdicts)
    for face in faces.values():
        root = ElementTree.fromstring(face)
        assert root.get("aria-hidden") == "true", "the word beside it is what is read"
        assert "fill=" not in face, "colours are the style sheet's"
