"""The morning's notice, and the word that corrects it when the forecast changes what is to be done. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from scheduler.planning.jobs import Job
from scheduler.planning.verdict import TimedSpan
from scheduler.reminders.outgoing import ToldNotice
from scheduler.reminders.walltime import last_due, morning_of
from scheduler.reminders.wanted import Wanted
from scheduler.views.notice_said import (
    FIRST_LINE,
    Notice,
    Occasion,
    asked_tags,
    brushing,
    hours_of,
    jobs_line,
    kept_short,
    named,
    wet_tags,
)
from scheduler.views.reminder import wanted_text
from scheduler.views.today import (
    cautions,
    first_jobs,
    headline,
    inside,
    look_line,
    next_line,
    to_fell,
    tonight,
    weather_lines,
)
from scheduler.views.wording import first_upper

__all__ = ["morning_notice", "rests_now"]

OF_USE = timedelta(hours=5)  # how long a morning's word is of use where no span calls for longer
LEAST = timedelta(hours=1)  # of brushing, for the hours to be worth a word
MOVED = timedelta(hours=1)  # hours that moved by less are the same hours
ENOUGH_KNOWN = 96  # hours of forecast from which on "no hours in sight" is said
WEEK = timedelta(days=7)
MEMORY = 21  # days
CHANGES = 3  # corrections a day that may call out again; one that calls off is always told
MORNING = ("morning", "changed")


def morning_notice(o: Occasion) -> Notice | None:
    """The notice of this morning, its correction, or None where there is nothing to say."""
    day, moment = last_due(o.at, morning_of(o.times), o.w.zone)
    if day != o.day:
        return None
    key = f"morning/{day.isoformat()}"
    known = o.told.get(key)
    if known is not None:
        return _corrected(o, known, moment)
    riding = o.riding()
    if not _speaks(o, riding):
        return None
    return _morning(o, key, moment, riding)


# ------------------------------------------------------------------ whether to speak


def rests_now(o: Occasion) -> bool:
    """Whether no likely hours for the brush are in sight: then silence, with one line on Mondays."""
    m, b = o.b.morning, o.b
    if m.verdict in ("seal", "touch_and_go", "prepare") or b.forecast.hours < ENOUGH_KNOWN:
        return False
    until = b.trusted_until or o.at + WEEK
    places = [p.next_span for p in m.places if p.next_span is not None]
    likely = [s for s in (*m.spans, *places) if s.chance >= b.prepare_chance and s.start < until]
    return m.verdict != "unknown" and not likely


def _speaks(o: Occasion, riding: Sequence[Wanted]) -> bool:
    """Whether there is something to say: due, possible, changed, or asked for daily."""
    m, before = o.b.morning, o.before(MORNING, MEMORY)
    last = before[-1].action if before else ""
    told_once = any(one.kind not in ("seal", "touch_up") for one in riding)
    watched = [tag for tag in wet_tags(o.b) if tag not in o.b.unsure]  # nobody knows of the others: a look
    if o.times.daily or told_once or watched:
        return True
    work = bool(o.work())
    if rests_now(o):
        monday = o.day.weekday() == 0
        thaw = o.b.thaw is not None and not any(
            "thaw" in one.action for one in before if o.at - one.at < WEEK
        )
        return work and (monday or thaw or not last.startswith("rest"))
    if m.verdict == "unknown":  # said every day in the season; in its rest once
        return work and (not last.startswith("rest") or o.day.weekday() == 0)
    if work:
        return True
    if m.verdict not in ("seal", "touch_and_go"):
        return m.verdict == "prepare" and _stems(o)
    return _stems(o) or not last or last.startswith(("leave", "rest", "prepare", "unknown"))


def _stems(o: Occasion) -> bool:
    """Whether wood waits to be cut and coated in one go."""
    return any(log.state in ("standing", "long", "expected") for log in o.b.register.present)


# ------------------------------------------------------------------ what is said


def _action(o: Occasion) -> str:
    """What the day calls for: "brush 09:00-13:00", "fair" (nothing is due), "prepare", "leave", "rest"."""
    span = brushing(o.b)
    if span is not None:
        start, end = (o.w.local(when) for when in hours_of(span))
        return f"brush {start:%H:%M}-{end:%H:%M}" if o.b.morning.due else "fair"
    if rests_now(o):
        return "rest thaw" if o.b.thaw is not None else "rest"
    return {"prepare": "prepare", "unknown": "unknown"}.get(o.b.morning.verdict, "leave")


def _morning(o: Occasion, key: str, moment: datetime, riding: Sequence[Wanted]) -> Notice:
    span, keys = brushing(o.b), tuple(one.key for one in riding)
    until = moment + OF_USE
    if span is not None:
        until = max(hours_of(span)[1] - LEAST, hours_of(span)[0], moment + LEAST)
    action = _action(o)
    first = headline(o.b, o.w)
    if action.startswith("rest") and not o.times.daily:
        first, body = _rest_lines(o, riding)
    else:
        body = _lines(o, span, riding)
    said = kept_short([(9, first), *body], o.room(riding))
    return Notice("morning", key, action, said[0], said, moment, until, False, keys)


def _lines(o: Occasion, span: TimedSpan | None, riding: Sequence[Wanted]) -> list[tuple[int, str | None]]:
    b, w = o.b, o.w
    work = o.work()
    night = " ".join(tonight(b, w)[:1]) if wet_tags(b) else None
    return [
        (8, _hold(o, span) if span is not None else _reason(o)),
        (7, _work_line(o, work, span) or _fresh_wood(o, span)),
        (5, _helper(o, work, span)),
        (7, next(iter(inside(b, w)), None)),
        (6, next(iter(to_fell(b, w)), None)),
        (6, _rides(o, riding)),
        (5, _week(o)),
        (4, night),
        (3, _again(o, span)),
        (2, next(iter(cautions(b, w)), None)),
    ]


def _work_line(o: Occasion, work: Sequence[Job], span: TimedSpan | None) -> str | None:
    """What to do first, no more than fits the hours; where there are none, what waits."""
    if span is None:
        return jobs_line(o.b, o.w, work, "notice.due")
    named_jobs = [job for job in first_jobs(o.b)[0] if job in work and job.people <= max(o.b.people, 1)]
    left = sum(job in work for job in o.b.morning.now) - len(named_jobs)
    return jobs_line(o.b, o.w, named_jobs, "notice.do", left=left)


def _helper(o: Occasion, work: Sequence[Job], span: TimedSpan | None) -> str | None:
    """The logs that need somebody who is not there."""
    tags = asked_tags([job for job in work if job.people > max(o.b.people, 1)])
    return o.w.words.say("today.second_person", logs=named(tags, o.w)) if span is not None and tags else None


def _reason(o: Occasion) -> str:
    """Why not today, and when next."""
    m, w = o.b.morning, o.w
    first = weather_lines(o.b, w)[0]
    if m.verdict != "leave_it" or m.work.next_span is None:
        return first
    return f"{first} {next_line(o.b, w, m.work.next_span)}"


def _fresh_wood(o: Occasion, span: TimedSpan | None) -> str | None:
    """Good hours and nothing due: what to do with wood that comes today."""
    return None if span is None else o.w.words.say("today.wood_today_coat", hours=o.w.between(span))


def _rest_lines(o: Occasion, riding: Sequence[Wanted]) -> tuple[str, list[tuple[int, str | None]]]:
    """The one line of a week without hours for the brush; more only where something is told once."""
    count = sum(1 for _ in o.work())
    say = o.w.words.say
    first = say("notice.rest_one" if count == 1 else "notice.rest", count=count)
    before = o.before(MORNING, MEMORY)
    began = not before or not before[-1].action.startswith("rest")
    thaw = say("notice.thaw", when=o.w.at_time(o.b.thaw)) if o.b.thaw is not None else None
    return first, [
        (8, say("notice.rest_quiet") if began and count else None),
        (7, thaw),
        (6, _rides(o, riding)),
        (5, " ".join(tonight(o.b, o.w)[:1]) if wet_tags(o.b) else None),
    ]


def _hold(o: Occasion, span: TimedSpan) -> str:
    say, w = o.w.words.say, o.w
    reached = span.milestones.rain_safe
    rain = say("notice.takes_rain", time=w.by(reached)) if reached is not None else ""
    chance = first_upper(w.chance(span.chance))
    return say("notice.hold", chance=chance, rain=rain, stop=w.clock(hours_of(span)[1]))


def _rides(o: Occasion, riding: Sequence[Wanted]) -> str | None:
    """What is told once: looks, logs that want the saw, and whatever else a reminder says."""
    w, say = o.w, o.w.words.say
    of = {(one.kind, one.tag, one.end) for one in riding}
    looks = [j for j in o.b.morning.later if j.kind == "look" and ("look", j.tag, j.end or "") in of]
    more = [one for one in riding if one.kind == "look"]
    parts = []
    if looks or more:
        # A look that falls due later today has no job yet: its log is named all the same.
        tags = list(dict.fromkeys([*asked_tags(looks), *(one.tag for one in more)]))
        jobs = [next((j for j in looks if j.tag == tag), None) for tag in tags]
        known = [job for job in jobs if job is not None]
        whole = len(known) == len(tags)
        parts.append(look_line(known, w) if whole else say("notice.look", logs=named(tags, w)))
    for kind, key in (("saw_by", "notice.saw_by"), ("saw", "notice.saw")):
        tags = list(dict.fromkeys(one.tag for one in riding if one.kind == kind))
        if tags:
            parts.append(say(key, logs=named(tags, w)))
    usual = ("look", "saw", "saw_by", "seal", "touch_up", "second_coat")
    parts += [wanted_text(one, w) for one in riding if one.kind not in usual][:2]
    return " ".join(part if part.endswith((".", "?")) else f"{part}." for part in parts) or None


def _week(o: Occasion) -> str | None:
    """The hours of the week to come, once a week: in the first notice of a week."""
    first = o.day - timedelta(days=o.day.weekday())
    if any(o.w.day_of(one.at) >= first for one in o.before(MORNING, 7)):
        return None
    m, w, b = o.b.morning, o.w, o.b
    until = o.at + WEEK
    ahead = [s for s in m.spans if o.at < s.start < until and s.chance >= b.prepare_chance]
    ahead = [s for s in ahead if w.day_of(s.start) != o.day]
    if not ahead:
        return None
    say = w.words.say
    days = [say("notice.week_day", day=w.weekday_number(s.start), hours=w.brush(s)) for s in ahead[:3]]
    more = say("notice.week_more", count=len(ahead) - 3) if len(ahead) > 3 else ""
    return say("notice.week", days=", ".join(days), more=more)


def _again(o: Occasion, span: TimedSpan | None) -> str | None:
    """The first hours for the brush after a rest."""
    before = o.before(MORNING, MEMORY)
    rested = bool(before) and before[-1].action.startswith("rest")
    return o.w.words["notice.again"] if rested and span is not None else None


# ------------------------------------------------------------------ corrections


def _corrected(o: Occasion, known: ToldNotice, moment: datetime) -> Notice | None:
    """The correction that what was told this morning needs now; None while it still stands."""
    span = brushing(o.b)
    told = _told_hours(o, known.action)
    new = None
    if o.b.morning.due:  # what has been done since needs no word
        new = _called(o, span, known) if told is None else _moved(o, span, *told)
    if new is None:
        return None
    if not known.sent:  # nobody has the first word: the morning is told as it is now
        return _morning(o, known.key, moment, o.riding())
    subject, action, until = new
    first = subject[:FIRST_LINE]
    why = _hold(o, span) if span is not None else _reason(o)
    work = _work_line(o, o.work(), span) if span is not None else None
    lines = kept_short([(9, first), (8, why), (7, work), (6, _milky(o))], o.room())
    return Notice("changed", known.key, action, first, lines, moment, until)


def _milky(o: Occasion) -> str | None:
    """What was brushed by the first word and is not dry."""
    return " ".join(tonight(o.b, o.w)[:1]) if wet_tags(o.b) else None


def _told_hours(o: Occasion, action: str) -> tuple[datetime, datetime] | None:
    """The hours of "brush 09:00-13:00" on this day."""
    if not action.startswith("brush "):
        return None
    first, _, last = action.removeprefix("brush ").partition("-")
    return _clock(o, first), _clock(o, last)


def _clock(o: Occasion, text: str) -> datetime:
    hour, _, minute = text.partition(":")
    return o.w.local(o.at).replace(hour=int(hour), minute=int(minute), second=0, microsecond=0)


def _moved(
    o: Occasion, span: TimedSpan | None, start: datetime, end: datetime
) -> tuple[str, str, datetime] | None:
    """Hours were told: whether they are called off, end earlier or begin later now."""
    say, w = o.w.words.say, o.w
    if o.at > end - LEAST:  # nearly over as told: nothing to change any more
        return None
    if span is None:
        unknown = o.b.morning.verdict == "unknown"
        key = "notice.changed_unknown" if unknown else "notice.changed_leave"
        return say(key), "unknown" if unknown else "leave", end
    begin, stop = hours_of(span)
    action = f"brush {w.local(begin):%H:%M}-{w.local(stop):%H:%M}"
    if begin >= max(start, o.at) + MOVED:
        hours = w.span(begin, stop)
        return say("notice.changed_hours", hours=hours), action, max(stop - LEAST, begin)
    if stop <= end - MOVED:
        # The start that was told stays: it has come, or it is nearly the same.
        action = f"brush {w.local(start):%H:%M}-{w.local(stop):%H:%M}"
        return say("notice.changed_stop", clock=w.clock(stop)), action, end
    return None


def _called(o: Occasion, span: TimedSpan | None, known: ToldNotice) -> tuple[str, str, datetime] | None:
    """No hours were told, as the weather did not allow it: whether there are some now."""
    if span is None or known.action == "fair" or known.number > CHANGES or not o.work():
        return None
    begin, stop = hours_of(span)
    if stop - max(begin, o.at) < LEAST:
        return None
    w = o.w
    action = f"brush {w.local(begin):%H:%M}-{w.local(stop):%H:%M}"
    until = max(stop - LEAST, begin)
    return w.words.say("notice.changed_brush", hours=w.span(begin, stop)), action, until
