"""The running whole: what is read, worked out and handed to the views, in which order.

An edge: reads files, the store and the endpoint. Everything it calls in
between is pure and gets the clock passed in.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from scheduler.coating.product import Coating, coating_of
from scheduler.learning import asked_before, learn, learned
from scheduler.planning.chances import DayChances, day_chances, days_without_forecast
from scheduler.planning.inside import Carry, best_shelter, carried, light_enough
from scheduler.planning.jobs import Job, JobContext, in_order, jobs_of
from scheduler.planning.keeping import Keeping, keeping_of, usual_days
from scheduler.planning.ledger import ledger_of
from scheduler.planning.looks import Learned
from scheduler.planning.night import (
    next_rain,
    night_hours,
    night_of,
    perils_of,
    suns_at,
    suns_of,
    thaw_of,
)
from scheduler.planning.normals import Normals, normals_by_latitude, normals_of
from scheduler.planning.outlook import Outlook
from scheduler.planning.pail import PailOutlook, hours_before_brush, pail_outlook, pails_out
from scheduler.planning.questions import Question, questions
from scheduler.planning.truth import Row, rows_of, taught
from scheduler.planning.verdict import Morning, TimedSpan, morning, spans_of
from scheduler.planning.worth import EndWorth, Ledger, worth_of_jobs
from scheduler.seasons import climate_known
from scheduler.settings import (
    SettingsError,
    Species,
    YardFile,
    assumptions,
    coating_profiles,
    doubt,
    history_numbers,
    learning,
    located,
    pail_numbers,
    plan_numbers,
    species_table,
    thresholds,
    value_numbers,
    worth_numbers,
)
from scheduler.sources import Forecast, open_register, register_of, store_exists
from scheduler.views.today import Briefing, ForecastLine
from scheduler.weather.series import Weather, WeatherError
from scheduler.wood.endgrain import Calibration
from scheduler.wood.species import careful
from scheduler.yard.condition import EndState, Fate, end_state, fates_of_coats
from scheduler.yard.facts import Coat, End, Log, Register

if TYPE_CHECKING:
    from collections.abc import Mapping

    from scheduler.planning.climate import Climate
    from scheduler.planning.plan import Plan, TaskId
    from scheduler.planning.season import Season
    from scheduler.planning.tasks import Material, Setting
    from scheduler.planning.tries import HandsPrice
    from scheduler.planning.week import Help, Shelter, Week
    from scheduler.planning.winter import Winter
    from scheduler.reminders.wanted import Derived
    from scheduler.yard.store import ReminderRow

__all__ = [
    "Asked",
    "Picture",
    "SeasonAhead",
    "Valued",
    "WeekAhead",
    "brief",
    "estimates",
    "former_plan",
    "keep_plan",
    "learn_all",
    "outlook_of",
    "pails_seen",
    "picture",
    "refresh_reminders",
    "season_ahead",
    "wanted_of",
    "week_ahead",
]


PROMISES = "plan"  # name of the kept plan in the store
PAST_DAYS = 10  # of past hours that are asked for with a forecast
MOST_ANSWERS = 40  # kept answers that a morning reads; some milliseconds each
NIGHTS_AT_ONCE = 2  # newly told nights that a morning looks up in kept answers


@dataclass(frozen=True, eq=False)
class Picture:
    """The yard under its weather: states of all ends and the jobs that follow."""

    register: Register
    outlook: Outlook | None
    states: dict[tuple[str, str], EndState]
    jobs: tuple[Job, ...]
    species: dict[str, Species]
    learned: Learned
    worths: dict[tuple[str, str, str], EndWorth]  # of coating jobs, by tag, end and kind
    keeping: Keeping
    carry: tuple[Carry, ...] = ()  # logs better brought under a roof today
    valued: Valued | None = None  # what the worths rest on, for whoever plans


@dataclass(frozen=True, eq=False)
class Valued:
    """What waiting costs, and what that was worked out from.

    ``free`` are the worths without a price of hands; ``worths`` are with it where hands are short.
    """

    ledger: Ledger
    chances: dict[tuple[str | None, bool], DayChances]
    free: dict[tuple[str, str, str], EndWorth]
    worths: dict[tuple[str, str, str], EndWorth]
    hands: HandsPrice | None
    climate: Climate | None


def picture(yard: YardFile, register: Register, forecast: Forecast, at: datetime) -> Picture:
    """States and jobs of all ends; without weather the states rest on looks alone."""
    outlook = None
    held = learn(yard, register, at, most=NIGHTS_AT_ONCE)
    if forecast.weather is not None and forecast.why is None:
        outlook = outlook_of(yard, forecast.weather, at, held)
    fates = _fates(register, outlook)
    states = {
        (log.tag, end.name): end_state(end, at, fates.get((log.tag, end.name)))
        for log in register.present
        for end in log.ends
    }
    table = species_table()
    assumed = assumptions()
    mean = outlook.mean_air() if outlook is not None else None
    coating = outlook.coating if outlook is not None else _coating(yard)

    past, climate = _past(yard, forecast, at)
    keeping = _keeping(yard, register, forecast, at, past, climate)

    def state(log: Log, end: End) -> EndState:
        return states[(log.tag, end.name)]

    context = JobContext(
        at=at,
        coating=coating,
        choice=yard.coating,
        minutes=yard.yard.minutes,
        saw_needs_two=yard.yard.saw_needs_two,
        assumed=assumed,
        species=table,
        careful=careful(table),
        warm=mean is not None and mean > assumed["warm_above"],
        state=state,
        saw_by=keeping.saw_by,
        next_look=keeping.next_look,
    )
    jobs = jobs_of(register, context)
    valued = _valued(yard, register, outlook, states, jobs, coating, at, past, climate)
    worths = {} if valued is None else valued.worths
    carry = () if valued is None else _carried(yard, register, outlook, states, jobs, valued)
    ranked = _by_worth(jobs, worths)
    return Picture(register, outlook, states, ranked, dict(table), held, worths, keeping, carry, valued)


def _past(yard: YardFile, forecast: Forecast, at: datetime) -> tuple[Weather | None, Climate | None]:
    """The hours that the yard has had, and its past years where they were worked out once."""
    from scheduler.weather.fetch_past import hours_until

    climate = climate_known(yard) if yard.cache_folder.is_dir() else None
    return hours_until(yard, forecast.weather, at), climate


def _keeping(
    yard: YardFile,
    register: Register,
    forecast: Forecast,
    at: datetime,
    past: Weather | None,
    climate: Climate | None,
) -> Keeping:
    pieces = [piece for piece in (past, forecast.weather) if piece is not None]
    usual = usual_days(_normals(yard, at, climate))
    return keeping_of(register, species_table(), at, pieces, usual, round(yard.yard.place.lon / 15.0))


def _valued(
    yard: YardFile,
    register: Register,
    outlook: Outlook | None,
    states: dict[tuple[str, str], EndState],
    jobs: tuple[Job, ...],
    coating: Coating,
    at: datetime,
    past: Weather | None,
    climate: Climate | None,
) -> Valued | None:
    """What waiting costs every end with work for the brush; without a forecast by past years alone."""
    places = dict.fromkeys((job.place, job.roofed) for job in jobs if job.coats)
    if not places:
        return None
    ledger = _ledger(yard, register, outlook, coating, at, past, climate)
    default = worth_numbers()["later_chance"]
    chances = {
        key: days_without_forecast(at, yard.zone, ledger.horizon.end, climate=climate, default=default)
        if outlook is None
        else day_chances(outlook, *key, ledger.horizon.end, doubt(), climate=climate, default=default)
        for key in places
    }
    free = worth_of_jobs(jobs, register, states, ledger, chances)
    valued = Valued(ledger, chances, free, free, None, climate)
    return valued if outlook is None else _with_hands(yard, register, outlook, states, jobs, valued)


def _with_hands(
    yard: YardFile,
    register: Register,
    outlook: Outlook,
    states: dict[tuple[str, str], EndState],
    jobs: tuple[Job, ...],
    valued: Valued,
) -> Valued:
    """With the price of hands, where more wants the same day than its hands or the wax allow."""
    from scheduler.planning.tasks import crowded, end_of_day, setting_of, work_of

    dearest = jobs[: round(plan_numbers()["priced_jobs"])]  # they compete for hands first
    material = _material(yard, register, outlook, states, dearest, valued)
    days = round(outlook.thresholds.trusted_horizon.value)
    until = end_of_day(outlook.at, days, yard.zone)
    setting = setting_of(yard, valued.ledger, until, _stock(register), assumptions(), plan_numbers())
    if not crowded(material, setting):
        return valued
    from scheduler.planning.planner import hands_price

    work = work_of(material, setting)
    hands = hands_price(work.tasks, work.slots, work.rules)
    worths = worth_of_jobs(jobs, register, states, valued.ledger, valued.chances, hands)
    return replace(valued, worths=worths, hands=hands)


def _material(
    yard: YardFile,
    register: Register,
    outlook: Outlook,
    states: dict[tuple[str, str], EndState],
    jobs: tuple[Job, ...],
    valued: Valued,
) -> Material:
    from scheduler.planning.tasks import Material

    return Material(
        outlook=outlook,
        register=register,
        jobs=jobs,
        states=states,
        ledger=valued.ledger,
        chances=valued.chances,
        worths=valued.free,
        choice=yard.coating,
    )


def week_ahead(
    yard: YardFile,
    register: Register,
    forecast: Forecast,
    at: datetime,
    ask: Asked | None = None,
    former: Mapping[TaskId, datetime] | None = None,
) -> WeekAhead | None:
    """The week's plan, or the answer to a what-if; None without a usable forecast. Nothing is written.

    Raises
    ------
    NoSolverError
        Where the exact plan is asked for and its solver is not there, or finds nothing in time.
    """
    from scheduler.planning.tasks import arriving, cut_on_arrival, end_of_day, setting_of
    from scheduler.planning.week import helps, week_of

    ask = ask or Asked()
    until = ask.until or end_of_day(at, ask.days, yard.zone)
    there, comes = arriving(register, at, until)
    seen = picture(yard, there, forecast, at)
    outlook, valued = seen.outlook, seen.valued
    if outlook is None:
        return None
    if valued is None:  # nothing for the brush: looks can still be planned
        ledger = _ledger(yard, there, outlook, outlook.coating, at, None, None)
        valued = Valued(ledger, {}, {}, {}, None, None)
    material = _material(yard, there, outlook, seen.states, seen.jobs, valued)
    minutes, people = _fresh_cut(yard)
    material = cut_on_arrival(material, comes, minutes, people)
    lead = _warm_lead(yard, register, outlook)
    material = replace(material, cold_pail=lead > 0.0)
    stock = ask.litres if ask.litres is not None else _stock(register)
    setting = setting_of(
        yard, valued.ledger, until, stock, assumptions(), {**plan_numbers(), "warm_lead": lead}
    )
    setting = replace(setting, people=ask.people, only=ask.only, anyway=ask.anyway)
    shelter = _shelter(yard, outlook, valued)
    solve = _exact if ask.exact else None
    week = week_of(material, setting, former=former, shelter=shelter, **({"solve": solve} if solve else {}))
    changes: tuple[Help, ...] = ()
    if ask.what_if:
        room = round((outlook.time_at(outlook.last_step) - until) / timedelta(days=1))
        more = [days for days in (1, 2, 4) if days <= room]
        changes = helps(week, material, setting, tags=ask.about, shelter=shelter, more_days=more)
    return WeekAhead(week, seen, setting, changes, comes)


def former_plan(yard: YardFile, at: datetime) -> dict[TaskId, datetime]:
    """The times to come that the keeper was told to hold to; none where none are kept."""
    if not store_exists(yard):
        return {}
    from scheduler.yard.store_read import UNREAD, read_memo

    rows = read_memo(yard.store_url, yard.yard.key, PROMISES)
    if rows is UNREAD:
        with open_register(yard) as store:
            kept = store.recall(yard.yard.key, PROMISES)
        rows = None if kept is None else kept[0]
    if not isinstance(rows, list):
        return {}
    told = {(str(tag), end, str(kind)): datetime.fromisoformat(start) for tag, end, kind, start in rows}
    return {task: start for task, start in told.items() if start >= at}


def keep_plan(yard: YardFile, plan: Plan, at: datetime) -> None:
    """Keep the times of a plan: a later one moves them only when that gains more than a set amount."""
    rows = [[*row.task, row.start.isoformat()] for row in plan.assignments]
    with open_register(yard) as store:
        store.remember(yard.yard.key, PROMISES, rows, at)


@dataclass(frozen=True, slots=True)
class Asked:
    """What a plan is asked for.

    ``about`` are the tags that a what-if is about; None: all. ``anyway``: against no coat at all.
    """

    days: int = 7
    until: datetime | None = None
    people: int | None = None
    litres: float | None = None
    only: frozenset[str] | None = None
    about: frozenset[str] | None = None
    what_if: bool = False
    anyway: bool = False
    exact: bool = False


@dataclass(frozen=True, eq=False)
class WeekAhead:
    """The week with the picture that it rests on, and what would let more be done."""

    week: Week
    seen: Picture
    setting: Setting
    helps: tuple[Help, ...] = ()
    comes: Mapping[str, datetime] = field(default_factory=dict)  # by tag, of logs that are still to come


def _fresh_cut(yard: YardFile) -> tuple[float, int]:
    """Minutes and people of a fresh cut."""
    own = yard.yard.minutes.fresh_cut
    minutes = own if own is not None else assumptions()["minutes_fresh_cut"]
    return minutes, 2 if yard.yard.saw_needs_two else 1


def _exact(*given: Any) -> Plan:
    from scheduler.planning.plan_exact import exact_plan

    return exact_plan(*given)


def _shelter(yard: YardFile, outlook: Outlook, valued: Valued) -> Shelter | None:
    """The roof that wood may be brought under, with its chances."""
    from scheduler.planning.week import Shelter

    place = best_shelter(yard.place)
    if place is None or not valued.free:
        return None
    default = worth_numbers()["later_chance"]
    end = valued.ledger.horizon.end
    days = day_chances(outlook, place.name, False, end, doubt(), climate=valued.climate, default=default)
    return Shelter(place.name, days)


def _warm_lead(yard: YardFile, register: Register, outlook: Outlook) -> float:
    """Hours before the brush at which the wax must be in the warm; 0 where a pail is warm, or nobody told."""
    numbers, plan = pail_numbers(), plan_numbers()
    size = yard.coating.pail_litres or numbers["size"]
    hours = hours_before_brush(register.pails, outlook, size=size, numbers=numbers)
    return max(hours, plan["warm_lead"]) if hours > 0.0 else 0.0


def _carried(
    yard: YardFile,
    register: Register,
    outlook: Outlook | None,
    states: dict[tuple[str, str], EndState],
    jobs: tuple[Job, ...],
    valued: Valued,
) -> tuple[Carry, ...]:
    """Logs better brought under a roof; looked at only when the open yard has nothing for them today."""
    shelter = best_shelter(yard.place)
    if outlook is None or shelter is None:
        return ()
    soon = outlook.at + timedelta(hours=12)
    due = [job for job in jobs if job.due <= soon and not job.optional]
    ledger, worths = valued.ledger, valued.worths
    light = light_enough(due, register, ledger)
    if not light or any(w.now for w in worths.values()):
        return ()
    default = worth_numbers()["later_chance"]
    end = ledger.horizon.end
    days = day_chances(outlook, shelter.name, False, end, doubt(), climate=valued.climate, default=default)
    return carried(light, register, states, ledger, shelter.name, days, worths)


def _ledger(
    yard: YardFile,
    register: Register,
    outlook: Outlook | None,
    coating: Coating,
    at: datetime,
    past: Weather | None,
    climate: Climate | None,
) -> Ledger:
    """The ledger of a morning, with what the yard's own cuts have taught."""
    ledger = ledger_of(
        yard, register, at, coating, species_table(), outlook=outlook, past=past, climate=climate
    )
    learned_cuts = taught(rows_of(register.logs, ledger), ledger)
    return replace(ledger, learned=learned_cuts) if learned_cuts.used else ledger


