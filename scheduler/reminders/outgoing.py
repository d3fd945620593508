"""What a notice reads like on its way: its lines, and how to answer it. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

__all__ = ["DANGER", "MOST_ANSWERS", "Spoken", "composed", "may_ring_now", "pauses"]

DANGER = "danger"  # the kind of notice that may leave while the saw runs: a wet coat is in danger
PAIL = "pail"  # kinds that begin so go on while the keeper is away
MOST_ANSWERS = 4  # of a notice's reminders whose numbers are told


class Spoken(Protocol):
    """Of a notice, what is read here."""

    @property
    def kind(self) -> str: ...  # noqa: D102
    @property
    def subject(self) -> str: ...  # noqa: D102
    @property
    def lines(self) -> Sequence[str]: ...  # noqa: D102
    @property
    def reminder_keys(self) -> Sequence[str]: ...  # noqa: D102


def composed(one: Spoken, numbers: Mapping[str, tuple[int, str]], public: str | None = None) -> str:
    """The whole text: subject, lines, and one line that says how to answer.

    ``numbers``: by reminder key its number and its log. With a public address
    the line is a link to a page whose buttons answer; without, a command.
    """
    lines = list(one.lines)
    if not lines or lines[0].strip() != one.subject.strip():
        lines.insert(0, one.subject)
    told = [numbers[key] for key in one.reminder_keys if key in numbers]
    if public is not None:
        lines.append(f"{public}/")
    elif told:
        first = told[0][0]
        which = ", ".join(f"{tag} is {number}" if tag else str(number) for number, tag in told[:MOST_ANSWERS])
        lines.append(f"Answer: coatcast reminders done {first} (or later, drop). {which}.")
    return "\n".join(lines)


def may_ring_now(kind: str) -> bool:
    """Whether a notice of that kind may leave in the hours of work."""
    return kind.startswith(DANGER)


def pauses(kind: str) -> bool:
    """Whether a notice of that kind rests while the keeper is away: all but the pail's."""
    return not kind.startswith(PAIL)
