"""From a yard, its register and its weather to the ledger that the worth of waiting rests on. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from scheduler.coating.product import Coating
from scheduler.planning.climate import Climate
from scheduler.planning.normals import normals_by_latitude, normals_of
from scheduler.planning.outlook import Outlook
from scheduler.planning.worth import Ledger, driver, horizon_of
from scheduler.settings import (
    Species,
    YardFile,
    assumptions,
    coating_profiles,
    grain_numbers,
    value_numbers,
    worth_numbers,
)
from scheduler.weather.series import Weather
from scheduler.wood.endgrain import Calibration
from scheduler.wood.species import careful
from scheduler.wood.value import LogWorth, Price, Stick, log_worth, money_per_point, one_measure, stick_of
from scheduler.yard.facts import Log, Register

__all__ = ["ledger_of", "price_of", "stick_of_log", "worth_of_log"]


def ledger_of(
    yard: YardFile,
    register: Register,
    at: datetime,
    coating: Coating,
    table: Mapping[str, Species],
    *,
    outlook: Outlook | None = None,
    past: Weather | None = None,
    climate: Climate | None = None,
    learned: Calibration | None = None,
) -> Ledger:
    """What all ends share this morning.

    Parameters
    ----------
    past : hours that the yard has had
    climate : its past years; where neither knows the air, the usual one of the latitude is taken
    learned : what the yard's own cuts have taught; None: the shipped numbers
    """
    assumed, value, worth = assumptions(), value_numbers(), worth_numbers()
    unknown = careful(table)
    logs = [log for log in register.present if log.ends]
    worths = {log.tag: worth_of_log(log, table.get(log.species or "", unknown), yard) for log in logs}
    points = one_measure(list(worths.values()))
    horizon = horizon_of(at, yard.yard.place.lat, worth)
    cuts = [end.cut.time for log in logs for end in log.ends]
    cuts += [
        cut.open_since.time for log in register.logs for end in log.ends for cut in end.cuts if cut.open_since
    ]
    first = min([*cuts, at - timedelta(days=1)])
    ahead = None if outlook is None else outlook.members.weather
    normals = None if climate is None else normals_of(climate)
    if normals is None:
        place = yard.yard.place
        normals = normals_by_latitude(at, place.lat, place.altitude_m or 0.0, worth)
    start, hours = driver(at, first, horizon.sawn, past, ahead, normals)
    return Ledger(
        at=at,
        start=start,
        hours=hours,
        horizon=horizon,
        worths=worths,
        points={
            tag: one / w.per_cm if w.per_cm > 0 else 0.0
            for (tag, w), one in zip(worths.items(), points, strict=True)
        },
        species=table,
        careful=unknown,
        coating=coating,
        profile=coating_profiles()[yard.coating.profile],
        grain=grain_numbers(),
        value=value,
        worth=worth,
        skip_chance=assumed["skip_chance"],
        price_per_litre=yard.coating.price_per_litre,
        wage=yard.yard.wage,
        learned=learned,
        money_per_point=money_per_point(worths.values()),
    )


def stick_of_log(log: Log) -> Stick:
    """A log as far as its size goes; what nobody measured is assumed, and said in ``Stick.assumed``."""
    assumed = assumptions()
    butt, top = log.end("butt"), log.end("top")
    sizes = [end.diameter_cm for end in log.ends if end.diameter_cm is not None]
    one = butt.diameter_cm if butt is not None else max(sizes, default=None)
    other = top.diameter_cm if top is not None else min(sizes, default=None)
    return stick_of(
        one,
        other,
        log.length_cm,
        value_numbers(),
        taper_cm_m=assumed["taper"],
        nominal_cm=assumed["butt"],
        count=max(log.count, 1),
        thick_cm=log.thick_cm,
        halved=log.halved is not None,
    )


def price_of(log: Log) -> Price | None:
    """What the keeper said the log is worth in money, if anything."""
    if log.lump is not None:
        return Price(log.lump, "lump")
    # A price by volume is of sawn wood, as a yard sells it; a log gives some half of itself in boards.
    return Price(log.price_per_m3, "m3 sawn") if log.price_per_m3 is not None else None


def worth_of_log(log: Log, wood: Species, yard: YardFile) -> LogWorth:
    """What a cm of a log is worth, by price, by the keeper's word, or by its wood."""
    return log_worth(
        stick_of_log(log),
        log.worth or wood.worth,
        value_numbers(),
        nominal_cm=assumptions()["butt"],
        price=price_of(log),
        currency=yard.yard.currency,
        needs_cm=log.needs_cm,
    )