def estimates(
    yard: YardFile, register: Register, forecast: Forecast, at: datetime
) -> tuple[tuple[Row, ...], Calibration]:
    """Every cut and saw day that says something, beside its estimate, and what they have taught."""
    past, climate = _past(yard, forecast, at)
    ledger = ledger_of(yard, register, at, _coating(yard), species_table(), past=past, climate=climate)
    rows = rows_of(register.logs, ledger)
    return rows, taught(rows, ledger)


@dataclass(frozen=True, eq=False)
class SeasonAhead:
    """What is left of the season, the yard's own work in it, and what is to be said of the record."""

    season: Season
    winter: Winter
    seen: Picture
    said: tuple[str, ...]


def season_ahead(
    yard: YardFile,
    at: datetime,
    forecast: Forecast,
    history: Path | None = None,
    register: Register | None = None,
) -> SeasonAhead:
    """What is left of the season, by past years (a file, or the archive) joined with the forecast at hand.

    Raises
    ------
    WeatherError
        When no past years can be had or read.
    OSError
        When the named file cannot be opened.
    """
    from scheduler.planning.season import forecast_weight, season_of
    from scheduler.seasons import past_of

    held = learned(yard, at)
    shift = None if held.offset is None or held.beliefs is None else held.offset.still_c
    past = past_of(yard, at, history, shift)
    holds, weight = None, None
    if forecast.weather is not None and forecast.why is None:
        outlook = outlook_of(yard, forecast.weather, at, held)
        days = day_chances(outlook, None, False, at, doubt())
        holds = days.chances.holds
        table = doubt()["air"]
        leads = np.arange(float(holds.shape[1])) + 0.5
        spread = history_numbers()["season_sd"]
        weight = forecast_weight(leads, np.array(table["sigma"]), np.array(table["days"]), spread)
    local = at.astimezone(yard.zone).date()
    season = season_of(past.climate, past.freezes, local, holds=holds, weight=weight)
    seen = picture(yard, register or register_of(yard, at), forecast, at)
    return SeasonAhead(season, _winter(yard, season, seen), seen, past.said)


