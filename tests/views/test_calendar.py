from __future__ import annotations

import io
import random
import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

import pytest
import vobject
from dateutil import tz
from hypothesis import given, settings
from hypothesis import strategies as st
from icalendar import Calendar, Event
from reminder_samples import (
    AT,
    BERLIN,
    DAY,
    HOUR,
    TUESDAY_9,
    coat,
    end,
    job,
    local,
    log,
    moved,
    span,
    wanted,
)

from scheduler import __version__
from scheduler.reminders.settle import settle
from scheduler.reminders.wanted import Derived
from scheduler.settings import FeedChoice
from scheduler.views.calendar import agenda, calendar_bytes
from scheduler.views.feed import calendar_entries
from scheduler.views.zone_rules import onsets, vtimezone
from scheduler.yard.reminder_row import ReminderRow

FEED = FeedChoice()
ZONED = FeedChoice(times="zone")
NAMES = UUID("6ba7b810-9dad-11d1-80b4-00c04fd430c8")

Rows = list[ReminderRow]


def plan(derived: Derived, known: Sequence[ReminderRow] = (), at: datetime = AT) -> Rows:
    """The rows after a plan, as a store would keep them, but with UIDs that are the same in every run."""
    written, _ = settle(list(known), derived, at)
    rows = {row.key: row for row in known}
    for row in written:
        uid = row.uid or str(uuid5(NAMES, row.key))
        rows[row.key] = replace(row, id=row.id or len(rows) + 1, uid=uid)
    return list(rows.values())


def write(rows: Iterable[ReminderRow], feed: FeedChoice = FEED, at: datetime = AT, **other: Any) -> bytes:
    told: dict[str, Any] = {"yard_name": "Ellerquern Bench", "zone": BERLIN, "units": "metric"} | other
    return calendar_bytes(list(rows), feed=feed, at=at, **told)


def read(data: bytes) -> dict[str, Event]:
    """The events by UID."""
    calendar = Calendar.from_ical(data)
    assert calendar.errors == []
    events = {str(event["UID"]): event for event in calendar.events}
    assert len(events) == len(calendar.events)
    assert all(event.errors == [] for event in calendar.events)
    return events


def only(data: bytes) -> Event:
    (event,) = read(data).values()
    return event


def sample() -> Rows:
    """Two spans, a log to coat, one with a second coat and a look: what a Monday in November may hold."""
    coated = log("H09", end(coats=(coat("2025-11-02T10:00", 7),)), species="Tilia cordata")
    jobs = [
        job(),
        job(name="top"),
        job(
            "second_coat",
            "H09",
            due=local("2025-11-03T18:07"),
            cause=7,
            hint="look first: milky means no",
        ),
        job("look", "H09", due=local("2025-11-03T10:00"), cause=7, why="clear or milky?"),
    ]
    thursday = moved(span(chance=0.55), 2 * DAY + 1.5 * HOUR, hours=1.5)
    return plan(wanted(jobs, [log(), coated], [span(), thursday]))


# ------------------------------------------------------------------ bytes (RFC 5545, 3.1)


def nasty() -> Rows:
    wood = log(species=None, species_said="Käfer-Eiche; „alt“, 50\\60 🌳🌳 " + "sehr lang " * 12)
    return plan(wanted([job(), job("look")], [wood], [span()]))


@pytest.mark.parametrize("feed", [FEED, ZONED, FeedChoice(alarms=True)])
def test_every_line_ends_in_crlf_and_has_at_most_75_octets(feed: FeedChoice) -> None:
    data = write([*sample(), *nasty()], feed)
    assert data.endswith(b"END:VCALENDAR\r\n")
    assert data.count(b"\n") == data.count(b"\r\n") == data.count(b"\r")
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    assert b"\t" not in data
    data.replace(b"\r\n ", b"").decode("utf-8")


def test_a_fold_does_not_cut_a_letter_in_two() -> None:
    for line in write(nasty()).split(b"\r\n"):
        line.decode("utf-8")


def test_texts_are_escaped() -> None:
    data = write(nasty()).replace(b"\r\n ", b"").decode()
    assert "Käfer-Eiche\\; „alt“\\, 50\\\\60 🌳🌳" in data


