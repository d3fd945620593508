"""The pail: how it cools, what is in it, frost where it stands, warming, ordering."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from morning_samples import at, morning, register, wording, yard_of
from reminder_samples import coat, job, log
from reminder_samples import end as sample_end
from reminder_samples import register as yard_with
from scipy.integrate import solve_ivp

from scheduler.coating.product import coating_of, litres_for
from scheduler.planning import pail as pails
from scheduler.planning.night import night_hours
from scheduler.planning.normals import Normals, normals_by_latitude
from scheduler.planning.pail import (
    PailOutlook,
    Wax,
    frost_ahead,
    frost_weeks,
    hours_before_brush,
    hours_to_warm,
    order_of,
    pail_outlook,
    pails_out,
    temperatures,
    time_constant,
    warming,
    wax_of,
)
from scheduler.reminders.pails import pail_wanted
from scheduler.settings import (
    CoatingChoice,
    assumptions,
    coating_profiles,
    pail_numbers,
    species_table,
    worth_numbers,
)
from scheduler.views.pail import pail_json, pail_lines
from scheduler.views.reminder import wanted_text
from scheduler.yard.facts import Cut, End, Moment, Pail, Register

NUMBERS = pail_numbers()
BERLIN = ZoneInfo("Europe/Berlin")
TOLD = datetime(2025, 11, 1, 12, tzinfo=UTC)
CHOICE = CoatingChoice()
COATING = coating_of(coating_profiles()["emulsion"], CHOICE)
NORMALS = normals_by_latitude(TOLD, 48.0, 500.0, worth_numbers())


def pail(**facts: object) -> Pail:
    known: dict[str, object] = {"name": "pail", "moment": Moment(TOLD), "entry": 7}
    return Pail(**(known | facts))  # type: ignore[arg-type]


def end(name: str = "butt", **facts: object) -> End:
    return replace(sample_end(name), **facts)  # type: ignore[arg-type]


# ------------------------------------------------------------------ how it cools


def test_a_contractors_pail_cools_and_warms_in_the_hours_of_the_trade() -> None:
    # Common practice, no source: 19 L at 18 °C left at -5 °C are at 0 °C after about 9 h, at -2 °C after 13
    # to 14 h; from 2 °C to 15 °C in a room of 20 °C in 7 to 8 h.
    hours = time_constant(19.0, 19.0, NUMBERS)
    assert hours * math.log(23.0 / 5.0) == pytest.approx(9.0, abs=0.3)
    assert 13.0 < hours * math.log(20.0 / 2.0) < 14.0
    warm = hours_to_warm(2.0, 15.0, 20.0, hours)
    assert warm is not None
    assert 7.0 < warm < 8.0


@given(st.floats(0.2, 25.0), st.floats(0.1, 0.99))
def test_a_fuller_and_a_bigger_pail_is_slower(size: float, share: float) -> None:
    assert time_constant(size * share, size, NUMBERS) < time_constant(size, size, NUMBERS)
    assert time_constant(size, size, NUMBERS) < time_constant(size * 1.5, size * 1.5, NUMBERS)


@pytest.mark.parametrize("litres", [0.0, -1.0, 11.0])
def test_a_pail_cannot_hold_what_it_cannot(litres: float) -> None:
    with pytest.raises(ValueError, match="cannot hold"):
        time_constant(litres, 10.0, NUMBERS)


def test_its_path_is_that_of_a_solver_of_differential_equations() -> None:
    # Newton's law of cooling, dT/dt = (air - T) / tau, against scipy's solver with tight tolerances.
    rng = np.random.default_rng(3)
    air = rng.normal(2.0, 4.0, (3, 96))
    hours = 4.3
    ours = temperatures(air, 0.25, hours, np.array([18.0, 5.0, -1.0]))
    for row, start, path in zip(air, (18.0, 5.0, -1.0), ours, strict=True):
        now = start
        for n, outside in enumerate(row):
            step = solve_ivp(
                lambda _t, y, a=outside: (a - y) / hours, (0.0, 0.25), [now], rtol=1e-9, atol=1e-9
            )
            now = float(step.y[0, -1])
            assert path[n] == pytest.approx(now, abs=1e-6)


@given(
    st.lists(st.floats(-30.0, 30.0), min_size=1, max_size=30), st.floats(-20.0, 30.0), st.floats(0.5, 30.0)
)
def test_it_is_never_colder_or_warmer_than_all_that_it_met(
    air: list[float], start: float, hours: float
) -> None:
    path = temperatures(np.array([air]), 0.25, hours, start)
    assert path.min() >= min(*air, start) - 1e-9
    assert path.max() <= max(*air, start) + 1e-9


def test_an_unknown_hour_makes_the_rest_unknown() -> None:
    path = temperatures(np.array([[1.0, np.nan, 1.0]]), 0.25, 3.0, 5.0)
    assert np.isfinite(path[0, 0])
    assert np.isnan(path[0, 1:]).all()


def test_a_room_no_warmer_than_the_goal_never_warms_it_and_a_warm_one_needs_no_time() -> None:
    assert hours_to_warm(2.0, 15.0, 15.0, 4.0) is None
    assert hours_to_warm(16.0, 15.0, 20.0, 4.0) == 0.0


# ------------------------------------------------------------------ stock and need


def wax(found: Register, *jobs: object, **choice: object) -> Wax:
    chosen = CoatingChoice(**choice)  # type: ignore[arg-type]
    return wax_of(found, jobs, COATING, chosen, species_table(), assumptions(), NUMBERS)  # type: ignore[arg-type]


def stock(*held: Pail, logs: tuple[object, ...] = ()) -> Register:
    return replace(yard_with(*logs, at=TOLD + timedelta(days=9)), pails=held)  # type: ignore[arg-type]


def test_nothing_told_is_not_nothing_left() -> None:
    for found in (stock(), stock(pail()), stock(pail(litres=3.0), pail(name="b"))):
        seen = wax(found, job(litres=0.4))
        assert (seen.left, seen.low, seen.high) == (None, None, None)
        assert seen.need >= 0.4
        assert seen.short(0.1) == 0.0  # no alarm without a stock


@pytest.mark.parametrize(
    ("word", "least", "most"), [("full", 8, 10), ("half", 4, 6), ("quarter", 1.5, 3.5), ("scrapings", 0, 2)]
)
def test_words_by_eye_are_a_band_of_the_pails_size(word: str, least: float, most: float) -> None:
    seen = wax(stock(pail(by_eye=word)), pail_litres=10)
    assert seen.low is not None
    assert seen.left is not None
    assert seen.high is not None
    assert least <= seen.low < seen.left <= seen.high <= most
    twice = wax(stock(pail(by_eye=word)), pail_litres=20)
    assert twice.left == pytest.approx(2 * seen.left)


def test_an_empty_pail_holds_nothing_whatever_the_doubt() -> None:
    assert wax(stock(pail(by_eye="empty"))).high == 0.0


def test_coats_laid_since_it_was_told_are_taken_off_and_earlier_ones_are_not() -> None:
    laid = end(coats=(coat("2025-11-02T10:00", 9),), diameter_cm=40.0)
    before = end("top", coats=(coat("2025-10-30T10:00", 8),), diameter_cm=40.0)
    seen = wax(stock(pail(litres=3.6), logs=(log("H01", laid, before),)))
    assert seen.used == pytest.approx(litres_for(COATING, 40.0))
    assert seen.left == pytest.approx(3.6 - seen.used)


def test_litres_told_with_a_coat_go_before_those_worked_out_and_count_once_for_all_its_ends() -> None:
    told = replace(coat("2025-11-02T10:00", 9), litres=1.0)
    both = log("H01", end(coats=(told,)), end("top", coats=(told,)))
    assert wax(stock(pail(litres=3.6), logs=(both,))).left == pytest.approx(2.6)


def test_wax_on_a_face_that_was_cut_off_does_not_come_back_into_the_pail() -> None:
    laid = coat("2025-11-02T10:00", 9)
    before = wax(stock(pail(litres=3.6), logs=(log("H01", end(coats=(laid,), diameter_cm=40.0)),)))
    gone = Cut(Moment(TOLD + timedelta(days=3)), 10, size_cm=5.0, coats=(laid,))
    after = wax(stock(pail(litres=3.6), logs=(log("H01", end(cuts=(gone,), diameter_cm=40.0)),)))
    assert after.left == before.left == pytest.approx(3.6 - litres_for(COATING, 40.0))


def test_the_coats_of_a_divided_log_are_not_laid_again_by_its_pieces() -> None:
    laid = end(coats=(coat("2025-11-02T10:00", 9),), diameter_cm=40.0)
    whole, piece = log("H01", laid, state="gone"), log("H01-1", laid, parent="H01")
    assert wax(stock(pail(litres=3.6), logs=(whole, piece))).used == pytest.approx(litres_for(COATING, 40.0))


def test_a_pail_that_was_looked_into_since_keeps_what_was_seen() -> None:
    told = replace(coat("2025-11-02T10:00", 9), litres=1.0)
    early, since = pail(litres=0.4), pail(name="b", litres=2.0, moment=Moment(TOLD + timedelta(days=5)))
    seen = wax(stock(early, since, logs=(log("H01", end(coats=(told,))),)))
    assert (seen.left, seen.used) == (2.0, 1.0)


days = st.integers(0, 8)


@given(
    st.lists(st.tuples(st.floats(0.0, 20.0), days), min_size=1, max_size=4),
    st.lists(st.tuples(st.floats(0.01, 5.0), days), max_size=8),
)
def test_no_litre_is_lost_or_made(held: list[tuple[float, int]], laid: list[tuple[float, int]]) -> None:
    found = [
        pail(name=str(n), litres=litres, moment=Moment(TOLD + timedelta(days=day)))
        for n, (litres, day) in enumerate(held)
    ]
    ends = []
    for n, (litres, day) in enumerate(laid):
        when = Moment(TOLD + timedelta(days=day, hours=1))
        ends.append(
            end(str(n), coats=(replace(coat("2025-11-02T10:00", 9 + n), moment=when, litres=litres),))
        )
    seen = wax(stock(*found, logs=(log("H01", *ends),) if ends else ()))
    total = sum(litres for litres, _ in held)
    assert seen.left is not None
    assert 0.0 <= seen.left <= total + 1e-9
    assert seen.left >= total - seen.used - 1e-9
    first = min(day for _, day in held)
    assert seen.used == pytest.approx(sum(litres for litres, day in laid if day >= first))
    if all(day == first for _, day in held):
        assert seen.left == pytest.approx(max(0.0, total - seen.used))


@given(st.floats(0.0, 3.0), st.integers(0, 12))
def test_no_stock_is_ever_below_nothing(litres: float, coats: int) -> None:
    laid = tuple(end(str(n), coats=(coat("2025-11-02T10:00", 9),), diameter_cm=90.0) for n in range(coats))
    seen = wax(stock(pail(litres=litres), logs=(log("H01", *laid),) if laid else ()))
    assert seen.left is not None
    assert seen.left >= 0.0
    assert seen.left == pytest.approx(max(0.0, litres - seen.used))


def test_second_coats_to_come_and_logs_on_their_way_are_in_the_need() -> None:
    twice = wax(stock(), job(litres=0.4, species="Quercus robur", worth="prized"))
    once = wax(stock(), job(litres=0.4, species="Tilia cordata", worth="good"))
    assert once.coming == 0.0
    assert twice.coming == pytest.approx(0.4 * COATING.second_share)
    comes = log("H09", end(diameter_cm=40.0), end("top", diameter_cm=40.0), state="expected")
    assert wax(stock(logs=(comes,))).coming >= 2 * litres_for(COATING, 40.0)


# ------------------------------------------------------------------ ordering


def left(litres: float, due: float = 0.5, coming: float = 1.0) -> Wax:
    return Wax(litres, litres, litres, 0.0, due, coming)


def test_enough_is_no_order_and_short_of_the_waiting_work_is_one_at_once() -> None:
    today = date(2025, 8, 1)
    assert order_of(left(1.5 * 1.15 + 0.01), NORMALS, today, NUMBERS) is None
    order = order_of(left(0.4), NORMALS, today, NUMBERS)
    assert order is not None
    assert order.by is None or order.by == today or not order.van_may_freeze
    assert order.litres == pytest.approx(1.5 * 1.15 - 0.4)


def test_an_order_stands_its_delivery_and_two_weeks_before_the_first_frosty_week() -> None:
    order = order_of(left(0.6), NORMALS, date(2025, 8, 1), NUMBERS)
    assert order is not None
    assert order.by is not None
    assert order.frost is not None
    assert date(2025, 9, 15) < order.frost < date(2025, 12, 15)
    assert (order.frost - order.by).days == 24
    assert not order.van_may_freeze


def test_in_the_frost_the_van_is_told_of_and_where_it_never_freezes_it_is_not() -> None:
    order = order_of(left(0.6), NORMALS, date(2026, 1, 10), NUMBERS)
    assert order is not None
    assert order.van_may_freeze
    mild = Normals(np.full(365, 24.0), np.full(365, 0.8), TOLD, guess=True)
    order = order_of(left(0.6), mild, date(2026, 1, 10), NUMBERS)
    assert order is not None
    assert (order.frost, order.van_may_freeze) == (None, False)


def test_the_frosty_weeks_lie_in_the_winter_of_each_half_of_the_earth() -> None:
    south = normals_by_latitude(TOLD, -43.0, 400.0, worth_numbers())
    for normals, cold, warm in ((NORMALS, 75, 260), (south, 260, 75)):  # days after 1 November
        frosty = frost_weeks(normals, NUMBERS)
        assert frosty[cold]
        assert not frosty[warm]


# ------------------------------------------------------------------ the night and the warm room, in the demo


@lru_cache(maxsize=4)
def seen(n: int, place: str | None, litres: float = 3.6) -> PailOutlook:
    """The demo's n-th morning with a pail that stands somewhere."""
    briefing, outlook = morning("upland", n)
    when = at("upland", n)
    yard = yard_of("upland")
    facts = replace(register("upland", when), pails=(pail(litres=litres, place=place),))
    first = next((s for s in briefing.morning.spans if s.end > when), None)
    return pail_outlook(
        facts,
        (),
        outlook,
        outlook.coating,
        yard.coating,
        yard.place,
        species_table(),
        NORMALS,
        when,
        today=when.astimezone(yard.zone).date(),
        night=night_hours(outlook),
        brush=None if first is None else first.start,
        assumed=assumptions(),
        numbers=NUMBERS,
    )


