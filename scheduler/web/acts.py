"""What the page's buttons do: each writes by the same functions as the command of that name."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial
from typing import Any, get_args

from scheduler.commands.book import by_of, moment_of, places_of, record, voice_of
from scheduler.commands.change import changing
from scheduler.commands.common import Fail, Session
from scheduler.commands.log import taking_in, understood
from scheduler.commands.note import noted
from scheduler.commands.set import SHORT, changed
from scheduler.commands.told import fields_of, wood_of
from scheduler.commands.yard import away_told, seen_told
from scheduler.reminders.queue import Answer, mark
from scheduler.settings import Species, species_table
from scheduler.views.reminder import reminder_text
from scheduler.views.words import words_in
from scheduler.web.desk import Desk
from scheduler.web.forms import Form
from scheduler.wood.species import CAREFUL, Ambiguous, Unknown, find
from scheduler.yard.book import Note, Written, note, undo
from scheduler.yard.entries import Entry, YardError
from scheduler.yard.facts import Register, Worth
from scheduler.yard.state import fold

__all__ = [
    "SETTINGS",
    "TIMES",
    "Doubt",
    "Outcome",
    "add_log",
    "answer",
    "catch_up",
    "change_log",
    "mend",
    "note_many",
    "pail",
    "remind",
    "rest",
    "set_one",
    "take_back",
]  # fmt: skip

SETTINGS = ("name", "people", "coats", "hollow", "morning")
TIMES = ("morning", "noon", "afternoon")
KINDS = frozenset(
    [
        "cut",
        "coat",
        "look",
        "roof",
        "unroof",
        "move",
        "divide",
        "halve",
        "saw",
        "leave",
        "skip",
        "saw-first",
        "gone",
    ]
)
TOLD = ("butt", "top", "length", "cut", "felled", "needs", "place", "worth", "note", "use", "face", "state")
RESTS = ("size", "found", "seen", "place", "why")  # fields that are words of the note
BOXES: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "cut": ("cut", ()),
    "coat": ("coat", ()),
    "milky": ("look", ("milky",)),
    "clear": ("look", ("clear",)),
}
ANSWERS: Mapping[str, Answer] = {"done": "done", "later": "later", "drop": "drop"}


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was written: the sentence, the number of the command's last entry (None: nothing to take back).

    ``plain``: it is done as it was asked for, and the sentence says nothing else.
    """

    said: str
    batch: int | None = None
    tag: str | None = None
    plain: bool = False


class Doubt(ValueError):  # noqa: N818 - a question, not a fault
    """A word that means two woods: to be asked, never guessed."""

    def __init__(self, said: str, candidates: Sequence[Species]) -> None:
        super().__init__(f"'{said}' is the name of more than one wood. Which one is it?")
        self.said, self.candidates = said, tuple(candidates)


def _outcome(written: Written, tag: str | None = None) -> Outcome:
    last = written.entries[-1] if written.entries else None
    return Outcome(written.said, None if last is None else last.number, tag, written.plain)


def _word(here: Session, key: str, **values: object) -> str:
    """A sentence of the page in the yard's language."""
    return words_in(here.yard.yard.language).say(key, **values)


def _tags(here: Session, form: Form) -> list[str]:
    tags = [tag for tag in form.all("tag") if tag.strip()]
    if not tags:
        raise Fail(_word(here, "wrong.no_tick"))
    return tags


# ------------------------------------------------------------------ notes


def note_many(here: Session, form: Form) -> Outcome:
    """``note``: what the form says was done at the ticked logs; ``ends`` as TAG/END tick single ends."""
    kind, words = BOXES.get(form.get("kind", ""), (form.get("kind", ""), ()))
    if kind not in KINDS:
        raise Fail(_word(here, "wrong.no_button"))
    if form.all("ends"):
        return _outcome(_by_ends(here, form, kind, words))
    tags = _tags(here, form)
    rest = [*words, *(word for name in RESTS for word in form.get(name, "").split())]
    given: dict[str, Any] = {"end": [e for e in form.all("end") if e] or None}
    for name in ("litres", "thick", "till", "reach", "lost"):
        given[name] = form.text(name)
    into = form.text("into")
    if into is not None:
        if not into.isdecimal() or len(into) > 4:
            raise Fail(_word(here, "wrong.sawn_into", text=into))
        given["into"] = int(into)
    given |= {"part": "part" in form, "second": "second" in form}
    for tag in tags:
        _plain_tag(here, tag)
    written = noted(here, [",".join(tags), kind, *rest], given, form.text("when"), form.text("who"))
    return _outcome(written, tags[0] if len(tags) == 1 else None)


def _plain_tag(here: Session, tag: str) -> None:
    """A tag as it stands on a log: what reads like a list of tags is not one."""
    if re.search(r"[,;]", tag) or tag.startswith("@"):
        raise Fail(_word(here, "wrong.no_tag", tag=tag))