def _winter(yard: YardFile, season: Season, seen: Picture) -> Winter:
    """The yard's own work held against the season."""
    from scheduler.planning.winter import winter_of

    assumed, own = assumptions(), yard.yard.minutes
    frame = (own.set_up if own.set_up is not None else assumed["minutes_set_up"]) + (
        own.clean_up if own.clean_up is not None else assumed["minutes_clean_up"]
    )
    open_ = [yard.yard.people_of(n) for n in range(7) if yard.yard.hours_of(n) is not None]
    shelter = best_shelter(yard.place)
    limits, days = thresholds(), []
    if seen.outlook is not None:
        told = day_chances(seen.outlook, None, False, seen.outlook.at, doubt())
        chances = told.chances.plain()[: told.told].tolist()
        days = list(zip(told.days[: told.told], chances, strict=True))
    return winter_of(
        season,
        seen.jobs,
        seen.register,
        seen.worths,
        None if seen.valued is None else seen.valued.ledger,
        seen.keeping.saw_by,
        people=sum(open_) / len(open_) if open_ else 0.0,
        fill=limits.fill.value,
        frame_min=frame,
        shelter=None if shelter is None else shelter.name,
        days=days,
        show_chance=limits.show_chance.value,
    )


def _by_worth(jobs: tuple[Job, ...], worths: dict[tuple[str, str, str], EndWorth]) -> tuple[Job, ...]:
    """Coating jobs in the order of what a coat keeps; other work as it stands."""

    def ranked(job: Job) -> Job:
        found = worths.get((job.tag, job.end or "", job.kind))
        return job if found is None else replace(job, rank=found.points)

    return in_order(ranked(job) for job in jobs)


