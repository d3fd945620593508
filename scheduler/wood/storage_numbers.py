"""The numbers of config/storage.toml: groups of woods that keep alike, and the clock they go by. Pure.

The table is read by the settings and passed in; the groups' amounts are rules of thumb.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

__all__ = ["StainGroup", "Storage", "genus_of"]

Table = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class StainGroup:
    """Woods that keep alike: ``soon`` and ``going`` in °C d; ``*_days`` in any weather, inf: no limit."""

    key: str
    says: str
    note: str
    insects: str
    soon: float
    going: float
    soon_days: float
    going_days: float
    woods: frozenset[str]
    genera: frozenset[str]
    groups: frozenset[str]

    @classmethod
    def of(cls, key: str, table: Table) -> StainGroup:
        """One table ``[group.key]``."""

        def days(name: str) -> float:
            return float(table[name]["value"]) if name in table else np.inf

        return cls(
            key=key,
            says=table["says"],
            note=table["note"],
            insects=table["insects"],
            soon=float(table["soon"]["value"]),
            going=float(table["going"]["value"]),
            soon_days=days("soon_days"),
            going_days=days("going_days"),
            woods=frozenset(table.get("woods", ())),
            genera=frozenset(table.get("genera", ())),
            groups=frozenset(table.get("groups", ())),
        )


@dataclass(frozen=True, slots=True)
class Storage:
    """config/storage.toml, checked once: units as there (°C, °C d, days, hours)."""

    base: float
    sealed_share: float
    sealed_within: float
    lead: float
    still: float
    least_hours: float
    scatter: float
    smooth_days: int
    years_ahead: int
    warm_days: float
    cool_days: float
    frozen_below: float
    thaw_after: float
    colour: float
    soft: float
    spalt_words: tuple[str, ...]
    fly_above: float
    beetles_after: float
    early: frozenset[str]
    early_words: str
    signs: str
    wax: str
    groups: tuple[StainGroup, ...]

    @classmethod
    def of(cls, table: Table) -> Storage:
        """The file's table as it was read."""
        clock, look, spalt, beetles = (table[name] for name in ("clock", "look", "spalting", "insects"))

        def from_table(some: Table, *names: str) -> dict[str, float]:
            return {name: float(some[name]["value"]) for name in names}

        own = ("base", "sealed_share", "sealed_within", "lead", "still", "least_hours", "scatter")
        return cls(
            **from_table(clock, *own),
            smooth_days=int(clock["smooth_days"]["value"]),
            years_ahead=int(clock["years_ahead"]["value"]),
            **from_table(look, "warm_days", "cool_days", "frozen_below", "thaw_after"),
            **from_table(spalt, "colour", "soft"),
            spalt_words=tuple(word.casefold() for word in spalt["said_as"]),
            **from_table(beetles, "fly_above"),
            beetles_after=float(beetles["after"]["value"]),
            early=frozenset(beetles["early"]),
            early_words=beetles["early_words"],
            signs=beetles["signs"],
            wax=beetles["wax"],
            groups=tuple(StainGroup.of(key, group) for key, group in table["group"].items()),
        )

    def group_of(self, botanical: str, group: str = "") -> StainGroup:
        """The stain group of a wood: by its botanical name, its genus, else its group in config/species.toml.

        A wood that nobody could name ("?") goes by ``group``; where that says nothing
        either, ``ordinary`` is taken.
        """
        genus = genus_of(botanical)
        for fits in (
            lambda g: botanical in g.woods,
            lambda g: genus in g.genera,
            lambda g: group in g.groups,
            lambda g: g.key == "ordinary",
        ):
            found = next((g for g in self.groups if fits(g)), None)
            if found is not None:
                return found
        return self.groups[0]


def genus_of(botanical: str) -> str:
    """The first word of a botanical name; empty where there is none."""
    return botanical.partition(" ")[0]
