"""Spans, what stops the coat between them, and the rules for one start: lines and JSON. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from scheduler.planning.verdict import Milestone, Reason, TimedSpan, TimedStop
from scheduler.rules.spans import Examined
from scheduler.views.today import reason_json, span_json, stop_json
from scheduler.views.wording import NO_PROMISE, Wording, chance_words, first_upper, wrapped

__all__ = ["spans_json", "spans_lines", "why_json", "why_lines"]

WORDS = {
    "touch_dry": "dry to touch",
    "rain_safe": "takes rain",
    "frost_safe": "past frost",
    "dry": "dry through",
}


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
            rows.append((stop.start, f"{w.span(stop.start, stop.end)} no: {stop.short}{value}"))
    if not rows:
        return ["No open hour in this forecast."]
    said = []
    far = False
    for start, text in sorted(rows):
        if trusted is not None and start >= trusted and not far:
            far = True
            said.append(f"{first_upper(NO_PROMISE)}:")
        said.append(f"{first_upper(w.day(start)):10} {text}")
    return said


def _span_words(span: TimedSpan, w: Wording) -> str:
    rain = span.milestones.rain_safe
    takes = f", takes rain by {w.by_on(rain, w.day_of(span.start))}" if rain else ""
    return f"brush {w.span(span.start, span.end)}, {chance_words(span.chance)}{takes}"


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
    odds = "nobody would brush then" if closed else chance_words(examined.chance or 0.0)
    said = [f"Brushed {w.when(start)}: {'unknown' if examined.chance is None else odds}."]
    if trusted is not None and start >= trusted:
        said.append(f"{first_upper(NO_PROMISE)}.")
    reached = sorted((t, WORDS[n]) for n, t in _stones(milestones) if t is not None and n in WORDS)
    if reached:
        said += wrapped([f"If it holds: {', '.join(f'{words} by {w.by(t)}' for t, words in reached)}."])
    ordered = sorted(reasons, key=lambda r: (r.breach != "stop", -r.share))
    return said + [f"  {_mark(reason):8}{_rule_words(reason, w)}" for reason in ordered]


def _mark(reason: Reason) -> str:
    if reason.outcome == "unknown":
        return "unknown"
    return {"stop": "stops", "doubt": "doubt"}[reason.breach] if reason.share > 0.5 else "holds"


def _rule_words(reason: Reason, w: Wording) -> str:
    if reason.outcome == "unknown" and reason.typical is None:
        return f"{reason.short}: not known far enough"
    share = f" (in {round(reason.share * 100)} of 100 draws it breaks)" if 0 < reason.share < 1 else ""
    return w.reason(reason, broken=reason.share > 0.5) + share