def outlook_of(yard: YardFile, weather: Weather, at: datetime, held: Learned | None = None) -> Outlook:
    """What the weather means in the yard; a fault in the yard's rules is told with its line.

    ``held`` is what was learned of the yard's own place; None: as it was last put down.
    """
    held = held if held is not None else learned(yard, at)
    try:
        return Outlook(yard, weather, at, held.beliefs)
    except SettingsError as error:
        raise located(error, yard.path) from None


def _coating(yard: YardFile) -> Coating:
    return coating_of(coating_profiles()[yard.coating.profile], yard.coating)


def _fates(register: Register, outlook: Outlook | None) -> dict[tuple[str, str], Fate]:
    """Fate of the last coat of every end that nobody has seen clear since.

    Coats laid before the forecast's own past hours are worked out on the
    answers kept from then, where there are any.
    """
    if outlook is None:
        return {}
    coats = _unseen_coats(register)
    start = outlook.weather.start
    watch = outlook.at - timedelta(days=assumptions()["watch_days"])
    old = [coat.moment.time for _, _, coat in coats if watch <= coat.moment.time < start]
    past = _past_outlook(outlook, min(old)) if old else None
    asked: dict[tuple[str | None, bool, bool], list[tuple[tuple[str, str], Coat]]] = {}
    for key, log, coat in coats:
        before = past is not None and coat.moment.time < start
        asked.setdefault((log.place, log.roofed, before), []).append((key, coat))
    fates: dict[tuple[str, str], Fate] = {}
    for (place, roofed, before), ends in asked.items():
        used = past if before and past is not None else outlook
        faces = used.faces(place, roofed)
        found = fates_of_coats(
            faces, used.coating, used.rules, [c for _, c in ends], used.limits.reached_share, outlook.at
        )
        fates.update({key: found[coat] for key, coat in ends})
    return fates


