"""From the yard's jobs to tasks and quarter hours that a plan can be made of. Pure.

The hours are those in which somebody is there (by weekday, by exception, not while the keeper is
away); the chance of each quarter hour is that of the place; a coat gains what ``Tries`` says. A coat
that wants a second one brings it along, waiting until the first takes rain; a coat that is planned
brings its look. What does not belong in anybody's hours (the saw's own days, ends that cannot be
reached) is left out with its reason.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.chances import DayChances
from scheduler.planning.inside import weight_of
from scheduler.planning.jobs import Job, wants_second
from scheduler.planning.outlook import Outlook
from scheduler.planning.plan import After, PlanRules, Slot, Task, TaskId
from scheduler.planning.worth import EndWorth, Key, Ledger, worth_of_jobs
from scheduler.rules.engine import PASS
from scheduler.settings import CoatingChoice, YardFile
from scheduler.yard.condition import EndState
from scheduler.yard.facts import Coat, End, Log, Moment, Register

__all__ = [
    "FIRST",
    "Material",
    "Setting",
    "Where",
    "Work",
    "arriving",
    "crowded",
    "cut_on_arrival",
    "end_of_day",
    "moved_inside",
    "setting_of",
    "slots_of",
    "work_of",
]

F = NDArray[np.float64]
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
FIRST = ("first_coat", "cut_and_coat")
LIFT_GAIN = 1e-3  # of carrying alone, so that it is a task at all
Where = tuple[str | None, bool]  # place and roofed by hand
States = Mapping[tuple[str, str], EndState]


@dataclass(frozen=True, eq=False)
class Setting:
    """What holds for a plan beside the jobs.

    Attributes
    ----------
    until : no slot ends after it
    people : instead of those of the yard file; None: as there
    litres : wax there is; None: not known
    assumed, plan : config/assumptions.toml and config/plan.toml, bare floats
    minutes : of set-up and of clean-up
    minute_cost : of set-up and clean-up, in weighted cm
    anyway : gains against no coat at all instead of a coat behind the plan's days
    only : tags that are looked at; None: all
    """

    until: datetime
    assumed: Mapping[str, float]
    plan: Mapping[str, float]
    minutes: tuple[float, float]
    minute_cost: float = 0.0
    people: int | None = None
    litres: float | None = None
    anyway: bool = False
    only: frozenset[str] | None = None


@dataclass(frozen=True, eq=False)
class Material:
    """What the tasks are made of.

    ``chances`` by place; ``worths`` must be without a price of hands: the plan has its own.
    """

    outlook: Outlook
    register: Register
    jobs: tuple[Job, ...]
    states: States
    ledger: Ledger
    chances: Mapping[Where, DayChances]
    worths: Mapping[Key, EndWorth]
    choice: CoatingChoice
    cold_pail: bool = False
    comes: Mapping[str, datetime] = field(default_factory=dict)  # by tag, of logs that are still to come


@dataclass(frozen=True, eq=False)
class Work:
    """Tasks and slots, and what is to be said of them: the job behind each task, and what is set aside.

    ``aside``: jobs that are nobody's hours, each with a key of ``ASIDE``. ``weights`` in kg by tag of logs
    that are brought in.
    """

    tasks: tuple[Task, ...]
    slots: tuple[Slot, ...]
    rules: PlanRules
    jobs: Mapping[TaskId, Job]
    aside: tuple[tuple[Job, str], ...]
    weights: Mapping[str, float]


# ------------------------------------------------------------------ hours


def slots_of(outlook: Outlook, register: Register, setting: Setting, places: Collection[Where]) -> list[Slot]:
    """The quarter hours from now on in which somebody is in the yard, with light and chances."""
    zone = outlook.yard.zone
    begin, end = outlook.now_step, min(outlook.last_step, int(outlook.step_of(setting.until) + 1e-6))
    hands, light = outlook.openness.hands, outlook.openness.light_min
    told = {where: outlook.of(*where) for where in places}
    # The last half hour of light is for the way home: the whole quarter must lie before it.
    least = setting.plan["dusk"] + 7.5
    slots = []
    for step in range(begin, end):
        people = int(hands[step])
        start = outlook.time_at(step)
        if people < 1 or (register.away_until is not None and start < register.away_until):
            continue
        chance: dict[Hashable, float | None] = {
            where: _chance(one.chance, step - int(one.starts[0]) if one.starts.size else 0)
            for where, one in told.items()
        }
        day = start.astimezone(zone).date()
        slots.append(Slot(start, day, setting.people or people, bool(light[step] >= least), chance))
    return slots


def _chance(chances: F, column: int) -> float | None:
    inside = 0 <= column < chances.size and np.isfinite(chances[column])
    return float(chances[column]) if inside else None


def _ready_hours(outlook: Outlook, where: Where, slots: Sequence[Slot]) -> F:
    """Hours from a coat begun in each slot until most that hold take rain, (slots,); inf: not told."""
    assessment = outlook.of(*where)
    first = int(assessment.starts[0]) if assessment.starts.size else 0
    steps = np.array([round(outlook.step_of(slot.start)) for slot in slots], np.int64)
    columns = np.clip(steps - first, 0, max(assessment.starts.size - 1, 0))
    passing = assessment.findings.outcome()[:, columns] == PASS
    when = np.where(passing, assessment.findings.milestones.rain_safe[:, columns], np.inf)
    count = passing.sum(axis=0)
    rank = np.clip(np.ceil(outlook.limits.reached_share * count).astype(np.int64) - 1, 0, None)
    by = np.take_along_axis(np.sort(when, axis=0), rank[None, :], axis=0)[0]
    hours = np.where(count > 0, (by - steps) / 4.0, np.inf)
    return np.asarray(np.maximum(hours, outlook.coating.recoat_h))


# ------------------------------------------------------------------ tasks


def work_of(material: Material, setting: Setting) -> Work:
    """All that there is to plan until ``setting.until``."""
    wanted = [job for job in material.jobs if setting.only is None or job.tag in setting.only]
    inside = replace(material, jobs=tuple(wanted))
    places = dict.fromkeys((job.place, job.roofed) for job in wanted if job.coats)
    slots = slots_of(material.outlook, material.register, setting, places)
    maker = _Maker(inside, setting, slots)
    tasks: list[Task] = []
    jobs: dict[TaskId, Job] = {}
    aside: list[tuple[Job, str]] = []
    for job in wanted:
        made = maker.of(job)
        if made is None:
            aside.append((job, _why_aside(job, setting.until, material)))
        for task, about in made or ():
            tasks.append(task)
            jobs[task.id] = about
    for task, about in maker.seconds():
        tasks.append(task)
        jobs[task.id] = about
    if material.cold_pail and any(task.brush for task in tasks):
        tasks.append(maker.pail())
    rules = _rules(material, setting)
    aside = [(job, why) for job, why in aside if why]
    aside += [(job, "reach") for job in _out_of_reach(material.register, setting)]
    return Work(tuple(tasks), tuple(slots), rules, jobs, tuple(aside), {})


def _rules(material: Material, setting: Setting) -> PlanRules:
    thresholds = material.outlook.thresholds
    return PlanRules(
        numbers=setting.plan,
        show_chance=thresholds.show_chance.value,
        fill=thresholds.fill.value,
        set_up=setting.minutes[0],
        clean_up=setting.minutes[1],
        minute_cost=setting.minute_cost,
        litres=setting.litres,
    )


def _why_aside(job: Job, until: datetime, material: Material) -> str:
    """Why a job is in nobody's hours; empty where it is not yet one."""
    if job.kind == "saw":
        return "saw"
    if job.kind == "saw_by":
        return "saw_by" if job.due <= until else ""
    return "no_worth" if job.coats else ""


