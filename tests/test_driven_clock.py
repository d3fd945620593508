"""A month by a driven clock, across both changes of the clocks in eight zones: each morning once, in time.

The bell rings every half hour or so near the change and every few hours on the other days;
``COATCAST_EVERY_BELL=1`` lets it ring all the time.
"""

from __future__ import annotations

import os
import random
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from notice_samples import DAY, MINUTE, Clock, Post, mornings, yard_of

from scheduler.tick import tick
from scheduler.yard.store import open_store

DAYS = 30
NEAR = DAY if not os.environ.get("COATCAST_EVERY_BELL") else DAYS * DAY
ZONES = (
    *("Europe/Berlin", "America/New_York", "America/Havana", "Australia/Lord_Howe"),
    *("America/Santiago", "Pacific/Auckland", "Asia/Beirut", "Atlantic/Azores"),
)


def changes(zone: ZoneInfo, year: int = 2026) -> list[tuple[datetime, timedelta]]:
    """The moments (UTC) of a year at which the clocks change, and by how much."""
    found = []
    at = datetime(year, 1, 1, tzinfo=UTC)
    step = timedelta(minutes=30)
    while at.year == year:
        before, after = (t.astimezone(zone).utcoffset() for t in (at, at + step))
        assert before is not None
        assert after is not None
        if before != after:
            found.append((at + step, after - before))
        at += step
    return found


def by_the_clock_on_the_wall(zone: ZoneInfo, start: datetime, days: int, wall: time) -> dict[date, datetime]:
    """When a person who looks at the wall every minute sees the time come, day by day."""
    seen: dict[date, datetime] = {}
    for n in range(days * 1440):
        local = (start + n * MINUTE).astimezone(zone)
        if local.time() >= wall:
            seen.setdefault(local.date(), start + n * MINUTE)
    return seen


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize("name", ZONES)
def test_no_morning_is_doubled_or_left_out_and_each_comes_at_its_time(
    name: str, which: int, tmp_path: Path
) -> None:
    zone = ZoneInfo(name)
    change, by = changes(zone)[which]
    middle = (
        change.astimezone(zone).replace(tzinfo=None) + timedelta(minutes=-10 if by > timedelta(0) else 10)
    ).time()
    start = datetime.combine(change.astimezone(zone).date(), time(12), zone).astimezone(UTC) - DAYS / 2 * DAY
    expected = by_the_clock_on_the_wall(zone, start, DAYS, middle)
    yard = yard_of(tmp_path, f'[notice]\nmorning = "{middle:%H:%M}"\nquiet = "no"', zone=name)
    chance, post, clock = random.Random(name), Post(), Clock(start)
    left: dict[str, datetime] = {}
    rung = [start]
    with open_store("sqlite://") as store:
        while clock.at < start + DAYS * DAY:
            tick(store, yard, clock, plan=mornings, sender=post)
            for key in post.keys[len(left) :]:
                assert key not in left, "no morning comes twice"
                left[key] = clock.at
            near = abs(clock.at - change) < NEAR
            clock.goes(timedelta(minutes=chance.randint(4, 58) if near else chance.randint(60, 420)))
            rung.append(clock.at)
    wanted = {f"morning/{day}/push/1": moment for day, moment in expected.items() if moment > start}
    assert {k: v for k, v in left.items() if k in wanted}.keys() == wanted.keys(), "no morning is left out"
    assert len(wanted) >= DAYS - 1
    for key, moment in wanted.items():
        assert left[key] == next(at for at in rung if at >= moment), "at the first round from its time on"
