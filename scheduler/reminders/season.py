"""The two days of a season that stand in the calendar: the last one to count on, the first after winter.

Pure. They come from past years alone and are told from mid-summer on, so that neither
the forecast nor the day on which somebody asks moves them.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, tzinfo
from typing import TYPE_CHECKING

from scheduler.reminders.wanted import Wanted

if TYPE_CHECKING:
    from scheduler.planning.season import Ahead, Season

__all__ = ["season_wanted"]


def season_wanted(season: Season, today: date, zone: tzinfo) -> tuple[Wanted, ...]:
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
    found: list[tuple[str, date, Ahead]] = []
    if season.sure_until is not None:
        found.append(("last", season.sure_until, season.last_good))
    if season.first_good.p90 is not None:
        found.append(("first", season.first_good.p90, season.first_good))
    return tuple(_item(*one, season, zone) for one in found if one[1] >= today)


def _item(name: str, day: date, years: Ahead, season: Season, zone: tzinfo) -> Wanted:
    due = datetime.combine(day, time(), zone).astimezone(UTC)
    payload = {
        "day": day.isoformat(),
        "action": name,
        "half": years.p50.isoformat() if years.p50 else None,  # by when it was so in half of the years
        "years": season.years,
    }
    return Wanted("season", "", name, 0, season.end.year, due, payload)
