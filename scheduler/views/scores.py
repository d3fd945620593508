"""Were we right? The yard's record as one table, and as JSON. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from scheduler.views.wording import Wording
from scheduler.weather.skill import Bin, Record, Score

__all__ = ["scores_json", "scores_lines"]

HEADS = ("days", "cases", "came", "right", "missed", "vain", "brier")
WIDTHS = (20, 11, 7, 6, 7, 8, 9, 7)  # of the kind and of the heads; longer words take more
BIN = 12


def scores_lines(record: Record, w: Wording) -> list[str]:
    """The table: what was said (a chance of one half or more is a yes), and what came of it."""
    words = w.words
    if not record.scores:
        return words["sure.score.none"].split("\n")
    heads = ["", *(words[f"sure.score.{name}"] for name in HEADS)]
    widths = [
        max(width, len(head) + (2 if n > 1 else 1))
        for n, (width, head) in enumerate(zip(WIDTHS, heads, strict=True))
    ]
    said = [_columns(heads, widths), *(_row(score, widths, w) for score in record.scores)]
    said += [words["sure.score.legend"], words["sure.score.legend_brier"], *_lowest(record, w)]
    told = [score for score in record.scores if score.reliability]
    if told:
        bins = [_share(one, w) for one in told[0].reliability]
        said += ["", _bins(words["sure.score.of_those"], bins)]
        said += [_bins(_short(score, w), [_bin(one, w) for one in score.reliability]) for score in told]
    return said


def _columns(cells: Sequence[str], widths: Sequence[int]) -> str:
    first, *rest = (
        f"{cell:{'>' if n else '<'}{width}}"
        for n, (cell, width) in enumerate(zip(cells, widths, strict=True))
    )
    return first + "".join(rest)


def _bins(name: str, bins: Sequence[str]) -> str:
    return f"{name:20}{''.join(f'{one:>{BIN}}' for one in bins)}"


def _share(one: Bin, w: Wording) -> str:
    low, high = (f"{edge:.0%}".rstrip("%") for edge in (one.low, one.high))
    return w.words.say("sure.score.bin", low=low, high=high)


def _short(score: Score, w: Wording) -> str:
    what = w.words[f"sure.short_of.{score.kind}"]
    if score.lead is None:
        return what
    low, high = (f"{day:g}" for day in score.lead)
    return w.words.say("sure.score.lead", what=what, low=low, high=high)


def _lead(score: Score, w: Wording) -> str:
    if score.lead is None:
        return w.words["sure.score.by_looks"]
    low, high = (f"{day:g}" for day in score.lead)
    return w.words.say("sure.score.ahead", low=low, high=high)


def _row(score: Score, widths: Sequence[int], w: Wording) -> str:
    lead = "-" if score.lead is None else f"{score.lead[0]:g}-{score.lead[1]:g}"
    counts = (
        score.n,
        score.hits + score.misses,
        score.hits + score.quiets,
        score.misses,
        score.false_alarms,
    )
    cells = [w.words[f"sure.title_of.{score.kind}"], lead, *map(str, counts)]
    if score.brier is None:
        return f"{_columns(cells, widths[:-1])}  {w.words['sure.score.too_few']}"
    share = None if score.skill is None else f"{score.skill:+.0%}".rstrip("%")
    skill = "" if share is None else w.words.say("sure.score.skill", percent=share)
    return _columns([*cells, w.number(f"{score.brier:.3f}")], widths) + skill


def _lowest(record: Record, w: Wording) -> list[str]:
    out = []
    for score in record.scores:
        if score.bias is not None and score.error is not None:
            factor, unit = (1.8, "°F") if w.units == "us" else (1.0, "°C")
            bias, error = (w.number(f"{k * factor:.1f} {unit}") for k in (abs(score.bias), score.error))
            key = "sure.score.warm" if score.bias > 0 else "sure.score.cold"
            out.append(w.words.say(key, lead=_lead(score, w), bias=bias, error=error, count=score.lows))
    return out


def _bin(one: Bin, w: Wording) -> str:
    if not one.n or one.happened is None:
        return "-"
    return w.words.say("sure.score.count", some=round(one.happened * one.n), all=one.n)


def scores_json(record: Record) -> dict[str, Any]:
    """The same as numbers; null where there are too few."""
    return {"scores": [_json(score) for score in record.scores]}


def _json(score: Score) -> dict[str, Any]:
    return {
        "kind": score.kind,
        "days_ahead": None if score.lead is None else list(score.lead),
        "cases": score.n,
        "hits": score.hits,
        "misses": score.misses,
        "false_alarms": score.false_alarms,
        "quiets": score.quiets,
        "brier": score.brier,
        "skill": score.skill,
        "bias_k": score.bias,
        "error_k": score.error,
        "word": score.word or None,
        "reliability": [
            {"said": b.said, "happened": b.happened, "low": b.band[0], "high": b.band[1], "n": b.n}
            for b in score.reliability
            if b.n and b.band is not None
        ],
    }