def _out_of_reach(register: Register, setting: Setting) -> list[Job]:
    """Bare ends that nobody can reach: no hours, no price, no climb."""
    return [
        Job("first_coat", log.tag, end.name, end.cut.time, end.cut_entry, species=log.species)
        for log in register.present
        for end in log.ends
        if log.state == "in_yard"
        and not (end.reach or end.coats or log.skip)
        and (setting.only is None or log.tag in setting.only)
    ]


class _Maker:
    """Makes the tasks of one plan."""

    def __init__(self, material: Material, setting: Setting, slots: Sequence[Slot]) -> None:
        self.m, self.s, self.slots = material, setting, slots
        ledger, zone = material.ledger, material.outlook.yard.zone
        self.hours = np.array([ledger.hour(slot.start) for slot in slots])
        self.span = (setting.until.astimezone(zone).date() - ledger.at.astimezone(zone).date()).days
        if setting.until.astimezone(zone).time() > datetime.min.time():
            self.span += 1
        self._ordinals = np.array([slot.day.toordinal() for slot in slots], np.int64)
        self._ready: dict[Where, F] = {}
        self._chances: dict[Where, F] = {}

    def of(self, job: Job) -> list[tuple[Task, Job]] | None:
        """The tasks of a job, none where it is not yet due; None where it is nobody's hours."""
        if job.kind == "look":
            return [(self.look(job), job)] if job.due < self.s.until else None
        worth = self.m.worths.get((job.tag, job.end or "", job.kind))
        if not job.coats or worth is None or worth.tries is None:
            return None
        return [(self.coat(job, worth), job)]

    def coat(self, job: Job, worth: EndWorth, share: float = 1.0, after: tuple[After, ...] = ()) -> Task:
        """A job for the brush. ``share`` of its gain counts: a second coat follows only a sound one."""
        tries = worth.tries
        assert tries is not None
        where = (job.place, job.roofed)
        days = self._ordinals - tries.first.toordinal()
        without = tries.open if self.s.anyway else tries.later(self.span)
        waits = job.kind in ("second_coat", "touch_up") and not after
        return Task(
            (job.tag, job.end, job.kind),
            minutes=job.minutes,
            gain=share * tries.gains(self.hours, days, self._chance_in(where), without),
            people=job.people,
            litres=job.litres,
            place=where,
            brush=True,
            outdoor=not self._under_lamp(where),
            earliest=job.due if waits else self.m.comes.get(job.tag),
            after=after,
        )

    def _chance_in(self, where: Where) -> F:
        """The chance of each slot in a place, blurred; worked out once."""
        if where not in self._chances:
            told = np.array([_or_nan(slot.chance.get(where)) for slot in self.slots])
            self._chances[where] = self._blurred(told)
        return self._chances[where]

    def _blurred(self, chance: F) -> F:
        """Chances of which those as good as the day's best count as that: no hour is moved for noise."""
        out, blur = chance.copy(), self.s.plan["chance_blur"]
        for day in dict.fromkeys(slot.day for slot in self.slots):
            mine = np.array([slot.day == day for slot in self.slots])
            told = chance[mine & np.isfinite(chance)]
            if not told.size:
                continue
            good = np.flatnonzero(mine & (chance >= told.max() - blur))
            between = np.zeros(mine.shape, bool)
            between[good[0] : good[-1] + 1] = True
            out[between & mine & (chance >= told.max() - 2.0 * blur)] = told.max()
        return out

    def _under_lamp(self, where: Where) -> bool:
        """Whether a place is a room with light of its own; a roof alone has none."""
        place = self.m.outlook.place(where[0])
        return place is not None and place.frost_free

    def look(self, job: Job, after: tuple[After, ...] = ()) -> Task:
        """A look: worth a little, less with every day that it waits."""
        n = self.s.plan
        worth = n["look_first"] if job.ordinal == 0 else n["look_later"]
        waited = np.array([max((slot.start - job.due) / DAY, 0.0) for slot in self.slots])
        return Task(
            (job.tag, job.end, "look"),
            minutes=job.minutes,
            gain=worth * n["look_fade"] ** waited,
            earliest=job.due if job.due > self.m.outlook.at else None,
            after=after,
        )

    def seconds(self) -> list[tuple[Task, Job]]:
        """Second coats, and looks, behind the first coats that are to be planned."""
        firsts = [
            job
            for job in self.m.jobs
            if job.kind in FIRST and job.end and (job.tag, job.end, job.kind) in self.m.worths
        ]
        looked = {(job.tag, job.end) for job in self.m.jobs if job.kind == "look"}
        rows = [(self._look_after(job), job) for job in firsts if (job.tag, job.end) not in looked]
        out = [(task, replace(job, kind="look", why="clear or milky?", people=1)) for task, job in rows]
        twice = [job for job in firsts if self._twice(job)]
        if not twice:
            return out
        second = [_second_of(job, self.m, self.s) for job in twice]
        register = _coated_now(self.m.register, twice, self.m.outlook.at)
        worths = worth_of_jobs(second, register, {}, self.m.ledger, self.m.chances)
        for first, job in zip(twice, second, strict=True):
            worth = worths.get((job.tag, job.end or "", job.kind))
            if worth is not None and worth.tries is not None:
                after = After((first.tag, first.end, first.kind), self._dried((first.place, first.roofed)))
                out.append((self.coat(job, worth, self._holds(first), (after,)), job))
        return out

    def _twice(self, job: Job) -> bool:
        ledger = self.m.ledger
        wood = ledger.species.get(job.species or "", ledger.careful)
        return wants_second(wood, job.worth, self.m.choice)

    def _holds(self, job: Job) -> float:
        """Chance that a first coat holds, at the best of the slots."""
        where = (job.place, job.roofed)
        told = self._chance_in(where)
        return float(np.nan_to_num(told).max()) if told.size else 0.0

    def _dried(self, where: Where) -> F:
        if where not in self._ready:
            self._ready[where] = _ready_hours(self.m.outlook, where, self.slots)
        return self._ready[where]

    def _look_after(self, job: Job) -> Task:
        """The look after a coat that is planned, the next morning."""
        after = After((job.tag, job.end, job.kind), self.s.plan["look_after"])
        minutes = self.s.assumed["minutes_look"]
        return self.look(replace(job, due=self.m.outlook.at, ordinal=0, minutes=minutes), (after,))

    def pail(self) -> Task:
        """Bringing the pail into the warm, before the first brush work."""
        nothing = np.zeros(len(self.slots))
        return Task(("pail", None, "warm_pail"), self.s.plan["pail_minutes"], nothing, outdoor=False)


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else value


