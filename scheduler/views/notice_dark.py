"""What must be done in the light, what is said after it, and what rings alone. Pure.

Outdoor work for the night is told hours before sunset and never when the light
is nearly gone; the evening's word holds only what needs no walk into the yard.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, time, timedelta

from scheduler.planning.night import Peril
from scheduler.planning.verdict import TimedSpan
from scheduler.reminders.outgoing import may_ring_now, pauses
from scheduler.reminders.walltime import due_at, last_due, morning_of
from scheduler.settings import pail_numbers, parse_clock
from scheduler.views.notice_said import (
    FIRST_LINE,
    Notice,
    Occasion,
    asked_tags,
    hours_of,
    kept_short,
    named,
    pail_rings,
    wet_tags,
)
from scheduler.views.reminder import wanted_text
from scheduler.views.today import tonight

__all__ = ["before_dark", "blind", "can_leave", "danger", "evening", "pail", "pail_reminders"]

LIGHT_ENDS = timedelta(minutes=30)  # before sunset: by then outdoor work is done
DANGER_AHEAD = timedelta(hours=6)  # how long before a coat is spoiled that rings
ROOFED_BY = timedelta(minutes=30)  # before that
WATCHED = timedelta(days=3)  # so long after a coat was laid its weather is watched
DAY = timedelta(days=1)
NIGHT_ENDS = timedelta(
    hours=15
)  # after the before-dark notice's time: what is spoiled later is tomorrow's word


def can_leave(o: Occasion, one: Notice) -> bool:
    """Whether the quiet hours leave a notice any time of use."""
    return o.quiet.free_from(max(one.due, o.at), danger=may_ring_now(one.kind)) < one.expires


# ------------------------------------------------------------------ a wet coat


def danger(o: Occasion) -> Notice | None:
    """A milky coat is about to be spoiled, and it is light enough to do something."""
    sun = o.sun
    if sun is None or not sun[0] <= o.at < sun[1] - LIGHT_ENDS:
        return None
    near = [p for p in o.b.perils if p.at <= min(o.at + DANGER_AHEAD, sun[1])]
    if not near:
        return None
    tags = list(dict.fromkeys(p.tag for p in near))
    key, known = f"danger/{o.day.isoformat()}", o.told.get(f"danger/{o.day.isoformat()}")
    if known is not None and set(tags) <= set(known.action.removeprefix("roof ").split(",")):
        return None
    w, say, first = o.w, o.w.words.say, near[0]
    subject = _with_logs(o, _danger_key(first), tags, clock=w.clock(first.at))
    by = first.at - ROOFED_BY
    in_time = by >= o.at + ROOFED_BY / 2
    roof = say("notice.danger_roof", clock=w.clock(by)) if in_time else say("notice.danger_now")
    lines = (subject, roof, say("today.caution_roof"))
    action = f"roof {','.join(tags)}"
    return Notice("danger", key, action, subject, lines, o.at, min(first.at, sun[1]), True)


def _danger_key(one: Peril) -> str:
    return "notice.danger_rain" if "rain" in one.rule else "notice.danger_frost"


def _with_logs(o: Occasion, key: str, tags: Sequence[str], **values: object) -> str:
    """A first line with as many logs as fit."""
    line = ""
    for most in (4, 3, 2, 1):
        line = o.w.words.say(key, logs=named(tags, o.w, most), **values)
        if len(line) <= FIRST_LINE:
            return line
    return line[:FIRST_LINE]


def blind(o: Occasion) -> Notice | None:
    """A coat is wet and there is no fresh forecast to watch it by."""
    age, sun, tags = o.b.morning.age, o.sun, _laid_lately(o)
    if age.word == "fresh" or not tags or sun is None:
        return None
    begin = max(sun[0], due_at(o.day, morning_of(o.times), o.w.zone))
    if not begin <= o.at < sun[1] - LIGHT_ENDS:
        return None
    w, say = o.w, o.w.words.say
    issued = o.b.forecast.provenance.issued if o.b.forecast.provenance else None
    subject = _with_logs(o, "notice.blind", tags)
    last = say("notice.blind_none")
    if issued is not None and age.hours is not None:
        last = say("notice.blind_age", when=w.when(issued), hours=f"{age.hours:.0f}")
    lines = (subject, last, say("notice.blind_look"), say("today.caution_roof"))
    key = f"blind/{o.day.isoformat()}"
    return Notice("blind", key, "look by eye", subject, lines, begin, sun[1] - LIGHT_ENDS, True)


def _laid_lately(o: Occasion) -> list[str]:
    """Logs with a milky end whose coat is of the last days; an older one wants a look, not a watch."""
    out = []
    for tag, name in o.b.morning.wet:
        log = o.b.register.log(tag)
        end = log.end(name) if log is not None else None
        coat = end.last_coat if end is not None else None
        if coat is not None and o.at - coat.moment.time < WATCHED:
            out.append(tag)
    return list(dict.fromkeys(out))


# ------------------------------------------------------------------ before dark


def before_dark(o: Occasion) -> Notice | None:
    """What must be done while it is light: wet coats to roof, the pail, tomorrow's work made ready."""
    sun = o.sun
    if sun is None:
        return None
    due = sun[1] - timedelta(hours=o.times.before_dark_h)
    light = sun[1] - LIGHT_ENDS
    key = f"before_dark/{o.day.isoformat()}"
    perils = [p for p in o.b.perils if p.at <= due + NIGHT_ENDS]
    roof, ready = list(dict.fromkeys(p.tag for p in perils)), _tomorrow(o)
    if not roof and ready is None:
        return None
    frost = _pail_line(o)
    parts = [f"roof {','.join(roof)}" if roof else "", "pail" if frost else "", _said_of(o, ready)]
    action = "|".join(parts)
    known = o.told.get(key)
    if known is not None and set(roof) <= _roofed(known.action):
        return None
    lines = _dark_lines(o, perils, roof, ready, frost, light)
    return Notice("before_dark", key, action, lines[0], lines, due, light, bool(roof))


