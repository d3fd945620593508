"""The morning verdict as lines for a person and as JSON for a program. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from scheduler.planning.inside import Carry
from scheduler.planning.jobs import Job
from scheduler.planning.night import Night, Peril
from scheduler.planning.questions import Question
from scheduler.planning.verdict import Morning, PlaceVerdict, Reason, TimedSpan, TimedStop
from scheduler.planning.worth import EndWorth
from scheduler.settings import Species
from scheduler.views.wording import Wording, first_upper
from scheduler.weather.series import Provenance
from scheduler.yard.facts import Register

__all__ = [
    "Briefing",
    "ForecastLine",
    "by_log",
    "cost_of",
    "cost_words",
    "first_jobs",
    "headline",
    "inside",
    "json_of",
    "lines",
    "look_line",
    "next_line",
    "short_wood",
    "span_json",
    "stop_json",
    "to_fell",
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
    pails_out: bool = True  # a pail stands, or may stand, where frost can come
    unsure: frozenset[str] = frozenset()  # tags whose coat nobody has seen and the weather cannot tell of
    question: Question | None = None
    trusted_until: datetime | None = None  # what lies behind is planned on, not promised
    carry: tuple[Carry, ...] = ()  # logs better brought under a roof today
    perils: tuple[Peril, ...] = ()  # milky coats that rather fail than hold, the soonest first
    thaw: datetime | None = None  # frozen ends come above freezing for a day and a night
    prepare_chance: float = 0.5  # from which on hours to come are worth preparing for


def wood_of(b: Briefing, w: Wording, tag: str) -> str:
    """What the wood of a log is called here."""
    log = b.register.log(tag)
    if log is None:
        return w.words["word.wood"]
    return w.wood(b.species.get(log.species or ""), log.species_said if log.species is None else "")


def short_wood(b: Briefing, w: Wording, tag: str) -> str:
    """The last word of a wood's name, enough for a first line: cherry, not wild cherry."""
    return (wood_of(b, w, tag).split() or [w.words["word.wood"]])[-1]


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
    m, say = b.morning, w.words.say
    if m.verdict == "unknown":
        return _fit(say("head.unknown"), [_unknown_short(b, w)])
    roofed = m.work.place or (say("head.under_sheet") if m.work.roofed else None)
    span = m.work.span
    if m.verdict in ("seal", "touch_and_go") and span is not None:
        return _good_line(b, w, span, roofed)
    if m.verdict == "prepare" and m.work.next_span is not None:
        ahead = m.work.next_span
        day = first_upper(w.day(ahead.start))
        hours, chance = w.brush(ahead), w.chance(ahead.chance)
        return _fit(say("head.prepare"), [say("head.prepare_day", day=day, hours=hours, chance=chance)])
    cause = None if _closed(m, w) else _main_reason(m.work.reasons)
    why = say("head.no_hours") if _closed(m, w) else first_upper(w.short(cause)) if cause else ""
    return _fit(say("head.leave_it"), [say("head.cause", cause=why)] if why else [])


def _good_line(b: Briefing, w: Wording, span: TimedSpan, roofed: str | None) -> str:
    m, say = b.morning, w.words.say
    if not m.due:
        if m.verdict == "seal":
            return say("head.good")
        return say("head.fair", chance=w.chance(span.chance))
    logs = [f"{job.tag} {short_wood(b, w, job.tag)}" for job, _ in by_log(first_jobs(b)[0])]
    hours = w.brush(span)
    if roofed and m.weather.verdict not in ("seal", "touch_and_go"):
        outside, word = w.words[f"verdict.{m.weather.verdict}"], w.words[f"verdict_inside.{m.verdict}"]
        for where in (roofed, say("head.under_roof")):
            line = say("head.elsewhere", outside=outside, where=where, verdict=word, hours=hours)
            if len(line) <= FIRST_LINE:
                return line
        return say("head.roof_only", verdict=word, hours=hours)
    if m.verdict == "touch_and_go":
        only = [say("head.log_first", log=logs[0])] if logs else []
        return _fit(say("head.touch_and_go", hours=hours), only)
    start = say("head.seal", hours=hours)
    if not logs:
        return _fit(start, [say("head.two_people")])
    for count in (3, 2, 1):
        line = f"{start} {say('head.seal_first', logs=', '.join(logs[:count]))}"
        if len(line) <= FIRST_LINE:
            return line
    return _fit(start, [say("head.seal_first", logs=logs[0].split()[0])])


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
        return w.words.say("head.stale", when=w.when(issued), hours=f"{age.hours:.0f}")
    return w.words["head.too_little" if b.forecast.provenance else "head.no_forecast"]


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
        said += ["", w.words["today.by_eye"]]
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
        return w.words["today.ask_frost"]
    tag, wood = str(q.tag), wood_of(b, w, str(q.tag))
    return w.words.say("today.ask_coat", tag=tag, wood=wood, end=q.end)


