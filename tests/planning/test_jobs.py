"""What is due at each end, from its facts and its state under the weather."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest
from weather_samples import emulsion
from yard_story import AT, DAY, HOUR, Story, ago

from scheduler.planning.jobs import Job, JobContext, jobs_of, wants_second
from scheduler.settings import CoatingChoice, Minutes, assumptions, species_table
from scheduler.wood.species import careful
from scheduler.wood.storage import SawBy
from scheduler.yard.condition import EndState, Fate, end_state
from scheduler.yard.facts import End, Log, Register

CHERRY, OAK, WALNUT, MAPLE = "Prunus avium", "Quercus robur", "Juglans regia", "Acer pseudoplatanus"
Fates = Mapping[str, Fate]  # by the name of the end


def context(register: Register, fates: Fates | None = None, **changes: Any) -> JobContext:
    table = species_table()

    def state(log: Log, end: End) -> EndState:
        return end_state(end, register.at, (fates or {}).get(end.name))

    usual = JobContext(
        at=register.at,
        coating=emulsion(),
        choice=CoatingChoice(),
        minutes=Minutes(),
        saw_needs_two=True,
        assumed=assumptions(),
        species=table,
        careful=careful(table),
        warm=False,
        state=state,
    )
    return replace(usual, **changes)


def jobs(story: Story, fates: Fates | None = None, **changes: Any) -> tuple[Job, ...]:
    return jobs_of(story.register, context(story.register, fates, **changes))


def coats(story: Story, fates: Fates | None = None, **changes: Any) -> list[Job]:
    return [job for job in jobs(story, fates, **changes) if job.coats]


def looks(story: Story, **changes: Any) -> list[Job]:
    return [job for job in jobs(story, **changes) if job.kind == "look"]


def log(
    tag: str = "H01", *, species: str = CHERRY, days: float = 2.0, into: Story | None = None, **told: Any
) -> Story:
    """A log with faces cut ``days`` ago, 50 cm across, 2.4 m long, in a story of its own or in another."""
    usual: dict[str, Any] = {
        "species": species,
        "species_said": species,
        "butt_cm": 50.0,
        "top_cm": 46.0,
        "length_cm": 240.0,
        "felled": ago(days=days + 1),
        "cut": ago(days=days),
    }
    return (into or Story()).add(tag, **(usual | told))


# ------------------------------------------------------------------ first coat, and a cut before it


def test_every_bare_end_in_reach_wants_its_first_coat() -> None:
    found = coats(log())
    assert [(job.kind, job.end, job.why) for job in found] == [
        ("first_coat", "butt", "bare"),
        ("first_coat", "top", "bare"),
    ]
    assert found[0].litres > found[1].litres > 0.0
    nominal = coats(log(butt_cm=45.0, top_cm=45.0))
    assert {job.minutes for job in nominal} == {assumptions()["minutes_end"]}
    assert {job.people for job in found} == {1}


def test_the_first_coat_is_due_an_hour_after_the_cut_whatever_the_warmth() -> None:
    # A due time that moved with the weather would ring the calendar at every change.
    story = log(days=0.0)
    cut = story.end("H01").cut.time
    assert coats(story)[0].due == coats(story, warm=True)[0].due == cut + assumptions()["coat_goal"] * HOUR


def test_the_job_of_an_end_is_caused_by_the_entry_that_made_its_face() -> None:
    story = log().note("H01", "cut", ends=("top",))
    causes = {job.end: job.cause for job in coats(story)}
    assert causes == {"butt": 1, "top": 2}


@pytest.mark.parametrize("checks", ["hairline", "open", "right through"])
def test_a_cracked_end_is_cut_back_before_the_coat(checks: str) -> None:
    found = coats(log(checks=checks, butt_cm=45.0, top_cm=45.0))
    assert {job.kind for job in found} == {"cut_and_coat"}
    assert {job.why for job in found} == {"cracked: cut back to clean wood"}
    extra = assumptions()["minutes_end"] + assumptions()["minutes_fresh_cut"]
    assert {job.minutes for job in found} == {extra}


def test_cracks_seen_later_turn_the_coat_into_a_cut_and_a_coat() -> None:
    story = log().note("H01", "look", "checks", "open", ends=("butt",))
    assert {job.end: job.kind for job in coats(story)} == {"butt": "cut_and_coat", "top": "first_coat"}


def test_a_dry_face_is_cut_back_to_wet_wood() -> None:
    found = coats(log(face="dry"))
    assert {(job.kind, job.why) for job in found} == {("cut_and_coat", "dry face: cut back to wet wood")}


def test_a_fresh_cut_ends_the_need_for_one() -> None:
    story = log(checks="open").note("H01", "cut", "clean", ends=("butt", "top"))
    assert {job.kind for job in coats(story)} == {"first_coat"}


def test_the_saw_needs_two_people_unless_the_yard_says_otherwise() -> None:
    story = log(checks="open")
    assert {job.people for job in coats(story)} == {2}
    assert {job.people for job in coats(story, saw_needs_two=False)} == {1}


def test_an_end_that_has_long_been_bare_is_looked_at_before_it_is_coated() -> None:
    hint = "look first: cracked means cut back, then coat"
    assert {job.hint for job in coats(log(days=20.0))} == {hint}
    assert {job.hint for job in coats(log(days=6.0))} == {""}
    assert {job.hint for job in coats(log(days=6.0), warm=True)} == {hint}
    seen = log(days=20.0).note("H01", "look", "checks", "none")
    assert {job.hint for job in coats(seen)} == {""}


def test_a_piece_shorter_than_it_is_thick_is_halved_first() -> None:
    story = log(length_cm=45.0)
    assert all("halve it through the pith" in job.hint for job in coats(story))
    story.note("H01", "halve")
    found = coats(story)
    assert found
    assert not any("halve" in job.hint for job in found)


# ------------------------------------------------------------------ what wants no coat


@pytest.mark.parametrize(
    "told",
    [
        {"worth": "firewood"},
        {"skip": True},
        {"left_long": True},
        {"saw_first": True},
    ],
)
def test_wood_that_is_not_to_be_coated_has_no_job_for_the_brush(told: dict[str, Any]) -> None:
    assert coats(log(**told)) == []


def test_a_log_left_till_a_day_has_its_job_again_from_that_day_on() -> None:
    story = log().note("H01", "leave", till=AT + 3 * DAY)
    assert coats(story) == []
    later = replace(story.register, at=AT + 4 * DAY)
    assert [job.kind for job in jobs_of(later, context(later)) if job.coats] == ["first_coat", "first_coat"]


def test_the_keepers_word_is_above_the_tools() -> None:
    assert coats(log().note("H01", "skip")) == []
    assert coats(log(species="Betula pendula", worth="plain"))
    assert coats(log(species="Betula pendula", worth="firewood")) == []


@pytest.mark.parametrize(
    "told",
    [
        {"state": "expected", "felled": ago(days=-2), "cut": None},
        {"state": "standing", "felled": None, "cut": None},
        {"state": "long", "cut": None},
    ],
)
def test_a_log_without_open_ends_has_nothing_due(told: dict[str, Any]) -> None:
    assert jobs(log(**told)) == ()


def test_a_log_that_is_gone_has_nothing_due() -> None:
    assert jobs(log().note("H01", "gone", "sold")) == ()


def test_an_end_out_of_reach_has_no_job_at_all() -> None:
    story = log(reach=frozenset({"butt"}))
    assert {job.end for job in jobs(story)} == {"butt"}


def test_a_pale_wood_is_sawn_and_the_saw_is_told_at_the_log() -> None:
    [saw] = [job for job in jobs(log(saw_first=True)) if job.kind == "saw"]
    assert (saw.tag, saw.end, saw.people) == ("H01", None, 2)
    assert not saw.coats


# ------------------------------------------------------------------ minutes, litres, order


def test_a_pack_is_one_entry_and_its_pieces_are_counted_in_minutes_and_litres() -> None:
    [one, _], [nine, _] = coats(log()), coats(log(count=9))
    assert nine.minutes == 9 * one.minutes
    assert nine.litres == pytest.approx(9 * one.litres)


def test_the_yards_own_minutes_are_taken() -> None:
    found = coats(log(checks="open", butt_cm=45.0, top_cm=45.0), minutes=Minutes(end=2.0, fresh_cut=15.0))
    assert {job.minutes for job in found} == {17.0}


def test_a_wider_end_takes_longer_and_a_roller_less_than_the_brush() -> None:
    def minutes(across: float, **more: Any) -> float:
        return coats(log(butt_cm=across, top_cm=across), **more)[0].minutes

    wide, usual, small = minutes(90.0), minutes(45.0), minutes(20.0)
    assert wide == pytest.approx(2.5 * usual), "half of it stays, half grows fourfold"
    assert usual / 2 < small < usual
    assert minutes(45.0, choice=CoatingChoice(method="roller")) == pytest.approx(0.8 * usual)
    assert minutes(45.0, choice=CoatingChoice(method="spray")) < minutes(
        45.0, choice=CoatingChoice(method="roller")
    )


def test_the_litres_are_those_of_the_trade_with_its_lap_and_waste() -> None:
    # Common practice, no source: a 12 in end with 1 in of lap is 13 in across; 100 ft2/gal; 12 percent waste.
    job = coats(log(butt_cm=30.48, top_cm=30.48))[0]
    feet2 = 3.14159265 / 4.0 * (13.0 / 12.0) ** 2
    assert job.litres == pytest.approx(feet2 / 100.0 * 3.785411784 * 1.12, rel=0.01)


def test_what_the_wood_is_worth_comes_first_then_size_then_freshness() -> None:
    story = log("C", species=WALNUT, butt_cm=30.0, top_cm=30.0)
    log("B", species=WALNUT, worth="plain", into=story)
    log("A", species=WALNUT, into=story)
    order = list(dict.fromkeys(job.tag for job in coats(story)))
    assert order.index("A") < order.index("B")
    assert order.index("A") < order.index("C")


def test_of_two_alike_the_fresher_end_comes_first_for_it_loses_most_a_day() -> None:
    story = log("NEW", days=1.0, into=log("OLD", days=16.0))
    assert coats(story)[0].tag == "NEW"


# ------------------------------------------------------------------ the second coat


def fate(hours: float | None, dry: float = 40.0) -> Fate:
    """A coat that takes rain so many hours after it was laid, ten hours before ``AT``."""
    laid = AT - 10 * HOUR
    return Fate(0.9, laid + 3 * HOUR, None if hours is None else laid + hours * HOUR, None, laid + dry * HOUR)


def coated(species: str = WALNUT, **told: Any) -> Story:
    return log(species=species, **told).note("H01", "coat", when=ago(hours=10))


def second(story: Story, fates: Fates | None = None, **changes: Any) -> list[Job]:
    return [job for job in coats(story, fates, **changes) if job.kind == "second_coat"]


def test_the_second_coat_is_due_when_the_first_is_predicted_to_take_rain() -> None:
    laid = AT - 10 * HOUR
    [butt, _] = second(coated(), {"butt": fate(8.0), "top": fate(8.0)})
    assert butt.due == laid + 8 * HOUR
    assert not butt.optional
    assert butt.hint == "look first: milky means not yet"


def test_the_second_coat_is_never_due_before_the_product_can_be_coated_again() -> None:
    laid = AT - 10 * HOUR
    [butt, _] = second(coated(), {"butt": fate(1.0), "top": fate(1.0)})
    assert butt.due == laid + 2 * HOUR
    slow = second(coated(), {"butt": fate(1.0)}, coating=emulsion(recoat_h=6.0))
    assert slow[0].due == laid + 6 * HOUR


def test_the_second_coat_is_due_at_once_when_the_first_was_seen_clear() -> None:
    story = coated().note("H01", "look", "clear", when=ago(hours=1))
    [butt, _] = second(story)
    assert butt.due == AT - 8 * HOUR
    assert butt.optional
    assert butt.hint == "no pinholes to be seen? Then it can stay as it is"


def test_where_nothing_is_known_of_the_first_coat_the_second_waits_a_day() -> None:
    [butt, _] = second(coated())
    assert butt.due == AT - 10 * HOUR + DAY


def test_a_first_coat_that_does_not_take_rain_within_the_forecast_makes_the_second_wait() -> None:
    [butt, _] = second(coated(), {"butt": fate(None), "top": fate(None)})
    assert butt.due == AT - 10 * HOUR + DAY


def test_the_second_coat_takes_its_share_of_the_litres_and_is_worth_the_chance_of_skips() -> None:
    first, again = coats(log(species=WALNUT))[0], second(coated())[0]
    assert again.litres == pytest.approx(0.65 * first.litres)
    assert again.rank == pytest.approx(0.25 * first.rank)
    assert again.cause == 2


@pytest.mark.parametrize(
    ("species", "worth", "habit", "wanted"),
    [
        (WALNUT, "prized", "by wood", True),  # prized
        (OAK, "plain", "by wood", True),  # open-pored
        (MAPLE, "plain", "by wood", False),
        (MAPLE, "plain", 2, True),
        (WALNUT, "prized", 1, False),
    ],
)
def test_a_second_coat_is_a_habit_of_the_yard_or_goes_by_the_wood(
    species: str, worth: str, habit: Any, wanted: bool
) -> None:
    choice = CoatingChoice(coats=habit)
    assert wants_second(species_table()[species], worth, choice) is wanted
    assert bool(second(coated(species, worth=worth), choice=choice)) is wanted


def test_two_coats_want_no_third() -> None:
    story = coated().note("H01", "coat", second=True)
    assert coats(story) == []


def test_a_spoiled_first_coat_is_brushed_off_and_laid_again() -> None:
    story = coated().note("H01", "look", "spoiled")
    found = coats(story)
    assert {(job.kind, job.why, job.cause) for job in found} == {
        ("first_coat", "the coat is spoiled: brush it off", 2)
    }


def test_a_spoiled_second_coat_goes_back_to_the_first_and_not_to_a_bare_end() -> None:
    story = coated().note("H01", "coat", second=True, when=ago(hours=4)).note("H01", "look", "spoiled")
    found = coats(story)
    assert {(job.kind, job.why, job.cause) for job in found} == {
        ("second_coat", "the coat is spoiled: brush it off", 3)
    }
    assert found[0].rank == pytest.approx(0.25 * coats(log(species=WALNUT))[0].rank)
    assert found[0].litres == pytest.approx(0.65 * coats(log(species=WALNUT))[0].litres)
    assert found[0].due == AT - 4 * HOUR + 2 * HOUR
    by_weather = coated().note("H01", "coat", second=True, when=ago(hours=4))
    frozen = Fate(0.1, danger="frost_on_face", danger_at=AT - HOUR)
    assert {job.kind for job in coats(by_weather, {"butt": frozen, "top": frozen})} == {"second_coat"}


# ------------------------------------------------------------------ touch-up


def test_skips_want_a_touch_up_and_no_second_coat() -> None:
    story = coated().note("H01", "look", "skips", when=ago(hours=1))
    assert {(job.kind, job.why) for job in coats(story)} == {("touch_up", "skips seen")}


def test_a_coat_told_in_part_wants_its_touch_up_once_it_is_dry() -> None:
    story = log(species=MAPLE).note("H01", "coat", part=True, when=ago(hours=10))
    assert coats(story, {"butt": fate(8.0), "top": fate(8.0)}) == []
    dry = {"butt": fate(5.0, dry=9.0), "top": fate(5.0, dry=9.0)}
    assert {job.kind for job in coats(story, dry)} == {"touch_up"}


def test_after_the_touch_up_of_a_plain_wood_nothing_is_due() -> None:
    story = log(species=MAPLE).note("H01", "coat", part=True, when=ago(days=2)).note("H01", "coat")
    assert coats(story) == []


# ------------------------------------------------------------------ looks


def test_the_first_look_is_due_the_next_day() -> None:
    [butt, _] = looks(coated(MAPLE))
    assert (butt.due, butt.ordinal, butt.why) == (AT - 10 * HOUR + DAY, 0, "clear or milky?")


def test_then_after_a_week_and_then_by_the_warmth() -> None:
    laid = AT - 60 * DAY

    def next_look(*seen_days: float, warm: bool = False) -> Job:
        story = log(species=MAPLE, days=61.0).note("H01", "coat", when=ago(days=60))
        for day in seen_days:
            story.note("H01", "look", "clear", when=ago(days=60 - day))
        return looks(story, next_look=lambda last: last + (14 if warm else 30) * DAY)[0]

    assert (next_look(1.0).due, next_look(1.0).ordinal) == (laid + 7 * DAY, 1)
    assert (next_look(1.0, 7.0).due, next_look(1.0, 7.0).ordinal) == (laid + 37 * DAY, 2)
    assert next_look(1.0, 7.0, warm=True).due == laid + 21 * DAY
    assert next_look(1.0, 7.0).why == "skips, new cracks, stain?"


def test_in_frost_no_look_is_wanted_and_a_date_of_the_saw_stands_beside_the_coats() -> None:
    story = log(species=MAPLE, days=61.0).note("H01", "coat", when=ago(days=60))
    for day in (1.0, 7.0):
        story.note("H01", "look", "clear", when=ago(days=60 - day))
    assert looks(story, next_look=lambda _last: None) == []
    keeps = SawBy(
        "pale",
        "keeps",
        None,
        None,
        AT + 90 * DAY,
        AT + 76 * DAY,
        None,
        None,
        0.0,
        0.0,
        0,
        0,
        True,
        ("stains",),
    )
    found = [job for job in jobs(story, saw_by={"H01": keeps}) if job.kind == "saw_by"]
    assert [(job.due, job.by, job.why) for job in found] == [(AT + 76 * DAY, AT + 90 * DAY, "stains")]
    assert not [job for job in jobs(log(saw_first=True), saw_by={"H01": keeps}) if job.kind == "saw_by"]


def test_a_look_a_little_before_its_time_counts() -> None:
    laid = ago(days=3)
    story = log(species=MAPLE, days=4.0).note("H01", "coat", when=laid)
    assert looks(story)[0].ordinal == 0
    early = story.note("H01", "look", "milky", when=ago(days=2, hours=-1 + 6))
    assert looks(early)[0].ordinal == 1


def test_a_look_the_same_evening_is_not_the_look_of_the_next_morning() -> None:
    story = log(species=MAPLE, days=4.0).note("H01", "coat", when=ago(days=3))
    story.note("H01", "look", "milky", when=ago(days=3, hours=-5))
    assert looks(story)[0].due == AT - 2 * DAY


def test_one_late_look_satisfies_all_that_were_due_before_it() -> None:
    story = log(species=MAPLE, days=21.0).note("H01", "coat", when=ago(days=20))
    story.note("H01", "look", "clear", when=ago(days=1))
    assert looks(story)[0].due > AT


def test_a_new_coat_begins_the_looks_again() -> None:
    story = log(species=WALNUT, days=21.0).note("H01", "coat", when=ago(days=20))
    story.note("H01", "look", "clear", when=ago(days=12)).note("H01", "coat", second=True, when=ago(hours=2))
    look = looks(story)[0]
    assert (look.ordinal, look.cause, look.due) == (0, 4, AT - 2 * HOUR + DAY)


def test_a_log_that_is_not_to_be_nagged_about_has_no_look() -> None:
    assert looks(coated(MAPLE).note("H01", "skip")) == []


def test_a_bare_end_has_no_look_of_its_own() -> None:
    assert looks(log()) == []


def test_the_same_facts_give_the_same_jobs() -> None:
    story = coated().add("H02", species=OAK, species_said="oak", cut=ago(days=1))
    assert jobs(story) == jobs(story)
    assert len({(job.kind, job.tag, job.end) for job in jobs(story)}) == len(jobs(story))


def test_the_two_ends_of_a_log_keep_together_in_the_order() -> None:
    story = log("H01")
    story = log("H02", into=story)  # alike: all butts are bigger than all tops
    assert [(job.tag, job.end) for job in coats(story)] == [
        ("H01", "butt"),
        ("H01", "top"),
        ("H02", "butt"),
        ("H02", "top"),
    ]