def _roofed(action: str) -> set[str]:
    return set(action.partition("|")[0].removeprefix("roof ").split(","))


def _said_of(o: Occasion, ready: TimedSpan | None) -> str:
    """The hours of tomorrow, as an action says them."""
    if ready is None:
        return ""
    start, end = (o.w.local(when) for when in hours_of(ready))
    return f"tomorrow {start:%H:%M}-{end:%H:%M}"


def _dark_lines(
    o: Occasion,
    perils: Sequence[Peril],
    roof: Sequence[str],
    ready: TimedSpan | None,
    frost: str | None,
    light: datetime,
) -> list[str]:
    w, say = o.w, o.w.words.say
    lines: list[tuple[int, str | None]] = []
    if ready is not None:
        said = say("notice.tomorrow", hours=w.brush(ready), chance=w.chance(ready.chance))
        lines.append((9 if not roof else 6, said))
    if roof:
        key = "notice.roof_rain" if "rain" in perils[0].rule else "notice.roof_frost"
        first = _with_logs(o, "notice.roof", roof)
        lines = [(9, first), (8, say(key, when=w.at_time(perils[0].at))), *lines]
    else:
        milky = tonight(o.b, w)[:1] if wet_tags(o.b) else []
        lines += [(5, milky[0])] if milky else []
    lines += [(7, frost)]
    work = o.work()
    if ready is not None and work:
        two = asked_tags([job for job in work if job.people > 1])
        lines.append((4, say("notice.ready", logs=named(asked_tags(work), w), clock=w.clock(light))))
        lines.append((5, say("notice.two", logs=named(two, w)) if two else None))
    if roof:
        lines.append((6, say("today.caution_roof")))
    return kept_short(lines, o.room())


def _tomorrow(o: Occasion) -> TimedSpan | None:
    """Likely hours for the due work tomorrow; None where there are none, or nothing is due."""
    ahead, m = o.b.morning.work.next_span, o.b.morning
    if ahead is None or not o.work() or ahead.chance < o.b.prepare_chance or m.verdict == "unknown":
        return None
    return ahead if o.w.day_of(ahead.start) == o.day + DAY else None


# ------------------------------------------------------------------ the pail


