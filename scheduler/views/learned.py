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
    if held.refused:
        return [f"switched off ([site] learn): {_than(hollow_c, w)} on clear calm nights, as the file says"]
    return [*_air(held.offset, hollow_c, least_nights, w), *_coats(held.drying, least_coats)]


def _degrees(kelvin: float, w: Wording) -> str:
    return f"{abs(kelvin) * 1.8:.0f} °F" if w.units == "us" else f"{abs(kelvin):.1f} °C"


def _than(kelvin: float, w: Wording) -> str:
    if abs(kelvin) < 0.05:
        return "as the forecast"
    return f"{_degrees(kelvin, w)} {'colder' if kelvin < 0 else 'warmer'} than the forecast"


def _air(offset: Offset | None, hollow_c: float, least: int, w: Wording) -> list[str]:
    file = f"the yard file's word holds: {_than(hollow_c, w)} on clear calm nights"
    if offset is None:
        return [f"no night read yet, {file}. Tell one: coatcast seen min -3"]
    count = f"{_nights(offset.nights)}, {offset.still_nights} of them clear and calm"
    if offset.nights < least:
        out = [f"from {count}; {least} are needed, until then {file}"]
    else:
        still = (
            f"{_than(offset.still_c, w)} on clear calm nights (give or take {_degrees(offset.hollow_sd, w)})"
        )
        rest = f"{_than(offset.air_c, w)} on others (give or take {_degrees(offset.air_sd, w)})"
        out = [f"{still}, {rest}, from {count}"]
        if offset.before_k is not None and offset.after_k is not None:
            out.append(
                f"forecasts were off the night's lowest by {_degrees(offset.before_k, w)}, "
                f"with what had been learned by {_degrees(offset.after_k, w)}"
            )
    for day, why in offset.aside[-MOST_ASIDE:]:
        out.append(f"set aside: {day:%a} {day.day} {day:%b}, {why}")
    return out


def _nights(count: int) -> str:
    return "1 night" if count == 1 else f"{count} nights"


def _coats(drying: Drying | None, least: int) -> list[str]:
    if drying is None:
        return []
    count = "1 coat looked at" if drying.coats == 1 else f"{drying.coats} coats looked at"
    if drying.coats < least:
        return [f"how fast coats dry: {count}, {least} are needed"]
    factor = exp(drying.log_factor)
    low, high = exp(drying.log_factor - drying.log_sd), exp(drying.log_factor + drying.log_sd)
    return [f"coats dry {factor:.2f} times as fast as reckoned ({low:.2f} to {high:.2f}), from {count}"]


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
