"""The two days of a season that stand in the calendar: the last one to count on, the first after winter.

Pure. They come from past years alone and are told from mid-summer on, so that neither
the forecast nor the day on which somebody asks moves them.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING

from scheduler.reminders.wanted import Speaker, Wanted

if TYPE_CHECKING:
    from scheduler.planning.season import Season

__all__ = ["season_wanted"]

LAST, FIRST = "the last day to count on for the brush", "the brush can come out again"


def season_wanted(season: Season, today: date, speaker: Speaker) -> tuple[Wanted, ...]:
    """The season's days from today on; none where there are days for the brush all winter.

    Parameters
    ----------
    season
        As it looks from the beginning of its frost year (mid-summer), without a forecast.
    today
        The civil day in the yard: what lies before is over, not called off.
    """
    if season.all_winter:
        return ()
    found = []
    if season.sure_until is not None:
        found.append(("last", season.sure_until, LAST, _last(season, speaker)))
    if season.first_good.p90 is not None:
        found.append(("first", season.first_good.p90, FIRST, _first(season, speaker)))
    return tuple(_item(*one, season, speaker) for one in found if one[1] >= today)


def _item(name: str, day: date, action: str, told: Sequence[str], season: Season, speaker: Speaker) -> Wanted:
    due = datetime.combine(day, time(), speaker.zone).astimezone(UTC)
    years = f"By {season.years} past years under this yard's rules, not by the forecast."
    payload = {"day": day.isoformat(), "action": action, "detail": " ".join([*told, years])}
    text = f"{_day(day, speaker)}: {action}. {' '.join(told)}"
    return Wanted("season", "", name, 0, season.end.year, due, text, payload)


def _last(season: Season, speaker: Speaker) -> list[str]:
    half = season.last_good.p50
    said = ["In 9 of 10 years a good day still came after it; then it is luck."]
    return said + ([f"In half of the years the last one came by {_day(half, speaker)}."] if half else [])


def _first(season: Season, speaker: Speaker) -> list[str]:
    half = season.first_good.p50
    said = ["In 9 of 10 years a good day had come by then."]
    return said + ([f"In half of them by {_day(half, speaker)}."] if half else [])


def _day(day: date, speaker: Speaker) -> str:
    noon = datetime.combine(day, time(12), speaker.zone)
    return speaker.day(noon, noon + timedelta(hours=1))