def coldest_morning() -> int:
    return min(range(6), key=lambda n: morning("upland", n)[0].night.air_c)  # type: ignore[union-attr, return-value, arg-type]


def test_a_pail_in_the_lean_to_is_called_in_before_a_frosty_night_and_one_in_a_room_never() -> None:
    n = coldest_morning()
    [frost] = seen(n, "lean-to").frost
    assert frost.bring_in
    assert frost.frost_at is not None
    assert frost.air_c is not None
    assert frost.air_c < 0.0
    assert not seen(n, "shed").bring_in  # frost free, says the yard file
    assert not seen(n, "kitchen").bring_in


def test_a_full_pail_lags_and_scrapings_freeze_with_the_air() -> None:
    n = coldest_morning()
    [full], [little] = (seen(n, "lean-to", litres).frost for litres in (10.0, 0.3))
    assert full.pail_c is not None
    assert little.pail_c is not None
    assert full.air_c is not None
    assert full.air_c < little.pail_c < full.pail_c
    assert little.pail_c == pytest.approx(full.air_c, abs=2.0)


def test_an_unknown_night_calls_nobody_and_is_told_as_unknown() -> None:
    _, outlook = morning("upland", 0)
    begin, finish = (when + timedelta(days=60) for when in night_hours(outlook))
    frost = frost_ahead(
        pail(litres=2.0, place="lean-to"), 2.0, outlook, begin, finish,
        size=10.0, least_c=2.0, share=0.2, numbers=NUMBERS,
    )  # fmt: skip
    assert (frost.air_c, frost.bring_in) == (None, False)
    lines = pail_lines(replace(seen(0, None), frost=(frost,)), wording("upland", 0), NUMBERS)
    assert any("the night is not known" in line for line in lines)


