"""Facts of the yard as a whole: ``seen``, ``pail``, ``away``."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from scheduler.commands.book import answer, by_of, iso, moment_of, places_of, record, voice_of
from scheduler.commands.common import (
    AtOption,
    Fail,
    ForecastOption,
    IssuedOption,
    JsonOption,
    Session,
    YardOption,
    print_json,
    say,
    session,
)
from scheduler.units import (
    UnitError,
    parse_temperature,
    parse_volume,
    show_temperature,
    show_volume,
)

if TYPE_CHECKING:
    from scheduler.yard.book import Written
    from scheduler.yard.entries import Entry
    from scheduler.yard.facts import Moment, Pail, Register

__all__ = ["away", "away_told", "pail", "seen", "seen_told"]

NIGHT = timedelta(hours=8)  # either side of midnight
YES = {"yes": True, "y": True, "true": True, "no": False, "n": False, "none": False, "false": False}
BACK = ("back", "over", "off", "no", "end")


# ------------------------------------------------------------------ seen


def seen(
    what: Annotated[str, typer.Argument(metavar="frost|rain|min|file", help="What was seen last night.")],
    value: Annotated[list[str] | None, typer.Argument(metavar="yes|no|TEMPERATURE|FILE")] = None,
    yard: YardOption = None,
    at: AtOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tell what the yard saw last night: seen frost yes, seen rain no, seen min -3, seen file SENSOR.csv."""
    here = session(yard, at)
    if what.casefold() == "file":
        answer(here, _seen_file(here, value or []), as_json)
        return
    answer(here, seen_told(here, what, " ".join(value or ()).strip()), as_json)


def seen_told(here: Session, what: str, value: str) -> Written:
    """Write what the yard saw last night: frost or rain yes or no, the lowest as a temperature."""
    from scheduler.yard import book
    from scheduler.yard.book import Written

    told = _seen(here, what.casefold(), value)
    night, by = _last_night(here), by_of(here)
    written = record(here, lambda register, _: book.seen(what.casefold(), told, register, by, night=night))
    morning = here.at.astimezone(here.yard.zone)
    voice = voice_of(here)
    if isinstance(told, bool):
        shown = voice.words[f"answer.seen.{'' if told else 'no_'}{what.casefold()}"]
    else:
        coldest = voice.number(show_temperature(told, here.yard.yard.units))
        shown = voice.say("answer.pail_coldest", temperature=coldest)
    day = voice.date(morning, voice.words["date.day_far"])
    return Written(written.entries, voice.say("answer.night_to", what=shown, day=day), plain=True)


def _seen(here: Session, what: str, value: str) -> bool | float:
    if what not in ("frost", "rain", "min"):
        near = difflib.get_close_matches(what, ("frost", "rain", "min", "file"), 1)
        hint = f"did you mean {near[0]}?" if near else "there are frost, rain, min and file"
        raise Fail(f"seen {what}: {hint}")
    if what == "min":
        if not value:
            raise Fail("seen min: how cold was it? Write for example: coatcast seen min -3")
        try:
            return parse_temperature(value, here.yard.yard.units)
        except UnitError as error:
            raise Fail(f"seen min: {error}") from None
    if value.casefold() not in YES:
        raise Fail(f"seen {what}{' ' + value if value else ''}: say yes or no")
    return YES[value.casefold()]


def _seen_file(here: Session, words: list[str]) -> Written:
    """The nights in a logger's file or a station's reports, written as one command."""
    from scheduler.settings import learning
    from scheduler.weather.sensor import nights_read, read_sensor
    from scheduler.weather.series import WeatherError
    from scheduler.yard import book
    from scheduler.yard.book import Written

    if len(words) != 1:
        raise Fail("seen file: name one file, such as: coatcast seen file sensor.csv")
    file = Path(words[0]).expanduser()
    try:
        readings = read_sensor(file.read_bytes(), here.yard.zone)
    except FileNotFoundError:
        raise Fail(f"seen file: there is no file {file}") from None
    except (OSError, WeatherError) as error:
        raise Fail(f"{file}: {error}") from None
    if readings and readings[-1].time > here.at + timedelta(hours=1):
        raise Fail(f"{file}: its last reading ({readings[-1].time:%Y-%m-%d %H:%M} UTC) lies in the future.")
    hours = learning()["offset"]
    nights = nights_read(readings, here.yard.zone, evening=hours["evening"], morning=hours["morning"])
    if not nights:
        raise Fail(
            f"{file}: no night is read throughout, from {hours['evening']:.0f} to {hours['morning']:.0f} h"
            " with a reading at least every two hours."
        )
    told: list[tuple[Moment, str, bool | float]] = []
    for night in nights:
        moment = _night_to(here, night.morning, "night read from a file")
        told.append((moment, "min", night.low_c))
        if night.rain is not None:
            told.append((moment, "rain", night.rain))
    by, had = by_of(here), 0

    def act(register: Register, _: tuple[Entry, ...]) -> Written:
        nonlocal had
        written, had = book.seen_nights(told, register, by, voice=voice_of(here))
        return written

    written = record(here, act)
    kept = f" {voice_of(here).say('answer.told_before', count=had)}" if had else ""
    return Written(written.entries, written.said + kept)


