"""Mornings made by hand that together say everything a morning can say; nothing here asks the weather."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Any

from test_today import AT, HOUR, job, log, small, span

from scheduler.planning.inside import Carry
from scheduler.planning.night import Night
from scheduler.planning.questions import Question
from scheduler.planning.verdict import Age, PlaceVerdict, Reason
from scheduler.planning.worth import EndWorth
from scheduler.settings import rule_specs
from scheduler.views.today import Briefing, ForecastLine
from scheduler.weather.series import Provenance
from scheduler.yard.facts import Moment

DAY = timedelta(days=1)
MILD = Night(4.0, None, 3.0, 3.0, 0.0)
VALUES = {"°C": 1.25, "K": -2.5, "mm": 0.4, "m/s": 18.3, "h": 96.0, "min": 25.0, "%": 17.0}


def reason(name: str, *, broken: bool, share: float = 0.9, at: Any = AT + 20 * HOUR) -> Reason:
    """A shipped rule, broken or not, with a value in its unit."""
    spec = rule_specs()[name]
    value = VALUES.get(spec.unit, 1.0)
    limit = spec.below if spec.below is not None else spec.above
    return Reason(
        name,
        spec.breach,
        "break" if broken else "pass",
        value,
        limit or 0.0,
        spec.unit,
        at,
        share if broken else 0.0,
        spec.says,
        spec.holds,
        spec.short,
        spec.forbids_seal,
        name in ("daylight", "hands"),
        value,
    )


def worth(tag: str, end: str, kind: str, **facts: Any) -> EndWorth:
    """What waiting costs one end, in plain numbers."""
    names = EndWorth.__dataclass_fields__
    told: dict[str, Any] = {
        "tag": tag,
        "end": end,
        "job": kind,
        "now": True,
        "unit": "money",
        "currency": "EUR",
        "open_cm": (2.4, 4.8, 9.6),
        "open_cost": 47.3,
        "so_far_cm": (0.5, 1.0, 2.0),
        "day_cost": 1.2,
        "try_cost": 6.2,
        "spring": True,
    }
    told |= facts
    return EndWorth(**{name: told.get(name, 0.0) for name in names})


def worked(b: Briefing, *reasons: Reason, **changes: Any) -> Briefing:
    """The same morning with other reasons and facts of its verdict."""
    work = replace(b.morning.work, reasons=reasons)
    return replace(b, morning=replace(b.morning, **({"work": work} | changes)))


def with_span(b: Briefing, **facts: Any) -> Briefing:
    """The same morning with another span of the day."""
    here = span(**facts)
    places = replace(b.morning.work, span=here)
    return replace(b, morning=replace(b.morning, work=places, weather=replace(b.morning.weather, span=here)))


def told() -> Iterator[tuple[str, Briefing]]:
    """Each with a name."""
    yield from _brushing()
    yield from _waiting()
    yield from _unknown()
    yield from _work()
    yield from _nights()


def _brushing() -> Iterator[tuple[str, Briefing]]:
    one = small("seal", job(), job("H01", "top"), job("H02"), job("H03"), night=MILD)
    yield "seal", one
    yield "nothing entered", small("seal")
    yield "nothing due", small("seal", logs=(log("H01"),))
    yield "nothing due, fair", small("touch_and_go", logs=(log("H01"),))
    yield "touch and go", with_span(small("touch_and_go", job()), chance=0.62)
    yield "only for two", small("seal", job("H02", kind="cut_and_coat", people=2))
    yield "long tags", small("seal", job("A-VERY-LONG-TAG-OF-24-CH"), job("H02"))
    sure = with_span(one, sure_from=AT + 3 * HOUR, sure_until=AT + 6 * HOUR)
    yield "sure hours", replace(sure, rain=AT + 30 * HOUR)
    moment = with_span(one, begin=9.75, end=9.75)
    yield "one moment", moment
    rules = [reason("frost_on_face", broken=False), reason("too_cold_to_brush", broken=False)]
    doubts = [reason(name, broken=True) for name in ("dew_margin", "hot_face")]
    for doubt in doubts:
        yield f"doubt {doubt.rule}", with_span(one, reasons=(*rules, doubt))
    roof = small("seal", job(), place="lean-to", outside="leave_it")
    yield "under a roof", roof
    yield (
        "under a roof with a long name",
        small("seal", job(), place="the far old barn by the mill", outside="prepare"),
    )
    yield "touch and go under a roof", small("touch_and_go", job(), place="lean-to", outside="unknown")
    sheet = replace(roof.morning.work, place=None, roofed=True)
    yield "under a sheet", replace(roof, morning=replace(roof.morning, work=sheet, places=(sheet,)))


def _waiting() -> Iterator[tuple[str, Briefing]]:
    for name in rule_specs():
        yield f"leave it: {name}", worked(small("leave_it", job()), reason(name, broken=True))
    yield "no hour known", worked(small("leave_it", job()), reason("frost_on_face", broken=True, at=None))
    open_ = small("leave_it", job())
    stopped = replace(open_.morning, spans=(span(),))
    cold = reason("too_cold_to_brush", broken=True)
    why = worked(replace(open_, morning=stopped), cold)
    yield "leave it, open", why
    poor = replace(why.morning.work, span=span(chance=0.35))
    yield "a poor span", replace(why, morning=replace(why.morning, work=poor))
    for name, begin in (("tomorrow", 27.0), ("friday", 75.0), ("far", 24.0 * 9)):
        ahead = span(begin, begin + 4)
        yield f"prepare, {name}", small("prepare", job(), ahead=ahead)
        later = small("leave_it", job(), ahead=ahead, trusted_until=AT + 7 * DAY)
        yield f"next {name}", later
    wet = worked(small("prepare", job(), ahead=span(27.0, 31.0)), reason("face_wet", broken=True))
    yield "prepare, open", replace(wet, morning=replace(wet.morning, spans=(span(),)))
    shed = PlaceVerdict("shed", "seal", span(), None, ())
    bare = PlaceVerdict("lean-to", "prepare", None, None, ())
    here = replace(
        open_.morning, places=(shed, bare, PlaceVerdict(None, "touch_and_go", span(), None, (), True))
    )
    yield "other places", replace(open_, morning=here)


def _unknown() -> Iterator[tuple[str, Briefing]]:
    yield "no forecast", small("unknown", job(), age=Age(None, "none"), forecast=ForecastLine(None))
    issued = ForecastLine(Provenance("columns", issued=AT - 40 * HOUR, issued_known=True))
    said = "The forecast is 40 hours old; over 36 hours I can't say yes or no, and won't guess."
    yield "stale", small("unknown", job(), age=Age(40.0, "stale"), why=said, forecast=issued)
    yield "too little", small("unknown", job())
    young = ForecastLine(
        Provenance("columns", issued=AT - 14 * HOUR, issued_known=True), fallback="Kept answer."
    )
    yield "old", small("seal", job(), age=Age(14.0, "old"), forecast=young)
    yield "no night", small("unknown", wet=(("H09", "butt"),))


def _work() -> Iterator[tuple[str, Briefing]]:
    kinds = ("cut_and_coat", "first_coat", "touch_up", "second_coat")
    jobs = [job(f"H{n:02}", kind=kind, people=1 + (n == 1)) for n, kind in enumerate(kinds, 1)]
    yield "each kind", small("seal", *jobs, people=2)
    many = [job(f"H{n:02}", end) for n in range(1, 10) for end in ("butt", "top")]
    yield "many", small("leave_it", *many)
    yield "one more", small("leave_it", *many[:11])
    worths = {(j.tag, j.end or "", j.kind): worth(j.tag, j.end or "", j.kind) for j in many[:4]}
    dear = small("leave_it", *many[:4])
    yield "worth", replace(dear, morning=replace(dear.morning, worths=worths), stock_litres=3.6)
    plain = {key: replace(w, unit="cm", currency=None, spring=False) for key, w in worths.items()}
    seal = small("seal", *many[:4])
    yield "worth without money", replace(seal, morning=replace(seal.morning, worths=plain), stock_litres=0.2)
    yield "waiting ones", replace(seal, morning=replace(seal.morning, now=seal.morning.due[:2]))
    hints = [
        "no pinholes to be seen? Then it can stay as it is",
        "look first: milky means not yet",
        "shorter than it is thick: halve it through the pith, coat the halves",
        "look first: cracked means cut back, then coat",
    ]
    yield "hints", small("leave_it", *(job(f"H{n:02}", hint=hint) for n, hint in enumerate(hints, 1)))
    looks = [
        job(f"H{n:02}", kind="look", why=why)
        for n, why in enumerate(
            ("clear or milky?", "clear or milky?", "skips, new cracks, stain?", "clear or milky?")
        )
    ]
    looking = small("leave_it", logs=tuple(log(f"H{n:02}") for n in range(4)))
    yield "looks", replace(looking, morning=replace(looking.morning, later=tuple(looks)))
    saws = [job(f"H{n:02}", "", kind="saw_by", by=AT + (30 + 200 * n) * DAY) for n in range(4)]
    yield "saw soon", replace(looking, morning=replace(looking.morning, later=tuple(saws)))
    carry = tuple(Carry(f"H{n:02}", "shed", 20.0 + 30 * n, 1.0, 0.9) for n in range(2))
    yield "carry", replace(looking, carry=carry)
    yield "carry light", replace(looking, carry=carry[:1])
    aside = (
        log("H01", worth="firewood"),
        log("H02", saw_first=True),
        log("H03", skip=True),
        replace(log("H04"), ends=tuple(replace(end, reach=False) for end in log("H04").ends)),
        log("H05", species=None, species_said="mystery"),
        log("H06", species=None),
    )
    yield "set aside", small("leave_it", job("H05"), job("H06"), logs=aside)
    fell = (
        *(log(f"S{n}", state="standing") for n in range(5)),
        log("E1", state="expected", expected=Moment(AT + 2 * DAY)),
    )
    standing = small("leave_it", logs=fell)
    yield "to fell, no day", standing
    likely = replace(standing.morning, spans=(span(51.0, 55.0, 0.7),), worths=worths)
    yield "to fell", replace(standing, morning=likely)
    yield "to fell, loss", replace(standing, morning=replace(standing.morning, worths=worths))
    storm = worked(small("seal", job()), reason("storm", broken=True))
    yield "storm", storm
    yield "metal", small("seal", job("H02", kind="cut_and_coat"), logs=(log("H02", metal=True),))


def _nights() -> Iterator[tuple[str, Briefing]]:
    wet = tuple((f"H{n:02}", "butt") for n in range(1, 5))
    for name, night in (("mild", MILD), ("frost", Night(-1.25, None, -1.0, 1.0, 0.9)), ("not known", None)):
        yield (
            f"milky, {name}",
            small("leave_it", wet=wet[:1], night=night, logs=tuple(log(t) for t, _ in wet)),
        )
    yield "many milky", small("leave_it", wet=wet, night=MILD, unsure=frozenset({"H02"}))
    yield "three milky", small("leave_it", wet=wet[:3], night=MILD)
    yield "asked about frost", small("leave_it", question=Question("frost", "k", 0.5, 1.0))
    look = Question("coat", "k", 0.5, 1.0, "H01", "butt")
    yield "asked about a coat", small("leave_it", question=look, logs=(log("H01"),))