def test_a_cold_pail_comes_into_the_warm_two_nights_before_the_brush_or_at_once() -> None:
    _, outlook = morning("upland", 0)
    brush = outlook.at + timedelta(hours=75)
    warm = warming(pail(place="lean-to"), 10.0, outlook, brush, size=10.0, numbers=NUMBERS)
    assert warm is not None
    assert warm.by == brush - timedelta(days=2)
    assert 0.0 < warm.hours < 12.0
    soon = warming(
        pail(place="lean-to"), 10.0, outlook, outlook.at + timedelta(hours=20), size=10.0, numbers=NUMBERS
    )
    assert soon is not None
    assert soon.by == outlook.at
    for place in ("kitchen", "shed", None):
        assert warming(pail(place=place), 10.0, outlook, brush, size=10.0, numbers=NUMBERS) is None


def test_only_pails_that_are_told_to_stand_inside_are_out_of_the_frosts_way() -> None:
    places = yard_of("upland").place
    assert pails_out((), places)
    assert pails_out((pail(),), places)
    assert pails_out((pail(place="shed"), pail(place="Lean-to")), places)
    assert not pails_out((pail(place="shed"), pail(place="kitchen")), places)


# ------------------------------------------------------------------ frost it has met


def test_nights_read_since_it_was_told_count_where_it_stands_in_the_cold() -> None:
    nights = tuple((TOLD + timedelta(days=n, hours=18), low) for n, low in ((-1, -9.0), (1, -1.5), (2, -3.0)))
    facts = replace(stock(pail(place="lean-to", coldest_c=0.5)), minima_seen=nights)
    places = yard_of("upland").place

    def met(**more: object) -> PailOutlook:
        held = tuple(replace(one, **more) for one in facts.pails)  # type: ignore[arg-type]
        return pail_outlook(
            replace(facts, pails=held), (), None, COATING, CHOICE, places, species_table(), NORMALS, facts.at,
            today=date(2025, 11, 10), night=None, brush=None, assumed=assumptions(), numbers=NUMBERS,
        )  # fmt: skip

    assert met().coldest == (("pail", -3.0, 2),)
    assert met().doubtful == ("pail",)
    assert met(place="shed").coldest == (("pail", 0.5, 0),)
    assert met(place="shed").doubtful == ()
    assert met(opened=Moment(TOLD - timedelta(days=400))).old == ("pail",)


