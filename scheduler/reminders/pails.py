"""Reminders of the pail: frost where it stands, into the warm before the brush, order in time. Pure.

Texts name days, never "tonight", so that they stay true as time goes by.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from scheduler.planning.pail import Frost, Order, PailOutlook, Warming
from scheduler.reminders.wanted import Derived, Speaker, Wanted
from scheduler.units import show_clock, show_temperature, show_volume
from scheduler.yard.facts import Register

__all__ = [
    "AGAIN_DAYS",
    "frost_words",
    "order_words",
    "pail_wanted",
    "room_words",
    "warming_words",
    "which_pail",
    "with_pails",
]

AGAIN_DAYS = 14  # a pail that stands in the frost is called in again after so long
MORNING = time(6)


def with_pails(derived: Derived, pails: tuple[Wanted, ...]) -> Derived:
    """All reminders, the pails' among them, by when they are due."""
    items = sorted((*derived.items, *pails), key=lambda one: (one.due, one.key))
    return replace(derived, items=tuple(items))


def pail_wanted(
    seen: PailOutlook,
    register: Register,
    at: datetime,
    speaker: Speaker,
    *,
    sunset: datetime | None,
    before_dark: timedelta,
    numbers: Mapping[str, float],
) -> tuple[Wanted, ...]:
    """The pails' reminders: ``pail_frost`` (before dark), ``pail_warm``, ``pail_order``.

    ``sunset`` of the day, None where the sun does not set; ``numbers`` are config/pail.toml.
    """
    cause = {pail.name: pail.entry for pail in register.pails}
    today = speaker.local(at).date()
    out = []
    for frost in seen.bring_in:
        if frost.standing == "unknown":
            continue  # nobody said that it stands in the cold: the notices tell of the night by themselves
        due = (sunset or at) - before_dark
        text = f"{frost_words(frost, speaker, today)} {room_words(speaker, numbers)}"
        number = today.toordinal() // AGAIN_DAYS
        out.append(_one("pail_frost", cause[frost.pail], number, due, text, today, frost.pail))
    for warm in seen.warming:
        day = speaker.local(warm.brush).date()
        text = warming_words(warm, speaker, numbers)
        put = speaker.local(warm.by).date()
        out.append(_one("pail_warm", cause[warm.pail], day.toordinal(), warm.by, text, put, warm.pail))
    if seen.order is not None:
        by = seen.order.by or today
        due = datetime.combine(by, MORNING, speaker.zone)
        newest = max((pail.entry for pail in register.pails), default=0)
        out.append(_one("pail_order", newest, 0, due, order_words(seen.order, speaker, numbers), by, "pail"))
    return tuple(out)


def _one(kind: str, cause: int, number: int, due: datetime, text: str, day: date, pail: str) -> Wanted:
    payload = {"action": kind.replace("_", " "), "day": day.isoformat(), "pail": pail, "order": 0}
    return Wanted(kind, "", "", cause, number, due, text, payload)


# ------------------------------------------------------------------ sentences


def frost_words(frost: Frost, s: Speaker, night_of: date) -> str:
    """ "Pail in before dark on Mon 3 Nov: frost in the lean-to by 2:00, about -2 °C." """
    cold = "" if frost.air_c is None else show_temperature(frost.air_c, s.units)
    day = s.day(datetime.combine(night_of, MORNING, s.zone), datetime.combine(night_of, MORNING, s.zone))
    if frost.frost_at is None:
        return f"{which_pail(frost.pail)} in before dark on {day}: about {cold} {_where(frost)} in the night."
    by = show_clock(s.local(frost.frost_at), s.units)
    return f"{which_pail(frost.pail)} in before dark on {day}: frost {_where(frost)} by {by}, about {cold}."


def warming_words(one: Warming, s: Speaker, numbers: Mapping[str, float]) -> str:
    """ "Pail into the warm on Sun 2 Nov, for the brush on Tue 4 Nov: ..." """
    room, goal = (show_temperature(numbers[name], s.units) for name in ("warm_room", "warm_goal"))
    days = f"on {s.day(one.by, one.by)}, for the brush on {s.day(one.brush, one.by)}"
    now, hours = show_temperature(one.now_c, s.units), max(one.hours, 1)
    warming = f"it is at about {now} and takes {hours:.0f} h at {room} to come to {goal}"
    return f"{which_pail(one.pail)} into the warm {days}: {warming}."


def order_words(order: Order, s: Speaker, numbers: Mapping[str, float]) -> str:
    """ "Order 1.2 L of wax by Sat 8 Nov: from about Tue 2 Dec on a night may freeze it on its way ..." """
    litres = show_volume(order.litres, s.units)
    if order.van_may_freeze:
        return (
            f"Order {litres} of wax; a night may freeze it on its way: "
            "ask for a van that is kept warm, or fetch it."
        )
    if order.frost is None or order.by is None:
        return f"Order {litres} of wax: there is less than the waiting work needs."
    by, frost = (datetime.combine(day, MORNING, s.zone) for day in (order.by, order.frost))
    days = f"{numbers['delivery']:.0f} days of delivery, {numbers['frost_margin']:.0f} to spare"
    return (
        f"Order {litres} of wax by {s.day(by, by)}: from about {s.day(frost, by)} on "
        f"a night may freeze it on its way ({days})."
    )


def room_words(s: Speaker, numbers: Mapping[str, float]) -> str:
    """Where to put it."""
    least = show_temperature(numbers["room_least"], s.units)
    return f"A room that stays above {least}, not beside a heater; sprayer, hose and brushes too."


def _where(frost: Frost) -> str:
    return "in the yard" if frost.place is None or frost.standing == "open" else f"in the {frost.place}"


def which_pail(name: str) -> str:
    """ "Pail", or "Pail B" where there is more than one."""
    return "Pail" if name == "pail" else f"Pail {name}"
