"""Logs in, listed, shown, changed; notes and what takes them back; and every input that cannot be."""

from __future__ import annotations

from pathlib import Path

import pytest
from keeper import YARD, Keeper

US = YARD.replace('"Europe/Berlin"', '"America/New_York"').replace('"metric"', '"us"')


# ------------------------------------------------------------------ log add


def test_one_free_line_is_enough_and_the_answer_says_what_was_understood_and_assumed(keeper: Keeper) -> None:
    said = keeper.does("log", "add", "walnut", "22in", "8ft", "cut", "saturday")
    assert "L01: walnut (Juglans regia), butt 56 cm, 2.44 m long, cut Sat 1 Nov." in said
    assert "Assumed: wood: walnut taken as European walnut" in said
    assert "reach: both ends can be reached" in said
    assert "To change it: coatcast log change L01" in said
    log = keeper.logs()[0]
    assert (log["species"], log["length_cm"], log["state"]) == (
        "Juglans regia",
        pytest.approx(243.84),
        "in_yard",
    )
    assert log["ends"][0]["cut"] == "2025-11-01T12:00:00+01:00"


def test_the_line_may_come_as_one_word_in_quotation_marks(keeper: Keeper) -> None:
    keeper.does("log", "add", "walnut 22in 8ft cut saturday")
    assert keeper.logs()[0]["species"] == "Juglans regia"


def test_the_options_mean_the_same_as_the_line(keeper: Keeper) -> None:
    line = "H01 walnut butt 22in top 20in length 8ft felled 27 oct cut sat reach butt worth prized"
    keeper.does("log", "add", f"{line} needs 2.2m use table slabs")
    keeper.does(
        "log", "add", "H02", "--species", "walnut", "--butt", "22in", "--top", "20in", "--length", "8ft",
        "--felled", "27 oct", "--cut", "sat", "--reach", "butt", "--worth", "prized", "--needs", "2.2m",
        "--use", "table slabs",
    )  # fmt: skip
    first, second = (keeper.run("log", "show", tag, "--json").json for tag in ("H01", "H02"))
    for log in (first, second):
        log.pop("tag"), log.pop("entries")
    assert first == second
    assert first["needs_cm"] == pytest.approx(220.0)
    assert [end["reach"] for end in first["ends"]] == [True, False]


def test_nothing_but_a_wood_is_needed_and_dont_know_will_do(keeper: Keeper) -> None:
    said = keeper.does("log", "add", "don't know")
    assert said.count("wood: not known, treated as one that cracks early") == 1
    keeper.does("log", "add", "--species", "don't know")
    assert [log["species"] for log in keeper.logs()] == [None, None]
    assert keeper.end("L02")["cut"] == "2025-11-03T09:40:00+01:00"  # taken as today


def test_a_number_before_the_wood_is_that_many_logs(keeper: Keeper) -> None:
    said = keeper.does("log", "add", "3", "elm", "20in")
    assert said.startswith("3 logs in: L01, L02, L03.")
    assert [log["tag"] for log in keeper.logs()] == ["L01", "L02", "L03"]
    keeper.does("log", "add", "P7 2 oak")
    assert [log["tag"] for log in keeper.logs()][3:] == ["P7", "P8"]
    keeper.does("undo")
    assert len(keeper.logs()) == 3


def test_a_double_word_is_refused_with_both_meanings_and_remembered_once_it_is_told(keeper: Keeper) -> None:
    said = keeper.fails("log", "add", "sycamore", "40cm")
    assert "Acer pseudoplatanus" in said
    assert "Platanus occidentalis" in said
    assert keeper.logs() == []
    kept = keeper.run("log", "add", "sycamore", "40cm", "--species", "Acer pseudoplatanus", "--json").json
    assert [entry["kind"] for entry in kept["entries"]] == ["word", "add"]
    keeper.does("log", "add", "sycamore", "41cm")
    assert [log["species"] for log in keeper.logs()] == ["Acer pseudoplatanus"] * 2
    keeper.does("undo")
    keeper.does("undo")  # takes back the log; the word stays
    keeper.does("log", "add", "sycamore")
    assert keeper.logs()[0]["species"] == "Acer pseudoplatanus"