def _second_of(job: Job, material: Material, setting: Setting) -> Job:
    """The second coat that follows a first one."""
    own = material.outlook.yard.yard.minutes
    cut = own.fresh_cut if own.fresh_cut is not None else setting.assumed["minutes_fresh_cut"]
    end = own.end if own.end is not None else setting.assumed["minutes_end"]
    end *= setting.assumed[f"minutes_{material.choice.method}"]
    # Saw and brush grow with the face alike, so their shares of a cut with its coat stay the same.
    minutes = job.minutes * end / (end + cut) if job.kind == "cut_and_coat" else job.minutes
    return replace(
        job,
        kind="second_coat",
        litres=job.litres * material.outlook.coating.second_share,
        minutes=max(minutes, 1.0),
        people=1,
        why="fills pinholes and open pores",
        hint="look first: milky means not yet",
    )


def _coated_now(register: Register, jobs: Sequence[Job], at: datetime) -> Register:
    """The register as if the first coats of some jobs had just been laid."""
    when = Moment(at.astimezone(UTC))
    done = {(job.tag, job.end): job.kind for job in jobs}

    def end_after(log: Log, end: End) -> End:
        kind = done.get((log.tag, end.name))
        if kind is None:
            return end
        fresh = replace(end, cut=when, checks="none", looks=()) if kind == "cut_and_coat" else end
        return replace(fresh, coats=(Coat(when, 1, 0),))

    logs = tuple(replace(log, ends=tuple(end_after(log, end) for end in log.ends)) for log in register.logs)
    return replace(register, logs=logs)


