"""The pail in words and as JSON: stock and need, the night, warming, ordering, frost it has met. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from scheduler.planning.pail import Frost, PailOutlook, Wax
from scheduler.reminders.pails import frost_facts, order_facts, warming_facts
from scheduler.units import show_volume
from scheduler.views.reminder import frost_text, order_text, pail_name, room_text, warming_text
from scheduler.views.wording import Wording

__all__ = ["pail_json", "pail_lines"]

FROZEN = (
    'Frost may have reached it: write "frozen?" on it. Thaw it slowly at 16 to 27 °C (60 to 80 °F), '
    "do not stir before all is liquid, then stir gently and look again after an hour. "
    "Lumps, grains, oil on top or another colour: do not use it. The pail's sheet rules."
)


def pail_lines(seen: PailOutlook, w: Wording, numbers: Mapping[str, float]) -> list[str]:
    """What there is and needs, then what wants doing; nothing is said of what is well."""
    said = _wax(seen.wax, w)
    if seen.order is not None:
        said.append(order_text(order_facts(seen.order, numbers), w))
    for frost in seen.frost:
        said += _night(frost, w, numbers)
    said += [warming_text(warming_facts(one, numbers), w) for one in seen.warming]
    for name, cold, nights in seen.coldest:
        times = f", {nights} with frost" if nights > 1 else ""
        said.append(f"{pail_name(name, w)}: coldest night met {w.temperature(cold)}{times}.")
    if seen.doubtful:
        said.append(FROZEN)
    said += [f"{pail_name(name, w)} was opened more than a year ago: look at its sheet." for name in seen.old]
    return said


def _wax(wax: Wax, w: Wording) -> list[str]:
    need = f"The work in sight needs {_litres(wax.need, w)}"
    if wax.coming > 0 and wax.due > 0:
        later = _litres(wax.coming, w)
        need += f": {_litres(wax.due, w)} for what waits, {later} for second coats and logs to come"
    if wax.left is None or wax.low is None or wax.high is None:
        if wax.need < 0.005:
            return []
        return [f"{need}. How much there is was not told: coatcast pail half, or coatcast pail 3.6 L"]
    left = _litres(wax.left, w)
    if wax.high - wax.low > 0.05:
        left += f" ({_litres(wax.low, w)} to {_litres(wax.high, w)}, judged by eye)"
    used = f", {_litres(wax.used, w)} laid since it was told" if wax.used > 0.005 else ""
    return [f"Left: {left}{used}.", f"{need}."]


def _night(frost: Frost, w: Wording, numbers: Mapping[str, float]) -> list[str]:
    if frost.standing in ("frost_free", "elsewhere"):
        return []
    if frost.air_c is None:
        return [f"{pail_name(frost.pail, w)}: the night is not known. Take it indoors."]
    if frost.bring_in:
        facts = frost_facts(frost, numbers) | {"day": w.day_of(w.at).isoformat()}
        return [f"{frost_text(facts, w)} {room_text(facts, w)}"]
    if frost.pail_c is None:
        return []
    lowest = w.temperature(frost.pail_c)
    return [f"About {w.temperature(frost.air_c)} in the night; the pail itself stays at {lowest} or above."]


def _litres(litres: float, w: Wording) -> str:
    return show_volume(litres, w.units)


def pail_json(seen: PailOutlook) -> dict[str, Any]:
    """The same in SI; times UTC."""
    wax, order = seen.wax, seen.order
    return {
        "left_l": _round(wax.left),
        "left_low_l": _round(wax.low),
        "left_high_l": _round(wax.high),
        "used_l": round(wax.used, 2),
        "due_l": round(wax.due, 2),
        "coming_l": round(wax.coming, 2),
        "order": None
        if order is None
        else {
            "litres": round(order.litres, 2),
            "by": None if order.by is None else order.by.isoformat(),
            "frost": None if order.frost is None else order.frost.isoformat(),
            "van_may_freeze": order.van_may_freeze,
        },
        "tonight": [
            {
                "pail": one.pail,
                "place": one.place,
                "standing": one.standing,
                "air_c": _round(one.air_c),
                "pail_c": _round(one.pail_c),
                "frost_share": _round(one.share),
                "frost_at": None if one.frost_at is None else one.frost_at.isoformat(),
                "bring_in": one.bring_in,
            }
            for one in seen.frost
        ],
        "warming": [
            {
                "pail": one.pail,
                "now_c": round(one.now_c, 1),
                "hours": round(one.hours, 1),
                "by": one.by.isoformat(),
                "brush": one.brush.isoformat(),
            }
            for one in seen.warming
        ],
        "coldest": [{"pail": n, "coldest_c": round(c, 1), "frosts": k} for n, c, k in seen.coldest],
        "doubtful": list(seen.doubtful),
        "old": list(seen.old),
    }


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
