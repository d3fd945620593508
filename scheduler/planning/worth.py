"""What waiting costs each end, in length and (with a price) in money, and what follows for today. Pure.

For every end with work for the brush: how much of the log it will have lost by the
horizon if it stays as it is, or if it is coated on any of the days to come; what that
is worth; and by optimal stopping over the chances of those days (``decision``) whether
today's try is the best of them. The figures of loss are calibrated to rules of thumb,
not measured; each comes with its band.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from scheduler.coating.product import Coating
from scheduler.planning.chances import DayChances
from scheduler.planning.decision import Choice, decide
from scheduler.planning.jobs import Job
from scheduler.planning.normals import Normals
from scheduler.planning.tries import HandsPrice, Tries
from scheduler.settings import CoatingProfile, Species
from scheduler.weather.series import HOUR, Weather
from scheduler.weather.sun import declination
from scheduler.wood.endgrain import (
    Calibration,
    EndClock,
    Ends,
    check_factor,
    coat_resistance,
    depth,
    depth_if_coated,
    end_clock,
    loss_cm,
)
from scheduler.wood.value import LogWorth, cost_of_loss, cost_of_more, cost_of_try
from scheduler.yard.condition import EndState
from scheduler.yard.facts import End, Log, Moment, Register

__all__ = [
    "EndWorth",
    "Horizon",
    "Ledger",
    "Numbers",
    "choose",
    "driver",
    "horizon_of",
    "resistance_of",
    "worth_of_jobs",
]

F = NDArray[np.float64]
Numbers = Mapping[str, float]
DAY = timedelta(days=1)
LONGEST = 3 * 366 * 24  # hours back to a cut
FIRST = ("first_coat", "cut_and_coat")  # jobs whose coat is the first: it may have skips
Key = tuple[str, str, str]  # tag, end, kind of job


@dataclass(frozen=True, slots=True)
class Horizon:
    """How far is looked: to ``end``, which is spring or a season away, for what an open end costs; and to
    ``sawn``, by which the log is taken to be sawn. At ``end`` an end that is still open can be coated."""

    end: datetime
    spring: bool
    sawn: datetime


def horizon_of(at: datetime, latitude: float, numbers: Numbers) -> Horizon:
    """Till spring where one is ahead within a winter's reach, else over a fixed number of days.

    Spring begins when the sun, on its way to the yard's side, passes a declination
    (config/worth.toml), so both hemispheres are served and the tropics have none.
    """
    side = 1.0 if latitude >= 0 else -1.0
    days = np.arange(1, 367)
    sun = side * declination(at, days)
    wanted = numbers["spring_declination"]
    rising = np.flatnonzero((sun[1:] >= wanted) & (sun[:-1] < wanted))
    ahead = int(days[rising[0] + 1]) if rising.size else 0
    if abs(latitude) >= 23.5 and numbers["near"] <= ahead <= 366 - 2 * numbers["horizon"] / 3:
        spring = at + ahead * DAY
        return Horizon(spring, True, spring + numbers["sawn_after"] * DAY)
    end = at + numbers["horizon"] * DAY
    return Horizon(end, False, end)


@dataclass(frozen=True, eq=False)
class Ledger:
    """What all ends share in a morning: hours, numbers, woods and prices.

    Attributes
    ----------
    hours : air and dew point (°C) and rain (mm), each (1, hours), from ``start`` to the horizon, NaN unknown
    worths : worth of each log by tag
    points : factor from a log's own unit to weighted cm, by tag: one order for all
    grain, value, worth : config/endgrain.toml (with fibre_saturation and rain_hour), value.toml, worth.toml
    """

    at: datetime
    start: datetime
    hours: tuple[F, F, F]
    horizon: Horizon
    worths: Mapping[str, LogWorth]
    points: Mapping[str, float]
    species: Mapping[str, Species]
    careful: Species
    coating: Coating
    profile: CoatingProfile
    grain: Numbers
    value: Numbers
    worth: Numbers
    skip_chance: float
    price_per_litre: float | None = None
    wage: float | None = None
    learned: Calibration | None = None
    money_per_point: float | None = None

    def hour(self, when: datetime) -> float:
        """Hours of the clock at a time."""
        return (when - self.start) / HOUR

    def wood(self, log: Log) -> Species:
        """The species row of a log."""
        return self.species.get(log.species or "", self.careful)

    def factor(self, wood: Species) -> float:
        """Cracks over dry depth of a wood: its own number, else that of its proneness."""
        return wood.check_factor or check_factor(wood.proneness, self.grain)


@dataclass(frozen=True, slots=True)
class EndWorth:
    """What an end loses and what that costs, in ``unit`` (cm weighted by worth, or money).

    Losses in cm of the log at this end, (low, middle, high); costs in the log's own unit.
    ``now``: a try today is the best there is. ``best_day`` counts days from today by the chances of
    now; None: no try is worth it. ``expected`` is what the yard may expect to lose while it acts well.
    """

    tag: str
    end: str
    job: str
    unit: Literal["money", "cm"]
    currency: str | None
    so_far_cm: tuple[float, float, float]
    open_cm: tuple[float, float, float]  # lost from now to the horizon if it stays as it is
    coated_cm: float  # the same if today's coat holds
    open_cost: float
    week_cost: float  # of coating a week later instead of today
    day_cost: float  # of a day later
    try_cost: float
    expected: float
    wait_cost: float  # what letting today go by costs, chances counted
    now: bool
    best_day: int | None
    chance: float  # of today's best start
    points: float  # what a coat that holds today keeps till spring, in weighted cm: the order of the logs
    spring: bool
    unknown_days: float = 0.0  # of its hours since the cut that nobody knows: the default air was taken
    hands_cost: float = 0.0  # what today's hands and wax cost beyond the try: others want them too
    tries: Tries | None = field(default=None, compare=False, repr=False)


# ------------------------------------------------------------------ the hours


def driver(
    at: datetime,
    first: datetime,
    end: datetime,
    past: Weather | None,
    ahead: Weather | None,
    normals: Normals | None = None,
) -> tuple[datetime, tuple[F, F, F]]:
    """Air, dew point and rain from the earliest cut to the horizon, each (1, hours); NaN where nobody knows.

    ``past`` are hours that the yard has had, ``ahead`` the forecast (its members' mean);
    air that neither knows is the place's usual one, where ``normals`` tell it.
    """
    start = max(first, at - timedelta(hours=LONGEST)).astimezone(UTC)
    start = start.replace(minute=0, second=0, microsecond=0)
    count = int(np.ceil((end - start) / HOUR)) + 1
    out = tuple(np.full((1, count), np.nan) for _ in range(3))
    for weather in (past, ahead):
        if weather is None:
            continue
        shift = round((weather.start - start) / HOUR)
        a, b = max(shift, 0), min(shift + weather.hours, count)
        if b <= a:
            continue
        arrays = (weather.air_c, weather.dew_point_c, weather.rain_mm)
        for row, values in zip(out, arrays, strict=True):
            mean = values[:, a - shift : b - shift].mean(axis=0)
            row[0, a:b] = np.where(np.isfinite(mean), mean, row[0, a:b])
    air, dew, rain = out
    if normals is not None:
        usual, usual_dew = normals.hours(start, count)
        unknown = ~(np.isfinite(air) & np.isfinite(dew))
        air, dew = np.where(unknown, usual, air), np.where(unknown, usual_dew, dew)
    return start, (air, dew, rain)


# ------------------------------------------------------------------ all ends


def worth_of_jobs(
    jobs: Sequence[Job],
    register: Register,
    states: Mapping[tuple[str, str], EndState],
    ledger: Ledger,
    chances: Mapping[tuple[str | None, bool], DayChances],
    hands: HandsPrice | None = None,
) -> dict[Key, EndWorth]:
    """The worth of every coating job whose place has chances; the others are left out.

    ``hands``: the price of a day's hands where there are too few; it stands on top of what a try costs.
    """
    found: dict[Key, EndWorth] = {}
    usable = [job for job in jobs if job.coats and job.end is not None]
    places = dict.fromkeys(_place(job) for job in usable)
    clock, kinds = _clock(usable, register, ledger)
    for place in places:
        days = chances.get(place)
        mine = [job for job in usable if _place(job) == place]
        if days is not None and mine:
            found.update(_of_place(mine, register, states, ledger, days, clock, kinds, hands))
    return found


def _place(job: Job) -> tuple[str | None, bool]:
    return job.place, job.roofed


def _clock(jobs: Sequence[Job], register: Register, ledger: Ledger) -> tuple[EndClock, dict[float, int]]:
    """One clock for all woods, and the row of each green moisture."""
    logs = [log for job in jobs if (log := register.log(job.tag)) is not None]
    moistures = sorted({ledger.wood(log).green_moisture for log in logs}) or [ledger.careful.green_moisture]
    air, dew, rain = ledger.hours
    clock = end_clock(air, dew, rain, np.array(moistures), ledger.grain, fill=True)
    return clock, {m: n for n, m in enumerate(moistures)}


@dataclass(frozen=True, eq=False)
class _Case:
    """One job with its log and end."""

    job: Job
    log: Log
    end: End
    wood: Species
    worth: LogWorth
    roofed: bool
    other_cm: float = 0.0  # what the log's other ends have lost so far


def _of_place(
    jobs: Sequence[Job],
    register: Register,
    states: Mapping[tuple[str, str], EndState],
    ledger: Ledger,
    days: DayChances,
    clock: EndClock,
    kinds: Mapping[float, int],
    hands: HandsPrice | None = None,
) -> dict[Key, EndWorth]:
    cases = _cases(jobs, register, ledger)
    ends = _ends(cases, states, ledger, kinds)
    factor = np.array([ledger.factor(case.wood) for case in cases])
    now = ledger.hour(ledger.at)
    until, sawn = ledger.hour(ledger.horizon.end), ledger.hour(ledger.horizon.sawn)
    band = loss_cm(depth(clock, ends, [now])[:, :1], factor, ledger.grain, ledger.learned)
    so_far = band.mid[:, 0, 0]
    cases = _with_others(cases, so_far)
    hours = np.maximum([ledger.hour(start) for start in days.starts], now)
    extra = np.array([now + 24.0, now + 168.0])
    by_end = _total_loss(cases, ends, clock, factor, np.array([now, *extra]), until, ledger)
    never = _bare_loss(ends, clock, factor, until, ledger)
    by_saw = _total_loss(cases, ends, clock, factor, np.concatenate([hours, [until]]), sawn, ledger)
    bare_by_saw = _bare_loss(ends, clock, factor, sawn, ledger)
    held = _costs(cases, by_saw, so_far)
    cost = np.array([_try_cost(case, ledger) for case in cases])
    far_bare = _costs(cases, bare_by_saw[:, None], so_far)[:, 0]
    wanted = _hands_cost(cases, days, ledger, hands)
    choice, today, eager = choose(cost, held, far_bare, days, ledger.worth, wanted)
    far, many = choice.open, days.chances.days
    chance = float(days.chances.plain()[0]) if many else 0.0
    wide = np.where(so_far > 1e-9, band.high[:, 0, 0] / np.maximum(so_far, 1e-9), ledger.grain["band"])
    shown = _costs(cases, np.concatenate([by_end, never[:, None]], axis=1), so_far)
    return {
        (case.log.tag, case.end.name, case.job.kind): EndWorth(
            tag=case.log.tag,
            end=case.end.name,
            job=case.job.kind,
            unit=case.worth.unit,
            currency=case.worth.currency,
            so_far_cm=_band(so_far[n], wide[n]),
            open_cm=_band(max(never[n] - so_far[n], 0.0), wide[n]),
            coated_cm=float(max(by_end[n, 0] - so_far[n], 0.0)),
            open_cost=float(shown[n, 3]),
            day_cost=float(max(shown[n, 1] - shown[n, 0], 0.0)),
            week_cost=float(max(shown[n, 2] - shown[n, 0], 0.0)),
            try_cost=float(cost[n]),
            expected=float(choice.expected[n]),
            wait_cost=float(choice.of_waiting[n]),
            now=bool(today[n]),
            best_day=0 if today[n] else None if choice.best_day[n] < 0 else int(choice.best_day[n]),
            chance=chance,
            points=_points(case, shown[n, 0], shown[n, 3], ledger),
            spring=ledger.horizon.spring,
            hands_cost=float(wanted[n, 0]) if many else 0.0,
            tries=Tries(
                first=days.days[0] if days.days else ledger.at.date(),
                hours=hours[:many],
                held=held[n, :many],
                cost=float(cost[n]),
                failed=choice.failed[n],
                value=choice.value[n],
                learned=choice.learned[n],
                open=float(far[n]),
                eager=float(eager[n]),
                points=ledger.points.get(case.log.tag, 1.0),
            ),
        )
        for n, case in enumerate(cases)
    }


def choose(
    cost: F, held: F, bare: F, days: DayChances, numbers: Numbers, wanted: F | None = None
) -> tuple[Choice, NDArray[np.bool_], F]:
    """The decision for ends that share their chances.

    Parameters
    ----------
    cost : (ends,) wax and labour of one try
    held : (ends, days + 1) cost by the saw when a try of each day holds, and last when one in spring does
    bare : (ends,) cost by the saw when none ever holds
    numbers : config/worth.toml
    wanted : (ends, days) what hands and wax cost beyond a try where they are short

    Returns
    -------
    What the recursion found, whether to coat today, and by how much waiting may be cheaper for that, (ends,).
    """
    many = days.chances.days
    if wanted is None:
        wanted = np.zeros((cost.size, many))
    # Who does not coat now can do so in spring, at the price of a try; or leave it till the saw.
    far = np.minimum(bare, cost + held[:, -1])
    choice = decide(
        cost[:, None] + wanted,
        held[:, :many],
        far,
        days.chances,
        days.removed,
        retry=max(round(numbers["retry"]), 1),
    )
    # Between days that are as good as equal, today: the hands are here, and tomorrow says the same again.
    worth_it = choice.try_now < far
    # Where hands are short, only what is truly better today: the price has made the days equal.
    eager = np.where(wanted[:, 0] > 0.0, 0.0, numbers["eager"] * cost) if many else 0.0 * cost
    return choice, choice.now | (worth_it & (choice.try_now <= choice.wait + eager)), eager


def _hands_cost(cases: Sequence[_Case], days: DayChances, ledger: Ledger, hands: HandsPrice | None) -> F:
    """What hands and wax of each day cost beyond a try, (ends, days), each in its log's unit."""
    many = days.chances.days
    if hands is None:
        return np.zeros((len(cases), many))
    by_day = np.array([hands.by_day.get(day, 0.0) for day in days.days[:many]])
    told = np.arange(many) < days.told  # behind the forecast nobody has planned
    rows = []
    for case in cases:
        points = ledger.points.get(case.log.tag, 1.0)
        asked = by_day * case.job.minutes * case.job.people + told * hands.litre * case.job.litres
        rows.append(asked / points if points > 0.0 else 0.0 * asked)
    return np.stack(rows) if rows else np.zeros((0, many))


def _points(case: _Case, coated: float, bare: float, ledger: Ledger) -> float:
    """What a coat that holds today keeps till spring, in weighted cm: one order for all logs."""
    return float(max(bare - coated, 0.0)) * ledger.points.get(case.log.tag, 1.0)


def _bare_loss(ends: Ends, clock: EndClock, factor: F, until: float, ledger: Ledger) -> F:
    """Loss (cm) by an hour if the ends stay as they are, (ends,)."""
    return loss_cm(depth(clock, ends, [until]), factor, ledger.grain, ledger.learned).mid[:, 0, 0]


def _costs(cases: Sequence[_Case], loss: F, so_far: F) -> F:
    """Costs from now on of total losses (ends, columns), each in its log's unit."""
    return np.stack([_cost(case, loss[n], so_far[n]) for n, case in enumerate(cases)])


def _band(middle: float, wide: float) -> tuple[float, float, float]:
    return float(middle / wide), float(middle), float(middle * wide)


def _cases(jobs: Sequence[Job], register: Register, ledger: Ledger) -> list[_Case]:
    cases = []
    for job in jobs:
        log = register.log(job.tag)
        end = log.end(job.end or "") if log is not None else None
        if log is None or end is None or log.tag not in ledger.worths:
            continue
        cases.append(_Case(job, log, end, ledger.wood(log), ledger.worths[log.tag], job.roofed))
    return cases


def _with_others(cases: Sequence[_Case], so_far: F) -> list[_Case]:
    """With what the other ends of the same log have lost: the spare is shared."""
    lost: dict[str, dict[str, float]] = {}
    for case, cm in zip(cases, so_far, strict=True):
        lost.setdefault(case.log.tag, {})[case.end.name] = float(cm)
    return [
        replace(case, other_cm=sum(cm for name, cm in lost[case.log.tag].items() if name != case.end.name))
        for case in cases
    ]


# ------------------------------------------------------------------ one end


def _ends(
    cases: Sequence[_Case],
    states: Mapping[tuple[str, str], EndState],
    ledger: Ledger,
    kinds: Mapping[float, int],
) -> Ends:
    """The history of each end since its last cut, as the front model wants it."""
    rows = [_stretches(case, states.get((case.log.tag, case.end.name)), ledger) for case in cases]
    most = max((len(row) for row in rows), default=1)
    since = np.full((len(rows), most), np.inf)
    coat, roofed = np.zeros(since.shape), np.zeros(since.shape, bool)
    for n, (row, case) in enumerate(zip(rows, cases, strict=True)):
        for j, (hour, resistance) in enumerate(row):
            since[n, j], coat[n, j] = hour, resistance
        roofed[n] = case.roofed or _is_roofed(case)
    kind = np.array([kinds[case.wood.green_moisture] for case in cases], np.int64)
    return Ends(kind, since, coat, roofed)


def _is_roofed(case: _Case) -> bool:
    return case.log.roofed


def _stretches(case: _Case, state: EndState | None, ledger: Ledger) -> list[tuple[float, float]]:
    """(hour, resistance) from the cut on: bare, then each coat that protects."""
    out = [(min(ledger.hour(_begin(case)), ledger.hour(ledger.at)), 0.0)]
    layers = 0
    for coat in case.end.coats:
        if coat.spoiled or coat.moment.time > ledger.at:
            continue
        last = coat is case.end.coats[-1]
        if last and state is not None and state.state == "spoiled":
            continue
        layers = max(layers, coat.layer)
        out.append((max(ledger.hour(coat.moment.time), out[-1][0]), resistance_of(layers, coat.part, ledger)))
    return out


def _begin(case: _Case) -> datetime:
    """When the clock of an end began: its cut; a dry or cracked face when entered is as old as it looks."""
    moment: Moment = case.end.cut
    return moment.time


def resistance_of(layers: int, part: bool, ledger: Ledger) -> float:
    """Resistance of a coat as it was told of, m of end grain."""
    skips = ledger.worth["part_share"] if part else ledger.skip_chance * ledger.worth["skip_share"]
    return _resistance(layers, skips, ledger)


def _resistance(layers: int, skips: float, ledger: Ledger) -> float:
    one, two = ledger.profile.resistance_one.value, ledger.profile.resistance_two.value
    leak = 1.0 if ledger.learned is None else ledger.learned.leak
    return float(coat_resistance(layers, skips, one, two, ledger.grain)) / leak


def _total_loss(
    cases: Sequence[_Case], ends: Ends, clock: EndClock, factor: F, hours: F, until: float, ledger: Ledger
) -> F:
    """Loss by the horizon (cm) if the job is done at each of these hours and holds, (ends, hours)."""
    skips = ledger.skip_chance * ledger.worth["skip_share"]
    layers = [2 if case.job.kind == "second_coat" else max(case.end.layers, 1) for case in cases]
    coat = np.array(
        [
            _resistance(n, skips if case.job.kind in FIRST else 0.0, ledger)
            for n, case in zip(layers, cases, strict=True)
        ]
    )
    when = np.broadcast_to(hours, (len(cases), hours.size))
    deep = depth_if_coated(clock, ends, when, coat, until)
    loss = loss_cm(deep, factor, ledger.grain, ledger.learned).mid[:, 0, :]
    cut = [n for n, case in enumerate(cases) if case.job.kind == "cut_and_coat"]
    if cut:
        # A fresh face: what is cracked is trimmed off, an inch at least by now and more with every day,
        # and the root of time begins anew.
        by_now = loss_cm(depth(clock, ends, [ledger.hour(ledger.at)]), factor, ledger.grain, ledger.learned)
        so_far = by_now.mid[:, 0, :]
        before = loss_cm(depth(clock, ends, when), factor, ledger.grain, ledger.learned).mid[:, 0, :]
        kind = ends.kind[cut]
        for j in range(hours.size):
            fresh = Ends.bare(kind, np.full(kind.size, hours[j]))
            anew = depth_if_coated(clock, fresh, np.full((kind.size, 1), hours[j]), coat[cut], until)
            added = loss_cm(anew, factor[cut], ledger.grain, ledger.learned).mid[:, 0, 0]
            cracked = np.maximum(so_far[cut, 0], ledger.worth["trim"]) + before[cut, j] - so_far[cut, 0]
            loss[cut, j] = cracked + added
    return loss


def _cost(case: _Case, loss: F | float, so_far: float) -> F:
    """Cost of what an end loses from now on, in the log's unit."""
    before = case.other_cm + so_far
    return np.asarray(cost_of_more(case.worth, np.maximum(np.asarray(loss) - so_far, 0.0), before))


def _try_cost(case: _Case, ledger: Ledger) -> float:
    return cost_of_try(
        case.worth,
        ledger.value,
        litres=case.job.litres,
        minutes=case.job.minutes,
        price_per_litre=ledger.price_per_litre,
        wage=ledger.wage,
        money_per_point=ledger.money_per_point,
    )


def parts_of(worth: LogWorth, losses: Sequence[float]) -> float:
    """Cost of all ends' losses together: the parts of the ends sum to it."""
    return float(cost_of_loss(worth, *losses))