# ------------------------------------------------------------------ inside


def moved_inside(
    material: Material, setting: Setting, work: Work, tags: Collection[str], place: str, days: DayChances
) -> Work:
    """The same work with some light logs carried under a roof first, and coated there.

    Their first coats in the open are taken out; a log whose weight is not known, or that asks for a
    machine, stays where it is.
    """
    m, ledger = material, material.ledger
    kg = {tag: _light(tag, m) for tag in tags}
    moved = [
        replace(job, place=place, roofed=False)
        for job in m.jobs
        if job.kind in ("first_coat", "touch_up") and job.place is None and kg.get(job.tag) is not None
    ]
    if not moved:
        return work
    there = replace(m, jobs=tuple(moved), chances={**m.chances, (place, False): days})
    worths = worth_of_jobs(moved, m.register, m.states, ledger, there.chances)
    gone = {job.tag for job in moved}
    keys = dict.fromkeys([*(k for slot in work.slots[:1] for k in slot.chance), (place, False)])
    slots = slots_of(m.outlook, m.register, setting, list(keys))  # type: ignore[arg-type]
    maker = _Maker(replace(there, worths=worths), setting, slots)
    tasks = [
        task for task in work.tasks if task.id[0] not in gone or (not task.brush and task.id[2] != "look")
    ]
    jobs = {key: job for key, job in work.jobs.items() if key in {task.id for task in tasks}}
    weights: dict[str, float] = {}
    ends = {tag: sum(job.tag == tag for job in moved) for tag in gone}
    for job in moved:
        worth = worths.get((job.tag, job.end or "", job.kind))
        if worth is None or worth.tries is None:
            continue
        lift = (job.tag, None, "bring_in")
        outside = m.worths.get((job.tag, job.end or "", job.kind))
        task = _against(maker.coat(job, worth, after=(After(lift, 0.0),)), worth, outside, maker)
        # The plan takes no task that costs: what carrying costs stands on the coats that it is for.
        task = replace(task, gain=np.asarray(task.gain) - _carry_cost(ledger) / ends[job.tag])
        tasks.append(task)
        jobs[task.id] = job
        weights[job.tag] = kg[job.tag] or 0.0
    for tag, weight in weights.items():
        task = _lift(tag, weight, ledger, slots)
        about = next(job for job in moved if job.tag == tag)
        tasks.append(task)
        jobs[task.id] = replace(about, kind="bring_in", end=None, people=task.people, why="no day outside")
    return Work(tuple(tasks), tuple(slots), work.rules, jobs, work.aside, weights)


