"""Ends by what waiting costs: lines for a person and JSON for a program. Pure.

Lengths are calibrated to rules of thumb, not measured, and are shown with their
band (half to double). Ends that cannot be reached have no rank and no price.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isfinite
from typing import Any

from scheduler.planning.jobs import Job
from scheduler.planning.truth import Row
from scheduler.planning.worth import EndWorth
from scheduler.settings import Species
from scheduler.views.wording import STATE_WORDS, Wording
from scheduler.wood.endgrain import Calibration
from scheduler.yard.condition import EndState
from scheduler.yard.facts import Register

__all__ = ["cuts_json", "cuts_lines", "rank_json", "rank_lines"]

Worths = Mapping[tuple[str, str, str], EndWorth]
States = Mapping[tuple[str, str], EndState]


def _found(jobs: Sequence[Job], worths: Worths) -> list[tuple[Job, EndWorth]]:
    pairs = []
    for job in jobs:
        found = worths.get((job.tag, job.end or "", job.kind))
        if found is not None:
            pairs.append((job, found))
    return pairs


def rank_lines(
    jobs: Sequence[Job], worths: Worths, register: Register, species: Mapping[str, Species], w: Wording
) -> list[str]:
    """One line an end, dearest first, and what each number rests on."""
    pairs, words = _found(jobs, worths), w.words
    if not pairs:
        return [words["ahead.none_waits"], *_unreachable(register, w)]
    said = [words["rank.head_spring" if pairs[0][1].spring else "rank.head_saw"]]
    said += [_line(group, register, species, w) for group in _by_log(pairs)]
    said += _unreachable(register, w)
    if any(found.hands_cost > 0.0 for _, found in pairs):
        said.append(words["rank.hands"])
    said.append(words["rank.rough"])
    return said


def _by_log(pairs: Sequence[tuple[Job, EndWorth]]) -> list[list[tuple[Job, EndWorth]]]:
    """Ends of a log with the same job together, in order."""
    groups: dict[tuple[str, str], list[tuple[Job, EndWorth]]] = {}
    for job, found in pairs:
        groups.setdefault((job.tag, job.kind), []).append((job, found))
    return list(groups.values())


def _line(
    group: Sequence[tuple[Job, EndWorth]],
    register: Register,
    species: Mapping[str, Species],
    w: Wording,
) -> str:
    job, found = group[0]
    return w.words.say(
        "rank.line",
        log=w.tagged(job.tag, register.log(job.tag), species),
        job=w.job(job, [one.end for one, _ in group if one.end]),
        loss=w.about_length(max(one.open_cm[1] for _, one in group)),
        cost=_amount(sum(one.open_cost for _, one in group), found, w),
        week=_amount(sum(one.week_cost for _, one in group), found, w),
        advice=" / ".join(dict.fromkeys(_advice(one, w) for _, one in group)),
    )


def _advice(found: EndWorth, w: Wording) -> str:
    if found.best_day is None:
        return w.words["rank.advice.none"]
    if found.now:
        return w.words["rank.advice.today"]
    if found.best_day <= 1:
        return w.words["rank.advice.tomorrow" if found.best_day else "rank.advice.wait"]
    return w.words.say("rank.advice.better", count=found.best_day)


def _amount(value: float, found: EndWorth, w: Wording) -> str:
    if found.unit == "money":
        return w.money(value, found.currency)
    return w.words.say("why.good_log", length=w.about_length(value))


def _unreachable(register: Register, w: Wording) -> list[str]:
    bare = [
        f"{log.tag} {w.join([w.end(end.name) for end in log.ends if not end.reach and not end.coats])}"
        for log in register.present
        if log.state == "in_yard" and any(not end.reach and not end.coats for end in log.ends)
    ]
    return [w.words.say("rank.unreachable", logs=w.join(bare))] if bare else []


def rank_json(jobs: Sequence[Job], worths: Worths, states: States) -> dict[str, Any]:
    """``rank --json``: costs in the unit that is named, lengths in cm."""
    return {"ends": [_entry(job, found, states) for job, found in _found(jobs, worths)]}


def _entry(job: Job, found: EndWorth, states: States) -> dict[str, Any]:
    state = states.get((job.tag, job.end or ""))
    return {
        "tag": job.tag,
        "end": job.end,
        "state": None if state is None else state.state,
        "job": job.kind,
        "cost_of_waiting_per_day": round(found.day_cost, 3),
        "cost_of_waiting_per_week": round(found.week_cost, 3),
        "cost_till_spring": round(found.open_cost, 3),
        "loss_so_far_cm": round(found.so_far_cm[1], 2),
        "loss_till_spring_cm": round(found.open_cm[1], 2),
        "loss_till_spring_low_cm": round(found.open_cm[0], 2),
        "loss_till_spring_high_cm": round(found.open_cm[2], 2),
        "cost_of_a_try": round(found.try_cost, 3),
        "cost_of_hands": round(found.hands_cost, 3),
        "expected": round(found.expected, 3),
        "chance": round(found.chance, 3),
        "today": found.now,
        "best_day": found.best_day,
        "points": round(found.points, 3),
        "unit": found.currency if found.unit == "money" else "cm",
        "why": f"{STATE_WORDS.get(state.state, state.state) if state else 'bare'}; {job.why}",
    }


def cuts_lines(rows: Sequence[Row], taught: Calibration, w: Wording) -> list[str]:
    """Estimate against truth: one line a cut, and what all of them say together."""
    say, words = w.words.say, w.words
    if not rows:
        return [words["rank.cuts.none"]]
    names = [_cut_name(row, w) for row in rows]
    width = max(28, *(len(name) + 1 for name in names))
    heads = (words[f"rank.cuts.{head}"] for head in ("open", "estimate", "found"))
    said = [_columns(width, "", *heads)]
    said += [_columns(width, name, *_cut(row, w)) for name, row in zip(names, rows, strict=True)]
    right = sum(row.outcome == "as estimated" for row in rows)
    said.append(say("rank.cuts.right", right=right, count=len(rows)))
    if taught.used:
        factor, leak = (w.number(f"{one:.2f}") for one in (taught.factor, taught.leak))
        said.append(say("rank.cuts.taught", factor=factor, leak=leak))
    else:
        said.append(say("rank.cuts.few", count=taught.cuts))
    return said


def _columns(width: int, name: str, days: str, estimate: str, found: str) -> str:
    return f"{name:{width}}{days:>8}{estimate:>24}  {found}"


def _cut_name(row: Row, w: Wording) -> str:
    name = f"{row.tag} {w.end(row.end)}, {w.day(row.when)}"
    return w.words.say("rank.cuts.coated", name=name) if row.coated else name


def _cut(row: Row, w: Wording) -> tuple[str, str, str]:
    """How long it was open, the estimate with its band, and what was found."""
    band = f"{w.about_length(row.estimate)} ({w.about_length(row.low)}-{w.about_length(row.high)})"
    days = f"{row.days_open:.0f} d" if row.days_open >= 1 else f"{row.days_open * 24:.0f} h"
    outcome = w.words[f"rank.cuts.{row.outcome.replace(' ', '_')}"]
    return days, band, f"{_found_words(row, w)}: {outcome}"


def _found_words(row: Row, w: Wording) -> str:
    say = w.words.say
    if not isfinite(row.at_most):
        return say("rank.cuts.over", length=w.about_length(row.above))
    if row.above <= 0.0:
        return say("rank.cuts.at_most", length=w.about_length(row.at_most))
    return say("rank.cuts.between", low=w.about_length(row.above), high=w.about_length(row.at_most))


def cuts_json(rows: Sequence[Row], taught: Calibration) -> dict[str, Any]:
    """``rank --cuts --json``; null where nobody knows how deep the cracks went."""
    return {
        "cuts": [
            {
                "tag": row.tag,
                "end": row.end,
                "days_open": round(row.days_open, 2),
                "coated": row.coated,
                "estimate_cm": round(row.estimate, 2),
                "low_cm": round(row.low, 2),
                "high_cm": round(row.high, 2),
                "above_cm": round(row.above, 2),
                "at_most_cm": round(row.at_most, 2) if isfinite(row.at_most) else None,
                "outcome": row.outcome,
            }
            for row in rows
        ],
        "factor": round(taught.factor, 3),
        "leak": round(taught.leak, 3),
        "used": taught.used,
    }
