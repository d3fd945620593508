"""Volumes of logs: laws that hold for all sizes, and what is refused or asked about."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray

from scheduler.wood.volume import (
    BOARD_FOOT_M3,
    DecimalC,
    VolumeError,
    board_feet,
    check_cut,
    doyle,
    huber,
    inside_bark,
    international,
    mean_diameter,
    other_end,
    questions,
    scaled_inches,
    scribner,
    smalian,
    whole_steps,
)

CONFIG = Path(__file__).parents[2] / "config"
NUMBERS = {
    name: float(entry["value"])
    for name, entry in tomllib.loads((CONFIG / "value.toml").read_text(encoding="utf-8")).items()
}
TABLE = DecimalC.of(tomllib.loads((CONFIG / "scribner_decimal_c.toml").read_text(encoding="utf-8")))
IN, FT = 2.54, 30.48
RULES = [doyle, scribner, international]
ANY_RULE = st.sampled_from([*RULES, huber])
CM = st.floats(1.0, 250.0)
LENGTH = st.floats(10.0, 1500.0)

Formula = Callable[[ArrayLike, ArrayLike], NDArray[np.float64]]


# ------------------------------------------------------------------ laws


@given(ANY_RULE, CM, LENGTH, st.floats(0.0, 50.0))
def test_a_thicker_log_never_holds_less(rule: Formula, small: float, length: float, more: float) -> None:
    assert float(rule(small + more, length)) >= float(rule(small, length)) - 1e-9


@given(ANY_RULE, CM, LENGTH, st.floats(0.0, 300.0))
def test_a_longer_log_never_holds_less(rule: Formula, small: float, length: float, more: float) -> None:
    assert float(rule(small, length + more)) >= float(rule(small, length)) - 1e-9


@given(st.sampled_from([doyle, scribner, huber]), CM, LENGTH)
def test_two_halves_hold_what_the_whole_holds_by_rules_without_taper(
    rule: Formula, small: float, length: float
) -> None:
    assert 2 * float(rule(small, length / 2)) == pytest.approx(float(rule(small, length)), rel=1e-9)


@given(CM, LENGTH)
def test_two_halves_of_one_diameter_never_hold_more_than_the_tapered_whole(
    small: float, length: float
) -> None:
    """The International rule lets a log swell towards its butt."""
    assert 2 * float(international(small, length / 2)) <= float(international(small, length)) + 1e-9


@given(CM, CM, LENGTH)
def test_smalian_never_gives_less_than_huber_on_the_mean_diameter(
    one: float, other: float, length: float
) -> None:
    """The mean of two squares is at least the square of the mean."""
    middle = float(mean_diameter(one, other))
    assert float(smalian(one, other, length)) >= float(huber(middle, length)) * (1 - 1e-12)


@given(st.sampled_from(RULES), CM, LENGTH)
def test_no_rule_saws_more_boards_than_there_is_wood(rule: Formula, small: float, length: float) -> None:
    """Of a log with the taper of the International rule: 1/2 in in 4 ft."""
    large = small + length / FT / 4 * 0.5 * IN
    assert float(rule(small, length)) * BOARD_FOOT_M3 <= float(smalian(small, large, length))


@given(st.integers(6, 60), st.integers(4, 20))
def test_inches_and_feet_survive_the_way_through_centimetres(inches: int, feet: int) -> None:
    assert int(scaled_inches(inches * IN)) == inches
    assert round(float(whole_steps(feet * FT, FT)) / FT) == feet
    assert TABLE.scale(inches * IN, feet * FT) == TABLE.board_feet(inches, feet)


def test_no_cell_of_the_decimal_c_table_is_less_than_its_smaller_neighbours() -> None:
    for inches in range(6, 61):
        row = [TABLE.board_feet(inches, feet) for feet in range(4, 21)]
        assert row == sorted(row)
        if inches > 6:
            assert all(TABLE.board_feet(inches - 1, f) <= TABLE.board_feet(inches, f) for f in range(4, 21))


@given(st.lists(st.tuples(CM, LENGTH), min_size=1, max_size=20))
def test_many_logs_at_once_are_the_logs_one_by_one(logs: list[tuple[float, float]]) -> None:
    small, length = np.array(logs).T
    for rule in RULES:
        one_by_one = [float(rule(a, b)) for a, b in logs]
        assert rule(small, length) == pytest.approx(np.array(one_by_one), rel=1e-12)


def test_what_is_not_known_stays_unknown() -> None:
    for rule in [*RULES, huber]:
        assert np.isnan(rule(np.array([40.0, np.nan]), np.array([np.nan, 300.0]))).all()
    assert math.isnan(TABLE.scale(math.nan, 300.0))


# ------------------------------------------------------------------ scaling, diameters


def test_decimal_c_is_read_at_the_nearest_inch_and_without_the_odd_inches_of_length() -> None:
    assert TABLE.scale(19.6 * IN, 16 * FT + 10) == TABLE.board_feet(20, 16)
    assert TABLE.scale(20.4 * IN, 16 * FT) == TABLE.board_feet(20, 16)
    assert TABLE.scale(20.5 * IN, 16 * FT) == TABLE.board_feet(20, 16)  # an exact half goes down
    assert TABLE.scale(20 * IN, 16 * FT - 1) == TABLE.board_feet(20, 15)


def test_a_log_is_scaled_in_whole_even_feet() -> None:
    assert float(whole_steps(11.9 * FT, 2 * FT)) == pytest.approx(10 * FT)
    assert float(whole_steps(12.0 * FT, 2 * FT)) == pytest.approx(12 * FT)


def test_a_rule_is_found_by_its_name() -> None:
    assert board_feet("doyle", 20 * IN, 16 * FT) == pytest.approx(256.0)
    assert board_feet("scribner c", 20 * IN, 16 * FT, TABLE) == 280.0
    with pytest.raises(VolumeError, match="is no log rule; there are doyle, scribner"):
        board_feet("hoppus", 50.0, 300.0)  # type: ignore[arg-type]
    with pytest.raises(VolumeError, match="needs its table"):
        board_feet("scribner c", 50.0, 300.0)


def test_the_other_end_follows_from_the_taper() -> None:
    assert other_end(50.0, 400.0, 1.0, known="butt") == pytest.approx(46.0)
    assert other_end(46.0, 400.0, 1.0, known="top") == pytest.approx(50.0)
    assert other_end(12.0, 2000.0, 1.0, known="butt") == pytest.approx(4.0)  # never to nothing


def test_a_diameter_over_bark_is_brought_inside() -> None:
    assert inside_bark(50.0, 0.92) == pytest.approx(46.0)
    for ratio in (1.08, 0.2):
        with pytest.raises(ValueError, match=r"lies between 0\.5 and 1"):
            inside_bark(50.0, ratio)


# ------------------------------------------------------------------ bad input


@pytest.mark.parametrize("rule", [*RULES, huber])
@pytest.mark.parametrize(("small", "length"), [(-1.0, 300.0), (40.0, -5.0), (math.inf, 300.0)])
def test_a_size_below_zero_or_without_end_is_refused(rule: Formula, small: float, length: float) -> None:
    with pytest.raises(
        VolumeError, match=r"^The (diameter|length) cannot be .* cm\. Look at number and unit"
    ):
        rule(small, length)


@pytest.mark.parametrize("size", [0.0, -3.0, math.nan, math.inf])
def test_a_cut_that_takes_nothing_off_is_refused(size: float) -> None:
    with pytest.raises(VolumeError, match=r"takes nothing off\. Say how much was cut off"):
        check_cut(size, 300.0)


def test_a_cut_longer_than_the_log_is_refused_with_both_lengths() -> None:
    with pytest.raises(VolumeError, match=r"A cut of 3\.5 m leaves nothing of a log of 3 m\."):
        check_cut(350.0, 300.0)
    with pytest.raises(VolumeError, match="leaves nothing"):
        check_cut(300.0, 300.0)
    with pytest.raises(VolumeError, match="11 ft 6 in"):
        check_cut(350.5, 300.0, lambda cm: "11 ft 6 in" if cm > 349 else "9 ft 10 in")
    check_cut(3.0, 300.0)
    check_cut(3.0, None)


@pytest.mark.parametrize(
    ("butt", "top", "length", "asked"),
    [
        (104.14, None, 300.0, "41 in = 104 cm at the butt? Perhaps 41 cm was meant."),
        (7.0, None, 300.0, "3 in = 7 cm at the butt? Perhaps 7 in was meant."),
        (48.0, 54.0, 260.0, "The top (54 cm) is thicker than the butt (48 cm): are they swapped?"),
        (50.0, 20.0, 260.0, "The butt is 50 cm and the top 20 cm: is one in inches, one in cm?"),
        (60.0, 40.0, 200.0, "From 60 cm to 40 cm within 2 m: is that right?"),
    ],
)
def test_odd_sizes_are_asked_about_and_not_mended(
    butt: float, top: float | None, length: float, asked: str
) -> None:
    assert questions(butt, top, length, NUMBERS) == [asked]


def test_an_ordinary_log_is_not_asked_about() -> None:
    assert questions(54.0, 48.0, 260.0, NUMBERS) == []
    assert questions(None, None, None, NUMBERS) == []
    assert questions(30.0, 30.0, None, NUMBERS) == []


def test_a_row_of_the_table_that_is_too_short_is_refused() -> None:
    with pytest.raises(VolumeError, match="the row of 20 in has 1 cells, not 2"):
        DecimalC.of({"lengths_ft": [8, 16], "tens": {"20": [14]}})
