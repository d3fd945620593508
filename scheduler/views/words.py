"""The words of one language: templates by key, for screens and paper. Pure.

English is complete. Texts that are made below the views (why a job is due, a
rule's sentence) are English where they are made; another language holds their
translation under the English text itself (``told``) or under the rule's name
(``rule``), and what it does not hold is shown in English.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from scheduler.settings import rule_specs, word_languages, words_of

__all__ = ["Words", "words_in"]

ENGLISH = "en"


@dataclass(frozen=True, eq=False)
class Words(Mapping[str, str]):
    """Templates by dotted key: ``words["board.brush"].format(hours="9 to 13")``, or ``words.say(...)``."""

    language: str
    templates: Mapping[str, str]
    sentences: tuple[tuple[re.Pattern[str], str], ...] = ()  # English with values in it -> template
    shipped: Mapping[tuple[str, str], str] = field(default_factory=dict)  # (rule, part) -> English

    def __getitem__(self, key: str) -> str:
        return self.templates[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self.templates)

    def __len__(self) -> int:
        return len(self.templates)

    def say(self, key: str, **values: object) -> str:
        """The text of a key with its values in place."""
        return self.templates[key].format(**values)

    def told(self, text: str) -> str:
        """A text that was made in English, in this language where it is known, else as it is."""
        known = self.templates.get(f"told.{text}")
        if known is not None:
            return known
        for pattern, template in self.sentences:
            match = pattern.fullmatch(text)
            if match is not None:
                return template.format(
                    **{name: self.told(value) for name, value in match.groupdict().items()}
                )
        return text

    def rule(self, name: str | None, part: str, text: str) -> str:
        """A rule's text (part: says, holds, short); one that the yard wrote itself stays as it is."""
        if name is None:  # nothing stops the coat there, but the weather is not known
            return self.templates["stop.unknown_says" if part == "says" else "stop.unknown"]
        if text and self.shipped.get((name, part)) == text:
            return self.templates.get(f"rule.{name}.{part}", text)
        return text


@lru_cache(maxsize=8)
def words_in(language: str) -> Words:
    """The words of a language ("de", "de-AT"); English where there is no file for it."""
    base = language.partition("-")[0].casefold()
    if base == ENGLISH or base not in word_languages():
        return Words(ENGLISH, words_of(ENGLISH))
    templates = words_of(base)
    sentences = tuple(
        (_pattern(key.removeprefix("told.")), text)
        for key, text in templates.items()
        if key.startswith("told.") and "{" in key
    )
    shipped = {
        (name, part): getattr(spec, part)
        for name, spec in rule_specs().items()
        for part in ("says", "holds", "short")
    }
    return Words(base, templates, sentences, shipped)


def _pattern(english: str) -> re.Pattern[str]:
    """ "made {hours} hours ago" as an expression that finds the values of a text made so."""
    parts = re.split(r"\{(\w+)\}", english)
    return re.compile(
        "".join(f"(?P<{part}>.*?)" if n % 2 else re.escape(part) for n, part in enumerate(parts))
    )
