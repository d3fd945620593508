"""Were we right? The yard's record as one table, and as JSON. Pure."""

from __future__ import annotations

from typing import Any

from scheduler.views.wording import Wording
from scheduler.weather.skill import TOO_FEW, Bin, Record, Score

__all__ = ["scores_json", "scores_lines"]

TITLES = {"frost": "frost in the night", "rain": "rain", "dry": "clear by the look"}
SHORT = {"frost": "frost", "rain": "rain", "dry": "clear"}
HEAD = f"{'':20}{'days ahead':>11}{'cases':>7}{'came':>6}{'right':>7}{'missed':>8}{'in vain':>9}{'Brier':>7}"
LEGEND = (
    "right: said and came, or neither; missed: came unsaid; in vain: said, did not come.",
    "Brier: 0 is perfect; behind it what is saved against always saying the average.",
)


def scores_lines(record: Record, w: Wording) -> list[str]:
    """The table: what was said (a chance of one half or more is a yes), and what came of it."""
    if not record.scores:
        return [
            "No forecast can be judged yet: tell what the yard saw (coatcast seen frost no,",
            "seen min -3, seen file SENSOR.csv), or give hours of a station with --observed FILE.",
        ]
    said = [HEAD, *(_row(score) for score in record.scores), *LEGEND, *_lowest(record, w)]
    told = [score for score in record.scores if score.reliability]
    if told:
        bins = "".join(f"{f'{one.low:.0%}-{one.high:.0%}':>12}" for one in told[0].reliability)
        said += ["", f"{'came of those said':20}{bins}"]
        said += [
            f"{_short(score):20}{''.join(f'{_bin(b):>12}' for b in score.reliability)}" for score in told
        ]
    return said


def _short(score: Score) -> str:
    lead = "" if score.lead is None else f" {score.lead[0]:g}-{score.lead[1]:g} d"
    return f"{SHORT[score.kind]}{lead}"


def _lead(score: Score) -> str:
    return "by looks" if score.lead is None else f"{score.lead[0]:g} to {score.lead[1]:g} days ahead"


def _row(score: Score) -> str:
    lead = "-" if score.lead is None else f"{score.lead[0]:g}-{score.lead[1]:g}"
    if score.brier is None:
        end = f"  {TOO_FEW}"
    else:
        skill = "" if score.skill is None else f" {score.skill:+.0%}"
        end = f"{score.brier:7.3f}{skill}"
    return (
        f"{TITLES[score.kind]:20}{lead:>11}{score.n:7d}{score.hits + score.misses:6d}"
        f"{score.hits + score.quiets:7d}{score.misses:8d}{score.false_alarms:9d}{end}"
    )


def _lowest(record: Record, w: Wording) -> list[str]:
    out = []
    for score in record.scores:
        if score.bias is not None and score.error is not None:
            factor, unit = (1.8, "°F") if w.units == "us" else (1.0, "°C")
            word = "warm" if score.bias > 0 else "cold"
            out.append(
                f"The night's lowest, {_lead(score)}: {abs(score.bias) * factor:.1f} {unit} too {word}, "
                f"{score.error * factor:.1f} {unit} off, {score.lows} nights."
            )
    return out


def _bin(one: Bin) -> str:
    return "-" if not one.n or one.happened is None else f"{round(one.happened * one.n)} of {one.n}"


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
