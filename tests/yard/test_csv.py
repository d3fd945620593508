"""The register as a table: every column that goes out comes in again, and bad cells are named."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from yard_story import AT, DAY, Story, ago

from scheduler.yard import book
from scheduler.yard.book import By, NewEnd, NewLog, Voice
from scheduler.yard.facts import Moment, Register
from scheduler.yard.state import fold
from scheduler.yard.table_csv import TableError, TableRow, read_table, write_table

BERLIN = ZoneInfo("Europe/Berlin")
MONDAY = datetime(2025, 11, 3, 5, 45, tzinfo=BERLIN)

# The columns of a yard's own table, invented.
HEAD = (
    "tag,species,botanical,butt_cm,top_cm,length_m,needs_m,felled,cut,butt_coats,butt_coated,top_coats,"
    "top_coated,checks,reach,state,place,use,price_sawn_per_m3,story\n"
)
TABLE = HEAD + (
    "A1,wild cherry,Prunus avium,54,48,2.6,2.40,2025-10-31,2025-11-01,0,,0,,none,both,in_yard,,table slabs,"
    '2400,"just trimmed, dear if left"\n'
    "A2,European beech,Fagus sylvatica,64,57,4.1,3.90,2025-10-20,2025-10-20,2,2025-10-24,1,2025-10-22,"
    'hairline,butt,in_yard,,benches,900,"he said ""in the deck"""\n'
    "A3,wild cherry,Prunus avium,44,40,2.5,,2025-11-05,,0,,0,,none,both,expected,,table slabs,2400,"
    "comes on Wednesday\n"
)


def read(text: str, **options: Any) -> list[TableRow]:
    return read_table(text, at=MONDAY, zone=BERLIN, **options)


def taken_in(rows: list[TableRow], at: datetime = MONDAY) -> Register:
    register, by = fold([], at), By("yard", at)
    labels = [row.label for row in rows]
    written = book.add_logs([row.log for row in rows], register, by, labels=labels, voice=Voice(BERLIN))
    return fold(written.entries, at)


def faults(text: str, **options: Any) -> list[str]:
    with pytest.raises(TableError) as caught:
        read(text, **options)
    return str(caught.value).splitlines()


# ------------------------------------------------------------------ in


def test_a_table_of_a_yard_is_taken_in_with_its_coats() -> None:
    register = taken_in(read(TABLE))
    one, two, three = register.logs
    assert (one.tag, one.species, one.species_said) == ("A1", "Prunus avium", "wild cherry")
    assert one.length_cm == 260.0
    assert (one.needs_cm, one.price_per_m3, one.note) == (240.0, 2400.0, "just trimmed, dear if left")
    butt, top = two.ends
    assert (butt.layers, top.layers, butt.checks, butt.reach, top.reach) == (2, 1, "hairline", True, False)
    assert [c.moment.time for c in top.coats] == [datetime(2025, 10, 22, 10, tzinfo=UTC)]
    assert two.note == 'he said "in the deck"'
    assert three.state == "expected"
    assert three.felled is not None
    assert three.felled.first == datetime(2025, 11, 4, 23, tzinfo=UTC)


def test_the_unit_stands_in_the_heading() -> None:
    text = "tag,butt_in,top_mm,length_ft,needs_in\nA1,22,500,8.5,96\n"
    [log] = taken_in(read(text)).logs
    assert [end.diameter_cm for end in log.ends] == [55.88, 50.0]
    assert (log.length_cm, log.needs_cm) == (259.08, 243.84)


@pytest.mark.parametrize(
    "text",
    [
        "\ufefftag;species;butt_cm;length_m\r\nA1;Rüster;54,5;2,60\r\n",
        "tag\tspecies\tbutt_cm\tlength_m\nA1\tRüster\t54.5\t2.60\n",
        'Tag , SPECIES,"butt cm",length_m\n\nA1,Rüster, 54.5 ,2.60\n,,,\n',
        "tag,species,butt_cm,length_m\rA1,Rüster,54.5,2.6\r",
    ],
)
def test_bom_semicolons_tabs_blank_lines_and_any_line_end_are_accepted(text: str) -> None:
    [log] = taken_in(read(text)).logs
    assert (log.tag, log.species_said) == ("A1", "Rüster")
    assert (log.ends[0].diameter_cm, log.length_cm) == (54.5, 260.0)


