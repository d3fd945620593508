"""The week's plan in words and as JSON: who does what when, why, and what is left out. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from scheduler.planning.jobs import COATING_JOBS, Job
from scheduler.planning.plan import Assignment
from scheduler.planning.verdict import TimedSpan, TimedStop
from scheduler.planning.week import Help, Out, Week, fits, outs_of
from scheduler.planning.worth import EndWorth
from scheduler.settings import Species
from scheduler.views.wording import Wording, chance_words, first_upper, join
from scheduler.wood.storage import SawBy
from scheduler.yard.facts import Register

__all__ = ["Board", "week_json", "week_lines", "what_if_json", "what_if_lines"]

MINUTE = timedelta(minutes=1)
DAY = timedelta(days=1)
KNOWN_WELL = 0.3  # a plan that can be further from the best than this is told without a figure
NUMBER_WORDS = ("nobody", "one person", "two people", "three people", "four people")


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
    said = [f"From {w.weekday_number(week.at)} to {w.weekday_number(week.until - MINUTE)}"]
    for n in range((last - first).days + 1):
        said += _day_lines(week, board, first + n * DAY, w)
    said += _out_lines(outs_of(week), board, w)
    said += _wax(week, board, w)
    said += _how_good(week, board, w)
    if any(row.task[2] == "cut_and_coat" for row in week.plan.assignments):
        said.append("A cut in the list is no order to cut alone: two people, off the stack, in the light.")
    return said


def _day_lines(week: Week, board: Board, day: date, w: Wording) -> list[str]:
    slots = [slot for slot in week.work.slots if slot.day == day]
    rows = [row for row in week.plan.assignments if w.day_of(row.start) == day]
    name = _day_name(day, w)
    if not slots:
        return [f"{name}: nobody is there."]
    people = max(slot.people for slot in slots)
    head = f"{name}, {_people(people)}"
    span = _span_of(board, day, w)
    if span is not None:
        doubt = ""
        if board.trusted_until is not None and span.start >= board.trusted_until:
            doubt = ", so far ahead no promise"
        head += f", brush {w.brush(span)}, {chance_words(span.chance)}{doubt}"
    if not rows:
        why = _nothing(board, day, span, w)
        return [f"{head}: {why}"]
    out = [head]
    frames = [frame for frame in week.plan.sessions if frame.day == day]
    lines = [(line.start, _visit(week, board, line, people, w)) for line in _visits(rows)]
    lines += [(f.set_up, f"  {w.clock(f.set_up):>5}  set up") for f in frames]
    lines += [(f.clean_up, f"  {w.clock(f.clean_up):>5}  clean up") for f in frames]
    out += [text for _, text in sorted(lines, key=lambda row: row[0])]
    return out


def _day_name(day: date, w: Wording) -> str:
    return first_upper(w.day(datetime.combine(day, datetime.min.time(), w.zone) + 12 * timedelta(hours=1)))


def _people(count: int) -> str:
    return NUMBER_WORDS[count] if count < len(NUMBER_WORDS) else f"{count} people"


def _span_of(board: Board, day: date, w: Wording) -> TimedSpan | None:
    mine = [span for span in board.spans if w.day_of(span.start) == day]
    return max(mine, key=lambda span: span.chance, default=None)


def _nothing(board: Board, day: date, span: TimedSpan | None, w: Wording) -> str:
    if span is not None:
        return "nothing that would be worth it."
    total: dict[str, timedelta] = {}
    for stop in board.stopped:
        if not stop.fixed and w.day_of(stop.start) == day:
            short = stop.short or stop.says
            total[short] = total.get(short, timedelta(0)) + (stop.end - stop.start)
    main = max(total, key=lambda short: total[short], default=None)
    return f"nothing; {main}." if main else "nothing."


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
    who = f"{' and '.join(str(n + 1) for n in line.who)}: " if people > 1 else ""
    start = f"  {w.clock(line.start):>5}  {who}"
    kind = line.rows[0].task[2]
    if kind == "warm_pail":
        return f"{start}bring the pail into the warm, for the days after"
    job = week.job(line.rows[0].task)
    if kind == "look":
        tags = list(dict.fromkeys(row.task[0] for row in line.rows))
        return f"{start}look at {join(tags)}: clear or milky, skips, new cracks"
    wood = _wood(board, line.rows[0].task[0], w)
    if kind == "bring_in":
        kg = week.work.weights.get(line.rows[0].task[0])
        heavy = f", {w.weight(kg)}" if kg is not None else ""
        two = ", two people" if len(line.who) > 1 else ""
        return f"{start}{line.rows[0].task[0]} {wood}: carry it under the {week.shelter}{heavy}{two}"
    assert job is not None
    ends = [row.task[1] for row in line.rows if row.task[1]]
    text = f"{start}{job.tag} {wood}: {w.job(job, ends)}; {line.minutes:.0f} min"
    litres = sum(row.litres for row in line.rows)
    text += f", {w.litres(litres)}" if litres else ""
    text += _why(week, board, line, w)
    moved = any(row.moved for row in line.rows)
    return text + ("; not as told before" if moved else "")


def _why(week: Week, board: Board, line: _Line, w: Wording) -> str:
    """What the visit keeps, in words of cost."""
    keeps = sum(row.keeps for row in line.rows)
    amount = _amount(keeps, board, w)
    return f"; keeps {amount}" if amount else ""


def _amount(points: float, board: Board, w: Wording) -> str:
    """ "about 13 EUR", "about 4 cm of a good log"; empty for next to nothing."""
    if board.money is not None:
        money = points * board.money[1]
        text = w.money(money, board.money[0])
        return "" if money < 0.05 else text if money < 0.95 else f"about {text}"
    return f"about {w.about_length(points)} of a good log" if points >= 0.05 else ""


def _wood(board: Board, tag: str, w: Wording) -> str:
    log = board.register.log(tag)
    if log is None:
        return "wood"
    return w.wood(board.species.get(log.species or ""), log.species_said if log.species is None else "")


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
            kinds.setdefault(kind, []).append(
                tag if whole and why != WHY_WORDS["reach"] else f"{tag} {join(ends)}"
            )
        named = "; ".join(f"{_short(kind, w)} {join(tags)}" for kind, tags in kinds.items())
        lines.append(f"  {first_upper(named)}: {why}.")
    return ["", "Left out", *lines] if lines else []


def _is_thought(out: Out) -> bool:
    """Whether it is only the second coat of a first one that is not on, and only its worth hinders it."""
    return out.job.kind == "second_coat" and (
        out.why == "waits_for" or (out.why == "not_worth_it" and out.ahead)
    )


def _short(kind: str, w: Wording) -> str:
    return "cut and coat" if kind == "cut_and_coat" else w.words[f"job.{kind}"]


def why_words(out: Out, board: Board, w: Wording) -> str:
    """Why a job has no time in the plan, in plain words without a full stop."""
    n = out.numbers
    if out.why == "saw_by":
        by = out.job.by
        return f"the mill's day is yours to set, by {w.month_day(by)}" if by else "the mill's day is yours"
    if out.why == "no_span":
        best = n.get("chance", 0.0)
        there = f"; the best is {chance_words(best)}" if best >= 0.05 else ""
        return f"no hours in these days with a fair chance that it holds{there}"
    if out.why == "too_soon":
        return f"the first coat needs about {n['hours']:.0f} h, and no good hours come after that"
    if out.why == "no_wax":
        return f"not enough wax ({w.litres(n['left'])} left)"
    if out.why in ("span_too_short", "no_hours"):
        return f"no stretch is long enough for its {n['minutes']:.0f} minutes"
    if out.why == "pail_cold":
        return f"the pail has to stand {n['hours']:.0f} h in the warm first"
    return WHY_WORDS[out.why]


WHY_WORDS = {
    "not_worth_it": "not worth a try in these days: waiting for a better one costs less",
    "second_person": "it needs a second person, and nobody is there when it could be done",
    "too_late": "it would not be done half an hour before dark",
    "no_brush_work": "there is nothing to brush",
    "waits_for": "the job before it has no time",
    "span_full": "the good hours are filled with dearer work",
    "hours_full": "the hours are filled with dearer work",
    "saw": "stain is the loss here: saw it soon, no wax",
    "reach": "it can't be reached; do not climb",
    "no_worth": "what it would keep is not known",
}


# ------------------------------------------------------------------ wax, quality


def _wax(week: Week, board: Board, w: Wording) -> list[str]:
    need = week.plan.litres
    if not need:
        return []
    of = f" of your {w.litres(board.stock)}" if board.stock is not None else ""
    return ["", f"Wax: {w.litres(need)}{of}."]


def _how_good(week: Week, board: Board, w: Wording) -> list[str]:
    plan = week.plan
    if not _amount(plan.value, board, w) or not any(row.task[2] in COATING_JOBS for row in plan.assignments):
        return []
    said = f"Against leaving all of it for later days it keeps {_amount(plan.value, board, w)}"
    within = plan.optimal_within
    if within < 0.005:
        return [f"{said}; no plan keeps more."]
    if within <= KNOWN_WELL:
        return [f"{said}; no other plan could keep over {within * 100:.0f} % more."]
    return [f"{said}. How near that is to the best is not known."]


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
    done, missing = fits(week, tags)
    by = f" by {w.day(week.until - MINUTE)}" if until_said else ""
    said = [_answer(done, missing, by)]
    if week.inside:
        heavy = [f"{tag} ({w.weight(week.work.weights[tag])})" for tag in week.inside]
        said.append(f"These go inside, under the {week.shelter}: {join(heavy)}.")
    first, last = w.day_of(week.at), w.day_of(week.until - MINUTE)
    for n in range((last - first).days + 1):
        day = first + n * DAY
        if any(w.day_of(row.start) == day for row in week.plan.assignments):
            said += _day_lines(week, board, day, w)
    outs = [out for out in outs_of(week) if tags is None or out.job.tag in tags]
    said += _out_lines(outs, board, w)
    if pushed:
        said.append(f"They would take the hours of {join(list(pushed))}.")
    said += _wax(week, board, w)
    for tag in tags or ():
        by_when = board.saw_by.get(tag)
        if by_when is not None and by_when.by is not None:
            said.append(f"{tag}: on the saw by {w.month_day(by_when.by)}.")
    said += [_help_words(one, w) for one in helps]
    said.append("Nothing was written.")
    return said


def _answer(done: Sequence[str], missing: Sequence[str], by: str) -> str:
    if not done and not missing:
        return "There is nothing to coat."
    if not missing:
        return f"Yes, {'it fits' if len(done) == 1 else f'all {len(done)} fit'}{by}: {join(list(done))}."
    if not done:
        return f"No, none fits{by}: {join(list(missing))}."
    return f"Only these fit{by}: {join(list(done))}. Not these: {join(list(missing))}."


def _help_words(one: Help, w: Wording) -> str:
    tags = join(list(one.tags))
    if one.kind == "person":
        return f"With {_people(round(one.amount))} on every day: {tags} too."
    if one.kind == "litres":
        return f"With {w.litres(one.amount)} more wax: {tags} too."
    days = "a day" if one.amount == 1 else f"{one.amount:.0f} days"
    return f"With {days} more: {tags} too."


# ------------------------------------------------------------------ JSON


def week_json(week: Week, board: Board, w: Wording) -> dict[str, Any]:
    """``plan --json``; ``keeps`` in the unit that is named, cm of a good log or the yard's currency."""
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
                "why": why_words(out, board, w),
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
