"""From entries to the state of a yard."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from yard_story import AT, DAY, HOUR, Story, ago

from scheduler.yard import book
from scheduler.yard import entries as make
from scheduler.yard.book import By, NewEnd
from scheduler.yard.entries import Entry, numbered
from scheduler.yard.facts import Moment, Register
from scheduler.yard.state import fold, history, holding

# The rules of coats told twice, undo, divided logs and rough dates: common practice, no source.


def walnut(**told: Any) -> Story:
    known = {"species": "Juglans regia", "length_cm": 240.0, "cut": ago(days=2)}
    return Story().add("H01", **(known | told))


# ------------------------------------------------------------------ coats


def test_no_entries_are_an_empty_register() -> None:
    assert fold([], AT) == Register(AT)


def test_a_coat_within_twelve_hours_of_another_is_the_same_coat_and_stays_linked() -> None:
    story = walnut().note("H01", "coat", when=ago(hours=5)).note("H01", "coat")
    coats = story.end("H01").coats
    assert [(c.layer, c.entry, c.told) for c in coats] == [(1, 2, (3,))]
    assert coats[0].moment == ago(hours=5)


def test_a_coat_after_more_than_twelve_hours_is_the_second() -> None:
    story = walnut().note("H01", "coat", when=ago(hours=13)).note("H01", "coat")
    assert [c.layer for c in story.end("H01").coats] == [1, 2]
    assert story.end("H01").layers == 2


def test_a_coat_while_the_end_was_last_seen_milky_is_the_same_coat() -> None:
    story = walnut().note("H01", "coat", when=ago(days=1.5)).note("H01", "look", "milky", when=ago(hours=2))
    assert story.note("H01", "coat").end("H01").layers == 1
    story.undo().note("H01", "look", "clear", when=ago(hours=1))
    assert story.note("H01", "coat").end("H01").layers == 2


def test_said_to_be_the_second_it_is_the_second_within_the_hour() -> None:
    story = walnut().note("H01", "coat", when=ago(hours=2)).note("H01", "coat", second=True)
    assert story.end("H01").layers == 2
    assert story.note("H01", "coat", second=True).end("H01").layers == 2
    assert len(story.end("H01").coats) == 2


def test_a_second_coat_entered_before_the_first_finds_its_place() -> None:
    story = walnut().note("H01", "coat", second=True)
    assert story.end("H01").layers == 1
    story.note("H01", "coat", when=ago(days=1))
    assert [(c.layer, c.entry) for c in story.end("H01").coats] == [(1, 3), (2, 2)]


def test_of_one_coat_told_twice_the_entry_told_first_stays_its_cause() -> None:
    story = walnut().note("H01", "coat", when=ago(hours=1)).note("H01", "coat", when=ago(hours=3))
    [coat] = story.end("H01").coats
    assert (coat.entry, coat.told, coat.moment) == (2, (3,), ago(hours=1))


def test_a_part_coat_is_one_layer_with_a_hole_until_it_is_touched_up() -> None:
    story = walnut().note("H01", "coat", part=True, when=ago(days=1.5))
    assert story.end("H01").coats[-1].part
    story.note("H01", "coat")
    last = story.end("H01").coats[-1]
    assert (last.layer, last.part, story.end("H01").layers) == (1, False, 1)


def test_the_same_coat_told_again_as_whole_does_not_close_the_hole() -> None:
    story = walnut().note("H01", "coat", part=True, when=ago(hours=2)).note("H01", "coat")
    [coat] = story.end("H01").coats
    assert coat.part
    story.note("H01", "coat", second=True)
    assert (story.end("H01").layers, story.end("H01").coats[-1].part) == (2, False)


def test_a_part_coat_over_a_whole_one_adds_no_protection_and_no_hole() -> None:
    story = walnut().note("H01", "coat", when=ago(days=1)).note("H01", "coat", part=True)
    assert story.end("H01").layers == 1
    assert not story.end("H01").coats[-1].part


def test_skips_seen_are_a_hole_in_the_coat() -> None:
    story = walnut().note("H01", "coat", when=ago(days=1)).note("H01", "look", "skips")
    assert story.end("H01").coats[-1].part


def test_a_spoiled_second_coat_goes_back_to_the_first_not_to_bare_wood() -> None:
    story = walnut().note("H01", "coat", when=ago(days=2)).note("H01", "coat", when=ago(days=1))
    story.note("H01", "look", "spoiled", when=ago(hours=2))
    assert [c.spoiled for c in story.end("H01").coats] == [False, True]
    assert story.end("H01").layers == 1
    story.note("H01", "look", "spoiled", when=ago(hours=1))
    assert story.end("H01").layers == 1
    story.note("H01", "coat")
    assert story.end("H01").layers == 2


def test_a_spoiled_first_coat_leaves_the_end_bare_and_the_next_is_a_first_again() -> None:
    story = walnut().note("H01", "coat", when=ago(hours=3)).note("H01", "look", "spoiled", when=ago(hours=1))
    assert story.end("H01").layers == 0
    assert story.note("H01", "coat").end("H01").coats[-1].layer == 1


def test_the_last_look_holds_when_it_takes_spoiled_back() -> None:
    story = walnut().note("H01", "coat", when=ago(days=1)).note("H01", "look", "spoiled", when=ago(hours=4))
    assert story.note("H01", "look", "clear").end("H01").layers == 1


def test_what_protects_below_a_milky_coat_is_told_apart() -> None:
    story = walnut().note("H01", "coat", when=ago(days=1))
    assert story.end("H01").layers_under == 0
    assert story.note("H01", "coat").end("H01").layers_under == 1


def test_a_look_at_checks_does_not_hide_the_look_at_the_coat() -> None:
    story = walnut().note("H01", "coat", when=ago(days=1)).note("H01", "look", "milky", when=ago(hours=2))
    end = story.note("H01", "look", "checks", "hairline").end("H01")
    assert end.checks == "hairline"
    assert end.film_look is not None
    assert end.film_look.seen == "milky"


# ------------------------------------------------------------------ cuts


def test_a_fresh_cut_clears_the_end_shortens_the_log_and_restarts_the_clock() -> None:
    story = (
        walnut(checks="open")
        .note("H01", "coat", when=ago(days=1))
        .note("H01", "look", "clear", when=ago(hours=9))
    )
    story.note("H01", "cut", "clean", size_cm=5.0, ends=["butt"], when=ago(hours=2))
    butt, top = story.end("H01"), story.end("H01", "top")
    assert (butt.coats, butt.looks, butt.checks, butt.trimmed_cm) == ((), (), "none", 5.0)
    assert (butt.cut, butt.cut_entry) == (ago(hours=2), 4)
    assert (top.layers, top.checks, top.trimmed_cm) == (1, "open", 0.0)
    assert story.log("H01").length_cm == 235.0


def test_a_cut_keeps_what_there_is_to_learn_from_it() -> None:
    story = walnut(checks="open").note("H01", "cut", "still cracked", size_cm=2.0, ends=["butt"])
    butt = story.end("H01")
    [cut] = butt.cuts
    assert (cut.size_cm, cut.found, cut.checks_before, cut.open_since) == (
        2.0,
        "still cracked",
        "open",
        ago(days=2),
    )
    assert (butt.checks, butt.face) == ("open", "cracked")


def test_a_cut_without_size_leaves_the_length_alone() -> None:
    assert walnut().note("H01", "cut").log("H01").length_cm == 240.0


def test_a_coat_laid_before_a_cut_that_is_told_later_does_not_count() -> None:
    story = walnut().note("H01", "coat", when=ago(hours=3)).note("H01", "cut", when=ago(hours=2))
    assert story.end("H01").layers == 0
    story = walnut().note("H01", "coat", when=ago(hours=3)).note("H01", "cut", when=ago(hours=4))
    assert story.end("H01").layers == 1


def test_a_coat_told_after_a_roughly_dated_cut_of_the_same_day_is_on_the_new_face() -> None:
    story = walnut(cut=ago(days=9))
    story.note("H01", "cut", when=ago(days=2, half_days=0.5)).note("H01", "coat", when=ago(days=2, hours=3))
    assert story.end("H01").layers == 1


def test_a_coat_of_the_day_of_a_roughly_dated_first_cut_counts() -> None:
    assert (
        walnut(cut=ago(days=2, half_days=0.5))
        .note("H01", "coat", when=ago(days=2, hours=6))
        .end("H01")
        .layers
        == 1
    )


def test_an_assumed_cut_gives_way_to_a_coat_that_was_there_before() -> None:
    story = Story().add("H01")
    assert story.end("H01").cut == Moment(AT, assumed=True)
    story.note("H01", "coat", when=ago(days=2))
    end = story.end("H01")
    assert (end.cut.time, end.cut.assumed, end.layers) == (AT - 2 * DAY, True, 1)


def test_a_cut_told_for_an_earlier_day_takes_the_place_of_an_assumed_one() -> None:
    story = Story().add("H01").note("H01", "cut", when=ago(days=2))
    assert story.end("H01").cut == ago(days=2)
    assert not any(text.startswith("cut:") for text in story.log("H01").assumed)


def test_an_older_cut_does_not_turn_back_the_clock_of_a_younger_face() -> None:
    story = walnut().note("H01", "coat", when=ago(days=1)).note("H01", "cut", when=ago(days=5))
    assert (story.end("H01").cut, story.end("H01").layers) == (ago(days=2), 1)


# ------------------------------------------------------------------ what is assumed about the cut


def test_entered_bare_the_cut_is_today_and_felled_known_it_is_the_felling() -> None:
    story = Story().add("H01").add("H02", felled=ago(days=5, half_days=0.5))
    assert story.end("H01").cut == Moment(AT, assumed=True)
    assert story.end("H02").cut == replace(ago(days=5, half_days=0.5), assumed=True)


@pytest.mark.parametrize(("face", "days"), [("wet", 1), ("dry", 0), ("cracked", 0)])
def test_the_look_of_the_face_stands_in_for_an_unknown_cut(face: str, days: int) -> None:
    end = Story().add("H01", face=face).end("H01")
    assert (end.cut.time, end.cut.assumed, end.face) == (AT - days * DAY, True, face)
    assert end.checks == ("open" if face == "cracked" else "none")


# ------------------------------------------------------------------ states of a log


def test_a_log_felled_later_than_now_is_expected_and_stays_so_until_an_entry() -> None:
    story = Story().add("H16", felled=Moment(AT + 2 * DAY))
    assert story.log("H16").state == "expected"
    story.at = AT + 5 * DAY
    assert story.log("H16").state == "expected"
    story.note("H16", "coat")
    log = story.log("H16")
    assert (log.state, log.end("butt").layers) == ("in_yard", 1)  # type: ignore[union-attr]


def test_an_expected_log_without_felling_is_bare_from_the_day_it_came() -> None:
    story = Story().add("H16", expected=Moment(AT + DAY))
    story.at = AT + 3 * DAY
    story.change("H16", state="in_yard")
    assert story.end("H16").cut == Moment(AT + 3 * DAY, assumed=True)


def test_a_standing_tree_is_opened_by_its_cut() -> None:
    story = Story().add("H01", state="standing")
    assert story.note("H01", "roof").log("H01").state == "standing"
    assert story.note("H01", "cut").log("H01").state == "in_yard"


def test_gone_ends_everything_but_what_was_before() -> None:
    story = walnut().note("H01", "gone", "sold")
    log = story.log("H01")
    assert (log.state, log.gone_why, story.register.present) == ("gone", "sold", ())
    earlier = fold(story.entries, AT - DAY)
    assert earlier.present[0].tag == "H01"


def test_what_is_told_of_a_time_after_it_went_counts_for_nothing() -> None:
    story = walnut().note("H01", "coat", when=ago(hours=1)).note("H01", "gone", "sold", when=ago(hours=5))
    assert story.end("H01").layers == 0


def test_decisions_last_until_their_day_or_until_work_goes_on() -> None:
    story = walnut().note("H01", "leave", till=AT + DAY).note("H01", "skip")
    log = story.log("H01")
    assert (log.left_long, log.left_till, log.skip) == (True, AT + DAY, True)
    assert not fold(story.entries, AT + 2 * DAY).logs[0].left_long
    assert fold(story.entries, AT + 2 * DAY).logs[0].skip
    assert not story.note("H01", "coat").log("H01").left_long


def test_a_moved_log_leaves_its_sheet_behind_and_may_be_reached_again() -> None:
    story = walnut(reach=frozenset({"butt"})).note("H01", "roof")
    assert story.log("H01").roofed
    story.note("H01", "move", "lean-to")
    log = story.log("H01")
    assert (log.place, log.roofed, [e.reach for e in log.ends]) == ("lean-to", False, [True, True])
    log = story.note("H01", "move", "yard", reach=frozenset({"top"})).log("H01")
    assert (log.place, [e.reach for e in log.ends]) == (None, [False, True])


# ------------------------------------------------------------------ pieces


def test_divided_the_pieces_keep_the_outer_ends_and_get_fresh_inner_ones() -> None:
    story = walnut(butt_cm=50.0, top_cm=44.0, lump=900.0, needs_cm=200.0)
    story.note("H01", "coat", when=ago(days=1)).note("H01", "divide", size_cm=80.0)
    one, two = story.log("H01-1"), story.log("H01-2")
    assert (one.length_cm, two.length_cm, one.parent, one.species) == (80.0, 160.0, "H01", "Juglans regia")
    assert [(e.name, e.layers) for e in one.ends] == [("butt", 1), ("top", 0)]
    assert [(e.name, e.layers) for e in two.ends] == [("butt", 0), ("top", 1)]
    inner = two.end("butt")
    assert inner is not None
    assert (inner.cut, inner.diameter_cm, inner.assumed_diameter) == (Moment(AT), 48.0, True)
    assert (one.lump, one.needs_cm) == (None, None)
    assert (story.log("H01").state, story.log("H01").children) == ("gone", ("H01-1", "H01-2"))


def test_a_coat_of_the_whole_told_after_the_dividing_reaches_the_pieces() -> None:
    story = walnut().note("H01", "divide", size_cm=80.0)
    late = make.coat(story.by, "H01", ["butt"], ago(days=1))
    entries = [*story.entries, *numbered([late], story.register.last_entry)]
    end = fold(entries, AT).log("H01-1").end("butt")  # type: ignore[union-attr]
    assert end is not None
    assert end.layers == 1


def test_pieces_can_be_divided_again_and_keep_the_history_of_the_whole() -> None:
    story = walnut().note("H01", "divide", size_cm=80.0).note("H01-2", "divide", size_cm=60.0)
    assert story.log("H01-2-2").length_cm == 100.0
    assert [line.entry.number for line in history(story.entries, "H01-2-1")] == [1, 2, 3]
    assert [line.entry.number for line in history(story.entries, "h01")] == [1, 2]


def test_undoing_the_dividing_brings_the_whole_back() -> None:
    story = walnut().note("H01", "divide", size_cm=80.0).note("H01-1", "coat").undo().undo()
    assert story.log("H01").state == "in_yard"
    assert story.register.log("H01-1") is None


def test_sawn_it_is_one_pack_with_one_clock_and_its_ends_are_due_at_once() -> None:
    story = walnut().note("H01", "coat", when=ago(days=1)).note("H01", "saw", into=9, thick_cm=5.5)
    [log] = story.register.logs
    assert (log.tag, log.count, log.thick_cm, log.sawn) == ("H01", 9, 5.5, Moment(AT))
    assert {(e.cut.time, e.layers) for e in log.ends} == {(AT, 0)}


def test_halved_it_counts_twice_and_its_end_grain_is_no_fresher() -> None:
    log = walnut().note("H01", "halve").log("H01")
    assert (log.count, log.halved, log.ends[0].cut) == (2, Moment(AT), ago(days=2))


def test_a_fork_has_three_ends_and_divides_into_butt_piece_and_fork() -> None:
    story = Story().add("F1", length_cm=300.0, ends=(NewEnd("butt"), NewEnd("left"), NewEnd("right")))
    story.note("F1", "divide", size_cm=100.0)
    assert [e.name for e in story.log("F1-1").ends] == ["butt", "top"]
    assert [e.name for e in story.log("F1-2").ends] == ["butt", "left", "right"]


# ------------------------------------------------------------------ undo and correct


def test_an_undo_takes_back_the_last_command_whole_and_again_the_one_before() -> None:
    story = walnut().add("H02").note("H01,H02", "coat").note("H01", "roof")
    story.undo()
    assert not story.log("H01").roofed
    story.undo()
    assert (story.end("H01").layers, story.end("H02").layers) == (0, 0)
    story.undo()
    assert story.register.log("H02") is None
    assert len(story.entries) == 8  # nothing was deleted


def test_an_undo_of_an_undo_restores() -> None:
    story = walnut().note("H01", "coat").undo()
    assert story.end("H01").layers == 0
    again = numbered([make.undo(story.by, "H01", Moment(AT), [3])], 3)
    assert fold([*story.entries, *again], AT).logs[0].ends[0].layers == 1


def test_a_corrected_time_holds_and_the_last_correction_wins() -> None:
    story = (
        walnut().note("H01", "coat").correct("H01", 2, when=ago(hours=3)).correct("H01", 2, when=ago(hours=5))
    )
    assert story.end("H01").coats[0].moment == ago(hours=5)
    assert story.undo().end("H01").coats[0].moment == ago(hours=3)
    assert story.undo().end("H01").coats[0].moment == Moment(AT)


def test_a_dropped_entry_did_not_happen() -> None:
    story = walnut().note("H01", "coat").correct("H01", 2, drop=True)
    assert story.end("H01").layers == 0
    assert story.undo().end("H01").layers == 1


def test_a_tag_given_anew_does_not_inherit_what_was_told_of_another_log() -> None:
    story = walnut().note("H01", "coat").correct("H01", 1, drop=True)
    assert story.register.logs == ()
    assert story.add("H01").end("H01").layers == 0
    assert story.note("H01", "coat").end("H01").layers == 1


def test_a_renamed_log_keeps_all_that_was_told_under_either_name() -> None:
    story = walnut().note("H01", "coat").change("H01", tag="K1").note("K1", "roof")
    assert (story.end("K1").layers, story.log("K1").roofed, story.register.log("H01")) == (1, True, None)
    story.entries += numbered([make.undo(story.by, "K1", Moment(AT), [3])], 4)
    assert (story.log("H01").roofed, story.end("H01").layers) == (True, 1)


def test_the_history_says_which_entries_hold_and_when_they_happened() -> None:
    story = walnut().note("H01", "coat").correct("H01", 2, when=ago(hours=2)).note("H01", "roof").undo()
    lines = history(story.entries, "H01")
    assert [(x.entry.number, x.holds) for x in lines] == [
        (1, True),
        (2, True),
        (3, True),
        (4, False),
        (5, True),
    ]
    assert lines[1].moment == ago(hours=2)
    assert [e.number for e in holding(story.entries)] == [1, 2]


def test_a_mended_first_cut_decides_which_coats_count() -> None:
    story = walnut().note("H01", "coat", when=ago(days=1)).change("H01", cut=ago(days=3))
    assert (story.end("H01").cut, story.end("H01").layers) == (ago(days=3), 1)
    story.change("H01", cut=ago(hours=5))
    assert story.end("H01").layers == 0


# ------------------------------------------------------------------ the yard as a whole


def test_the_facts_of_the_yard_are_gathered() -> None:
    story = Story()
    story.act(book.seen, "frost", True, night=ago(days=1)).act(book.seen, "frost", False, night=ago(days=1))
    story.act(book.seen, "min", -3.0).act(book.seen, "rain", True)
    story.act(book.keep_word, "Nut", "Juglans regia").act(book.keep_word, "elm", "Ulmus glabra")
    story.act(book.keep_word, "elm", None)
    story.act(book.pail, litres=3.6, opened=ago(days=140)).act(book.pail, coldest_c=-2.0, place="shed")
    story.act(book.pail, coldest_c=1.0).act(book.pail, by_eye="half")
    story.act(book.away, AT + DAY)
    register = story.register
    assert register.frost_seen == ((AT - DAY, False),)
    assert (register.minima_seen, register.rain_seen) == (((AT, -3.0),), ((AT, True),))
    assert register.words == {"nut": "Juglans regia"}
    [pail] = register.pails
    assert (pail.litres, pail.by_eye, pail.place, pail.coldest_c) == (None, "half", "shed", -2.0)
    assert pail.opened == ago(days=140)
    assert register.away_until == AT + DAY
    assert fold(story.entries, AT + 2 * DAY).away_until is None


def test_what_happens_after_the_time_asked_for_is_left_out() -> None:
    story = walnut().note("H01", "coat", when=ago(hours=1))
    assert fold(story.entries, AT - 2 * HOUR).logs[0].ends[0].layers == 0
    assert fold(story.entries, AT - 30 * DAY).logs == ()


# ------------------------------------------------------------------ properties


def independent(n: int) -> list[Entry]:
    """Facts of which no two are about the same end within a day."""
    by, entries = By("yard", AT), []
    for k in range(n):
        tag, when = f"H{k % 3 + 1:02d}", ago(days=40 - k)
        end = ("butt", "top")[k % 2]
        kinds = [
            make.coat(by, tag, [end], when),
            make.cut(by, tag, [end], when, size_cm=1.0),
            make.look(by, tag, [end], when, "checks", checks="hairline"),
            make.roof(by, tag, when),
        ]
        entries.append(kinds[(k * 7 // 3) % 4])
    return entries


def without_numbers(register: Register) -> list[Any]:
    rows: list[Any] = []
    for log in register.logs:
        ends = [
            (e.name, e.cut, e.checks, [(c.moment, c.layer) for c in e.coats], [x.moment for x in e.looks])
            for e in log.ends
        ]
        rows.append((log.tag, log.length_cm, log.roofed, log.place, ends))
    return rows


@settings(max_examples=60, deadline=None)
@given(order=st.permutations(range(18)))
def test_the_order_in_which_back_dated_facts_were_told_does_not_matter(order: list[int]) -> None:
    story = Story()
    for n in range(3):
        story.add(f"H{n + 1:02d}", length_cm=300.0, cut=ago(days=50))
    facts = independent(18)
    straight = numbered(facts, 3)
    mixed = numbered([facts[n] for n in order], 3)
    told = [fold([*story.entries, *entries], AT) for entries in (straight, mixed)]
    assert without_numbers(told[0]) == without_numbers(told[1])


@settings(max_examples=30, deadline=None)
@given(order=st.permutations(range(12)))
def test_the_order_in_which_entries_are_handed_over_does_not_matter(order: list[int]) -> None:
    story = walnut().add("H02").note("H01,H02", "coat", when=ago(days=1)).note("H01", "divide", size_cm=50.0)
    story.note("H01-1", "roof").undo().correct("H02", 4, when=ago(hours=30)).note("H02", "look", "milky")
    story.note("H02", "coat").add("H03").undo()
    assert len(story.entries) == 12
    assert fold([story.entries[n] for n in order], AT) == story.register


def test_ten_thousand_entries_fold_in_well_under_a_second() -> None:
    by = By("yard", AT)
    story = Story()
    for n in range(200):
        story.entries += book.add_log(
            book.NewLog(tag=f"H{n:03d}", cut=ago(days=90)), fold([], AT), by
        ).entries
    story.entries = [replace(e, number=n, batch=n) for n, e in enumerate(story.entries, start=1)]
    facts = []
    for n in range(9800):
        tag, when = f"H{n % 200:03d}", Moment(AT - timedelta(hours=n % 2000))
        kinds = [
            make.coat(by, tag, ("butt", "top"), when),
            make.look(by, tag, ("butt",), when, "clear"),
            make.cut(by, tag, ("top",), when, size_cm=0.1),
        ]
        facts.append(kinds[n % 3])
    entries = [*story.entries, *numbered(facts, 200)]
    began = time.perf_counter()
    assert len(fold(entries, AT).logs) == 200
    assert time.perf_counter() - began < 0.9  # measured: about 0.1 s; the bound only catches a square
