"""Until winter, in words and as JSON. Pure."""

from __future__ import annotations

from datetime import date
from typing import Any

from scheduler.planning.season import Ahead, Range, Season
from scheduler.views.wording import Wording, first_upper

__all__ = ["season_json", "season_lines"]

FROST = {0.0: "frost in the yard's air (0 °C)", -2.0: "hard frost (-2 °C)"}
FROST_US = {0.0: "frost in the yard's air (32 °F)", -2.0: "hard frost (28 °F)"}


def season_lines(season: Season, w: Wording) -> list[str]:
    """What is left, the last likely good day, the first freezes, and when it begins again."""
    said = [_headline(season, w), *_left(season, w)]
    names = FROST_US if w.units == "us" else FROST
    for threshold, ahead in season.freezes.items():
        if threshold in season.always:
            said.append(f"{first_upper(names[threshold])} can come on any day of the year here.")
        elif ahead is not None:
            said.append(f"First {names[threshold]}: {_ahead(ahead, w)}.")
        elif threshold in season.never:
            said.append(f"No {names[threshold]} in any of these {season.years} years.")
    if season.first_good.p50 is not None and not season.all_winter:
        said.append(f"The first good day after mid-winter: {_ahead(season.first_good, w)}.")
    winter = season.winter_days
    if winter.p90 >= 1 and not season.all_winter:
        said.append(
            f"In the deepest three months there were good days too: {_range(winter)}; thaws are told."
        )
    said.append(f"From {season.years} past years under this yard's rules; the first frost is not the end.")
    return said


def _headline(season: Season, w: Wording) -> str:
    if season.all_winter:
        return "There are days for the brush all winter here."
    if season.sure_until is None:
        share = round(season.none_left * 10)
        if share >= 10:
            return "No day for the brush is left before mid-winter."
        return f"Perhaps no good day is left: in {max(share, 1)} of 10 years there was none from now on."
    return f"In 9 of 10 years there was still a good day after {_day(season.sure_until, w)}."


def _left(season: Season, w: Wording) -> list[str]:
    days, runs = season.days_left, season.spans_left
    if days.p90 < 1:
        return []
    return [
        f"Days for the brush left before mid-winter ({_day(season.end, w)}): {_range(days)}, "
        f"in {_range(runs)} runs; about {round(season.hours_left.p50)} hours."
    ]


def _range(one: Range) -> str:
    low, middle, high = (round(x) for x in (one.p10, one.p50, one.p90))
    return f"{middle}" if low == high else f"about {middle} ({low} to {high})"


def _ahead(one: Ahead, w: Wording) -> str:
    if one.p50 is None:
        return f"in 1 year of 10 by {_day(one.p10, w)}, in most years not at all" if one.p10 else "never"
    late = f"in 9 of 10 by {_day(one.p90, w)}" if one.p90 else "in some years not at all"
    early = f"in 1 year of 10 by {_day(one.p10, w)}, " if one.p10 else ""
    return f"{early}in half the years by {_day(one.p50, w)}, {late}"


def _day(day: date, w: Wording) -> str:
    name = f"{day.day} {day:%b}" if w.units != "us" else f"{day:%b} {day.day}"
    return name if abs((day - w.at.date()).days) < 200 else f"{name} {day.year}"


def season_json(season: Season) -> dict[str, Any]:
    """``season --json``; dates ISO, null where something does not come in so many years."""
    return {
        "day": season.day.isoformat(),
        "first_freeze": {f"{t:g}": _dates(ahead) for t, ahead in season.freezes.items()},
        "spans_left": _numbers(season.days_left),
        "runs_left": _numbers(season.spans_left),
        "hours_left": _numbers(season.hours_left),
        "last_good_day": _dates(season.last_good),
        "first_good_day": _dates(season.first_good),
        "sure_until": season.sure_until.isoformat() if season.sure_until else None,
        "all_winter": season.all_winter,
        "winter_days": _numbers(season.winter_days),
        "years": season.years,
    }


def _numbers(one: Range) -> dict[str, float]:
    return {"p10": round(one.p10, 1), "p50": round(one.p50, 1), "p90": round(one.p90, 1)}


def _dates(one: Ahead | None) -> dict[str, str | None] | None:
    if one is None:
        return None
    return {name: day.isoformat() if (day := getattr(one, name)) else None for name in ("p10", "p50", "p90")}
