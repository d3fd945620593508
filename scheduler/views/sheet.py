"""The wall sheet: the morning or the week on one page of paper, with boxes to tick. Pure.

Everything stands in blocks of a fixed height in millimetres, so that what fits
is known before anything is printed; the rest is counted. What is to be read
from two metres away (verdict, hours, tags, jobs) is large, the cautions are
for the one who stands before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from math import ceil

from scheduler.planning.jobs import Job
from scheduler.planning.night import DayOutlook
from scheduler.planning.verdict import TimedStop
from scheduler.views.paper import PAPERS, PaperName, document, element
from scheduler.views.today import Briefing, by_log, first_jobs, inside, short_wood, tonight, weather_lines
from scheduler.views.wording import Wording, first_upper
from scheduler.views.words import Words

__all__ = ["Row", "main_stop", "sheet_html", "sheet_rows"]

BOXES = ("cut", "coated", "milky", "clear", "morning", "noon", "afternoon")

# Heights in mm of the blocks; the rows take what is left.
TOP, BOARD, BOARD_WEEK, FOOT, CAUTIONS = 8.0, 43.0, 30.0, 8.0, 42.0
DAY, HEAD, ROW, MORE, NOTE, CAME, NIGHT = 8.0, 10.0, 13.4, 6.0, 5.0, 9.0, 5.0
WHY = 330  # characters of reasons that three lines hold
NIGHTS = 4  # sentences of what the night asks for and what is better carried inside
NIGHT_LINE = 85  # characters of those on a line
SMALL = 40  # characters behind which the line below a job is set smaller

CSS = f"""
.top {{ height: {TOP}mm; font-size: 14pt; font-weight: 700; white-space: nowrap; overflow: hidden }}
.board {{ border-top: 1.6mm solid #000; border-bottom: 1.6mm solid #000; padding-top: 1mm;
  overflow: hidden }}
.verdict {{ font-size: 36pt; line-height: 14mm; font-weight: 700; white-space: nowrap; overflow: hidden }}
.hours {{ font-size: 25pt; line-height: 11mm; white-space: nowrap; overflow: hidden }}
.why {{ font-size: 11pt; line-height: 4.6mm; max-height: 13.8mm; overflow: hidden }}
.day {{ height: {DAY}mm; font-size: 15pt; line-height: {DAY}mm; display: flex; border-bottom: .2mm solid #000;
  white-space: nowrap; overflow: hidden }}