def test_uids_are_unique_alarms_included() -> None:
    lines = write(sample(), FeedChoice(alarms=True)).split(b"\r\n")
    uids = [line for line in lines if line.startswith(b"UID:")]
    assert len(uids) == len(set(uids)) == 7  # two spans with an alarm each, three entries of whole days


def test_equal_rows_give_equal_bytes_in_any_order_and_all_day() -> None:
    rows = sample()
    data = write(rows)
    random.Random(7).shuffle(rows)
    assert write(rows) == data
    assert write(rows, at=AT + 12 * HOUR) == data


# ------------------------------------------------------------------ properties


def test_the_calendar_says_what_it_is_and_how_often_to_ask() -> None:
    data = write(sample())
    head = data.split(b"BEGIN:VEVENT")[0].decode().split("\r\n")
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT1H" in head  # RFC 7986, 5.7
    assert "X-PUBLISHED-TTL:PT1H" in head
    assert "X-WR-TIMEZONE:Europe/Berlin" in head
    assert "X-WR-CALNAME:Ellerquern Bench" in head
    assert "VERSION:2.0" in head
    assert not any(line.startswith(("METHOD", "UID")) for line in head)


def test_an_event_carries_what_its_row_holds() -> None:
    row = next(row for row in sample() if row.kind == "span")
    row = replace(row, sequence=4, changed_at=AT + HOUR)
    event = only(write([row]))
    assert event["UID"] == row.uid
    assert event["SEQUENCE"] == 4
    assert event["DTSTAMP"].dt == event["LAST-MODIFIED"].dt == AT + HOUR
    assert (event["STATUS"], event["TRANSP"]) == ("CONFIRMED", "TRANSPARENT")
    assert (event["DTSTART"].dt, event["DTEND"].dt) == (TUESDAY_9, TUESDAY_9 + 4 * HOUR)


def test_timed_events_are_in_utc_and_days_are_dates() -> None:
    data = write(sample()).decode()
    assert "DTSTART:20251104T080000Z\r\nDTEND:20251104T120000Z" in data
    assert "DTSTART;VALUE=DATE:20251104\r\nDTEND;VALUE=DATE:20251105" in data
    assert "TZID" not in data


def test_categories_are_one_property_with_a_comma_list() -> None:
    data = write(sample()).decode()
    assert "CATEGORIES:Coating\r\n" in data
    assert "CATEGORIES:Coating,Inspection\r\n" in data
    assert all(block.count("CATEGORIES") == 1 for block in data.split("BEGIN:VEVENT")[1:])


def test_alarms_come_only_when_asked_for_and_only_with_firm_spans() -> None:
    far = plan(wanted(spans=[span(), moved(span(), 8 * DAY)]))
    assert b"VALARM" not in write(far)
    data = write(far, FeedChoice(alarms=True, days=10))
    assert data.count(b"BEGIN:VALARM") == 1
    assert b"ACTION:DISPLAY" in data
    assert b"TRIGGER:-PT1H" in data
    assert write(far, FeedChoice(alarms=True, days=10)) == data


def test_a_span_beyond_the_trusted_days_is_tentative() -> None:
    rows = plan(wanted(spans=[moved(span(), 8 * DAY)]))
    assert only(write(rows, FeedChoice(days=12)))["STATUS"] == "TENTATIVE"


def test_a_span_with_a_single_start_still_has_a_length() -> None:
    event = only(write(plan(wanted(spans=[span(hours=0.0)]))))
    assert event["SUMMARY"] == "Brush at 9: about 9 in 10"
    assert event["DTEND"].dt - event["DTSTART"].dt == timedelta(minutes=15)


# ------------------------------------------------------------------ what stands in it


