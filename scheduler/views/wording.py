"""How the program speaks: times, chances, values and jobs in the person's own units, zone and words."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import floor, log10
from zoneinfo import ZoneInfo

from scheduler.planning.jobs import Job
from scheduler.planning.verdict import Reason, TimedSpan, VerdictWord
from scheduler.settings import Species
from scheduler.units import (
    Units,
    show_clock,
    show_length,
    show_rain,
    show_speed,
    show_temperature,
    show_volume,
)
from scheduler.views.words import Words, words_in
from scheduler.wood.species import show_name

__all__ = [
    "JOB_WORDS",
    "NO_PROMISE",
    "STATE_WORDS",
    "VERDICT_WORDS",
    "Wording",
    "chance_words",
    "first_upper",
    "join",
    "wrapped",
]

NO_PROMISE = "beyond what a forecast can promise: plan on it, don't count on it"
VERDICT_WORDS: dict[VerdictWord, str] = {
    "seal": "Seal",
    "touch_and_go": "Touch and go",
    "prepare": "Prepare",
    "leave_it": "Leave it",
    "unknown": "Unknown",
}
STATE_WORDS = {
    "bare": "bare",
    "opened": "cracked",
    "wet": "milky",
    "coated": "one coat",
    "sealed": "sealed",
    "spoiled": "spoiled",
}
JOB_WORDS = {
    "cut_and_coat": "cut back to clean wood, coat at once",
    "first_coat": "coat",
    "touch_up": "touch up",
    "second_coat": "second coat",
    "look": "look",
    "saw": "saw, don't coat",
    "saw_by": "saw soon",
}


def chance_words(chance: float) -> str:
    """ "about 9 in 10": whole tenths, never below 1 and never above 9."""
    return f"about {min(max(round(chance * 10), 1), 9)} in 10"


def first_upper(text: str) -> str:
    """The text with its first letter large and nothing else changed."""
    return text[:1].upper() + text[1:]


def wrapped(lines: Iterable[str], width: int = 78) -> list[str]:
    """Lines laid out for a narrow screen: what goes on hangs two columns deeper."""
    out: list[str] = []
    for line in lines:
        lead = len(line) - len(line.lstrip())
        hang = " " * (lead + 2 if lead else 0)
        out += textwrap.wrap(line, width, subsequent_indent=hang, break_on_hyphens=False) or [""]
    return out


def join(words: list[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}" if words else ""


@dataclass(frozen=True, slots=True)
class Wording:
    """A person's zone, units and language, and the clock by which "today" is meant."""

    zone: ZoneInfo
    units: Units
    at: datetime
    language: str = "en"

    @property
    def words(self) -> Words:
        """The words of the yard's language."""
        return words_in(self.language)

    def local(self, when: datetime) -> datetime:
        """The time on the yard's clock."""
        return when.astimezone(self.zone)

    def day_of(self, when: datetime) -> date:
        """The civil day in the yard."""
        return self.local(when).date()

    def day(self, when: datetime) -> str:
        """ "today", "tomorrow", "Wed 10", "Wed 10 Dec" when farther than a week."""
        days = (self.day_of(when) - self.day_of(self.at)).days
        near = {0: "today", 1: "tomorrow", -1: "yesterday"}.get(days)
        if near:
            return near
        local = self.local(when)
        return f"{local:%a} {local.day}" + (f" {local:%b}" if abs(days) > 6 else "")

    def long_day(self, when: datetime) -> str:
        """ "Tuesday 4 November 2025"."""
        local = self.local(when)
        if self.units == "us":
            return f"{local:%A}, {local:%B} {local.day}, {local.year}"
        return f"{local:%A} {local.day} {local:%B} {local.year}"

    def weekday_number(self, when: datetime) -> str:
        """ "Tue 4"."""
        local = self.local(when)
        return f"{local:%a} {local.day}"

    def dated(self, when: datetime) -> str:
        """ "Tue 4 Nov 6:00": said the same whenever it is read."""
        local = self.local(when)
        month = f"{local:%b} {local.day}" if self.units == "us" else f"{local.day} {local:%b}"
        return f"{local:%a} {month} {self.clock(when)}"

    def month_year(self, when: datetime) -> str:
        """ "Nov 2025"."""
        return f"{self.local(when):%b %Y}"

    def month_day(self, when: datetime) -> str:
        """ "12 May", with the year where it is not this one's or the next months'."""
        local = self.local(when)
        name = f"{local:%b} {local.day}" if self.units == "us" else f"{local.day} {local:%b}"
        return name if abs((local - self.local(self.at)).days) < 300 else f"{name} {local.year}"

    def clock(self, when: datetime) -> str:
        """Clock time, rounded to five minutes."""
        return show_clock(self._five(when), self.units)

    def _five(self, when: datetime) -> datetime:
        """The time on the yard's clock, rounded to five minutes."""
        past = (when.timestamp() + 150) // 300 * 300
        return datetime.fromtimestamp(past, self.zone)

    def half_hour(self, when: datetime) -> str:
        """Clock time rounded up to the next half hour: milestones are not known better."""
        local = self._half(when)
        return show_clock(local, self.units)

    def _half(self, when: datetime) -> datetime:
        rest = when.timestamp() % 1800
        return self.local(when + timedelta(seconds=(1800 - rest) % 1800))

    def by(self, when: datetime) -> str:
        """ "20:00", "Wed 10:30", "tomorrow 7 am": half hours, the day where it is not today's."""
        half = self._half(when)
        return self.half_hour(when) if self.day_of(half) == self.day_of(self.at) else self.when(half)

    def by_on(self, when: datetime, day: date) -> str:
        """As ``by``, in a line that is about ``day`` already: "18:30", "Sun 16:30"."""
        half = self._half(when)
        return self.half_hour(when) if half.date() == day else f"{half:%a} {show_clock(half, self.units)}"

    def when(self, moment: datetime) -> str:
        """ "today 9:40", "Sat 14:00", "Mon 10 Nov 14:00" when farther than a week."""
        return f"{self._weekday(moment)} {self.clock(moment)}"

    def at_time(self, moment: datetime) -> str:
        """ "at 21:30", "tomorrow at 3:00", "Sat at 7:00": the day where it is not today's."""
        day = self._weekday(moment)
        return f"at {self.clock(moment)}" if day == "today" else f"{day} at {self.clock(moment)}"

    def _weekday(self, moment: datetime) -> str:
        """The day beside a clock time: no number where the weekday says enough, so that no two meet."""
        local = self._five(moment)
        days = abs((local.date() - self.day_of(self.at)).days)
        return f"{local:%a}" if 2 <= days <= 6 else self.day(local)

    def milestones(self, span: TimedSpan) -> list[str]:
        """ "dry to touch by 14:00", "takes rain by Wed 10:30", in the order of time.

        The day is said where it is not the day of the brush.
        """
        s = span.milestones
        known = [
            ("dry to touch", s.touch_dry),
            ("past frost", s.frost_safe),
            ("takes rain", s.rain_safe),
            ("dry through", s.dry),
        ]
        rows = sorted(((when, words) for words, when in known if when is not None), key=lambda row: row[0])
        day = self.day_of(span.best)
        return [
            f"{words} by {self.half_hour(when) if self.day_of(self._half(when)) == day else self.by(when)}"
            for when, words in rows
        ]

    def span(self, start: datetime, end: datetime) -> str:
        """ "9 to 13", "10 to 11:30"; in US form "9 to 1"; "at 15:45" where both are the same."""
        a, b = self.local(start), self.local(end)
        if a == b:
            return f"at {show_clock(a, self.units, short=True)}"
        return f"{show_clock(a, self.units, short=True)} to {show_clock(b, self.units, short=True)}"

    def brush(self, span: TimedSpan) -> str:
        """The hours in which the brush may touch wood with a plain yes, else all of the span."""
        if span.sure_from is not None and span.sure_until is not None and span.sure_until > span.sure_from:
            return self.span(span.sure_from, span.sure_until)
        return self.span(span.start, span.end)

    def value(self, value: float | None, unit: str) -> str:
        """A number of a rule in the person's units."""
        if value is None:
            return "unknown"
        if unit == "°C":
            return show_temperature(value, self.units)
        if unit == "K":
            # A difference is told as a size; which of the two is colder stands in the sentence.
            size = abs(value)
            return f"{size:.1f} °C" if self.units == "metric" else f"{size * 1.8:.1f} °F"
        if unit == "mm":
            return show_rain(value, self.units)
        if unit == "m/s":
            return show_speed(value, self.units)
        if unit == "h":
            return f"{value:.0f} h"
        if unit == "min":
            return f"{value / 60:.0f} h" if value >= 90 else f"{value:.0f} min"
        if unit == "%":
            return f"{value:.0f} %"
        return f"{value:g}"

    def reason(self, reason: Reason, *, broken: bool | None = None) -> str:
        """A rule's sentence with its numbers in place."""
        broken = reason.outcome == "break" if broken is None else broken
        template = reason.says if broken else reason.holds
        return template.format(
            value=self.value(reason.value if broken else reason.typical, reason.unit),
            limit=self.value(reason.limit, reason.unit),
            unit=reason.unit,
            at="at an hour not known" if reason.at is None else self.at_time(reason.at),
        )

    def wood(self, species: Species | None, said: str = "") -> str:
        """Name of a wood: what the person calls it, else the table's."""
        return said or (show_name(species, self.language) if species else "wood")

    def job(self, job: Job, ends: Sequence[str] = ()) -> str:
        """What to do, at which ends, in words."""
        words = ", ".join([JOB_WORDS[job.kind], join(list(ends))] if ends else [JOB_WORDS[job.kind]])
        return words + (" (two people)" if job.people > 1 else "")

    def litres(self, litres: float) -> str:
        """A volume."""
        return show_volume(litres, self.units)

    def length(self, cm: float) -> str:
        """A length."""
        return show_length(cm, self.units)

    def about_length(self, cm: float) -> str:
        """A loss: two significant figures at most, half inches in US units."""
        if self.units == "us":
            inches = round(cm / 2.54 * 2) / 2
            return f"{inches:g} in"
        return f"{cm:.1f} cm" if cm < 1.95 else f"{cm:.0f} cm"

    def weight(self, kg: float) -> str:
        """A weight of green wood: two significant figures, pounds in US units."""
        value = kg * 2.20462 if self.units == "us" else kg
        rounded = round(value, 1 - floor(log10(value))) if value >= 1 else 1.0
        return f"{rounded:.0f} {'lb' if self.units == 'us' else 'kg'}"

    def money(self, amount: float, currency: str | None) -> str:
        """Two significant figures, never cents; no sign where the yard named no currency."""
        if amount < 0.95:
            text = "under 1" if amount >= 0.05 else "0"
        else:
            text = f"{round(amount, 1 - floor(log10(amount))):.0f}"
        return f"{text} {currency}" if currency else text

    def temperature(self, c: float) -> str:
        """A temperature."""
        return show_temperature(c, self.units)

    def whole(self, c: float) -> str:
        """A temperature to the whole degree, with its sign: "+5", "-2"; °F in US units.

        Around freezing, where it decides something, to the tenth: "+0.5".
        """
        near = abs(c) < 0.95
        if self.units == "metric":
            tenths = f"{c:+.1f}" if near else f"{c:+.0f}"
            return "0" if tenths in ("+0.0", "-0.0") else tenths
        return f"{c * 1.8 + 32:.{int(near)}f}"
