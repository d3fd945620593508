"""How the program speaks: times, chances, values and jobs in the person's own units, zone and words."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from math import floor, log10
from zoneinfo import ZoneInfo

from scheduler.planning.jobs import Job
from scheduler.planning.verdict import Reason, TimedSpan, TimedStop
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
from scheduler.views.custom import clock_form, date_text, number_text
from scheduler.views.words import Words, words_in
from scheduler.wood.species import show_name
from scheduler.yard.facts import Log

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

_ENGLISH = words_in("en")


def _section(name: str) -> dict[str, str]:
    """A section of the English words, for views that speak English only."""
    return {
        key.removeprefix(f"{name}."): text for key, text in _ENGLISH.items() if key.startswith(f"{name}.")
    }


NO_PROMISE = _ENGLISH["chance.no_promise"]
VERDICT_WORDS = _section("verdict")
STATE_WORDS = _section("state")
JOB_WORDS = _section("job")


def chance_words(chance: float) -> str:
    """ "about 9 in 10": whole tenths, never below 1 and never above 9."""
    return _ENGLISH.say("chance.about", tenths=_tenths(chance))


def _tenths(chance: float) -> int:
    return min(max(round(chance * 10), 1), 9)


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


def _sure(span: TimedSpan) -> tuple[datetime, datetime]:
    """The starts with a plain yes, else all of the span."""
    if span.sure_from is not None and span.sure_until is not None and span.sure_until > span.sure_from:
        return span.sure_from, span.sure_until
    return span.start, span.end


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
        near = {0: "time.today", 1: "time.tomorrow", -1: "time.yesterday"}.get(days)
        if near:
            return self.words[near]
        return self._date("date.day_far" if abs(days) > 6 else "date.day", when)

    def _date(self, key: str, when: datetime) -> str:
        """A day by a pattern of the language; where US units have one of their own, by that."""
        words = self.words
        pattern = words[f"{key}_us"] if self.units == "us" and f"{key}_us" in words else words[key]
        return date_text(self.local(when), pattern, words.language)

    def long_day(self, when: datetime) -> str:
        """ "Tuesday 4 November 2025"."""
        return self._date("date.long", when)

    def weekday_number(self, when: datetime) -> str:
        """ "Tue 4"."""
        return self._date("date.day", when)

    def dated(self, when: datetime) -> str:
        """ "Tue 4 Nov 6:00": said the same whenever it is read."""
        return self.words.say("time.day_clock", day=self._date("date.dated", when), clock=self.clock(when))

    def month_year(self, when: datetime) -> str:
        """ "Nov 2025"."""
        return self._date("date.month_year", when)

    def month_day(self, when: datetime) -> str:
        """ "12 May", with the year where it is not this one's or the next months'."""
        near = abs((self.local(when) - self.local(self.at)).days) < 300
        return self._date("date.month_day" if near else "date.month_day_year", when)

    def civil(self, day: date, key: str = "date.month_day") -> str:
        """ "12 May": a day by a pattern of the language, with a year only where the pattern has one."""
        return self._date(key, datetime.combine(day, time(12), self.zone))

    def clock(self, when: datetime) -> str:
        """Clock time, rounded to five minutes."""
        return self._clock(self._five(when))

    def _clock(self, local: datetime) -> str:
        form = clock_form(self.units, self.words.language)
        return self.words.say("time.clock", clock=show_clock(local, form))

    def _five(self, when: datetime) -> datetime:
        """The time on the yard's clock, rounded to five minutes."""
        past = (when.timestamp() + 150) // 300 * 300
        return datetime.fromtimestamp(past, self.zone)

    def half_hour(self, when: datetime) -> str:
        """Clock time rounded up to the next half hour: milestones are not known better."""
        return self._clock(self._half(when))

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
        if half.date() == day:
            return self.half_hour(when)
        weekday = self._date("date.weekday", half)
        return self.words.say("time.day_clock", day=weekday, clock=self._clock(half))

    def when(self, moment: datetime) -> str:
        """ "today 9:40", "Sat 14:00", "Mon 10 Nov 14:00" when farther than a week."""
        return self.words.say("time.day_clock", day=self._weekday(moment), clock=self.clock(moment))

    def at_time(self, moment: datetime) -> str:
        """ "at 21:30", "tomorrow at 3:00", "Sat at 7:00": the day where it is not today's."""
        clock = self.clock(moment)
        if self._five(moment).date() == self.day_of(self.at):
            return self.words.say("time.at", clock=clock)
        return self.words.say("time.day_at", day=self._weekday(moment), clock=clock)

    def _weekday(self, moment: datetime) -> str:
        """The day beside a clock time: no number where the weekday says enough, so that no two meet."""
        local = self._five(moment)
        days = abs((local.date() - self.day_of(self.at)).days)
        return self._date("date.weekday", local) if 2 <= days <= 6 else self.day(local)

    def milestones(self, span: TimedSpan) -> list[str]:
        """ "dry to touch by 14:00", "takes rain by Wed 10:30", in the order of time.

        The day is said where it is not the day of the brush.
        """
        s = span.milestones
        known = [
            ("stone.touch_dry", s.touch_dry),
            ("stone.frost_safe", s.frost_safe),
            ("stone.rain_safe", s.rain_safe),
            ("stone.dry", s.dry),
        ]
        rows = sorted(((when, key) for key, when in known if when is not None), key=lambda row: row[0])
        day = self.day_of(span.best)
        return [self._stone(key, when, day) for when, key in rows]

    def _stone(self, key: str, when: datetime, day: date) -> str:
        time = self.half_hour(when) if self.day_of(self._half(when)) == day else self.by(when)
        return self.words.say("stone.by", what=self.words[key], time=time)

    def span(self, start: datetime, end: datetime) -> str:
        """ "9 to 13", "10 to 11:30"; in US form "9 to 1"; "at 15:45" where both are the same."""
        return self._stretch("time.span", start, end)

    def _stretch(self, key: str, start: datetime, end: datetime) -> str:
        form = clock_form(self.units, self.words.language)
        a, b = (show_clock(self.local(when), form, short=True) for when in (start, end))
        if self.local(start) == self.local(end):
            return self.words.say("time.moment", clock=a)
        return self.words.say(key, start=a, end=b)

    def brush(self, span: TimedSpan) -> str:
        """The hours in which the brush may touch wood with a plain yes, else all of the span."""
        return self.span(*_sure(span))

    def between(self, span: TimedSpan) -> str:
        """The same hours as "between 9 and 13"."""
        return self._stretch("time.between", *_sure(span))

    def value(self, value: float | None, unit: str) -> str:
        """A number of a rule in the person's units."""
        return self._number(self._value(value, unit))

    def number(self, text: str) -> str:
        """A text with the decimal sign of the language in its numbers."""
        return self._number(text)

    def _number(self, text: str) -> str:
        return number_text(text, self.words.language)

    def _value(self, value: float | None, unit: str) -> str:
        if value is None:
            return self.words["word.unknown"]
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
        part, text = ("says", reason.says) if broken else ("holds", reason.holds)
        return self.words.rule(reason.rule, part, text).format(
            value=self.value(reason.value if broken else reason.typical, reason.unit),
            limit=self.value(reason.limit, reason.unit),
            unit=reason.unit,
            at=self.words["time.unknown"] if reason.at is None else self.at_time(reason.at),
        )

    def wood(self, species: Species | None, said: str = "") -> str:
        """Name of a wood: what the person calls it, else the table's."""
        language = self.language.partition("-")[0]
        return said or (show_name(species, language) if species else self.words["word.wood"])

    def tagged(self, tag: str, log: Log | None, species: Mapping[str, Species]) -> str:
        """ "H01 wild cherry": a log's tag and its wood, by the table's name or the person's own word."""
        if log is None:
            return f"{tag} {self.wood(None)}"
        said = log.species_said if log.species is None else ""
        return f"{tag} {self.wood(species.get(log.species or ''), said)}"

    def end(self, name: str) -> str:
        """Name of an end: the usual two in the language, any other as it was given."""
        return self.words.get(f"end.{name}", name)

    def join(self, words: Sequence[str]) -> str:
        """ "a", "a and b", "a, b and c"."""
        if len(words) < 2:
            return "".join(words)
        return self.words.say("word.and", some=", ".join(words[:-1]), last=words[-1])

    def chance(self, chance: float) -> str:
        """ "about 9 in 10": whole tenths, never below 1 and never above 9."""
        return self.words.say("chance.about", tenths=_tenths(chance))

    def short(self, cause: Reason | TimedStop) -> str:
        """A few words for what stops the coat."""
        return self.words.rule(cause.rule, "short", cause.short)

    def job(self, job: Job, ends: Sequence[str] = ()) -> str:
        """What to do, at which ends, in words."""
        words = self.words[f"job.{job.kind}"]
        if ends:
            words = self.words.say(
                "word.at_ends", job=words, ends=self.join([self.end(name) for name in ends])
            )
        return self.words.say("word.by_two", job=words) if job.people > 1 else words

    def litres(self, litres: float) -> str:
        """A volume."""
        return self._number(show_volume(litres, self.units))

    def length(self, cm: float) -> str:
        """A length."""
        return self._number(show_length(cm, self.units))

    def about_length(self, cm: float) -> str:
        """A loss: two significant figures at most, half inches in US units."""
        if self.units == "us":
            inches = round(cm / 2.54 * 2) / 2
            return self._number(f"{inches:g} in")
        return self._number(f"{cm:.1f} cm" if cm < 1.95 else f"{cm:.0f} cm")

    def weight(self, kg: float) -> str:
        """A weight of green wood: two significant figures, pounds in US units."""
        value = kg * 2.20462 if self.units == "us" else kg
        rounded = round(value, 1 - floor(log10(value))) if value >= 1 else 1.0
        return f"{rounded:.0f} {'lb' if self.units == 'us' else 'kg'}"

    def money(self, amount: float, currency: str | None) -> str:
        """Two significant figures, never cents; no sign where the yard named no currency."""
        if amount < 0.95:
            text = self.words["word.under_one"] if amount >= 0.05 else "0"
        else:
            text = f"{round(amount, 1 - floor(log10(amount))):.0f}"
        return f"{text} {currency}" if currency else text

    def temperature(self, c: float) -> str:
        """A temperature."""
        return self._number(show_temperature(c, self.units))

    def whole(self, c: float) -> str:
        """A temperature to the whole degree, with its sign: "+5", "-2"; °F in US units.

        Around freezing, where it decides something, to the tenth: "+0.5".
        """
        near = abs(c) < 0.95
        if self.units == "metric":
            tenths = f"{c:+.1f}" if near else f"{c:+.0f}"
            return "0" if tenths in ("+0.0", "-0.0") else self._number(tenths)
        return self._number(f"{c * 1.8 + 32:.{int(near)}f}")