def weather_lines(b: Briefing, w: Wording) -> list[str]:
    """Why the day is what it is: hours, milestones, reasons, other places."""
    m, say = b.morning, w.words.say
    if m.verdict == "unknown":
        return [w.words.told(m.unknown_why) if m.unknown_why else say("today.unknown")]
    span = m.work.span
    out: list[str] = []
    if m.verdict in ("seal", "touch_and_go") and span is not None:
        out.extend(_span_lines(b, w, span))
    else:
        cause = _main_reason(m.work.reasons)
        if _closed(m, w):  # the reasons are those of the next open day
            out.append(say("today.no_hours"))
        elif cause is not None:
            reason = w.reason(cause, broken=True)
            not_today = m.verdict == "prepare"
            out.append(
                say("today.not_today", reason=reason) if not_today else say("today.why", reasons=reason)
            )
        if span is not None:
            out.append(say("today.would_hold", chance=w.chance(span.chance)))
        if m.verdict == "prepare" and m.work.next_span is not None:
            out.extend(_span_lines(b, w, m.work.next_span))
        elif m.work.next_span is not None:
            out.append(next_line(b, w, m.work.next_span))
        else:
            out.append(say("today.no_span"))
        out.append(say("today.wood_today"))
    out.extend(_other_places(b, w))
    return out


def next_line(b: Briefing, w: Wording, ahead: TimedSpan) -> str:
    """ "Next: Sat 8 brush 10 to 11:30, about 7 in 10."."""
    far = b.trusted_until is not None and ahead.start >= b.trusted_until
    doubt = w.words.say("today.next_doubt", no_promise=w.words["chance.no_promise"]) if far else ""
    day, hours, chance = w.day(ahead.start), w.brush(ahead), w.chance(ahead.chance)
    return w.words.say("today.next", day=day, hours=hours, chance=chance, doubt=doubt)


def _span_lines(b: Briefing, w: Wording, span: TimedSpan) -> list[str]:
    out, say = [], w.words.say
    stones = w.milestones(span)
    if stones:
        out.append(say("today.brushed", when=w.at_time(span.best), milestones=", ".join(stones)))
    why = [
        r for r in span.reasons if r.rule in ("frost_on_face", "too_cold_to_brush") and r.value is not None
    ]
    numbers = [w.reason(r, broken=False) for r in why]
    if b.rain is None:
        numbers.append(say("today.no_rain"))
    elif b.rain > span.best:  # rain before the brush is no news of this coat
        numbers.append(say("today.rain", when=w.at_time(b.rain)))
    if numbers:
        out.append(say("today.why", reasons="; ".join(numbers)))
    doubts = [r for r in span.reasons if r.breach == "doubt" and r.share >= 0.5]
    out.extend(say("today.but", reason=w.reason(r, broken=True)) for r in doubts[:1])
    if span.sure_until is not None and span.sure_until < span.end:
        stop = say("today.stop_sure", sure=w.clock(span.sure_until), end=w.clock(span.end))
    else:
        stop = say("today.stop", end=w.clock(span.end))
    out.append(say("today.holds", chance=first_upper(w.chance(span.chance)), stop=stop))
    return out


def _other_places(b: Briefing, w: Wording) -> list[str]:
    """Where another place answers otherwise than the open yard."""
    out = []
    for place in b.morning.places:
        if (place.place is None and not place.roofed) or place.verdict == b.morning.weather.verdict:
            continue
        brush = w.words.say("today.place_brush", hours=w.brush(place.span)) if place.span else ""
        verdict = w.words[f"verdict_inside.{place.verdict}"]
        key = "today.place" if place.place else "today.place_sheet"
        out.append(w.words.say(key, place=place.place, verdict=verdict, brush=brush))
    return out


