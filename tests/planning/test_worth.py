"""What waiting costs, from the facts of a yard to the order of its ends: laws, and cases seen through."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reminder_samples import coat, end, log, register
from test_outlook import outlook
from weather_samples import by_day, weather

from scheduler.planning.chances import day_chances, days_without_forecast
from scheduler.planning.jobs import JobContext, jobs_of
from scheduler.planning.ledger import ledger_of, stick_of_log, worth_of_log
from scheduler.planning.normals import normals_by_latitude
from scheduler.planning.outlook import Outlook
from scheduler.planning.worth import EndWorth, Ledger, driver, horizon_of, parts_of, worth_of_jobs
from scheduler.settings import assumptions, doubt, species_table, worth_numbers
from scheduler.wood.species import careful
from scheduler.yard.condition import EndState, end_state
from scheduler.yard.facts import Log, Register

AT = datetime(2025, 11, 4, 5, 0, tzinfo=UTC)  # six on the yard's clock
NUMBERS = worth_numbers()
GOOD = {"air_c": by_day(8.0, 14.0), "humidity": 65.0, "wind": 3.0, "cloud": 0.9}
BAD = GOOD | {"rain": 1.0}


def looked(given: Any = None) -> Outlook:
    return outlook(given if given is not None else weather(24 * 12, **GOOD), at=AT)


def found(
    *logs: Log, view: Outlook | None = None, at: datetime = AT, **more: Any
) -> dict[tuple[str, str, str], EndWorth]:
    """The worth of all jobs at some logs."""
    view = view or looked()
    facts = Register(at, logs)
    table = species_table()
    states = {(one.tag, e.name): end_state(e, at, None) for one in logs for e in one.ends}
    context = JobContext(
        at=at,
        coating=view.coating,
        choice=view.yard.coating.model_copy(update={"coats": 2}),
        minutes=view.yard.yard.minutes,
        saw_needs_two=True,
        assumed=assumptions(),
        species=table,
        careful=careful(table),
        warm=True,
        state=lambda one, e: states[one.tag, e.name],
    )
    jobs = jobs_of(facts, context)
    ledger = ledger_of(view.yard, facts, at, view.coating, table, outlook=view)
    ledger = replace(ledger, **more)
    places = {(job.place, job.roofed) for job in jobs if job.coats}
    chances = {p: day_chances(view, *p, ledger.horizon.end, doubt(), default=0.25) for p in places}
    return worth_of_jobs(jobs, facts, states, ledger, chances)


def fresh(tag: str = "L01", cut: str = "2025-11-03T12:00", **facts: Any) -> Log:
    usual: dict[str, Any] = {"species": "Quercus robur", "length_cm": 260.0}
    ends = facts.pop("ends", (replace(end(cut=cut), diameter_cm=50.0),))
    return log(tag, *ends, **(usual | facts))


def one(worths: dict[tuple[str, str, str], EndWorth], tag: str = "L01") -> EndWorth:
    return next(w for key, w in worths.items() if key[0] == tag)


# ------------------------------------------------------------------ seen through


def test_on_a_good_day_a_fresh_end_is_coated_and_in_the_rain_it_is_not() -> None:
    good, wet = one(found(fresh())), one(found(fresh(), view=looked(weather(24 * 12, **BAD))))
    assert good.now
    assert good.best_day == 0
    assert not wet.now
    assert wet.chance < 0.1


def test_open_till_spring_costs_more_than_a_week_and_a_week_more_than_a_day() -> None:
    it = one(found(fresh()))
    assert it.open_cost > it.week_cost > it.day_cost > 0.0
    assert it.open_cm[0] < it.open_cm[1] < it.open_cm[2]
    assert it.open_cm[2] / it.open_cm[0] == pytest.approx(4.0, rel=0.05)  # half to double
    assert it.coated_cm < 0.3 * it.open_cm[1]
    assert it.unit == "cm"
    assert it.currency is None


def test_a_price_makes_it_money_and_more_of_it_with_a_higher_price() -> None:
    cheap, dear = (one(found(fresh(price_per_m3=price))) for price in (200.0, 2000.0))
    assert (cheap.unit, dear.unit) == ("money", "money")
    assert dear.open_cost == pytest.approx(10.0 * cheap.open_cost)
    assert dear.now or not cheap.now


def test_an_end_that_was_open_for_long_loses_less_of_what_is_left_than_a_fresh_one() -> None:
    old, new = one(found(fresh(cut="2025-08-01T12:00"))), one(found(fresh()))
    assert old.so_far_cm[1] > 3.0 > new.so_far_cm[1]
    assert old.day_cost < 0.5 * new.day_cost
    assert old.points < new.points


def test_firewood_is_not_worth_the_wax_and_prized_wood_is() -> None:
    poor, rich = one(found(fresh(worth="plain", length_cm=90.0))), one(found(fresh(worth="prized")))
    thin = fresh(worth="plain", ends=(replace(end(cut="2025-11-03T12:00"), diameter_cm=14.0),))
    assert rich.points > poor.points
    assert one(found(thin)).best_day is None


def test_spare_length_makes_a_loss_cheap_until_it_is_used_up() -> None:
    spare, none = one(found(fresh(needs_cm=220.0))), one(found(fresh(needs_cm=259.0)))
    assert spare.open_cm == none.open_cm
    assert spare.open_cost < 0.3 * none.open_cost


def test_what_both_ends_lose_together_costs_the_sum_of_its_parts() -> None:
    worth = worth_of_log(fresh(), species_table()["Quercus robur"], looked().yard)
    assert parts_of(worth, [3.0, 5.0]) == pytest.approx(parts_of(worth, [8.0]))
    assert parts_of(worth, [3.0]) + parts_of(worth, [5.0]) == pytest.approx(parts_of(worth, [3.0, 5.0]))


def test_an_end_that_cannot_be_reached_has_no_worth() -> None:
    assert not found(fresh(ends=(replace(end(cut="2025-11-03T12:00"), reach=False),)))


def test_a_cracked_end_is_cut_back_and_the_trim_counts_as_lost() -> None:
    cracked = replace(end(cut="2025-09-20T12:00"), diameter_cm=50.0, checks="open")
    it = one(found(fresh(ends=(cracked,))))
    assert it.job == "cut_and_coat"
    assert it.coated_cm >= 0.0
    assert it.so_far_cm[1] > 2.0


def test_without_a_forecast_the_order_stands_and_nothing_is_said_to_be_worth_a_try_today() -> None:
    view = looked()
    facts = Register(AT, (fresh(), fresh("L02", cut="2025-08-01T12:00")))
    table = species_table()
    ledger = ledger_of(view.yard, facts, AT, view.coating, table)
    chances = {(None, False): days_without_forecast(AT, view.yard.zone, ledger.horizon.end)}
    states = {(o.tag, e.name): EndState("bare") for o in facts.logs for e in o.ends}
    jobs = [_job(o) for o in facts.logs]
    worths = worth_of_jobs(jobs, facts, states, ledger, chances)
    assert len(worths) == 2
    assert not any(w.now for w in worths.values())
    assert one(worths).points > one(worths, "L02").points


def _job(of: Log):  # type: ignore[no-untyped-def]
    from reminder_samples import job

    return job(tag=of.tag)


# ------------------------------------------------------------------ laws


@given(st.floats(0.5, 200.0), st.sampled_from(["Quercus robur", "Juglans nigra", "Betula pendula", "?"]))
@settings(max_examples=20, deadline=None)
def test_a_coated_end_never_comes_before_a_bare_one_of_the_same_face_and_age(days: float, wood: str) -> None:
    """Same wood, size, place and cut; one has had its first coat the day after."""
    cut = AT - timedelta(days=days)
    bare = replace(end(), diameter_cm=50.0, cut=replace(end().cut, time=cut))
    coated = replace(
        bare,
        coats=(
            replace(coat("2025-11-01T10:00", 2), moment=replace(end().cut, time=cut + timedelta(hours=4))),
        ),
    )
    worths = found(fresh("L01", species=wood, ends=(bare,)), fresh("L02", species=wood, ends=(coated,)))
    second = [w for key, w in worths.items() if key[0] == "L02"]
    assert one(worths).points > 0.0
    assert all(one(worths).points >= w.points for w in second)


@given(st.floats(1.0, 6.0), st.floats(50.0, 3000.0))
@settings(max_examples=15, deadline=None)
def test_a_higher_price_never_lowers_the_wish_to_coat_now(times: float, price: float) -> None:
    view = looked(weather(24 * 12, **(GOOD | {"air_c": by_day(2.0, 9.0), "humidity": 80.0})))
    less = one(found(fresh(price_per_m3=price), view=view, money_per_point=1.0))
    more = one(found(fresh(price_per_m3=price * times), view=view, money_per_point=1.0))
    if less.now:
        assert more.now


def test_the_order_in_which_logs_are_told_changes_nothing() -> None:
    logs = [fresh(f"L{n:02d}", cut=f"2025-10-{10 + n}T12:00") for n in range(6)]
    assert found(*logs) == found(*logs[::-1])


# ------------------------------------------------------------------ the parts


@pytest.mark.parametrize(
    ("when", "latitude", "spring", "days"),
    [
        (datetime(2025, 11, 4, tzinfo=UTC), 48.0, True, 147),
        (datetime(2025, 5, 6, tzinfo=UTC), -42.0, True, 150),
        (datetime(2025, 6, 1, tzinfo=UTC), 48.0, False, 150),
        (datetime(2025, 3, 20, tzinfo=UTC), 48.0, False, 150),
        (datetime(2025, 11, 4, tzinfo=UTC), 5.0, False, 150),
    ],
)
def test_spring_is_found_in_both_hemispheres_and_not_waited_for_where_it_is_near_or_none(
    when: datetime, latitude: float, spring: bool, days: int
) -> None:
    horizon = horizon_of(when, latitude, NUMBERS)
    assert horizon.spring is spring
    assert (horizon.end - when).days == pytest.approx(days, abs=4)
    assert horizon.sawn >= horizon.end


def test_the_usual_air_is_cold_in_winter_on_both_sides_and_even_on_the_equator() -> None:
    north, south, middle = (
        normals_by_latitude(datetime(2025, 1, 1, tzinfo=UTC), lat, 0.0, NUMBERS) for lat in (48.0, -48.0, 0.0)
    )
    air = [one.hours(datetime(2025, 1, 28, 0, tzinfo=UTC), 24)[0].mean() for one in (north, south, middle)]
    assert air[0] < 2.0
    assert air[1] > 14.0
    assert air[2] == pytest.approx(27.0, abs=1.0)
    high = normals_by_latitude(datetime(2025, 1, 1, tzinfo=UTC), 48.0, 1000.0, NUMBERS)
    assert (north.air_c - high.air_c).mean() == pytest.approx(6.5)
    _, dew = north.hours(datetime(2025, 7, 1, tzinfo=UTC), 48)
    assert (dew < north.hours(datetime(2025, 7, 1, tzinfo=UTC), 48)[0]).all()


def test_the_hours_are_the_forecast_where_it_goes_then_the_past_then_the_usual_air() -> None:
    ahead = weather(48, air_c=5.0, start=AT.replace(hour=0))
    past = weather(72, air_c=9.0, start=AT.replace(hour=0) - timedelta(days=3))
    usual = normals_by_latitude(AT, 48.0, 0.0, NUMBERS)
    start, (air, dew, rain) = driver(AT, AT - timedelta(days=5), AT + timedelta(days=10), past, ahead, usual)
    hour = int((AT.replace(hour=0) - start) / timedelta(hours=1))
    assert (air[0, hour : hour + 48] == 5.0).all()
    assert (air[0, hour - 72 : hour] == 9.0).all()
    assert np.isfinite(air).all()
    assert np.isfinite(dew).all()
    assert np.isnan(rain[0, hour + 60 :]).all()
    assert np.isnan(rain[0, : hour - 73]).all()


def test_a_log_without_sizes_is_a_nominal_one_and_says_so() -> None:
    bare = log("L09", replace(end(), diameter_cm=None), length_cm=None)
    stick = stick_of_log(bare)
    assert stick.length_cm == 250.0
    assert any("length" in text for text in stick.assumed)


def test_chances_by_day_follow_the_weather_and_the_yards_hours() -> None:
    view = looked(weather(24 * 12, **(GOOD | {"rain": lambda hour: np.where(hour // 24 == 5, 2.0, 0.0)})))
    days = day_chances(view, None, False, AT + timedelta(days=30), doubt(), default=0.2)
    plain = days.chances.plain()
    assert days.told >= 6
    assert plain[0] > 0.6
    wet = [n for n, day in enumerate(days.days) if (day - date(2025, 11, 6)).days == 0]
    assert plain[wet[0]] < 0.3
    assert plain[-1] == pytest.approx(0.2)
    assert len(days.days) == len(days.starts) == days.chances.days
    assert all(a <= b for a, b in zip(days.starts, days.starts[1:], strict=False))


def test_a_day_that_is_not_known_is_no_chance() -> None:
    holed = weather(24 * 12, **GOOD)
    holed.rain_mm[0, 24 * 5 : 24 * 9] = np.nan
    days = day_chances(looked(holed), None, False, AT + timedelta(days=12), doubt())
    number = (date(2025, 11, 6) - days.days[0]).days
    assert np.isnan(days.chances.holds[:, number]).all()
    assert days.chances.plain()[number] == 0.0


def test_the_ledger_can_be_made_for_an_empty_yard() -> None:
    view = looked()
    ledger = ledger_of(view.yard, register(at=AT), AT, view.coating, species_table(), outlook=view)
    assert isinstance(ledger, Ledger)
    assert ledger.worths == {}