.day b {{ width: 24mm; flex: none }}
.day i {{ min-width: 42mm; margin-right: 3mm; flex: none; font-style: normal; font-weight: 700 }}
.day span {{ flex: 1; font-size: 12pt; overflow: hidden; text-overflow: ellipsis }}
.head, .row {{ display: flex; align-items: center; overflow: hidden }}
.head {{ height: {HEAD}mm; border-bottom: .6mm solid #000; font-size: 17pt; font-weight: 700 }}
.head .box {{ font-size: 8.5pt; font-weight: 400; line-height: 3.4mm }}
.row {{ height: {ROW}mm; border-bottom: .2mm solid #000 }}
.tag {{ width: 25mm; flex: none; font-weight: 700; white-space: nowrap; overflow: hidden }}
.job {{ flex: 1; min-width: 0 }}
.what {{ font-size: 16pt; line-height: 6.4mm; white-space: nowrap; overflow: hidden;
  text-overflow: ellipsis }}
.ends {{ font-size: 11pt; line-height: 4.8mm; max-height: 6.8mm; overflow: hidden; overflow-wrap: anywhere }}
.ends.long {{ font-size: 9pt; line-height: 3.4mm }}
.box {{ width: 11.5mm; flex: none; text-align: center }}
.box.time {{ width: 12.5mm }} .box.first {{ margin-left: 2mm }}
.box u {{ display: inline-block; width: 6.5mm; height: 6.5mm; border: .5mm solid #000;
  text-decoration: none }}
.box.time u {{ border-radius: 50% }}
.more {{ height: {MORE}mm; font-size: 12pt; line-height: {MORE}mm; font-weight: 700 }}
.note {{ height: {NOTE}mm; font-size: 9pt; line-height: {NOTE}mm; white-space: nowrap; overflow: hidden }}
.came {{ height: {CAME}mm; border-bottom: .2mm solid #000; font-size: 9pt; padding-top: .6mm }}
.body {{ overflow: hidden }}
.night {{ font-size: 11pt; line-height: {NIGHT}mm; font-weight: 700; overflow: hidden;
  overflow-wrap: anywhere }}
.cautions {{ height: {CAUTIONS}mm; border-top: .6mm solid #000; padding-top: 1mm; font-size: 9pt;
  line-height: 3.6mm; columns: 2; column-gap: 5mm; overflow: hidden }}
.cautions p {{ break-inside: avoid; padding-left: 2.5mm; text-indent: -2.5mm }}
.cautions h2 {{ font-size: 10pt; line-height: 4.2mm }}
.foot {{ height: {FOOT}mm; font-size: 8pt; line-height: 3.4mm; overflow: hidden; padding-top: 1mm }}
"""


@dataclass(frozen=True, slots=True)
class Row:
    """One line to tick: a log, a job, and the ends that it is for."""

    tag: str
    what: str
    more: str
    ends: int  # how many are meant


def sheet_html(
    b: Briefing,
    w: Wording,
    paper: PaperName = "a4",
    *,
    week: bool = False,
    days: Sequence[DayOutlook] = (),
    jobs: Sequence[Job] = (),
) -> str:
    """The page as HTML: the day's, or with ``week`` the week's.

    Parameters
    ----------
    days
        The days of the week with their coldest hours; none where the weather is not known.
    jobs
        All jobs of the yard in their order; needed for the week.
    """
    words, sheet = w.words, PAPERS[paper]
    rows = _week_rows(b, w, jobs) if week else sheet_rows(b, w)
    left = 0 if week else first_jobs(b)[1]
    key = "sheet.title_week" if week else "sheet.title"
    title = words.say(key, yard=b.yard_name, day=w.long_day(b.morning.at))
    night = [
        (line, ceil(len(line) / NIGHT_LINE) * NIGHT) for line in [*inside(b, w), *tonight(b, w)][:NIGHTS]
    ]
    board = BOARD_WEEK if week else BOARD
    taken = TOP + board + len(days) * DAY + sum(high for _, high in night) + CAUTIONS + FOOT
    room = sheet.inner[1] - taken
    blocks = [
        element("h1", title, css="top"),
        _board(b, w, board),
        _week(b, w, days),
        _work(b, w, rows, left, room, week=week),
        *(element("p", line, css="night", style=f"height:{high:g}mm") for line, high in night),
        _cautions(b, w),
        element("p", _foot(b, w), css="foot"),
    ]
    return document(title, words.language, sheet, CSS, element("main", "", *blocks, css="paper"))


# ------------------------------------------------------------------ the board and the week


def _board(b: Briefing, w: Wording, height: float) -> str:
    m, words = b.morning, w.words
    word = words[f"board.{m.verdict}"]
    hours = ""
    brushing = m.verdict in ("seal", "touch_and_go")
    span = m.work.span if brushing else m.work.next_span
    if span is not None and m.verdict != "unknown":
        brush = {"hours": w.brush(span)}
        said = (
            words.say("board.brush", **brush)
            if brushing
            else words.say("sheet.brush_on", day=first_upper(w.day(span.start)), **brush)
        )
        hours = f"{said}, {w.chance(span.chance)}"
    if m.verdict == "seal" and not m.due:
        word = words["sheet.good_nothing_due"]
    small = " style='font-size:25pt'" if len(word) > 22 else ""
    first = f"<p class='verdict'{small}>{element('span', word)}</p>"
    first = element("p", word, css="verdict", style="font-size:25pt" if len(word) > 22 else "")
    inside = [first, element("p", hours, css="hours")]
    if height >= BOARD:
        inside.append(element("p", " ".join(_fitting(weather_lines(b, w))), css="why"))
    return element("section", "", *inside, css="board", style=f"height:{height:g}mm")


def _fitting(lines: Sequence[str]) -> list[str]:
    """The sentences that fit below the board, each whole or not at all."""
    out: list[str] = []
    room = WHY
    for line in lines:
        if len(line) < room:
            out.append(line)
            room -= len(line) + 1
    return out


def main_stop(stopped: Sequence[TimedStop], day: object, w: Wording) -> TimedStop | None:
    """What stops the longest part of a day's open hours; None where nothing does."""
    of_day = [s for s in stopped if not s.fixed and w.day_of(s.start) == day]
    total: dict[str, timedelta] = {}
    for stop in of_day:
        total[stop.short] = total.get(stop.short, timedelta(0)) + (stop.end - stop.start)
    main = max(total, key=lambda short: total[short], default=None)
    return next((s for s in of_day if s.short == main), None)


def _week(b: Briefing, w: Wording, days: Sequence[DayOutlook]) -> str:
    return element("section", "", *(_day(b, w, day) for day in days))


def _day(b: Briefing, w: Wording, day: DayOutlook) -> str:
    words, when = w.words, w.day_of(day.start)
    span = next((s for s in b.morning.spans if w.day_of(s.start) == when), None)
    if span is not None:
        brush = words.say("board.brush", hours=w.brush(span))
        rain, chance = span.milestones.rain_safe, w.chance(span.chance)
        parts = [words.say("sheet.takes_rain", time=w.by_on(rain, when), chance=chance) if rain else chance]
    else:
        stop = main_stop(b.morning.stopped, when, w)
        brush = words["sheet.day_no"]
        parts = [w.short(stop) if stop is not None else words["stop.unknown"]]
    if day.wood_c is not None:
        parts.append(words.say("sheet.lowest", temperature=w.temperature(day.wood_c)))
    name = w.weekday_number(day.start)
    inside = (element("b", name), element("i", brush), element("span", "; ".join(parts)))
    return element("p", "", *inside, css="day")


# ------------------------------------------------------------------ the work


def sheet_rows(b: Briefing, w: Wording) -> list[Row]:
    """The lines of the day in the page's order: what is done first, then what is looked at."""
    named, _ = first_jobs(b)
    looks = [job for job in b.morning.later if job.kind == "look"]
    return _rows(b, w, [*named, *looks])


def _week_rows(b: Briefing, w: Wording, jobs: Sequence[Job]) -> list[Row]:
    """All that falls due within the week: today's work as today orders it, then the rest."""
    until = b.morning.at + timedelta(days=7)
    first = first_jobs(b)[0]
    rest = [j for j in jobs if (j.coats or j.kind == "look") and j.due <= until and not j.optional]
    coats = [j for j in rest if j.coats and j not in first]
    looks = [j for j in rest if j.kind == "look"]
    return _rows(b, w, [*first, *coats, *looks])


def _rows(b: Briefing, w: Wording, jobs: Sequence[Job]) -> list[Row]:
    out = []
    for job, ends in by_log(jobs):
        words = w.words
        if job.kind == "look":
            what = words.say("sheet.look", what=words.told(job.why))
        else:
            what = words["sheet.cut_back"] if job.kind == "cut_and_coat" else w.job(job)
        parts = [w.join([w.end(name) for name in ends])] if ends else []
        if job.people > 1 and job.kind == "cut_and_coat":
            parts.append(words["sheet.two_people"])
        log = b.register.log(job.tag)
        parts += [words["sheet.metal"]] if log is not None and log.metal else []
        parts += [words.told(job.hint)] if job.hint else []
        what = f"{short_wood(b, w, job.tag)}: {what}"
        out.append(Row(job.tag, what, "; ".join(parts), max(len(ends), 1)))
    return out


def _work(b: Briefing, w: Wording, rows: Sequence[Row], left: int, room: float, *, week: bool) -> str:
    words = w.words
    fits = int((room - HEAD - NOTE - MORE - CAME) / ROW)
    shown, rest = rows[:fits], rows[fits:]
    count = sum(row.ends for row in rest) + left
    brushing = b.morning.verdict in ("seal", "touch_and_go")
    title = words["sheet.coming" if week else "sheet.do_first" if brushing else "sheet.due"]
    inside = [_head(title if rows else words["sheet.nothing_due"], words)]
    inside += [_row(row) for row in shown]
    used = HEAD + NOTE + ROW * len(shown)
    if count:
        text = words["sheet.more_one"] if count == 1 else words.say("sheet.more", count=count)
        inside.append(element("p", text, css="more"))
        used += MORE
    inside.append(element("p", words["sheet.only_one"], css="note"))
    blank = min(int((room - used) / CAME), 4)
    inside += [element("p", words["sheet.came"] if n == 0 else "", css="came") for n in range(blank)]
    return element("section", "", *inside, css="body", style=f"height:{room:.1f}mm")


def _head(title: str, words: Words) -> str:
    boxes = [element("span", words[f"sheet.{name}"], css=_box(name)) for name in BOXES]
    return element("div", "", element("h2", title, css="job"), *boxes, css="head")


def _row(row: Row) -> str:
    # A tag of three letters fills its column at 28 points; a long one grows smaller with its length.
    size = min(28.0, 100.0 / max(len(row.tag), 1))
    boxes = [f"<span class='{_box(name)}'><u></u></span>" for name in BOXES]
    small = element("p", row.more, css="ends long" if len(row.more) > SMALL else "ends")
    job = element("div", "", element("p", row.what, css="what"), small, css="job")
    tag = element("span", row.tag, css="tag", style=f"font-size:{size:.1f}pt")
    return element("div", "", tag, job, *boxes, css="row")


def _box(name: str) -> str:
    return {"morning": "box time first", "noon": "box time", "afternoon": "box time"}.get(name, "box")


# ------------------------------------------------------------------ below


def _cautions(b: Briefing, w: Wording) -> str:
    words = w.words
    lift = words.say("sheet.caution.lift", two=w.weight(b.lift_two_kg), machine=w.weight(b.lift_machine_kg))
    names = ("sheet", "feel", "saw", "roll", "lift", "roof", "storm", "fire", "kept", "law")
    texts = [lift if name == "lift" else words[f"sheet.caution.{name}"] for name in names]
    title = element("h2", words["sheet.caution.title"])
    return element("section", "", title, *(element("p", f"· {text}") for text in texts), css="cautions")


def _foot(b: Briefing, w: Wording) -> str:
    hours = b.morning.age.hours
    words = w.words
    known = hours is not None and b.morning.verdict != "unknown"
    said = (
        words.say("sheet.forecast_age", hours=f"{hours:.0f}")
        if known and hours is not None
        else words["sheet.no_forecast"]
    )
    return words.say("sheet.written", when=w.dated(b.morning.at), forecast=said)
