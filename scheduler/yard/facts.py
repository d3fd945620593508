"""The one value for the state of a yard: what its entries add up to.

Plain frozen data. ``state.fold`` makes it from entries; nothing here knows of
weather, of a clock or of a database.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

__all__ = [
    "CHECK_WORDS",
    "INDOORS",
    "Coat",
    "Cut",
    "End",
    "Log",
    "LogState",
    "Look",
    "Moment",
    "Pail",
    "Register",
    "Worth",
]

CHECK_WORDS = ("none", "hairline", "open", "right through")  # how far an end has cracked, least first
INDOORS = "indoors"  # where a pail may stand, beside the yard's own places

LogState = Literal["expected", "standing", "long", "in_yard", "gone"]
Worth = Literal["prized", "good", "plain", "firewood"]


@dataclass(frozen=True, slots=True)
class Moment:
    """A time that may be rough: clocks run from ``time``, the middle; ``half`` widens the doubt."""

    time: datetime  # UTC
    half: timedelta = timedelta(0)
    said: str = ""  # what the person wrote
    assumed: bool = False  # nobody said it; a default was taken

    @property
    def first(self) -> datetime:
        """Earliest time meant."""
        return self.time - self.half

    @property
    def last(self) -> datetime:
        """Latest time meant."""
        return self.time + self.half

    def before(self, other: Moment) -> bool:
        """Whether all of it lies before all of ``other``; two days in a row meet at midnight."""
        return self.last <= other.first and self.time < other.time


@dataclass(frozen=True, slots=True)
class Coat:
    """One coat on one end.

    A touch-up of a coat with holes is a coat of its own (it has to dry) with the same ``layer``.
    """

    moment: Moment
    layer: int  # 1 or 2
    entry: int  # number of the entry that told of it
    part: bool = False  # with holes: touch-up due
    who: str | None = None
    told: tuple[int, ...] = ()  # further entries that told of the same coat
    spoiled: bool = False  # a look said so: it protects nothing
    litres: float | None = None  # used for all ends of that entry together


@dataclass(frozen=True, slots=True)
class Look:
    """What somebody saw at an end."""

    moment: Moment
    seen: Literal["clear", "milky", "skips", "spoiled", "checks"]
    entry: int
    checks: str | None = None  # none, hairline, open, right through


@dataclass(frozen=True, slots=True)
class Cut:
    """One fresh cut of an end, kept to learn how deep the checks had gone."""

    moment: Moment
    entry: int
    size_cm: float | None = None  # taken off; None: not told
    found: Literal["clean", "still cracked"] | None = None
    checks_before: str = "none"
    open_since: Moment | None = None  # the cut before this one
    coats: tuple[Coat, ...] = ()  # that the old face had
    measured: bool = False  # size_cm is what was really lost, told at the saw


@dataclass(frozen=True, slots=True)
class End:
    """One end of a log: the unit of work.

    ``cut`` of a log that is standing, long or expected is assumed and starts no clock.
    """

    name: str  # butt, top, ...
    cut: Moment  # last fresh face; the clock starts here
    cut_entry: int
    reach: bool = True
    diameter_cm: float | None = None
    assumed_diameter: bool = False
    coats: tuple[Coat, ...] = ()  # since the last cut, oldest first, the same coat told twice counted once
    looks: tuple[Look, ...] = ()  # since the last cut
    checks: str = "none"  # none, hairline, open, right through
    face: Literal["wet", "dry", "cracked", "unknown"] = "unknown"  # how it looked when entered
    trimmed_cm: float = 0.0  # taken off so far
    cuts: tuple[Cut, ...] = ()  # every fresh cut told of, oldest first

    @property
    def last_look(self) -> Look | None:
        """The latest look, if any."""
        return self.looks[-1] if self.looks else None

    @property
    def film_look(self) -> Look | None:
        """The latest look at the coat (one that told of checks only does not count), if any."""
        return next((look for look in reversed(self.looks) if look.seen != "checks"), None)

    @property
    def layers(self) -> int:
        """Coats that protect the end: 0, 1 or 2; a spoiled one does not count, a touch-up adds none."""
        return max((coat.layer for coat in self.coats if not coat.spoiled), default=0)

    @property
    def layers_under(self) -> int:
        """Coats that protect while the last one is still milky: those below it."""
        return max((coat.layer for coat in self.coats[:-1] if not coat.spoiled), default=0)

    @property
    def last_coat(self) -> Coat | None:
        """The latest coat, if any."""
        return self.coats[-1] if self.coats else None


@dataclass(frozen=True, slots=True)
class Log:
    """One log, stem, piece or pack."""

    tag: str
    species: str | None  # botanical name; None = not known
    species_said: str  # what the person wrote
    state: LogState
    felled: Moment | None
    length_cm: float | None
    ends: tuple[End, ...]
    entry: int  # number of the entry that made it
    needs_cm: float | None = None
    worth: Worth | None = None  # None: by species
    lump: float | None = None  # worth of the whole log in the yard's currency
    price_per_m3: float | None = None
    use: str | None = None
    place: str | None = None  # name of a [[place]]; None: the open yard
    roofed: bool = False  # roofed by hand since
    parent: str | None = None
    count: int = 1  # pieces in a pack
    thick_cm: float | None = None
    expected: Moment | None = None
    left_long: bool = False
    left_till: datetime | None = None
    skip: bool = False  # the keeper wants no more about sealing
    saw_first: bool = False
    metal: bool | None = None
    gone_why: str | None = None
    note: str | None = None
    assumed: tuple[str, ...] = ()  # what was taken for granted, in words
    halved: Moment | None = None  # split lengthwise through the pith
    sawn: Moment | None = None  # sawn into a pack
    children: tuple[str, ...] = ()  # tags of the pieces it was divided into

    def end(self, name: str) -> End | None:
        """The end of that name."""
        return next((e for e in self.ends if e.name == name), None)


@dataclass(frozen=True, slots=True)
class Pail:
    """What is known of one pail of sealer."""

    name: str
    moment: Moment  # when the stock was last told
    entry: int
    litres: float | None = None
    by_eye: Literal["full", "half", "quarter", "scrapings", "empty"] | None = None
    opened: Moment | None = None
    place: str | None = None
    coldest_c: float | None = None  # coldest it has met


@dataclass(frozen=True, slots=True)
class Register:
    """All logs of a yard, by tag, as they stand at ``at``."""

    at: datetime
    logs: tuple[Log, ...] = ()
    frost_seen: tuple[tuple[datetime, bool], ...] = ()
    rain_seen: tuple[tuple[datetime, bool], ...] = ()
    minima_seen: tuple[tuple[datetime, float], ...] = ()
    words: dict[str, str] = field(default_factory=dict)  # the yard's own word for a species -> botanical name
    last_entry: int = 0
    pails: tuple[Pail, ...] = ()
    away_until: datetime | None = None  # the yard pauses all but the pail till then
    later_tags: tuple[str, ...] = ()  # tags of logs that come in after ``at``: not free either
    _by_tag: dict[str, Log] = field(default_factory=dict, init=False, repr=False, compare=False)

    def log(self, tag: str) -> Log | None:
        """The log of that tag (letter case does not matter)."""
        if not self._by_tag:  # filled when first asked: while entries are folded nobody asks
            self._by_tag.update({log.tag.casefold(): log for log in reversed(self.logs)})
        return self._by_tag.get(tag.casefold())

    @property
    def present(self) -> tuple[Log, ...]:
        """Logs that are not gone."""
        return tuple(log for log in self.logs if log.state != "gone")
