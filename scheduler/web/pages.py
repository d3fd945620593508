"""What each page needs, taken from the desk."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from scheduler.service import learn_all, season_ahead, verified
from scheduler.settings import learning, species_table
from scheduler.views.calendar import agenda
from scheduler.views.learned import learned_lines
from scheduler.views.log_sheet import show_lines
from scheduler.views.scores import scores_lines
from scheduler.views.season import season_lines
from scheduler.views.today import cautions, tonight
from scheduler.views.wording import Wording
from scheduler.weather.series import WeatherError
from scheduler.web import screens
from scheduler.web.acts import SETTINGS, TIMES
from scheduler.web.desk import Desk
from scheduler.web.tape import end_face, tape, tape_words, verdict_face
from scheduler.wood.species import show_name
from scheduler.yard.facts import Pail
from scheduler.yard.state import history
from scheduler.yard.tags import find_log

__all__ = [
    "add_values",
    "calendar_values",
    "catch_up_values",
    "first_values",
    "log_values",
    "logs_values",
    "more_values",
    "pails_values",
    "settings_values",
    "sure_values",
    "winter_values",
]

PLACES_KEPT = timedelta(minutes=10)  # so long the lines of the first screen keep their places
COMMON_WOODS = 9
USUAL = (
    "oak",
    "ash",
    "beech",
    "cherry",
    "walnut",
    "maple",
    "birch",
    "elm",
    "pear",
    "apple",
    "plum",
    "hornbeam",
)


def first_values(desk: Desk) -> dict[str, Any]:
    """The first screen."""
    view, book, at = desk.view(), desk.book(), desk.clock()
    w = view.wording
    shown = desk.shown[1] if desk.shown and at - desk.shown[0] < PLACES_KEPT else ()
    board = screens.board(view)
    rows, left = screens.tasks(view, book, desk.rows(), at, shown)
    desk.shown = (at, tuple(dict.fromkeys((*shown, *(task.tag for task in rows)))))
    return {
        "title": f"{board.word}. {view.yard.yard.name}",
        "board": board,
        "face": verdict_face(board.verdict),
        "tape": tape(view.briefing, w, board.span),
        "tape_words": tape_words(view.briefing, w, board.span),
        "day": f"{w.local(view.at):%a} {w.local(view.at).day}",
        "tasks": rows,
        "left": left,
        "empty": not book.register.present,
        "now": view.briefing.morning.verdict in ("seal", "touch_and_go"),
        "question": screens.ask(view, book, at),
        "tonight": tonight(view.briefing, w),
        "cautions": cautions(view.briefing, w),
        "times": TIMES,
        "away": book.register.away_until and w.day(book.register.away_until),
    }


def add_values(desk: Desk) -> dict[str, Any]:
    """Add a log: woods of this yard first."""
    yard, book, table = desk.yard(), desk.book(), species_table()
    count: dict[str, int] = {}
    for log in book.register.logs:
        row = table.get(log.species or "")
        if row is not None:
            name = show_name(row, yard.yard.language)
            count[name] = count.get(name, 0) + 1
    mine = sorted(count, key=lambda name: -count[name])[: COMMON_WOODS - 3]
    rest = [name for name in USUAL if name not in mine and not any(name in word.split() for word in mine)]
    return {
        "title": "Add a log",
        "woods": [*mine, *rest][:COMMON_WOODS],
        "unit": "in" if yard.yard.units == "us" else "cm",
        "long": "ft" if yard.yard.units == "us" else "m",
        "places": [place.name for place in yard.place],
    }


def logs_values(desk: Desk, gone: bool) -> dict[str, Any]:
    """All ends, dearest first."""
    view, book = desk.view(), desk.book()
    shelf = screens.shelf_of(view, book)
    return {
        "title": "All ends",
        "rows": screens.log_rows(shelf, view.wording, gone=gone),
        "gone": gone,
        "face": end_face,
        "times": TIMES,
        "places": [place.name for place in view.yard.place],
    }


def log_values(desk: Desk, tag: str) -> dict[str, Any]:
    """One log."""
    view, book = desk.view(), desk.book()
    log = find_log(book.register, tag)
    shelf = screens.shelf_of(view, book)
    lines = history(book.entries, log.tag)
    w = view.wording
    told = show_lines(shelf, log, lines, w)
    end = told.index("Entries") if "Entries" in told else len(told)
    row = screens.log_row(shelf, log, w)
    ends = {name.strip().split()[0] for name in told[1:end] if name.startswith("  ") and name.strip()}
    del ends
    words = (log.note or "").replace(",", " ").split()
    return {
        "title": f"{log.tag} {row.wood}",
        "log": log,
        "row": row,
        "facts": [line for line in told[1:end] if not line.startswith("  ")],
        "ends": [line.strip() for line in told[1:end] if line.startswith("  ")],
        "photos": [
            word for word in words if word.lower().endswith((".jpg", ".jpeg", ".png", ".heic", ".webp"))
        ],
        "history": screens.history_rows(lines, w),
        "face": end_face,
        "places": [place.name for place in view.yard.place],
        "unit": "in" if view.yard.yard.units == "us" else "cm",
    }


def catch_up_values(desk: Desk) -> dict[str, Any]:
    """The wall sheet's lines with boxes: what was due or milky first, then all others in reach."""
    view, book, at = desk.view(), desk.book(), desk.clock()
    shelf = screens.shelf_of(view, book)
    rows = {row.tag: row for row in screens.log_rows(shelf, view.wording) if row.state == "in_yard"}
    tasks, _ = screens.tasks(view, book, desk.rows(), at, tuple(rows))
    due = [job.tag for job in view.briefing.morning.due]
    wet = [row.tag for row in rows.values() if any(end.state == "wet" for end in row.ends)]
    named = [tag for tag in dict.fromkeys([*due, *wet]) if tag in rows]
    done = {task.tag: task.done for task in tasks if task.done}
    return {
        "title": "Catch up",
        "named": [rows[tag] for tag in named],
        "rest": [row for tag, row in rows.items() if tag not in named],
        "done": done,
        "times": TIMES,
    }


