"""One log on screen and as JSON: its facts, its ends, what comes next, and its numbered history. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from scheduler.coating.product import litres_for
from scheduler.planning.ledger import stick_of_log
from scheduler.settings import Species, value_numbers
from scheduler.views.logs import Shelf, head, iso, job_words, log_json, state_words, voice_of
from scheduler.views.wording import Wording, first_upper
from scheduler.wood.value import green_weight, lift_warning
from scheduler.yard.condition import EndState
from scheduler.yard.facts import End, Log, Moment
from scheduler.yard.state import HistoryLine
from scheduler.yard.telling import describe

__all__ = ["sheet_parts", "show_json", "show_lines", "spare_of"]

ROUGH_DAYS = 30  # a date that may lie so far apart is told as rough
TOLD = ("first_coat", "cut_and_coat")  # jobs whose reason is the state of the end, which stands above them


def spare_of(log: Log) -> dict[str, float] | None:
    """What may still be lost at each end, cm; None where the finished length is not known.

    The spare of the whole is shared by the ends; what was trimmed from one counts against it first.
    """
    if log.length_cm is None or log.needs_cm is None or not log.ends:
        return None
    left = max(log.length_cm - log.needs_cm, 0.0)
    share = (left + sum(end.trimmed_cm for end in log.ends)) / len(log.ends)
    spare = {end.name: max(share - end.trimmed_cm, 0.0) for end in log.ends}
    total = sum(spare.values())
    return {name: cm * left / total if total else 0.0 for name, cm in spare.items()}


def show_json(shelf: Shelf, log: Log, lines: Sequence[HistoryLine], w: Wording) -> dict[str, Any]:
    """``log show --json``: as in the list, and more of each."""
    spare = spare_of(log) or {}
    out = log_json(shelf, log, w)
    for row, end in zip(out["ends"], log.ends, strict=True):
        row |= {
            "diameter_cm": end.diameter_cm,
            "checks": end.checks,
            "trimmed_cm": end.trimmed_cm,
            "spare_cm": None if end.name not in spare else round(spare[end.name], 1),
            "litres_per_coat": _litres(shelf, log, end),
        }
    return out | {
        "species_said": log.species_said,
        "felled": iso(log.felled.time if log.felled else None, w),
        "needs_cm": log.needs_cm,
        "worth": log.worth,
        "use": log.use,
        "saw_by": iso(keeps.by if (keeps := shelf.saw_by.get(log.tag)) else None, w),
        "count": log.count,
        "parent": log.parent,
        "assumed": list(log.assumed),
        "entries": [_history_json(line, w) for line in lines],
    }


def _litres(shelf: Shelf, log: Log, end: End) -> float | None:
    if end.diameter_cm is None:
        return None
    return round(litres_for(shelf.coating, end.diameter_cm, count=max(log.count, 1)), 3)


def _history_json(line: HistoryLine, w: Wording) -> dict[str, Any]:
    entry = line.entry
    return {
        "number": entry.number,
        "kind": entry.kind,
        "tag": entry.tag,
        "end": entry.end,
        "ends": list(entry.ends),
        "at": iso(line.moment.time, w),
        "who": entry.who,
        "holds": line.holds,
        "text": describe(entry, voice_of(w)),
    }


def show_lines(shelf: Shelf, log: Log, lines: Sequence[HistoryLine], w: Wording) -> list[str]:
    """``log show``: facts, ends with what is left to lose and what a coat takes, next jobs, the entries."""
    facts, ends, then = sheet_parts(shelf, log, w)
    out = [head(shelf, log, w), *facts]
    out += [f"  {name}: {text}" if text else f"  {name}" for name, text in ends]
    out += [*then, w.words["log.entries"]]
    out += [_history_line(line, w) for line in lines]
    out.append(w.words.say("log.to_mend", tag=log.tag))
    return out


def sheet_parts(shelf: Shelf, log: Log, w: Wording) -> tuple[list[str], list[tuple[str, str]], list[str]]:
    """A log's facts, its ends (name with size, sentences), and what comes next and was assumed."""
    ends = [_end_words(shelf, log, end, w) for end in log.ends] if log.state != "gone" else []
    then = _next(shelf, log, w) if log.state == "in_yard" else []
    if log.assumed:
        then.append(w.words.say("answer.assumed", assumed="; ".join(map(w.words.told, log.assumed))))
    return _facts(shelf, log, w), ends, then


def _facts(shelf: Shelf, log: Log, w: Wording) -> list[str]:
    row = shelf.species.get(log.species or "")
    voice, say = voice_of(w), w.words.say
    parts = [row.botanical if row is not None else w.words["log.careful"]]
    if log.felled is not None:
        parts.append(say("log.felled", when=voice.when(log.felled, w.at)))
    parts.append(_worth(log, row, w))
    if log.lump is not None:
        parts.append(say("log.lump", sum=f"{log.lump:.0f}"))
    if log.use:
        parts.append(say("log.for_use", use=log.use))
    if log.needs_cm is not None:
        parts.append(say("log.needs", size=w.length(log.needs_cm)))
    if log.parent:
        parts.append(say("log.piece_of", tag=log.parent))
    if log.metal:
        parts.append(w.words["log.metal"])
    out = [f"{first_upper(', '.join(parts))}."]
    spare = spare_of(log)
    if spare is not None:
        sizes = ", ".join(f"{w.length(cm)} {w.end(name)}" for name, cm in spare.items())
        out.append(say("log.spare", sizes=sizes))
    if log.state == "in_yard":
        out += _keeping(shelf, log, w)
        out += _weight(log, row, w)
    if log.note:
        out.append(say("log.note", note=log.note))
    return out


