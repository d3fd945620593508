"""What each page needs, taken from the desk."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from scheduler.health import notice_lines
from scheduler.seasons import climate_known
from scheduler.selfcheck import verified
from scheduler.service import learn_all, pails_seen, season_ahead
from scheduler.settings import YardFile, learning, pail_numbers, species_table
from scheduler.views.calendar import agenda_days, empty_agenda
from scheduler.views.learned import learned_lines
from scheduler.views.log_sheet import sheet_parts
from scheduler.views.pail import label_words, pail_lines, place_words, stock_words
from scheduler.views.reminder import reminder_parts, reminder_text, state_words
from scheduler.views.scores import scores_lines
from scheduler.views.season import season_lines
from scheduler.views.today import cautions, tonight
from scheduler.views.winter import winter_lines
from scheduler.views.wording import Wording, first_upper
from scheduler.views.words import words_in
from scheduler.weather.series import WeatherError
from scheduler.web import rows, screens
from scheduler.web.acts import SETTINGS, TIMES
from scheduler.web.desk import Desk
from scheduler.web.tape import end_face, tape, verdict_face
from scheduler.wood.species import Known, find, show_name
from scheduler.yard.entries import PAIL_WORDS, YardError
from scheduler.yard.facts import Log, Pail
from scheduler.yard.reminder_row import ReminderRow
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
    "reminder_values",
    "reminders_values",
    "settings_values",
    "sure_values",
    "winter_values",
]

PLACES_KEPT = timedelta(minutes=10)  # so long the lines of the first screen keep their places
COMMON_WOODS = 9
LOGS_A_PAGE = 25  # so that a page stays light on a weak signal
ENTRIES_SHOWN = 30
REMINDERS_SHOWN = 60
USUAL = ("oak", "ash", "beech", "cherry", "walnut", "maple", "birch", "elm", "pear", "apple", "plum")
PICTURES = (".jpg", ".jpeg", ".png", ".heic", ".webp", ".avif")
OPEN = ("planned", "sent")


def first_values(desk: Desk) -> dict[str, Any]:
    """The first screen."""
    view, book, at = desk.view(), desk.book(), desk.clock()
    w, b = view.wording, view.briefing
    kept = desk.shown[1] if desk.shown and at - desk.shown[0] < PLACES_KEPT else ()
    board = screens.board(view)
    lines, left = screens.tasks(view, book, desk.rows(), at, kept)
    desk.shown = (at, tuple(dict.fromkeys((*kept, *(task.tag for task in lines)))))
    away = book.register.away_until
    return {
        "title": f"{board.word}. {view.yard.yard.name}",
        "board": board,
        "face": verdict_face(board.verdict),
        "tape": tape(b, w, board.span),
        "day": w.weekday_number(view.at),
        "tasks": lines,
        "left": left,
        "empty": not book.register.present,
        "now": b.morning.verdict in ("seal", "touch_and_go"),
        "language": w.words.language,
        "above": {"prepare": 1, "leave_it": 1, "unknown": 9}.get(
            b.morning.verdict, 0
        ),  # reasons that come first
        "question": screens.ask(view, book, at),
        "tonight": tonight(b, w),
        "cautions": cautions(b, w),
        "away": w.day(away) if away is not None and away > at else None,
    }


def add_values(desk: Desk) -> dict[str, Any]:
    """Add a log: the woods of this yard first, in their shortest plain name."""
    yard, register, table = desk.yard(), desk.book().register, species_table()
    count: dict[str, int] = {}
    for log in register.logs:
        if log.species in table:
            count[str(log.species)] = count.get(str(log.species), 0) + 1
    often = sorted(count, key=lambda key: -count[key])[: COMMON_WOODS - 3]
    mine = {key: _short_name(key, yard.yard.language, register.words) for key in often}
    names, words = [*mine.values()], words_in(yard.yard.language)
    for name in (words[f"add.usual.{wood}"] for wood in USUAL):
        found = find(name, register.words, table)
        key = found.species.botanical if isinstance(found, Known) else None
        if name not in names and (key is None or key not in mine):
            names.append(name)
    return {
        "title": words["add.title"],
        "woods": names[:COMMON_WOODS],
        "unit": _unit(yard),
        "places": [place.name for place in yard.place],
    }


def _unit(yard: YardFile) -> str:
    return "in" if yard.yard.units == "us" else "cm"


def _short_name(key: str, language: str, words: Mapping[str, str]) -> str:
    """ "walnut" where that word means this wood alone, else its whole name."""
    name = show_name(species_table()[key], language)
    found = find(name.split()[-1], words, species_table())
    plain = isinstance(found, Known) and found.species.botanical == key
    return name.split()[-1] if plain else name


def logs_values(desk: Desk, query: Mapping[str, str]) -> dict[str, Any]:
    """All ends, dearest first, so many logs a page; ``find`` looks for a tag, a wood or a place."""
    view, book = desk.view(), desk.book()
    shelf = rows.shelf_of(view, book)
    gone, wanted = "gone" in query, " ".join(query.get("find", "").split())[:60]
    logs = rows.dearest(shelf, gone=gone)
    if wanted:
        logs = [log for log in logs if wanted.casefold() in _text_of(log, desk)]
    start = _start(query.get("from", ""), len(logs))
    shown = logs[start : start + LOGS_A_PAGE]
    return {
        "title": view.wording.words["page.all_ends"],
        "rows": [rows.log_row(shelf, log, view.wording) for log in shown],
        "gone": gone,
        "find": wanted,
        "first": start + 1,
        "last": start + len(shown),
        "count": len(logs),
        "step": LOGS_A_PAGE,
        "search": len(logs) > LOGS_A_PAGE or bool(wanted),
        "face": end_face,
        "times": TIMES,
    }


def _text_of(log: Log, desk: Desk) -> str:
    row = species_table().get(log.species or "")
    name = show_name(row, desk.yard().yard.language) if row is not None else ""
    return f"{log.tag} {log.species_said} {name} {log.place or ''}".casefold()


def _start(text: str, count: int) -> int:
    """Where a page begins: whole pages, never behind the last."""
    wanted = int(text) if text.isascii() and text.isdecimal() and len(text) < 9 else 0
    return min(wanted, max(count - 1, 0)) // LOGS_A_PAGE * LOGS_A_PAGE


def log_values(desk: Desk, tag: str, everything: bool = False) -> dict[str, Any]:
    """One log."""
    view, book = desk.view(), desk.book()
    log = find_log(book.register, tag)
    shelf, w = rows.shelf_of(view, book), view.wording
    lines = history(book.entries, log.tag)
    facts, ends, then = sheet_parts(shelf, log, w)
    row = rows.log_row(shelf, log, w)
    words = (log.note or "").replace(",", " ").replace(";", " ").split()
    return {
        "title": f"{log.tag} {row.wood}",
        "log": log,
        "row": row,
        "facts": [*facts, *then],
        "ends": _ends(row, ends),
        "photos": [word for word in words if word.casefold().endswith(PICTURES)],
        "history": rows.history_rows(lines if everything else lines[-ENTRIES_SHOWN:], w),
        "older": 0 if everything else max(len(lines) - ENTRIES_SHOWN, 0),
        "reminders": [_reminder(one, w) for one in _open(desk.rows()) if one.tag == log.tag],
        "face": end_face,
        "places": [place.name for place in view.yard.place],
        "unit": _unit(view.yard),
    }


def _ends(row: rows.LogRow, told: Sequence[tuple[str, str]]) -> list[tuple[str | None, str, str]]:
    """(state, name with size, sentences) of each end, in the order of the sentences."""
    states = [end.state for end in row.ends] if len(row.ends) == len(told) else [None] * len(told)
    return [(state, name, first_upper(text)) for state, (name, text) in zip(states, told, strict=True)]


def catch_up_values(desk: Desk, query: Mapping[str, str]) -> dict[str, Any]:
    """The wall sheet's lines with boxes: what was due or milky first, then all others in reach."""
    view, book, at = desk.view(), desk.book(), desk.clock()
    shelf, w = rows.shelf_of(view, book), view.wording
    logs = {log.tag: log for log in rows.dearest(shelf) if log.state == "in_yard" and _reached(log)}
    wet = [tag for (tag, _), state in shelf.states.items() if state.state == "wet"]
    named = dict.fromkeys(
        tag for tag in (*(job.tag for job in view.briefing.morning.due), *wet) if tag in logs
    )
    tags = [*named, *(tag for tag in logs if tag not in named)]
    start = _start(query.get("from", ""), len(tags))
    shown = tags[start : start + LOGS_A_PAGE]
    told = screens.done_today(book, at, w)
    done = {str(one.tag): w.words.say(screens.DONE[one.kind], time=w.clock(one.moment.time)) for one in told}
    lines = [(rows.log_row(shelf, logs[tag], w), tag in named, done.get(tag)) for tag in shown]
    return {
        "title": w.words["catchup.title"],
        "named": [line for line in lines if line[1]],
        "rest": [line for line in lines if not line[1]],
        "times": TIMES,
        "first": start + 1,
        "last": start + len(shown),
        "count": len(tags),
        "step": LOGS_A_PAGE,
    }


