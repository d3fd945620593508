"""Until winter, in words and as JSON. Pure."""

from __future__ import annotations

from datetime import date
from typing import Any

from scheduler.planning.season import Ahead, Range, Season
from scheduler.views.wording import Wording

__all__ = ["season_json", "season_lines"]

NEAR = 200  # days: a date farther away is told with its year


def season_lines(season: Season, w: Wording) -> list[str]:
    """What is left, the last likely good day, the first freezes, and when it begins again."""
    say = w.words.say
    said = [_headline(season, w), *_left(season, w), *_freezes(season, w)]
    if season.first_good.p50 is not None and not season.all_winter:
        said.append(say("ahead.good", dates=_ahead(season.first_good, w)))
    winter = season.winter_days
    if winter.p90 >= 1 and not season.all_winter:
        said.append(say("ahead.deep", days=_range(winter, w)))
    said.append(say("ahead.years", count=season.years))
    return said


def _freezes(season: Season, w: Wording) -> list[str]:
    say, said = w.words.say, []
    for threshold, ahead in season.freezes.items():
        kind = "frost" if threshold == 0.0 else "hard"
        cold = f"{threshold * 1.8 + 32:.0f} °F" if w.units == "us" else f"{threshold:.0f} °C"
        if threshold in season.always:
            said.append(say(f"ahead.{kind}.always", temperature=cold))
        elif ahead is not None:
            said.append(say(f"ahead.{kind}.first", temperature=cold, dates=_ahead(ahead, w)))
        elif threshold in season.never:
            said.append(say(f"ahead.{kind}.never", temperature=cold, count=season.years))
    return said


def _headline(season: Season, w: Wording) -> str:
    if season.all_winter:
        return w.words["ahead.all_winter"]
    if season.sure_until is None:
        share = round(season.none_left * 10)
        if share >= 10:
            return w.words["ahead.over"]
        return w.words.say("ahead.perhaps", count=max(share, 1))
    return w.words.say("ahead.sure", day=_day(season.sure_until, w))


def _left(season: Season, w: Wording) -> list[str]:
    days, runs = season.days_left, season.spans_left
    if days.p90 < 1:
        return []
    return [
        w.words.say(
            "ahead.left",
            day=_day(season.end, w),
            days=_range(days, w),
            runs=_range(runs, w),
            hours=round(season.hours_left.p50),
        )
    ]


def _range(one: Range, w: Wording) -> str:
    low, middle, high = (round(x) for x in (one.p10, one.p50, one.p90))
    return f"{middle}" if low == high else w.words.say("ahead.range", middle=middle, low=low, high=high)


def _ahead(one: Ahead, w: Wording) -> str:
    """ "in 1 year of 10 by 2 Dec, in half the years by 7 Dec, in 9 of 10 by 20 Dec"."""
    words = w.words
    early = [words.say("ahead.one_year", day=_day(one.p10, w))] if one.p10 else []
    if one.p50 is None:
        return ", ".join([*early, words["ahead.most_not"]]) if early else words["ahead.never"]
    half = words.say("ahead.half", day=_day(one.p50, w))
    late = words.say("ahead.nine", day=_day(one.p90, w)) if one.p90 else words["ahead.some_not"]
    return ", ".join([*early, half, late])


def _day(day: date, w: Wording) -> str:
    near = abs((day - w.at.date()).days) < NEAR
    return w.civil(day, "date.month_day" if near else "date.month_day_year")


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
