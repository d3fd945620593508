"""The end of the season, end by end: what fits, what does not and its way out, spring. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from scheduler.planning.jobs import Job
from scheduler.planning.season import Season
from scheduler.planning.winter import Rest, Winter
from scheduler.settings import Species
from scheduler.views.wording import Wording, chance_words, first_upper, join
from scheduler.yard.facts import Register

__all__ = ["winter_json", "winter_lines"]


def winter_lines(
    winter: Winter, season: Season, register: Register, species: Mapping[str, Species], w: Wording
) -> list[str]:
    """The work against the days, the ways out, the winter list, thaws, and the order of the restart."""
    said = [*_work(winter, season, w), *_thaws(winter, w)]
    if season.all_winter and not winter.rest:
        return said
    said += _rest(winter, register, species, w)
    said += _winter_list(winter, season, w)
    said += _spring(winter, season, w)
    return said


def _work(winter: Winter, season: Season, w: Wording) -> list[str]:
    if not winter.fits and not winter.rest:
        return ["No end waits for the brush."]
    need = f"Work for the brush: about {_hours(winter.minutes)}, {w.litres(winter.litres)} of wax."
    sure = _tags([fit.job for fit in winter.fits if fit.chance >= 0.9])
    likely = _tags([fit.job for fit in winter.fits if fit.chance < 0.9])
    out = ["", need]
    if sure:
        out.append(f"There is time for them in 9 of 10 years: {join(sure)}.")
    if likely:
        least = min(fit.chance for fit in winter.fits)
        out.append(f"There is time for them in most years ({chance_words(least)}): {join(likely)}.")
    return out


def _hours(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 90 else f"{minutes / 60:.0f} h"


def _tags(jobs: Sequence[Job]) -> list[str]:
    """Tags in order, each once, second coats said."""
    names = [f"{job.tag} (second coat)" if job.kind == "second_coat" else job.tag for job in jobs]
    return list(dict.fromkeys(names))


def _thaws(winter: Winter, w: Wording) -> list[str]:
    days = [f"{_day(thaw.day, w)}, {chance_words(thaw.chance)}" for thaw in winter.thaws]
    if not days:
        return []
    return [
        f"In most years no day is left by then, and the forecast has hours for the brush: {join(days)}. "
        "In a thaw logs sweat: feel first."
    ]


def _day(day: Any, w: Wording) -> str:
    return f"{day:%b} {day.day}" if w.units == "us" else f"{day.day} {day:%b}"


def _rest(winter: Winter, register: Register, species: Mapping[str, Species], w: Wording) -> list[str]:
    if not winter.rest:
        return []
    out = ["", "What will not fit, or is not worth a try this year"]
    groups: dict[tuple[str, str], list[Rest]] = {}
    for one in winter.rest:
        groups.setdefault((one.job.tag, one.job.kind), []).append(one)
    for (tag, _), ends in groups.items():
        log = register.log(tag)
        wood = "wood"
        if log is not None:
            wood = w.wood(species.get(log.species or ""), log.species_said if log.species is None else "")
        names = join([one.job.end for one in ends if one.job.end])
        out.append(f"  {tag} {wood}, {names}: {_way_words(ends, w)}.")
    return out


def _way_words(ends: Sequence[Rest], w: Wording) -> str:
    one = ends[0]
    if one.job.kind in ("second_coat", "touch_up"):
        return "it can wait for spring; look at it at each thaw"
    if one.way == "saw" and one.by is not None:
        return f"on the saw by {w.month_day(one.by)}, before the brush comes again"
    if one.way == "inside" and one.kg is not None:
        lift = ", two people or a machine" if one.kg > 25.0 else ""
        return f"bring it under the {one.place} ({w.weight(one.kg)}{lift}) and coat it there"
    cut = _cut_words(ends, w)
    if one.way == "other_coating":
        spare = (
            f", more than the {w.length(one.spare_cm)} it has to spare" if one.spare_cm is not None else ""
        )
        return (
            f"left open it loses {cut}{spare}: another coating that bears frost, by its own sheet, or the saw"
        )
    return f"leave it as long as it is; a cut back in spring takes {cut}"


def _cut_words(ends: Sequence[Rest], w: Wording) -> str:
    known = [one.cm for one in ends if one.cm is not None]
    if not known:
        return "a hand's width or two an end"
    low, middle, high = (max(cm[k] for cm in known) for k in range(3))
    return f"about {w.about_length(middle)} an end ({w.about_length(low)} to {w.about_length(high)})"


def _winter_list(winter: Winter, season: Season, w: Wording) -> list[str]:
    stays = _tags([one.job for one in winter.rest if one.way in ("leave_long", "other_coating")])
    tags = list(dict.fromkeys([*stays, *winter.long]))
    if not tags or season.all_winter:
        return []
    return [
        "",
        f"Winter list: {join(tags)}. On bearers, in the shade, ends out of sun and wind; snow on them is "
        "welcome. What comes in now stays as long as it is.",
    ]


def _spring(winter: Winter, season: Season, w: Wording) -> list[str]:
    if not winter.spring or season.all_winter:
        return []
    begins = f" from about {_day(season.first_good.p50, w)}" if season.first_good.p50 is not None else ""
    order = join(_tags(winter.spring))
    cut = any(job.kind in ("first_coat", "cut_and_coat") for job in winter.spring)
    first = " Look first: what has cracked is cut back, then coated at once." if cut else ""
    return [f"{first_upper('in spring')}{begins}, in this order: {order}.{first}"]


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
