"""The bundled yard's story: Monday with its week, Tuesday's notice, calendar file and picture; no network."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from uuid import NAMESPACE_URL, uuid5

from scheduler.moments import parse_moment
from scheduler.planning.night import DayOutlook, days_of
from scheduler.planning.outlook import Outlook
from scheduler.planning.verdict import TimedSpan, TimedStop
from scheduler.service import brief, picture, refresh_reminders
from scheduler.settings import YardFile, demo_folder, load_yard, species_table
from scheduler.sources import Forecast, forecast_of
from scheduler.views import calendar
from scheduler.views.chart import board_svg
from scheduler.views.today import Briefing, lines
from scheduler.views.wording import Wording, chance_words, first_upper, wrapped
from scheduler.wood.species import Known, find
from scheduler.yard.book import add_logs, pail
from scheduler.yard.entries import By, Entry
from scheduler.yard.facts import Register
from scheduler.yard.state import fold
from scheduler.yard.table_csv import read_table

__all__ = ["Story", "demo_entries", "demo_story"]

MONDAY = datetime(2025, 11, 3, 4, 45, tzinfo=UTC)  # 05:45 in the yard
TUESDAY = datetime(2025, 11, 4, 5, 0, tzinfo=UTC)
BEFORE = timedelta(hours=2)  # the forecast of a morning was made so long before it
STOCK_LITRES = 3.6
FILES = ("yard.toml", "weather.json", "logs.csv")


@dataclass(frozen=True, slots=True)
class Story:
    """What the demo prints, and the files it writes by name."""

    lines: tuple[str, ...]
    files: Mapping[str, bytes]
    calendar: str
    picture: str


def demo_entries(text: str, yard: YardFile, at: datetime) -> tuple[Entry, ...]:
    """The entries of a yard whose logs stand in a table."""
    table = species_table()

    def botanical(said: str) -> str | None:
        found = find(said, {}, table)
        return found.species.botanical if isinstance(found, Known) else None

    rows = read_table(
        text,
        at=at,
        zone=yard.zone,
        moment=lambda t, ahead: parse_moment(t, at=at, zone=yard.zone, future=ahead),
        species=botanical,
    )
    by = By(yard.yard.key, at)
    written = add_logs([row.log for row in rows], Register(at), by)
    stock = pail(fold(written.entries, at), by, litres=STOCK_LITRES)
    return (*written.entries, *stock.entries)


def demo_story() -> Story:
    """Run the main job on the bundled yard with its clock fixed."""
    folder = demo_folder()
    data = {name: (folder / name).read_bytes() for name in FILES}
    with TemporaryDirectory() as scratch:
        for name in FILES:
            (Path(scratch) / name).write_bytes(data[name])
        yard = load_yard(Path(scratch) / "yard.toml")
        entries = demo_entries(data["logs.csv"].decode("utf-8"), yard, MONDAY)
        weather = Path(scratch) / "weather.json"
        monday = _morning(yard, entries, weather, MONDAY)
        tuesday = _morning(yard, entries, weather, TUESDAY)
        feed = _calendar(yard, entries, monday[1])
    w1, w2 = (Wording(yard.zone, yard.yard.units, t) for t in (MONDAY, TUESDAY))
    said = [
        f"{yard.yard.name}, an invented yard: {len(monday[0].register.present)} logs, "
        "a stored forecast, no network.",
        "",
        _title(w1),
        *wrapped(lines(monday[0], w1)),
        "",
        *_week(monday[0], monday[2], w1),
        "",
        _title(w2),
        *wrapped(lines(tuesday[0], w2)),
    ]
    files = {"ellerquern.ics": feed, "page.svg": board_svg(tuesday[0], w2).encode("utf-8"), **data}
    return Story(tuple(said), files, "ellerquern.ics", "page.svg")


def _title(w: Wording) -> str:
    local = w.local(w.at)
    return f"{local:%A} {local.day} {local:%B}, {local:%H:%M}".upper()


def _morning(
    yard: YardFile, entries: tuple[Entry, ...], weather: Path, at: datetime
) -> tuple[Briefing, Forecast, Outlook]:
    forecast = forecast_of(yard, at, weather, at - BEFORE)
    register = fold(entries, at)
    seen = picture(yard, register, forecast, at)
    assert seen.outlook is not None
    return brief(yard, at, forecast, register, seen), forecast, seen.outlook


def _week(b: Briefing, outlook: Outlook, w: Wording) -> list[str]:
    """A line a day: the span or what stops it, coldest on the ends and in the forecast's air."""
    out = ["The week, on the wood (lowest on the ends / in the forecast's air)"]
    for day in days_of(outlook, 7)[1:]:
        when = w.day_of(day.start)
        span = next((s for s in b.morning.spans if w.day_of(s.start) == when), None)
        out.append(_day_line(day, span, _cause(b.morning.stopped, when, w), w))
    return out


def _day_line(day: DayOutlook, span: TimedSpan | None, cause: TimedStop | None, w: Wording) -> str:
    local = w.local(day.start)
    cold = " / ".join("?" if c is None else w.whole(c) for c in (day.wood_c, day.forecast_c))
    if span is not None:
        rain = span.milestones.rain_safe
        takes = f"takes rain by {w.by_on(rain, local.date())}, " if rain else ""
        what = f"brush {w.brush(span):15}{cold:11}{takes}{chance_words(span.chance)}"
    else:
        why = "not known far enough" if cause is None else cause.short
        what = f"{'no':21}{cold:11}{why}"
    return f"  {first_upper(f'{local:%a}')} {local.day:<2} {what}"


def _cause(stopped: tuple[TimedStop, ...], day: date, w: Wording) -> TimedStop | None:
    """What stops the longest part of a day's open hours."""
    of_day = [s for s in stopped if not s.fixed and w.day_of(s.start) == day]
    total: dict[str, timedelta] = {}
    for stop in of_day:
        total[stop.short] = total.get(stop.short, timedelta(0)) + (stop.end - stop.start)
    main = max(total, key=lambda short: total[short], default=None)
    return next((s for s in of_day if s.short == main), None)


def _calendar(yard: YardFile, entries: tuple[Entry, ...], forecast: Forecast) -> bytes:
    """The calendar file, by way of a store of its own."""
    from scheduler.yard.store import open_store

    with open_store(yard.store_url) as store:
        store.append(yard.yard.key, lambda _known: entries)
    # A store gives random UIDs; here they follow from the key, so that the file is always the same.
    rows = [
        replace(row, uid=str(uuid5(NAMESPACE_URL, f"coatcast demo {row.key}")))
        for row in refresh_reminders(yard, MONDAY, forecast)
    ]
    y = yard.yard
    return calendar.calendar_bytes(
        rows, y.name, yard.zone, y.units, yard.feed, at=MONDAY, language=y.language
    )
