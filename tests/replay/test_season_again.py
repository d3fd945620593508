"""A season replayed: nobody sees ahead, seeds reproduce, the truth is a yard unknown to the program."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from command_line import run as command
from replay_samples import YARD, hours_text, record, yard_of

import scheduler.replay.truth as truth_module
from scheduler.coating.film import FilmClocks
from scheduler.replay import run as running
from scheduler.replay.forecasts import Forecasts
from scheduler.replay.mornings import risk_of
from scheduler.replay.run import CAREFUL, COVERED, FORESIGHT, LEARNED, PROGRAM, Replay, days_of, replay
from scheduler.replay.score import Case, calibration, score_of
from scheduler.replay.worlds import Sky, draw_world, learned_of
from scheduler.settings import doubt, replay_scheme
from scheduler.views.replay import replay_json, replay_lines, replay_svg
from scheduler.weather.series import WeatherError

FIRST, LAST = date(2021, 10, 14), date(2021, 10, 18)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("yard")


@pytest.fixture(scope="module")
def played(folder: Path) -> Replay:
    """Five mornings under two seeds, with a yard learned."""
    yard = yard_of(folder)
    return replay(record(), yard, days_of(record(), yard, FIRST, LAST), (3, 4), learned=True)


# ------------------------------------------------------------------ what came of it


def test_foresight_bounds_every_policy_on_every_seed(played: Replay) -> None:
    for one in played.played:
        cost = {t.name: t.cost for t in one.tallies}
        assert len(cost) == 12
        assert all(cost[COVERED] <= value + 1e-9 for value in cost.values())
        bare = [value for name, value in cost.items() if name not in (CAREFUL, COVERED)]
        assert all(cost[FORESIGHT] <= value + 1e-9 for value in bare)


def test_all_policies_have_the_same_ends_and_every_coat_has_an_outcome(played: Replay) -> None:
    for one in played.played:
        assert len({t.ends for t in one.tallies}) == 1
        for t in one.tallies:
            assert 0 <= t.bad <= t.coats
            assert t.coats - t.bad + t.left_open == t.ends
            assert t.cost >= t.wood_money
            assert (t.days_open >= 0.0).all()
        never = next(t for t in one.tallies if t.name == "never")
        assert never.coats == 0
        assert never.wood_cm == max(t.wood_cm for t in one.tallies)


def test_a_seed_gives_the_same_season_again_alone_or_among_others(played: Replay, folder: Path) -> None:
    yard = yard_of(folder)
    alone = replay(record(), yard, days_of(record(), yard, FIRST, LAST), (4,))
    for again in alone.played[0].tallies:
        first = next(t for t in played.played[1].tallies if t.name == again.name)
        assert again.cost == pytest.approx(first.cost, rel=1e-12)
        assert (again.coats, again.spoiled, again.yes) == (first.coats, first.spoiled, first.yes)


def test_the_figures_are_sums_over_the_seeds(played: Replay) -> None:
    score = score_of(played)
    for n, f in enumerate(score.figures):
        mine = [one.tallies[n] for one in played.played]
        assert f.cost_per_end == pytest.approx(sum(t.cost for t in mine) / sum(t.ends for t in mine))
        assert f.coats == pytest.approx(np.mean([t.coats for t in mine]))
        assert f.cost_band.p10 <= f.cost_band.p50 <= f.cost_band.p90
    rules = {rule.name for rule in played.thumbs}
    assert score.best in rules
    assert score.saved_by(FORESIGHT) in (None, pytest.approx(1.0))
    assert score.saved_by(score.best) in (None, pytest.approx(0.0))
    assert score.saved == score.saved_by(PROGRAM)
    assert score.saved_by("nobody") is None


def test_chances_are_counted_in_bands() -> None:
    cases = [
        Case(0, 0.1, held=False),
        Case(0, 0.1, held=True),
        Case(0, 0.9, held=True),
        Case(2, 1.0, held=True),
    ]
    rows = calibration(cases)
    assert [(round(r.said, 2), r.happened, r.n) for r in rows] == [(0.1, 0.5, 2), (0.95, 1.0, 2)]


# ------------------------------------------------------------------ nobody sees ahead


def test_a_morning_knows_nothing_of_hours_behind_its_forecast(folder: Path) -> None:
    """The record is another one from the end of the forecast on: the same forecast, slots, chances, rules."""
    yard = yard_of(folder)
    scheme = replay_scheme()
    hour = round((days_of(record(), yard, FIRST, LAST)[0] - date(2021, 10, 1)).days * 24 + 4)
    end = hour + round(24 * scheme["forecast"]["ahead"])
    seen = []
    for known in (record(), record(end + 1)):
        setting = running._Setting(known, yard, [FIRST], None)
        world = draw_world(known, yard, 5, scheme)
        slots = setting.slots(world)
        assert setting.mornings == [hour]
        told = [Forecasts(world, setting.sky, scheme["forecast"])]
        seen.append(running._mornings(setting, [world], told, slots)[0][0])
    one, two = seen
    assert not np.array_equal(record().weather.air_c, record(end + 1).weather.air_c)
    for name, values in one.told.arrays():
        assert np.array_equal(values, getattr(two.told, name), equal_nan=True), name
    assert np.array_equal(one.seen.said, two.seen.said)
    assert np.array_equal(one.seen.days.chances.holds, two.seen.days.chances.holds)
    assert np.array_equal(one.seen.slots, two.seen.slots)
    assert all(map(np.array_equal, one.thumbs, two.thumbs))
    assert np.array_equal(one.seen.outcome, two.seen.outcome)


def test_rain_that_goes_on_behind_the_end_of_a_forecast_does_not_enter_it(folder: Path) -> None:
    """The forecast of hour 300 ends at 540, in the middle of a wet day."""
    yard, scheme = yard_of(folder), replay_scheme()
    sky = Sky(scheme["cloud"], scheme["forecast"]["wet"])
    assert record().weather.rain_mm[0, 536:543].min() > 0.0
    for seed in range(25):
        one, two = (
            Forecasts(draw_world(known, yard, seed, scheme), sky, scheme["forecast"]).at(300)
            for known in (record(), record(541))
        )
        assert np.array_equal(one.rain_mm, two.rain_mm)


def test_what_later_mornings_learn_changes_no_earlier_forecast(folder: Path) -> None:
    yard, scheme = yard_of(folder), replay_scheme()
    world = draw_world(record(), yard, 5, scheme)
    sky = Sky(scheme["cloud"], scheme["forecast"]["wet"])
    alone = Forecasts(world, sky, scheme["forecast"]).at(500)
    several = Forecasts(world, sky, scheme["forecast"])
    for hour in (524, 548, 500):
        again = several.at(hour)
    assert np.array_equal(alone.air_c, again.air_c)
    assert np.array_equal(alone.rain_mm, again.rain_mm)
    other = Forecasts(replace(world, seed=6), sky, scheme["forecast"]).at(500)
    past = round(24 * scheme["forecast"]["past"])
    assert np.array_equal(alone.air_c[0, :past], other.air_c[0, :past])
    assert not np.array_equal(alone.air_c[0, past:], other.air_c[0, past:])


def test_a_forecast_errs_more_with_the_lead_and_not_at_all_in_the_past(folder: Path) -> None:
    yard, scheme = yard_of(folder), replay_scheme()
    sky = Sky(scheme["cloud"], scheme["forecast"]["wet"])
    miss = []
    for seed in range(40):
        world = draw_world(record(), yard, seed, scheme)
        told = Forecasts(world, sky, scheme["forecast"]).at(500)
        first = round((told.start - record().weather.start) / timedelta(hours=1))
        miss.append(told.air_c[0] - record().weather.air_c[0, first : first + told.hours])
    spread = np.std(miss, axis=0)
    past = round(24 * scheme["forecast"]["past"])
    assert (spread[:past] == 0.0).all()
    near, far = spread[past : past + 24].mean(), spread[past + 144 : past + 168].mean()
    assert 0.8 < near < 2.2
    assert near + 0.7 < far < 4.5


# ------------------------------------------------------------------ the yard is not the program's


def test_the_true_yards_scatter_within_their_stated_doubt(folder: Path) -> None:
    yard, scheme = yard_of(folder), replay_scheme()
    worlds = [draw_world(record(), yard, seed, scheme) for seed in range(150)]
    d = doubt()
    drying = np.log([w.drying for w in worlds])
    assert abs(drying.mean()) < 0.06
    assert drying.std() == pytest.approx(d["drying"]["log_sd"], rel=0.2)
    assert np.std([w.film_k for w in worlds]) == pytest.approx(d["film"]["sd"], rel=0.2)
    assert np.std(np.log([w.shelter for w in worlds])) == pytest.approx(d["shelter"]["log_sd"], rel=0.2)
    learned = [learned_of(w, scheme["learned"]) for w in worlds]
    off = np.array([b.drying_log for b in learned]) - drying
    assert off.std() == pytest.approx(scheme["learned"]["drying_sd"], rel=0.25)


def test_what_becomes_of_a_coat_is_stepped_and_does_not_ask_the_clocks_of_the_program(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("the truth asked the program's clocks")

    monkeypatch.setattr(FilmClocks, "milestones", refuse)
    yard = yard_of(folder)
    setting = running._Setting(record(), yard, [FIRST, LAST], None)
    worlds = [draw_world(record(), yard, seed, setting.scheme) for seed in range(3)]
    slow = replace(worlds[0], drying=worlds[0].drying * 0.3)
    slots = setting.slots(worlds[0])
    fates = truth_module.fates_of(
        [*worlds, slow], yard, slots, setting.coating, setting.rules, 144.0, setting.limits.brush_steps
    )
    held = fates.cause[0] == truth_module.HELD
    assert held.any()
    assert (fates.dry_h[3, held] > fates.dry_h[0, held]).all()
    assert not np.array_equal(fates.dry_h[0], fates.dry_h[1])


def test_no_rain_reaches_a_coat_under_a_sheet_and_a_hand_finds_only_what_would_spoil_it(folder: Path) -> None:
    yard = yard_of(folder)
    setting = running._Setting(record(), yard, [FIRST + timedelta(days=n) for n in range(5)], None)
    world = draw_world(record(), yard, 3, setting.scheme)
    slots = setting.slots(world)
    fates = truth_module.fates_of(
        [world], yard, slots, setting.coating, setting.rules, 144.0, setting.limits.brush_steps
    )
    cause, sheet = fates.cause[0], fates.sheet_cause[0]
    rained = cause == truth_module.RAIN
    assert rained.any()
    assert not (sheet == truth_module.RAIN).any()
    assert (sheet[rained] == truth_module.HELD).any()
    assert np.array_equal(sheet[~rained], cause[~rained])
    assert np.allclose(fates.rain_h[0, rained], fates.known_h[0, rained])
    assert fates.felt.any()
    assert not (cause[fates.felt[0]] == truth_module.HELD).any()


def test_only_rain_that_is_still_to_come_makes_a_sheet_worth_laying(folder: Path) -> None:
    """A coat of 9 in the morning, looked at 5 hours later."""
    yard, w = yard_of(folder), record().weather
    noon = w.start + timedelta(hours=20 * 24 + 14)
    dry = w.between(w.start + timedelta(days=10), w.start + timedelta(days=30))
    dry = replace(dry, rain_mm=np.zeros_like(dry.rain_mm), cloud=np.full_like(dry.rain_mm, 0.5))
    begun, risks = 10 * 24 + 9, []
    for first, last in ((0, 0), (begun + 6, begun + 9), (begun + 1, begun + 3)):
        rain = dry.rain_mm.copy()
        rain[:, first:last] = 5.0
        told = replace(dry, rain_mm=rain).from_source(issued=noon, issued_known=True)
        risks.append(risk_of(yard, told, noon, begun))
    none, coming, fallen = risks
    assert none < 0.1
    assert coming > 0.5
    assert fallen < 0.1


# ------------------------------------------------------------------ told


def test_table_and_picture_say_the_same_as_the_data(played: Replay) -> None:
    score = score_of(played)
    lines = replay_lines(played, score, "EUR")
    assert max(map(len, lines)) <= 110
    row = next(line for line in lines if line.startswith(PROGRAM + " "))
    assert f"{score.of(PROGRAM).cost_per_end:.2f}" in row.split()
    data = json.loads(json.dumps(replay_json(played, score, "EUR")))
    assert [p["name"] for p in data["policies"]] == list(played.names)
    assert LEARNED in played.names
    needed = {"name", "coats", "spoiled", "loss_per_end_cm", "cost_per_end", "hours", "days_open_median"}
    assert all(needed <= p.keys() for p in data["policies"])
    assert data["seeds"] == 2
    assert data["hours"] == 5 * 24
    assert {"said", "happened", "n"} == data["calibration"][0].keys()
    picture = ElementTree.fromstring(replay_svg(played, score, "EUR"))
    words = " ".join(picture.itertext())
    assert all(name in words for name in played.names)
    assert "nan" not in words


def test_the_command_replays_a_file_and_refuses_wrong_words(tmp_path: Path) -> None:
    file, yard, out = tmp_path / "hours.csv", tmp_path / "yard.toml", tmp_path / "season.svg"
    file.write_text(hours_text(), encoding="utf-8")
    yard.write_text(YARD, encoding="utf-8")
    words = ("replay", file, "--yard", yard, "--seeds", "1", "--seed", "2")
    ran = command(*words, "--from", "2021-10-22", "--to", "2021-10-23", "--picture", out)
    assert ran.code == 0, ran.err
    assert "perfect foresight" in ran.out
    assert "The record has no cloud" in ran.out
    assert out.read_text(encoding="utf-8").startswith("<svg")
    for more, says in (
        (("--from", "soon"), "--from soon: not a date; write it as 2025-10-01"),
        (("--from", "2022-05-01"), "no day that was asked for is left"),
        (("--seeds", "0"), "give 1 to 200 seeds"),
    ):
        ran = command(*words, *more)
        assert ran.code == 2
        assert says in ran.err.replace("\n", " ")
    ran = command("replay", tmp_path / "none.csv", "--yard", yard)
    assert (ran.code, "there is no such file" in ran.err) == (2, True)


def test_a_record_that_is_too_short_for_the_season_is_told(folder: Path) -> None:
    with pytest.raises(WeatherError, match="no day that was asked for is left"):
        days_of(record(), yard_of(folder), date(2021, 12, 1), None)
