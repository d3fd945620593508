"""The morning verdict as lines for a person and as JSON for a program. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from scheduler.planning.inside import Carry
from scheduler.planning.jobs import Job
from scheduler.planning.night import Night
from scheduler.planning.questions import Question
from scheduler.planning.verdict import Morning, PlaceVerdict, Reason, TimedSpan, TimedStop
from scheduler.planning.worth import EndWorth
from scheduler.settings import Species
from scheduler.views.wording import NO_PROMISE, VERDICT_WORDS, Wording, chance_words, first_upper, join
from scheduler.weather.series import Provenance
from scheduler.yard.facts import Register

__all__ = [
    "Briefing",
    "ForecastLine",
    "by_log",
    "cost_of",
    "first_jobs",
    "headline",
    "inside",
    "json_of",
    "lines",
    "span_json",
    "stop_json",
    "tonight",
    "weather_lines",
    "wood_of",
]

FIRST_LINE = 60  # characters that a locked phone shows
MOST_LINES = 5
MOST_LOOKS = 3
FELL_CHANCE = 0.5  # a fresh cut is not advised for hours that are less likely


@dataclass(frozen=True, slots=True)
class ForecastLine:
    """What is said of the forecast itself."""

    provenance: Provenance | None
    hours: int = 0  # known hours from now on
    members: int = 0
    complete: bool = False
    fallback: str | None = None  # why an older answer is used


@dataclass(frozen=True, eq=False)
class Briefing:
    """All that the views say about a morning; made by the service."""

    morning: Morning
    register: Register
    species: Mapping[str, Species]
    forecast: ForecastLine
    yard_name: str
    night: Night | None = None
    rain: datetime | None = None
    suns: tuple[tuple[datetime, datetime], ...] = ()  # sunrise and sunset of today and the days after
    stock_litres: float | None = None
    pail_least_c: float = 2.0
    fill: float = 0.7
    people: int = 1
    lift_two_kg: float = 25.0  # config lift_two
    lift_machine_kg: float = 80.0  # config lift_machine
    set_up_min: float = 20.0
    frozen_share: float = 0.2  # config pail_frost_share
    unsure: frozenset[str] = frozenset()  # tags whose coat nobody has seen and the weather cannot tell of
    question: Question | None = None
    trusted_until: datetime | None = None  # what lies behind is planned on, not promised
    carry: tuple[Carry, ...] = ()  # logs better brought under a roof today


def wood_of(b: Briefing, w: Wording, tag: str) -> str:
    """What the wood of a log is called here."""
    log = b.register.log(tag)
    if log is None:
        return "wood"
    return w.wood(b.species.get(log.species or ""), log.species_said if log.species is None else "")


def by_log(jobs: Sequence[Job]) -> list[tuple[Job, list[str]]]:
    """Jobs of the same kind at one log together: (the first, names of the ends)."""
    out: list[tuple[Job, list[str]]] = []
    for job in jobs:
        known = next((row for row in out if row[0].tag == job.tag and row[0].kind == job.kind), None)
        if known is None:
            out.append((job, [job.end] if job.end else []))
        elif job.end:
            known[1].append(job.end)
    return out


def first_jobs(b: Briefing) -> tuple[list[Job], int]:
    """Jobs to be named today and how many are left out: no more than fills part of the span."""
    brushing = b.morning.verdict in ("seal", "touch_and_go")
    due = list(b.morning.now if brushing else b.morning.due)
    if b.people > 1:  # the saw stands first in a session, not last
        due.sort(key=lambda job: job.kind != "cut_and_coat")
    span = b.morning.work.span
    if span is None or not brushing:
        return due, 0
    begin = span.sure_from or span.start
    end = span.sure_until or span.end
    room = ((end - begin) / timedelta(minutes=1) + 15.0) * b.fill * max(b.people, 1) - b.set_up_min
    named: list[Job] = []
    for job in due:
        if job.people > max(b.people, 1):
            continue
        cost = job.minutes * job.people
        if named and cost > room:
            continue
        room -= cost
        named.append(job)
    return named, len(due) - len(named)


def _main_reason(reasons: Sequence[Reason]) -> Reason | None:
    stops = [r for r in reasons if r.breach == "stop" and r.share > 0 and not r.fixed]
    return max(stops, key=lambda r: r.share, default=None)


def _closed(m: Morning, w: Wording) -> bool:
    """Whether the calendar leaves no start of today: dark, or nobody in the yard."""
    today = w.day_of(m.at)
    open_ = [s.start for s in m.spans] + [stop.start for stop in m.stopped if not stop.fixed]
    return not any(w.day_of(start) == today for start in open_)


def headline(b: Briefing, w: Wording) -> str:
    """The first line: verdict, hours and first log in at most 60 characters."""
    m = b.morning
    if m.verdict == "unknown":
        return _fit("Unknown.", [_unknown_short(b, w)])
    roofed = m.work.place or ("under a sheet" if m.work.roofed else None)
    span = m.work.span
    if m.verdict in ("seal", "touch_and_go") and span is not None:
        return _good_line(b, w, span, roofed)
    if m.verdict == "prepare" and m.work.next_span is not None:
        ahead = m.work.next_span
        day = first_upper(w.day(ahead.start))
        return _fit("Prepare.", [f"{day} brush {w.brush(ahead)}, {chance_words(ahead.chance)}."])
    cause = None if _closed(m, w) else _main_reason(m.work.reasons)
    why = "No working hours are left" if _closed(m, w) else first_upper(cause.short) if cause else ""
    return _fit("Leave it today.", [f"{why}."] if why else [])


def _good_line(b: Briefing, w: Wording, span: TimedSpan, roofed: str | None) -> str:
    m = b.morning
    if not m.due:
        if m.verdict == "seal":
            return "Good coating weather, nothing is due."
        return f"Fair coating weather, {chance_words(span.chance)}; nothing is due."
    # The last word of a wood's name is enough for a first line: cherry, not wild cherry.
    logs = [f"{job.tag} {wood_of(b, w, job.tag).split()[-1]}" for job, _ in by_log(first_jobs(b)[0])]
    brush = w.brush(span)
    if roofed and m.weather.verdict not in ("seal", "touch_and_go"):
        outside = VERDICT_WORDS[m.weather.verdict]
        word = VERDICT_WORDS[m.verdict].lower()
        here = (f"{outside} outside; {where}: {word} {brush}." for where in (roofed, "under a roof"))
        return next((line for line in here if len(line) <= FIRST_LINE), f"Under a roof: {word} {brush}.")
    if m.verdict == "touch_and_go":
        only = logs[0] if logs else ""
        return _fit(f"Touch and go: brush {brush}.", [f"{only} first." if only else ""])
    start = f"Seal today, brush {brush}."
    if not logs:
        return _fit(start, ["The work needs two people."])
    for count in (3, 2, 1):
        line = f"{start} First {', '.join(logs[:count])}."
        if len(line) <= FIRST_LINE:
            return line
    return _fit(start, [f"First {logs[0].split()[0]}."])


def _fit(start: str, parts: Sequence[str]) -> str:
    line = start
    for part in parts:
        longer = f"{line} {part}".strip()
        if len(longer) <= FIRST_LINE:
            line = longer
    return line


def _unknown_short(b: Briefing, w: Wording) -> str:
    age = b.morning.age
    issued = b.forecast.provenance.issued if b.forecast.provenance else None
    if age.word == "stale" and issued is not None and age.hours is not None:
        return f"Last forecast is of {w.when(issued)}, {age.hours:.0f} h old."
    return "The forecast does not say enough." if b.forecast.provenance else "There is no usable forecast."


def lines(b: Briefing, w: Wording) -> list[str]:
    """The notice: first line, then why, what comes, the work, tonight, one caution."""
    m = b.morning
    said = [headline(b, w)]
    said.extend(weather_lines(b, w))
    said.extend(_forecast_age(b, w))
    said.append("")
    said.extend(_work_lines(b, w))
    night = tonight(b, w)
    if night:
        said += ["", *night]
    caution = cautions(b, w)
    if caution:
        said += ["", *caution]
    if m.verdict == "unknown":
        said += ["", "By eye: dull dry face, and no rain or frost for two days. Else wait."]
    question = asked(b, w)
    if question:
        said += ["", question]
    return said


def asked(b: Briefing, w: Wording) -> str | None:
    """The one question of the morning with the command that answers it, if there is one."""
    q = b.question
    if q is None:
        return None
    if q.kind == "frost":
        return "If you saw: white frost on the ends this morning? coatcast seen frost yes (or no)"
    tag, wood = str(q.tag), wood_of(b, w, str(q.tag))
    return f"If you pass {tag} {wood}: clear or milky? coatcast note {tag} look clear --end {q.end}"


def weather_lines(b: Briefing, w: Wording) -> list[str]:
    """Why the day is what it is: hours, milestones, reasons, other places."""
    m = b.morning
    if m.verdict == "unknown":
        return [
            m.unknown_why or "I can't say yes or no, and won't guess: the weather isn't known far enough."
        ]
    span = m.work.span
    out: list[str] = []
    if m.verdict in ("seal", "touch_and_go") and span is not None:
        out.extend(_span_lines(b, w, span))
    else:
        cause = _main_reason(m.work.reasons)
        if _closed(m, w):  # the reasons are those of the next open day
            out.append("No working hours with light are left today.")
        elif cause is not None:
            start = "Not today" if m.verdict == "prepare" else "Why"
            out.append(f"{start}: {w.reason(cause, broken=True)}.")
        if span is not None:
            out.append(f"A coat brushed today would hold in {chance_words(span.chance)}.")
        if m.verdict == "prepare" and m.work.next_span is not None:
            out.extend(_span_lines(b, w, m.work.next_span))
        elif m.work.next_span is not None:
            ahead = m.work.next_span
            far = b.trusted_until is not None and ahead.start >= b.trusted_until
            doubt = f" That lies {NO_PROMISE}." if far else ""
            out.append(
                f"Next: {w.day(ahead.start)} brush {w.brush(ahead)}, {chance_words(ahead.chance)}.{doubt}"
            )
        else:
            out.append("No hours for the brush in sight in this forecast.")
        out.append("Wood cut today: leave the stem long, or shade the ends; small pieces under cover.")
    out.extend(_other_places(b, w))
    return out


def _span_lines(b: Briefing, w: Wording, span: TimedSpan) -> list[str]:
    out = []
    stones = w.milestones(span)
    if stones:
        out.append(f"Brushed {w.at_time(span.best)}: {', '.join(stones)}.")
    why = [
        r for r in span.reasons if r.rule in ("frost_on_face", "too_cold_to_brush") and r.value is not None
    ]
    numbers = [w.reason(r, broken=False) for r in why]
    if b.rain is None:
        numbers.append("no rain in sight")
    elif b.rain > span.best:  # rain before the brush is no news of this coat
        numbers.append(f"rain {w.at_time(b.rain)}")
    if numbers:
        out.append(f"Why: {'; '.join(numbers)}.")
    doubts = [r for r in span.reasons if r.breach == "doubt" and r.share >= 0.5]
    out.extend(f"But {w.reason(r, broken=True)}." for r in doubts[:1])
    holds = f"{first_upper(chance_words(span.chance))} that it holds."
    if span.sure_until is not None and span.sure_until < span.end:
        stop = f"Stop at {w.clock(span.sure_until)}; from then to {w.clock(span.end)} less than 8 in 10."
    else:
        stop = f"Stop at {w.clock(span.end)}."
    out.append(f"{holds} {stop}")
    return out


def _other_places(b: Briefing, w: Wording) -> list[str]:
    """Where another place answers otherwise than the open yard."""
    out = []
    for place in b.morning.places:
        if (place.place is None and not place.roofed) or place.verdict == b.morning.weather.verdict:
            continue
        brush = f", brush {w.brush(place.span)}" if place.span else ""
        where = f"In the {place.place}" if place.place else "Under a sheet"
        out.append(f"{where}: {VERDICT_WORDS[place.verdict].lower()}{brush}.")
    return out


def _forecast_age(b: Briefing, w: Wording) -> list[str]:
    age = b.morning.age
    out = []
    if b.forecast.fallback:
        out.append(b.forecast.fallback)
    issued = b.forecast.provenance.issued if b.forecast.provenance else None
    if age.word == "old" and issued is not None and age.hours is not None:
        out.append(f"The forecast is {age.hours:.0f} h old (of {w.when(issued)}).")
    return out


def _work_lines(b: Briefing, w: Wording) -> list[str]:
    m = b.morning
    out = []
    if not m.due:
        out.append(
            "No end is due." if b.register.present else "No logs entered yet: coatcast log add walnut 22in"
        )
        span = m.weather.span
        if span is not None and m.weather.verdict in ("seal", "touch_and_go"):
            hours = w.brush(span)
            between = f"between {hours.replace(' to ', ' and ')}" if " to " in hours else hours
            out.append(f"Wood cut today: coat {between}.")
    else:
        named, left = first_jobs(b)
        rows = by_log(named)
        title = "Do first" if m.verdict in ("seal", "touch_and_go") else "Due, dearest first"
        out.append(f"{title}{_till(b)}")
        out.extend(_job_line(b, w, job, ends) for job, ends in rows[:MOST_LINES])
        more = sum(max(len(ends), 1) for _, ends in rows[MOST_LINES:]) + left
        if more:
            out.append(f"  and {more} more {'end' if more == 1 else 'ends'}")
        alone = [j.tag for j in m.due if j.people > max(b.people, 1)]
        if alone:
            out.append(f"Needs a second person: {join(list(dict.fromkeys(alone)))}.")
        if m.verdict in ("seal", "touch_and_go"):
            waiting = dict.fromkeys(job.tag for job in m.due if job not in m.now)
            out.extend([f"Leave for now, where they lie: {join(list(waiting))}."] if waiting else [])
        out.append(_wax_line(b, w, named))
    looks = by_log([j for j in m.later if j.kind == "look"])
    if looks:
        out.append(_look_line([job for job, _ in looks]))
    out.extend(inside(b, w))
    out.extend(_to_fell(b, w))
    saws = [j for j in m.later if j.kind == "saw_by" and j.by is not None]
    if saws:
        first = [
            f"{j.tag} {wood_of(b, w, j.tag)} by about {w.month_day(j.by)}" for j in saws[:MOST_LOOKS] if j.by
        ]
        others = f", and {len(saws) - len(first)} more" if len(saws) > len(first) else ""
        out.append(f"Saw soon: {join(first)}{others}.")
    out.extend(_set_aside(b, w))
    return out


def inside(b: Briefing, w: Wording) -> list[str]:
    """Logs better brought under a roof and coated there, with their weight."""
    if not b.carry:
        return []
    one = b.carry[0]
    named = ", ".join(
        f"{c.tag} {wood_of(b, w, c.tag)} (up to {w.weight(c.kg)})" for c in b.carry[:MOST_LOOKS]
    )
    lift = "Two people or a machine for the lift. " if max(c.kg for c in b.carry) > b.lift_two_kg else ""
    return [
        f"Into the {one.place} and coat there, {chance_words(one.chance)}: {named}. {lift}"
        "Warm it without an open flame: carbon monoxide."
    ]


def _to_fell(b: Briefing, w: Wording) -> list[str]:
    """The best day to cut what stands, lies long or is to come: cut and coat in one go, never before."""
    m = b.morning
    if m.verdict == "unknown":
        return []
    groups: dict[TimedSpan | None, list[str]] = {}
    for log in b.register.present:
        if log.state in ("standing", "long", "expected"):
            comes = log.expected or (log.felled if log.state == "expected" else None)
            groups.setdefault(_best_after(b, comes.time if comes else m.at), []).append(log.tag)
    out = []
    for best, tags in groups.items():
        more = f" and {len(tags) - MOST_LOOKS} more" if len(tags) > MOST_LOOKS else ""
        names = f"{join(tags[:MOST_LOOKS])}{more}"
        if best is None:
            longer = max((one.open_cm[2] for one in m.worths.values()), default=0.0)
            spare = f" by {w.about_length(longer)} an end" if longer >= 1.0 else ""
            out.append(
                f"Still to cut: {names}. Leave long{spare}: no hours for the brush are likely this week."
            )
        else:
            when = f"{w.day(best.start)}, brush {w.brush(best)}, {chance_words(best.chance)}"
            out.append(f"Still to cut: {names}. Best cut and coated in one go {when}.")
    return out


def _best_after(b: Briefing, when: datetime) -> TimedSpan | None:
    """The likeliest span of the trusted week that begins after a time; None where none is likely."""
    spans = [s for s in b.morning.spans if s.start >= when and s.chance >= FELL_CHANCE]
    near = [s for s in spans if b.trusted_until is None or s.start < b.trusted_until]
    return max(near, key=lambda s: (round(s.chance, 2), -s.start.timestamp()), default=None)


def _look_line(looks: Sequence[Job]) -> str:
    """ "Look: H09 (clear or milky?), H05 and H08 (skips, new cracks, stain?), and 1 more"."""
    shown = looks[:MOST_LOOKS]
    parts = [
        f"{join([job.tag for job in shown if job.why == why])} ({why})"
        for why in dict.fromkeys(job.why for job in shown)
    ]
    more = f", and {len(looks) - len(shown)} more" if len(looks) > len(shown) else ""
    return f"Look: {', '.join(parts)}{more}"


def _job_line(b: Briefing, w: Wording, job: Job, ends: Sequence[str]) -> str:
    log = b.register.log(job.tag)
    end = log.end(job.end) if log is not None and job.end else None
    hint = f"; {job.hint}" if job.hint else ""
    cost = cost_of(b, w, job, ends)
    bare = end is not None and not end.coats
    since = f"; open since {w.day(end.cut.time)}" if bare and end is not None and not cost else ""
    return f"  {job.tag} {wood_of(b, w, job.tag)}: {w.job(job, ends)}{cost}{since}{hint}"


def cost_of(b: Briefing, w: Wording, job: Job, ends: Sequence[str]) -> str:
    """ " (8 cm an end, 45 EUR)": what these ends lose if they are left; empty where that is not known."""
    return _cost_words([_worth(b, job.tag, name, job.kind) for name in ends or [job.end or ""]], w)


def _worth(b: Briefing, tag: str, end: str, kind: str) -> EndWorth | None:
    return b.morning.worths.get((tag, end, kind))


def _till(b: Briefing) -> str:
    """What the figures in brackets behind the jobs are."""
    known = next(iter(b.morning.worths.values()), None)
    if known is None:
        return ""
    return f" (lost by {'spring' if known.spring else 'the saw'} if left as it is, half to double)"


def _cost_words(found: Sequence[EndWorth | None], w: Wording) -> str:
    """What the ends of a job cost if they stay open: length an end, and money where there is a price."""
    known = [one for one in found if one is not None]
    if not known:
        return ""
    cm = max(one.open_cm[1] for one in known)
    if cm < 0.5:
        return ""
    money = sum(one.open_cost for one in known)
    priced = f", {w.money(money, known[0].currency)}" if known[0].unit == "money" and money >= 0.5 else ""
    return f" ({w.about_length(cm)} an end{priced})"


def _wax_line(b: Briefing, w: Wording, named: Sequence[Job]) -> str:
    need = sum(job.litres for job in named)
    minutes = sum(job.minutes for job in named)
    of = f" of your {w.litres(b.stock_litres)}" if b.stock_litres is not None else ""
    short = " - not enough" if b.stock_litres is not None and need > b.stock_litres else ""
    return f"Wax: {w.litres(need)}{of}{short}. About {minutes:.0f} minutes of brushing and cutting."


def _set_aside(b: Briefing, w: Wording) -> list[str]:
    """Ends that have no rank: what cannot be reached, what is not worth wax, what the keeper decided."""
    unreachable, not_worth, saw, left = [], [], [], []
    for log in b.register.present:
        if log.state != "in_yard":
            continue
        bare = [end.name for end in log.ends if not end.reach and not end.coats]
        if bare:
            unreachable.append(f"{log.tag} {join(bare)}")
        wood = b.species.get(log.species or "")
        if (log.worth or (wood.worth if wood else "plain")) == "firewood":
            not_worth.append(f"{log.tag} {wood_of(b, w, log.tag)}")
        if log.saw_first:
            saw.append(f"{log.tag} {wood_of(b, w, log.tag)}")
        if log.left_long or log.skip:
            left.append(log.tag)
    out = []
    if not_worth:
        out.append(f"Not worth wax: {join(not_worth)}.")
    if saw:
        out.append(f"Saw, don't coat: {join(saw)}.")
    if unreachable:
        out.append(f"Can't be reached: {join(unreachable)}. Do not climb.")
    if left:
        out.append(f"By your word left alone: {join(left)}.")
    return out


def tonight(b: Briefing, w: Wording) -> list[str]:
    """What the night asks for: coats still milky, the pail."""
    out = []
    night = b.night
    wet = list(dict.fromkeys(tag for tag, _ in b.morning.wet))
    for tag in wet[:2]:
        cold = night.wood_c if night is not None else None
        milky = f"{tag} may still be milky" if tag in b.unsure else f"{tag} is still milky"
        if cold is None:
            out.append(f"{milky}. The night is not known.")
        elif cold > 0.0:
            out.append(f"{milky}. No frost on it tonight (about {w.temperature(cold)}). Leave it be.")
        else:
            out.append(
                f"{milky} and frost may reach it tonight ({w.temperature(cold)} on the wood):"
                f" roof it while it is light, sheet above, ends open."
            )
    if len(wet) > 2:
        more = len(wet) - 2
        out.append(f"{more} more {'is' if more == 1 else 'are'} milky too, or may be.")
    if night is not None and night.air_c is not None:
        if night.air_c <= b.pail_least_c or (night.frost_share or 0.0) >= b.frozen_share:
            out.append(f"Pail indoors before dark: about {w.temperature(night.air_c)} in the yard tonight.")
    elif b.morning.verdict == "unknown":
        out.append("The night is not known: take the pail indoors.")
    return out


def cautions(b: Briefing, w: Wording) -> list[str]:
    """One caution, the one that fits the riskiest job of the day."""
    m = b.morning
    working = m.verdict in ("seal", "touch_and_go")
    named = first_jobs(b)[0] if working else []
    if any(r.rule in ("storm", "thunder") and r.share >= 0.5 for r in m.work.reasons):
        return ["Storm or thunder in the forecast: no work outdoors."]
    if any(job.kind == "cut_and_coat" for job in named):
        metal = any((log := b.register.log(j.tag)) is not None and log.metal for j in named)
        nails = " Metal was seen: look for nails before the saw." if metal else ""
        return [f"Saw: two people, off the stack, in the light.{nails} Feel the ends before you brush."]
    if m.wet and b.night is not None and b.night.wood_c is not None and b.night.wood_c <= 0.0:
        return [
            "From the ground only. Too windy to hold a sheet? Let it go: it is a cup of wax, not the log."
        ]
    if named:
        return [
            "Feel the ends first: dull and dry, or wait an hour. Your pail's sheet rules over these numbers."
        ]
    return []


# ------------------------------------------------------------------ JSON


def _iso(when: datetime | None, w: Wording) -> str | None:
    return None if when is None else w.local(when).replace(microsecond=0).isoformat()


def _number(value: float | None, digits: int = 3) -> float | None:
    return None if value is None else round(value, digits)


def span_json(span: TimedSpan | None, w: Wording) -> dict[str, Any] | None:
    """A span of the contract."""
    if span is None:
        return None
    s = span.milestones
    return {
        "start": _iso(span.start, w),
        "end": _iso(span.end, w),
        "chance": _number(span.chance),
        "touch_dry": _iso(s.touch_dry, w),
        "rain_safe": _iso(s.rain_safe, w),
        "frost_safe": _iso(s.frost_safe, w),
        "dry": _iso(s.dry, w),
        "second_coat": _iso(s.second_coat, w),
    }


def stop_json(stop: TimedStop, w: Wording) -> dict[str, Any]:
    """A stopped stretch of the contract."""
    return {
        "start": _iso(stop.start, w),
        "end": _iso(stop.end, w),
        "rule": stop.rule or "weather_unknown",
        "value": _number(stop.value),
        "limit": _number(stop.limit),
        "unit": stop.unit,
    }


def reason_json(reason: Reason, w: Wording, *, outcome: bool = False) -> dict[str, Any]:
    """A reason of the contract, with its outcome for ``why``."""
    out: dict[str, Any] = {"rule": reason.rule, "breach": reason.breach}
    if outcome:
        out["outcome"] = reason.outcome
    out |= {
        "value": _number(reason.value),
        "limit": _number(reason.limit),
        "unit": reason.unit,
        "at": _iso(reason.at, w),
        "share": _number(reason.share),
    }
    return out


def _place_json(place: PlaceVerdict, w: Wording) -> dict[str, Any]:
    return {
        "place": place.place,
        "roofed": place.roofed,
        "verdict": place.verdict,
        "span": span_json(place.span, w),
    }


def _forecast_json(b: Briefing, w: Wording) -> dict[str, Any]:
    p = b.forecast.provenance
    return {
        "source": None if p is None else (p.address or p.family),
        "issued": _iso(p.issued, w) if p else None,
        "issued_known": bool(p and p.issued_known),
        "fetched": _iso(p.fetched, w) if p else None,
        "age_h": _number(b.morning.age.hours, 2),
        "hours": b.forecast.hours,
        "members": b.forecast.members,
        "complete": b.forecast.complete,
    }


def _cost_json(found: EndWorth | None, w: Wording) -> dict[str, Any]:
    """What a day's waiting costs, in the yard's currency where there is a price, else in cm of a good log."""
    if found is None:
        return {"cost_of_waiting_per_day": None, "unit": None}
    unit = found.currency if found.unit == "money" else "cm"
    return {"cost_of_waiting_per_day": round(found.day_cost, 3), "unit": unit}


def why_of(b: Briefing, w: Wording, job: Job) -> str:
    """Why an end stands where it does: its state, and both numbers of the decision."""
    found = _worth(b, job.tag, job.end or "", job.kind)
    if found is None:
        return job.why
    low, middle, high = (w.about_length(x) for x in found.open_cm)
    till = "spring" if found.spring else "it is sawn"
    said = f"{job.why}; left as it is till {till} it loses about {middle} ({low} to {high})"
    if found.unit == "money":
        said += f", about {w.money(found.open_cost, found.currency)}"
    return f"{said}; a try costs about {_amount(found.try_cost, found, w)}"


def _amount(value: float, found: EndWorth, w: Wording) -> str:
    return (
        w.money(value, found.currency) if found.unit == "money" else f"{w.about_length(value)} of a good log"
    )


def json_of(b: Briefing, w: Wording) -> dict[str, Any]:
    """``today --json``: °C, mm, m/s, h, cm; times ISO 8601 with offset."""
    m = b.morning
    named, _ = first_jobs(b)
    return {
        "yard": b.yard_name,
        "at": _iso(m.at, w),
        "verdict": m.verdict,
        "headline": headline(b, w),
        "weather": {"verdict": m.weather.verdict, "span": span_json(m.weather.span, w)},
        "span": span_json(m.work.span, w),
        "next_span": span_json(m.work.next_span, w),
        "reasons": [reason_json(r, w) for r in sorted(m.work.reasons, key=lambda r: -r.share)],
        "first": [
            {
                "tag": job.tag,
                "end": job.end,
                "job": job.kind,
                **_cost_json(_worth(b, job.tag, job.end or "", job.kind), w),
                "why": why_of(b, replace(w, units="metric"), job),
            }
            for job in named
        ],
        "tonight": tonight(b, w),
        "cautions": cautions(b, w),
        "question": asked(b, w),
        "forecast": _forecast_json(b, w),
        "places": [_place_json(p, w) for p in m.places],
    }
