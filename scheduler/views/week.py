"""The week's plan in words and as JSON: who does what when, why, and what is left out. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from scheduler.planning.jobs import COATING_JOBS, Job
from scheduler.planning.plan import Assignment
from scheduler.planning.verdict import TimedSpan, TimedStop
from scheduler.planning.week import Help, Out, Week, fits, outs_of
from scheduler.planning.worth import EndWorth
from scheduler.settings import Species
from scheduler.views.wording import Wording, first_upper
from scheduler.wood.storage import SawBy
from scheduler.yard.facts import Register

__all__ = ["Board", "week_json", "week_lines", "what_if_json", "what_if_lines"]

MINUTE = timedelta(minutes=1)
DAY = timedelta(days=1)
KNOWN_WELL = 0.3  # a plan that can be further from the best than this is told without a figure
COUNTED = 4  # up to so many people there is a word


@dataclass(frozen=True, eq=False)
class Board:
    """Beside the week: what names, hours and reasons are taken from.

    ``money``: the yard's currency and its amount for one weighted cm; None: no prices are known.
    """

    register: Register
    species: Mapping[str, Species]
    spans: tuple[TimedSpan, ...]
    stopped: tuple[TimedStop, ...]
    worths: Mapping[tuple[str, str, str], EndWorth]
    saw_by: Mapping[str, SawBy]
    stock: float | None = None
    money: tuple[str | None, float] | None = None
    trusted_until: datetime | None = None


@dataclass(frozen=True, slots=True)
class _Line:
    """One visit: jobs of a kind at one log, or looks at several."""

    start: datetime
    minutes: float
    who: tuple[int, ...]
    rows: tuple[Assignment, ...]


# ------------------------------------------------------------------ text


def week_lines(week: Week, board: Board, w: Wording) -> list[str]:
    """Day by day, then what is left out, the wax, and how good the plan is."""
    first, last = w.day_of(week.at), w.day_of(week.until - MINUTE)
    begin, end = w.weekday_number(week.at), w.weekday_number(week.until - MINUTE)
    said = [w.words.say("week.from", first=begin, last=end)]
    for n in range((last - first).days + 1):
        said += _day_lines(week, board, first + n * DAY, w)
    said += _out_lines(outs_of(week), board, w)
    said += _wax(week, board, w)
    said += _how_good(week, board, w)
    if any(row.task[2] == "cut_and_coat" for row in week.plan.assignments):
        said.append(w.words["week.cut_alone"])
    return said


def _day_lines(week: Week, board: Board, day: date, w: Wording) -> list[str]:
    words = w.words
    slots = [slot for slot in week.work.slots if slot.day == day]
    rows = [row for row in week.plan.assignments if w.day_of(row.start) == day]
    name = _day_name(day, w)
    if not slots:
        return [words.say("week.nobody", day=name)]
    people = max(slot.people for slot in slots)
    span = _span_of(board, day, w)
    head = words.say("week.head", day=name, people=_people(people, w), brush=_brush(board, span, w))
    if not rows:
        return [f"{head}: {_nothing(board, day, span, w)}"]
    frames = [frame for frame in week.plan.sessions if frame.day == day]
    lines = [(line.start, _visit(week, board, line, people, w)) for line in _visits(rows)]
    lines += [(frame.set_up, words["week.set_up"]) for frame in frames]
    lines += [(frame.clean_up, words["week.clean_up"]) for frame in frames]
    lines.sort(key=lambda row: row[0])
    return [head, *(words.say("week.line", clock=w.clock(when), what=what) for when, what in lines)]


def _day_name(day: date, w: Wording) -> str:
    return first_upper(w.day(datetime.combine(day, datetime.min.time(), w.zone) + 12 * timedelta(hours=1)))


def _people(count: int, w: Wording) -> str:
    return (
        w.words[f"week.people.{count}"] if count <= COUNTED else w.words.say("week.people.more", count=count)
    )


def _span_of(board: Board, day: date, w: Wording) -> TimedSpan | None:
    mine = [span for span in board.spans if w.day_of(span.start) == day]
    return max(mine, key=lambda span: span.chance, default=None)


def _brush(board: Board, span: TimedSpan | None, w: Wording) -> str:
    if span is None:
        return ""
    far = board.trusted_until is not None and span.start >= board.trusted_until
    doubt = w.words["week.doubt"] if far else ""
    return w.words.say("week.brush", hours=w.brush(span), chance=w.chance(span.chance), doubt=doubt)


def _nothing(board: Board, day: date, span: TimedSpan | None, w: Wording) -> str:
    if span is not None:
        return w.words["week.not_worth"]
    total: dict[str, timedelta] = {}
    for stop in board.stopped:
        if not stop.fixed and w.day_of(stop.start) == day:
            short = w.short(stop) or w.words.rule(stop.rule, "says", stop.says)
            total[short] = total.get(short, timedelta(0)) + (stop.end - stop.start)
    main = max(total, key=lambda short: total[short], default=None)
    return w.words.say("week.nothing_for", why=main) if main else w.words["week.nothing"]


def _visits(rows: Sequence[Assignment]) -> list[_Line]:
    """Ends of a log done in one go together; looks in a row together."""
    out: list[_Line] = []
    for row in sorted(rows, key=lambda row: (row.who, row.start)):
        last = out[-1] if out else None
        if last is not None and _goes_on(last, row):
            minutes = (row.start - last.start) / MINUTE + row.minutes
            out[-1] = _Line(last.start, minutes, last.who, (*last.rows, row))
        else:
            out.append(_Line(row.start, row.minutes, row.who, (row,)))
    return sorted(out, key=lambda line: (line.start, line.who))


def _goes_on(line: _Line, row: Assignment) -> bool:
    before = line.rows[-1]
    same = before.task[2] == row.task[2] and (before.task[0] == row.task[0] or row.task[2] == "look")
    gap = row.start - (line.start + line.minutes * MINUTE)
    return same and line.who == row.who and gap <= (15 * MINUTE if row.task[2] == "look" else MINUTE)


def _visit(week: Week, board: Board, line: _Line, people: int, w: Wording) -> str:
    """Who does what: behind the clock time."""
    what = _what(week, board, line, w)
    return f"{w.join([str(n + 1) for n in line.who])}: {what}" if people > 1 else what


def _what(week: Week, board: Board, line: _Line, w: Wording) -> str:
    words, (tag, _, kind) = w.words, line.rows[0].task
    if kind == "warm_pail":
        return words["week.warm_pail"]
    if kind == "look":
        return words.say("week.look", logs=w.join(list(dict.fromkeys(row.task[0] for row in line.rows))))
    log = w.tagged(tag, board.register.log(tag), board.species)
    if kind == "bring_in":
        kg = week.work.weights.get(tag)
        weight = f", {w.weight(kg)}" if kg is not None else ""
        two = words["week.two"] if len(line.who) > 1 else ""
        return words.say("week.carry", log=log, place=week.shelter, weight=weight, two=two)
    job = week.job(line.rows[0].task)
    assert job is not None
    ends = [row.task[1] for row in line.rows if row.task[1]]
    litres = sum(row.litres for row in line.rows)
    wax = f", {w.litres(litres)}" if litres else ""
    amount = _amount(sum(row.keeps for row in line.rows), board, w)
    keeps = words.say("week.keeps", amount=amount) if amount else ""
    moved = words["week.moved"] if any(row.moved for row in line.rows) else ""
    return f"{log}: {w.job(job, ends)}; {line.minutes:.0f} min{wax}{keeps}{moved}"


def _amount(points: float, board: Board, w: Wording) -> str:
    """ "about 13 EUR", "about 4 cm of a good log"; empty for next to nothing."""
    if board.money is not None:
        money = points * board.money[1]
        text = w.money(money, board.money[0])
        return "" if money < 0.05 else text if money < 0.95 else w.words.say("week.about", amount=text)
    if points < 0.05:
        return ""
    return w.words.say("week.about", amount=w.words.say("why.good_log", length=w.about_length(points)))


# ------------------------------------------------------------------ what is left out


def _out_lines(outs: Sequence[Out], board: Board, w: Wording) -> list[str]:
    """One line a reason, with all that it holds for."""
    groups: dict[str, dict[tuple[str, str], list[str]]] = {}
    for out in outs:
        if _is_thought(out):
            continue
        ends = groups.setdefault(why_words(out, board, w), {}).setdefault((out.job.kind, out.job.tag), [])
        ends += [out.job.end] if out.job.end else []
    lines = []
    for why, logs in groups.items():
        kinds: dict[str, list[str]] = {}
        for (kind, tag), ends in logs.items():
            log = board.register.log(tag)
            whole = log is None or len(ends) >= len([end for end in log.ends if end.reach]) or not ends
            named = [w.end(end) for end in ends]
            kinds.setdefault(kind, []).append(
                tag if whole and why != w.words["week.why.reach"] else f"{tag} {w.join(named)}"
            )
        jobs = "; ".join(f"{_short(kind, w)} {w.join(tags)}" for kind, tags in kinds.items())
        lines.append(w.words.say("week.out", jobs=first_upper(jobs), why=why))
    return ["", w.words["week.left_out"], *lines] if lines else []


def _is_thought(out: Out) -> bool:
    """Whether it is only the second coat of a first one that is not on, and only its worth hinders it."""
    return out.job.kind == "second_coat" and (
        out.why == "waits_for" or (out.why == "not_worth_it" and out.ahead)
    )


def _short(kind: str, w: Wording) -> str:
    return w.words["week.cut_and_coat" if kind == "cut_and_coat" else f"job.{kind}"]


def why_words(out: Out, board: Board, w: Wording) -> str:
    """Why a job has no time in the plan, in plain words without a full stop."""
    n, say = out.numbers, w.words.say
    if out.why == "saw_by":
        by = out.job.by
        return say("week.why.saw_by", day=w.month_day(by)) if by else w.words["week.why.saw_by_open"]
    if out.why == "no_span":
        best = n.get("chance", 0.0)
        return say("week.why.no_span_best" if best >= 0.05 else "week.why.no_span", chance=w.chance(best))
    if out.why in ("too_soon", "pail_cold"):
        return say(f"week.why.{out.why}", hours=f"{n['hours']:.0f}")
    if out.why == "no_wax":
        return say("week.why.no_wax", litres=w.litres(n["left"]))
    if out.why in ("span_too_short", "no_hours"):
        return say("week.why.span_too_short", minutes=f"{n['minutes']:.0f}")
    return w.words[f"week.why.{out.why}"]


# ------------------------------------------------------------------ wax, quality


def _wax(week: Week, board: Board, w: Wording) -> list[str]:
    need = week.plan.litres
    if not need:
        return []
    of = w.words.say("today.wax_of", litres=w.litres(board.stock)) if board.stock is not None else ""
    return ["", w.words.say("week.wax", litres=w.litres(need), of=of)]


def _how_good(week: Week, board: Board, w: Wording) -> list[str]:
    plan = week.plan
    amount = _amount(plan.value, board, w)
    if not amount or not any(row.task[2] in COATING_JOBS for row in plan.assignments):
        return []
    within = plan.optimal_within
    if within < 0.005:
        return [w.words.say("week.best", amount=amount)]
    if within <= KNOWN_WELL:
        return [w.words.say("week.near", amount=amount, percent=f"{within * 100:.0f}")]
    return [w.words.say("week.not_known", amount=amount)]


# ------------------------------------------------------------------ what if


def what_if_lines(
    week: Week,
    board: Board,
    w: Wording,
    helps: Sequence[Help],
    *,
    tags: Sequence[str] | None = None,
    pushed: Sequence[str] = (),
    until_said: str | None = None,
) -> list[str]:
    """Yes, only these, these go inside; then when, and what would help."""
    say = w.words.say
    done, missing = fits(week, tags)
    by = say("plan.by", day=w.day(week.until - MINUTE)) if until_said else ""
    said = [_answer(done, missing, by, w)]
    if week.inside:
        heavy = [f"{tag} ({w.weight(week.work.weights[tag])})" for tag in week.inside]
        said.append(say("plan.inside", place=week.shelter, logs=w.join(heavy)))
    first, last = w.day_of(week.at), w.day_of(week.until - MINUTE)
    for n in range((last - first).days + 1):
        day = first + n * DAY
        if any(w.day_of(row.start) == day for row in week.plan.assignments):
            said += _day_lines(week, board, day, w)
    outs = [out for out in outs_of(week) if tags is None or out.job.tag in tags]
    said += _out_lines(outs, board, w)
    if pushed:
        said.append(say("plan.pushed", logs=w.join(pushed)))
    said += _wax(week, board, w)
    for tag in tags or ():
        by_when = board.saw_by.get(tag)
        if by_when is not None and by_when.by is not None:
            said.append(say("plan.saw", tag=tag, day=w.month_day(by_when.by)))
    said += [_help_words(one, w) for one in helps]
    said.append(w.words["plan.unwritten"])
    return said


def _answer(done: Sequence[str], missing: Sequence[str], by: str, w: Wording) -> str:
    say = w.words.say
    if not done and not missing:
        return w.words["plan.nothing"]
    if not missing:
        return say(
            "plan.yes_one" if len(done) == 1 else "plan.yes", by=by, count=len(done), logs=w.join(done)
        )
    if not done:
        return say("plan.no", by=by, logs=w.join(missing))
    return say("plan.some", by=by, logs=w.join(done), missing=w.join(missing))


def _help_words(one: Help, w: Wording) -> str:
    say, tags = w.words.say, w.join(one.tags)
    if one.kind == "person":
        return say("plan.person", people=_people(round(one.amount), w), logs=tags)
    if one.kind == "litres":
        return say("plan.litres", litres=w.litres(one.amount), logs=tags)
    return say("plan.days_one" if one.amount == 1 else "plan.days", count=f"{one.amount:.0f}", logs=tags)


# ------------------------------------------------------------------ JSON


def week_json(week: Week, board: Board, w: Wording) -> dict[str, Any]:
    """``plan --json``; ``keeps`` in the unit that is named, cm of a good log or the yard's currency.

    It is English whatever the yard's language is.
    """
    english = replace(w, language="en")
    rate = 1.0 if board.money is None else board.money[1]
    plan = week.plan
    return {
        "at": _iso(week.at, w),
        "until": _iso(week.until, w),
        "jobs": [_job_json(week, row, rate, w) for row in plan.assignments],
        "left_out": [
            {
                "tag": out.job.tag,
                "end": out.job.end,
                "job": out.job.kind,
                "why": why_words(out, board, english),
                "reason": out.why,
            }
            for out in outs_of(week)
        ],
        "sessions": [
            {"set_up": _iso(frame.set_up, w), "clean_up": _iso(frame.clean_up, w)} for frame in plan.sessions
        ],
        "inside": list(week.inside),
        "litres": round(plan.litres, 3),
        "stock": board.stock,
        "keeps": round(plan.value * rate, 3),
        "at_most": round(plan.bound * rate, 3),
        "unit": "cm" if board.money is None else board.money[0],
        "hands_price": {day.isoformat(): round(p * rate, 4) for day, p in plan.hands_price.items()},
        "optimal_within": round(plan.optimal_within, 4),
    }


def _job_json(week: Week, row: Assignment, rate: float, w: Wording) -> dict[str, Any]:
    job = week.job(row.task)
    return {
        "tag": row.task[0],
        "end": row.task[1],
        "job": row.task[2],
        "start": _iso(row.start, w),
        "minutes": round(row.minutes, 1),
        "who": [n + 1 for n in row.who],
        "chance": None if row.chance is None else round(row.chance, 3),
        "keeps": round(row.keeps * rate, 3),
        "litres": round(row.litres, 3),
        "place": _place(job),
        "moved": row.moved,
        "why": "" if job is None else job.why,
    }


def _place(job: Job | None) -> str | None:
    return None if job is None else job.place


def what_if_json(
    week: Week,
    board: Board,
    w: Wording,
    helps: Sequence[Help],
    *,
    tags: Sequence[str] | None = None,
    pushed: Sequence[str] = (),
) -> dict[str, Any]:
    """The week with the answer beside it: whether all fits, what would help."""
    done, missing = fits(week, tags)
    word = "yes" if not missing else "some" if done else "no"
    return {
        "fits": word,
        "fitting": done,
        "not_fitting": missing,
        "pushed_out": list(pushed),
        "would_help": [{"what": h.kind, "amount": round(h.amount, 3), "tags": list(h.tags)} for h in helps],
        "saw_by": {
            tag: _iso(found.by, w)
            for tag in tags or ()
            if (found := board.saw_by.get(tag)) is not None and found.by is not None
        },
        **week_json(week, board, w),
    }


def _iso(when: datetime, w: Wording) -> str:
    return w.local(when).replace(microsecond=0).isoformat()
