"""The board and the tape as one SVG picture: words first, a measuring tape for the hours. Pure."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from xml.sax.saxutils import escape

from scheduler.planning.verdict import TimedSpan
from scheduler.units import show_clock
from scheduler.views.today import Briefing, first_jobs, headline
from scheduler.views.wording import Wording

__all__ = ["board_svg"]

WIDTH = 390
EDGE = 16
FONT = "font-family='system-ui, sans-serif'"


def board_svg(b: Briefing, w: Wording) -> str:
    """The first screen of a morning, 390 px wide, as a standalone SVG document."""
    m = b.morning
    span = m.work.span if m.verdict in ("seal", "touch_and_go") else m.work.next_span
    parts = [_text(EDGE, 26, _top_line(b, w), 14), *_board(b, w, span)]
    parts += _tape(b, w, span, 250)
    parts += _first(b, w, 470)
    title = escape(headline(b, w))
    body = "\n".join(parts)
    return (
        f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {WIDTH} 640' "
        f"width='{WIDTH}' height='640' role='img'>\n"
        f"<title>{title}</title>\n<desc>{escape(_description(b, w, span))}</desc>\n"
        "<defs><pattern id='night' width='6' height='6' patternUnits='userSpaceOnUse'>"
        "<path d='M0 6L6 0' stroke='#444' stroke-width='1'/></pattern></defs>\n"
        f"<rect width='{WIDTH}' height='640' fill='#fff'/>\n<g {FONT} fill='#111'>\n{body}\n</g>\n</svg>\n"
    )


def _text(x: float, y: float, words: str, size: int, *, bold: bool = False, anchor: str = "start") -> str:
    weight = " font-weight='700'" if bold else ""
    place = f"x='{x:.1f}' y='{y:.1f}' font-size='{size}' text-anchor='{anchor}'{weight}"
    return f"<text {place}>{escape(words)}</text>"


def _top_line(b: Briefing, w: Wording) -> str:
    age = b.morning.age.hours
    words = w.words
    old = words["board.no_forecast"] if age is None else words.say("board.forecast", hours=f"{age:.0f}")
    return words.say("board.top", yard=b.yard_name, day=w.weekday_number(b.morning.at), forecast=old)


def _board(b: Briefing, w: Wording, span: TimedSpan | None) -> list[str]:
    big = w.words[f"board.{b.morning.verdict}"]
    second, third = "", ""
    if span is not None and b.morning.verdict != "unknown":
        today = w.day_of(span.start) == w.day_of(b.morning.at)
        key, hours = "board.brush" if today else "board.brush_on", w.brush(span)
        second = w.words.say(key, day=w.day(span.start), hours=hours)
        third = w.chance(span.chance)
    rule = f"<path d='M{EDGE} {{y}}H{WIDTH - EDGE}' stroke='#111' stroke-width='6'/>"
    return [
        rule.format(y=48),
        _text(EDGE, 100, big, 44, bold=True),
        _text(EDGE, 146, second, 34),
        _text(EDGE, 184, third, 24),
        rule.format(y=206),
    ]


def _tape(b: Briefing, w: Wording, span: TimedSpan | None, top: float) -> list[str]:
    """A ruler from now to tomorrow evening: hours like inch marks, night hatched, flags with words."""
    first = w.local(b.morning.at).replace(minute=0, second=0, microsecond=0)
    start = first.astimezone(UTC)
    hours = max(24, 44 - first.hour)
    if span is not None and span.start > b.morning.at + timedelta(hours=20):
        hours = 60

    def x(when: datetime) -> float:
        along = (when - start) / timedelta(hours=hours)
        return EDGE + (WIDTH - 2 * EDGE) * min(max(along, 0.0), 1.0)

    bottom = top + 44
    out = [f"<rect x='{EDGE}' y='{top}' width='{WIDTH - 2 * EDGE}' height='44' fill='none' stroke='#111'/>"]
    for fall, rise in _nights(b):
        wide = x(rise) - x(fall)
        out.append(f"<rect x='{x(fall):.1f}' y='{top}' width='{wide:.1f}' height='44' fill='url(#night)'/>")
    for n in range(hours + 1):
        moment = start + timedelta(hours=n)
        long = w.local(moment).hour % 6 == 0
        tall = 16 if long else 8
        out.append(f"<path d='M{x(moment):.1f} {bottom}v-{tall}' stroke='#111'/>")
        if long:
            out.append(
                _text(
                    x(moment),
                    bottom + 16,
                    show_clock(w.local(moment), w.units, short=True),
                    13,
                    anchor="middle",
                )
            )
    if span is None:
        return out
    a, z = x(span.sure_from or span.start), x(span.sure_until or span.end)
    out.append(f"<rect x='{a:.1f}' y='{top + 6}' width='{max(z - a, 3):.1f}' height='16' fill='#111'/>")
    out += _flags(b, w, span, bottom + 44)
    return out


def _nights(b: Briefing) -> list[tuple[datetime, datetime]]:
    """Stretches without sun, from the days' sunrises and sunsets."""
    long_ago = b.morning.at - timedelta(days=2)
    falls = [long_ago, *(fall for _, fall in b.suns)]
    rises = [*(rise for rise, _ in b.suns), b.morning.at + timedelta(days=9)]
    return list(zip(falls, rises, strict=True)) if b.suns else []


def _flags(b: Briefing, w: Wording, span: TimedSpan, top: float) -> list[str]:
    s = span.milestones
    said = [
        ("touch_dry", s.touch_dry),
        ("rain_safe", s.rain_safe),
        ("frost_safe", s.frost_safe),
        ("rain", b.rain),
    ]
    known = sorted((when, name) for name, when in said if when is not None)
    rows = [_flag(name, w.by(when), w) for when, name in known]
    out = [_text(EDGE, top + 24 * n, row, 18) for n, row in enumerate(rows[:4])]
    cold = next((r for r in span.reasons if r.rule == "frost_on_face" and r.typical is not None), None)
    if cold is not None and cold.typical is not None:
        words = w.words.say("board.coldest", temperature=w.whole(cold.typical))
        out.append(_text(EDGE, top + 24 * len(rows[:4]), words, 18))
    return out


def _flag(name: str, time: str, w: Wording) -> str:
    if name == "rain":
        return w.words.say("board.rain", time=time)
    return w.words.say("stone.by", what=w.words[f"stone.{name}"], time=time)


def _first(b: Briefing, w: Wording, top: float) -> list[str]:
    named = list(dict.fromkeys((job.tag, job.kind) for job in first_jobs(b)[0]))[:2]
    now = b.morning.verdict in ("seal", "touch_and_go")
    head = w.words[f"board.{'nothing' if not named else 'first' if now else 'due'}"]
    out = [_text(EDGE, top, head, 18)]
    for n, (tag, kind) in enumerate(named):
        y = top + 50 + 56 * n
        out.append(_text(EDGE, y, tag, 30, bold=True))
        log = b.register.log(tag)
        wood = w.wood(b.species.get((log.species if log else "") or ""), log.species_said if log else "")
        out.append(_text(EDGE + 80, y - 10, wood, 18))
        out.append(
            _text(
                EDGE + 80, y + 10, w.words[f"board.{kind}" if kind == "cut_and_coat" else f"job.{kind}"], 16
            )
        )
    return out


def _description(b: Briefing, w: Wording, span: TimedSpan | None) -> str:
    words = [headline(b, w)]
    if span is not None:
        day, hours, chance = w.day(span.start), w.brush(span), w.chance(span.chance)
        words.append(w.words.say("board.described", day=day, hours=hours, chance=chance))
    return " ".join(words)