def test_rough_times_and_species_words_are_read_by_those_who_can() -> None:
    def moment(text: str, ahead: bool) -> Moment:
        assert (text, ahead) in {("last week", True), ("sat", False)}
        return ago(days=7, half_days=3.5)

    text = "species,felled,cut\nwalnut,last week,sat\nnonesuch,,\n"
    rows = read(text, moment=moment, species={"walnut": "Juglans regia"}.get)
    assert [row.log.species for row in rows] == ["Juglans regia", None]
    assert rows[0].log.cut == Moment(AT - 7 * DAY, timedelta(days=3.5), "sat")


def test_logs_without_a_tag_get_the_next_free_ones() -> None:
    rows = read("species,tag\noak,\nelm,L02\nash,\n")
    assert [log.tag for log in taken_in(rows).logs] == ["L01", "L02", "L03"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("tag,species\n", "no log"),
        ("tag,spezies\nA1,oak\n", "'spezies' is not known. Did you mean species"),
        ("tag,butt\nA1,54\n", "Did you mean butt_"),
        ("tag,note,story\nA1,a,b\n", "'note' and 'story' say the same"),
        ("tag,length_m,length_ft\nA1,1,3\n", "say the same"),
        ("tag,butt_cm\nA1,54 cm\n", "row 2, butt_cm: '54 cm' is no number"),
        ("tag,butt_cm\nA1,'1e999\n", "row 2, butt_cm"),
        ("tag,length_m\nA1,nan\n", "is no number"),
        ("tag,length_m\nA1,1e999\n", "too big"),
        ("tag,butt_cm\nA1,900\n", "row 2, butt_cm: butt: 9.00 m cannot be"),
        ("tag,length_in\nA1,-4\n", "row 2, length_in: length"),
        ("tag,felled\nA1,2025-02-32\n", "row 2, felled: there is no day 2025-02-32"),
        ("tag,felled\nA1,soon\n", "row 2, felled: 'soon' is no day; write it as 2025-10-31"),
        ("tag,cut\nA1,2025-11-09\n", "row 2, cut"),
        ("tag,felled,cut\nA1,2025-10-20,2025-10-10\n", "before the felling"),
        ("tag,butt_coats\nA1,1\n", "row 2, butt_coated: butt: say when it was coated"),
        ("tag,butt_coats\nA1,1.5\n", "not a whole number"),
        ("tag,checks\nA1,deep\n", "none, hairline, open, right through"),
        ("tag,reach\nA1,bottom\n", "there is no end 'bottom'"),
        ("tag,skip\nA1,perhaps\n", "neither yes nor no"),
        ("tag,state\nA1,lost\n", "expected, standing, long"),
        ("tag,species\nA1\n", "1 cells where the heading has 2; is the file cut off?"),
        ("tag,species\nA1,oak,old\n", "is a text with commas not in quotation marks?"),
        ('tag,note\nA1,"never closed\n', "quotation mark"),
        ("tag\nA1\na1\n", "row 3, tag: a1 stands in row 2 already"),
        (",tag\nx,A1\n", "column without a heading"),
    ],
)
def test_a_fault_names_row_and_column(text: str, words: str) -> None:
    assert words in "\n".join(faults(text))


def test_all_faults_are_told_together_in_the_order_of_the_rows() -> None:
    told = faults("tag,butt_cm,cut,skip\nA1,x,2025-11-09,no\nA2,900,2025-10-01,maybe\nA3,50,,\nA1,50,,\n")
    assert [line[:5] for line in told[:-1]] == ["row 2", "row 2", "row 3", "row 3", "row 5"]
    assert told[-1] == "Nothing was taken in."
    told = faults("tag,butt_cm,skip\nA1,x,perhaps\n")
    assert len(told) == 3


