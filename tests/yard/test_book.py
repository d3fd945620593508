"""Commands turned into entries, and what is said to the person."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from yard_story import AT, DAY, HOUR, Story, ago

from scheduler.yard import book
from scheduler.yard.book import By, NewEnd, NewLog, Note, Voice, YardError
from scheduler.yard.facts import Moment
from scheduler.yard.state import fold
from scheduler.yard.tags import next_tag

# The wording and the refusals: common practice, no source.


def yard(*tags: str, **told: Any) -> Story:
    story = Story()
    for tag in tags or ("H01",):
        story.add(tag, **({"length_cm": 240.0, "felled": ago(days=9), "cut": ago(days=2)} | told))
    return story


# ------------------------------------------------------------------ adding


def test_a_species_word_is_enough_and_even_that_may_be_missing() -> None:
    story = Story().add(species="Juglans regia", species_said="walnut").add()
    assert [log.tag for log in story.register.logs] == ["L01", "L02"]
    assert "wood not known" in story.said


def test_the_answer_repeats_what_was_understood_what_was_assumed_and_how_to_change_it() -> None:
    story = Story().add("H17", species="Juglans regia", species_said="walnut", butt_cm=56.0, length_cm=244.0)
    assert story.said.startswith("H17: walnut (Juglans regia), butt 56 cm, 2.44 m long.")
    for words in ("top: about 53.6 cm", "cut: taken as today", "both ends can be reached", "log change H17"):
        assert words in story.said
    assert "cut: taken as the day it was entered" in story.log("H17").assumed


def test_what_was_told_is_not_called_assumed() -> None:
    story = Story().add(
        "H1",
        species="Juglans regia",
        butt_cm=50.0,
        top_cm=44.0,
        length_cm=200.0,
        cut=ago(1),
        reach=frozenset({"butt"}),
    )
    assert story.log("H1").assumed == ()
    assert "Assumed" not in story.said
    assert "in reach: butt" in story.said


@pytest.mark.parametrize(
    ("used", "following"),
    [
        ([], "L01"),
        (["H01", "H16"], "H17"),
        (["H09"], "H10"),
        (["H99"], "H100"),
        (["7"], "8"),
        (["H02", "E05", "H03"], "H04"),
        (["H01", "H01-1", "H01-2"], "H02"),
        (["gate-oak"], "L01"),
    ],
)
def test_the_next_tag_is_the_next_free_number_with_the_prefix_last_used(
    used: list[str], following: str
) -> None:
    assert next_tag(used) == following


@given(st.lists(st.from_regex(r"[A-Z]{0,2}[0-9]{1,3}", fullmatch=True), max_size=12))
def test_the_next_tag_is_never_in_use(used: list[str]) -> None:
    assert next_tag(used).casefold() not in {tag.casefold() for tag in used}


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"butt_cm": 900.0}, "9.00 m cannot be"),
        ({"butt_cm": 0.0}, "butt: 0 cm cannot be"),
        ({"top_cm": -4.0}, "top: -4 cm cannot be"),
        ({"butt_cm": float("nan")}, "butt: nan cm cannot be"),
        ({"length_cm": 99_999.0}, "length"),
        ({"length_cm": 200.0, "needs_cm": 240.0}, "2.40 m cannot be had from a log of 2.00 m"),
        ({"felled": ago(days=3), "cut": ago(days=9)}, "before the felling"),
        ({"cut": Moment(AT + HOUR)}, "still to come"),
        ({"felled": ago(days=60_000)}, "hundred years"),
        ({"tag": "H 1"}, "cannot be a tag"),
        ({"tag": "H05-H07"}, "reads like a range"),
        ({"worth": "lots"}, "prized, good, plain, firewood"),
        ({"face": "moist"}, "wet, dry, cracked"),
        ({"reach": frozenset({"bott"})}, "Did you mean butt"),
        ({"count": 0}, "0 pieces"),
        ({"lump": -1.0}, "price"),
        ({"ends": (NewEnd("butt", coats=1),)}, "say when it was coated"),
        ({"ends": (NewEnd("butt", coats=3),)}, "3 coats"),
        ({"ends": (NewEnd("two words"),)}, "cannot name an end"),
        ({"cut": ago(days=2), "ends": (NewEnd("butt", coated=ago(days=5)),)}, "before its face was made"),
    ],
)
def test_what_cannot_be_is_refused_and_says_why(told: dict[str, Any], words: str) -> None:
    with pytest.raises(YardError) as caught:
        Story().add(**told)
    assert words in str(caught.value)


def test_all_faults_of_a_log_are_told_at_once() -> None:
    with pytest.raises(YardError) as caught:
        Story().add(butt_cm=900.0, length_cm=-1.0, cut=Moment(AT + DAY))
    assert len(str(caught.value).splitlines()) == 3


def test_a_cut_on_the_day_of_the_felling_is_no_contradiction() -> None:
    day = ago(days=3, half_days=0.5)
    Story().add("H01", felled=day, cut=Moment(day.time - 3 * HOUR))


def test_a_clock_that_is_ten_minutes_ahead_is_no_fault() -> None:
    Story().add("H01", cut=Moment(AT + timedelta(minutes=9)))
    with pytest.raises(YardError):
        Story().add("H01", cut=Moment(AT + timedelta(minutes=11)))


def test_a_tag_in_use_is_refused_even_when_the_log_is_gone() -> None:
    story = yard("H01").note("H01", "gone", "sold")
    with pytest.raises(YardError, match="was here and is gone"):
        story.add("h01")
    with pytest.raises(YardError, match="is there already"):
        yard("H02").add("H02")


def test_a_log_entered_for_an_earlier_time_gets_no_tag_of_a_later_one() -> None:
    story = Story().add("H01").add("H02")
    story.at = AT - 5 * DAY
    assert story.register.logs == ()
    with pytest.raises(YardError, match="is there already"):
        story.add("H02")
    story.add()
    assert story.entries[-1].tag == "H03"


def test_the_part_of_today_that_is_still_to_come_is_not_meant() -> None:
    noon = Moment(AT.replace(hour=12, minute=0), timedelta(hours=12), "today")
    cut = Story().add("H01", cut=noon).end("H01").cut
    assert (cut.first, cut.last) == (noon.first, AT)
    assert cut.said == "today"


def test_many_logs_go_in_together_or_not_at_all() -> None:
    register, by = fold([], AT), By("yard", AT)
    good = [NewLog(tag="H02"), NewLog(), NewLog(tag="H03")]
    written = book.add_logs(good, register, by)
    assert written.said == "3 logs in: H02, H04, H03."
    bad = [NewLog(tag="H02"), NewLog(tag="H02"), NewLog(butt_cm=900.0)]
    with pytest.raises(YardError) as caught:
        book.add_logs(bad, register, by, labels=["row 2", "row 3", "row 4"])
    lines = str(caught.value).splitlines()
    assert [line[:6] for line in lines[:2]] == ["row 3:", "row 4:"]
    assert lines[-1] == "Nothing was taken in."


# ------------------------------------------------------------------ naming logs


def test_many_tags_are_named_by_list_range_and_first() -> None:
    story = yard("H01", "H02", "H03", "H05", "H06", "H07").note("H06", "gone")
    register = story.register
    assert book.parse_tags("H01,H03,H05-H07", register) == ("H01", "H03", "H05", "H07")
    assert book.parse_tags("h01 , h01; H02-03", register) == ("H01", "H02", "H03")
    assert book.parse_tags("@first,H01", register, ["H07", "H06", "H01"]) == ("H07", "H01")


def test_the_piece_of_a_divided_log_is_a_tag_and_not_a_range() -> None:
    story = yard("H01").note("H01", "divide", size_cm=100.0)
    assert book.parse_tags("H01-1", story.register) == ("H01-1",)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "Say which logs"),
        ("H1", "Did you mean H01"),
        ("H01,X99", "no log X99"),
        ("H03-H01", "runs backwards"),
        ("H01-E03", "one kind of tag to another"),
        ("H01-H04", "no log H04"),
        ("H01-9", "no log H01-9"),
        ("@first", "that list is empty"),
    ],
)
def test_a_tag_that_is_not_there_is_refused_with_the_nearest(text: str, words: str) -> None:
    with pytest.raises(YardError) as caught:
        book.parse_tags(text, yard("H01", "H02", "H03").register)
    assert words in str(caught.value)


def test_in_an_empty_register_the_way_to_add_is_told() -> None:
    with pytest.raises(YardError, match="coatcast log add"):
        book.parse_tags("H01", fold([], AT))


# ------------------------------------------------------------------ notes


def test_a_note_on_many_logs_is_one_batch_and_one_sentence() -> None:
    story = yard("H01", "H02").note("H01,H02", "coat", when=ago(hours=1))
    assert story.said == "Noted: coat, today 8:40: H01 butt and top, H02 butt and top."
    assert {entry.batch for entry in story.entries[-2:]} == {3}


def test_a_note_on_many_logs_is_taken_whole_or_not_at_all() -> None:
    story = yard("H01", "H02").note("H02", "gone", "firewood")
    with pytest.raises(YardError) as caught:
        story.note("H01,H02", "coat")
    assert "H02 is gone (firewood)" in str(caught.value)
    assert str(caught.value).endswith("Nothing was noted.")


def test_the_same_coat_told_twice_is_said_to_be_the_same() -> None:
    story = yard().note("H01", "coat", when=ago(hours=1)).note("H01", "coat")
    assert "H01 butt and top: same coat as today 8:40; say --second if it was the second." in story.said
    assert "same coat" not in yard().note("H01", "coat").note("H01", "coat", second=True).said


@given(
    hours=st.lists(st.floats(0, 40), min_size=1, max_size=4),
    seconds=st.lists(st.booleans(), min_size=4, max_size=4),
    milky=st.booleans(),
)
def test_what_is_said_of_the_same_coat_is_what_the_fold_does(
    hours: list[float], seconds: list[bool], milky: bool
) -> None:
    story = yard(cut=ago(days=9))
    for back, second in zip(sorted(hours, reverse=True), seconds, strict=False):
        before = len(story.end("H01").coats)
        story.note("H01", "coat", when=ago(hours=back), second=second, ends=["butt"])
        assert ("same coat" in story.said) == (len(story.end("H01").coats) == before)
        if milky:
            story.note("H01", "look", "milky", when=ago(hours=back), ends=["butt"])


def test_a_second_coat_without_a_first_says_so() -> None:
    assert "no first coat noted" in yard().note("H01", "coat", second=True).said


def test_a_coat_from_before_the_cut_is_taken_and_said_to_be_gone() -> None:
    story = yard().note("H01", "coat", when=ago(days=4), ends=["butt"])
    assert "before its cut" in story.said
    assert story.end("H01").layers == 0


@pytest.mark.parametrize(
    ("kind", "words_given", "options", "words"),
    [
        ("coat", (), {"ends": ["top"]}, "Do not climb"),
        ("cut", (), {"ends": ["top"]}, "Do not climb"),
        ("coat", (), {"ends": ["but"]}, "Did you mean butt"),
        ("coat", (), {"when": Moment(AT + HOUR)}, "still to come"),
        ("coat", (), {"when": ago(days=20)}, "before the felling"),
        ("coat", ("twice",), {}, "'twice' after 'coat' was not understood"),
        ("cut", (), {"size_cm": 240.0}, "cannot be cut off a log of 2.40 m"),
        ("cut", (), {"size_cm": 0.0}, "takes something off"),
        ("cut", (), {"size_cm": -2.0}, "takes something off"),
        ("cut", ("cleen",), {}, "Did you mean 'clean'"),
        ("cut", (), {"when": ago(days=20)}, "before the felling"),
        ("look", (), {}, "What was seen"),
        ("look", ("mlky",), {}, "Did you mean milky"),
        ("look", ("milky",), {}, "no coat is noted"),
        ("look", ("checks",), {}, "hairline"),
        ("look", ("checks", "hairlin"), {}, "Did you mean 'hairline'"),
        ("divide", (), {}, "divided where"),
        ("divide", (), {"size_cm": 240.0}, "cannot be divided"),
        ("divide", (), {"size_cm": -1.0}, "cannot be divided"),
        ("saw", (), {"into": 0}, "0 pieces"),
        ("saw", (), {"thick_cm": 90.0}, "90 cm thick"),
        ("move", (), {}, "moved where to"),
        ("leave", (), {"till": AT - DAY}, "must lie ahead"),
        ("coast", (), {}, "Did you mean coat"),
    ],
)
def test_a_note_that_cannot_be_says_what_and_how_to_mend_it(
    kind: str, words_given: tuple[str, ...], options: dict[str, Any], words: str
) -> None:
    story = yard(reach=frozenset({"butt"}), butt_cm=50.0, top_cm=45.0)
    with pytest.raises(YardError) as caught:
        story.note("H01", kind, *words_given, **options)
    assert words in str(caught.value)


def test_only_the_ends_in_reach_are_coated_when_none_is_named() -> None:
    story = yard(reach=frozenset({"butt"})).note("H01", "coat")
    assert [end.layers for end in story.log("H01").ends] == [1, 0]
    with pytest.raises(YardError, match="none of its ends can be reached"):
        yard(reach=frozenset()).note("H01", "coat")


@pytest.mark.parametrize("state", ["standing", "long"])
def test_a_log_without_open_ends_takes_no_coat(state: str) -> None:
    with pytest.raises(YardError, match="no open end"):
        Story().add("H01", state=state).note("H01", "coat")


def test_a_cut_tells_what_is_left_and_whether_it_is_still_enough() -> None:
    story = yard(needs_cm=235.0).note("H01", "cut", "still", "cracked", size_cm=5.0)
    assert "H01 is now 2.30 m long." in story.said
    assert "less than the 2.35 m wanted" in story.said
    assert "still cracked" in story.said


def test_a_cut_of_half_the_length_at_both_ends_is_refused() -> None:
    with pytest.raises(YardError, match="at each end"):
        yard().note("H01", "cut", size_cm=120.0)
    yard().note("H01", "cut", size_cm=120.0, ends=["butt"])


def test_a_log_that_comes_early_is_here_once_it_is_coated() -> None:
    story = Story().add("H16", felled=Moment(AT + 2 * DAY)).note("H16", "coat")
    assert "counts as here now" in story.said
    assert story.log("H16").state == "in_yard"
    assert story.end("H16").layers == 1


def test_a_place_must_be_one_of_the_yards_places() -> None:
    story, by = yard(), By("yard", AT)
    note = book.note(["H01"], "move", ["Lean-To"], story.register, by, places=["lean-to", "shed"])
    assert note.entries[0].data["place"] == "lean-to"
    with pytest.raises(YardError, match="Did you mean lean-to"):
        book.note(["H01"], "move", ["leanto"], story.register, by, places=["lean-to", "shed"])
    with pytest.raises(YardError, match=r"\[\[place\]\]"):
        book.note(["H01"], "move", ["barn"], story.register, by, places=[])
    with pytest.raises(YardError, match="Did you mean shed"):
        book.add_log(NewLog(place="shet"), story.register, by, places=["lean-to", "shed"])


def test_a_divided_log_points_to_its_pieces() -> None:
    story = yard().note("H01", "divide", size_cm=100.0)
    assert "H01-1 has 1.00 m, H01-2 has 1.40 m." in story.said
    with pytest.raises(YardError, match="H01-1 and H01-2"):
        story.note("H01", "coat")


def test_what_was_not_told_of_a_pack_is_said() -> None:
    assert "a pack of 9" in yard().note("H01", "saw", into=9).said
    assert "how many was not said" in yard().note("H01", "saw").said


def test_no_word_on_screen_shouts_or_blames() -> None:
    story = yard("H01", "H02")
    said = []
    for kind, *words in (
        ("cut", "clean"),
        ("coat",),
        ("look", "skips"),
        ("roof",),
        ("skip",),
        ("gone", "sold"),
    ):
        said.append(story.note("H01", kind, *words).said)
    said += [story.undo().said, story.change("H02", length_cm=200.0).said]
    for text in said:
        assert "!" not in text
        assert not {"safe", "late", "overdue", "missed"} & set(text.casefold().replace(",", " ").split())


# ------------------------------------------------------------------ undo, correct, change


def test_undo_says_what_it_took_back_and_comes_to_an_end() -> None:
    story = yard("H01").note("H01", "coat", when=ago(hours=1)).undo()
    assert (
        story.said
        == "Taken back: coat on H01 butt and top (entry 2), today 8:40. Again takes back the one before."
    )
    assert "new log H01" in story.undo().said
    with pytest.raises(YardError, match="nothing to take back"):
        story.undo()


def test_an_import_of_many_logs_is_undone_as_one() -> None:
    story = Story().take(book.add_logs([NewLog(tag="A1"), NewLog(tag="A2")], fold([], AT), By("yard", AT)))
    assert "2 new logs, A1 to A2" in story.undo().said
    assert story.register.logs == ()


@pytest.mark.parametrize(
    ("number", "options", "words"),
    [
        (9, {"drop": True}, "has no entry 9. It has 1, 2, 3"),
        (2, {}, "--when TIME or --drop"),
        (1, {"when": ago(days=3)}, "log change H01 --cut"),
        (2, {"when": Moment(AT + DAY)}, "still to come"),
        (2, {"when": ago(days=30)}, "before the felling"),
        (3, {"drop": True}, "Mend that one"),
    ],
)
def test_a_correction_that_cannot_be_says_why(number: int, options: dict[str, Any], words: str) -> None:
    story = yard().note("H01", "coat").correct("H01", 2, when=ago(hours=2))
    with pytest.raises(YardError) as caught:
        story.correct("H01", number, **options)
    assert words in str(caught.value)


def test_an_entry_of_another_log_cannot_be_corrected_under_this_one() -> None:
    story = yard("H01", "H02").note("H02", "coat")
    with pytest.raises(YardError, match="has no entry 3"):
        story.correct("H01", 3, drop=True)


def test_a_change_says_what_is_now_and_what_was() -> None:
    story = yard().change(
        "H01", length_cm=220.0, worth="prized", species="Fagus sylvatica", species_said="beech"
    )
    assert "length 2.20 m (was 2.40 m)" in story.said
    log = story.log("H01")
    assert (log.length_cm, log.worth, log.species_said) == (220.0, "prized", "beech")
    assert not any(text.startswith("wood:") for text in log.assumed)


def test_a_value_can_become_unknown_again() -> None:
    story = yard(note="ring shake").change("H01", note=None, length_cm=None)
    assert (story.log("H01").note, story.log("H01").length_cm) == (None, None)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({}, "Nothing to change"),
        ({"colour": "red"}, "cannot be changed"),
        ({"lenght_cm": 1.0}, "Did you mean length_cm"),
        ({"butt_cm": 900.0}, "9.00 m cannot be"),
        ({"tag": "H02"}, "in use"),
        ({"tag": "a b"}, "cannot be a tag"),
        ({"tag": None}, "cannot be unknown"),
        ({"state": "gone"}, "note H01 gone"),
        ({"felled": ago(days=1)}, "before the felling"),
        ({"cut": ago(days=20)}, "before the felling"),
        ({"reach": frozenset({"tip"})}, "Did you mean top"),
        ({"needs_cm": 250.0}, "cannot be had"),
        ({"diameters": {"fork": 20.0}}, "no end 'fork'"),
    ],
)
def test_a_change_that_cannot_be_says_why(fields: dict[str, Any], words: str) -> None:
    story = yard("H01", "H02")
    with pytest.raises(YardError) as caught:
        story.change("H01", **fields)
    assert words in str(caught.value)


def test_the_felling_told_afterwards_moves_a_cut_that_nobody_told() -> None:
    story = Story().add("H01").change("H01", felled=ago(days=12))
    assert story.end("H01").cut == Moment(AT - 12 * DAY, assumed=True)
    assert "cut: taken as the felling" in story.log("H01").assumed


def test_a_cut_made_by_the_saw_is_mended_where_it_was_noted() -> None:
    story = yard().note("H01", "cut", ends=["butt"])
    with pytest.raises(YardError, match="note H01 correct 2 --when"):
        story.change("H01", cut=ago(days=1))


def test_a_measured_diameter_is_no_longer_assumed() -> None:
    story = Story().add("H01", butt_cm=50.0).change("H01", top_cm=44.0)
    top = story.end("H01", "top")
    assert (top.diameter_cm, top.assumed_diameter) == (44.0, False)
    assert not any(text.startswith("top:") for text in story.log("H01").assumed)


def test_old_faults_are_not_brought_up_when_something_else_changes() -> None:
    story = yard(needs_cm=235.0).note("H01", "cut", size_cm=5.0)
    assert story.change("H01", note="wind shake").log("H01").note == "wind shake"


# ------------------------------------------------------------------ words for times


@pytest.mark.parametrize(
    ("moment", "words"),
    [
        (Moment(AT), "today 10:40"),
        (Moment(AT - DAY, timedelta(hours=12)), "yesterday"),
        (Moment(datetime(2025, 10, 31, 11, tzinfo=UTC), timedelta(hours=12)), "Fri 31 Oct"),
        (Moment(datetime(2025, 9, 1, 11, tzinfo=UTC), timedelta(hours=12)), "1 Sep"),
        (Moment(datetime(2025, 10, 16, 11, tzinfo=UTC), timedelta(days=15)), "about 16 Oct"),
        (Moment(datetime(2024, 10, 16, 11, tzinfo=UTC), timedelta(hours=12)), "16 Oct 2024"),
        (Moment(AT + DAY), "tomorrow 10:40"),
    ],
)
def test_a_time_is_said_no_finer_than_it_was_meant(moment: Moment, words: str) -> None:
    assert Voice(ZoneInfo("Europe/Berlin")).when(moment, AT) == words


def test_sizes_are_said_in_the_units_of_the_yard() -> None:
    voice = Voice(size=lambda cm: f"{cm / 2.54:.0f} in")
    said = book.note(
        ["H01"], "cut", [], yard().register, By("yard", AT), Note(size_cm=5.08), voice=voice
    ).said
    assert "cut 2 in" in said
