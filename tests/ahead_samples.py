"""All that is said of the days ahead and behind: seasons, weeks, ranks, pails, scores, made by hand.

Together they say every sentence of the tables [ahead], [winter], [week], [plan], [rank], [pail] and [sure].
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from math import cos, pi
from pathlib import Path
from typing import Any

from pseudo import wood_names
from reminder_samples import BERLIN, HOUR, end, job, local, log, span

from scheduler.planning.jobs import Job
from scheduler.planning.looks import Drying, Learned
from scheduler.planning.pail import Frost, Order, PailOutlook, Warming, Wax
from scheduler.planning.plan import Assignment, LeftOut, Plan, PlanRules, SessionWork, Slot
from scheduler.planning.season import Ahead, Range, Season
from scheduler.planning.tasks import Work
from scheduler.planning.truth import Row
from scheduler.planning.verdict import TimedStop
from scheduler.planning.week import Help, Week
from scheduler.planning.winter import Fit, Rest, Thaw, Winter
from scheduler.planning.worth import EndWorth
from scheduler.settings import pail_numbers, plan_numbers, rule_specs, species_table
from scheduler.units import Units
from scheduler.views.learned import learned_lines
from scheduler.views.pail import pail_lines
from scheduler.views.rank import cuts_lines, rank_lines
from scheduler.views.scores import scores_lines
from scheduler.views.season import season_lines
from scheduler.views.week import Board, week_lines, what_if_lines
from scheduler.views.winter import winter_lines
from scheduler.views.wording import Wording
from scheduler.weather.nights import Offset
from scheduler.weather.skill import TOO_FEW, Bin, Record, Score
from scheduler.wood.endgrain import Calibration, Cut
from scheduler.wood.storage import SawBy
from scheduler.yard.facts import Register

AT = local("2025-11-04T06:00")  # a Tuesday
DAY, MINUTE = timedelta(days=1), timedelta(minutes=1)
SOON, LATER, FAR = date(2025, 12, 2), date(2025, 12, 20), date(2026, 9, 14)
Told = Callable[[Wording], list[str]]
# What is not in the words files: tags, woods, places, an end by its number, money, names; "d" is a day.
TAGS = [f"{letter}{n:02d}" for letter in "HLM" for n in range(100)]
DATA = [*wood_names(), *TAGS, "lean-to", "shed", "end 3", "EUR", "d", "B", "Ellerquern"]


def speaking(language: str = "en", units: Units = "metric", at: datetime = AT) -> Wording:
    """How a yard in Berlin speaks on that Tuesday."""
    return Wording(BERLIN, units, at, language)


# ------------------------------------------------------------------ the season


def season(**facts: Any) -> Season:
    told: dict[str, Any] = {
        "day": date(2025, 11, 4),
        "end": date(2026, 1, 14),
        "freezes": {0.0: Ahead(SOON, SOON + 5 * DAY, LATER), -2.0: Ahead(None, LATER, None)},
        "days_left": Range(4.6, 12.2, 30.4),
        "spans_left": Range(3.0, 3.0, 3.0),
        "hours_left": Range(10.0, 61.0, 120.0),
        "last_good": Ahead(SOON, LATER, LATER),
        "first_good": Ahead(date(2026, 2, 3), date(2026, 3, 1), date(2026, 4, 20)),
        "sure_until": SOON,
        "none_left": 0.0,
        "years": 30,
        "all_winter": False,
        "winter_days": Range(0.0, 2.0, 7.0),
    }
    return Season(**(told | facts))


NO_DAYS = Range(0.0, 0.0, 0.0)
NEVER = Ahead(None, None, None)
SEASONS = {
    "usual": season(),
    "far": season(
        freezes={0.0: Ahead(SOON, None, None), -2.0: None},
        never=frozenset({-2.0}),
        first_good=Ahead(None, FAR, FAR),
        sure_until=FAR,
    ),
    "perhaps": season(sure_until=None, none_left=0.34, freezes={0.0: NEVER, -2.0: None}, first_good=NEVER),
    "over": season(
        sure_until=None, none_left=1.0, days_left=NO_DAYS, spans_left=NO_DAYS, winter_days=NO_DAYS
    ),
    "no frost": season(freezes={0.0: None, -2.0: None}, never=frozenset({0.0, -2.0})),
    "all winter": season(
        all_winter=True, freezes={0.0: NEVER, -2.0: NEVER}, always=frozenset({0.0, -2.0}), years=31
    ),
}


# ------------------------------------------------------------------ until winter


def rest(tag: str, way: Any, name: str = "butt", kind: str = "first_coat", **facts: Any) -> Rest:
    return Rest(job(kind, tag, name), 0.1, way, **facts)


CUT = (2.5, 5.0, 10.0)
REST = (
    rest("H01", "leave_long", cm=CUT),
    rest("H01", "leave_long", "top", cm=(1.2, 2.4, 4.8)),
    rest("H02", "leave_long"),
    rest("H03", "saw", by=AT + 100 * DAY),
    rest("H04", "inside", kg=64.0, place="lean-to", cm=CUT),
    rest("H05", "inside", kg=18.0, place="lean-to", cm=CUT),
    rest("H06", "other_coating", cm=CUT, spare_cm=8.0),
    rest("H07", "other_coating", cm=CUT),
    rest("H08", "leave_long", kind="second_coat"),
    rest("H09", "leave_long", kind="touch_up"),
    rest("H99", "leave_long", "end 3", cm=CUT),
)
LOGS = tuple(log(f"H0{n}") for n in range(1, 10))
REGISTER = Register(AT, LOGS)


def winter(**facts: Any) -> Winter:
    told: dict[str, Any] = {
        "fits": (Fit(job(tag="H10"), 0.95), Fit(job(tag="H11"), 0.72), Fit(job("second_coat", "H12"), 0.61)),
        "rest": REST,
        "long": ("H13",),
        "spring": tuple(one.job for one in REST[:3]),
        "thaws": (Thaw(date(2025, 11, 9), 0.44), Thaw(date(2025, 11, 12), 0.61)),
        "minutes": 240.0,
        "litres": 1.4,
    }
    return Winter(**(told | facts))


WINTERS = {
    "all": winter(),
    "little": winter(rest=(), long=(), thaws=(), minutes=45.0, spring=(job("second_coat", "H08"),)),
    "nothing": winter(fits=(), rest=(), long=(), spring=(), thaws=()),
}


# ------------------------------------------------------------------ the week


def row(minute: int, tag: str, name: str | None, kind: str, **facts: Any) -> Assignment:
    told: dict[str, Any] = {"minutes": 6.0, "who": (0,), "chance": 0.9, "keeps": 1.6, "litres": 0.1}
    return Assignment((tag, name, kind), AT + (180 + minute) * MINUTE, **(told | facts))


ROWS = (
    row(0, "H01", "butt", "cut_and_coat", who=(0, 1)),
    row(6, "H01", "top", "cut_and_coat", who=(0, 1), moved=True),
    row(20, "H02", "butt", "first_coat"),
    row(30, "H99", "butt", "touch_up", keeps=0.01, litres=0.0),
    row(40, "H03", "butt", "look", chance=None, keeps=0.0, litres=0.0),
    row(50, "H04", "butt", "look", chance=None, keeps=0.0, litres=0.0),
    row(60, "H05", None, "bring_in", chance=None, keeps=0.0, litres=0.0, who=(0, 1)),
    row(90, "H06", None, "bring_in", chance=None, keeps=0.0, litres=0.0),
    row(120, "pail", None, "warm_pail", chance=None, keeps=0.0, litres=0.0),
)
WHYS: dict[str, dict[str, float]] = {
    "not_worth_it": {"keeps": 1.0},
    "no_hours": {"minutes": 25.0, "longest": 10.0},
    "span_too_short": {"minutes": 25.0, "longest": 10.0},
    "second_person": {"people": 2.0, "most": 1.0},
    "too_late": {"minutes": 25.0},
    "no_brush_work": {},
    "waits_for": {},
    "span_full": {"minutes": 25.0, "keeps": 1.0, "price": 1.0},
    "hours_full": {"minutes": 25.0, "keeps": 1.0, "price": 1.0},
    "too_soon": {"hours": 14.0},
    "no_wax": {"litres": 1.0, "left": 0.4},
    "pail_cold": {"hours": 9.0},
    "no_span": {"chance": 0.2, "needed": 0.3},
}
OUT = tuple(log(f"L{n:02d}") for n in range(len(WHYS)))
ASIDE: tuple[tuple[Job, str], ...] = (
    (job("saw", "H07", None), "saw"),
    (job("saw_by", "H08", None, by=AT + 30 * DAY), "saw_by"),
    (job("saw_by", "H09", None), "saw_by"),
    (job("cut_and_coat", "H09", "top"), "reach"),
    (job("second_coat", "H09", "butt"), "no_worth"),
)


def slots(day: int, people: int) -> list[Slot]:
    start = AT + (day * 24 + 3) * HOUR
    return [Slot(start + n * 15 * MINUTE, start.date(), people) for n in range(8)]


def week(value: float = 8.0, bound: float = 8.0, rows: tuple[Assignment, ...] = ROWS) -> Week:
    jobs = {one.task: job(one.task[2], one.task[0], one.task[1]) for one in rows if one.task[0] != "pail"}
    left = [
        LeftOut((out.tag, "butt", "first_coat"), why, numbers)
        for out, (why, numbers) in zip(OUT, WHYS.items(), strict=True)
    ]
    left += [LeftOut(("L00", "top", "first_coat"), "not_worth_it", {"keeps": 1.0})]
    left += [LeftOut(("M01", "butt", "first_coat"), "no_span", {"chance": 0.0, "needed": 0.3})]
    left += [LeftOut(("M02", "butt", "second_coat"), "waits_for", {}, ("L00", "butt", "first_coat"))]
    jobs |= {one.task: job(one.task[2], one.task[0], one.task[1]) for one in left}
    work = Work(
        (),
        (*slots(0, 2), *slots(1, 1), *slots(2, 3), *slots(4, 7)),
        PlanRules(plan_numbers()),
        jobs,
        ASIDE,
        {"H05": 64.0},
    )
    frame = SessionWork(AT.date(), AT + 2.8 * HOUR, 0, AT + 5 * HOUR, 0)
    plan = Plan(rows, tuple(left), (frame,) if rows else (), {}, 0.0, value, bound, 0.4 if rows else 0.0)
    return Week(AT, AT + 5 * DAY + 18 * HOUR, plan, work, ("H05",) if rows else (), "lean-to")


def stop(rule: str | None, day: int, **facts: Any) -> TimedStop:
    spec = None if rule is None else rule_specs()[rule]
    told: dict[str, Any] = {
        "start": AT + (24 * day + 3) * HOUR,
        "end": AT + (24 * day + 5) * HOUR,
        "rule": rule,
        "value": None,
        "limit": None,
        "unit": None,
        "says": spec.says if spec else "the weather is not known far enough",
        "short": spec.short if spec else "not known far enough",
        "fixed": False,
    }
    return TimedStop(**(told | facts))


def saw(tag: str, by: datetime | None) -> SawBy:
    return SawBy(tag, "keeps", by, by, by, by, by, by, 0.0, 0.0, 0.0, 0.0, False, ())


def board(**facts: Any) -> Board:
    told: dict[str, Any] = {
        "register": Register(AT, (*LOGS, *OUT)),
        "species": species_table(),
        "spans": (span(AT + 3 * HOUR), span(AT + 51 * HOUR, chance=0.42)),
        "stopped": (stop("frost_on_face", 1), stop(None, 4), stop("hands", 1, fixed=True)),
        "worths": {},
        "saw_by": {"H01": saw("H01", AT + 40 * DAY), "H02": saw("H02", None)},
        "stock": 3.6,
        "money": ("EUR", 3.0),
        "trusted_until": AT + 50 * HOUR,
    }
    return Board(**(told | facts))


HELPS = (
    Help("person", 3, ("H01", "H02")),
    Help("person", 4, ("H01",)),
    Help("person", 6, ("H01",)),
    Help("litres", 1.25, ("H02",)),
    Help("days", 1, ("H03",)),
    Help("days", 4, ("H03",)),
)


def only(done: tuple[str, ...], missing: tuple[str, ...]) -> Week:
    """A week with logs that fit and logs that do not, and nothing else."""
    tasks = {(tag, "butt", "first_coat"): job(tag=tag, name="butt") for tag in (*done, *missing)}
    rows = tuple(row(10 * n, tag, "butt", "first_coat") for n, tag in enumerate(done))
    left = tuple(LeftOut((tag, "butt", "first_coat"), "span_full", {"minutes": 6.0}) for tag in missing)
    found = week(rows=rows)
    work = replace(found.work, jobs=tasks, aside=(), weights={})
    return replace(found, plan=replace(found.plan, left_out=left), work=work, inside=())


def weeks() -> Iterator[tuple[str, Told]]:
    """Plans and what-ifs."""
    poor = board(money=None, stock=None, trusted_until=None)
    yield "week", lambda w: week_lines(week(), board(), w)
    yield "week near the best", lambda w: week_lines(week(bound=8.9), poor, w)
    yield "week not known", lambda w: week_lines(week(bound=80.0), board(), w)
    yield "empty week", lambda w: week_lines(week(rows=(), value=0.0), board(stopped=()), w)
    yield "cheap week", lambda w: week_lines(week(value=0.2), board(), w)
    both = {"tags": ["H01", "H02"], "pushed": ("L01", "L02"), "until_said": "wed"}
    yield "fits", lambda w: what_if_lines(only(("H01", "H02"), ()), board(), w, (), **both)  # type: ignore[arg-type]
    yield "one fits", lambda w: what_if_lines(only(("H01",), ()), board(), w, ())
    yield "none fits", lambda w: what_if_lines(only((), ("H01",)), board(), w, HELPS)
    yield "some fit", lambda w: what_if_lines(only(("H01",), ("H02",)), board(), w, HELPS, until_said="sun")
    yield "nothing to coat", lambda w: what_if_lines(only((), ()), board(), w, ())
    yield "inside", lambda w: what_if_lines(week(), board(), w, ())


# ------------------------------------------------------------------ the rank, and cuts against it


def worth(kind: str = "first_coat", tag: str = "H01", name: str = "butt", **facts: Any) -> EndWorth:
    told: dict[str, Any] = {
        "tag": tag,
        "end": name,
        "job": kind,
        "unit": "money",
        "currency": "EUR",
        "so_far_cm": (0.5, 1.0, 2.0),
        "open_cm": (2.4, 4.8, 9.6),
        "open_cost": 47.3,
        "week_cost": 9.4,
        "best_day": 0,
        "now": True,
        "spring": True,
    }
    names = EndWorth.__dataclass_fields__
    return EndWorth(**{name: (told | facts).get(name, None if name == "tries" else 0.0) for name in names})


def ranked(*found: EndWorth) -> tuple[list[Job], dict[tuple[str, str, str], EndWorth]]:
    jobs = [job(one.job, one.tag, one.end) for one in found]
    return jobs, {(one.tag, one.end, one.job): one for one in found}


RANKED = (
    worth(),
    worth(name="top", best_day=3, now=False),
    worth(tag="H02", best_day=1, now=False, unit="cm"),
    worth(tag="H03", best_day=None, now=False),
    worth("second_coat", "H04", best_day=0, now=False),
    worth("touch_up", "H99", best_day=4, now=False, hands_cost=1.0),
)
HIGH = Register(AT, (*LOGS, log("H20", replace(end(), reach=False), replace(end("top"), reach=False))))


def ranks() -> Iterator[tuple[str, Told]]:
    """Ends by what waiting costs."""
    species = species_table()
    yield "rank", lambda w: rank_lines(*ranked(*RANKED), HIGH, species, w)
    sawn = (replace(worth(), spring=False),)
    yield "rank till the saw", lambda w: rank_lines(*ranked(*sawn), REGISTER, species, w)
    yield "no rank", lambda w: rank_lines([], {}, HIGH, species, w)
    taught = Calibration(1.23, 0.2, 0.87, 0.3, 8, True)
    yield "cuts", lambda w: cuts_lines(CUTS, taught, w)
    yield "few cuts", lambda w: cuts_lines(CUTS[:1], replace(taught, cuts=1, used=False), w)
    yield "no cuts", lambda w: cuts_lines((), taught, w)


def found_cut(tag: str, days: float, above: float, at_most: float, **facts: Any) -> Row:
    told: dict[str, Any] = {
        "tag": tag,
        "end": "butt",
        "when": AT - 3 * DAY,
        "days_open": days,
        "coated": False,
        "low": 2.0,
        "estimate": 4.0,
        "high": 8.0,
        "above": above,
        "at_most": at_most,
        "fact": Cut(1.0, 1.0, 0.0, above, at_most),
    }
    return Row(**(told | facts))


CUTS = (
    found_cut("H01", 59.0, 2.5, 5.0),
    found_cut("H02", 0.5, 10.0, float("inf"), coated=True),
    found_cut("H03", 12.0, 0.0, 1.5, end="top", when=AT - 30 * DAY),
)


# ------------------------------------------------------------------ the pail


def frost(**facts: Any) -> Frost:
    told: dict[str, Any] = {
        "pail": "pail",
        "place": "lean-to",
        "standing": "roofed",
        "air_c": -1.5,
        "pail_c": 1.2,
        "share": 0.6,
        "frost_at": AT + 20 * HOUR,
        "bring_in": True,
    }
    return Frost(**(told | facts))


def pails(**facts: Any) -> PailOutlook:
    told: dict[str, Any] = {
        "wax": Wax(2.5, 2.0, 3.0, 0.2, 0.9, 0.6),
        "frost": (
            frost(),
            frost(pail="B", frost_at=None, place=None, standing="open"),
            frost(pail="B", air_c=None, pail_c=None, frost_at=None, bring_in=False),
            frost(bring_in=False),
            frost(standing="frost_free"),
            frost(bring_in=False, pail_c=None),
        ),
        "warming": (Warming("pail", 2.0, 9.0, AT + 20 * HOUR, AT + 60 * HOUR),),
        "order": Order(1.2, date(2025, 11, 20), date(2025, 12, 2), False),
        "coldest": (("pail", -3.0, 2), ("B", -1.0, 1)),
        "doubtful": ("pail",),
        "old": ("pail", "B"),
    }
    return PailOutlook(**(told | facts))


def pail_talk() -> Iterator[tuple[str, Told]]:
    """The pail: everything, and what is said when little is known."""
    numbers = pail_numbers()
    bare: dict[str, Any] = {"frost": (), "warming": (), "coldest": (), "doubtful": (), "old": ()}
    seen = {
        "pail": pails(),
        "pail not told": pails(wax=Wax(None, None, None, 0.0, 0.9, 0.0), order=None, **bare),
        "no pail and no work": pails(wax=Wax(None, None, None, 0.0, 0.0, 0.0), order=None, **bare),
        "pail in a cold van": pails(
            wax=Wax(2.5, 2.5, 2.5, 0.0, 0.9, 0.0), order=Order(1.2, None, None, True), **bare
        ),
        "pail to order": pails(order=Order(0.5, None, None, False), **bare),
    }
    for name, one in seen.items():
        yield name, lambda w, one=one: pail_lines(one, w, numbers)  # type: ignore[misc]


# ------------------------------------------------------------------ how sure


def score(kind: Any, lead: tuple[float, float] | None, **facts: Any) -> Score:
    told: dict[str, Any] = {"n": 40, "hits": 12, "misses": 3, "false_alarms": 5, "quiets": 20, "lows": 0}
    return Score(kind, lead, **(told | facts))


BINS = tuple(
    Bin(n / 10, (n + 1) / 10, 4, 0.5, 0.25 * n, (0.1, 0.9)) if n % 2 else Bin(n / 10, (n + 1) / 10, 0)
    for n in range(5)
)
RECORD = Record(
    (
        score("frost", (0.0, 1.0), brier=0.123, skill=0.41, bias=1.3, error=1.9, lows=22, reliability=BINS),
        score("frost", (1.0, 2.0), n=3, word=TOO_FEW),
        score("rain", (3.0, 5.0), brier=0.2, bias=-0.6, error=1.1, lows=30, reliability=BINS),
        score("dry", None, brier=0.05, skill=-0.1, bias=0.4, error=0.5, lows=12, reliability=BINS),
    )
)


def learned_talk() -> Iterator[tuple[str, Told]]:
    """Scores, and what was learned of the yard's own place."""
    aside = (
        (date(2025, 10, 3), "27 read, -3 °C forecast: was that in °F?"),
        (
            date(2025, 10, 4),
            "9.5 °C read, -3 °C forecast: too far apart; is the thermometer in the open shade?",
        ),
        (date(2025, 10, 5), "2.5 °C as the night before, though it was warmer: was the thermometer reset?"),
    )
    air = Offset(-0.4, 0.3, -2.1, 0.8, 22, 9, aside, 2.2, 1.4)
    fast = Drying(0.2, 0.1, 0.0, 0.5, 9)
    held = {
        "learned": Learned(air, fast),
        "little learned": Learned(replace(air, nights=1, aside=()), replace(fast, coats=1)),
        "as the forecast": Learned(
            replace(air, air_c=0.0, hollow_c=2.0, before_k=None, aside=()), replace(fast, coats=2)
        ),
        "nothing learned": Learned(),
        "refused": Learned(refused=True),
    }
    for name, one in held.items():
        yield name, lambda w, one=one: learned_lines(one, -2.0, 5, 4, w)  # type: ignore[misc]
    yield "scores", lambda w: scores_lines(RECORD, w)
    yield "no scores", lambda w: scores_lines(Record(), w)


