"""The first screen: verdict, tape, two lines with their buttons, and what a tap does to them."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from page_browser import Browser
from page_samples import MONDAY, TUESDAY, Clock, entries_of, page_app, planned

from scheduler.planning.questions import Question
from scheduler.sources import kept_forecast


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def page(tmp_path: Path, clock: Clock) -> Browser:
    return Browser(page_app(tmp_path, clock)).open("/")


def tags(page: Browser) -> list[str]:
    return re.findall(r'class="tag" href="/log/([^"]+)"', page.html)


def test_the_first_screen_says_word_hours_and_chance_before_all_else(page: Browser) -> None:
    assert page.status == 200
    order = [page.text.index(words) for words in ("Seal today", "brush 9 to", "about 9 in 10", "Do first")]
    assert order == sorted(order)
    assert "forecast 2 h old, page from 6:00" in page.text


def test_two_lines_stand_on_the_first_screen_and_the_rest_is_counted(page: Browser) -> None:
    assert tags(page) == ["H02", "H01"]
    assert "and 7 more" in page.text


def test_no_money_and_no_percent_stand_on_the_first_screen(page: Browser) -> None:
    assert not re.search(r"EUR|%|humidity|dew point", page.text)


def test_the_tape_is_told_in_words_for_those_who_cannot_see_it(page: Browser) -> None:
    desc = re.search(r'<desc id="tape-d">(.*?)</desc>', page.html)
    assert desc is not None
    assert "brush today 9 to" in desc[1]
    assert "rain tomorrow at 10:00" in desc[1]
    assert 'role="img" aria-labelledby="tape-t tape-d"' in page.html


def test_the_tape_bears_three_flags_at_most(page: Browser) -> None:
    assert page.html.count('class="flag"') == 3


def test_a_tap_notes_the_coat_and_the_line_keeps_its_undo_for_as_long_as_it_stands(
    page: Browser, clock: Clock, tmp_path: Path
) -> None:
    clock.goes(hours=3, minutes=40)
    page.open("/").tap("/note", "Coated", tag="H01")
    assert page.path == "/"
    assert "coated 9:40" in page.text
    assert entries_of(tmp_path)[-1].kind == "coat"
    clock.goes(minutes=8)
    page.open("/")
    assert "coated 9:40" in page.text
    page.tap("/mend", "Undo", tag="H01")
    assert "coated 9:40" not in page.text
    assert "H01" in tags(page)
    assert [e.kind for e in entries_of(tmp_path)[-2:]] == ["coat", "correct"], "nothing is ever deleted"


def test_what_was_done_can_be_told_of_as_earlier(page: Browser, clock: Clock) -> None:
    clock.goes(hours=4)
    page.open("/").tap("/note", "Coated", tag="H01")
    page.tap("/mend", "Set", {"when": "09:10"}, tag="H01")
    assert "coated 9:10" in page.text


def test_a_fresh_cut_is_followed_by_the_button_for_its_coat(page: Browser) -> None:
    page.tap("/note", "Cut", tag="H02")
    assert "cut 6:00" in page.text
    assert tags(page)[:2] == ["H02", "H01"]
    page.tap("/note", "Coated", tag="H02")
    assert "coated 6:00" in page.text
    assert page.text.count("Coated") >= 2, "two logs are still to do"


def test_the_same_tap_twice_is_one_coat(page: Browser, tmp_path: Path) -> None:
    pairs = page.filled("/note", "Coated", tag="H01")
    before = len(entries_of(tmp_path))
    page.send("/note", pairs)
    page.send("/note", pairs)
    assert len(entries_of(tmp_path)) == before + 1
    assert "coated 6:00" in page.text


def test_a_second_person_who_taps_too_is_told_that_it_is_the_same_coat(page: Browser, tmp_path: Path) -> None:
    other = page.another().open("/")
    page.tap("/note", "Coated", tag="H01")
    other.tap("/note", "Coated", tag="H01")
    assert "same coat" in other.text
    assert other.text.count("coated 6:00") == 1


def test_undo_takes_back_only_what_the_page_told_of(page: Browser, tmp_path: Path) -> None:
    page.open("/log/H01").tap("/note", "Coated")
    told = page.filled("/undo", "Undo")
    page.another().open("/log/H03").tap("/note", "Coated")
    page.send("/undo", told)
    assert "Something was noted since then" in page.text
    assert entries_of(tmp_path)[-1].tag == "H03"


def test_a_log_that_rests_by_its_reminder_is_not_on_the_first_screen(page: Browser) -> None:
    planned(page.app)  # type: ignore[arg-type]
    page.open("/reminders")
    numbers = [link for link in page.page.links if link.startswith("/reminder/")]
    mine = [n for n in numbers if "H01 wild cherry" in page.open(n).text and "first coat" in page.text]
    assert len(mine) == 2
    for link in mine:
        page.open(link).tap("/remind", "Later")
        assert "Rests till tomorrow" in page.text
    assert "H01" not in tags(page.open("/"))


# ------------------------------------------------------------------ the day's other faces


def test_an_empty_yard_hears_the_weather_and_how_to_begin(tmp_path: Path) -> None:
    page = Browser(page_app(tmp_path, logs=False)).open("/")
    assert "Good coating weather" in page.text
    assert "No log yet" in page.text
    assert "Leave it" not in page.text
    assert "/add" in page.page.links


def test_a_german_yard_has_its_first_screen_in_german(tmp_path: Path) -> None:
    app = page_app(tmp_path)
    file = tmp_path / "yard.toml"
    text = file.read_text(encoding="utf-8").replace('units = "metric"', 'units = "metric"\nlanguage = "de"')
    file.write_text(text, encoding="utf-8")
    app.state.room.desk._view = None
    page = Browser(app).open("/")
    assert '<html lang="de">' in page.html
    for words in (
        "Heute versiegeln",
        "streichen 9",
        "Zuerst",
        "Gestrichen",
        "Neuer Stamm",
        "Vorhersage 2 h alt",
    ):
        assert words in page.text
    english = r"\b(Seal|brush|about|Coated|Cut|and|more|forecast|Do first|two people|Undo|Add)\b"
    assert not re.search(english, page.text), page.text
    page.tap("/note", "Gestrichen", tag="H01")
    assert "gestrichen 6:00" in page.text


def test_monday_says_prepare_and_the_reason_first(tmp_path: Path) -> None:
    page = Browser(page_app(tmp_path, Clock(MONDAY))).open("/")
    order = [
        page.text.index(words) for words in ("Prepare", "tomorrow brush 9 to", "Not today:", "Wood cut today")
    ]
    assert order == sorted(order)


def test_without_a_forecast_the_page_says_unknown_and_guesses_nothing(tmp_path: Path) -> None:
    page = Browser(page_app(tmp_path, forecast=kept_forecast)).open("/")
    assert page.status == 200
    assert "Unknown" in page.text
    assert "By eye: dull dry face" in page.text
    assert "in 10" not in page.text
    assert 'class="tape"' not in page.html


def test_an_old_forecast_is_a_full_sentence_and_a_very_old_one_is_unknown(tmp_path: Path) -> None:
    clock = Clock(TUESDAY + timedelta(hours=14))
    page = Browser(page_app(tmp_path, clock)).open("/")
    assert "The forecast is 16 hours old" in page.text
    clock.goes(hours=30)
    assert "Unknown" in page.open("/").text


def asking(page: Browser, question: Question) -> Browser:
    """The first screen of a morning that has that question."""
    desk = page.app.state.room.desk  # type: ignore[attr-defined]
    key, view = desk._view
    desk._view = (key, replace(view, briefing=replace(view.briefing, question=question)))
    return page.open("/")


def answers(page: Browser) -> list[str]:
    return [word for form in page.page.forms if form.action == "/answer" for word in form.buttons]


def test_the_question_of_the_frost_is_put_once_and_its_answer_noted(page: Browser, tmp_path: Path) -> None:
    asking(page, Question("frost", "frost", 0.5, 1.0))
    assert "White frost on the ends this morning?" in page.text
    assert answers(page) == ["Yes", "No"]
    page.tap("/answer", "No")
    assert entries_of(tmp_path)[-1].kind == "seen"
    assert answers(page) == []


def test_the_question_of_a_coat_has_three_answers_of_one_word(page: Browser, tmp_path: Path) -> None:
    asking(page, Question("coat", "coat/H09/butt", 0.5, 1.0, tag="H09", end="butt"))
    assert answers(page) == ["Clear", "Milky", "Wrong"]
    page.tap("/answer", "Clear")
    last = entries_of(tmp_path)[-1]
    assert (last.kind, last.tag, last.ends) == ("look", "H09", ("butt",))
    assert answers(page) == []


def test_who_is_away_is_told_so_until_he_is_back(page: Browser) -> None:
    page.open("/settings").tap("/away", "Away", {"until": "2025-11-20"})
    assert "Away until" in page.open("/").text
    page.open("/settings").tap("/away", "Back now")
    assert "Away until" not in page.open("/").text


def test_a_yard_file_at_fault_is_told_and_the_old_settings_hold(page: Browser, tmp_path: Path) -> None:
    (tmp_path / "yard.toml").write_text("[yard\n", encoding="utf-8")
    page.open("/")
    assert page.status == 200
    assert "the old settings hold" in page.text
    assert "Seal today" in page.text
