"""What a reminder says, from the codes and values that it holds, in the words of the yard. Pure.

Texts name days, never "today", so that they stay true as time goes by.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from scheduler.reminders.wanted import ROOFED, Wanted, action_of
from scheduler.settings import species_table
from scheduler.units import show_clock
from scheduler.views.custom import clock_form, date_text
from scheduler.views.wording import Wording, first_upper
from scheduler.wood.species import show_name
from scheduler.yard.reminder_row import ReminderRow

__all__ = [
    "action_words",
    "exact_clock",
    "frost_text",
    "hint_words",
    "order_text",
    "pail_name",
    "place_words",
    "plain_day",
    "reminder_parts",
    "reminder_text",
    "room_text",
    "season_told",
    "sentences",
    "since_words",
    "state_words",
    "wanted_text",
    "warming_text",
    "which",
    "why_words",
    "work_line",
]

Payload = Mapping[str, Any]
FAR = timedelta(days=270)  # a day so far from what it stands beside is told with its year
STATES = ("done", "dropped", "cancelled")
DATES = {  # (rough, far)
    (False, False): "reminder.date",
    (False, True): "reminder.date_year",
    (True, False): "reminder.date_rough",
    (True, True): "reminder.date_rough_year",
}


def reminder_text(row: ReminderRow, w: Wording) -> str:
    """The sentences of a kept reminder; of a row of an older version those that it was kept with."""
    return row.text or " ".join(sentences(row.kind, row.tag or "", row.end or "", row.due_at, row.payload, w))


def reminder_parts(row: ReminderRow, w: Wording) -> tuple[str, str]:
    """What is to be done, for a line to tap on, and the sentences that follow it."""
    if row.text:
        head, _, rest = row.text.partition(". ")
        return head.rstrip("."), rest
    first, *more = sentences(row.kind, row.tag or "", row.end or "", row.due_at, row.payload, w)
    return first.rstrip("."), " ".join(more)


def wanted_text(one: Wanted, w: Wording) -> str:
    """The sentences of a reminder as it should be now."""
    return " ".join(sentences(one.kind, one.tag, one.end, one.due, one.payload, w))


def sentences(kind: str, tag: str, end: str, due: datetime, payload: Payload, w: Wording) -> list[str]:
    """ "H01 wild cherry, butt: first coat.", "Open since Sat 1 Nov, felled Fri 31 Oct." """
    if kind == "span":
        return [_span_text(payload, w)]
    if kind == "season":
        day = plain_day(date.fromisoformat(payload["day"]), w)
        head = w.words.say("reminder.season_head", day=day, action=action_words(payload, w))
        return [head, season_told(payload, w)]
    if kind == "pail_frost":
        return [frost_text(payload, w), room_text(payload, w)]
    if kind == "pail_warm":
        return [warming_text(payload, w)]
    if kind == "pail_order":
        return [order_text(payload, w)]
    log = which(tag, [end] if end else [], payload, w, pieces=True)
    head = w.words.say("reminder.head", which=log, action=action_words(payload, w))
    return [head, *filter(None, [why_words(payload, w), since_words(payload, due, w)])]


def state_words(state: str, w: Wording) -> str:
    """ "called off", "done", "dropped"; empty while it is open."""
    return w.words[f"reminder.state.{state}"] if state in STATES else ""


# ------------------------------------------------------------------ days and hours


def plain_day(day: date, w: Wording, beside: date | None = None, *, rough: bool = False) -> str:
    """ "Sat 1 Nov"; with the year where it is far from ``beside``; "about 20 Oct" where it is rough."""
    far = beside is not None and abs(beside - day) > FAR
    pattern = w.words[DATES[rough, far]]
    text = date_text(datetime.combine(day, time(12), UTC), pattern, w.words.language)
    return w.words.say("reminder.about", day=text) if rough else text


def exact_clock(when: datetime, w: Wording, beside: date | None = None) -> str:
    """ "20:00", "8 pm"; "Wed 9:30" where the day is another than ``beside``."""
    local = w.local(when)
    form = clock_form(w.units, w.words.language)
    clock = w.words.say("time.clock", clock=show_clock(local, form))
    if beside is None or local.date() == beside:
        return clock
    weekday = date_text(local, w.words["date.weekday"], w.words.language)
    return w.words.say("time.day_clock", day=weekday, clock=clock)


def _day_of(text: str, w: Wording) -> date:
    return w.day_of(datetime.fromisoformat(text))


# ------------------------------------------------------------------ logs


def which(tag: str, ends: Sequence[str], payload: Payload, w: Wording, *, pieces: bool = False) -> str:
    """ "H01 wild cherry, butt and top"; with ``pieces`` "H01 wild cherry (3 pieces), butt and top"."""
    say, count = w.words.say, payload.get("count") if pieces else None
    name = say("reminder.log", tag=tag, wood=_wood(payload, w))
    if count:
        name = say("reminder.pieces", log=name, count=count)
    return say("reminder.of_ends", log=name, ends=w.join([w.end(end) for end in ends])) if ends else name


def _wood(payload: Payload, w: Wording) -> str:
    row = species_table().get(payload.get("species") or "")
    if row is not None:
        return show_name(row, w.language.partition("-")[0])
    return payload.get("wood") or w.words["reminder.no_wood"]


def action_words(payload: Payload, w: Wording, default: str = "") -> str:
    """What to do in words: "first coat"."""
    code = action_of(payload, default)
    return w.words.get(f"reminder.action.{code}", code)


def why_words(payload: Payload, w: Wording, *, sentence: bool = True) -> str:
    """Why it is to be done: "Cracked: cut back to clean wood."; without ``sentence`` as a part of one."""
    said = payload.get("why") or ""
    text = w.words.told(said[:1].lower() + said[1:].removesuffix("."))  # older rows hold a sentence
    if not sentence:
        return text
    return text and first_upper(text) + ("" if text.endswith("?") else ".")


def hint_words(hint: str, w: Wording) -> str:
    """What may help, as a sentence."""
    return f"{first_upper(w.words.told(hint))}."


def since_words(payload: Payload, due: datetime, w: Wording) -> str:
    """Since when, and who is needed: "Open since Sat 1 Nov, felled Fri 31 Oct. Two people for the saw." """
    if "detail" in payload:  # of an older version
        return str(payload["detail"])
    two = w.words["reminder.two"] if payload.get("two") else ""
    return " ".join(filter(None, [_since(payload, w.day_of(due), w), two]))


def _since(payload: Payload, due: date, w: Wording) -> str:
    say = w.words.say
    coated, felled, cut = (_moment(payload.get(name), due, w) for name in ("coated", "felled", "cut"))
    if coated:
        return say("reminder.coated", day=coated)
    if not cut:
        return say("reminder.felled", day=felled) if felled else ""
    if payload["cut"]["assumed"] and cut != felled:
        taken = say("reminder.taken", day=cut)
        return f"{taken} {say('reminder.felled', day=felled)}" if felled else taken
    if not felled:
        return say("reminder.open", day=cut)
    if cut == felled:
        return say("reminder.felled_open", day=cut)
    return say("reminder.open_felled", day=cut, felled=felled)


def _moment(told: Payload | None, due: date, w: Wording) -> str:
    if told is None:
        return ""
    return plain_day(date.fromisoformat(told["day"]), w, due, rough=told["rough"])


# ------------------------------------------------------------------ spans


def _span_text(payload: Payload, w: Wording) -> str:
    """ "Tue 4 Nov: brush 9 to 13, about 9 in 10." """
    start, end = (datetime.fromisoformat(payload[name]) for name in ("brush_start", "brush_end"))
    return w.words.say(
        "reminder.span",
        day=plain_day(w.day_of(start), w),
        hours=w.span(start, end),
        place=place_words(payload, w),
        chance=w.words.say("chance.about", tenths=payload["in_ten"]),
        unsure=w.words["reminder.unsure"] if payload.get("unsure") else "",
    )


def place_words(payload: Payload, w: Wording) -> str:
    """Where a span is one, to be put behind its hours; nothing of the open yard."""
    place = payload.get("place")
    if not place:
        return ""
    return w.words["reminder.roofed"] if place == ROOFED else w.words.say("reminder.in_place", place=place)


def work_line(work: Payload | str, w: Wording) -> str:
    """ "H02 walnut, butt and top: fresh cut and first coat (two people)"."""
    if isinstance(work, str):  # of an older version
        return work
    named = work.get("species") or work.get("wood")
    head = which(work["tag"], work["ends"], work, w) if named else _bare(work, w)
    two = w.words["reminder.by_two"] if work.get("two") else ""
    return w.words.say("reminder.work", which=head, action=action_words(work, w), two=two)


def _bare(work: Payload, w: Wording) -> str:
    return w.words.say("reminder.of_ends", log=work["tag"], ends=w.join([w.end(end) for end in work["ends"]]))


# ------------------------------------------------------------------ the season


def season_told(payload: Payload, w: Wording, *, years: bool = False) -> str:
    """What past years say of a day of the season; with ``years`` also how many they are."""
    if "detail" in payload:  # of an older version
        return str(payload["detail"])
    name, say, half = action_of(payload), w.words.say, payload.get("half")
    said = [w.words[f"reminder.season.{name}"]]
    if half:
        said.append(say(f"reminder.season.{name}_half", day=plain_day(date.fromisoformat(half), w)))
    if years:
        said.append(say("reminder.years", count=payload["years"]))
    return " ".join(said)


# ------------------------------------------------------------------ the pail


def frost_text(facts: Payload, w: Wording) -> str:
    """ "Pail in before dark on Mon 3 Nov: frost in the lean-to by 2:00, about -2 °C."

    ``facts`` are those of ``reminders/pails.py`` and ``day``, whose night it is.
    """
    say, place, air = w.words.say, facts.get("where"), facts.get("air_c")
    told = {
        "pail": pail_name(facts["pail"], w),
        "day": plain_day(date.fromisoformat(facts["day"]), w),
        "where": say("reminder.pail.in_place", place=place) if place else w.words["reminder.pail.in_yard"],
        "cold": "" if air is None else w.temperature(air),
    }
    if facts.get("frost_at") is None:
        return say("reminder.pail.cold", **told)
    clock = exact_clock(datetime.fromisoformat(facts["frost_at"]), w)
    return say("reminder.pail.frost", **told, clock=clock)


def room_text(facts: Payload, w: Wording) -> str:
    """Where to put it."""
    return w.words.say("reminder.pail.room", least=w.temperature(facts["room_c"]))


def warming_text(facts: Payload, w: Wording) -> str:
    """ "Pail into the warm on Sun 2 Nov, for the brush on Tue 4 Nov: ..." """
    by, brush = _day_of(facts["by"], w), _day_of(facts["brush"], w)
    return w.words.say(
        "reminder.pail.warm",
        pail=pail_name(facts["pail"], w),
        day=plain_day(by, w),
        brush=plain_day(brush, w, by),
        now=w.temperature(facts["now_c"]),
        hours=facts["hours"],
        room=w.temperature(facts["room_c"]),
        goal=w.temperature(facts["goal_c"]),
    )


def order_text(facts: Payload, w: Wording) -> str:
    """ "Order 1.2 L of wax by Sat 8 Nov: from about Tue 2 Dec on a night may freeze it on its way ..." """
    say, litres = w.words.say, w.litres(facts["litres"])
    if facts["van"]:
        return say("reminder.pail.order_van", litres=litres)
    if facts.get("frost") is None or facts.get("by") is None:
        return say("reminder.pail.order", litres=litres)
    by, frost = (date.fromisoformat(facts[name]) for name in ("by", "frost"))
    return say(
        "reminder.pail.order_by",
        litres=litres,
        day=plain_day(by, w),
        frost=plain_day(frost, w, by),
        delivery=facts["delivery_d"],
        spare=facts["spare_d"],
    )


def pail_name(name: str, w: Wording) -> str:
    """ "Pail", or "Pail B" where there is more than one."""
    return w.words["reminder.pail.one"] if name == "pail" else w.words.say("reminder.pail.named", name=name)
