"""A made-up language in which every text of the words files is marked, to find text that is in none of them.

Its templates are the English ones with their own words between ⟦ and ⟧; what is put into them stays
outside: "⟦brush ⟧{hours}". So a word of a screen that is not between the marks is either data (a tag, a
wood, a place, a name, a note, a unit) or English that was left in a template or in the code::

    with speaking_pseudo():
        page = ...  # a yard whose language is LANGUAGE
    assert unmarked(visible(page), data=["H01", "lean-to"]) == []
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cache
from html.parser import HTMLParser
from string import Formatter
from unittest import mock

from scheduler.settings import rule_specs, species_table, word_languages, words_of
from scheduler.views import words as words_module
from scheduler.views.words import words_in

__all__ = [
    "LANGUAGE",
    "english_left",
    "marked",
    "pseudo_templates",
    "speaking_pseudo",
    "unmarked",
    "visible",
    "wood_names",
]

LANGUAGE = "eo"  # one that the locale data knows and that has no words file
OPEN, CLOSE = "⟦", "⟧"
MARKED = re.compile(f"{OPEN}[^{OPEN}{CLOSE}]*{CLOSE}")
WORD = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)*")
UNIT = re.compile(
    r"(?<=\d)\s?(?:fl oz|[mck]?m|m/s|mph|in|ft|m?L|gal|qt|h|min|kg|lb|am|pm)\b|°[CF]\b|\b(?:cm|EUR)\b"
)  # where one stands behind a number
SHOWN = frozenset({"aria-label", "placeholder", "title", "alt"})  # attributes that a person reads or hears
SILENT = frozenset({"style", "script"})


# ------------------------------------------------------------------ the language


def marked(template: str) -> str:
    """A template with its own words between the marks and its {names} outside them."""
    out = []
    for text, name, spec, conversion in Formatter().parse(template):
        literal = text.replace("{", "{{").replace("}", "}}")
        out.append(f"{OPEN}{literal}{CLOSE}" if WORD.search(text) else literal)
        if name is not None:
            out.append(f"{{{name}{'!' + conversion if conversion else ''}{':' + spec if spec else ''}}}")
    return "".join(out)


@cache
def pseudo_templates() -> dict[str, str]:
    """All keys of English, marked; and marked under ``told.`` and ``rule.`` what German translates there."""
    out = {key: marked(text) for key, text in words_of("en").items()}
    out |= {key: marked(key.removeprefix("told.")) for key in words_of("de") if key.startswith("told.")}
    for name, spec in rule_specs().items():
        out |= {f"rule.{name}.{part}": marked(getattr(spec, part)) for part in ("says", "holds", "short")}
    return out


@contextmanager
def speaking_pseudo() -> Iterator[str]:
    """For its time a yard whose language is the yielded one is spoken to in the marked words."""

    def words(language: str) -> dict[str, str]:
        return pseudo_templates() if language == LANGUAGE else dict(words_of(language))

    languages = (*word_languages(), LANGUAGE)
    words_in.cache_clear()
    try:
        with (
            mock.patch.object(words_module, "words_of", words),
            mock.patch.object(words_module, "word_languages", return_value=languages),
        ):
            yield LANGUAGE
    finally:
        words_in.cache_clear()


# ------------------------------------------------------------------ what is found


def unmarked(text: str, data: Iterable[str] = ()) -> list[str]:
    """Words that are neither between the marks nor data nor units, in their order, each once."""
    rest = MARKED.sub(" ", text)
    assert not {OPEN, CLOSE} & set(rest), f"a text was cut in its middle: {rest}"
    return _words_of(UNIT.sub(" ", _without(rest, data)))


def english_left(text: str, language: str, data: Iterable[str] = ()) -> list[str]:
    """Words of a text that English has in its words file, that ``language`` has nowhere, without ``data``."""
    theirs = {word.casefold() for word in _words_of(" ".join(words_of(language).values()))}
    english = {word.casefold() for word in _words_of(" ".join(words_of("en").values()))}
    english |= {word.casefold() for spec in rule_specs().values() for word in _words_of(spec.says)}
    found = _words_of(UNIT.sub(" ", _without(text, data)))
    return [word for word in found if word.casefold() in english - theirs]


def _without(text: str, data: Iterable[str]) -> str:
    for known in sorted({one for one in data if one.strip()}, key=len, reverse=True):
        text = re.sub(rf"(?<!\w){re.escape(known)}(?!\w)", " ", text, flags=re.IGNORECASE)
    return text


def _words_of(text: str) -> list[str]:
    return list(dict.fromkeys(WORD.findall(re.sub(r"{\w*}", " ", text))))


def wood_names() -> list[str]:
    """Every name of every wood, and its single words: data wherever they stand."""
    names = {row.botanical for row in species_table().values()}
    for row in species_table().values():
        names |= {name for there in row.names.values() for name in there}
    return sorted(names | {word for name in names for word in name.split() if len(word) > 3})


# ------------------------------------------------------------------ pages


class _Seen(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.parts: list[str] = []
        self._silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._silent += tag in SILENT
        self.parts += [value for name, value in attrs if name in SHOWN and value]

    def handle_endtag(self, tag: str) -> None:
        self._silent -= tag in SILENT

    def handle_data(self, data: str) -> None:
        if not self._silent:
            self.parts.append(data)


def visible(html: str) -> str:
    """What a person sees or hears of a page: its texts, labels and hints, each on a line of its own."""
    seen = _Seen()
    seen.feed(html)
    seen.close()
    return "\n".join(part.strip() for part in seen.parts if part.strip())