def _unseen_coats(register: Register) -> list[tuple[tuple[str, str], Log, Coat]]:
    """Last coats that nobody has seen clear, with holes or spoiled since."""
    out = []
    for log in register.present:
        for end in log.ends:
            coat, look = end.last_coat, end.film_look
            told = look is not None and coat is not None and look.moment.time >= coat.moment.time
            if coat is not None and not (told and look is not None and look.seen != "milky"):
                out.append(((log.tag, end.name), log, coat))
    return out


def _past_outlook(outlook: Outlook, since: datetime) -> Outlook | None:
    """The weather from a day before ``since`` on, joined from kept answers; None where none reaches back."""
    yard, weather = outlook.yard, outlook.weather
    if not yard.cache_folder.is_dir():
        return None
    from scheduler.weather.fetch import newest_first, weather_of

    wanted = since - timedelta(days=1)
    tries = MOST_ANSWERS
    start = None
    while weather.start > wanted and weather.start != start and tries > 0:
        start = weather.start
        # What was there at the first known hour reaches back farthest; where nothing was, what came
        # within the past hours that an answer brings.
        folder = yard.cache_folder
        late = newest_first(folder, start + timedelta(days=PAST_DAYS))
        for one in chain(newest_first(folder, start), late):
            with suppress(WeatherError):
                weather = weather.with_past(
                    weather_of(one.load(), yard.yard.place, names=yard.forecast.names)
                )
            tries -= 1
            if weather.start < start or tries <= 0:
                break
    if weather.start >= outlook.weather.start:
        return None
    end = min(outlook.at + timedelta(days=4), weather.end)
    return Outlook(yard, weather.between(max(wanted, weather.start), end), outlook.at, outlook.beliefs)