GOLDEN = """\
BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//Coatcast//Coatcast {version}//EN
CALSCALE:GREGORIAN
DESCRIPTION:When to brush\\, and what is due. The morning's answer rules: an empty day is not a yes.
X-WR-CALDESC:When to brush\\, and what is due. The morning's answer rules: an empty day is not a yes.
NAME:Ellerquern Bench
X-WR-CALNAME:Ellerquern Bench
LAST-MODIFIED:20251103T044500Z
REFRESH-INTERVAL;VALUE=DURATION:PT1H
X-PUBLISHED-TTL:PT1H
X-WR-TIMEZONE:Europe/Berlin
BEGIN:VEVENT
SUMMARY:H09 small-leaved lime\\, butt: look\\, clear or milky?
DTSTART;VALUE=DATE:20251103
DTEND;VALUE=DATE:20251104
DTSTAMP:20251103T044500Z
UID:{look}
SEQUENCE:0
CATEGORIES:Inspection
DESCRIPTION:Coated Sun 2 Nov.
LAST-MODIFIED:20251103T044500Z
STATUS:CONFIRMED
TRANSP:TRANSPARENT
END:VEVENT
BEGIN:VEVENT
SUMMARY:H01 wild cherry\\, butt and top: first coat
DTSTART;VALUE=DATE:20251104
DTEND;VALUE=DATE:20251105
DTSTAMP:20251103T044500Z
UID:{seal}
SEQUENCE:0
CATEGORIES:Coating,Deadline
DESCRIPTION:Open since Sat 1 Nov\\, felled Fri 31 Oct.
LAST-MODIFIED:20251103T044500Z
STATUS:CONFIRMED
TRANSP:TRANSPARENT
END:VEVENT
BEGIN:VEVENT
SUMMARY:H09 small-leaved lime\\, butt: second coat
DTSTART;VALUE=DATE:20251104
DTEND;VALUE=DATE:20251105
DTSTAMP:20251103T044500Z
UID:{second}
SEQUENCE:0
CATEGORIES:Coating,Inspection
DESCRIPTION:Coated Sun 2 Nov.\\nLook first: milky means no.
LAST-MODIFIED:20251103T044500Z
STATUS:CONFIRMED
TRANSP:TRANSPARENT
END:VEVENT
BEGIN:VEVENT
SUMMARY:Brush 9 to 13: about 9 in 10
DTSTART:20251104T080000Z
DTEND:20251104T120000Z
DTSTAMP:20251103T044500Z
UID:{span}
SEQUENCE:0
CATEGORIES:Coating
DESCRIPTION:A coat brushed then: dry to touch by 13:30\\, takes rain by 18:30\\, past frost by 15:00\\, dry through by Wed 13:30.\\n\\nDo first:\\nH01 wild cherry\\, butt and top: first coat\\nH09 small-leaved lime\\, butt: second coat\\n\\nFeel the ends first: dull and dry\\, or wait an hour.
LAST-MODIFIED:20251103T044500Z
STATUS:CONFIRMED
TRANSP:TRANSPARENT
END:VEVENT
BEGIN:VEVENT
SUMMARY:Brush 10:30 to 12: about 6 in 10
DTSTART:20251106T093000Z
DTEND:20251106T110000Z
DTSTAMP:20251103T044500Z
UID:{thursday}
SEQUENCE:0
CATEGORIES:Coating
DESCRIPTION:A coat brushed then: dry to touch by 15:00\\, takes rain by 20:00\\, past frost by 16:30\\, dry through by Fri 15:00.\\n\\nNo end is due.
LAST-MODIFIED:20251103T044500Z
STATUS:CONFIRMED
TRANSP:TRANSPARENT
END:VEVENT
END:VCALENDAR
"""  # noqa: E501


def test_the_whole_file_of_a_monday_reads_like_this() -> None:
    rows = sample()
    uid = {row.kind: row.uid for row in rows[::-1]}
    golden = GOLDEN.format(
        version=__version__,
        look=uid["look"],
        seal=min((row for row in rows if row.kind == "seal"), key=lambda row: row.id or 0).uid,
        second=uid["second_coat"],
        span=next(row.uid for row in rows if row.due_at == TUESDAY_9),
        thursday=next(row.uid for row in rows if row.due_at > AT + 2 * DAY),
    )
    assert write(rows).decode().replace("\r\n ", "").replace("\r\n", "\n") == golden


def test_in_us_units_the_hours_read_as_people_say_them() -> None:
    rows = plan(wanted(spans=[span()]))
    event = only(write(rows, units="us", zone=BERLIN))
    assert event["SUMMARY"] == "Brush 9 to 1: about 9 in 10"
    assert "takes rain by 6:30 pm" in event["DESCRIPTION"]


