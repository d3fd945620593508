"""Spans, what stops the coat between them, and the rules for one start: lines and JSON. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from scheduler.planning.verdict import Milestone, Reason, TimedSpan, TimedStop
from scheduler.rules.spans import Examined
from scheduler.views.today import reason_json, span_json, stop_json
from scheduler.views.wording import Wording, first_upper, wrapped

__all__ = ["spans_json", "spans_lines", "why_json", "why_lines"]

STONES = ("touch_dry", "rain_safe", "frost_safe", "dry")


def spans_json(spans: Sequence[TimedSpan], stopped: Sequence[TimedStop], w: Wording) -> dict[str, Any]:
    """``spans --json``."""
    return {"spans": [span_json(s, w) for s in spans], "stopped": [stop_json(s, w) for s in stopped]}


def spans_lines(
    spans: Sequence[TimedSpan], stopped: Sequence[TimedStop], w: Wording, trusted: datetime | None = None
) -> list[str]:
    """A line for each span and for each stretch that something stops, in order.

    What begins after ``trusted`` stands under a line that says what it is worth.
    """
    rows = [(span.start, _span_words(span, w)) for span in spans]
    for stop in stopped:
        if not stop.fixed:
            value = "" if stop.value is None else f" ({w.value(stop.value, stop.unit or '')})"
            hours, what = w.span(stop.start, stop.end), w.short(stop)
            rows.append((stop.start, w.words.say("starts.no", hours=hours, what=what, value=value)))
    if not rows:
        return [w.words["starts.none"]]
    said = []
    far = False
    for start, text in sorted(rows):
        if trusted is not None and start >= trusted and not far:
            far = True
            said.append(f"{first_upper(w.words['chance.no_promise'])}:")
        said.append(f"{first_upper(w.day(start)):10} {text}")
    return said


def _span_words(span: TimedSpan, w: Wording) -> str:
    rain = span.milestones.rain_safe
    say, takes = w.words.say, ""
    if rain is not None:
        time = w.by_on(rain, w.day_of(span.start))
        takes = f", {say('stone.by', what=w.words['stone.rain_safe'], time=time)}"
    hours, chance = w.span(span.start, span.end), w.chance(span.chance)
    return say("starts.brush", hours=hours, chance=chance, rain=takes)


def _iso(when: datetime | None, w: Wording) -> str | None:
    return None if when is None else w.local(when).replace(microsecond=0).isoformat()


def _stones(milestones: Milestone) -> list[tuple[str, datetime | None]]:
    names = ("touch_dry", "rain_safe", "frost_safe", "dry", "second_coat")
    return [(name, getattr(milestones, name)) for name in names]


def why_json(
    start: datetime, examined: Examined, milestones: Milestone, reasons: Sequence[Reason], w: Wording
) -> dict[str, Any]:
    """``why --json``."""
    return {
        "start": _iso(start, w),
        "chance": None if examined.chance is None else round(examined.chance, 3),
        "milestones": {name: _iso(when, w) for name, when in _stones(milestones)},
        "rules": [reason_json(reason, w, outcome=True) for reason in reasons],
    }


def why_lines(
    start: datetime,
    examined: Examined,
    milestones: Milestone,
    reasons: Sequence[Reason],
    w: Wording,
    trusted: datetime | None = None,
) -> list[str]:
    """The chance of a start, its milestones, then rule by rule: value, limit, when."""
    closed = any(r.fixed and r.outcome == "break" for r in reasons)
    words, say = w.words, w.words.say
    odds = words["starts.closed"] if closed else w.chance(examined.chance or 0.0)
    odds = words["word.unknown"] if examined.chance is None else odds
    said = [say("starts.brushed", when=w.when(start), chance=odds)]
    if trusted is not None and start >= trusted:
        said.append(f"{first_upper(w.words['chance.no_promise'])}.")
    reached = sorted(
        (t, words[f"stone.{name}"]) for name, t in _stones(milestones) if t is not None and name in STONES
    )
    if reached:
        stones = ", ".join(say("stone.by", what=what, time=w.by(t)) for t, what in reached)
        said += wrapped([say("starts.if_holds", milestones=stones)])
    ordered = sorted(reasons, key=lambda r: (r.breach != "stop", -r.share))
    return said + [f"  {_mark(reason, w):8}{_rule_words(reason, w)}" for reason in ordered]


def _mark(reason: Reason, w: Wording) -> str:
    if reason.outcome == "unknown":
        return w.words["starts.unknown"]
    return w.words[f"starts.{reason.breach if _mostly_breaks(reason) else 'holds'}"]


def _mostly_breaks(reason: Reason) -> bool:
    """Whether the draws break it; where half of them give no number at all, they do."""
    return reason.share > 0.5 or (reason.share > 0 and reason.typical is None)


def _rule_words(reason: Reason, w: Wording) -> str:
    if reason.outcome == "unknown" and reason.typical is None:
        return w.words.say("starts.not_known", what=w.short(reason), unknown=w.words["stop.unknown"])
    count = round(reason.share * 100)
    share = w.words.say("starts.share", count=count) if 0 < reason.share < 1 else ""
    return w.reason(reason, broken=_mostly_breaks(reason)) + share