def _forecast_age(b: Briefing, w: Wording) -> list[str]:
    age = b.morning.age
    out = []
    if b.forecast.fallback:
        out.append(w.words.told(b.forecast.fallback))
    issued = b.forecast.provenance.issued if b.forecast.provenance else None
    if age.word == "old" and issued is not None and age.hours is not None:
        out.append(w.words.say("today.age", hours=f"{age.hours:.0f}", when=w.when(issued)))
    return out


def _work_lines(b: Briefing, w: Wording) -> list[str]:
    m, say = b.morning, w.words.say
    out = _due_lines(b, w) if m.due else _none_due(b, w)
    looks = by_log([j for j in m.later if j.kind == "look"])
    if looks:
        out.append(look_line([job for job, _ in looks], w))
    out.extend(inside(b, w))
    out.extend(to_fell(b, w))
    saws = [j for j in m.later if j.kind == "saw_by" and j.by is not None]
    if saws:
        first = [
            say("today.saw_log", tag=j.tag, wood=wood_of(b, w, j.tag), day=w.month_day(j.by))
            for j in saws[:MOST_LOOKS]
            if j.by
        ]
        out.append(say("today.saw_soon", logs=w.join(first), more=_others(len(saws) - len(first), w)))
    out.extend(_set_aside(b, w))
    return out


def _others(count: int, w: Wording) -> str:
    return w.words.say("today.others", count=count) if count > 0 else ""


def _none_due(b: Briefing, w: Wording) -> list[str]:
    m, say = b.morning, w.words.say
    out = [say("today.none_due" if b.register.present else "today.no_logs")]
    span = m.weather.span
    if span is not None and m.weather.verdict in ("seal", "touch_and_go"):
        out.append(say("today.wood_today_coat", hours=w.between(span)))
    return out


def _due_lines(b: Briefing, w: Wording) -> list[str]:
    m, say = b.morning, w.words.say
    named, left = first_jobs(b)
    rows = by_log(named)
    brushing = m.verdict in ("seal", "touch_and_go")
    out = [say("today.do_first" if brushing else "today.due", till=_till(b, w))]
    out.extend(_job_line(b, w, job, ends) for job, ends in rows[:MOST_LINES])
    more = sum(max(len(ends), 1) for _, ends in rows[MOST_LINES:]) + left
    if more:
        out.append(say("today.more_one" if more == 1 else "today.more", count=more))
    alone = [j.tag for j in m.due if j.people > max(b.people, 1)]
    if alone:
        out.append(say("today.second_person", logs=w.join(list(dict.fromkeys(alone)))))
    waiting = dict.fromkeys(job.tag for job in m.due if job not in m.now) if brushing else {}
    out.extend([say("today.waiting", logs=w.join(list(waiting)))] if waiting else [])
    out.append(_wax_line(b, w, named))
    return out


def inside(b: Briefing, w: Wording) -> list[str]:
    """Logs better brought under a roof and coated there, with their weight."""
    if not b.carry:
        return []
    one = b.carry[0]
    say = w.words.say
    logs = ", ".join(
        say("today.inside_log", tag=c.tag, wood=wood_of(b, w, c.tag), weight=w.weight(c.kg))
        for c in b.carry[:MOST_LOOKS]
    )
    lift = say("today.inside_lift") if max(c.kg for c in b.carry) > b.lift_two_kg else ""
    return [say("today.inside", place=one.place, chance=w.chance(one.chance), logs=logs, lift=lift)]


