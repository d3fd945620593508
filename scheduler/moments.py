"""Times as people write them: now, sat, 3 weeks ago, about 20 Oct, October, 2025-10-20.

A rough time keeps the stretch meant: the middle and half its length. Pure: the
clock (``at``) and the zone are passed in.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta

from scheduler.units import SIGNS, UnitError, Units, short

__all__ = ["MomentError", "NoSuchTime", "RoughTime", "parse_moment"]


class MomentError(UnitError):
    """A time that cannot be read."""


class NoSuchTime(MomentError):  # noqa: N818 - the name says what is wrong
    """A time that was read and does not exist, or lies on the wrong side of now."""


# English names, only to read what people type: nothing else depends on them.
_MONTHS = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
]
_DAYS = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]
_PARTS = {  # the stretch of the day that a word means, hours of the yard's clock
    "morning": (8, 12),
    "noon": (11, 13),
    "midday": (11, 13),
    "afternoon": (13, 17),
    "evening": (17, 21),
    "night": (20, 24),
}
_NUMBERS = {
    word: n
    for n, word in enumerate(
        ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"],
        start=1,
    )
} | {
    "a": 1,
    "an": 1,
    "couple": 2,
    "a couple": 2,
    "couple of": 2,
    "a couple of": 2,
    "half an": 0.5,
    "half a": 0.5,
}
_UNITS_OF_TIME = {
    "minute": "minute",
    "min": "minute",
    "hour": "hour",
    "hr": "hour",
    "h": "hour",
    "day": "day",
}
_UNITS_OF_TIME |= {"week": "week", "wk": "week", "fortnight": "fortnight", "month": "month", "year": "year"}
_ABOUT = re.compile(r"(?:(?:about|around|roughly|approximately|approx|circa|ca)\.?\s+|ca?\.|~\s*)(?=\S)")
_HOW = "now, 10:30, yesterday, sat, 3 weeks ago, about 20 Oct, October, 2025-10-20"
_FIRST_YEAR, _LAST_YEAR = 1900, 2200
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class RoughTime:
    """A time as rough as it was said: the middle of the stretch meant, and half its length."""

    time: datetime  # UTC
    half: timedelta
    said: str


@dataclass(frozen=True, slots=True)
class _Asked:
    said: str
    at: datetime  # UTC
    today: date  # in the zone
    zone: ZoneInfo
    future: bool
    units: Units
    about: bool = False


@dataclass(frozen=True, slots=True)
class _Days:
    """Whole days of the yard's calendar."""

    first: date
    count: int = 1
    loose: timedelta = 3 * _DAY  # what "about" adds on each side
    weekly: bool = False  # a weekday without a date: another week is possible
    ahead: bool = False  # said so plainly that it may lie ahead


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A stretch between two instants, UTC."""

    first: datetime
    last: datetime
    loose: timedelta = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class _Clock:
    """Two wall times of one day, minutes since midnight (the same twice for a clock time), and seconds."""

    first: int
    last: int
    seconds: int = 0

    @property
    def is_point(self) -> bool:
        return self.first == self.last


def parse_moment(
    text: str,
    *,
    at: datetime,
    zone: ZoneInfo,
    future: bool = False,
    units: Units = "metric",
) -> RoughTime:
    """A time as people say it: the middle of the stretch meant (UTC) and half its length.

    Read are: ``now``, ``10:30``, ``9 am``, ``today``, ``yesterday 16:00``, ``sat``, ``last week``,
    ``3 weeks ago``, ``an hour ago``, ``20 Oct``, ``about 20 Oct``, ``October``, ``2025-10``,
    ``2025-10-20``, ``2025-10-20T09:30+01:00``, ``20.10.2025``, ``10/20/2025``, ``yesterday
    morning`` and, ahead, ``tomorrow``, ``next tue``, ``in 3 days``.

    A day runs from midnight to midnight in the zone; what has begun ends now.
    A weekday, a month or a date without its year is the most recent one, or
    with ``future`` the next one. "about" widens a day by three days on each
    side, a clock time by an hour, a week by half a week, a month by half a
    month. A time in the hour that a clock change leaves out is the first moment
    after it; a time that comes twice is the first. What is said with its year,
    and "tomorrow", "next", "in", may lie ahead: whether that is allowed is the
    caller's matter. A clock time of today that is still ahead is refused unless
    ``future`` (a bare one up to 12 hours back is yesterday's).

    Parameters
    ----------
    at
        Now; must carry an offset.
    units
        "us" reads 10/5/2025 as the fifth of October; else such a date is refused with both readings.

    Raises
    ------
    MomentError
        When it is no time; :class:`NoSuchTime` when it is one that does not exist.
    """
    if at.tzinfo is None:
        raise ValueError("parse_moment needs a clock that carries its offset")
    said = " ".join(text.split())
    if not said:
        raise MomentError(f"No time was given; write one like {_HOW}")
    if len(said) > 80:
        raise MomentError(f"'{short(said)}' is too long for a time; write one like {_HOW}")
    asked = _Asked(said, at.astimezone(UTC), at.astimezone(zone).date(), zone, future, units)
    try:
        return _moment(asked)
    except MomentError:
        raise
    except (OverflowError, ValueError) as error:  # the ends of the calendar
        raise NoSuchTime(f"'{said}' lies outside the years this program knows") from error


def _moment(asked: _Asked) -> RoughTime:
    text = asked.said.translate(SIGNS).casefold().rstrip(".,;")
    stamp = _stamp(text, asked)
    if stamp is not None:
        return RoughTime(stamp, timedelta(0), asked.said)
    match = _ABOUT.match(text)
    if match:
        text = text[match.end() :]
        asked = replace(asked, about=True)
    text = re.sub(r"\blast night\b", "yesterday night", text)
    text = re.sub(r"\btonight\b", "today night", text)
    text = re.sub(r"\bthis (morning|noon|midday|afternoon|evening)\b", r"today \1", text)
    rest, clock = _split_clock(text)
    if clock is None:
        return _settle(_stretch_of(rest, asked), asked)
    if not rest:
        return _settle(_bare_clock(clock, asked), asked)
    days = _days(rest, asked)
    if not isinstance(days, _Days) or days.count != 1:
        raise MomentError(f"'{asked.said}' has a time of day but no single day; write one like {_HOW}")
    return _settle(_clock_on(days, clock, asked), asked)


def _stretch_of(text: str, asked: _Asked) -> _Stretch:
    days = _days(text, asked)
    if isinstance(days, _Stretch):
        return days
    last = days.first + days.count * _DAY
    return _Stretch(_midnight(days.first, asked.zone), _midnight(last, asked.zone), days.loose)


def _settle(stretch: _Stretch, asked: _Asked) -> RoughTime:
    """Middle and half of a stretch, cut at now on the side that is not meant."""
    first, last = stretch.first, stretch.last
    past = last <= asked.at or (first <= asked.at and not asked.future)
    if asked.about:
        first, last = first - stretch.loose, last + stretch.loose
    if past:
        last = min(last, asked.at)
    else:
        first = max(first, asked.at)
    half = (last - first) // 2
    return RoughTime(first + half, half, asked.said)


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return _to_utc(datetime.combine(day, time()), zone)


def _to_utc(local: datetime, zone: ZoneInfo) -> datetime:
    """UTC of a wall time; the first of two, and the first moment after one that a clock change leaves out."""
    early = local.replace(tzinfo=zone, fold=0).astimezone(UTC)
    if early.astimezone(zone).replace(tzinfo=None) == local:
        return early
    # Left out: with the old offset it falls after the change, with the new one before it.
    low = math.floor(local.replace(tzinfo=zone, fold=1).timestamp())
    high = math.ceil(early.timestamp())
    new = early.astimezone(zone).utcoffset()
    while high - low > 1:
        middle = (low + high) // 2
        if datetime.fromtimestamp(middle, zone).utcoffset() == new:
            high = middle
        else:
            low = middle
    return datetime.fromtimestamp(high, UTC)


# -- clock times

_COLON = r"(?P<{0}h>[0-9]{{1,2}})[:h](?P<{0}m>[0-9]{{2}})(?::(?P<{0}s>[0-9]{{2}})(?:\.[0-9]{{1,9}})?)?"
_ANY_CLOCK = (
    rf"(?:{_COLON.format('c')}\s*(?P<cap>[ap]\.?m\.?)?"
    r"|(?P<dh>[0-9]{1,2})(?:\.(?P<dm>[0-9]{2}))?\s*(?P<dap>[ap]\.?m\.?)"
    rf"|(?:in the )?(?P<part>{'|'.join(_PARTS)})|(?P<midnight>midnight))"
)
_CLOCK_LAST = re.compile(rf"(?:(?P<rest>.*?\S)[\s,]+)?(?:at\s+)?{_ANY_CLOCK}")
_CLOCK_FIRST = re.compile(rf"(?:at\s+)?{_ANY_CLOCK}[\s,]+(?P<rest>\S.*)")
_STAMP = re.compile(
    rf"(?P<date>[0-9]{{4}}-[0-9]{{1,2}}-[0-9]{{1,2}})[t ]\s*{_COLON.format('c')}"
    r"\s*(?P<offset>z|utc|[+-][0-9]{2}:?[0-9]{2})?"
)


def _split_clock(text: str) -> tuple[str, _Clock | None]:
    match = _CLOCK_LAST.fullmatch(text) or _CLOCK_FIRST.fullmatch(text)
    if match is None:
        return text, None
    rest = match["rest"] or ""
    if match["part"]:
        first, last = _PARTS[match["part"]]
        return rest, _Clock(first * 60, last * 60)
    if match["midnight"]:
        return rest, _Clock(0, 0)
    hour, minute, half = (
        (match["ch"], match["cm"], match["cap"]) if match["ch"] else (match["dh"], match["dm"], match["dap"])
    )
    return rest, _clock(int(hour), int(minute or 0), int(match["cs"] or 0), (half or "")[:1])


def _clock(hour: int, minute: int, second: int, half: str = "") -> _Clock:
    if half:
        if not 1 <= hour <= 12:
            raise NoSuchTime(f"There is no {hour} {half}m; write 1 to 12 with am or pm, or 0:00 to 23:59")
        hour = hour % 12 + (12 if half == "p" else 0)
    for value, most, name in ((hour, 23, "hour"), (minute, 59, "minute"), (second, 59, "second")):
        if value > most:
            raise NoSuchTime(f"There is no {name} {value}; clock times run from 0:00 to 23:59")
    return _Clock(hour * 60 + minute, hour * 60 + minute, second)


def _on_day(day: date, clock: _Clock, zone: ZoneInfo) -> _Stretch:
    ends = []
    for minutes in (clock.first, clock.last):
        whole, rest = divmod(minutes, 24 * 60)
        local = datetime.combine(day + whole * _DAY, time(rest // 60, rest % 60, clock.seconds))
        ends.append(_to_utc(local, zone))
    loose = timedelta(hours=1) if clock.is_point else (ends[1] - ends[0]) / 2
    return _Stretch(ends[0], ends[1], loose)


def _bare_clock(clock: _Clock, asked: _Asked) -> _Stretch:
    today = _on_day(asked.today, clock, asked.zone)
    if asked.future:
        return today if today.last >= asked.at else _on_day(asked.today + _DAY, clock, asked.zone)
    if today.first <= asked.at:
        return today
    before = _on_day(asked.today - _DAY, clock, asked.zone)
    if clock.is_point and asked.at - before.first > timedelta(hours=12):
        raise NoSuchTime(
            f"'{asked.said}' is still ahead today; for yesterday's write: yesterday {asked.said}"
        )
    return before


def _clock_on(days: _Days, clock: _Clock, asked: _Asked) -> _Stretch:
    found = _on_day(days.first, clock, asked.zone)
    if days.weekly and not asked.future and found.first > asked.at:
        return _on_day(days.first - 7 * _DAY, clock, asked.zone)
    if days.weekly and asked.future and found.last < asked.at:
        return _on_day(days.first + 7 * _DAY, clock, asked.zone)
    if not asked.future and not days.ahead and found.first > asked.at:
        raise NoSuchTime(f"'{asked.said}' is still ahead")
    return found


def _stamp(text: str, asked: _Asked) -> datetime | None:
    """A whole ISO 8601 time, with or without its offset, as UTC."""
    match = _STAMP.fullmatch(text)
    if match is None:
        return None
    day = _date(*(int(part) for part in match["date"].split("-")))
    clock = _clock(int(match["ch"]), int(match["cm"]), int(match["cs"] or 0))
    local = datetime.combine(day, time(clock.first // 60, clock.first % 60, clock.seconds))
    if match["offset"] is None:
        return _to_utc(local, asked.zone)
    digits = re.sub(r"[^0-9]", "", match["offset"]) or "0000"
    if int(digits[:2]) > 23 or int(digits[2:]) > 59:
        raise NoSuchTime(f"'{match['offset']}' is no offset from UTC; write one such as +01:00 or Z")
    ahead = timedelta(hours=int(digits[:2]), minutes=int(digits[2:]))
    offset = timezone(-ahead if match["offset"].startswith("-") else ahead)
    return local.replace(tzinfo=offset).astimezone(UTC)


# -- days

_YEAR = r"(?P<y>[0-9]{4})"
_DAY_NUMBER = r"(?P<d>[0-9]{1,2})(?:st|nd|rd|th)?"
_WORD = r"(?P<word>[a-z]{3,9})"
_WEEKDAY = re.compile(rf"(?:(?P<which>last|next|this)\s+)?{_WORD}\.?")
_WEEKDAY_DATE = re.compile(rf"{_WORD}[.,]?\s+(?P<rest>\S*[0-9].*)")
_PERIOD = re.compile(r"(?P<which>last|this|next)\s+(?P<unit>week|month|year)")
_AGO = re.compile(r"(?P<n>[0-9]{1,4}|[a-z][a-z ]*?)\s*(?P<unit>[a-z]+?)s?\s+ago")
_IN = re.compile(r"in\s+(?P<n>[0-9]{1,4}|[a-z][a-z ]*?)\s*(?P<unit>[a-z]+?)s?")
_ISO_DATE = re.compile(rf"{_YEAR}[-/.](?P<m>[0-9]{{1,2}})[-/.](?P<d>[0-9]{{1,2}})")
_ISO_MONTH = re.compile(rf"{_YEAR}-(?P<m>[0-9]{{1,2}})|(?P<m2>[0-9]{{1,2}})[/.](?P<y2>[0-9]{{4}})")
_DOTTED = re.compile(r"(?P<d>[0-9]{1,2})\.\s?(?P<m>[0-9]{1,2})(?:\.\s?(?P<y>[0-9]{4}|[0-9]{2})?)?")
_SLASHED = re.compile(r"(?P<a>[0-9]{1,2})/(?P<b>[0-9]{1,2})(?:/(?P<y>[0-9]{4}|[0-9]{2}))?")
_DAY_MONTH = re.compile(rf"{_DAY_NUMBER}\.?\s*(?:of\s+)?{_WORD}\.?(?:,?\s*{_YEAR})?")
_MONTH_DAY = re.compile(rf"{_WORD}\.?\s*{_DAY_NUMBER}(?:,?\s+{_YEAR})?")
_MONTH_ONLY = re.compile(
    rf"(?:(?P<third>early|mid|late|beginning of|middle of|end of)[\s-]+)?{_WORD}\.?(?:,?\s+{_YEAR})?"
)

_Read = Callable[["re.Match[str]", _Asked], "_Days | _Stretch | None"]


def _days(text: str, asked: _Asked) -> _Days | _Stretch:
    text = re.sub(r"^(?:on|since|by|the|from)\s+", "", text.strip(" ,"))
    text = re.sub(r"^in\s+(?=[a-z]{3,9}\.?(?:\s+[0-9]{4})?$)", "", text)
    for pattern, read in _READERS:
        match = pattern.fullmatch(text)
        found = read(match, asked) if match else None
        if found is not None:
            return found
    raise MomentError(f"'{asked.said}' is not understood as a time{_nearest(text)}; write one like {_HOW}")


def _nearest(text: str) -> str:
    known = [
        *_DAYS,
        *_MONTHS,
        *_PARTS,
        "yesterday",
        "today",
        "tomorrow",
        "week",
        "month",
        "about",
        "last",
        "ago",
    ]
    for word in re.findall(r"[a-z]{3,}", text):
        if word not in known and _month(word) is None and _weekday(word) is None:
            near = difflib.get_close_matches(word, known, 1, cutoff=0.6)
            return f" (nearest: {near[0]})" if near else ""
    return ""


def _month(word: str) -> int | None:
    return next(
        (n for n, name in enumerate(_MONTHS, start=1) if len(word) >= 3 and name.startswith(word)), None
    )


def _weekday(word: str) -> int | None:
    return next((n for n, name in enumerate(_DAYS) if len(word) >= 3 and name.startswith(word)), None)


def _date(year: int, month: int, day: int) -> date:
    """A date that exists, or NoSuchTime saying what does not."""
    if not _FIRST_YEAR <= year <= _LAST_YEAR:
        raise NoSuchTime(f"The year {year} is out of range; years run from {_FIRST_YEAR} to {_LAST_YEAR}")
    if not 1 <= month <= 12:
        raise NoSuchTime(f"There is no month {month}")
    try:
        return date(year, month, day)
    except ValueError:
        name = _MONTHS[month - 1].capitalize()
        most = (date(year + month // 12, month % 12 + 1, 1) - _DAY).day
        when = f"{name} {year} has {most}" if (month, day) == (2, 29) else f"{name} has {most}"
        when += " or 29" if month == 2 and day > 29 else ""
        raise NoSuchTime(f"There is no {day} {name}: {when} days") from None


def _yearless(month: int, day: int, asked: _Asked) -> _Days:
    """The most recent (or, ahead, the next) date of that month and day."""
    if not (month == 2 and day == 29):
        _date(2023, month, day)  # says so when no year has it
    step = 1 if asked.future else -1
    for n in range(9):  # 29 February may be eight years away
        year = asked.today.year + step * n
        try:
            found = date(year, month, day)
        except ValueError:
            continue
        if (found >= asked.today) if asked.future else (found <= asked.today):
            return _Days(found)
    raise NoSuchTime(f"'{asked.said}' lies outside the years this program knows")


def _dated(year: str | None, month: int, day: int, asked: _Asked) -> _Days:
    if year is None:
        return _yearless(month, day, asked)
    full = int(year) + (2000 if len(year) == 2 else 0)
    return _Days(_date(full, month, day), ahead=True)


def _read_today(match: re.Match[str], asked: _Asked) -> _Days | None:
    steps = {"today": 0, "yesterday": -1, "tomorrow": 1, "day before yesterday": -2, "day after tomorrow": 2}
    step = steps.get(match[0])
    return None if step is None else _Days(asked.today + step * _DAY, ahead=step > 0)


def _read_now(_match: re.Match[str], asked: _Asked) -> _Stretch:
    return _Stretch(asked.at, asked.at)


def _read_weekday(match: re.Match[str], asked: _Asked) -> _Days | None:
    wanted = _weekday(match["word"])
    if wanted is None:
        return None
    back = (asked.today.weekday() - wanted) % 7
    if match["which"] == "last":
        return _Days(asked.today - (back or 7) * _DAY)
    if match["which"] == "next":
        return _Days(asked.today + (7 - back) * _DAY, ahead=True)
    step = (7 - back) % 7 if asked.future else -back
    return _Days(asked.today + step * _DAY, weekly=True)


def _read_weekday_date(match: re.Match[str], asked: _Asked) -> _Days | None:
    """Sat 20 Oct: the weekday must fit."""
    wanted = _weekday(match["word"])
    if wanted is None:
        return None
    found = _days(match["rest"], asked)
    if not isinstance(found, _Days) or found.count != 1:
        return None
    real = found.first.weekday()
    if real != wanted:
        raise NoSuchTime(f"'{asked.said}': {found.first} is a {_DAYS[real].capitalize()}")
    return found


def _read_period(match: re.Match[str], asked: _Asked) -> _Days:
    step = {"last": -1, "this": 0, "next": 1}[match["which"]]
    if match["unit"] == "week":
        monday = asked.today - asked.today.weekday() * _DAY
        return _Days(monday + 7 * step * _DAY, 7, 3.5 * _DAY, ahead=step > 0)
    month = 1 if match["unit"] == "year" else asked.today.month
    base = date(asked.today.year, month, 1)
    span = relativedelta(years=1) if match["unit"] == "year" else relativedelta(months=1)
    return _from_to(base + step * span, base + (step + 1) * span, ahead=step > 0)


def _from_to(first: date, last: date, *, ahead: bool = False) -> _Days:
    return _Days(first, (last - first).days, (last - first) / 2, ahead=ahead)


def _amount(text: str) -> float | None:
    return float(text) if text.isdigit() else _NUMBERS.get(text)


def _read_ago(match: re.Match[str], asked: _Asked) -> _Days | _Stretch | None:
    return _shift(match, asked, -1)


def _read_in(match: re.Match[str], asked: _Asked) -> _Days | _Stretch | None:
    return _shift(match, asked, 1)


def _shift(match: re.Match[str], asked: _Asked, sign: int) -> _Days | _Stretch | None:
    n, unit = _amount(match["n"].strip()), _UNITS_OF_TIME.get(match["unit"])
    if n is None or unit is None:
        return None
    if unit == "day" and n == int(n):
        return _Days(asked.today + sign * int(n) * _DAY, ahead=sign > 0)
    if unit in {"month", "year"}:
        whole = relativedelta(months=round(n * (12 if unit == "year" else 1)))
        middle, half = asked.at + sign * whole, (182.5 if unit == "year" else 15) * _DAY
    else:
        one = {
            "minute": _DAY / 1440,
            "hour": _DAY / 24,
            "day": _DAY,
            "week": 7 * _DAY,
            "fortnight": 14 * _DAY,
        }
        middle = asked.at + sign * n * one[unit]
        half = n * one[unit] / 4 if unit == "minute" else one[unit] / 2
    half = min(half, abs(middle - asked.at))  # it never reaches past now
    return _Stretch(middle - half, middle + half, half)


def _read_iso(match: re.Match[str], asked: _Asked) -> _Days:
    return _dated(match["y"], int(match["m"]), int(match["d"]), asked)


def _read_dotted(match: re.Match[str], asked: _Asked) -> _Days:
    return _dated(match["y"], int(match["m"]), int(match["d"]), asked)


def _read_slashed(match: re.Match[str], asked: _Asked) -> _Days:
    a, b, year = int(match["a"]), int(match["b"]), match["y"]
    if not a or not b:
        raise NoSuchTime(f"'{asked.said}': there is no day 0 and no month 0")
    if (a > 12) != (b > 12):
        day, month = max(a, b), min(a, b)
    elif asked.units == "us" or a == b:
        month, day = a, b
    elif a > 12:
        raise NoSuchTime(f"'{asked.said}': there is neither a month {a} nor a month {b}")
    else:
        tail = f" {year}" if year else ""
        first, second = (f"{x} {_MONTHS[y - 1].capitalize()}{tail}" for x, y in ((a, b), (b, a)))
        raise NoSuchTime(f"'{asked.said}' may be {first} or {second}; write it with the month's name")
    return _dated(year, month, day, asked)


def _read_day_month(match: re.Match[str], asked: _Asked) -> _Days | None:
    month = _month(match["word"])
    return None if month is None else _dated(match["y"], month, int(match["d"]), asked)


def _read_year(match: re.Match[str], asked: _Asked) -> _Days:
    year = _date(int(match["y"]), 1, 1)
    return _from_to(year, date(year.year + 1, 1, 1), ahead=True)


def _read_iso_month(match: re.Match[str], asked: _Asked) -> _Days:
    first = _date(int(match["y"] or match["y2"]), int(match["m"] or match["m2"]), 1)
    return _from_to(first, first + relativedelta(months=1), ahead=True)


def _read_month(match: re.Match[str], asked: _Asked) -> _Days | None:
    month = _month(match["word"])
    if month is None:
        return None
    if match["y"]:
        year = int(match["y"])
    else:
        other = month < asked.today.month if asked.future else month > asked.today.month
        year = asked.today.year + (other if asked.future else -other)
    first = _date(year, month, 1)
    last = first + relativedelta(months=1)
    third = match["third"]
    if third in {"early", "beginning of"}:
        last = first + 10 * _DAY
    elif third in {"mid", "middle of"}:
        first, last = first + 10 * _DAY, first + 20 * _DAY
    elif third:
        first += 20 * _DAY
    if match["y"] is None and not asked.future and first > asked.today:  # "end of" a month, not yet begun
        first, last = first - relativedelta(years=1), last - relativedelta(years=1)
    elif match["y"] is None and asked.future and last <= asked.today:
        first, last = first + relativedelta(years=1), last + relativedelta(years=1)
    return _from_to(first, last, ahead=bool(match["y"]))


_READERS: tuple[tuple[re.Pattern[str], _Read], ...] = (
    (re.compile(r"(?:just |right )?now"), _read_now),
    (re.compile(r"[a-z ]+"), _read_today),
    (_PERIOD, _read_period),
    (_WEEKDAY, _read_weekday),
    (_AGO, _read_ago),
    (_IN, _read_in),
    (_ISO_DATE, _read_iso),
    (_ISO_MONTH, _read_iso_month),
    (_DOTTED, _read_dotted),
    (_SLASHED, _read_slashed),
    (re.compile(_YEAR), _read_year),
    (_DAY_MONTH, _read_day_month),
    (_MONTH_DAY, _read_day_month),
    (_WEEKDAY_DATE, _read_weekday_date),
    (_MONTH_ONLY, _read_month),
)