def _by_ends(here: Session, form: Form, kind: str, words: tuple[str, ...]) -> Written:
    """One command for ticked ends of several logs."""
    ticked: dict[str, list[str]] = {}
    for pair in form.all("ends"):
        tag, _, end = pair.rpartition("/")
        ticked.setdefault(tag, []).append(end)
    steps = [(tag, kind, words, tuple(ends)) for tag, ends in ticked.items()]
    when = form.text("when")
    return _steps(here, [(*step, when) for step in steps])


Step = tuple[str, str, tuple[str, ...], tuple[str, ...], str | None]


def _steps(here: Session, steps: Sequence[Step]) -> Written:
    """Several notes as one command: all of them or none, taken back as a whole."""
    by, voice, places = by_of(here), voice_of(here), places_of(here)
    moments = {when: moment_of(here, when, _word(here, "wrong.the_time")) for *_, when in steps if when}

    def act(register: Register, entries: tuple[Entry, ...]) -> Written:
        done: list[Entry] = []
        said: list[str] = []
        for tag, kind, words, ends, when in steps:
            now = fold((*entries, *done), here.at) if done else register
            options = Note(ends=ends, when=moments[when] if when else None)
            written = note([tag], kind, words, now, by, options, voice=voice, places=places)
            done += [replace(entry, batch=(done or written.entries)[0].batch) for entry in written.entries]
            said.append(written.said)
        return Written(tuple(done), " ".join(said))

    return record(here, act)


def mend(here: Session, form: Form) -> Outcome:
    """``note TAG correct N``: an entry happened earlier, or not at all."""
    tag, number = _tags(here, form)[0], form.get("entry", "")
    _plain_tag(here, tag)
    when = form.text("when")
    if not number.isdecimal():
        raise Fail(_word(here, "wrong.which_entry"))
    if when is None and "drop" not in form:
        raise Fail(_word(here, "wrong.when_was_it"))
    given = {"drop": when is None}
    return _outcome(noted(here, [tag, "correct", number], given, when), tag)


def take_back(here: Session, form: Form) -> Outcome:
    """``undo``: the command that the page told of, if nothing was written since."""
    by, voice = by_of(here), voice_of(here)
    told = form.get("batch", "")

    def act(_register: Register, entries: tuple[Entry, ...]) -> Written:
        if told and (not entries or str(entries[-1].number) != told):
            raise YardError(_word(here, "wrong.noted_since"))
        return undo(entries, by, voice=voice)

    written = record(here, act)
    return Outcome(written.said.replace(f" {voice.words['answer.again']}", ""))


def catch_up(here: Session, form: Form) -> Outcome:
    """The wall sheet's ticks: boxes named TAG/BOX, rough times named TAG/time."""
    default = form.text("time")
    steps: list[Step] = []
    for pair in form.all("box"):
        tag, _, box = pair.rpartition("/")
        if box not in BOXES:
            raise Fail(_word(here, "wrong.no_such_box"))
        kind, words = BOXES[box]
        when = form.text(f"time/{tag}") or default
        day = form.text("day")
        said = when if day is None or when is None else f"{day} {when}"
        steps.append((tag, kind, words, (), said))
    if not steps:
        raise Fail(_word(here, "wrong.no_box"))
    order = ("cut", "coat", "look")
    steps.sort(key=lambda step: order.index(step[1]))
    return _outcome(_steps(here, steps))


# ------------------------------------------------------------------ a log


def add_log(here: Session, form: Form, known: Mapping[str, str]) -> Outcome:
    """``log add``: by a line, or by the fields of the form.

    Raises
    ------
    Doubt
        Where the wood's word means two woods; the form then asks which.
    """
    line = form.text("line")
    told = {name: form.text(name) for name in (() if line else TOLD)}
    if told.get("face"):
        told["cut"] = None
    fields = {k: v for k, v in fields_of(here, {k: v for k, v in told.items() if v}).items() if v is not None}
    if "metal" in form:
        fields["metal"] = True
    if form.text("reach"):
        fields["reach"] = frozenset(
            {"both": ("butt", "top"), "none": ()}.get(form["reach"], (form["reach"],))
        )
    tag = form.text("new_tag")
    which = form.text("which")
    if line is not None:
        words = line.split()
        _ask_line(here, line, known, which)
    else:
        wood = form.text("other") or form.text("wood")
        if wood is None:
            raise Fail(_word(here, "wrong.tap_a_wood"))
        _ask(wood, known, which)
        words = [tag] if tag else []
        if which is None:
            log = understood(here, words, wood, fields, known)
        else:
            log = _chosen(here, words, wood, which, fields, known)
        return _outcome(record(here, taking_in(here, log)))
    log = understood(here, words, which, fields, known)
    return _outcome(record(here, taking_in(here, log)))


def _ask(wood: str, known: Mapping[str, str], which: str | None) -> None:
    found = find(wood, known, species_table())
    if isinstance(found, Ambiguous) and which is None:
        raise Doubt(wood, found.candidates)