def learn_all(yard: YardFile, register: Register, forecast: Forecast, at: datetime) -> Learned:
    """Compare everything that was read and seen in the yard with what had been forecast.

    Coats are run again through the weather they had, which takes a second or so
    where there are many new ones; a morning does without.
    """

    def past(since: datetime) -> Outlook | None:
        if forecast.weather is None or forecast.why is not None:
            return None
        outlook = outlook_of(yard, forecast.weather, at)
        return outlook if since >= outlook.weather.start else _past_outlook(outlook, since)

    return learn(yard, register, at, past=past)


def refresh_reminders(yard: YardFile, at: datetime, forecast: Forecast) -> tuple[ReminderRow, ...]:
    """Derive the reminders wanted now, make the kept ones agree, and give all that are kept.

    Without a usable forecast the jobs are still put; spans that are kept become
    unsure, none is withdrawn.
    """
    from scheduler.reminders.queue import reconcile, rows
    from scheduler.yard.state import fold

    key = yard.yard.key
    with open_register(yard) as store:
        register = fold(store.entries(key), at, same_coat=timedelta(hours=assumptions()["same_coat"]))
        learn_all(yard, register, forecast, at)
        seen = picture(yard, register, forecast, at)
        reconcile(store, key, wanted_of(yard, seen, forecast, at), at)
        return rows(store, key)