def test_a_double_word_is_asked_about_once_at_a_terminal(keeper: Keeper) -> None:
    done = keeper.run("log", "add", "sycamore", "40cm", typed="9\n2\n")
    assert done.code == 0, done.err
    assert "1  sycamore maple (Acer pseudoplatanus)" in done.err
    assert "A number from 1 to 2, please." in done.err
    assert "Kept: 'sycamore' means Platanus occidentalis." in done.out
    again = keeper.run("log", "add", "sycamore", typed="")
    assert (again.code, again.err) == (0, "")
    assert keeper.logs()[1]["species"] == "Platanus occidentalis"


def test_who_does_not_know_which_of_two_woods_it_is_gets_the_careful_row_and_no_word(keeper: Keeper) -> None:
    keeper.run("log", "add", "sycamore", typed="\n")
    assert keeper.logs()[0]["species"] is None
    keeper.fails("log", "add", "sycamore")


def test_alone_at_a_terminal_it_asks_four_questions_and_enter_takes_the_default(keeper: Keeper) -> None:
    done = keeper.run("log", "add", typed="\n\n\n\n")
    assert done.code == 0, done.err
    assert done.err.count("Enter:") == 4
    assert "wood: not known" in done.out
    assert "cut: taken as today" in done.out


def test_the_four_questions_are_put_again_where_the_answer_cannot_be_read(keeper: Keeper) -> None:
    done = keeper.run("log", "add", "--json", typed="wallnutt\nwalnut\nthick\n56\n2.6\n2.6m\ncracked\n")
    assert done.code == 0, done.err
    assert "No wood called 'wallnutt'" in done.err
    assert "'thick' is not a length" in done.err
    assert "'2.6' has no unit" in done.err
    assert done.json["entries"][0]["kind"] == "add"  # questions went to stderr: stdout is JSON alone
    assert keeper.end("L01")["state"] == "opened"
    assert keeper.end("L01")["next_job"] == "cut_and_coat"


def test_alone_where_nobody_can_answer_it_says_what_to_write(keeper: Keeper) -> None:
    assert "coatcast log add walnut" in keeper.fails("log", "add")


def test_a_fork_has_three_ends(keeper: Keeper) -> None:
    keeper.does(
        "log",
        "add",
        "F1",
        "--species",
        "ash",
        "--ends",
        "butt 60cm, left 40cm, right",
        "--reach",
        "butt,left",
    )
    ends = keeper.logs()[0]["ends"]
    assert [(end["end"], end["reach"]) for end in ends] == [("butt", True), ("left", True), ("right", False)]
    keeper.does("log", "change", "F1", "--across", "right=38cm", "--reach", "both")
    assert [end["diameter_cm"] for end in keeper.run("log", "show", "F1", "--json").json["ends"]] == [
        60,
        40,
        38,
    ]
    assert all(end["reach"] for end in keeper.logs()[0]["ends"])


def test_a_us_yard_reads_bare_numbers_as_inches_and_answers_in_them(tmp_path: Path) -> None:
    keeper = Keeper(tmp_path, US)
    said = keeper.does("log", "add", "walnut", "22", "8ft")
    assert "butt 22 in, 8 ft long" in said
    assert keeper.logs()[0]["length_cm"] == pytest.approx(243.84)  # JSON is always in cm


def test_log_add_writes_without_any_weather(keeper: Keeper, monkeypatch: pytest.MonkeyPatch) -> None:
    from scheduler import service, sources

    def never(*_args: object, **_options: object) -> None:
        raise AssertionError("the weather was asked for")

    for name in ("forecast_of", "kept_forecast"):
        monkeypatch.setattr(sources, name, never)
    monkeypatch.setattr(service, "picture", never)
    keeper.does("log", "add", "walnut")
    keeper.does("note", "L01", "coat")
    keeper.does("undo")


