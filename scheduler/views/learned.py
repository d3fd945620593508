"""What was learned of the yard's own place, in words. Pure."""

from __future__ import annotations

from math import exp

from scheduler.planning.looks import Drying, Learned
from scheduler.views.wording import Wording
from scheduler.weather.nights import Offset

__all__ = ["learned_json", "learned_lines"]

MOST_ASIDE = 3


def learned_lines(
    held: Learned, hollow_c: float, least_nights: int, least_coats: int, w: Wording
) -> list[str]:
    """Sentences on the yard's cold air and on its coats, each with its doubt and what it rests on."""
    still = w.words.say("sure.still", than=_than(hollow_c, w))
    if held.refused:
        return [w.words.say("sure.refused", still=still)]
    return [*_air(held.offset, still, least_nights, w), *_coats(held.drying, least_coats, w)]


def _degrees(kelvin: float, w: Wording) -> str:
    return w.number(f"{abs(kelvin) * 1.8:.0f} °F" if w.units == "us" else f"{abs(kelvin):.1f} °C")


def _than(kelvin: float, w: Wording) -> str:
    if abs(kelvin) < 0.05:
        return w.words["sure.same"]
    return w.words.say("sure.colder" if kelvin < 0 else "sure.warmer", degrees=_degrees(kelvin, w))


def _air(offset: Offset | None, hollow: str, least: int, w: Wording) -> list[str]:
    say = w.words.say
    file = say("sure.file", still=hollow)
    if offset is None:
        return [say("sure.none", file=file)]
    one = "sure.nights_one" if offset.nights == 1 else "sure.nights"
    nights = say(one, count=offset.nights, still=offset.still_nights)
    if offset.nights < least:
        out = [say("sure.few", nights=nights, least=least, file=file)]
    else:
        still, rest = (
            say(f"sure.{name}_doubt", than=_than(kelvin, w), doubt=_degrees(doubt, w))
            for name, kelvin, doubt in (
                ("still", offset.still_c, offset.hollow_sd),
                ("others", offset.air_c, offset.air_sd),
            )
        )
        out = [say("sure.air", still=still, others=rest, nights=nights)]
        if offset.before_k is not None and offset.after_k is not None:
            before, after = (_degrees(k, w) for k in (offset.before_k, offset.after_k))
            out.append(say("sure.off", before=before, after=after))
    for day, why in offset.aside[-MOST_ASIDE:]:
        out.append(say("sure.aside", day=w.civil(day, "date.day_far"), why=w.number(w.words.told(why))))
    return out


def _coats(drying: Drying | None, least: int, w: Wording) -> list[str]:
    if drying is None:
        return []
    say = w.words.say
    count = say("sure.coats_one" if drying.coats == 1 else "sure.coats", count=drying.coats)
    if drying.coats < least:
        return [say("sure.coats_few", coats=count, least=least)]
    factor, low, high = (w.number(f"{exp(drying.log_factor + k * drying.log_sd):.2f}") for k in (0, -1, 1))
    return [say("sure.fast", factor=factor, low=low, high=high, coats=count)]


def learned_json(held: Learned) -> dict[str, object]:
    """The same as numbers, K; null where nothing was learned."""
    o, d = held.offset, held.drying
    return {
        "used": held.beliefs is not None,
        "refused": held.refused,
        "clear_calm_nights_k": None if o is None else round(o.still_c, 2),
        "clear_calm_nights_sd_k": None if o is None else round(o.hollow_sd, 2),
        "other_nights_k": None if o is None else round(o.air_c, 2),
        "other_nights_sd_k": None if o is None else round(o.air_sd, 2),
        "nights": 0 if o is None else o.nights,
        "clear_calm": 0 if o is None else o.still_nights,
        "set_aside": [] if o is None else [{"night": f"{day}", "why": why} for day, why in o.aside],
        "drying_factor": None if d is None else round(exp(d.log_factor), 3),
        "drying_log_sd": None if d is None else round(d.log_sd, 3),
        "coats": 0 if d is None else d.coats,
    }