def winter_values(desk: Desk) -> dict[str, Any]:
    """Until winter; the past years must have been worked out once by the command, nobody is asked here."""
    view, book = desk.view(), desk.book()
    w = view.wording
    lines: list[str] = []
    why = None
    try:
        if not view.yard.cache_folder.is_dir():
            raise WeatherError("No past years of this place are kept here yet.")
        season, said = season_ahead(view.yard, view.at, view.forecast)
        lines = [*season_lines(season, w), *said]
    except (WeatherError, OSError) as error:
        why = str(error)
    shelf = screens.shelf_of(view, book)
    saw = [row for row in screens.log_rows(shelf, w) if "saw" in row.head and row.state == "in_yard"]
    return {"title": "Until winter", "lines": lines, "why": why, "saw": saw}


def pails_values(desk: Desk) -> dict[str, Any]:
    """The pails."""
    view, book = desk.view(), desk.book()
    w = view.wording
    return {
        "title": "Pails",
        "pails": [_pail(one, w) for one in book.register.pails],
        "need": w.litres(sum(job.litres for job in view.briefing.morning.due)),
        "places": [place.name for place in view.yard.place],
        "words": ("full", "half", "quarter", "scrapings", "empty"),
        "tonight": [line for line in tonight(view.briefing, w) if "ail" in line],
    }


def _pail(one: Pail, w: Wording) -> dict[str, Any]:
    stock = w.litres(one.litres) if one.litres is not None else one.by_eye or "stock not told"
    more = [f"told {w.day(one.moment.time)}"]
    if one.place:
        more.append(f"stands in the {one.place}")
    if one.coldest_c is not None:
        more.append(f"coldest night met {w.temperature(one.coldest_c)}")
    if one.opened is not None:
        more.append(f"opened {w.day(one.opened.time)}")
    return {"name": one.name, "stock": stock, "more": ", ".join(more)}


def sure_values(desk: Desk) -> dict[str, Any]:
    """How sure: what was learned, and were we right."""
    view, book = desk.view(), desk.book()
    n = learning()
    held = learn_all(view.yard, book.register, view.forecast, view.at)
    learned = learned_lines(
        held,
        view.yard.site.hollow,
        round(n["offset"]["least_nights"]),
        round(n["drying"]["least_looks"]),
        view.wording,
    )
    record = verified(view.yard, view.at)
    return {"title": "How sure", "learned": learned, "scores": scores_lines(record, view.wording)}


def settings_values(desk: Desk) -> dict[str, Any]:
    """The five settings, as they stand."""
    yard, book = desk.yard(), desk.book()
    now = {
        "name": yard.yard.name,
        "people": str(yard.yard.people),
        "coats": str(yard.coating.coats),
        "hollow": f"{yard.site.hollow:g}",
        "morning": yard.notice.morning,
    }
    w = Wording(yard.zone, yard.yard.units, desk.clock())
    away = book.register.away_until
    return {
        "title": "Settings",
        "now": {name: now[name] for name in SETTINGS},
        "file": yard.path.name if yard.path else "",
        "away": w.when(away) if away else None,
    }


def more_values(desk: Desk) -> dict[str, Any]:
    """More."""
    return {"title": "More"}


def calendar_values(desk: Desk) -> dict[str, Any]:
    """The calendar as an agenda."""
    yard, at = desk.yard(), desk.clock()
    text = agenda(desk.rows(), yard.zone, yard.yard.units, yard.feed, at=at)
    days = [block.splitlines() for block in text.split("\n\n") if block.strip()]
    return {"title": "Calendar", "days": [(lines[0], lines[1:]) for lines in _by_day(days)]}


def _by_day(blocks: list[list[str]]) -> list[list[str]]:
    return blocks