def wanted_of(yard: YardFile, seen: Picture, forecast: Forecast, at: datetime) -> Derived:
    """The reminders that a picture of the yard calls for."""
    from scheduler.reminders.pails import pail_wanted, with_pails
    from scheduler.reminders.wanted import derive

    outlook = seen.outlook
    suns = () if outlook is None else suns_of(outlook, 1)
    pails = pail_wanted(
        pails_seen(yard, seen, forecast, at),
        seen.register,
        at,
        yard.zone,
        sunset=suns[0][1] if suns else None,
        before_dark=timedelta(hours=yard.notice.before_dark_h),
        numbers=pail_numbers(),
    )
    derived = derive(
        seen.jobs,
        seen.register,
        None if outlook is None else spans_of(outlook),
        at,
        yard.zone,
        covered=_spans_elsewhere(seen),
        trusted=timedelta(days=thresholds().trusted_horizon.value),
        known_until=_judged_until(forecast, outlook),
    )
    return _with_season(with_pails(derived, pails), yard, at)


def _with_season(derived: Derived, yard: YardFile, at: datetime) -> Derived:
    """The season's days beside the rest, where past years were worked out once."""
    from scheduler.planning.season import season_of
    from scheduler.reminders.season import season_wanted

    climate = climate_known(yard) if yard.cache_folder.is_dir() else None
    if climate is None:
        return replace(derived, unknown=frozenset({"season"}))
    today = at.astimezone(yard.zone).date()
    season = season_of(climate, (), climate.calendar.start_of(today))
    items = season_wanted(season, today, yard.zone)
    return replace(derived, items=(*derived.items, *items))


def _spans_elsewhere(seen: Picture) -> dict[tuple[str | None, bool], tuple[TimedSpan, ...]]:
    """Spans of the places other than the open yard in which there is work for the brush."""
    outlook = seen.outlook
    if outlook is None:
        return {}
    wheres = dict.fromkeys((job.place, job.roofed) for job in seen.jobs if job.coats)
    return {
        (place, roofed): spans_of(outlook, place, roofed)
        for place, roofed in wheres
        if outlook.place(place) is not None or roofed
    }


def _judged_until(forecast: Forecast, outlook: Outlook | None) -> datetime | None:
    """End of what could be judged: of the weather, or of the horizon where that comes first."""
    if forecast.weather is None or outlook is None:
        return None
    return min(forecast.weather.known_until(), outlook.time_at(outlook.last_step))


def pails_seen(yard: YardFile, seen: Picture, forecast: Forecast, at: datetime) -> PailOutlook:
    """The pails under the weather: stock against the work, the night, warming, ordering."""
    outlook = seen.outlook
    night = None if outlook is None else night_hours(outlook)
    return pail_outlook(
        seen.register,
        seen.jobs,
        outlook,
        _coating(yard),
        yard.coating,
        yard.place,
        seen.species,
        _normals(yard, at, _past(yard, forecast, at)[1]),
        at,
        today=at.astimezone(yard.zone).date(),
        night=night,
        brush=_next_brush(seen, at),
        assumed=assumptions(),
        numbers=pail_numbers(),
    )


def _next_brush(seen: Picture, at: datetime) -> datetime | None:
    """The next start of the brush that a pail should be warm for: with work for it, and near enough."""
    if seen.outlook is None or not any(job.coats for job in seen.jobs):
        return None
    until = at + timedelta(hours=seen.outlook.thresholds.prepare_within.value)
    least = seen.outlook.thresholds.prepare_chance.value
    likely = (span for span in spans_of(seen.outlook) if span.end > at and span.chance >= least)
    first = next(iter(likely), None)
    return max(first.start, at) if first is not None and first.start <= until else None


def _normals(yard: YardFile, at: datetime, climate: Climate | None) -> Normals:
    """The usual air of the place: of its past years, else a guess by latitude and height."""
    place = yard.yard.place
    found = normals_of(climate) if climate is not None else None
    return found or normals_by_latitude(at, place.lat, place.altitude_m or 0.0, worth_numbers())