# ------------------------------------------------------------------ what is said


def test_the_lines_say_stock_need_frost_and_what_to_do_when_it_froze() -> None:
    n = coldest_morning()
    found = replace(seen(n, "lean-to"), doubtful=("pail",), coldest=(("pail", -3.0, 2),))
    text = "\n".join(pail_lines(found, wording("upland", n), NUMBERS))
    assert "Left: 3.4 L, 0.18 L laid since it was told." in text
    assert "Pail in before dark on" in text
    assert "frost in the lean-to by" in text
    assert "A room that stays above 7 °C, not beside a heater" in text
    assert "do not stir before all is liquid" in text
    assert "sheet rules" in text
    shown = pail_json(found)
    assert shown["tonight"][0]["bring_in"] is True
    assert shown["left_l"] == pytest.approx(3.6 - shown["used_l"], abs=0.011)


def test_reminders_ring_before_dark_keep_their_key_for_a_fortnight_and_name_days() -> None:
    n = coldest_morning()
    when = at("upland", n)
    facts = replace(register("upland", when), pails=(pail(litres=3.6, place="lean-to"),))
    sunset = when.replace(hour=16)

    def wanted(day: int) -> dict[str, object]:
        rows = pail_wanted(
            seen(n, "lean-to"), facts, when + timedelta(days=day), BERLIN,
            sunset=sunset + timedelta(days=day), before_dark=timedelta(hours=3), numbers=NUMBERS,
        )  # fmt: skip
        return {row.kind: row for row in rows}

    row = wanted(0)["pail_frost"]
    assert row.due == sunset - timedelta(hours=3)  # type: ignore[attr-defined]
    text = wanted_text(row, wording("upland", n))  # type: ignore[arg-type]
    assert text.startswith("Pail in before dark on ")
    assert "tonight" not in text
    keys = {wanted(day)["pail_frost"].key for day in range(14)}  # type: ignore[attr-defined]
    assert len(keys) <= 2
    assert pails.PailOutlook is PailOutlook


