"""Short codes by which a person answers a reminder: its number and a letter that must fit it. Pure.

A mistyped digit, or two that changed places, gives another letter, so that the
wrong reminder is not answered by accident.
"""

from __future__ import annotations

import re

__all__ = ["code_of", "number_of"]

LETTERS = "abcdefghjkmnpqrstuvwxyz"  # 23, a prime: without i, l and o, which look like digits
_CODE = re.compile(r"(\d{1,18})([a-z])", re.ASCII)


def code_of(number: int) -> str:
    """ "12p" for reminder 12."""
    return f"{number}{LETTERS[number % len(LETTERS)]}"


def number_of(text: str) -> int | None:
    """The number of a code, in any letter case; None where it is no code, or its letter does not fit."""
    found = _CODE.fullmatch(text.strip().casefold())
    if found is None:
        return None
    number = int(found[1])
    return number if code_of(number) == f"{number}{found[2]}" else None
