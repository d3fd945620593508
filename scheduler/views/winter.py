"""The end of the season, end by end: what fits, what does not and its way out, spring. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from scheduler.planning.jobs import Job
from scheduler.planning.season import Season
from scheduler.planning.winter import Rest, Winter
from scheduler.settings import Species, value_numbers
from scheduler.views.wording import Wording
from scheduler.yard.facts import Register

__all__ = ["winter_json", "winter_lines"]


def winter_lines(
    winter: Winter, season: Season, register: Register, species: Mapping[str, Species], w: Wording
) -> list[str]:
    """The work against the days, the ways out, the winter list, thaws, and the order of the restart."""
    said = [*_work(winter, w), *_thaws(winter, w)]
    if season.all_winter and not winter.rest:
        return said
    said += _rest(winter, register, species, w)
    said += _winter_list(winter, season, w)
    said += _spring(winter, season, w)
    return said


def _work(winter: Winter, w: Wording) -> list[str]:
    say = w.words.say
    if not winter.fits and not winter.rest:
        return [w.words["ahead.none_waits"]]
    need = say("winter.work", time=_hours(winter.minutes), litres=w.litres(winter.litres))
    sure = _tags([fit.job for fit in winter.fits if fit.chance >= 0.9], w)
    likely = _tags([fit.job for fit in winter.fits if fit.chance < 0.9], w)
    out = ["", need]
    if sure:
        out.append(say("winter.sure", logs=w.join(sure)))
    if likely:
        least = min(fit.chance for fit in winter.fits)
        out.append(say("winter.likely", chance=w.chance(least), logs=w.join(likely)))
    return out


def _hours(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 90 else f"{minutes / 60:.0f} h"


def _tags(jobs: Sequence[Job], w: Wording) -> list[str]:
    """Tags in order, each once, second coats said."""
    second = "second_coat"
    names = [w.words.say("winter.second", tag=job.tag) if job.kind == second else job.tag for job in jobs]
    return list(dict.fromkeys(names))


def _thaws(winter: Winter, w: Wording) -> list[str]:
    days = [f"{w.civil(thaw.day)}, {w.chance(thaw.chance)}" for thaw in winter.thaws]
    return [w.words.say("winter.thaws", days=w.join(days))] if days else []


def _rest(winter: Winter, register: Register, species: Mapping[str, Species], w: Wording) -> list[str]:
    if not winter.rest:
        return []
    out = ["", w.words["winter.rest"]]
    groups: dict[tuple[str, str], list[Rest]] = {}
    for one in winter.rest:
        groups.setdefault((one.job.tag, one.job.kind), []).append(one)
    for (tag, _), ends in groups.items():
        names = w.join([w.end(one.job.end) for one in ends if one.job.end])
        out.append(f"  {w.tagged(tag, register.log(tag), species)}, {names}: {_way_words(ends, w)}.")
    return out


def _way_words(ends: Sequence[Rest], w: Wording) -> str:
    one, words = ends[0], w.words
    if one.job.kind in ("second_coat", "touch_up"):
        return words["winter.wait"]
    if one.way == "saw" and one.by is not None:
        return words.say("winter.saw", day=w.month_day(one.by))
    if one.way == "inside" and one.kg is not None:
        lift = words["winter.lift"] if one.kg > value_numbers()["lift_two"] else ""
        return words.say("winter.inside", place=one.place, weight=w.weight(one.kg), lift=lift)
    cut = _cut_words(ends, w)
    if one.way == "other_coating":
        known = one.spare_cm is not None
        spare = words.say("winter.spare", length=w.length(one.spare_cm or 0.0)) if known else ""
        return words.say("winter.other", cut=cut, spare=spare)
    return words.say("winter.long", cut=cut)


def _cut_words(ends: Sequence[Rest], w: Wording) -> str:
    known = [one.cm for one in ends if one.cm is not None]
    if not known:
        return w.words["winter.cut_unknown"]
    low, middle, high = (w.about_length(max(cm[k] for cm in known)) for k in range(3))
    return w.words.say("winter.cut", middle=middle, low=low, high=high)


def _winter_list(winter: Winter, season: Season, w: Wording) -> list[str]:
    stays = _tags([one.job for one in winter.rest if one.way in ("leave_long", "other_coating")], w)
    tags = list(dict.fromkeys([*stays, *winter.long]))
    if not tags or season.all_winter:
        return []
    return ["", w.words.say("winter.list", logs=w.join(tags))]


def _spring(winter: Winter, season: Season, w: Wording) -> list[str]:
    if not winter.spring or season.all_winter:
        return []
    say, day = w.words.say, season.first_good.p50
    begins = say("winter.begins", day=w.civil(day)) if day is not None else ""
    cut = any(job.kind in ("first_coat", "cut_and_coat") for job in winter.spring)
    first = w.words["winter.first"] if cut else ""
    return [say("winter.spring", begins=begins, logs=w.join(_tags(winter.spring, w)), first=first)]


def winter_json(winter: Winter) -> dict[str, Any]:
    """The part of ``season --json`` that is about the yard's own work; lengths in cm, weights in kg."""
    return {
        "minutes": round(winter.minutes),
        "litres": round(winter.litres, 2),
        "fits": [{**_job(fit.job), "chance": round(fit.chance, 3)} for fit in winter.fits],
        "left_out": [
            {
                **_job(one.job),
                "chance": round(one.chance, 3),
                "what": one.way,
                "cut_back_cm": None
                if one.cm is None
                else dict(zip(("low", "middle", "high"), _round(one.cm), strict=True)),
                "spare_cm": one.spare_cm,
                "kg": None if one.kg is None else round(one.kg),
                "place": one.place,
                "by": None if one.by is None else one.by.date().isoformat(),
            }
            for one in winter.rest
        ],
        "winter_list": list(
            dict.fromkeys([*(r.job.tag for r in winter.rest if r.way != "inside"), *winter.long])
        ),
        "spring": [_job(job) for job in winter.spring],
        "thaws": [{"day": t.day.isoformat(), "chance": round(t.chance, 3)} for t in winter.thaws],
    }


def _round(cm: tuple[float, float, float]) -> list[float]:
    return [round(x, 1) for x in cm]


def _job(job: Job) -> dict[str, Any]:
    return {"tag": job.tag, "end": job.end, "job": job.kind}