def test_what_lies_beyond_the_forecast_is_said_to() -> None:
    reached = replace(span().milestones, frost_safe=None, dry=None)
    event = only(write(plan(wanted(spans=[span(milestones=reached)]))))
    assert "Beyond this forecast: past frost, dry through." in event["DESCRIPTION"]


def test_hours_after_the_good_ones_are_named_as_a_time_to_stop() -> None:
    wide = span(hours=7.0, sure_from=TUESDAY_9, sure_until=TUESDAY_9 + 4 * HOUR)
    event = only(write(plan(wanted(spans=[wide]))))
    assert event["SUMMARY"] == "Brush 9 to 13: about 9 in 10"
    assert event["DTEND"].dt == TUESDAY_9 + 4 * HOUR
    assert "Stop at 13: after that the chance falls." in event["DESCRIPTION"]


def test_first_coats_are_shown_today_and_tomorrow_spans_for_the_feeds_days() -> None:
    spans = [span(), moved(span(), 2 * DAY), moved(span(), 5 * DAY)]
    rows = plan(wanted([job()], spans=spans))
    titles = [entry.summary for entry in calendar_entries(rows, BERLIN, "metric", FEED, AT)]
    assert titles == [
        "H01 wild cherry, butt: first coat",
        "Brush 9 to 13: about 9 in 10",
        "Brush 9 to 13: about 9 in 10",
    ]
    late = plan(wanted([job()], spans=spans[1:]))
    assert all(e.kind == "span" for e in calendar_entries(late, BERLIN, "metric", FEED, AT))
    assert len(calendar_entries(rows, BERLIN, "metric", FeedChoice(days=7), AT)) == 4


def test_what_is_over_stays_for_fourteen_days() -> None:
    rows = plan(wanted(spans=[span()]))
    rows = plan(wanted(spans=[], at=AT + 2 * DAY), rows, AT + 2 * DAY)
    assert only(write(rows, at=AT + 15 * DAY))["STATUS"] == "CONFIRMED"
    assert read(write(rows, at=AT + 16 * DAY)) == {}


def test_many_logs_on_one_day_are_five_entries_and_a_line() -> None:
    logs = [log(f"H{n:02}") for n in range(1, 9)]
    rows = plan(wanted([job(tag=one.tag) for one in logs], logs, [span()]))
    entries = [e for e in calendar_entries(rows, BERLIN, "metric", FEED, AT) if e.kind == "seal"]
    assert len(entries) == 5
    (last,) = [e for e in entries if e.rest]
    assert last.summary.startswith("H05")
    assert last.description.endswith(
        "And 3 more: H06 wild cherry, butt; H07 wild cherry, butt; H08 wild cherry, butt."
    )


@pytest.mark.parametrize(("done", "left"), [("butt", "top"), ("top", "butt")])
def test_an_answered_end_leaves_the_entry_of_its_log_under_the_same_uid(done: str, left: str) -> None:
    def shown(rows: Rows) -> Any:
        return next(e for e in calendar_entries(rows, BERLIN, "metric", FEED, AT) if e.kind == "seal")

    rows = plan(wanted([job(), job(name="top")], spans=[span()]))
    before = shown(rows)
    told: dict[str, Any] = {"state": "done", "changed_at": AT + HOUR, "sequence": 1}
    rows = [replace(row, **told) if row.end == done else row for row in rows]
    after = shown(rows)
    assert before.summary == "H01 wild cherry, butt and top: first coat"
    assert after.summary == f"H01 wild cherry, {left}: first coat"
    assert (after.uid, after.changed_at) == (before.uid, AT + HOUR)
    rows = [replace(row, state="done") if row.end == left else row for row in rows]
    assert [e.kind for e in calendar_entries(rows, BERLIN, "metric", FEED, AT)] == ["span"]


def test_a_job_put_off_stands_on_the_day_it_was_put_off_to() -> None:
    rows = [
        replace(row, later_until=local("2025-11-06T06:00")) if row.kind == "look" else row
        for row in plan(wanted([job("look", due=AT)]))
    ]
    assert only(write(rows))["DTSTART"].dt == date(2025, 11, 6)