def _reached(log: Log) -> bool:
    return any(end.reach for end in log.ends)


def winter_values(desk: Desk) -> dict[str, Any]:
    """Until winter; the past years are worked out by the command, not while a phone waits."""
    view, book = desk.view(), desk.book()
    w = view.wording
    lines, why, once = desk.kept("winter", lambda: _season(desk, w))
    shelf = rows.shelf_of(view, book)
    saw = [(shelf.saw_by[log.tag].by, log) for log in shelf.register.present if log.tag in shelf.saw_by]
    by_day = sorted(((by, log) for by, log in saw if by is not None), key=lambda one: one[0])
    first = [log for log in shelf.register.present if log.saw_first]
    wanted = list(dict.fromkeys([*first, *(log for _, log in by_day)]))[:LOGS_A_PAGE]
    return {
        "title": w.words["winter.title"],
        "lines": lines,
        "why": why,
        "once": once,
        "saw": [rows.log_row(shelf, log, w) for log in wanted],
    }


def _season(desk: Desk, w: Wording) -> tuple[list[str], str | None, bool]:
    """(what the season says, why it says nothing, whether the command must be run once)."""
    view = desk.view()
    try:
        if climate_known(view.yard) is None:
            return [], w.words["winter.no_past"], True
        ahead = season_ahead(view.yard, view.at, view.forecast, register=view.book.register)
    except (WeatherError, OSError) as error:
        return [], w.words.told(str(error)), False
    own = winter_lines(ahead.winter, ahead.season, ahead.seen.register, ahead.seen.species, w)
    return [*season_lines(ahead.season, w), *map(w.words.told, ahead.said), *own], None, False