def to_fell(b: Briefing, w: Wording) -> list[str]:
    """The best day to cut what stands, lies long or is to come: cut and coat in one go, never before."""
    m, say = b.morning, w.words.say
    if m.verdict == "unknown":
        return []
    groups: dict[tuple[TimedSpan | None, datetime | None], list[str]] = {}
    for log in b.register.present:
        if log.state in ("standing", "long", "expected"):
            comes = log.expected or (log.felled if log.state == "expected" else None)
            best = _best_after(b, comes.time if comes else m.at)
            later = comes.time if best is None and comes and comes.time > m.at else None
            groups.setdefault((best, later), []).append(log.tag)
    out = []
    for (best, later), tags in groups.items():
        names, more = w.join(tags[:MOST_LOOKS]), len(tags) - MOST_LOOKS
        names = say("today.to_cut_more", logs=names, count=more) if more > 0 else names
        if best is None:
            longer = max((one.open_cm[2] for one in m.worths.values()), default=0.0)
            spare = say("today.to_cut_spare", length=w.about_length(longer)) if longer >= 1.0 else ""
            since = say("today.to_cut_since", day=w.day(later)) if later else ""
            out.append(say("today.to_cut_long", logs=names, spare=spare, since=since))
        else:
            day, hours, chance = w.day(best.start), w.brush(best), w.chance(best.chance)
            out.append(say("today.to_cut", logs=names, day=day, hours=hours, chance=chance))
    return out


def _best_after(b: Briefing, when: datetime) -> TimedSpan | None:
    """The likeliest span of the trusted week that begins after a time; None where none is likely."""
    spans = [s for s in b.morning.spans if s.start >= when and s.chance >= FELL_CHANCE]
    near = [s for s in spans if b.trusted_until is None or s.start < b.trusted_until]
    return max(near, key=lambda s: (round(s.chance, 2), -s.start.timestamp()), default=None)


def look_line(looks: Sequence[Job], w: Wording) -> str:
    """ "Look: H09 (clear or milky?), H05 and H08 (skips, new cracks, stain?), and 1 more"."""
    shown = looks[:MOST_LOOKS]
    parts = [
        w.words.say(
            "today.look_at",
            logs=w.join([job.tag for job in shown if job.why == why]),
            what=w.words.told(why),
        )
        for why in dict.fromkeys(job.why for job in shown)
    ]
    return w.words.say("today.look", looks=", ".join(parts), more=_others(len(looks) - len(shown), w))


def _job_line(b: Briefing, w: Wording, job: Job, ends: Sequence[str]) -> str:
    say = w.words.say
    log = b.register.log(job.tag)
    end = log.end(job.end) if log is not None and job.end else None
    hint = say("today.hint", hint=w.words.told(job.hint)) if job.hint else ""
    cost = cost_of(b, w, job, ends)
    bare = end is not None and not end.coats
    since = say("today.since", day=w.day(end.cut.time)) if bare and end is not None and not cost else ""
    what, wood = w.job(job, ends), wood_of(b, w, job.tag)
    return say("today.job", tag=job.tag, wood=wood, job=what, cost=cost, since=since, hint=hint)


def cost_of(b: Briefing, w: Wording, job: Job, ends: Sequence[str]) -> str:
    """ " (8 cm an end, 45 EUR)": what these ends lose if they are left; empty where that is not known."""
    return cost_words([_worth(b, job.tag, name, job.kind) for name in ends or [job.end or ""]], w)


def _worth(b: Briefing, tag: str, end: str, kind: str) -> EndWorth | None:
    return b.morning.worths.get((tag, end, kind))


def _till(b: Briefing, w: Wording) -> str:
    """What the figures in brackets behind the jobs are."""
    known = next(iter(b.morning.worths.values()), None)
    if known is None:
        return ""
    return w.words["today.till_spring" if known.spring else "today.till_saw"]


def cost_words(found: Sequence[EndWorth | None], w: Wording) -> str:
    """What the ends of a job cost if they stay open: length an end, and money where there is a price."""
    known = [one for one in found if one is not None]
    if not known:
        return ""
    cm = max(one.open_cm[1] for one in known)
    if cm < 0.5:
        return ""
    money = sum(one.open_cost for one in known)
    priced = ""
    if known[0].unit == "money" and money >= 0.5:
        priced = w.words.say("today.cost_money", money=w.money(money, known[0].currency))
    return w.words.say("today.cost", length=w.about_length(cm), money=priced)