def test_ends_with_different_stories_are_told_one_by_one() -> None:
    both = log("H01", end("butt"), end("top", cut="2025-11-02T12:00"))
    rows = plan(wanted([job(), job(name="top")], [both], [span()]))
    told = next(e for e in read(write(rows)).values() if "first coat" in e["SUMMARY"])["DESCRIPTION"]
    assert told == (
        "Butt: Open since Sat 1 Nov, felled Fri 31 Oct.\nTop: Open since Sun 2 Nov, felled Fri 31 Oct."
    )


# ------------------------------------------------------------------ stories


def test_a_moved_span_is_the_same_event_with_the_next_sequence() -> None:
    rows = plan(wanted(spans=[span()]))
    first = only(write(rows))
    rows = plan(wanted(spans=[moved(span(), HOUR)]), rows, AT + HOUR)
    data = write(rows)
    second = only(data)
    assert second["UID"] == first["UID"]
    assert (first["SEQUENCE"], second["SEQUENCE"]) == (0, 1)
    assert second["DTSTART"].dt == TUESDAY_9 + HOUR
    assert second["DTSTAMP"].dt == AT + HOUR
    rows = plan(wanted(spans=[moved(span(), HOUR)]), rows, AT + 3 * HOUR)
    assert write(rows) == data


def test_a_span_that_is_called_off_says_so_until_two_days_after_its_day() -> None:
    rows = plan(wanted(spans=[span()]))
    uid = only(write(rows))["UID"]
    rows = plan(wanted(spans=[]), rows, AT + HOUR)
    event = only(write(rows))
    assert (event["UID"], event["SEQUENCE"], event["STATUS"]) == (uid, 1, "CANCELLED")
    assert event["SUMMARY"] == "Called off: Brush 9 to 13: about 9 in 10"
    assert only(write(rows, at=local("2025-11-06T23:59")))["STATUS"] == "CANCELLED"
    assert read(write(rows, at=local("2025-11-07T00:00"))) == {}


def test_a_job_that_is_withdrawn_is_called_off_under_its_uid() -> None:
    rows = plan(wanted([job()], spans=[span()]))
    uid = next(e for e in read(write(rows)).values() if "first coat" in e["SUMMARY"])["UID"]
    rows = plan(wanted([], [log(state="gone")], [span()]), rows, AT + HOUR)
    event = read(write(rows))[str(uid)]
    assert event["SUMMARY"] == "Called off: H01 wild cherry, butt: first coat"
    assert (event["STATUS"], event["SEQUENCE"]) == ("CANCELLED", 1)


def test_a_coat_whose_span_went_away_is_called_off_for_that_day() -> None:
    rows = plan(wanted([job()], spans=[span()]))
    rows = plan(wanted([job()], spans=[]), rows, AT + HOUR)
    events = read(write(rows)).values()
    assert sorted(str(e["STATUS"]) for e in events) == ["CANCELLED", "CANCELLED"]


def test_a_dropped_span_is_not_shown() -> None:
    rows = [replace(row, state="dropped") for row in plan(wanted(spans=[span()]))]
    assert read(write(rows)) == {}


def test_without_a_fresh_forecast_the_span_is_no_promise() -> None:
    rows = plan(wanted(spans=[span()]))
    rows = plan(wanted(spans=None), rows, AT + HOUR)
    event = only(write(rows))
    assert (event["STATUS"], event["SEQUENCE"]) == ("TENTATIVE", 1)
    assert event["DESCRIPTION"].startswith("No fresh forecast: these hours are from an older one.")


# ------------------------------------------------------------------ any text (RFC 5545, 3.3.11)

# Any text a person may write, with the letters that have to be escaped often among them.
LETTERS = st.one_of(st.sampled_from(list(",;\\:\"'\n\t nN🌳é")), st.characters(exclude_categories=("Cs",)))
TEXTS = st.text(LETTERS, max_size=50)


