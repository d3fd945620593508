"""The made-up language itself: it marks what stands in the words files, and finds what does not."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from pseudo import LANGUAGE, english_left, marked, speaking_pseudo, unmarked, visible, wood_names

from scheduler.views.wording import Wording
from scheduler.views.words import words_in

AT = datetime(2025, 11, 4, 5, 0, tzinfo=UTC)


def test_own_words_are_marked_and_values_are_not() -> None:
    assert marked("brush {hours}, {chance}.") == "⟦brush ⟧{hours}, {chance}."
    assert marked("{day} {clock}") == "{day} {clock}"


def test_dates_texts_made_below_and_rules_are_marked_too() -> None:
    with speaking_pseudo():
        w = Wording(ZoneInfo("Europe/Berlin"), "metric", AT, LANGUAGE)
        assert w.day(AT) == "⟦today⟧"
        assert (w.long_day(AT)[0], w.long_day(AT)[-1]) == ("⟦", "⟧")
        assert w.words.told("skips seen") == "⟦skips seen⟧"
        assert w.words.told("a text that nobody translates") == "a text that nobody translates"
        assert unmarked(w.when(AT)) == []
    assert words_in(LANGUAGE).language == "en", "only for its time"


def test_a_word_that_stands_in_no_words_file_is_found_and_data_is_not() -> None:
    assert unmarked("⟦brush ⟧9 and ⟦at ⟧H01 elm 54 cm", ["elm"]) == ["and", "H"]
    assert unmarked("4 ft 6 in in 0.2 L, 3.1 m and -1.5 °C") == ["in", "and"]
    assert unmarked("⟦brush ⟧9 H01 wych elm", ["H01", *wood_names()]) == []


def test_a_word_left_in_english_is_found_in_another_language() -> None:
    assert english_left("streichen today, H01", "de") == ["today"]
    assert english_left("heute streichen, H01 today", "de", ["H01 today"]) == []


def test_of_a_page_the_texts_the_labels_and_the_hints_are_read() -> None:
    page = '<style>a b</style><p aria-label="one">two <b>three</b></p><input placeholder="four" value="no">'
    assert visible(page).split() == ["one", "two", "three", "four"]
