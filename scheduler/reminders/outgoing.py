"""What a notice reads like on its way: its lines, and how to answer it; and what was told before. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol
from urllib.parse import quote

from scheduler.reminders.codes import code_of

__all__ = ["DANGER", "MOST_ANSWERS", "Spoken", "ToldNotice", "composed", "may_ring_now", "pauses"]

DANGER = "danger"  # the kind of notice that may leave while the saw runs: a wet coat is in danger
PAIL = "pail"  # kinds that begin so go on while the keeper is away
MOST_ANSWERS = 4  # of a notice's reminders whose codes are told


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


@dataclass(frozen=True, slots=True)
class ToldNotice:
    """A notice that was put: the action it called for last, how often that changed, and whether it left."""

    key: str
    kind: str
    action: str
    number: int
    at: datetime
    sent: bool = False  # through one channel at least
    reminders: tuple[str, ...] = ()  # keys of those that rode in it


def composed(
    one: Spoken, numbers: Mapping[str, tuple[int, str]], public: str | None = None, *, answer: str
) -> str:
    """The whole text: subject, lines, and one line that says how to answer.

    ``numbers``: by reminder key its number and its log. With a public address
    the line is a link to a page whose buttons answer; without, a command with
    short codes: ``answer`` with ``{which}`` and ``{code}`` in it.
    """
    lines = list(one.lines)
    if not lines or lines[0].strip() != one.subject.strip():
        lines.insert(0, one.subject)
    told = [numbers[key] for key in one.reminder_keys if key in numbers]
    if public is not None:
        lines.append(f"{public}{_page(told)}")
    elif told:
        lines.append(_by_code(told, answer))
    return "\n".join(lines)


def _page(told: Sequence[tuple[int, str]]) -> str:
    """The page whose buttons answer: of the one reminder, of the log where all are of one, else the list."""
    tags = {tag for _, tag in told}
    if len(told) == 1:
        return f"/reminder/{told[0][0]}"
    if len(tags) == 1 and "" not in tags:
        return f"/log/{quote(tags.pop(), safe='')}"
    return "/reminders" if told else "/"


def _by_code(told: Sequence[tuple[int, str]], answer: str) -> str:
    """ "To answer (H08 1b 2c, H05 13q): coatcast reminders done 1b, or later, or drop"."""
    of_log: dict[str, list[str]] = {}
    for number, tag in told[:MOST_ANSWERS]:
        of_log.setdefault(tag, []).append(code_of(number))
    which = ", ".join(" ".join([tag, *codes]).strip() for tag, codes in of_log.items())
    return answer.format(which=which, code=code_of(told[0][0]))


def may_ring_now(kind: str) -> bool:
    """Whether a notice of that kind may leave in the hours of work."""
    return kind.startswith(DANGER)


def pauses(kind: str) -> bool:
    """Whether a notice of that kind rests while the keeper is away: all but the pail's."""
    return not kind.startswith(PAIL)
