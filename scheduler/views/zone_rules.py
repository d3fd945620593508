"""A VTIMEZONE with yearly rules, from nothing but what a zone answers.

After its last recorded change a zone goes on by the rule at the end of its data
(the POSIX TZ string of RFC 8536, section 3.3). The rule is read off the
answers for years far ahead, and holds back to the first year from which on it
agrees with the zone. A calendar that knows the zone only from this file then
has the right hour in every later summer, which a list of dates has not.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard, vRecur

__all__ = ["Onset", "onsets", "vtimezone"]

FIRST_YEAR = 1970
# 28 years in which weekdays and leap years meet in every way, after all changes that zones have recorded.
FAR = range(2104, 2132)
WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
WEEK = timedelta(days=7)
SECOND = timedelta(seconds=1)
IRREGULAR_YEARS = 6  # how many years of single changes are written where a rule does not hold yet


@dataclass(frozen=True, slots=True)
class Onset:
    """One change of a zone's offset. ``local`` is the clock time before the change, as RFC 5545 wants it."""

    local: datetime  # naive, in the offset before
    before: timedelta
    after: timedelta
    name: str
    daylight: bool


_Change = tuple[timedelta, timedelta, str, bool]  # before, after, name, daylight
_Part = tuple[tuple[str, tuple[int | str, ...]], ...]  # of an RRULE
_Rule = tuple[_Change, _Part]


def onsets(zone: ZoneInfo, year: int) -> tuple[Onset, ...]:
    """Every change of the offset in a year (UTC), found by asking week by week."""
    found = []
    when, end = datetime(year, 1, 1, tzinfo=UTC), datetime(year + 1, 1, 1, tzinfo=UTC)
    while when < end:
        ahead = min(when + WEEK, end)
        if _offset(zone, when) != _offset(zone, ahead):
            found.append(_onset(zone, when, ahead))
        when = ahead
    return tuple(found)


def _offset(zone: ZoneInfo, when: datetime) -> timedelta:
    return when.astimezone(zone).utcoffset() or timedelta(0)


def _onset(zone: ZoneInfo, low: datetime, high: datetime) -> Onset:
    before = _offset(zone, low)
    while high - low > SECOND:
        middle = low + (high - low) // 2
        middle = middle.replace(microsecond=0)
        if _offset(zone, middle) == before:
            low = middle
        else:
            high = middle
    local = high.astimezone(zone)
    after = local.utcoffset() or timedelta(0)
    return Onset((high + before).replace(tzinfo=None), before, after, *_name(local))


def _name(local: datetime) -> tuple[str, bool]:
    return local.tzname() or "", (local.dst() or timedelta(0)) > timedelta(0)


# ------------------------------------------------------------------ the rule that goes on for ever


def _change(onset: Onset) -> _Change:
    return (onset.before, onset.after, onset.name, onset.daylight)


def _rules(zone: ZoneInfo) -> list[_Rule]:
    """The yearly rules of the far years; empty where the offset stays, or follows no rule."""
    groups: dict[_Change, list[Onset]] = defaultdict(list)
    for year in FAR:
        for onset in onsets(zone, year):
            groups[_change(onset)].append(onset)
    rules: list[_Rule] = []
    for change, found in groups.items():
        if len(found) != len(FAR) or len({o.local.time() for o in found}) != 1:
            return []
        parts = _parts([o.local.date() for o in found])
        if not parts:
            return []
        rules.extend((change, part) for part in parts)
    return rules


