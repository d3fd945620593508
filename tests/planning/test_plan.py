"""The plan: what has to hold in every plan, and small yards whose best plan is known by hand."""

from __future__ import annotations

import sys
import tomllib
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_samples import MONDAY, ROOT, Yard, coat, day_slots, faults_of, numbers, other, random_yard, rules

from scheduler.planning.plan import After, LeftOut, Plan, PlanError, Slot, Task, TaskId
from scheduler.planning.plan_exact import NoSolverError, exact_plan
from scheduler.planning.plan_price import balance
from scheduler.planning.plan_problem import prepare, runs
from scheduler.planning.planner import hands_price, make_plan

HOUR = timedelta(hours=1)


def planned(tasks: list[Task], slots: list[Slot], **changes: object) -> Plan:
    """A plan that was checked."""
    yard = Yard(tasks, slots, rules(**changes))
    plan = make_plan(tasks, slots, yard.rules)
    assert faults_of(plan, yard) == []
    assert plan.value <= plan.bound + 1e-9
    return plan


def times(plan: Plan) -> dict[TaskId, str]:
    return {row.task: f"{row.start:%d %H:%M}" for row in plan.assignments}


def why(plan: Plan, tag: str) -> LeftOut:
    return next(row for row in plan.left_out if row.task[0] == tag)


# -------------------------------------------------------------------- every plan


@pytest.mark.parametrize("seed", range(200, 230))
def test_every_plan_of_a_made_yard_keeps_all_the_rules(seed: int) -> None:
    yard = random_yard(seed)
    plan = make_plan(yard.tasks, yard.slots, yard.rules)
    assert faults_of(plan, yard) == []
    assert plan.value <= plan.bound + 1e-9


def test_the_same_yard_gives_the_same_plan() -> None:
    yard = random_yard(4)
    one, two = (make_plan(yard.tasks, yard.slots, yard.rules) for _ in range(2))
    assert one.assignments == two.assignments
    assert one.hands_price == two.hands_price


@pytest.mark.parametrize("seed", range(3))
def test_minutes_of_any_length_and_odd_hours_keep_the_rules(seed: int) -> None:
    yard = random_yard(seed)
    odd = [replace(t, minutes=t.minutes * 0.77, walk=None) for t in yard.tasks]
    slots = [replace(s, start=s.start + timedelta(minutes=7)) for s in yard.slots]
    shifted = Yard(odd, slots, replace(yard.rules, set_up=7.5, clean_up=0.0))
    plan = make_plan(shifted.tasks, shifted.slots, shifted.rules)
    # A walk takes full minutes, its ends the minutes they need.
    assert faults_of(plan, shifted) == []


@given(st.integers(0, 2**90), st.integers(1, 40))
def test_the_bits_from_which_a_stretch_is_free_are_those_found_one_by_one(free: int, minutes: int) -> None:
    found = sum(1 << m for m in range(92) if all(free >> k & 1 for k in range(m, m + minutes)))
    assert runs(free, minutes) == found


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 199), st.floats(0, 100))
def test_prices_prove_a_bound_whatever_is_known_before(seed: int, known: float) -> None:
    yard = random_yard(seed, logs=3, days=2)
    plan = make_plan(yard.tasks, yard.slots, yard.rules)
    prices = balance(prepare(yard.tasks, yard.slots, yard.rules), known)
    assert prices.bound >= plan.value - 1e-9


def test_the_bound_counts_the_hands_that_are_there() -> None:
    """An hour holds twelve looks of five minutes: no prices may prove less than they keep."""
    slots = day_slots(0, "09:00", "10:00", chance=None)
    tasks = [other(f"H{n:02d}", slots, "look", 1.0 + n / 10) for n in range(30)]
    best = sum(1.0 + n / 10 for n in range(18, 30))
    prices = balance(prepare(tasks, slots, rules()), 0.0)
    assert best - 1e-9 <= prices.bound <= 1.02 * best
    assert planned(tasks, slots).value == pytest.approx(best)


# -------------------------------------------------------------------- small yards


def test_the_coat_goes_into_the_slot_with_the_best_chance() -> None:
    slots = day_slots(0, chance={"yard": ("09:30", "13:00", 0.6)})
    slots = [replace(s, chance={"yard": 0.9}) if s.start.hour == 11 else s for s in slots]
    plan = planned([coat("H1", slots)], slots)
    assert times(plan) == {("H1", "butt", "first_coat"): "03 11:00"}
    assert plan.assignments[0].chance == 0.9
    assert plan.optimal_within < 1e-6


def test_both_ends_of_a_log_are_one_walk() -> None:
    slots = day_slots(0)
    tasks = [coat("H1", slots, end=end, worth=w) for end, w in (("butt", 10.0), ("top", 3.0))]
    plan = planned(tasks, slots)
    assert times(plan) == {
        ("H1", "butt", "first_coat"): "03 09:10",
        ("H1", "top", "first_coat"): "03 09:15",
    }


