"""The tape and the log faces, drawn on the server as SVG. Pure: values in, markup out.

Colours come from the page's style sheet by class, so that dark, bright and
print styles hold here too; every mark is named in words beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from html import escape

from markupsafe import Markup

from scheduler.planning.verdict import TimedSpan
from scheduler.units import show_clock
from scheduler.views.today import Briefing
from scheduler.views.wording import Wording

__all__ = ["end_face", "tape", "tape_words", "verdict_face"]

WIDTH, EDGE = 358.0, 6.0
TOP, HIGH = 4.0, 46.0  # of the ruler
ROW = 24.0  # a flag's line
LETTER = 9.4  # about the width of a letter at the flags' size, for room
HIDE = timedelta(hours=20)  # a span farther off makes the tape longer


@dataclass(frozen=True, slots=True)
class _Flag:
    when: datetime
    words: str


@dataclass(frozen=True, slots=True)
class _Ruler:
    start: datetime
    hours: int

    @property
    def end(self) -> datetime:
        return self.start + timedelta(hours=self.hours)

    def x(self, when: datetime) -> float:
        along = (when - self.start) / timedelta(hours=self.hours)
        return EDGE + (WIDTH - 2 * EDGE) * min(max(along, 0.0), 1.0)


def _ruler(b: Briefing, w: Wording, span: TimedSpan | None) -> _Ruler:
    first = w.local(b.morning.at).replace(minute=0, second=0, microsecond=0)
    hours = max(24, 44 - first.hour)
    if span is not None and span.end > b.morning.at + HIDE:
        hours = max(hours, min(60, int((span.end - b.morning.at) / timedelta(hours=1)) + 14))
    return _Ruler(first.astimezone(UTC), hours)


def _flags(b: Briefing, w: Wording, span: TimedSpan | None) -> list[_Flag]:
    flags = []
    if b.rain is not None:
        flags.append(_Flag(b.rain, w.words.say("board.rain", time=w.at_time(b.rain))))
    if span is not None:
        s, day = span.milestones, w.day_of(span.best)
        second = ("frost_safe", s.frost_safe) if b.rain is None else ("rain_safe", s.rain_safe)
        for name, when in (("touch_dry", s.touch_dry), second):
            if when is not None:
                what = w.words[f"stone.{name}"]
                time = w.half_hour(when) if w.day_of(when) == day else w.by(when)
                flags.append(_Flag(when, w.words.say("stone.by", what=what, time=time)))
    return sorted(flags, key=lambda flag: flag.when)


def tape_words(b: Briefing, w: Wording, span: TimedSpan | None) -> str:
    """What the tape shows, as one sentence."""
    parts = [w.words.say("page.tape_from", when=w.when(_ruler(b, w, span).end))]
    if span is not None:
        parts.append(w.words.say("page.tape_brush", day=w.day(span.start), hours=w.brush(span)))
    parts += [flag.words for flag in _flags(b, w, span)]
    return ", ".join(parts) + "."


def tape(b: Briefing, w: Wording, span: TimedSpan | None) -> Markup:
    """A measuring tape from now on: hours like inch marks, night hatched, the brush, flags with words."""
    ruler = _ruler(b, w, span)
    flags = [flag for flag in _flags(b, w, span) if flag.when < ruler.end]
    ticks, hours = _ticks(w, ruler)
    body = [*_nights(b, ruler), *ticks]
    if span is not None and span.start < ruler.end:
        body += _brush(span, w, ruler)
    bottom = TOP + HIGH + 24.0
    lines, words = _hung(flags, ruler, bottom)
    body += [*lines, *hours, *words]
    height = bottom + ROW * len(flags) + 4.0
    title, told = escape(w.words["page.tape"]), escape(tape_words(b, w, span))
    return Markup(
        f'<svg class="tape" viewBox="0 0 {WIDTH:g} {height:g}" role="img" aria-labelledby="tape-t tape-d">'
        f'<title id="tape-t">{title}</title><desc id="tape-d">{told}</desc>'
        '<defs><pattern id="night" width="7" height="7" patternUnits="userSpaceOnUse">'
        '<path class="hatch" d="M-1 8L8 -1"/></pattern></defs>'
        f"{''.join(body)}</svg>"
    )


def _nights(b: Briefing, ruler: _Ruler) -> list[str]:
    """Stretches without sun, hatched."""
    if not b.suns:
        return []
    falls = [b.morning.at - timedelta(days=2), *(fall for _, fall in b.suns)]
    rises = [*(rise for rise, _ in b.suns), b.morning.at + timedelta(days=9)]
    out = []
    for fall, rise in zip(falls, rises, strict=True):
        a, z = ruler.x(fall), ruler.x(rise)
        if z - a > 0.5:
            out.append(
                f'<rect x="{a:.1f}" y="{TOP}" width="{z - a:.1f}" height="{HIGH}" fill="url(#night)"/>'
            )
    return out


def _ticks(w: Wording, ruler: _Ruler) -> tuple[list[str], list[str]]:
    """Rim and inch marks, and the hours' numbers."""
    bottom, out = TOP + HIGH, []
    rim = [f'<path class="rim" d="M{EDGE} {TOP}H{WIDTH - EDGE}V{bottom}H{EDGE}Z"/>']
    short, long = [], []
    for n in range(ruler.hours + 1):
        moment = ruler.start + timedelta(hours=n)
        x, hour = ruler.x(moment), w.local(moment).hour
        if hour % 6:
            short.append(f"M{x:.1f} {bottom}v-{12 if hour % 3 == 0 else 7}")
            continue
        long.append(f"M{x:.1f} {bottom}v-19")
        if EDGE + 10 <= x <= WIDTH - EDGE - 10:
            said = (
                "0" if hour == 0 and w.units == "metric" else show_clock(w.local(moment), w.units, short=True)
            )
            out.append(f'<text class="hour" x="{x:.1f}" y="{bottom + 17}" text-anchor="middle">{said}</text>')
    marks = f'<path class="tick" d="{"".join(short)}"/><path class="tick long" d="{"".join(long)}"/>'
    return [*rim, marks], out


