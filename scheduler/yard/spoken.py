"""One free line about a log, as a person says it, into checked fields.

    walnut 22in 8ft cut saturday
    H07 sycamore maple 47x43cm 3.2m felled 27 oct reach both use worktops
    3 elm 20in expected wed

Only a wood is required, and "don't know" is one. Pure: the clock, the zone and
the table of woods are passed in.

How sizes are told apart
------------------------
A label stands before its size (``butt 22in``, ``top 20in``, ``length 8ft``,
``girth 150cm``) or, when no size follows, behind it (``22in dia``). ``22x20in``
is butt by top, ``22in x 8ft`` butt by length. Of sizes without a label:

* one: below 3 ft (91 cm), or in inches up to 60, it is the diameter at the
  butt; else the length;
* two, both below 3 ft: the first is the butt; the second the top when it is
  not larger, else the length of a short piece; otherwise the smaller is the
  butt and the larger the length;
* three: the largest is the length, the others butt and top in that order.

A girth is divided by pi; a diameter over bark is taken times 0.92.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Literal
from zoneinfo import ZoneInfo

from scheduler.moments import MomentError, NoSuchTime, RoughTime, parse_moment
from scheduler.settings import Species
from scheduler.units import LENGTH_UNITS, UnitError, Units, parse_length, parse_number, show_length
from scheduler.wood.species import Ambiguous, Found, Known, Unknown, explain, find, show_name

__all__ = ["LogRequest", "SpokenError", "parse_log_line"]

OVER_BARK = 0.92  # diameter inside bark / over bark; common practice, no source
_LENGTH_FROM = 91.0  # cm, 3 ft: from here a single size is a length
_BUTT_INCHES = 60 * 2.54  # ... unless it is said in inches
_WIDEST, _LONGEST, _THINNEST = 400.0, 3000.0, 2.0  # cm: no log is wider, longer, thinner
_MOST = 999

State = Literal["standing", "expected", "long"]
Reach = Literal["butt", "top", "both", "none"]
WorthWord = Literal["prized", "good", "plain", "firewood"]


class SpokenError(ValueError):
    """A line that is not understood; the sentence names the word and what would do."""


@dataclass(frozen=True, slots=True)
class LogRequest:
    """What a line said. None: it said nothing about it.

    ``wood`` is ``Known`` or ``Ambiguous`` (ask, then remember the answer);
    lengths in cm, diameters inside bark; ``understood`` and ``assumed`` are
    lines for the person, in the order said.
    """

    wood: Known | Ambiguous
    species_said: str
    tag: str | None = None
    count: int = 1
    butt_cm: float | None = None
    top_cm: float | None = None
    length_cm: float | None = None
    felled: RoughTime | None = None
    cut: RoughTime | None = None
    state: State | None = None
    expected: RoughTime | None = None
    reach: Reach | None = None
    needs_cm: float | None = None
    worth: WorthWord | None = None
    lump: float | None = None  # worth of the whole log, the yard's currency
    price_per_m3: float | None = None
    use: str | None = None
    place: str | None = None
    face: Literal["wet", "dry", "cracked"] | None = None
    metal: bool | None = None
    note: str | None = None
    understood: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()


def parse_log_line(
    words: Sequence[str],
    *,
    at: datetime,
    zone: ZoneInfo,
    units: Units,
    table: Mapping[str, Species],
    own_words: Mapping[str, str],
    over_bark: float = OVER_BARK,
) -> LogRequest:
    """Read the words of one ``log add`` line.

    Parameters
    ----------
    at, zone
        Now (with its offset) and the yard's zone, for rough dates.
    units
        Unit of a bare number (a diameter: cm or in) and of the answers.
    table, own_words
        Woods by botanical name; the yard's own words for them.

    Raises
    ------
    SpokenError
        When a word is not understood or a size or time is impossible.
    """
    line = " ".join(" ".join(words).translate(_SIGNS).split())
    if not line:
        raise SpokenError("Say at least the wood, such as: walnut 22in 8ft cut saturday")
    if len(line) > 400:
        raise SpokenError("That is too long for one log; give each log a line of its own")
    reader = _Reader(_tokens(line), at, zone, units, table, own_words, over_bark)
    try:
        return reader.read()
    except UnitError as error:
        raise SpokenError(str(error)) from error


# ------------------------------------------------------------------ tokens

_SIGNS = str.maketrans({"’": "'", "′": "'", "‘": "'", "″": '"', "”": '"', "“": '"', "×": "x", "½": ".5"})
_NUM = r"[0-9]+(?:[.,][0-9]+)?(?: [0-9]+/[0-9]+)?|[0-9]+/[0-9]+|[.,][0-9]+"
_UNIT = "|".join(sorted((re.escape(u) for u in LENGTH_UNITS), key=len, reverse=True)) + "|''"
_SIZE = rf"(?:{_NUM})\s?(?:{_UNIT})(?![a-z0-9])\.?"
_FEET = rf"(?:{_NUM})\s?(?:ft|feet|foot|')"
_JOINED = rf"{_FEET}(?:{_NUM})(?:in|inch|inches|\"|''|(?=\s|,|$))(?![a-z0-9])"  # 8'6" without a gap
_EITHER = rf"(?:{_NUM})(?:\s?(?:{_UNIT}))?(?![a-z0-9'\"])"
_TOKEN = re.compile(
    rf"(?P<pair>(?:{_SIZE}|(?:{_NUM}))\s?x\s?{_EITHER}(?:\s?x\s?{_SIZE})?(?![a-z0-9]))"
    rf"|(?P<size>{_JOINED}|{_SIZE})"
    r"|(?P<word>\S+)",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class _Token:
    kind: Literal["pair", "size", "word"]
    text: str

    @property
    def low(self) -> str:
        return self.text.casefold().strip(",;")


def _tokens(line: str) -> list[_Token]:
    """The line as sizes, pairs of sizes and words."""
    found = []
    position = 0
    while position < len(line):
        if line[position] in " ,;":
            position += 1
            continue
        match = _TOKEN.match(line, position)
        assert match is not None  # a word always matches
        kind: Any = match.lastgroup
        text = match[0].strip(" ,;")
        if text:
            found.append(_Token(kind, text))
        position = match.end()
    return found


# ------------------------------------------------------------------ the reader

_KEYWORDS = {  # what a word is read as: the words that say it
    "felled": "felled fell",
    "cut": "cut bucked crosscut",
    "reach": "reach reachable",
    "needs": "needs need",
    "worth": "worth",
    "price": "price",
    "use": "use for",
    "place": "place",
    "standing": "standing",
    "expected": "expected arrives coming",
    "long": "long left kept",
    "face": "face",
    "tag": "tag",
    "count": "count",
    "metal": "metal no",
    "note": "note",
    "bark": "over inside ob ib",
    "butt": "butt diameter dia diam thick",
    "top": "top",
    "length": "length len",
    "girth": "girth",
}
_SYNONYMS = {word: key for key, words in _KEYWORDS.items() for word in words.split()}
_SECOND_WORD = {"over": "bark", "inside": "bark", "no": "metal", "left": "long", "kept": "long"}
_LABELS = {word: key for word, key in _SYNONYMS.items() if key in {"butt", "top", "length", "girth", "needs"}}
_LABELS["long"] = "length"
_IN_TEXT = {
    "for",
    "top",
    "butt",
    "long",
    "thick",
    "over",
    "inside",
    "no",
}  # do not end "use ..." or "place ..."
_STOPS = _SYNONYMS.keys() - _IN_TEXT
_SHOWN = ("felled", "cut", "reach", "needs", "worth", "use", "place", "standing", "expected", "face", "girth")
_TAG = re.compile(r"\[(?P<b>[^\[\]\s]{1,20})\]|(?P<t>[A-Za-z]{1,4}[-/]?[0-9]{1,5}(?:-[0-9]{1,3}){0,3})")
_COUNT = re.compile(r"(?P<n>[0-9]{1,6})x?", re.IGNORECASE)
_CURRENCY = re.compile(r"eur|euros?|usd|dollars?|gbp|pounds?|chf|francs?|[nac][zua]d|jpy|[snd][eok]k")
_WORTHS: tuple[WorthWord, ...] = ("prized", "good", "plain", "firewood")
_BOARD_FOOT = 0.0254 * 0.3048 * 0.3048  # m3, exact by definition


@dataclass(slots=True)
class _Reader:
    """Walks over the tokens once; what it finds goes into ``got``."""

    tokens: list[_Token]
    at: datetime
    zone: ZoneInfo
    units: Units
    table: Mapping[str, Species]
    own_words: Mapping[str, str]
    over_bark: float
    i: int = 0
    got: dict[str, Any] = field(default_factory=dict)
    sizes: dict[str, float] = field(default_factory=dict)  # by label, cm
    loose: list[tuple[float, str]] = field(default_factory=list)  # without a label: cm, as said
    bark: bool = False  # diameters were said over bark
    assumed: list[str] = field(default_factory=list)

    def read(self) -> LogRequest:
        """The whole line."""
        self._read_head()
        while self.i < len(self.tokens):
            self._read_next()
        if "wood" not in self.got:
            raise SpokenError('Which wood is it? Say walnut, cherry, oak ... or "don\'t know"')
        self._sort_sizes()
        self._check()
        return LogRequest(
            **self.got,
            butt_cm=self.sizes.get("butt"),
            top_cm=self.sizes.get("top"),
            length_cm=self.sizes.get("length"),
            needs_cm=self.sizes.get("needs"),
            understood=tuple(self._understood()),
            assumed=tuple(self.assumed),
        )

    # -- walking

    def _peek(self, ahead: int = 0) -> _Token | None:
        place = self.i + ahead
        return self.tokens[place] if 0 <= place < len(self.tokens) else None

    def _word(self, ahead: int = 0) -> str:
        """The word there in lower case, or "" when there is none or a size stands there."""
        token = self._peek(ahead)
        return token.low if token is not None and token.kind == "word" else ""

    def _keyword(self, ahead: int = 0) -> str | None:
        """The keyword there, if it is one; two-word ones need their second word."""
        word = self._word(ahead)
        needed = _SECOND_WORD.get(word)
        if needed and self._word(ahead + 1) != needed:
            return None
        return _SYNONYMS.get(word)

    def _put(self, name: str, value: object) -> None:
        if name in self.got:
            raise SpokenError(f"'{name}' stands twice in the line; say it once")
        self.got[name] = value

    # -- the parts of a line

    def _read_head(self) -> None:
        """Tag and count, which stand before the wood."""
        token = self._peek()
        match = _TAG.fullmatch(token.text) if token is not None and token.kind == "word" else None
        if match:
            self._put("tag", match["b"] or match["t"])
            self.i += 1
        match = _COUNT.fullmatch(self._word())
        follows = self._word(1)
        if match and follows and self._keyword(1) is None:
            self._put_count(match["n"])
            self.i += 2 if follows == "x" else 1

    def _put_count(self, text: str) -> None:
        if not 1 <= int(text) <= _MOST:
            raise SpokenError(f"'{text}' is no count of logs; it runs from 1 to {_MOST}")
        self._put("count", int(text))

    def _read_next(self) -> None:
        token = self.tokens[self.i]
        if token.kind == "pair":
            self._read_pair(token)
        elif token.kind == "size":
            self._read_size(token)
        elif self._keyword() is not None:
            self._read_keyword()
        elif re.fullmatch(_NUM, token.low):
            self._read_bare_number(token)
        else:
            self._read_wood()

    def _read_keyword(self) -> None:
        keyword = self._keyword() or ""
        label = _LABELS.get(self._word())
        if label is not None and self._read_label(label):
            return
        if label is not None and keyword != "long":
            word = self._word()
            raise SpokenError(f"'{word}' needs a size, such as: {word} {self._example(label)}")
        readers: dict[str, Callable[[], None]] = {
            "felled": self._read_felled,
            "cut": self._read_cut,
            "reach": lambda: self._read_choice("reach", ("butt", "top", "both", "none")),
            "face": lambda: self._read_choice("face", ("wet", "dry", "cracked")),
            "worth": self._read_worth,
            "price": self._read_price,
            "use": lambda: self._read_text("use"),
            "place": lambda: self._read_text("place"),
            "note": self._read_note,
            "standing": self._read_state,
            "long": self._read_state,
            "expected": self._read_expected,
            "tag": self._read_tag,
            "count": self._read_count,
            "metal": self._read_metal,
            "no": self._read_metal,
            "bark": self._read_bark,
        }
        readers[keyword]()

    # -- sizes

    def _example(self, label: str) -> str:
        metric = self.units == "metric"
        if label in {"length", "needs"}:
            return "2.4m" if metric else "8ft"
        return "55cm" if metric else "22in"

    def _length(self, text: str, default: str | None = None) -> float:
        value = parse_length(text, default)
        if value <= 0:
            raise SpokenError(f"'{text}' is no size; leave it out when it is not known")
        return value

    def _read_size(self, token: _Token) -> None:
        """A size without a label before it: feet and inches with a gap may be one size or two."""
        self.i += 1
        value, text = self._length(token.text), token.text
        inches = self._inches_after(text)
        if inches is not None and self._one_size(inches):
            self.i += 1
            value, text = value + self._length(inches.text), f"{text} {inches.text}"
        self.loose.append((value, text))

    def _inches_after(self, text: str) -> _Token | None:
        """The inches (under 12) that may belong to the feet just read."""
        token = self._peek()
        if token is None or token.kind != "size" or not _is_feet(text) or not _is_inches(token.text):
            return None
        return token if self._length(token.text) < LENGTH_UNITS["ft"] else None

    def _one_size(self, inches: _Token) -> bool:
        """True when "8 ft 6 in" is one size because another one stands in the line for the diameter."""
        others = [t for t in self.tokens if t.kind in {"size", "pair"} and t is not inches]
        labels = {_LABELS.get(t.low) for t in self.tokens if t.kind == "word"} & {"butt", "girth"}
        if len(others) > 1 or labels:
            return True
        feet = next(t.text for t in others)
        raise SpokenError(
            f"'{feet} {inches.text}' may be one length, or a length and a diameter; "
            f"write length {feet} {inches.text}, or {inches.text} first"
        )

    def _read_label(self, label: str) -> bool:
        """A label and its size: the one that follows, else the one just before."""
        after, before = self._peek(1), self._peek(-1)
        if after is not None and after.kind == "size" and self._word() != "long":
            if label == "butt" and self._word() != "butt" and self._smaller_before(before, after):
                return self._label_before(label)
            self.i += 1
            text = self.tokens[self.i].text
            self.i += 1
            inches = self._inches_after(text)
            if inches is not None:
                text = f"{text} {inches.text}"
                self.i += 1
            self._put_size(label, self._length(text))
            return True
        if before is not None and before.kind == "size" and self.loose:
            return self._label_before(label)
        if after is not None and after.kind == "word" and re.fullmatch(_NUM, after.low) and label != "length":
            default = "m" if label == "needs" else "cm"
            if self.units == "metric" or label != "needs":
                self.i += 2
                unit = default if self.units == "metric" else "in"
                self._put_size(label, self._length(after.low, unit))
                self.assumed.append(f"{after.low} read as {after.low} {unit}")
                return True
        return False

    def _smaller_before(self, before: _Token | None, after: _Token) -> bool:
        """22in dia 8ft: a diameter is the smaller of its neighbours."""
        return (
            before is not None
            and before.kind == "size"
            and bool(self.loose)
            and self.loose[-1][0] < self._length(after.text)
        )

    def _label_before(self, label: str) -> bool:
        value, said = self.loose[-1]
        if self._word() == "long":
            if value < _LENGTH_FROM and not self.loose[:-1] and "butt" not in self.sizes:
                return False  # 60cm long: a diameter, and the log is kept long
            self.assumed.append(f"{said} long read as its length, not as kept long")
        self.loose.pop()
        self._put_size(label, value)
        self.i += 1
        return True

    def _put_size(self, label: str, value: float) -> None:
        if label in self.sizes:
            raise SpokenError(f"The {label} is given twice; say it once")
        self.sizes[label] = value

    def _read_pair(self, token: _Token) -> None:
        """22x20in: butt by top; 22in x 8ft: butt by length; 22x20in x 8ft: all three."""
        self.i += 1
        parts = [part.strip() for part in re.split(r"x", token.text, flags=re.IGNORECASE)]
        units = [re.sub(rf"^(?:{_NUM})\s*", "", part) for part in parts]
        if not units[0] and not units[1]:
            unit = self._bare_unit(token.text)
            parts[:2] = [f"{part} {unit}" for part in parts[:2]]
        elif not units[0]:
            parts[0] += f" {units[1]}"
        elif not units[1]:
            parts[1] += f" {units[0]}"
        values = [self._length(part) for part in parts]
        second = "length" if len(values) == 2 and values[1] >= 100 > values[0] else "top"
        for label, value in zip(("butt", second, "length"), values, strict=False):
            self._put_size(label, value)

    def _bare_unit(self, said: str) -> str:
        unit = "cm" if self.units == "metric" else "in"
        self.assumed.append(f"{said} read as {said} {unit}")
        return unit

    def _read_bare_number(self, token: _Token) -> None:
        """A number without a unit is a diameter, once."""
        self.i += 1
        n, small = token.low, any(value < _LENGTH_FROM for value, _ in self.loose)
        if "butt" in self.sizes or "girth" in self.sizes or small:
            raise SpokenError(f"'{n}' has no unit; write {n}cm, {n}m, {n}in or {n}ft")
        value = self._length(token.low, self._bare_unit(token.low))
        self._put_size("butt", value)

    def _sort_sizes(self) -> None:
        """Sizes without a label to butt, top and length (the rule of the module's head)."""
        free = [name for name in ("butt", "top", "length") if name not in self.sizes]
        if "girth" in self.sizes and "butt" in free:
            free.remove("butt")
        names = self._names_of_loose(free)
        for (value, _), name in zip(self.loose, names, strict=True):
            self.sizes[name] = value
        girth = self.sizes.pop("girth", None)
        if girth is not None:
            self._put_size("butt", girth / math.pi)
            self.assumed.append(f"girth divided by 3.14: {show_length(self.sizes['butt'], self.units)}")
        if self.bark:
            for name in {"butt", "top"} & self.sizes.keys():
                self.sizes[name] *= self.over_bark
            self.assumed.append(f"over bark: diameters taken times {self.over_bark:g}")

    def _names_of_loose(self, free: list[str]) -> list[str]:
        values = [value for value, _ in self.loose]
        if len(values) > len(free) or (len(values) == 3 and len(free) < 3):
            said = ", ".join(text for _, text in self.loose)
            raise SpokenError(f"Too many sizes ({said}); write them as butt, top and length")
        if not values:
            return []
        if len(values) == 1:
            return [self._name_of_one(free)]
        if len(values) == 3:
            longest = values.index(max(values))
            rest = iter(("butt", "top"))
            return ["length" if n == longest else next(rest) for n in range(3)]
        if "butt" not in free:
            return ["top", "length"] if values[0] <= values[1] else ["length", "top"]
        if "length" not in free:
            return ["butt", "top"]
        if max(values) >= _LENGTH_FROM or "top" not in free:
            return ["butt", "length"] if values[0] <= values[1] else ["length", "butt"]
        if values[1] <= values[0]:
            return ["butt", "top"]
        self.assumed.append(f"{self.loose[1][1]} read as the length of a short piece")
        return ["butt", "length"]

    def _name_of_one(self, free: list[str]) -> str:
        value, text = self.loose[0]
        if len(free) == 1:
            return free[0]
        if "length" not in free:
            return "butt"
        if "butt" not in free:
            butt = self.sizes.get("butt", 0.0)
            return "top" if "top" in free and value <= min(butt, _LENGTH_FROM) else "length"
        if value < _LENGTH_FROM or (_is_inches(text) and value <= _BUTT_INCHES):
            return "butt"
        return "length"

    # -- words after a keyword

    def _read_felled(self) -> None:
        try:
            self._put("felled", self._moment(future=False))
        except NoSuchTime as error:
            if "ahead" not in str(error):
                raise
            self._put("felled", self._moment(future=True))

    def _read_cut(self) -> None:
        cut = self._moment(future=False)
        if cut.time > self.at:
            raise SpokenError(f"The cut '{cut.said}' lies ahead; say standing, or expected {cut.said}")
        self._put("cut", cut)

    def _read_expected(self) -> None:
        self._put("state", "expected")
        try:
            when = self._moment(future=True)
        except SpokenError:  # no time said: it comes some day
            self.i += 1
            return
        if when.time + when.half < self.at:
            raise SpokenError(f"'expected {when.said}' lies behind; a log that is here needs no such word")
        self._put("expected", when)

    def _moment(self, *, future: bool) -> RoughTime:
        """The longest run of words after the keyword that is a time."""
        start = self.i + 1
        keyword, run = self._word(), 0
        while self._word(run + 1) and run < 6 and self._keyword(run + 1) in {None, "no"}:
            run += 1
        if not run:
            raise SpokenError(f"Say when: {keyword} today, {keyword} sat or {keyword} about 20 Oct")
        first_error: MomentError | None = None
        for count in range(run, 0, -1):
            text = " ".join(token.text for token in self.tokens[start : start + count])
            try:
                found = parse_moment(text, at=self.at, zone=self.zone, future=future, units=self.units)
            except NoSuchTime:
                raise
            except MomentError as error:
                first_error = first_error or error
                continue
            self.i = start + count
            return found
        raise SpokenError(f"{keyword}: {first_error}")

    def _read_choice(self, name: str, choices: tuple[str, ...]) -> None:
        word = self._word(1)
        if word not in choices:
            near = difflib.get_close_matches(word, choices, 1)
            hint = f" (nearest: {near[0]})" if near else ""
            said = f"'{name} {word}' is not understood{hint}" if word else f"'{name}' needs a word"
            raise SpokenError(f"{said}; write {name} {', '.join(choices[:-1])} or {choices[-1]}")
        self._put(name, word)
        self.i += 2

    def _read_worth(self) -> None:
        if self._word(1) in {"about", "around"}:
            self.i += 1
        word = self._word(1)
        if word in _WORTHS:
            self._put("worth", word)
            self.i += 2
            return
        self._put("lump", self._money("worth", f"{', '.join(_WORTHS)}, or a sum such as worth 900"))

    def _read_price(self) -> None:
        value = self._money("price", "a sum for the cubic metre, such as price 2400, or price 8 per bf")
        unit = self._word()
        if unit in {"per", "/"}:
            self.i += 1
            unit = self._word()
        unit = unit.removeprefix("/")
        if unit in {"bf", "bdft"}:
            value /= _BOARD_FOOT
        if unit in {"bf", "bdft", "m3", "m³", "cbm"}:
            self.i += 1
        self._put("price_per_m3", value)

    def _money(self, keyword: str, wanted: str) -> float:
        word = self._word(1)
        match = re.fullmatch(rf"[€$£]?({_NUM})[€$£]?", word)
        if match is None:
            near = difflib.get_close_matches(word, _WORTHS, 1) if keyword == "worth" else []
            hint = f" (nearest: {near[0]})" if near else ""
            said = f"'{keyword} {word}' is not understood{hint}" if word else f"'{keyword}' needs a word"
            raise SpokenError(f"{said}; write {wanted}")
        self.i += 2
        if _CURRENCY.fullmatch(self._word()):
            self.i += 1
        return parse_number(match[1])

    def _read_text(self, name: str) -> None:
        """Free words up to the next keyword."""
        start = self.i = self.i + 1
        while self.i < len(self.tokens) and not self._stops_text():
            self.i += 1
        text = " ".join(token.text for token in self.tokens[start : self.i])
        if not text:
            example = "use table slabs" if name == "use" else "place shed"
            raise SpokenError(f"'{name}' needs words after it, such as: {example}")
        self._put(name, text)

    def _stops_text(self) -> bool:
        token = self.tokens[self.i]
        return token.kind != "word" or (token.low in _STOPS and self._keyword() is not None)

    def _read_note(self) -> None:
        text = " ".join(token.text for token in self.tokens[self.i + 1 :])
        self.i = len(self.tokens)
        self._put("note", text or None)

    def _read_state(self) -> None:
        keyword = self._keyword()
        self.i += 2 if self._word() in {"left", "kept"} else 1
        self._put("state", keyword)

    def _read_tag(self) -> None:
        token = self._peek(1)
        tag = token.text.strip("[]") if token is not None and token.kind == "word" else ""
        if not re.fullmatch(r"\w[\w./-]{0,19}", tag):
            raise SpokenError(f"'{tag}' is no tag; write letters and numbers, such as: tag H07")
        self._put("tag", tag)
        self.i += 2

    def _read_count(self) -> None:
        match = _COUNT.fullmatch(self._word(1))
        if match is None:
            raise SpokenError("'count' needs a number, such as: count 3")
        self._put_count(match["n"])
        self.i += 2

    def _read_metal(self) -> None:
        self._put("metal", self._word() == "metal")
        self.i += 1 if self._word() == "metal" else 2

    def _read_bark(self) -> None:
        word = self._word()
        self.bark = self.bark or word in {"over", "ob"}
        self.i += 2 if word in {"over", "inside"} else 1

    # -- the wood

    def _read_wood(self) -> None:
        """The words that name the wood: the longest run that is one."""
        run = 1
        while self._word(run) and self._keyword(run) is None and not re.fullmatch(_NUM, self._word(run)):
            run += 1
        words = [token.text.strip(",;") for token in self.tokens[self.i : self.i + run]]
        if "wood" in self.got:
            raise SpokenError(self._not_understood(words[0]))
        for count in range(min(run, 6), 0, -1):
            said = " ".join(words[:count])
            found = find(said, self.own_words, self.table)
            if not isinstance(found, Unknown):
                self._put_wood(said, found)
                self.i += count
                return
        raise SpokenError(self._no_such_wood(words))

    def _put_wood(self, said: str, found: Known | Ambiguous) -> None:
        self._put("wood", found)
        self._put("species_said", said)
        if isinstance(found, Known) and found.assumed:
            self.assumed.append(found.assumed)

    def _no_such_wood(self, words: list[str]) -> str:
        near = difflib.get_close_matches(words[0].casefold(), _SHOWN, 1, cutoff=0.75)
        if near:
            return self._not_understood(words[0])
        found: Found = find(" ".join(words), self.own_words, self.table)
        if isinstance(found, Unknown) and not found.nearest:
            found = find(words[0], self.own_words, self.table)
        return explain(found) or f"'{words[0]}' is not understood"

    def _not_understood(self, word: str) -> str:
        """Names the word, what is nearest to it, and for a lone time the keyword it lacks."""
        if _TAG.fullmatch(word):
            return f"'{word}' is not understood here; a tag stands first, or after the word tag"
        if "wood" in self.got and not isinstance(find(word, self.own_words, self.table), Unknown):
            return (
                f"'{word}' is a wood of its own beside '{self.got['species_said']}'; one line is for one wood"
            )
        near = difflib.get_close_matches(word.casefold(), [*_SYNONYMS, *_WORTHS], 1, cutoff=0.6)
        try:
            parse_moment(word, at=self.at, zone=self.zone, units=self.units)
        except NoSuchTime:
            pass
        except MomentError as error:
            near = near or re.findall(r"nearest: (\w+)", str(error))
            known = f"nearest: {near[0]}" if near else f"the words are {', '.join(_SHOWN)}"
            return f"'{word}' is not understood; {known}"
        return f"'{word}' is a time, but of what? Write cut {word} or felled {word}"

    # -- checks and the answer

    def _check(self) -> None:
        for name, most, wide in (
            ("butt", _WIDEST, "wide"),
            ("top", _WIDEST, "wide"),
            ("length", _LONGEST, "long"),
            ("needs", _LONGEST, "long"),
        ):
            value = self.sizes.get(name)
            if value is not None and value > most:
                sizes = f"{self._show(value)} is more than any log is {wide}"
                raise SpokenError(f"{name}: {sizes} (at most {self._show(most)}); check the unit")
            if value is not None and value < _THINNEST:
                raise SpokenError(f"{name}: {self._show(value)} is too small for a log; check the unit")
        self._check_sizes_together()
        self._check_times()

    def _show(self, cm: float) -> str:
        return show_length(cm, self.units)

    def _check_sizes_together(self) -> None:
        butt, top = self.sizes.get("butt"), self.sizes.get("top")
        if butt is not None and top is not None and top > butt:
            sizes = f"top {self._show(top)}, butt {self._show(butt)}"
            raise SpokenError(f"The top is larger than the butt ({sizes}); are they swapped?")
        length, needs = self.sizes.get("length"), self.sizes.get("needs")
        if length is not None and needs is not None and needs > length:
            sizes = f"needs {self._show(needs)}, is {self._show(length)} long"
            raise SpokenError(f"The log is shorter than what it is needed for ({sizes}); one is wrong")

    def _check_times(self) -> None:
        felled, cut, state = self.got.get("felled"), self.got.get("cut"), self.got.get("state")
        if felled and cut and cut.time < felled.time and cut.time + cut.half <= felled.time - felled.half:
            raise SpokenError(f"The cut ({cut.said}) is earlier than the felling ({felled.said})")
        if state == "standing" and (cut or (felled and felled.time <= self.at)):
            raise SpokenError("A standing tree is neither felled nor cut; leave out one of the words")
        if state is None and felled and felled.time > self.at:
            self.got["state"] = "expected"
            self.assumed.append("felled lies ahead: taken as expected")

    def _understood(self) -> list[str]:
        """What was understood, one short line each."""
        wood = self.got["wood"]
        if isinstance(wood, Known):
            lines = [f"wood: {show_name(wood.species)}"]
        else:
            lines = [f"wood: {wood.said}, which one is asked"]
        for name in ("tag", "count"):
            if name in self.got:
                lines.append(f"{name}: {self.got[name]}")
        for name in ("butt", "top", "length", "needs"):
            if name in self.sizes:
                lines.append(f"{name}: {show_length(self.sizes[name], self.units)}")
        for name in ("felled", "cut", "expected"):
            if name in self.got:
                lines.append(f"{name}: {_when(self.got[name], self.zone)}")
        if "state" in self.got and "expected" not in self.got:
            lines.append({"long": "kept long: no open end"}.get(self.got["state"], self.got["state"]))
        for name in ("reach", "face", "worth", "use", "place", "note"):
            if self.got.get(name):
                lines.append(f"{name}: {self.got[name]}")
        for name, label in (("lump", "worth"), ("price_per_m3", "price per m³")):
            if name in self.got:
                lines.append(f"{label}: {self.got[name]:.4g}")
        if "metal" in self.got:
            lines.append("metal seen" if self.got["metal"] else "no metal seen")
        return lines


def _is_feet(text: str) -> bool:
    return re.fullmatch(rf"{_FEET}\.?", text, re.IGNORECASE) is not None


def _is_inches(text: str) -> bool:
    return re.fullmatch(rf"(?:{_NUM})\s?(?:in|inch|inches|\"|'')\.?", text, re.IGNORECASE) is not None


def _when(moment: RoughTime, zone: ZoneInfo) -> str:
    """The time meant in figures, beside the words said: saturday (2025-11-01, give or take 12 h)."""
    local = moment.time.astimezone(zone)
    if moment.half < timedelta(minutes=30):
        return f"{moment.said} ({local:%Y-%m-%d %H:%M})"
    if moment.half < timedelta(days=1):
        spread = f"{round(moment.half / timedelta(hours=1))} h"
    else:
        spread = f"{moment.half / timedelta(days=1):.0f} days"
    return f"{moment.said} ({local:%Y-%m-%d}, give or take {spread})"