def test_a_pail_whose_place_nobody_told_makes_no_reminder_of_its_own() -> None:
    n = coldest_morning()
    when = at("upland", n)
    facts = replace(register("upland", when), pails=(pail(litres=3.6),))
    rows = pail_wanted(
        seen(n, None), facts, when, BERLIN,
        sunset=None, before_dark=timedelta(hours=3), numbers=NUMBERS,
    )  # fmt: skip
    assert not [row for row in rows if row.kind == "pail_frost"]


def test_before_the_brush_the_soonest_pail_counts_and_a_warm_one_needs_no_hours() -> None:
    _, outlook = morning("upland", coldest_morning())
    big, small = pail(litres=10.0, place="lean-to"), pail(name="b", litres=0.5, place="lean-to")

    def hours(*held: Pail) -> float:
        return hours_before_brush(held, outlook, size=10.0, numbers=NUMBERS)

    assert 0.0 < hours(big, small) == hours(small) < hours(big) < 24.0
    assert hours(big, pail(litres=3.0, place="kitchen")) == 0.0
    assert hours(big, pail(litres=0.0, place="kitchen")) == hours(big)  # an empty one is none
    assert hours() == 0.0


@pytest.mark.parametrize("place", ["shde", "ditch", "barn of a neighbour"])
def test_a_place_that_nobody_knows_is_not_taken_for_a_room(place: str) -> None:
    n = coldest_morning()
    [frost] = seen(n, place).frost
    assert (frost.standing, frost.bring_in) == ("unknown", True)
    assert pails_out((pail(place=place),), yard_of("upland").place)