# ------------------------------------------------------------------ all of it


def told() -> Iterator[tuple[str, Told]]:
    """Name and sentences of everything."""
    for name, ahead in SEASONS.items():
        yield f"season, {name}", lambda w, ahead=ahead: season_lines(ahead, w)  # type: ignore[misc]
    species = species_table()
    for name, found in WINTERS.items():
        yield (
            f"winter, {name}",
            lambda w, found=found: winter_lines(  # type: ignore[misc]
                found, season(), REGISTER, species, w
            ),
        )
    warm = replace(SEASONS["all winter"], first_good=NEVER)
    yield "winter without one", lambda w: winter_lines(winter(), warm, REGISTER, species, w)
    yield (
        "spring without a date",
        lambda w: winter_lines(winter(), season(first_good=NEVER), REGISTER, species, w),
    )
    for part in (weeks, ranks, pail_talk, learned_talk):
        yield from part()


def past_days(folder: Path) -> Path:
    """Three invented years of days."""
    rows, day = ["date,min_c,max_c,rain_mm"], date(2023, 1, 1)
    while day < date(2025, 11, 1):
        warm = 9.0 - 10.0 * cos(2.0 * pi * (day.timetuple().tm_yday - 20) / 365.25)
        rows.append(f"{day},{warm - 4.0:.1f},{warm + 4.0:.1f},{6.0 if day.toordinal() % 3 == 0 else 0.0}")
        day += timedelta(days=1)
    file = folder / "past.csv"
    file.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return file