def _worth(log: Log, row: Species | None, w: Wording) -> str:
    """ "prized", "good, by its wood"."""
    if log.worth:
        return w.words[f"log.worth.{log.worth}"]
    if row is None:
        return w.words["log.no_worth"]
    return w.words.say("log.by_wood", worth=w.words[f"log.worth.{row.worth}"])


def _keeping(shelf: Shelf, log: Log, w: Wording) -> list[str]:
    """By when it wants the saw, and why; what beetles may do now."""
    keeps = shelf.saw_by.get(log.tag)
    out = []
    if keeps is not None and keeps.words:
        why = "; ".join(map(w.words.told, keeps.words[:2]))
        if keeps.by is not None and keeps.by > w.at:
            rough = False
            if keeps.earliest is not None and keeps.latest is not None:
                rough = (keeps.latest - keeps.earliest).days > ROUGH_DAYS
            key = "log.saw_by_rough" if rough else "log.saw_by_why"
            out.append(w.words.say(key, day=w.month_day(keeps.by), why=why))
        else:
            out.append(w.words.say("log.keeps", why=why))
    if log.tag in shelf.beetles:
        out.append(f"{first_upper(w.words.told(shelf.beetles[log.tag]))}.")
    return out


def _weight(log: Log, row: Species | None, w: Wording) -> list[str]:
    """Green weight with its doubt, and what it asks for."""
    if row is None or log.length_cm is None or not any(end.diameter_cm for end in log.ends):
        return []
    numbers = value_numbers()
    found = green_weight(
        stick_of_log(log).volume_m3, row.basic_density, row.green_moisture, numbers, bark=log.thick_cm is None
    )
    warning = lift_warning(found.high, numbers)
    low, middle, high = (w.weight(kg) for kg in (found.low, found.kg, found.high))
    told = w.words.say("log.weight", middle=middle, low=low, high=high)
    return [f"{told} {w.words.told(warning)}" if warning else told]


def _end_words(shelf: Shelf, log: Log, end: End, w: Wording) -> tuple[str, str]:
    """ "butt 62 cm", "cracked (open), open since Fri 24 Oct. A coat takes 0.13 L."."""
    size = "" if end.diameter_cm is None else f" {w.length(end.diameter_cm)}"
    about = f" ({w.words['log.about']})" if end.assumed_diameter and size else ""
    name = f"{w.end(end.name)}{size}{about}"
    if log.state != "in_yard":
        return name, ""
    state = shelf.state(log, end)
    parts = [f"{state_words(end, state, w)}."]
    if not end.reach:
        return name, f"{parts[0]} {w.words['ends.out_of_reach']}."
    parts += _clocks(state, w)
    parts += _loss(shelf, log, end, w)
    litres = _litres(shelf, log, end)
    if litres is not None:
        parts.append(w.words.say("log.takes", litres=w.litres(litres)))
    return name, " ".join(parts)


def _loss(shelf: Shelf, log: Log, end: End, w: Wording) -> list[str]:
    """What it has lost and will lose: calibrated to rules of thumb, not measured."""
    found = next((one for key, one in shelf.worths.items() if key[:2] == (log.tag, end.name)), None)
    if found is None or found.open_cm[1] < 0.3:
        return []
    low, middle, high = (w.about_length(cm) for cm in found.open_cm)
    key = "log.lost_spring" if found.spring else "log.lost_saw"
    so_far = w.about_length(found.so_far_cm[1])
    return [w.words.say(key, so_far=so_far, middle=middle, low=low, high=high)]


def _clocks(state: EndState | None, w: Wording) -> list[str]:
    """By when a milky coat will have come so far."""
    fate = state.fate if state is not None and state.state == "wet" else None
    if fate is None:
        return []
    named = (
        ("stone.rain_safe", fate.rain_safe),
        ("stone.frost_safe", fate.frost_safe),
        ("stone.dry", fate.dry),
    )
    known = [
        w.words.say("stone.by", what=w.words[key], time=w.by(when))
        for key, when in named
        if when is not None and when > w.at
    ]
    return [f"{first_upper(', '.join(known))}."] if known else []


def _next(shelf: Shelf, log: Log, w: Wording) -> list[str]:
    same: dict[str, list[str]] = {}
    for end in log.ends:
        job = shelf.next_job(log, end)
        if job is not None:
            why = f" ({w.words.told(job.why)})" if job.why and job.kind not in TOLD else ""
            same.setdefault(f"{job_words(job, w)}{why}", []).append(w.end(end.name))
    if not same:
        return [w.words["log.next_nothing"]]
    return [w.words.say("log.next", job=words, ends=w.join(names)) for words, names in same.items()]


def _history_line(line: HistoryLine, w: Wording) -> str:
    entry = line.entry
    back = "" if line.holds else f"  ({w.words['log.taken_back']})"
    who = f", {entry.who}" if entry.who else ""
    moment = line.moment if entry.kind != "add" else Moment(entry.recorded_at)
    return f"{entry.number:>5}  {voice_of(w).when(moment, w.at)}: {describe(entry, voice_of(w))}{who}{back}"