def heard(text: str) -> str:
    """A text without what a calendar cannot hold: control characters; a line break is one kind only."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(c for c in lines if c in "\n\t" or not (ord(c) < 32 or 127 <= ord(c) < 160))


@settings(max_examples=150, deadline=None)
@given(TEXTS, TEXTS, st.integers(0, 10**6), st.integers(0, 10**8))
def test_any_text_comes_back_as_it_was_written(wood: str, told: str, sequence: int, minute: int) -> None:
    rows = plan(wanted([job("look")]))
    payload = dict(rows[0].payload) | {"species": None, "wood": wood, "detail": told, "why": ""}
    changed = datetime(1990, 1, 1, tzinfo=UTC) + minute * timedelta(minutes=1)
    row = replace(rows[0], payload=payload, sequence=sequence, changed_at=changed)
    data = write([row], yard_name=told or "Yard")
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    assert data.count(b"\n") == data.count(b"\r\n")
    (name,) = [n for n in data.replace(b"\r\n ", b"").split(b"\r\n") if n.startswith(b"X-WR-CALNAME:")]
    told_name = re.sub(r"\\(.)", r"\1", name.decode().partition(":")[2])
    assert told_name == (heard(" ".join(told.split())) or "Yard")
    event = only(data)
    assert event["SUMMARY"] == heard(f"H01 {wood or 'wood not known'}, butt: look")
    assert event.get("DESCRIPTION", "") == heard(told)
    assert event["SEQUENCE"] == sequence
    assert event["DTSTAMP"].dt == event["LAST-MODIFIED"].dt == changed
    assert event["DTSTART"].dt == date(2025, 11, 3)


# ------------------------------------------------------------------ times on the yard's clock


def test_with_times_by_zone_the_clock_is_the_yards_and_the_zone_is_in_the_file() -> None:
    data = write(sample(), ZONED).decode()
    assert "DTSTART;TZID=Europe/Berlin:20251104T090000\r\n" in data
    assert data.index("BEGIN:VTIMEZONE") < data.index("BEGIN:VEVENT")
    assert "RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=10" in data
    zoned, plain = read(data.encode()), read(write(sample()))
    assert {uid: e["DTSTART"].dt for uid, e in zoned.items()} == {
        uid: e["DTSTART"].dt for uid, e in plain.items()
    }


def test_an_hour_that_the_clock_repeats_stays_in_utc() -> None:
    twice = datetime(2025, 10, 26, 1, 30, tzinfo=UTC)  # the second 2:30 of that night in Berlin
    rows = plan(wanted(spans=[span(twice)], at=twice - DAY), at=twice - DAY)
    data = write(rows, ZONED, at=twice - DAY).decode()
    assert "DTSTART:20251026T013000Z" in data
    assert "DTEND;TZID=Europe/Berlin:20251026T063000" in data


# North, south, no change, half an hour, a half-hour change, a zone with a rule that crosses a month's
# end, one whose rule is "the Friday before the last Sunday", midnight changes, and one with odd minutes.
ZONES = [
    "Europe/Berlin",
    "America/New_York",
    "Pacific/Auckland",
    "America/Santiago",
    "Asia/Kolkata",
    "Asia/Kathmandu",
    "Australia/Lord_Howe",
    "America/St_Johns",
    "America/Havana",
    "Africa/Cairo",
    "Asia/Jerusalem",
    "Europe/Dublin",
    "America/Phoenix",
    "UTC",
]


def reader_of(zone: ZoneInfo, since: int) -> Any:
    """The zone as dateutil reads it from the file's VTIMEZONE: another implementation than ours."""
    calendar = Calendar()
    calendar.add("PRODID", "x")
    calendar.add("VERSION", "2.0")
    calendar.add_component(vtimezone(zone, since))
    return tz.tzical(io.StringIO(calendar.to_ical().decode())).get(zone.key)


@pytest.mark.parametrize("key", ZONES)
def test_the_zone_in_the_file_has_the_right_hour_for_many_years(key: str) -> None:
    zone = ZoneInfo(key)
    read_back = reader_of(zone, 2025)
    moments = [datetime(2025, 1, 1, tzinfo=UTC) + n * timedelta(days=8, hours=5) for n in range(45 * 14)]
    for year in range(2025, 2039):
        for onset in onsets(zone, year):
            instant = (onset.local - onset.before).replace(tzinfo=UTC)
            moments += [instant + n * timedelta(minutes=30) for n in (-7, -3, 3, 7)]
    wrong = [
        when
        for when in moments
        if when.astimezone(read_back).replace(tzinfo=None) != when.astimezone(zone).replace(tzinfo=None)
    ]
    assert wrong == []