def test_an_end_that_is_not_worth_its_wax_does_not_hold_back_the_other() -> None:
    slots = day_slots(0)
    plan = planned([coat("H1", slots), coat("H1", slots, 0.5, "top")], slots)
    assert list(times(plan)) == [("H1", "butt", "first_coat")]
    assert why(plan, "H1").why == "not_worth_it"
    assert why(plan, "H1").numbers["keeps"] == pytest.approx(0.5 * 0.8 - 1.0)


def test_set_up_stands_before_the_first_coat_and_clean_up_after_the_last() -> None:
    slots = day_slots(0, chance={"yard": ("11:00", "12:00", 0.8)})
    plan = planned([coat("H1", slots)], slots)
    (frame,) = plan.sessions
    assert f"{frame.set_up:%H:%M}" == "10:50"
    assert f"{frame.clean_up:%H:%M}" == "11:05"


def test_no_more_than_the_share_of_a_span_is_filled() -> None:
    """An hour holds eight ends of 5 minutes at 70 %, not twelve."""
    slots = day_slots(0, chance={"yard": ("11:00", "12:00", 0.8)})
    plan = planned([coat(f"H{n}", slots, 10.0 + n) for n in range(12)], slots)
    assert len(plan.assignments) == 8
    assert {row.task[0] for row in plan.left_out} == {"H0", "H1", "H2", "H3"}
    assert why(plan, "H0").why == "span_full"


def test_two_spans_of_a_day_share_one_set_up_and_two_sessions_need_two() -> None:
    spans = {"yard": ("10:00", "10:15", 0.8), "roof": ("15:00", "15:15", 0.8)}
    one = day_slots(0, chance=spans)
    broken = [s for s in one if not 12 <= s.start.hour < 13]
    for slots, frames in ((one, 1), (broken, 2)):
        tasks = [coat("H1", slots), coat("H2", slots, place="roof")]
        assert len(planned(tasks, slots).sessions) == frames


def test_a_session_that_does_not_pay_its_set_up_is_not_begun() -> None:
    slots = day_slots(0)
    tasks = [coat("H1", slots, 3.0)]  # keeps 1.4
    assert planned(tasks, slots, minute_cost=0.06).assignments
    plan = planned(tasks, slots, minute_cost=0.08)
    assert not plan.assignments
    assert why(plan, "H1").why == "not_worth_it"
    together = [coat(f"H{n}", slots, 3.0) for n in range(2)]
    assert len(planned(together, slots, minute_cost=0.08).assignments) == 2


def test_the_second_coat_waits_for_the_first_and_needs_a_span_of_its_own() -> None:
    slots = day_slots(0) + day_slots(1)
    first = coat("H1", slots)
    second = coat("H1", slots, 4.0, kind="second_coat", after=(After(first.id, 24.0),))
    plan = planned([second, first], slots)
    assert times(plan) == {first.id: "03 09:10", second.id: "04 09:15"}


def test_the_wait_is_that_of_the_slot_in_which_the_first_was_begun() -> None:
    """The first coat goes on early, at less, because begun late it takes too long to dry for the second."""
    slots = day_slots(0, chance={"yard": ("09:00", "12:00", 0.75)}) + day_slots(1, "09:00", "11:00")
    slots = [
        replace(s, chance={"yard": 0.8}) if s.start.hour == 11 and s.start.day == 3 else s for s in slots
    ]
    hours = [20.0 if s.start.hour < 11 else 30.0 for s in slots]
    first = coat("H1", slots)
    second = coat("H1", slots, 4.0, kind="second_coat", after=(After(first.id, hours),))
    assert times(planned([first], slots))[first.id] == "03 11:00"
    together = times(planned([first, second], slots))
    assert together[first.id] < "03 11:00"
    assert second.id in together


def test_a_second_coat_whose_first_never_dries_is_left_out() -> None:
    slots = day_slots(0)
    first = coat("H1", slots)
    second = coat("H1", slots, 4.0, kind="second_coat", after=(After(first.id, float("inf")),))
    plan = planned([first, second], slots)
    assert why(plan, "H1") == LeftOut(second.id, "too_soon", {"hours": float("inf")}, first.id)


def test_wax_goes_to_what_keeps_most_and_is_never_overdrawn() -> None:
    slots = day_slots(0)
    tasks = [coat(f"H{n}", slots, 10.0 + n, litres=0.3) for n in range(4)]
    plan = planned(tasks, slots, litres=0.7)
    assert {row.task[0] for row in plan.assignments} == {"H2", "H3"}
    assert why(plan, "H0").why == "no_wax"
    assert why(plan, "H0").numbers["left"] == pytest.approx(0.1)
    assert plan.litre_price > 0
    assert planned(tasks, slots).litres == pytest.approx(1.2)


