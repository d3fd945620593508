"""The words of one language: templates by key, for screens and paper. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

from scheduler.settings import words_of

__all__ = ["Words", "words_in"]


@dataclass(frozen=True, eq=False)
class Words(Mapping[str, str]):
    """Templates by dotted key: ``words["sheet.brush"].format(hours="9 to 13")``, or ``words.say(...)``."""

    language: str
    templates: Mapping[str, str]

    def __getitem__(self, key: str) -> str:
        return self.templates[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self.templates)

    def __len__(self) -> int:
        return len(self.templates)

    def say(self, key: str, **values: object) -> str:
        """The text of a key with its values in place."""
        return self.templates[key].format(**values)


@lru_cache(maxsize=8)
def words_in(language: str) -> Words:
    """The words of a language.

    Raises
    ------
    SettingsError
        When there is no file for it.
    """
    return Words(language, words_of(language))
