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
        lines.append(_by_number(told))
    return "\n".join(lines)


def _by_number(told: Sequence[tuple[int, str]]) -> str:
    """ "Answer by number (H08: 1, 2; H05: 13): coatcast reminders done 1, later 1, drop 1"."""
    of_log: dict[str, list[str]] = {}
    for number, tag in told[:MOST_ANSWERS]:
        of_log.setdefault(tag, []).append(str(number))
    which = "; ".join(f"{tag}: {', '.join(n)}" if tag else ", ".join(n) for tag, n in of_log.items())
    first = told[0][0]
    return f"Answer by number ({which}): coatcast reminders done {first}, later {first}, drop {first}"


def may_ring_now(kind: str) -> bool:
    """Whether a notice of that kind may leave in the hours of work."""
    return kind.startswith(DANGER)


def pauses(kind: str) -> bool:
    """Whether a notice of that kind rests while the keeper is away: all but the pail's."""
    return not kind.startswith(PAIL)