def test_the_saw_waits_for_the_day_with_two_people() -> None:
    slots = day_slots(0) + day_slots(1, people=2)
    plan = planned([coat("H1", slots, kind="cut_and_coat", minutes=12.0, people=2)], slots)
    (row,) = plan.assignments
    assert row.start.day == 4
    assert row.who == (0, 1)


def test_a_saw_job_that_never_has_two_people_says_so() -> None:
    slots = day_slots(0)
    plan = planned([coat("H1", slots, kind="cut_and_coat", people=2)], slots)
    assert why(plan, "H1") == LeftOut(
        ("H1", "butt", "cut_and_coat"), "second_person", {"people": 2, "most": 1}
    )


def test_the_saw_stands_first_where_that_costs_nothing() -> None:
    slots = day_slots(0, people=2)
    tasks = [coat(f"H{n}", slots, 20.0) for n in range(3)]
    tasks.append(other("H9", slots, "saw", 2.0, minutes=30.0, people=2))
    plan = planned(tasks, slots)
    assert plan.assignments[0].task[2] == "saw"


def test_nothing_is_planned_across_a_change_in_the_number_of_people() -> None:
    slots = day_slots(0, "09:00", "10:00", people=2) + day_slots(0, "10:00", "11:00")
    plan = planned([other(f"H{n}", slots, "look", 1.0, minutes=50.0) for n in range(4)], slots)
    assert sorted(f"{row.start:%H:%M}" for row in plan.assignments) == ["09:00", "09:00", "10:00"]


def test_an_outdoor_job_ends_before_the_light_does() -> None:
    slots = day_slots(0, "15:00", "17:00", dark_after="16:00")
    outdoors = other("H1", slots, "bring_in", 2.0, minutes=30.0)
    late = other(
        "H2", slots, "bring_in", 2.0, minutes=30.0, earliest=slots[4].start - 15 * timedelta(minutes=1)
    )
    inside = other("H3", slots, "look", 2.0, minutes=30.0, outdoor=False, earliest=slots[4].start)
    plan = planned([outdoors, late, inside], slots)
    assert times(plan) == {outdoors.id: "03 15:00", inside.id: "03 16:00"}
    assert why(plan, "H2").why == "too_late"


@pytest.mark.parametrize(
    ("key", "more", "slots"),
    [
        ("no_span", {}, day_slots(0, chance=0.2)),
        ("no_span", {}, day_slots(0, chance=None)),
        ("no_hours", {"earliest": MONDAY + 20 * HOUR}, day_slots(0)),
        ("no_hours", {}, []),
        ("span_too_short", {"minutes": 14.0}, day_slots(0, chance={"yard": ("11:00", "11:15", 0.8)})),
    ],
)
def test_what_cannot_be_done_says_the_first_thing_in_the_way(
    key: str, more: dict[str, object], slots: list[Slot]
) -> None:
    task = coat("H1", slots, 100.0, **more)
    assert why(planned([task], slots), "H1").why == key


def test_a_task_says_that_it_waits_for_one_that_is_left_out() -> None:
    slots = day_slots(0)
    first = coat("H1", slots, kind="cut_and_coat", people=2)
    second = coat("H1", slots, kind="second_coat", after=(After(first.id, 1.0),))
    row = planned([first, second], slots).left_out[1]
    assert (row.why, row.of) == ("waits_for", first.id)


def test_the_pail_is_warmed_a_night_before_the_first_brush_work() -> None:
    slots = [s for day in range(5) for s in day_slots(day, "09:00", "11:00")]
    pail = other("pail", slots, "warm_pail", 0.0, outdoor=False)
    plan = planned([pail, coat("H1", slots)], slots)
    assert times(plan) == {pail.id: "03 10:55", ("H1", "butt", "first_coat"): "04 09:10"}
    late = coat("H1", slots, earliest=MONDAY + timedelta(days=4))
    assert times(planned([pail, late], slots))[pail.id] == "06 10:55"


def test_a_pail_that_cannot_be_warm_in_time_stops_the_brush_and_nothing_else() -> None:
    slots = day_slots(0)
    pail = other("pail", slots, "warm_pail", 0.0, outdoor=False)
    look = other("H1", slots, "look", 1.0)
    plan = planned([pail, coat("H1", slots), look], slots)
    assert list(times(plan)) == [look.id]
    assert why(plan, "pail").why == "no_brush_work"
    assert why(planned([pail, look], slots), "pail").why == "no_brush_work"


# -------------------------------------------------------------------- promises