def test_a_wood_that_can_be_two_is_a_fault_of_its_row() -> None:
    def two(word: str) -> str | None:
        raise ValueError(f"'{word}' can be two woods: say which.")

    told = faults("tag,species\nA1,walnut\n", species=two)
    assert told[0] == "row 2, species: 'walnut' can be two woods: say which."


# ------------------------------------------------------------------ out


def test_what_goes_out_has_the_unit_in_its_headings() -> None:
    register = taken_in(read(TABLE))
    head = next(csv.reader(write_table(register).splitlines()))
    assert {"butt_cm", "length_cm", "butt_coated"} <= set(head)
    head, first, *_ = csv.reader(write_table(register, units="us").splitlines())
    assert dict(zip(head, first, strict=True))["butt_in"] == "21.25984252"


def test_days_go_out_as_days_and_assumed_times_are_marked() -> None:
    register = taken_in(read("tag,felled\nA1,2025-10-26\n"))
    head, row = csv.reader(write_table(register, zone=BERLIN).splitlines())
    cells = dict(zip(head, row, strict=True))
    # the day of the clock change in Berlin has 25 hours and is still one day
    assert (cells["felled"], cells["butt_cut"]) == ("2025-10-26", "2025-10-26?")


FORMULAS = ["=1+1", "+49 7", "-oak", "@home", "\tx", "'=x", "''-x"]


@pytest.mark.parametrize("text", FORMULAS)
def test_a_cell_that_a_spreadsheet_would_run_is_quoted_and_comes_back(text: str) -> None:
    story = Story().add("A1", use=text)
    cell = next(csv.DictReader(write_table(story.register).splitlines()))["use"]
    assert cell[0] not in "=+-@\t\r"
    [row] = read_table(write_table(story.register), at=AT, zone=UTC)
    assert row.log.use == text.strip()


def test_an_empty_register_goes_out_as_a_heading() -> None:
    assert write_table(Register(AT)).count("\r\n") == 1


# ------------------------------------------------------------------ round trip

letters = st.characters(exclude_categories=["Cs", "Cc"])
texts = st.text(letters | st.sampled_from("=+-@',;\"\n ßüéñ木"), max_size=25)
sizes = st.floats(0.1, 250, allow_nan=False).map(lambda x: round(x, 4))
past = st.integers(0, 400 * 24).map(lambda h: ago(hours=h + 1))
hours = st.integers(0, 300).map(lambda h: timedelta(hours=h))
rough = st.builds(lambda moment, half: Moment(moment.time - half, half), past, hours)


@st.composite
def ends(draw: st.DrawFn, name: str) -> NewEnd:
    coats = draw(st.sampled_from([0, 1, 2]))
    look = draw(st.sampled_from([None, "clear", "milky", "skips", "spoiled"])) if coats else None
    return NewEnd(
        name,
        draw(st.none() | sizes),
        cut=draw(st.just(ago(days=500)) | st.just(ago(days=450, half_days=20))),
        reach=draw(st.booleans()),
        checks=draw(st.sampled_from(["none", "hairline", "open", "right through"])),
        face=draw(st.sampled_from(["wet", "dry", "cracked", "unknown"])),
        trimmed_cm=draw(st.just(0.0) | sizes),
        coats=coats,
        coated=draw(rough) if coats else None,
        part=bool(coats) and draw(st.booleans()),
        look=look,
        looked=Moment(AT) if look else None,
    )