def _chosen(
    here: Session, words: list[str], wood: str, which: str, fields: dict[str, Any], known: Mapping[str, str]
) -> Any:
    """The log of a word that was asked about: the answer is remembered for the yard."""
    from dataclasses import replace as other

    log = understood(here, words, which, fields, known)
    if which == CAREFUL:
        return other(log, fields=log.fields | {"species_said": wood})
    return other(log, fields=log.fields | {"species_said": wood}, word=(wood, which))


def _ask_line(here: Session, line: str, known: Mapping[str, str], which: str | None) -> None:
    """Ask about the wood of a free line where it is in doubt; other faults are told by the reader itself."""
    from scheduler.yard.spoken import SpokenError, parse_log_line

    try:
        read = parse_log_line(
            line.split(), at=here.at, zone=here.yard.zone, units=here.yard.yard.units, table=species_table(),
            own_words=known,
        )  # fmt: skip
    except SpokenError:
        return
    if isinstance(read.wood, Ambiguous) and which is None:
        raise Doubt(read.species_said, read.wood.candidates)


def change_log(here: Session, tag: str, form: Form, known: Mapping[str, str]) -> Outcome:
    """``log change``: the fields of the form that were filled in."""
    told = {
        name: form.text(name)
        for name in ("butt", "top", "length", "felled", "cut", "worth", "needs", "place", "note", "use")
    }
    told["worth"] = _worth_of(here, told["worth"])
    fields = fields_of(here, {name: text for name, text in told.items() if text})
    if form.text("new_tag"):
        fields["tag"] = form["new_tag"].strip()
    wood = None
    said = form.text("wood")
    if said is not None:
        _ask(said, known, None)
        if isinstance(find(said, known, species_table()), Unknown):
            wood_of(here, said, known)  # says what is near
        wood = wood_of(here, said, known)
        fields |= wood.fields
    if not fields:
        raise Fail(_word(here, "wrong.nothing_filled"))
    return _outcome(record(here, changing(here, tag, fields, wood)), tag)


def _worth_of(here: Session, said: str | None) -> str | None:
    """A word for what a log is worth, as it is written in the yard's language; else what was said."""
    words = words_in(here.yard.yard.language)
    known = {words[f"log.worth.{worth}"].casefold(): worth for worth in get_args(Worth)}
    return known.get((said or "").casefold(), said)


# ------------------------------------------------------------------ the yard


def answer(here: Session, form: Form) -> Outcome:
    """The morning's question: ``seen frost``, or a look at a coat."""
    said = form.get("said", "")
    if form.get("kind") == "frost":
        return _outcome(seen_told(here, "frost", said))
    if said not in ("clear", "milky", "skips", "spoiled"):
        raise Fail(_word(here, "wrong.no_such_answer"))
    tag = _tags(here, form)[0]
    _plain_tag(here, tag)
    return _outcome(
        noted(here, [tag, "look", said], {"end": [form["end"]] if form.text("end") else None}), tag
    )


def remind(desk: Desk, here: Session, form: Form) -> Outcome:
    """``reminders done``, ``later`` or ``drop``: the answer to one reminder."""
    number, said = form.get("reminder", ""), form.get("answer", "")
    if said not in ANSWERS or not number.isdecimal():
        raise Fail(_word(here, "wrong.no_such_answer"))
    text = partial(reminder_text, w=here.wording)
    local = (here.at + timedelta(days=1)).astimezone(here.yard.zone)
    until = local.replace(hour=0, minute=5, second=0, microsecond=0) if said == "later" else None
    row = mark(desk.store(), here.yard.yard.key, number, ANSWERS[said], here.at, until, said=text)
    return Outcome(_word(here, f"answer.{said}", text=text(row)))


def pail(here: Session, form: Form) -> Outcome:
    """``pail``: what is in it, by litres or by eye, and where it stands."""
    from scheduler.commands import yard as told
    from scheduler.yard import book

    stock, where = form.text("litres") or form.text("stock"), form.text("where")
    if stock is None and where is None:
        raise Fail(_word(here, "wrong.pail"))
    facts: dict[str, Any] = told._stock(here, stock or "")
    if form.text("name"):
        facts["name"] = form.text("name")
    if where is not None:
        facts["place"] = told._place(here, where)
    by = by_of(here)
    written = record(here, lambda register, _: book.pail(register, by, **facts))
    return Outcome(told.told_of_pail(here, facts), written.entries[-1].number)


def rest(here: Session, form: Form) -> Outcome:
    """``away``: until a day, or back."""
    until = form.text("until")
    return _outcome(
        away_told(here, ["back"] if "back_now" in form or until is None else ["until", *until.split()])
    )


def set_one(here: Session, form: Form) -> Outcome:
    """``set``: one of the five settings."""
    name, value = form.get("name", ""), form.text("value")
    if name not in SETTINGS:
        raise Fail(_word(here, "wrong.no_setting"))
    if value is None:
        raise Fail(_word(here, "wrong.no_value"))
    assert here.yard.path is not None
    assert name in SHORT
    key, was, now = changed(here.yard.path, name, value)
    told = "answer.setting" if was is None else "answer.setting_was"
    return Outcome(_word(here, told, name=key, now=now, was=was))


Act = Callable[[Session, Form], Outcome]
