"""Reminders of the pail: frost where it stands, into the warm before the brush, order in time. Pure.

As all reminders they hold values; ``views/reminder.py`` says them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, time, timedelta, tzinfo
from typing import Any

from scheduler.planning.pail import Frost, Order, PailOutlook, Warming
from scheduler.reminders.wanted import Derived, Wanted
from scheduler.yard.facts import Register

__all__ = ["frost_facts", "order_facts", "pail_wanted", "warming_facts", "with_pails"]

MORNING = time(6)


def with_pails(derived: Derived, pails: tuple[Wanted, ...]) -> Derived:
    """All reminders, the pails' among them, by when they are due."""
    items = sorted((*derived.items, *pails), key=lambda one: (one.due, one.key))
    return replace(derived, items=tuple(items))


def pail_wanted(
    seen: PailOutlook,
    register: Register,
    at: datetime,
    zone: tzinfo,
    *,
    sunset: datetime | None,
    before_dark: timedelta,
    numbers: Mapping[str, float],
) -> tuple[Wanted, ...]:
    """The pails' reminders: ``pail_frost`` (before dark), ``pail_warm``, ``pail_order``.

    ``sunset`` of the day, None where the sun does not set; ``numbers`` are config/pail.toml.
    """
    cause = {pail.name: pail.entry for pail in register.pails}
    today = at.astimezone(zone).date()
    out = []
    for frost in seen.bring_in:
        if frost.standing == "unknown":
            continue  # nobody said that it stands in the cold: the notices tell of the night by themselves
        due = (sunset or at) - before_dark
        number = today.toordinal() // round(numbers["again"])
        out.append(_one("pail_frost", cause[frost.pail], number, due, today, frost_facts(frost, numbers)))
    for warm in seen.warming:
        number = warm.brush.astimezone(zone).date().toordinal()
        put = warm.by.astimezone(zone).date()
        facts = warming_facts(warm, numbers)
        out.append(_one("pail_warm", cause[warm.pail], number, warm.by, put, facts))
    if seen.order is not None:
        by = seen.order.by or today
        due = datetime.combine(by, MORNING, zone)
        newest = max((pail.entry for pail in register.pails), default=0)
        out.append(_one("pail_order", newest, 0, due, by, order_facts(seen.order, numbers)))
    return tuple(out)


def _one(kind: str, cause: int, number: int, due: datetime, day: date, facts: Mapping[str, Any]) -> Wanted:
    payload = {"action": kind.replace("_", " "), "day": day.isoformat(), "order": 0, **facts}
    return Wanted(kind, "", "", cause, number, due, payload)


# ------------------------------------------------------------------ what a sentence of each is made of


def frost_facts(frost: Frost, numbers: Mapping[str, float]) -> dict[str, Any]:
    """Of a pail that must come in: how cold it gets where it stands, by when, and what room it wants."""
    return {
        "pail": frost.pail,
        "where": None if frost.standing == "open" else frost.place,
        "air_c": None if frost.air_c is None else round(frost.air_c, 2),
        "frost_at": None if frost.frost_at is None else frost.frost_at.isoformat(),
        "room_c": numbers["room_least"],
    }


def warming_facts(one: Warming, numbers: Mapping[str, float]) -> dict[str, Any]:
    """Of a cold pail before the brush: from when in the warm, for which brush, and how long it takes."""
    return {
        "pail": one.pail,
        "by": one.by.isoformat(),
        "brush": one.brush.isoformat(),
        "now_c": round(one.now_c, 2),
        "hours": round(max(one.hours, 1)),
        "room_c": numbers["warm_room"],
        "goal_c": numbers["warm_goal"],
    }


def order_facts(order: Order, numbers: Mapping[str, float]) -> dict[str, Any]:
    """Of wax to order: how much, by when, and when a night may freeze it on its way."""
    return {
        "pail": "pail",
        "litres": round(order.litres, 3),
        "van": order.van_may_freeze,
        "by": None if order.by is None else order.by.isoformat(),
        "frost": None if order.frost is None else order.frost.isoformat(),
        "delivery_d": round(numbers["delivery"]),
        "spare_d": round(numbers["frost_margin"]),
    }