def _wax_line(b: Briefing, w: Wording, named: Sequence[Job]) -> str:
    need = sum(job.litres for job in named)
    minutes = sum(job.minutes for job in named)
    say, stock = w.words.say, b.stock_litres
    of = say("today.wax_of", litres=w.litres(stock)) if stock is not None else ""
    short = say("today.wax_short") if stock is not None and need > stock else ""
    return say("today.wax", litres=w.litres(need), of=of, short=short, minutes=f"{minutes:.0f}")


def _set_aside(b: Briefing, w: Wording) -> list[str]:
    """Ends that have no rank: what cannot be reached, what is not worth wax, what the keeper decided."""
    unreachable, not_worth, saw, left = [], [], [], []
    for log in b.register.present:
        if log.state != "in_yard":
            continue
        bare = [w.end(end.name) for end in log.ends if not end.reach and not end.coats]
        if bare:
            unreachable.append(f"{log.tag} {w.join(bare)}")
        wood = b.species.get(log.species or "")
        if (log.worth or (wood.worth if wood else "plain")) == "firewood":
            not_worth.append(f"{log.tag} {wood_of(b, w, log.tag)}")
        if log.saw_first:
            saw.append(f"{log.tag} {wood_of(b, w, log.tag)}")
        if log.left_long or log.skip:
            left.append(log.tag)
    groups = (
        ("today.not_worth", not_worth),
        ("today.saw_first", saw),
        ("today.unreachable", unreachable),
        ("today.left_alone", left),
    )
    return [w.words.say(key, logs=w.join(logs)) for key, logs in groups if logs]


def tonight(b: Briefing, w: Wording) -> list[str]:
    """What the night asks for: coats still milky, the pail."""
    out, say = [], w.words.say
    night = b.night
    wet = list(dict.fromkeys(tag for tag, _ in b.morning.wet))
    for tag in wet[:2]:
        cold = night.wood_c if night is not None else None
        milky = say("today.milky_perhaps" if tag in b.unsure else "today.milky", tag=tag)
        if cold is None:
            out.append(say("today.milky_unknown", milky=milky))
        else:
            key = "today.milky_mild" if cold > 0.0 else "today.milky_frost"
            out.append(say(key, milky=milky, temperature=w.temperature(cold)))
    if len(wet) > 2:
        more = len(wet) - 2
        out.append(say("today.milky_more_one" if more == 1 else "today.milky_more", count=more))
    if night is not None and night.air_c is not None and b.pails_out:
        if night.air_c <= b.pail_least_c or (night.frost_share or 0.0) >= b.frozen_share:
            out.append(say("today.pail", temperature=w.temperature(night.air_c)))
    elif b.morning.verdict == "unknown" and b.pails_out:
        out.append(say("today.pail_unknown"))
    return out


def cautions(b: Briefing, w: Wording) -> list[str]:
    """One caution, the one that fits the riskiest job of the day."""
    m, say = b.morning, w.words.say
    working = m.verdict in ("seal", "touch_and_go")
    named = first_jobs(b)[0] if working else []
    if any(r.rule in ("storm", "thunder") and r.share >= 0.5 for r in m.work.reasons):
        return [say("today.caution_storm")]
    if any(job.kind == "cut_and_coat" for job in named):
        metal = any((log := b.register.log(j.tag)) is not None and log.metal for j in named)
        return [say("today.caution_saw", metal=say("today.caution_metal") if metal else "")]
    if m.wet and b.night is not None and b.night.wood_c is not None and b.night.wood_c <= 0.0:
        return [say("today.caution_roof")]
    if named:
        return [say("today.caution_feel")]
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
    found, why = _worth(b, job.tag, job.end or "", job.kind), w.words.told(job.why)
    if found is None:
        return why
    low, middle, high = (w.about_length(x) for x in found.open_cm)
    money = ""
    if found.unit == "money":
        money = w.words.say("why.money", money=w.money(found.open_cost, found.currency))
    key = "why.left_spring" if found.spring else "why.left_saw"
    cost = _amount(found.try_cost, found, w)
    return w.words.say(key, why=why, middle=middle, low=low, high=high, money=money, cost=cost)


def _amount(value: float, found: EndWorth, w: Wording) -> str:
    if found.unit == "money":
        return w.money(value, found.currency)
    return w.words.say("why.good_log", length=w.about_length(value))


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