def brief(
    yard: YardFile, at: datetime, forecast: Forecast, register: Register, seen: Picture | None = None
) -> Briefing:
    """Everything that the views say about a morning; ``seen`` where it has been worked out already."""
    seen = seen or picture(yard, register, forecast, at)
    outlook = seen.outlook
    wet = [key for key, state in seen.states.items() if state.state == "wet" and _recent(register, key, at)]
    word: Morning = morning(register, seen.jobs, outlook, at, forecast.age, forecast.why, wet, seen.worths)
    weather = forecast.weather
    line = ForecastLine(None, fallback=forecast.fallback)
    if weather is not None:
        hours = max(int((weather.known_until() - at) / timedelta(hours=1)), 0)
        line = ForecastLine(
            weather.provenance,
            hours,
            outlook.members.count if outlook else weather.members,
            _complete(weather, at, outlook),
            forecast.fallback,
        )
    assumed = assumptions()
    minutes = yard.yard.minutes
    set_up = minutes.set_up if minutes.set_up is not None else assumed["minutes_set_up"]
    clean_up = minutes.clean_up if minutes.clean_up is not None else assumed["minutes_clean_up"]
    briefing = Briefing(
        morning=word,
        register=register,
        species=seen.species,
        forecast=line,
        yard_name=yard.yard.name,
        stock_litres=_stock(register),
        people=yard.yard.people_on(at.astimezone(yard.zone).date()),
        set_up_min=set_up + clean_up,
        frozen_share=assumed["pail_frost_share"],
        pails_out=pails_out(register.pails, yard.place),
        unsure=frozenset(tag for (tag, _), state in seen.states.items() if not state.known),
        lift_two_kg=value_numbers()["lift_two"],
        lift_machine_kg=value_numbers()["lift_machine"],
        prepare_chance=thresholds().prepare_chance.value,
        suns=suns_at(yard, at),
    )
    if outlook is None:
        return briefing
    return replace(
        briefing,
        night=night_of(outlook),
        rain=next_rain(outlook),
        suns=suns_of(outlook),
        perils=perils_of({key: seen.states[key] for key in wet}, at),
        thaw=thaw_of(outlook),
        pail_least_c=outlook.coating.pail_least_c,
        fill=outlook.thresholds.fill.value,
        question=_question(yard, seen, outlook, at),
        trusted_until=outlook.trusted_until,
        carry=seen.carry,
    )


def _question(yard: YardFile, seen: Picture, outlook: Outlook, at: datetime) -> Question | None:
    """The one question of this morning, None where the keeper wants nothing learned or was asked before."""
    held = seen.learned
    if held.refused or not yard.cache_folder.is_dir():
        return None
    found = questions(
        outlook,
        seen.register,
        seen.states,
        learning(),
        offset_sd=None if held.offset is None else held.offset.hollow_sd,
        drying_sd=None if held.drying is None else held.drying.log_sd,
    )
    return next((q for q in found if not asked_before(yard, q.key, at)), None)


def _recent(register: Register, key: tuple[str, str], at: datetime) -> bool:
    """A coat of the last days: an older one that nobody looked at needs a look, not a watch."""
    log = register.log(key[0])
    end = log.end(key[1]) if log is not None else None
    return (
        end is not None
        and end.last_coat is not None
        and at - end.last_coat.moment.time < timedelta(days=assumptions()["watch_days"])
    )


def _complete(weather: Weather, at: datetime, outlook: Outlook | None) -> bool:
    """Whether every needed hour of the trusted horizon is known."""
    if outlook is None:
        return False
    first = max(int(weather.hour_of(at)), 0)
    last = first + int(outlook.thresholds.trusted_horizon.value * 24)
    needed = (weather.air_c, weather.dew_point_c, weather.wind_ms, weather.rain_mm)
    return weather.hours >= last and all(bool(np.isfinite(x[:, first:last]).all()) for x in needed)


def _stock(register: Register) -> float | None:
    """Litres at hand where every pail was told in litres; None where the stock is not known."""
    told = [pail.litres for pail in register.pails]
    if not told or any(litres is None for litres in told):
        return None
    return sum(litres for litres in told if litres is not None)