def _last_night(here: Session) -> Moment:
    """The night before this day, whatever the hour it is told at: so that told again it is the same night."""

    return _night_to(here, here.at.astimezone(here.yard.zone).date(), "last night")


def _night_to(here: Session, morning: date, said: str) -> Moment:
    """The night that ends on a morning, by its midnight."""
    from scheduler.yard.facts import Moment

    midnight = datetime.combine(morning, time(0), here.yard.zone)
    return Moment(midnight.astimezone(UTC), NIGHT, said)


# ------------------------------------------------------------------ pail


def pail(
    stock: Annotated[
        list[str] | None,
        typer.Argument(metavar="[STOCK]", help="3.6 L, or full, half, quarter, scrapings, empty."),
    ] = None,
    opened: Annotated[
        str | None, typer.Option("--opened", metavar="DATE", help="When it was opened.")
    ] = None,
    where: Annotated[str | None, typer.Option("--where", metavar="PLACE", help="Where it stands.")] = None,
    coldest: Annotated[
        str | None, typer.Option("--coldest", metavar="TEMP", help="Coldest night it has met.")
    ] = None,
    name: Annotated[str | None, typer.Option("--name", help="Where there is more than one pail.")] = None,
    yard: YardOption = None,
    at: AtOption = None,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tell what is known of the pail; alone: what is in it, what the work needs, frost and warming."""
    from scheduler.yard import book
    from scheduler.yard.book import Written

    here = session(yard, at)
    text = " ".join(stock or ()).strip()
    if not text and opened is None and where is None and coldest is None:
        _show_pails(here, forecast, issued, as_json)
        return
    facts: dict[str, Any] = _stock(here, text)
    if name is not None:
        facts["name"] = " ".join(name.split()) or "pail"
    if opened is not None:
        facts["opened"] = moment_of(here, opened, "--opened")
    if where is not None:
        facts["place"] = _place(here, where)
    if coldest is not None:
        try:
            facts["coldest_c"] = parse_temperature(coldest, here.yard.yard.units)
        except UnitError as error:
            raise Fail(f"--coldest: {error}") from None
    by = by_of(here)
    written = record(here, lambda register, _: book.pail(register, by, **facts))
    answer(here, Written(written.entries, told_of_pail(here, facts)), as_json)


def told_of_pail(here: Session, facts: dict[str, Any]) -> str:
    """ "Noted: pail, 2.5 L, opened today 9:00." """
    from scheduler.yard.telling import pail_name

    units, voice = here.yard.yard.units, voice_of(here)
    parts = [pail_name(facts.get("name", "pail"), voice)]
    if "litres" in facts:
        parts.append(voice.number(show_volume(facts["litres"], units)))
    if "by_eye" in facts:
        parts.append(voice.words[f"answer.by_eye.{facts['by_eye']}"])
    if "opened" in facts:
        parts.append(voice.say("answer.opened", when=voice.when(facts["opened"], here.at)))
    if "place" in facts:
        parts.append(voice.say("answer.at_place", place=facts["place"]))
    if "coldest_c" in facts:
        coldest = voice.number(show_temperature(facts["coldest_c"], units))
        parts.append(voice.say("answer.coldest_met", temperature=coldest))
    return voice.say("answer.noted", what=", ".join(parts))


def _stock(here: Session, text: str) -> dict[str, Any]:
    from scheduler.yard.entries import PAIL_WORDS

    if not text:
        return {}
    word = text.casefold().removeprefix("a ")
    if word in PAIL_WORDS:
        return {"by_eye": word}
    if not any(c.isdigit() for c in text):
        near = difflib.get_close_matches(word, PAIL_WORDS, 1)
        hint = f"did you mean {near[0]}?" if near else f"say litres, or {', '.join(PAIL_WORDS)}"
        raise Fail(f"pail {text}: {hint}")
    try:
        return {"litres": parse_volume(text, "gal" if here.yard.yard.units == "us" else "l")}
    except UnitError as error:
        raise Fail(f"pail: {error}") from None


def _place(here: Session, text: str) -> str:
    """A place of the yard by its own spelling; a pail may also stand elsewhere."""
    said = " ".join(text.split())
    if not said:
        raise Fail("--where needs a place, such as --where shed")
    return next((name for name in places_of(here) if name.casefold() == said.casefold()), said)


def _show_pails(here: Session, file: Path | None, issued: str | None, as_json: bool) -> None:
    from scheduler.commands.loglist import weather_at_hand
    from scheduler.service import pails_seen, picture
    from scheduler.settings import pail_numbers
    from scheduler.sources import register_of
    from scheduler.views.pail import pail_json, pail_lines
    from scheduler.views.wording import wrapped

    register = register_of(here.yard, here.at)
    forecast = weather_at_hand(here, file, issued)
    found = pails_seen(here.yard, picture(here.yard, register, forecast, here.at), forecast, here.at)
    if as_json:
        print_json({"pails": [_pail_json(here, one) for one in register.pails], **pail_json(found)})
        return
    for one in register.pails:
        say(_pail_line(here, one))
    lines = wrapped(pail_lines(found, here.wording, pail_numbers()))
    if not register.pails and not lines:
        lines = [here.wording.words["pail.none"]]
    for line in lines:
        say(line)


def _pail_json(here: Session, one: Pail) -> dict[str, object]:
    return {
        "name": one.name,
        "litres": one.litres,
        "by_eye": one.by_eye,
        "told": iso(here, one.moment.time),
        "opened": iso(here, one.opened.time if one.opened else None),
        "place": one.place,
        "coldest_c": one.coldest_c,
    }


def _pail_line(here: Session, one: Pail) -> str:
    from scheduler.views.pail import label_words, place_words, stock_words

    voice, w = voice_of(here), here.wording
    say = w.words.say
    parts = [stock_words(one, w), say("pail.told", when=voice.when(one.moment, here.at))]
    if one.opened is not None:
        parts.append(say("pail.opened", when=voice.when(one.opened, here.at)))
    if one.place:
        parts.append(place_words(one.place, w, "pail.at_place"))
    if one.coldest_c is not None:
        parts.append(say("pail.met", temperature=w.temperature(one.coldest_c)))
    return f"{label_words(one.name, w)}: {', '.join(parts)}"


# ------------------------------------------------------------------ away


def away(
    words: Annotated[list[str] | None, typer.Argument(metavar="until DATE | back")] = None,
    yard: YardOption = None,
    at: AtOption = None,
    as_json: JsonOption = False,
) -> None:
    """Rest until a day: away until 20 March. Only the pail is told of till then."""
    here = session(yard, at)
    if not words:
        _show_away(here, as_json)
        return
    answer(here, away_told(here, words), as_json)


def away_told(here: Session, words: Sequence[str]) -> Written:
    """Write that the yard rests until a day, or is back."""
    from scheduler.yard import book
    from scheduler.yard.book import Written

    until = _until(here, words)
    by, voice = by_of(here), voice_of(here)
    written = record(here, lambda register, _: book.away(until, register, by, voice=voice))
    if until is not None:
        written = Written(written.entries, voice.say("answer.away_until", day=_day(here, until)))
    return written


def _day(here: Session, when: datetime) -> str:
    """ "Fri 20 Mar 2026", with the clock where it is not midnight."""
    local, voice = when.astimezone(here.yard.zone), voice_of(here)
    day = voice.date(local, voice.words["answer.day_year"])
    if local.time() == time():
        return day
    return voice.say("time.day_clock", day=day, clock=voice.clock(local))


def _until(here: Session, words: Sequence[str]) -> datetime | None:
    """The day on which the yard is back: its first moment, or the clock time where one was said."""
    said = " ".join(words).split()
    if said and said[0].casefold() in BACK and len(said) == 1:
        return None
    if said and said[0].casefold() in ("until", "till"):
        said = said[1:]
    if not said:
        raise Fail("Away until when? Write for example: coatcast away until 20 March")
    return moment_of(here, " ".join(said), "away until", future=True).first


def _show_away(here: Session, as_json: bool) -> None:
    from scheduler.sources import register_of

    until = register_of(here.yard, here.at).away_until
    if as_json:
        print_json({"away_until": iso(here, until)})
    elif until is None:
        say(voice_of(here).words["answer.not_away"])
    else:
        say(voice_of(here).say("answer.still_away", day=_day(here, until)))
