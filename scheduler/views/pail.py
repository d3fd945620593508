"""The pail in words and as JSON: stock and need, the night, warming, ordering, frost it has met. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from scheduler.planning.pail import Frost, PailOutlook, Wax
from scheduler.reminders.pails import frost_facts, order_facts, warming_facts
from scheduler.views.reminder import frost_text, order_text, pail_name, room_text, warming_text
from scheduler.views.wording import Wording
from scheduler.yard.facts import INDOORS, Pail

__all__ = ["label_words", "pail_json", "pail_lines", "place_words", "stock_words"]

UNNAMED = "pail"  # the only one


def pail_lines(seen: PailOutlook, w: Wording, numbers: Mapping[str, float]) -> list[str]:
    """What there is and needs, then what wants doing; nothing is said of what is well."""
    said = _wax(seen.wax, w)
    if seen.order is not None:
        said.append(order_text(order_facts(seen.order, numbers), w))
    for frost in seen.frost:
        said += _night(frost, w, numbers)
    said += [warming_text(warming_facts(one, numbers), w) for one in seen.warming]
    for name, cold, nights in seen.coldest:
        times = w.words.say("pail.times", count=nights) if nights > 1 else ""
        met = {"pail": pail_name(name, w), "temperature": w.temperature(cold), "times": times}
        said.append(w.words.say("pail.coldest", **met))
    if seen.doubtful:
        said.append(w.words["pail.frozen"])
    said += [w.words.say("pail.old", pail=pail_name(name, w)) for name in seen.old]
    return said


def _wax(wax: Wax, w: Wording) -> list[str]:
    say, due, coming = w.words.say, w.litres(wax.due), w.litres(wax.coming)
    parts = wax.coming > 0 and wax.due > 0
    need = say("pail.need_parts" if parts else "pail.need", litres=w.litres(wax.need), due=due, coming=coming)
    if wax.left is None or wax.low is None or wax.high is None:
        return [say("pail.not_told", need=need)] if wax.need >= 0.005 else []
    wide = wax.high - wax.low > 0.05
    judged = say("pail.judged", low=w.litres(wax.low), high=w.litres(wax.high)) if wide else ""
    used = say("pail.used", litres=w.litres(wax.used)) if wax.used > 0.005 else ""
    return [say("pail.left", litres=w.litres(wax.left), judged=judged, used=used), need]


def _night(frost: Frost, w: Wording, numbers: Mapping[str, float]) -> list[str]:
    if frost.standing in ("frost_free", "elsewhere"):
        return []
    if frost.air_c is None:
        return [w.words.say("pail.unknown", pail=pail_name(frost.pail, w))]
    if frost.bring_in:
        facts = frost_facts(frost, numbers) | {"day": w.day_of(w.at).isoformat()}
        return [f"{frost_text(facts, w)} {room_text(facts, w)}"]
    if frost.pail_c is None:
        return []
    return [w.words.say("pail.night", air=w.temperature(frost.air_c), pail=w.temperature(frost.pail_c))]


def stock_words(one: Pail, w: Wording) -> str:
    """What is in a pail, as it was told: litres, or the word by eye."""
    if one.litres is not None:
        return w.litres(one.litres)
    return w.words[f"answer.by_eye.{one.by_eye}"] if one.by_eye else w.words["pail.no_stock"]


def place_words(place: str, w: Wording, key: str) -> str:
    """Where a pail stands, by the sentence of a key; "indoors" stands by itself."""
    return w.words["pail.indoors"] if place == INDOORS else w.words.say(key, place=place)


def label_words(name: str, w: Wording) -> str:
    """A pail's name; the word for one where there is no name."""
    return w.words["pail.name"] if name == UNNAMED else name


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
