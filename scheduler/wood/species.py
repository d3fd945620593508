"""Which wood is meant by a word: common names of several countries, mapped to botanical names.

Pure: the table (``settings.species_table()``) and the yard's own word list are
passed in. How a word is resolved, first that fits:

1. the yard's own word list (what the keeper answered before);
2. a name or botanical name of the table, letter case, accents, hyphens,
   plurals and words such as "log" or "tree" aside;
3. a bare genus (acer, quercus).

A word that stands for one wood is known. One that stands for several of the
same genus and the same group (walnut, cherry, oak, maple, ash, elm, birch) is
taken as the first of them in the table, and said to be. One that stands for
woods of different genera or groups (sycamore, plane, chestnut, cedar, poplar)
is never resolved silently: it is handed back to be asked about.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

from scheduler.settings import Species

__all__ = ["CAREFUL", "Ambiguous", "Found", "Known", "Unknown", "careful", "explain", "find", "show_name"]

CAREFUL = "?"  # key of the row for wood that nobody could name
_NOISE = {"log", "logs", "tree", "trees", "wood", "trunk", "stem", "stems", "timber", "baum", "holz", "stamm"}
_ARTICLES = {"a", "an", "the", "some", "ein", "eine", "un", "une", "el", "la", "le"}
_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue"})

Table = Mapping[str, Species]


@dataclass(frozen=True, slots=True)
class Known:
    """One wood is meant. ``assumed`` says what was taken for granted, if anything."""

    species: Species
    said: str
    assumed: str | None = None


@dataclass(frozen=True, slots=True)
class Ambiguous:
    """The word names several woods that must not be confused; ask once and remember the answer."""

    said: str
    candidates: tuple[Species, ...]


@dataclass(frozen=True, slots=True)
class Unknown:
    """No wood of that name; ``nearest`` are names of the table that look like it."""

    said: str
    nearest: tuple[str, ...]


Found = Known | Ambiguous | Unknown


def find(said: str, words: Mapping[str, str], table: Table) -> Found:
    """The wood meant by ``said``.

    Parameters
    ----------
    words
        The yard's own words -> botanical name. They win over the table; one
        that points to no row is passed over.
    table
        Species by botanical name; its order decides between kin of one genus.
    """
    said = " ".join(said.split())
    forms = list(_forms(said))
    own = {_fold(word): botanical for word, botanical in words.items()}
    for form in forms:
        if form in own and own[form] in table:
            return Known(table[own[form]], said)
    index = _index(table)
    for form in forms:
        if form in index:
            return _decide(said, index[form])
    return Unknown(said, _nearest(forms, index))


def careful(table: Table) -> Species:
    """The row taken when nobody can name the wood: a hardwood that cracks early."""
    return table[CAREFUL]


def show_name(species: Species, language: str = "en") -> str:
    """The name shown for a wood, in ``language`` where the table has it, else in English."""
    for key in (language, "en"):
        if species.names.get(key):
            return species.names[key][0]
    return species.botanical


def explain(found: Found, language: str = "en") -> str | None:
    """One sentence for the person: the question, the nearest names, or what was assumed; None if nothing."""
    if isinstance(found, Known):
        return found.assumed
    if isinstance(found, Ambiguous):
        choices = [f"{show_name(s, language)} ({s.botanical})" for s in found.candidates]
        return f"'{found.said}' is the name of more than one wood: {_either(choices)}? Say which one."
    near = f" Nearest: {_either(list(found.nearest))}." if found.nearest else ""
    return f"No wood called '{found.said}' is known.{near} Write don't know, and it is treated with care."


def _either(choices: list[str]) -> str:
    return " or ".join([", ".join(choices[:-1]), choices[-1]] if len(choices) > 1 else choices)


def _decide(said: str, rows: tuple[Species, ...]) -> Known | Ambiguous:
    first = rows[0]
    if first.botanical == CAREFUL:
        return Known(first, said, "wood unknown: treated as one that cracks early")
    if len(rows) == 1:
        return Known(first, said)
    if len({(_genus(row), row.group) for row in rows}) > 1:
        return Ambiguous(said, rows)
    others = ", ".join(show_name(row) for row in rows[1:])
    return Known(first, said, f"{said} taken as {show_name(first)} ({first.botanical}), not {others}")


def _genus(species: Species) -> str:
    return species.botanical.split()[0].casefold()


def _index(table: Table) -> dict[str, tuple[Species, ...]]:
    """Every folded name -> the rows that carry it, in the order of the table."""
    index: dict[str, dict[str, Species]] = {}
    genera: dict[str, dict[str, Species]] = {}
    for key, row in table.items():
        names = [row.botanical, *(name for some in row.names.values() for name in some)]
        for name in names:
            for form in _spellings(name):
                index.setdefault(form, {})[key] = row
        genera.setdefault(_genus(row), {})[key] = row
    for genus, rows in genera.items():
        index.setdefault(genus, {}).update(rows)
    return {form: tuple(rows.values()) for form, rows in index.items()}


@lru_cache(maxsize=4096)
def _fold(text: str) -> str:
    """Lower case, no accents, no apostrophes, hyphens and brackets as spaces; "?" stays."""
    plain = text.casefold().replace("×", " x ").replace("œ", "oe")
    plain = "".join(c for c in unicodedata.normalize("NFKD", plain) if not unicodedata.combining(c))
    plain = re.sub(r"['’`´]", "", plain)
    plain = re.sub(r"[^\w?]+|_", " ", plain)
    return " ".join(word for word in plain.split() if word != "x" or len(plain) == 1)


@lru_cache(maxsize=4096)
def _spellings(name: str) -> tuple[str, ...]:
    """A name of the table as it may be typed: Lärche, Larche, Laerche."""
    composed = unicodedata.normalize("NFC", name.casefold())
    return tuple(dict.fromkeys(f for f in (_fold(name), _fold(composed.translate(_UMLAUTS))) if f))


def _forms(said: str) -> Iterator[str]:
    """``said`` folded, then ever more freely: without noise words, in the singular, without "wood"."""
    seen: set[str] = set()
    folded = _fold(said)
    words = folded.split()
    while len(words) > 1 and words[0] in _ARTICLES:
        words = words[1:]
    bare = list(words)
    while len(bare) > 1 and bare[-1] in _NOISE:
        bare = bare[:-1]
    for some in (folded, " ".join(words), " ".join(bare)):
        for form in _singulars(some):
            if form and form not in seen:
                seen.add(form)
                yield form
    if folded.endswith(("wood", "holz")) and len(folded) > 6 and folded[:-4].rstrip() not in seen:
        yield folded[:-4].rstrip()


def _singulars(text: str) -> Iterator[str]:
    yield text
    if text.endswith("ies"):
        yield text[:-3] + "y"
    if text.endswith("es"):
        yield text[:-2]
    if text.endswith("s"):
        yield text[:-1]


def _nearest(forms: list[str], index: Mapping[str, tuple[Species, ...]]) -> tuple[str, ...]:
    """Up to three names of the table that look like the word, as the table writes them."""
    if not forms or not any(forms):
        return ()
    close = difflib.get_close_matches(forms[0], index, 5, cutoff=0.7)
    names = [_as_written(form, index[form][0]) for form in close]
    return tuple(dict.fromkeys(names))[:3]


def _as_written(form: str, row: Species) -> str:
    names = [row.botanical, *(name for some in row.names.values() for name in some)]
    return next((name for name in names if form in _spellings(name)), form)