def _brush(span: TimedSpan, w: Wording, ruler: _Ruler) -> list[str]:
    """The stroke of a brush over the hours in which it may touch wood, ragged where it ends."""
    a, z = ruler.x(span.sure_from or span.start), ruler.x(span.sure_until or span.end)
    z = max(z, a + 5.0)
    y, tall = TOP + 5.0, 19.0
    ragged = "".join(f"l{dx} {tall / 6:.1f}" for dx in (4, -4, 5, -4, 3, -4))
    return [f'<path class="stroke" d="M{a:.1f} {y}H{z:.1f}{ragged}H{a:.1f}Z"/>']


def _hung(flags: list[_Flag], ruler: _Ruler, top: float) -> tuple[list[str], list[str]]:
    """Flags that hang from the tape, each on a line of its own, the words on the side that has room."""
    lines, words = [], []
    for n, flag in enumerate(flags):
        x, y = ruler.x(flag.when), top + ROW * n + 16.0
        lines.append(f"M{x:.1f} {TOP + HIGH}V{y - 4:.1f}")
        right = x + 8 + LETTER * len(flag.words) < WIDTH
        at, anchor = (x + 7, "start") if right else (x - 7, "end")
        if not right and x - 7 - LETTER * len(flag.words) < 0:  # no room on either side: under the edge
            at, anchor = (WIDTH, "end")
        words.append(
            f'<path class="knot" d="M{x - 5:.1f} {y - 5:.1f}l5 -5l5 5l-5 5z"/>'
            f'<text class="flag" x="{at:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(flag.words)}</text>'
        )
    return [f'<path class="hang" d="{"".join(lines)}"/>'], words


# ------------------------------------------------------------------ faces


def _disc(inner: str, size: int) -> Markup:
    return Markup(
        f'<svg class="face" width="{size}" height="{size}" viewBox="0 0 48 48" aria-hidden="true">'
        f"{inner}</svg>"
    )


RIM = '<circle class="bark" cx="24" cy="24" r="20"/>'
RINGS = '<circle class="ring" cx="24" cy="24" r="13"/><circle class="ring" cx="24" cy="24" r="6"/>'
VERDICTS = {
    "seal": f'<circle class="full" cx="24" cy="24" r="20"/>{RIM}',
    "touch_and_go": f'{RINGS}<path class="full" d="M24 4a20 20 0 0 1 0 40z"/>{RIM}',
    "prepare": f'{RINGS}<path class="full" d="M24 24V4a20 20 0 0 1 20 20z"/>{RIM}',
    "leave_it": f'{RINGS}{RIM}<path class="bar" d="M7 41L41 7"/>',
    "unknown": '<circle class="bark dots" cx="24" cy="24" r="20"/><text class="ask" x="24" y="33">?</text>',
}
STATES = {
    "bare": f"{RINGS}{RIM}",
    "opened": f'{RIM}<path class="bar" d="M24 24L36 9M24 24L10 18M24 24L27 43"/>',
    "wet": f'{RINGS}{RIM}<path class="drops" d="M12 17h24M9 24h30M12 31h24"/>',
    "coated": f'<path class="full" d="M24 4a20 20 0 0 1 0 40z"/>{RINGS}{RIM}',
    "sealed": f'<circle class="full" cx="24" cy="24" r="20"/>{RIM}',
    "spoiled": f'{RIM}<path class="bar" d="M12 12L36 36M36 12L12 36"/>',
}


def verdict_face(verdict: str, size: int = 60) -> Markup:
    """A log's face, covered as far as the day is good: whole, half, a quarter, not at all, not known."""
    return _disc(VERDICTS.get(verdict, VERDICTS["unknown"]), size)


def end_face(state: str | None, size: int = 28) -> Markup:
    """The face of an end in its state; the word always stands beside it."""
    return _disc(STATES.get(state or "", VERDICTS["unknown"]), size)