# ------------------------------------------------------------------ list and show


def test_the_list_has_the_keys_of_the_contract(keeper: Keeper) -> None:
    keeper.does("log", "add", "H06 beech 64x57cm 4.1m cut 20 oct reach butt")
    (log,) = keeper.logs()
    assert list(log) == ["tag", "species", "length_cm", "state", "place", "ends"]
    assert [list(end) for end in log["ends"]] == [["end", "state", "cut", "layers", "reach", "next_job"]] * 2
    assert log["ends"][0]["next_job"] == "first_coat"
    assert log["ends"][1]["next_job"] is None  # out of reach


def test_the_list_shows_ends_of_the_same_state_together_and_what_cannot_be_reached(keeper: Keeper) -> None:
    keeper.does("log", "add", "H06 beech 64x57cm 4.1m cut 20 oct reach butt")
    keeper.does("log", "add", "H01 cherry cut sat")
    said = keeper.does("log", "list")
    assert "H06 beech, 4.1 m" in said
    assert "  top: bare, open since Mon 20 Oct. Can't be reached, do not climb" in said
    assert "  butt and top: bare, open since Sat 1 Nov. Next: coat" in said
    assert said.endswith("2 logs; ends: 4 bare.\n")


def test_a_log_with_no_open_end_has_no_cut_in_the_list(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak expected wed")
    keeper.does("log", "add", "oak standing")
    keeper.does("log", "add", "oak kept long")
    assert [log["state"] for log in keeper.logs()] == ["expected", "standing", "long"]
    assert {end["cut"] for log in keeper.logs() for end in log["ends"]} == {None}
    assert "L01 oak, expected Wed 5 Nov" in keeper.does("log", "list")


def test_an_empty_yard_lists_nothing_and_makes_no_database(keeper: Keeper) -> None:
    assert "coatcast log add" in keeper.does("log", "list")
    assert keeper.logs() == []
    assert not (keeper.file.parent / "coatcast.db").exists()


def test_a_log_is_shown_with_its_numbers_its_spare_and_what_a_coat_takes(keeper: Keeper) -> None:
    keeper.does("log", "add", "H02 walnut 62x55cm 2.2m needs 2m cut 24 oct worth prized")
    keeper.does("note", "H02", "cut", "4cm,", "clean", "--end", "butt")
    said = keeper.does("log", "show", "h02")
    assert "Spare left: 6 cm butt, 10 cm top." in said  # 20 cm shared by two ends, 4 of the butt's ten gone
    assert "    2  today 9:40: fresh cut of 4 cm on H02 butt, clean" in said
    assert "A coat takes 0.1" in said
    shown = keeper.run("log", "show", "H02", "--json").json
    assert [entry["number"] for entry in shown["entries"]] == [1, 2]
    assert [end["spare_cm"] for end in shown["ends"]] == [6.0, 10.0]
    assert shown["ends"][0]["litres_per_coat"] == pytest.approx(
        0.145, abs=0.01
    )  # 0.65 m across, 2.45 m2/L, 12 %


def test_what_is_not_known_is_said_so_where_no_forecast_is_at_hand(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak cut friday")
    keeper.does("note", "L01", "coat", "--when", "saturday")
    said = keeper.does("log", "list")
    assert "milky or clear: look" in said
    assert "No forecast at hand" in said


# ------------------------------------------------------------------ change


def test_what_was_told_can_be_changed_and_the_answer_says_what_it_was(keeper: Keeper) -> None:
    keeper.does("log", "add", "L01 walnut 22in cut saturday")
    said = keeper.does("log", "change", "L01", "--length", "2.4m", "--tag", "H01", "--worth", "900")
    assert "tag H01 (was L01)" in said
    assert "length 2.4 m" in said
    keeper.does("log", "change", "H01", "--species", "cherry", "--cut", "friday", "--no-metal")
    log = keeper.logs()[0]
    assert (log["tag"], log["species"], log["length_cm"]) == ("H01", "Prunus avium", 240.0)
    assert log["ends"][0]["cut"].startswith("2025-10-31T12:00")
    keeper.does("log", "change", "H01", "--length", "?")
    assert keeper.logs()[0]["length_cm"] is None
    keeper.does("undo")
    assert keeper.logs()[0]["length_cm"] == 240.0


def test_a_decision_of_the_keeper_stays_visible_and_can_be_taken_off(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak")
    keeper.does("note", "L01", "skip")
    assert "by your word no more about sealing" in keeper.does("log", "list")
    assert keeper.end("L01")["next_job"] is None
    keeper.does("log", "change", "L01", "--no-skip")
    assert keeper.end("L01")["next_job"] == "first_coat"


# ------------------------------------------------------------------ note and undo


def test_many_tags_take_one_note_and_one_undo(keeper: Keeper) -> None:
    for tag in ("H01", "H02", "H03", "H05"):
        keeper.does("log", "add", tag, "oak", "cut", "friday")
    said = keeper.does("note", "H01,H02-H03", "coat", "--when", "9:00", "--who", "Jo", "--litres", "0.4")
    assert "H01 butt and top, H02 butt and top, H03 butt and top" in said
    assert [keeper.end(tag)["layers"] for tag in ("H01", "H02", "H03", "H05")] == [1, 1, 1, 0]
    assert keeper.run("log", "show", "H01", "--json").json["entries"][-1]["who"] == "Jo"
    keeper.does("undo")
    assert [keeper.end(tag)["layers"] for tag in ("H01", "H02", "H03", "H05")] == [0, 0, 0, 0]


def test_tags_may_stand_apart(keeper: Keeper) -> None:
    keeper.does("log", "add", "2 oak cut friday")
    keeper.does("note", "L01,", "L02", "coat")
    assert [keeper.end(tag)["layers"] for tag in ("L01", "L02")] == [1, 1]


def test_an_end_can_be_named_more_than_once(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak cut friday")
    keeper.does("note", "L01", "coat", "--end", "top")
    assert [keeper.end("L01", name)["layers"] for name in ("butt", "top")] == [0, 1]
    keeper.does("note", "L01", "cut", "2in", "still", "cracked", "--end", "butt", "--end", "top")
    assert [keeper.end("L01", name)["state"] for name in ("butt", "top")] == ["opened", "opened"]


def test_the_same_coat_told_twice_counts_once_unless_it_was_the_second(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak cut friday")
    keeper.does("note", "L01", "coat", "--when", "9:00")
    assert "same coat as today 9:00" in keeper.does("note", "L01", "coat")
    assert keeper.end("L01")["layers"] == 1
    keeper.does("note", "L01", "coat", "--second")
    assert keeper.end("L01")["layers"] == 2


def test_a_part_coat_leaves_a_touch_up(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak cut friday")
    keeper.does("note", "L01", "coat", "--part", "--when", "saturday")
    keeper.does("note", "L01", "look", "clear")
    assert keeper.end("L01")["next_job"] == "touch_up"
    assert "touch-up due" in keeper.does("log", "list")


def test_looks_go_through_the_words_of_the_trade(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak cut friday")
    keeper.does("note", "L01", "look", "checks", "right", "through", "--end", "top")
    assert [keeper.end("L01", name)["state"] for name in ("butt", "top")] == ["bare", "opened"]
    keeper.does("note", "L01", "coat", "--when", "9:00", "--end", "butt")
    for seen, state in (("clear", "coated"), ("spoiled", "spoiled"), ("milky", "wet")):
        keeper.does("note", "L01", "look", seen, "--end", "butt")
        assert keeper.end("L01")["state"] == state


def test_places_and_roofs(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak reach butt")
    keeper.does("note", "L01", "roof")
    assert "under a sheet" in keeper.does("log", "list")
    keeper.does("note", "L01", "unroof")
    keeper.does("note", "L01", "move", "Lean-to", "--reach", "both")
    log = keeper.logs()[0]
    assert log["place"] == "lean-to"
    assert all(end["reach"] for end in log["ends"])


def test_an_entry_is_mended_or_dropped_by_its_number(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak cut friday")
    keeper.does("note", "L01", "coat")
    keeper.does("note", "L01", "correct", "2", "--when", "8:30")
    assert "coat on L01 butt and top" in keeper.does("log", "show", "L01")
    assert "today 8:30" in keeper.does("log", "list")
    keeper.does("note", "L01", "correct", "2", "--drop")
    assert keeper.end("L01")["state"] == "bare"
    assert "(taken back)" in keeper.does("log", "show", "L01")


def test_saw_first_is_said_in_one_word_or_two(keeper: Keeper) -> None:
    keeper.does("log", "add", "2 oak")
    keeper.does("note", "L01", "saw-first")
    keeper.does("note", "L02", "saw", "first")
    assert [keeper.end(tag)["next_job"] for tag in ("L01", "L02")] == ["saw", "saw"]


def test_left_till_a_day_waits_till_its_first_moment(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak")
    keeper.does("note", "L01", "leave", "--till", "5 nov")
    assert keeper.end("L01")["next_job"] is None
    assert "by your word left as it is till Wed 5" in keeper.does("log", "list")
    assert keeper.end("L01", at="2025-11-05T00:01")["next_job"] == "first_coat"


def test_what_was_written_comes_back_as_json(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak cut friday")
    done = keeper.run("note", "L01", "coat", "--when", "9:00", "--end", "butt", "--json").json
    assert done["entries"] == [
        {
            "number": 2,
            "kind": "coat",
            "tag": "L01",
            "end": "butt",
            "ends": ["butt"],
            "at": "2025-11-03T09:00:00+01:00",
        }
    ]
    assert "L01 butt" in done["said"]
    assert keeper.run("undo", "--json").json["entries"][0]["kind"] == "undo"


# ------------------------------------------------------------------ bad input

BAD = [  # the command; words that the message must hold
    ("log add oak 9m x 8m", "at most 4 m"),
    ("log add --species oak --butt 9m", "butt: 9 m cannot be"),
    ("log add --species oak --butt twenty", "--butt: 'twenty' is not a length"),
    ("log add --species oak --butt=-22in", "below zero"),
    ("log add --species oak --length 2.6", "--length: '2.6' has no unit"),
    ("log add --species oak --length 90m", "length: 90 m cannot be"),
    ("log add --species oak --top 60cm --butt 50cm", "are they swapped"),
    ("log add --species oak --length 2m --needs 3m", "needs: 3 m cannot be had from a log of 2 m"),
    ("log add oak cut 32 february", "32 February"),
    ("log add --species oak --cut 2025-02-32", "There is no 32 February"),
    ("log add --species oak --cut 2025-02-29", "There is no 29 February"),
    ("log add --species oak --cut tomorrow", "cut: tomorrow is still to come"),
    ("log add oak felled 20 oct cut 10 oct", "earlier than the felling"),
    ("log add --species oak --felled 2025-10-20 --cut 2025-10-10", "before the felling"),
    ("log add --species oak --felled 2025-11-02 --cut 2025-11-01", "before the felling"),
    ("log add --species oak --worth priced", "nearest: prized"),
    ("log add --species oak --price cheap", "write a sum"),
    ("log add --species oak --reach bat", "there is no end 'bat'"),
    ("log add --species oak --place leanto", "Did you mean lean-to?"),
    ("log add --species oak --state standin", "state: 'standin' is not one of"),
    ("log add wallnut 22in", "Nearest: walnut"),
    ("log add oak 22in walnut", "one line is for one wood"),
    ("log add oak --species walnut 22in", "which of the two"),
    ("log add oak 22in --butt 20in", "say it once"),
    ("log add --butt 20in", "Which wood is it?"),
    ("log add K01 oak", "K01 is there already"),
    ("log show K02", "Did you mean K01?"),
    ("log show zzz", "coatcast log list"),
    ("log change K01", "What is to change of K01?"),
    ("log change K02 --length 2m", "Did you mean K01?"),
    ("log change K01 --length 900m", "length: 900 m cannot be"),
    ("log change K01 --tag 'no blanks'", "cannot be a tag"),
    ("log change K01 --count many", "no whole number"),
    ("log change K01 --across left", "END=SIZE"),
    ("log change K01 --across left=30cm", "no end 'left'"),
    ("log change K01 --species plastic", "No wood called 'plastic'"),
    ("log import nowhere.csv", "nowhere.csv"),
    ("note K01", "Say which logs and then what was done"),
    ("note coat K01", "Say which logs and then what was done"),
    ("note K01 coet", "Did you mean coat?"),
    ("note K02 coat", "Did you mean K01?"),
    ("note K01,K99 coat", "K99"),
    ("note K01-K03 coat", "K03"),
    ("note K01 coat --end botom", "no end 'botom'"),
    ("note K01 coat --when 'in 3 days'", "still to come"),
    ("note K01 coat --when '1 sep'", "before the felling"),
    ("note K01 coat --litres many", "--litres: 'many' is not a volume"),
    ("note K01 coat --into 3", "--into goes with saw, not with coat"),
    ("note K01 roof --end butt", "--end goes with cut, coat and look"),
    ("note K01 look", "What was seen?"),
    ("note K01 look clear", "no coat is noted there"),
    ("note K01 look checks wide", "'look checks' takes one of"),
    ("note K01 cut 9m", "cannot be cut off a log of"),
    ("note K01 cut nicely", "says nothing about the fresh face"),
    ("note K01 divide 2.1", "has no unit"),
    ("note K01 divide", "divided where?"),
    ("note K01 divide 5m", "cannot be divided at"),
    ("note K01 move shedd", "lean-to"),
    ("note K01 saw --into 0", "0 pieces cannot be"),
    ("note K01 saw --thick 2m", "cannot come from it"),
    ("note K01 leave --till yesterday", "--till"),
    ("note K01 correct", "Which entry is to be mended?"),
    ("note K01 correct 7 --drop", "K01 has no entry 7"),
    ("note K01 correct 1", "Say either --when TIME or --drop"),
    ("note K01 correct 1 --when yesterday", "coatcast log change K01"),
    ("note @first coat", "that list is empty"),
]  # fmt: skip


def words_of(command: str) -> list[str]:
    import shlex

    return shlex.split(command.replace("don't", "dont"))


@pytest.mark.parametrize(("command", "holds"), BAD, ids=[command for command, _ in BAD])
def test_what_cannot_be_is_refused_with_the_mend_and_nothing_is_written(
    keeper: Keeper, command: str, holds: str
) -> None:
    keeper.does("log", "add", "K01 oak 50x46cm 2.4m felled 20 sep cut 21 sep")
    if command.startswith("note @first"):
        keeper.does("note", "K01", "coat", "--when", "22 sep")
        keeper.does("note", "K01", "look", "clear")
    before = keeper.does("log", "export")
    said = keeper.fails(*words_of(command))
    assert holds in said
    assert keeper.does("log", "export") == before


def test_nothing_left_to_take_back_is_said(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak")
    keeper.does("undo")
    assert "nothing to take back" in keeper.fails("undo")


def test_an_unknown_option_or_command_ends_with_2(keeper: Keeper) -> None:
    keeper.does("log", "add", "oak")
    assert "--lenght" in keeper.fails("log", "change", "L01", "--lenght", "3m")
    assert "lsit" in keeper.fails("log", "lsit")


def test_no_yard_file_is_one_sentence_with_the_one_command(keeper: Keeper) -> None:
    keeper.file.unlink()
    said = keeper.fails("log", "add", "oak")
    assert "coatcast init" in said
    assert said.count("\n") == 1