def pail_reminders(o: Occasion) -> list[Notice]:
    """Reminders of the pail's frost, each once and alone; while the keeper is away all those of the pail."""
    out = []
    for one in o.items:
        if (
            pauses(one.kind)
            or not (o.away or pail_rings(one.kind))
            or o.rests(one.key)
            or o.was_told(one.key)
        ):
            continue
        told = one.payload.get("day")
        day = told if isinstance(told, str) else o.w.day_of(one.due).isoformat()
        if day > o.day.isoformat():
            continue
        text = wanted_text(one, o.w)
        subject = text if len(text) <= FIRST_LINE else f"{text[: FIRST_LINE - 1].rpartition(' ')[0]} …"
        lines = (subject, text) if subject != text else (subject,)
        due = max(one.due, last_due(o.at, morning_of(o.times), o.w.zone)[1])
        until = due_at(o.day + DAY, morning_of(o.times), o.w.zone)
        alone = pail_rings(one.kind)
        out.append(Notice(one.kind, f"told/{one.key}", day, subject, lines, due, until, alone, (one.key,)))
    return out


def pail(o: Occasion) -> Notice | None:
    """Frost tonight where the pail may stand; called in once, and again when it was used since."""
    sun, line = o.sun, _pail_line(o)
    if sun is None or line is None:
        return None
    due = sun[1] - timedelta(hours=o.times.before_dark_h)
    until = due_at(o.day + DAY, time(), o.w.zone)
    say, cold = o.w.words.say, o.b.night.air_c if o.b.night is not None else None
    subject = say("notice.pail", temperature=o.w.temperature(cold)) if cold is not None else line
    more = say("notice.pail_more")
    key = f"pail/{o.day.isoformat()}"
    return Notice("pail", key, "pail", subject[:FIRST_LINE], (subject[:FIRST_LINE], more), due, until, True)


def _pail_line(o: Occasion) -> str | None:
    """Where the night asks for it and nobody was told since the pail was last used: to bring it in."""
    night, b = o.b.night, o.b
    if not b.pails_out or any(pail_rings(one.kind) for one in o.items):
        return None
    if night is None or night.air_c is None:
        return None
    if night.air_c > b.pail_least_c and (night.frost_share or 0.0) < b.frozen_share:
        return None
    used = [coat.moment.time for log in b.register.logs for end in log.ends for coat in end.coats]
    last = max([*used, *(one.moment.time for one in b.register.pails)], default=None)
    again = timedelta(days=pail_numbers()["again"])  # or when it was used since
    for one in o.told.values():
        called = one.kind == "pail" or "pail" in one.action.split("|")
        if called and o.at - one.at < again and (last is None or last < one.at):
            return None
    return o.w.words.say("today.pail", temperature=o.w.temperature(night.air_c))


# ------------------------------------------------------------------ evening


def evening(o: Occasion) -> Notice | None:
    """After dark: what tomorrow will be, where that is news since the afternoon. No walk into the yard."""
    sun = o.sun
    if o.times.evening is None or sun is None:
        return None
    due = max(due_at(o.day, parse_clock(o.times.evening), o.w.zone), sun[1] - LIGHT_ENDS)
    until = due_at(o.day + DAY, time(), o.w.zone)
    key, ready = f"evening/{o.day.isoformat()}", _tomorrow(o)
    if o.told.get(key) is not None:
        return None
    dark = o.told.get(f"before_dark/{o.day.isoformat()}")
    was = "" if dark is None else next((p for p in dark.action.split("|") if p.startswith("tomorrow")), "")
    if (ready is not None) == bool(was):
        return None
    w, say = o.w, o.w.words.say
    if ready is not None:
        subject = say("notice.tomorrow", hours=w.brush(ready), chance=w.chance(ready.chance))
        tags = named(asked_tags(o.work()), w)
        lines = [subject, say("notice.evening_first", logs=tags)]
        return Notice("evening", key, _said_of(o, ready), subject, lines, due, until)
    if not o.work():
        return None
    unknown = o.b.morning.verdict == "unknown"
    subject = say("notice.evening_unknown") if unknown else say("notice.evening_not")
    return Notice("evening", key, "tomorrow not", subject, (subject,), due, until)