def test_a_promised_job_stays_unless_moving_gains_more_than_the_set_amount() -> None:
    promise = MONDAY + timedelta(days=1, hours=10)
    for better, day in ((0.85, 4), (1.0, 3)):
        slots = day_slots(0, chance=better) + day_slots(1, chance=0.8)
        task = coat("H1", slots)
        plan = make_plan([task], slots, rules(), {task.id: promise})
        assert plan.assignments[0].start.day == day
        assert plan.assignments[0].moved == (day == 3)
        assert make_plan([task], slots, rules()).assignments[0].start.day == 3
        assert plan.optimal_within < 1e-6


def test_a_promised_time_that_is_gone_is_no_hindrance() -> None:
    slots = day_slots(1)
    task = coat("H1", slots)
    plan = make_plan([task], slots, rules(), {task.id: MONDAY + 9 * HOUR})
    assert plan.assignments[0].moved


# -------------------------------------------------------------------- prices


def test_hands_cost_nothing_while_there_are_enough() -> None:
    slots = day_slots(0) + day_slots(1)
    assert set(hands_price([coat("H1", slots)], slots, rules()).by_day.values()) == {0.0}


def test_a_scarce_day_costs_the_difference_to_the_next_best() -> None:
    """Twelve ends, eight fit today, the rest tomorrow: a minute today is worth what tomorrow loses by it."""
    span = {"yard": ("11:00", "12:00", 0.8)}
    slots = day_slots(0, chance=span) + day_slots(1, chance={"yard": ("11:00", "16:00", 0.6)})
    tasks = [coat(f"H{n:02d}", slots, 10.0) for n in range(12)]
    price = hands_price(tasks, slots, rules()).by_day
    today, tomorrow = (price[s.day] for s in (slots[0], slots[-1]))
    lost = 10.0 * 0.8 - 10.0 * 0.98 * 0.6
    assert today == pytest.approx(lost / 5.0, rel=0.02)
    assert tomorrow == pytest.approx(0.0, abs=1e-3)
    plan = planned(tasks, slots)
    assert sum(row.start.day == 3 for row in plan.assignments) == 8
    assert plan.hands_price == price


# -------------------------------------------------------------------- what-if: other slots, other tasks


def test_more_people_more_wax_or_more_days_never_keep_less() -> None:
    slots = day_slots(0, "09:00", "10:00")
    tasks = [coat(f"H{n}", slots, 5.0 + n) for n in range(10)]
    base = planned(tasks, slots, litres=0.5).value
    assert planned(tasks, [replace(s, people=2) for s in slots], litres=0.5).value >= base
    assert planned(tasks, slots, litres=0.8).value > base


# -------------------------------------------------------------------- input that cannot be


def test_nothing_to_do_is_an_empty_plan() -> None:
    for slots in ([], day_slots(0)):
        plan = make_plan([], slots, rules())
        assert (plan.assignments, plan.left_out, plan.value, plan.optimal_within) == ((), (), 0.0, 0.0)


def test_contradictions_are_refused_in_words() -> None:
    slots = day_slots(0)
    task = coat("H1", slots)
    with pytest.raises(PlanError, match="H1 butt first_coat is there twice"):
        make_plan([task, task], slots, rules())
    with pytest.raises(PlanError, match="has 30 gains for 29 slots"):
        make_plan([task], slots[1:], rules())
    with pytest.raises(PlanError, match="before the one before it has ended"):
        make_plan([task], slots[::-1], rules())
    with pytest.raises(PlanError, match="waits for H9 butt first_coat, which is not among"):
        make_plan([replace(task, after=(After(("H9", "butt", "first_coat")),))], slots, rules())
    with pytest.raises(PlanError, match="waits for itself"):
        make_plan([replace(task, after=(After(task.id),))], slots, rules())
    with pytest.raises(PlanError, match="full minutes"):
        make_plan([], [slots[0], replace(slots[1], start=slots[1].start + timedelta(seconds=5))], rules())
    pails = [replace(task, id=(f"p{n}", None, "warm_pail")) for n in range(2)]
    with pytest.raises(PlanError, match="more than one"):
        make_plan(pails, slots, rules())


def test_without_the_solver_the_exact_plan_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "highspy", None)
    slots = day_slots(0)
    with pytest.raises(NoSolverError, match="pip install highspy"):
        exact_plan([coat("H1", slots)], slots, rules())


def test_every_number_of_the_config_has_a_source_and_is_read() -> None:
    table = tomllib.loads((ROOT / "config" / "plan.toml").read_text(encoding="utf-8"))
    source = "\n".join(p.read_text(encoding="utf-8") for p in (ROOT / "scheduler").rglob("*.py"))
    for name, entry in table.items():
        assert entry["source"]
        assert entry["unit"]
        assert entry["low"] <= entry["value"] <= entry["high"]
        assert f'"{name}"' in source
    assert set(numbers()) == set(table)
