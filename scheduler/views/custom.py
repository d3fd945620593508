"""How a language writes dates, clock times and numbers. Pure.

English needs nothing; any other language is written by the locale data of
Babel, which is imported only then.
"""

from __future__ import annotations

import re
from datetime import datetime

from scheduler.units import Units, show_date

__all__ = ["clock_form", "date_text", "number_text"]


def date_text(local: datetime, pattern: str, language: str) -> str:
    """A day by a Unicode date pattern (UTS 35), such as ``EEE d MMM``."""
    if language == "en":
        return show_date(local, pattern)
    from babel.dates import format_datetime

    return str(format_datetime(local, pattern, locale=language))


def number_text(text: str, language: str) -> str:
    """A text with the decimal sign of the language in its numbers."""
    if language == "en":
        return text
    from babel.numbers import get_decimal_symbol

    return re.sub(r"(?<=\d)\.(?=\d)", get_decimal_symbol(language), text)


def clock_form(units: Units, language: str) -> Units:
    """Whether clock times are written as ``13:30`` ("metric") or ``1:30 pm`` ("us")."""
    if language == "en":
        return units
    from babel import Locale

    return "us" if "a" in Locale.parse(language).time_formats["short"].pattern else "metric"
