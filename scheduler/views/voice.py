"""The voice of a yard: how the register's own sentences are said in its zone, units and language. Pure."""

from __future__ import annotations

from datetime import datetime
from functools import partial
from zoneinfo import ZoneInfo

from scheduler.units import Units, show_clock, show_length
from scheduler.views.custom import clock_form, date_text, number_text
from scheduler.views.words import words_in
from scheduler.yard.telling import Voice

__all__ = ["voice_in"]


def voice_in(zone: ZoneInfo, units: Units, language: str) -> Voice:
    """Words, dates and numbers of a language ("de", "de-AT"); English where there is no file for it."""
    words = words_in(language)
    number = partial(number_text, language=words.language)

    def clock(local: datetime) -> str:
        return words.say("time.clock", clock=show_clock(local, clock_form(units, words.language)))

    return Voice(
        zone,
        lambda cm: number(show_length(cm, units)),
        clock,
        words,
        partial(date_text, language=words.language),
        number,
        words.told,
    )