def pails_values(desk: Desk) -> dict[str, Any]:
    """The pails."""
    view, book = desk.view(), desk.book()
    w = view.wording
    found = pails_seen(view.yard, view.picture, view.forecast, view.at)
    return {
        "title": w.words["pail.title"],
        "pails": [_pail(one, w) for one in book.register.pails],
        "places": [place.name for place in view.yard.place],
        "words": [(word, w.words[f"pail.eye.{word}"]) for word in PAIL_WORDS],
        "quarts": w.units == "us",
        "lines": pail_lines(found, w, pail_numbers()),
    }


def _pail(one: Pail, w: Wording) -> dict[str, Any]:
    say = w.words.say
    more = [say("pail.told", when=w.day(one.moment.time))]
    if one.place:
        more.append(place_words(one.place, w, "pail.stands"))
    if one.coldest_c is not None:
        more.append(say("pail.met", temperature=w.temperature(one.coldest_c)))
    if one.opened is not None:
        more.append(say("pail.opened", when=w.day(one.opened.time)))
    return {
        "name": one.name,
        "label": label_words(one.name, w),
        "stock": stock_words(one, w),
        "more": ", ".join(more),
    }


def sure_values(desk: Desk) -> dict[str, Any]:
    """How sure: what was learned, and were we right."""
    view, book = desk.view(), desk.book()
    n, w = learning(), view.wording

    def learned() -> list[str]:
        held = learn_all(view.yard, book.register, view.forecast, view.at)
        nights, looks = round(n["offset"]["least_nights"]), round(n["drying"]["least_looks"])
        return learned_lines(held, view.yard.site.hollow, nights, looks, w)

    scores = desk.kept("scores", lambda: scores_lines(verified(view.yard, view.at), w))
    table = len(scores) > 2
    return {
        "title": w.words["sure.title"],
        "learned": [f"{line[:1].upper()}{line[1:]}." for line in desk.kept("learned", learned)],
        "scores": scores if table else [],
        "unscored": None if table else " ".join(scores),
    }


