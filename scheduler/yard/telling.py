"""Short plain words for what was noted: times, sizes, names of ends, single entries."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo

from scheduler.settings import words_of
from scheduler.units import show_date
from scheduler.yard.entries import Entry
from scheduler.yard.facts import Moment

__all__ = ["Voice", "and_list", "describe", "describe_all", "metric_size", "pail_name", "seen_words"]

PAIL = "pail"  # what a pail is called that nobody gave a name


def metric_size(cm: float) -> str:
    """ "56 cm", "2.44 m"."""
    return f"{cm / 100:.2f} m" if cm >= 100 else f"{cm:g} cm"


def _clock(time: datetime) -> str:
    return f"{time.hour}:{time.minute:02d}"


def _same(text: str) -> str:
    return text


@dataclass(frozen=True, slots=True)
class Voice:
    """How this yard says times, sizes and sentences; the edge sets zone, units, clock form and language.

    Parameters
    ----------
    words
        Templates by key, as config/words/ has them.
    date
        Writes a day by a Unicode date pattern.
    number
        Gives the numbers of a text the decimal sign of the language.
    told
        A text that is kept in English, in the language where that is known.
    """

    zone: tzinfo = UTC
    size: Callable[[float], str] = metric_size
    clock: Callable[[datetime], str] = _clock
    words: Mapping[str, str] = field(default_factory=lambda: words_of("en"))
    date: Callable[[datetime, str], str] = show_date
    number: Callable[[str], str] = _same
    told: Callable[[str], str] = _same

    def say(self, key: str, **values: object) -> str:
        """The text of a key with its values in place."""
        return self.words[key].format(**values)

    def named(self, key: str, said: str) -> str:
        """The word of a key; what has none was written by a person and stays as it is."""
        return self.words.get(key.replace(" ", "_"), said)

    def end(self, name: str) -> str:
        """Name of an end: the usual two in the language, any other as it was given."""
        return self.words.get(f"end.{name}", name)

    def ends(self, names: Iterable[str]) -> str:
        """Names of ends: "butt", "butt and top"."""
        return self.all_of(self.end(name) for name in names)

    def all_of(self, words: Iterable[str]) -> str:
        """ "a", "a and b", "a, b and c"."""
        listed = list(words)
        if len(listed) < 2:
            return "".join(listed)
        return self.say("word.and", some=", ".join(listed[:-1]), last=listed[-1])

    def when(self, moment: Moment, at: datetime) -> str:
        """ "today 9:40", "Sat 1 Nov", "about 16 Oct": no finer than it was meant."""
        local, now = moment.time.astimezone(self.zone), at.astimezone(self.zone)
        days = (now.date() - local.date()).days
        near = {0: "time.today", 1: "time.yesterday", -1: "time.tomorrow"}.get(days)
        if near is not None:
            day = self.words[near]
        elif abs(days) > 270:
            day = self._day(local, "date.month_day_year")
        else:
            rough = abs(days) > 27 or moment.half > timedelta(days=1)
            day = self._day(local, "date.month_day" if rough else "date.day_far")
        if moment.half > timedelta(hours=18):
            return self.say("answer.about_day", day=day)
        if moment.half >= timedelta(hours=2):
            return day
        return self.say("time.day_clock", day=day, clock=self.clock(local))

    def _day(self, local: datetime, key: str) -> str:
        return self.date(local, self.words[key])


def and_list(words: Iterable[str]) -> str:
    """ "butt", "butt and top", "a, b and c"."""
    listed = list(words)
    if len(listed) < 2:
        return "".join(listed)
    return f"{', '.join(listed[:-1])} and {listed[-1]}"


# ------------------------------------------------------------------ entries


def describe(entry: Entry, voice: Voice | None = None) -> str:
    """An entry in a few words, without its time: "coat on H01 butt and top"."""
    voice = voice or Voice()
    where = f"{entry.tag or ''} {voice.ends(entry.ends)}".strip()
    teller = _TOLD.get(entry.kind)
    if teller is not None:
        return teller(entry, where, voice)
    return voice.say(f"answer.act.{entry.kind}", tag=entry.tag or "")


def _new_log(entry: Entry, _where: str, voice: Voice) -> str:
    wood = entry.data.get("species_said") or entry.data.get("species")
    return voice.say("answer.new_log", tag=entry.tag or "", wood=wood or voice.words["log.no_wood"])


def _cut(entry: Entry, where: str, voice: Voice) -> str:
    data = entry.data
    if "size_cm" in data:
        told = voice.say("answer.cut_of", size=voice.size(data["size_cm"]), where=where)
    else:
        told = voice.say("answer.cut", where=where)
    found = data.get("found")
    return told if found is None else f"{told}, {voice.named(f'ends.found.{found}', found)}"


def _coat(entry: Entry, where: str, voice: Voice) -> str:
    data = entry.data
    if data.get("part"):
        return voice.say("answer.part_coat", where=where)
    return voice.say("answer.second_coat" if data.get("second") else "answer.coat", where=where)


def _look(entry: Entry, where: str, voice: Voice) -> str:
    return voice.say("answer.look", where=where, seen=seen_words(entry, voice))


def seen_words(entry: Entry, voice: Voice) -> str:
    """What a look saw: "milky", "checks open"."""
    seen = entry.data["seen"]
    if seen != "checks":
        return voice.named(f"ends.seen.{seen}", seen)
    checks = entry.data["checks"]
    return voice.say("answer.seen_checks", checks=voice.named(f"ends.checks.{checks}", checks))


def _moved(entry: Entry, _where: str, voice: Voice) -> str:
    place = entry.data.get("place") or voice.words["answer.open_yard"]
    return voice.say("answer.moved", tag=entry.tag or "", place=place)


def _divided(entry: Entry, _where: str, voice: Voice) -> str:
    size, pieces = voice.size(entry.data["size_cm"]), voice.all_of(entry.data["children"])
    return voice.say("answer.divided", tag=entry.tag or "", size=size, pieces=pieces)


def _sawn(entry: Entry, _where: str, voice: Voice) -> str:
    if "into" in entry.data:
        return voice.say("answer.sawn_into", tag=entry.tag or "", count=entry.data["into"])
    return voice.say("answer.sawn", tag=entry.tag or "")


def _gone(entry: Entry, _where: str, voice: Voice) -> str:
    why = entry.data.get("why")
    told = voice.say("answer.gone", tag=entry.tag or "")
    return told if why is None else f"{told} ({voice.named(f'log.gone_why.{why}', why)})"


def _seen(entry: Entry, _where: str, voice: Voice) -> str:
    what, value = entry.data["what"], entry.data["value"]
    if what == "min":
        return voice.say("answer.coldest", temperature=voice.number(f"{value:g} °C"))
    return voice.words[f"answer.night.{what}" if value else f"answer.night.no_{what}"]


def _corrected(entry: Entry, _where: str, voice: Voice) -> str:
    key = "answer.dropping" if entry.data["drop"] else "answer.new_time"
    return voice.say(key, number=entry.data["of"])


def _undone(entry: Entry, _where: str, voice: Voice) -> str:
    return voice.say("answer.undo_of", numbers=voice.all_of(str(number) for number in entry.data["of"]))


def _word(entry: Entry, _where: str, voice: Voice) -> str:
    wood = entry.data.get("botanical") or voice.words["answer.no_wood"]
    return voice.say("answer.word_means", said=entry.data["said"], wood=wood)


def _stock(entry: Entry, _where: str, voice: Voice) -> str:
    return voice.say("answer.stock_of", name=pail_name(entry.data["name"], voice))


def pail_name(name: str, voice: Voice) -> str:
    """The name that the yard gave a pail, else the word for one."""
    return voice.words["answer.pail"] if name == PAIL else name


def _away(entry: Entry, _where: str, voice: Voice) -> str:
    return voice.words["answer.away" if "until" in entry.data else "answer.back"]


_TOLD: Mapping[str, Callable[[Entry, str, Voice], str]] = {
    "add": _new_log,
    "cut": _cut,
    "coat": _coat,
    "look": _look,
    "move": _moved,
    "divide": _divided,
    "saw": _sawn,
    "gone": _gone,
    "seen": _seen,
    "correct": _corrected,
    "undo": _undone,
    "word": _word,
    "pail": _stock,
    "away": _away,
}


def describe_all(entries: Sequence[Entry], voice: Voice | None = None) -> str:
    """The entries of one command in a few words: "coat on H01 butt and top, H03 butt"."""
    voice = voice or Voice()
    first, *others = [describe(entry, voice) for entry in entries]
    if not others:
        return voice.say("answer.one_entry", what=first, number=entries[0].number)
    tags = [str(entry.tag) for entry in entries if entry.kind == "add"]
    if len(tags) > 1:
        what = voice.say("answer.new_logs", count=len(tags), first=tags[0], last=tags[-1])
    elif tags:
        what = first
    else:
        more = voice.say("answer.and_more", count=len(others) - 4) if len(others) > 4 else ""
        what = f"{first}, {', '.join(others[:4])}{more}"
    return voice.say("answer.entries", what=what, first=entries[0].number, last=entries[-1].number)