def test_a_zone_without_a_yearly_rule_is_right_for_the_years_of_the_feed() -> None:
    zone = ZoneInfo("Africa/Casablanca")  # its clock goes back for a month that moves with the moon
    assert len(onsets(zone, 2026)) == 2
    read_back = reader_of(zone, 2025)
    for n in range(2 * 365):
        when = datetime(2025, 1, 1, 12, tzinfo=UTC) + n * DAY
        assert when.astimezone(read_back).utcoffset() == when.astimezone(zone).utcoffset(), when


# ------------------------------------------------------------------ another reader


@pytest.mark.filterwarnings("default")  # the reader's own
@pytest.mark.parametrize("feed", [FEED, ZONED, FeedChoice(alarms=True)])
def test_vobject_reads_the_same_and_finds_no_fault(feed: FeedChoice) -> None:
    data = write([*sample(), *nasty()[:1]], feed)
    calendar = vobject.readOne(data.decode())
    assert calendar.validate(raiseException=True)
    ours = read(data)
    theirs = {event.uid.value: event for event in calendar.vevent_list}
    assert theirs.keys() == ours.keys()
    for uid, event in ours.items():
        other = theirs[uid]
        assert other.summary.value == event["SUMMARY"]
        assert other.description.value == event["DESCRIPTION"]
        assert other.dtstart.value == event["DTSTART"].dt
        assert other.sequence.value == str(event["SEQUENCE"])
        assert other.status.value == event["STATUS"]


# ------------------------------------------------------------------ as text


def test_the_agenda_is_the_same_as_a_list_by_day() -> None:
    text = agenda(sample(), BERLIN, "metric", FEED, at=AT)
    assert text == (
        "Mon 3 Nov\n"
        "  H09 small-leaved lime, butt: look, clear or milky?\n"
        "\n"
        "Tue 4 Nov\n"
        "  Brush 9 to 13: about 9 in 10\n"
        "    A coat brushed then: dry to touch by 13:30, takes rain by 18:30, past frost by 15:00,"
        " dry through by Wed 13:30.\n"
        "  H01 wild cherry, butt and top: first coat\n"
        "  H09 small-leaved lime, butt: second coat\n"
        "\n"
        "Thu 6 Nov\n"
        "  Brush 10:30 to 12: about 6 in 10\n"
        "    A coat brushed then: dry to touch by 15:00, takes rain by 20:00, past frost by 16:30,"
        " dry through by Fri 15:00.\n"
    )


def test_the_agenda_says_what_is_called_off_and_what_is_not_firm() -> None:
    rows = plan(wanted(spans=[span(), moved(span(), 8 * DAY)]))
    rows = plan(wanted(spans=[moved(span(), 8 * DAY)]), rows, AT)
    text = agenda(rows, BERLIN, "metric", FeedChoice(days=12), at=AT)
    assert "  Called off: Brush 9 to 13: about 9 in 10\n    The forecast has changed" in text
    assert "  Brush 9 to 13: about 9 in 10 (not firm yet)" in text


def test_the_agenda_begins_today() -> None:
    rows = plan(wanted(spans=[span(), moved(span(), 2 * DAY)]))
    assert agenda(rows, BERLIN, "metric", FEED, at=AT + 2 * DAY).startswith("Thu 6 Nov\n")


def test_an_empty_agenda_says_so_and_promises_nothing() -> None:
    text = agenda([], BERLIN, "metric", FEED, at=AT)
    assert text == "Nothing in the calendar for the next 5 days. An empty day is not a yes.\n"
    assert read(write([])) == {}


def test_no_word_on_screen_blames_or_promises() -> None:
    text = agenda(sample(), BERLIN, "us", FEED, at=AT) + write(sample()).decode()
    assert not {"safe", "late", "overdue", "missed", "!"} & set(text.lower().replace("!", " ! ").split())