@st.composite
def new_logs(draw: st.DrawFn, n: int) -> NewLog:
    names = draw(st.sampled_from([("butt", "top"), ("butt", "left", "right"), ("butt",)]))
    flags = {name: draw(st.booleans()) for name in ("roofed", "left_long", "skip", "saw_first")}
    return NewLog(
        tag=f"L{n:02d}",
        species=draw(st.sampled_from([None, "Juglans regia"])),
        species_said=draw(texts),
        length_cm=draw(st.none() | sizes),
        felled=draw(st.none() | st.just(ago(days=700, half_days=100))),
        state=draw(st.sampled_from(["in_yard", "gone"])),
        worth=draw(st.sampled_from([None, "prized", "firewood"])),
        lump=draw(st.none() | sizes),
        price_per_m3=draw(st.none() | sizes),
        use=draw(texts),
        place=draw(texts),
        count=draw(st.integers(1, 40)),
        metal=draw(st.sampled_from([None, True, False])),
        note=draw(texts),
        ends=tuple(draw(ends(name)) for name in names),
        thick_cm=draw(st.none() | sizes),
        parent=draw(st.sampled_from([None, "L01"])),
        left_till=AT + DAY if flags["left_long"] and draw(st.booleans()) else None,
        gone_why=draw(texts),
        halved=draw(st.none() | past),
        sawn=draw(st.none() | rough),
        **flags,
    )


@settings(max_examples=60, deadline=None)
@given(data=st.data(), zone=st.sampled_from([UTC, BERLIN, ZoneInfo("Pacific/Auckland")]))
def test_every_column_that_goes_out_comes_in_again(data: st.DataObject, zone: Any) -> None:
    logs = [data.draw(new_logs(n)) for n in range(1, data.draw(st.integers(1, 3)) + 1)]
    by = By("yard", AT)
    register = fold(book.add_logs(logs, fold([], AT), by).entries, AT)
    text = write_table(register, zone=zone)
    rows = read_table(text, at=AT, zone=zone)
    again = fold(book.add_logs([r.log for r in rows], fold([], AT), by).entries, AT)
    assert write_table(again, zone=zone) == text
    for old, new in zip(register.logs, again.logs, strict=True):
        for name in ("tag", "species", "species_said", "state", "length_cm", "note", "metal", "assumed"):
            assert getattr(new, name) == getattr(old, name)
        for before, after in zip(old.ends, new.ends, strict=True):
            assert (after.layers, after.reach, after.checks, after.cut.first, after.cut.last) == (
                *(before.layers, before.reach, before.checks),
                *(before.cut.first, before.cut.last),
            )


def test_a_lived_in_register_comes_back_as_it_stands() -> None:
    story = Story().add("H01", species="Juglans regia", length_cm=240.0, butt_cm=56.0, cut=ago(days=9))
    story.add("H02").add("H03", felled=Moment(AT + DAY)).add("H04", state="standing").add("H05", face="dry")
    story.note("H01", "coat", when=ago(days=4)).note("H01", "coat", when=ago(days=2))
    story.note("H01", "look", "spoiled", when=ago(days=1), ends=["top"]).note("H02", "coat", part=True)
    story.note("H01", "divide", size_cm=100.0).note("H01-1", "saw", into=9, thick_cm=5.5).note("H02", "leave")
    text = write_table(story.register)
    rows = read_table(text, at=AT, zone=UTC)
    written = book.add_logs([r.log for r in rows], fold([], AT), By("yard", AT))
    again = fold(written.entries, AT)
    assert write_table(again) == text
    for old in story.register.logs:
        new = again.log(old.tag)
        assert new is not None
        assert [e.layers for e in new.ends] == [e.layers for e in old.ends]


@settings(max_examples=150, deadline=None)
@given(text=st.text(st.one_of(st.sampled_from("tag,species;\n\r\"'=x1\t"), st.characters()), max_size=120))
def test_no_text_whatever_breaks_the_reader(text: str) -> None:
    for whole in (text, "tag,note\nA1," + text + "\n"):
        try:
            rows = read(whole)
        except TableError:
            continue
        assert rows


def test_the_bundled_demo_yards_table_is_taken_in_if_it_is_there() -> None:
    path = Path(__file__).parents[2] / "demo" / "logs.csv"
    if not path.is_file():
        pytest.skip("demo/logs.csv is not there yet")
    assert taken_in(read(path.read_text(encoding="utf-8"))).logs