def _against(task: Task, worth: EndWorth, outside: EndWorth | None, maker: _Maker) -> Task:
    """A gain against what the end costs if it is left outside, not if it is left inside."""
    if outside is None or outside.tries is None or worth.tries is None:
        return task
    days, anyway = maker.span, maker.s.anyway
    out = outside.tries.open if anyway else outside.tries.later(days)
    here = worth.tries.open if anyway else worth.tries.later(days)
    return replace(task, gain=np.asarray(task.gain) + (out - here) * worth.tries.points)


def _light(tag: str, material: Material) -> float | None:
    """Weight of a log that people can carry, kg; None for others: a machine is never taken for granted."""
    log = material.register.log(tag)
    kg = None if log is None else weight_of(log, material.ledger)
    return kg if kg is not None and kg <= material.ledger.value["lift_machine"] else None


def _carry_cost(ledger: Ledger) -> float:
    """What carrying a log under a roof costs, in weighted cm."""
    if ledger.wage is not None and ledger.money_per_point:
        return ledger.worth["carry_minutes"] / 60.0 * ledger.wage / ledger.money_per_point
    return ledger.worth["carry_points"]


def _lift(tag: str, kg: float, ledger: Ledger, slots: Sequence[Slot]) -> Task:
    """Carrying a log under a roof; by itself it gains next to nothing."""
    people = 2 if kg > ledger.value["lift_two"] else 1
    gain = np.full(len(slots), LIFT_GAIN)
    return Task((tag, None, "bring_in"), ledger.worth["carry_minutes"], gain, people=people)


# ------------------------------------------------------------------ what comes


def arriving(register: Register, at: datetime, until: datetime) -> tuple[Register, dict[str, datetime]]:
    """The register as if the logs that are expected by then lay in the yard, and when each comes."""
    comes: dict[str, datetime] = {}
    now = Moment(at.astimezone(UTC))

    def there(log: Log) -> Log:
        when = log.expected or log.felled
        if log.state != "expected" or when is None or when.time >= until:
            return log
        comes[log.tag] = max(when.time, now.time)
        ends = tuple(replace(end, cut=now, coats=(), looks=(), checks="none", face="wet") for end in log.ends)
        return replace(log, state="in_yard", ends=ends, felled=None)

    return replace(register, logs=tuple(there(log) for log in register.logs)), comes