def _parts(days: Sequence[date]) -> list[_Part]:
    """RRULE parts that give exactly these days, one a year; two where they lie in two months."""
    weekdays = {day.weekday() for day in days}
    months = sorted({day.month for day in days})
    if len({(day.month, day.day) for day in days}) == 1:
        return [(("BYMONTH", (months[0],)), ("BYMONTHDAY", (days[0].day,)))]
    if len(weekdays) != 1:
        return []
    word = WEEKDAYS[weekdays.pop()]
    if len(months) == 1:
        month = (("BYMONTH", (months[0],)),)
        if all((day + WEEK).month != day.month for day in days):
            return [(*month, ("BYDAY", (f"-1{word}",)))]
        weeks = {(day.day - 1) // 7 + 1 for day in days}
        if len(weeks) == 1:
            return [(*month, ("BYDAY", (f"{weeks.pop()}{word}",)))]
    # A rule such as "the day after the last Thursday": seven days in a row, maybe across a month's end.
    parts: list[_Part] = []
    for month_number in months:
        inside = tuple(sorted({day.day for day in days if day.month == month_number}))
        parts.append((("BYMONTH", (month_number,)), ("BYMONTHDAY", inside), ("BYDAY", (word,))))
    return parts


def _fits(day: date, part: _Part) -> bool:
    """Whether a day is one of a rule's."""
    wanted = dict(part)
    if day.month not in wanted["BYMONTH"] or day.day not in wanted.get("BYMONTHDAY", (day.day,)):
        return False
    if "BYDAY" not in wanted:
        return True
    byday = str(wanted["BYDAY"][0])
    if byday[-2:] != WEEKDAYS[day.weekday()]:
        return False
    nth = byday[:-2]
    if nth == "-1":
        return (day + WEEK).month != day.month
    return not nth or (day.day - 1) // 7 + 1 == int(nth)


def _days(year: int, part: _Part) -> Iterator[date]:
    month = int(dict(part)["BYMONTH"][0])
    day = date(year, month, 1)
    while day.month == month:
        if _fits(day, part):
            yield day
        day += timedelta(days=1)


def _holds(zone: ZoneInfo, year: int, rules: Sequence[_Rule], times: dict[_Change, datetime]) -> bool:
    """Whether the rules give exactly the zone's changes of a year."""
    actual = sorted((o.local, _change(o)) for o in onsets(zone, year))
    by_rule = sorted(
        (datetime.combine(day, times[change].time()), change)
        for change, part in rules
        for day in _days(year, part)
    )
    return actual == by_rule


# ------------------------------------------------------------------ as a component


@lru_cache(maxsize=16)
def _observances(zone: ZoneInfo, since: int) -> tuple[tuple[Onset, str | None], ...]:
    """Changes with their rules: first those that happen once, then those that go on."""
    rules = _rules(zone)
    times = {_change(o): o.local for o in onsets(zone, FAR[0])}
    year = FAR[0]
    while year > FIRST_YEAR and _holds(zone, year - 1, rules, times):
        year -= 1
    found: list[tuple[Onset, str | None]] = []
    begins = max(min(since, year), FIRST_YEAR)
    found.append((_start(zone, begins), None))
    for single in range(begins, min(year, begins + IRREGULAR_YEARS)):
        found.extend((onset, None) for onset in onsets(zone, single))
    for change, part in rules:
        first = next((day for y in range(year, FAR[0] + 28) for day in _days(y, part)), None)
        if first is not None:
            before, after, name, daylight = change
            at = datetime.combine(first, times[change].time())
            found.append((Onset(at, before, after, name, daylight), _rrule(part)))
    return tuple(found)


def _start(zone: ZoneInfo, year: int) -> Onset:
    """What holds when a year begins."""
    local = datetime(year, 1, 1, tzinfo=UTC).astimezone(zone)
    offset = local.utcoffset() or timedelta(0)
    return Onset(local.replace(tzinfo=None), offset, offset, *_name(local))


def _rrule(part: _Part) -> str:
    return ";".join(["FREQ=YEARLY", *(f"{name}={','.join(map(str, values))}" for name, values in part)])


def vtimezone(zone: ZoneInfo, since: int) -> Timezone:
    """The VTIMEZONE of a zone, right from the year ``since`` on.

    Where the zone follows no yearly rule (one that moves with the moon), the changes of six years are
    written one by one.
    """
    component = Timezone()
    component.add("TZID", zone.key)
    for onset, rule in _observances(zone, since):
        part = TimezoneDaylight() if onset.daylight else TimezoneStandard()
        part.add("DTSTART", onset.local)
        part.add("TZOFFSETFROM", onset.before)
        part.add("TZOFFSETTO", onset.after)
        if onset.name:
            part.add("TZNAME", onset.name)
        if rule is not None:
            part.add("RRULE", vRecur.from_ical(rule))
        component.add_component(part)
    return component