def settings_values(desk: Desk) -> dict[str, Any]:
    """The five settings, as they stand."""
    yard, register, at = desk.yard(), desk.book().register, desk.clock()
    now = {
        "name": yard.yard.name,
        "people": str(yard.yard.people),
        "coats": str(yard.coating.coats),
        "hollow": f"{yard.site.hollow:g}",
        "morning": yard.notice.morning,
    }
    w = _wording(desk)
    words, away, colder = w.words, register.away_until, yard.site.hollow
    said = now | {
        "people": words["settings.one"] if now["people"] == "1" else now["people"],
        "coats": words["settings.by_wood"] if now["coats"] == "by wood" else now["coats"],
        "hollow": words.say(
            "settings.colder" if colder < 0 else "settings.warmer", value=w.value(colder, "K")
        )
        if colder
        else words["settings.not_colder"],
    }
    return {
        "title": words["settings.title"],
        "now": {name: now[name] for name in SETTINGS},
        "shown": said,
        "file": yard.path.name if yard.path else "",
        "away": w.when(away) if away is not None and away > at else None,
    }


def more_values(desk: Desk) -> dict[str, Any]:
    """More."""
    return {"title": _wording(desk).words["more.title"], "open": len(_open(desk.rows()))}


# ------------------------------------------------------------------ calendar and reminders


def calendar_values(desk: Desk) -> dict[str, Any]:
    """The calendar as an agenda."""
    yard, at = desk.yard(), desk.clock()
    y = yard.yard
    return {
        "title": words_in(y.language)["calendar.title"],
        "days": agenda_days(desk.rows(), yard.zone, y.units, yard.feed, at=at, language=y.language),
        "nothing": empty_agenda(yard.feed, y.language),
        "language": words_in(y.language).language,
    }


def _open(known: Sequence[ReminderRow]) -> list[ReminderRow]:
    """Reminders that wait for an answer, the earliest first; spans and the season ask nothing of a person."""
    return sorted(
        (row for row in known if row.state in OPEN and row.kind not in ("span", "season")),
        key=lambda row: (_due(row), row.id or 0),
    )


def _due(row: ReminderRow) -> datetime:
    return row.due_at if row.later_until is None else max(row.due_at, row.later_until)


def _reminder(row: ReminderRow, w: Wording) -> dict[str, Any]:
    rests = row.later_until is not None and row.later_until > w.at
    day, (what, rest) = w.day(_due(row)), reminder_parts(row, w)
    state = w.words["reminder.dropped_long"] if row.state == "dropped" else state_words(row.state, w)
    return {
        "id": row.id,
        "text": reminder_text(row, w),
        "what": what,
        "rest": rest,
        "when": w.words.say("reminder.rests", when=w.when(_due(row))) if rests else day,
        "tag": row.tag,
        "end": row.end,
        "coats": row.kind in screens.TO_COAT and row.tag is not None,
        "open": row.state in OPEN,
        "state": state,
    }


def reminders_values(desk: Desk) -> dict[str, Any]:
    """All reminders that wait for an answer."""
    w = _wording(desk)
    known = _open(desk.rows())
    return {
        "title": w.words["reminder.list"],
        "reminders": [_reminder(row, w) for row in known[:REMINDERS_SHOWN]],
        "left": max(len(known) - REMINDERS_SHOWN, 0),
        "notices": _notices(desk, w),
        "language": w.words.language,
    }


def _wording(desk: Desk) -> Wording:
    yard = desk.yard()
    return Wording(yard.zone, yard.yard.units, desk.clock(), yard.yard.language)


def _notices(desk: Desk, w: Wording) -> list[str]:
    """When the last notice left, which could not, and mornings on which nobody looked."""
    return [f"{first_upper(said)}." for said in notice_lines(desk.store(), desk.yard(), w)[0]]


def reminder_values(desk: Desk, number: str) -> dict[str, Any]:
    """One reminder, for the link in a notice."""
    w = _wording(desk)
    found = next((row for row in desk.rows() if str(row.id) == number), None)
    if found is None or found.kind == "span":
        raise YardError(f"There is no reminder {number}.")
    title = w.words.say("reminder.title", number=number)
    return {"title": title, "one": _reminder(found, w), "language": w.words.language}