def cut_on_arrival(
    material: Material, comes: Mapping[str, datetime], minutes: float, people: int
) -> Material:
    """The coats of logs that are still to come: cut and coated in one go, no sooner than they are there."""
    jobs, worths = [], dict(material.worths)
    for job in material.jobs:
        if job.tag in comes and job.kind == "first_coat" and job.end is not None:
            found = worths.pop((job.tag, job.end, job.kind), None)
            job = replace(
                job, kind="cut_and_coat", minutes=job.minutes + minutes, people=people, why="comes then"
            )
            if found is not None:
                worths[job.tag, job.end or "", job.kind] = found
        jobs.append(job)
    return replace(material, jobs=tuple(jobs), worths=worths, comes=comes)


# ------------------------------------------------------------------ what holds


def setting_of(
    yard: YardFile,
    ledger: Ledger,
    until: datetime,
    litres: float | None,
    assumed: Mapping[str, float],
    plan: Mapping[str, float],
) -> Setting:
    """What holds for a plan of a yard until a time; ``litres`` at hand, None: not known."""
    own = yard.yard.minutes
    set_up = own.set_up if own.set_up is not None else assumed["minutes_set_up"]
    clean_up = own.clean_up if own.clean_up is not None else assumed["minutes_clean_up"]
    minutes = set_up + clean_up
    cost = plan["frame_cost"] / minutes if minutes > 0 else 0.0
    if yard.yard.wage is not None and ledger.money_per_point:
        cost = yard.yard.wage / 60.0 / ledger.money_per_point
    return Setting(until, assumed, plan, (set_up, clean_up), cost, litres=litres)


def end_of_day(at: datetime, days: int, zone: ZoneInfo) -> datetime:
    """Midnight behind today and the ``days`` - 1 after it, on the yard's clock."""
    last = at.astimezone(zone).date() + days * DAY
    return datetime.combine(last, time(), zone).astimezone(UTC)


# ------------------------------------------------------------------ too much for the hands


def crowded(material: Material, setting: Setting) -> bool:
    """Whether the jobs that want the same day need more hands or wax than there are.

    A rough count without a plan: of each day on which tries want to be, the brush minutes that its spans
    have room for. Where all fit, the price of hands is 0 and nobody needs to work one out.
    """
    outlook = material.outlook
    zone = outlook.yard.zone
    first = outlook.at.astimezone(zone).date()
    wanted: dict[tuple[Where, date], float] = {}
    litres = 0.0
    for job in material.jobs:
        found = material.worths.get((job.tag, job.end or "", job.kind))
        if found is None or found.best_day is None or job.optional:
            continue
        day = first + found.best_day * DAY
        key = ((job.place, job.roofed), day)
        wanted[key] = wanted.get(key, 0.0) + job.minutes * job.people
        litres += job.litres
    if setting.litres is not None and litres > setting.litres:
        return True
    return any(need > _room(outlook, where, day, setting) for (where, day), need in wanted.items())


def _room(outlook: Outlook, where: Where, day: date, setting: Setting) -> float:
    """Brush minutes of a day in a place, set-up and clean-up taken off; without end where nothing is told."""
    zone = outlook.yard.zone
    one = outlook.of(*where)
    begin = datetime.combine(day, time(), zone)
    a, b = (int(np.ceil(outlook.step_of(begin + n * DAY))) for n in (0, 1))
    inside = np.flatnonzero((one.starts >= a) & (one.starts < b))
    good = inside[np.nan_to_num(one.chance[inside]) >= outlook.limits.show_chance]
    if not good.size:
        return float("inf") if not inside.size else 0.0
    hands = outlook.openness.hands[one.starts[good]]
    return float(15.0 * hands.sum() * outlook.thresholds.fill.value - sum(setting.minutes))
