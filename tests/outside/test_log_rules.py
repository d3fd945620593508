"""Log rules against printed tables, the statute and worked figures."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from scheduler.wood.volume import (
    BOARD_FOOT_M3,
    DecimalC,
    VolumeError,
    doyle,
    end_area,
    huber,
    international,
    scribner,
    smalian,
)

IN, FT = 2.54, 30.48
TABLE = Path(__file__).parents[2] / "config" / "scribner_decimal_c.toml"


def half_up(value: float) -> int:
    return math.floor(value + 0.5)


# ------------------------------------------------------------------ Doyle

# "Doyle Log Scale in Board Feet", printed by a sawmill at tinytimbers.com/doylescale.htm: inches at the small
# end, then 8, 10, 12, 14, 16, 18 and 20 ft.
DOYLE_FT = (8, 10, 12, 14, 16, 18, 20)
DOYLE = """
 8   8  10  12  14  16  18  20
10  18  23  27  32  36  41  45
12  32  40  48  56  64  72  80
14  50  63  75  88 100 113 125
16  72  90 108 126 144 162 180
18  98 123 147 172 196 221 245
20 128 160 192 224 256 288 320
22 162 203 243 284 324 365 405
24 200 250 300 350 400 450 500
26 242 303 363 424 484 545 605
28 288 360 432 504 576 648 720
30 338 423 507 592 676 761 845
32 392 490 588 686 784 882 980
34 450 563 675 788 900 1013 1125
36 512 640 768 896 1024 1152 1280
"""


def test_every_cell_of_a_printed_doyle_table_comes_out() -> None:
    cells = 0
    for line in DOYLE.split("\n"):
        for feet, printed in zip(DOYLE_FT, line.split()[1:], strict=False):
            inches = float(line.split()[0])
            assert half_up(float(doyle(inches * IN, feet * FT))) == int(printed), (inches, feet)
            cells += 1
    assert cells == 105


def test_a_doyle_log_of_four_inches_or_less_holds_nothing() -> None:
    """From the formula itself (Purdue Extension FNR-191): the slab of 4 in leaves nothing."""
    assert doyle(np.array([0.0, 2.0, 4.0]) * IN, 16 * FT).tolist() == [0.0, 0.0, 0.0]
    assert float(doyle(4.1 * IN, 16 * FT)) > 0


# ------------------------------------------------------------------ International 1/4 in


def test_one_section_is_the_formula_of_the_statute() -> None:
    """Michigan Compiled Laws 290.401: ((D² x 0.22) - 0.71 D) x 0.904762 for 4 ft sections."""
    for inches in (6.0, 12.0, 20.0, 36.0):
        statute = (inches**2 * 0.22 - 0.71 * inches) * 0.904762
        assert float(international(inches * IN, 4 * FT)) == pytest.approx(statute, rel=1e-12)


def test_sections_taper_half_an_inch_in_four_feet() -> None:
    """Michigan Compiled Laws 290.401, taper allowance: a log is the sum of its sections."""
    by_hand = sum(((12 + n / 2) ** 2 * 0.22 - 0.71 * (12 + n / 2)) * 0.904762 for n in range(4))
    assert float(international(12 * IN, 16 * FT)) == pytest.approx(by_hand, rel=1e-12)


@pytest.mark.parametrize(
    ("inches", "printed"),
    [
        *((8, 40), (10, 65), (12, 95), (14, 135), (15, 160), (16, 180), (18, 230)),
        *((20, 290), (22, 355), (24, 425), (30, 675), (34, 875), (36, 980)),
    ],
)
def test_sixteen_foot_logs_are_within_five_board_feet_of_the_international_table(
    inches: int, printed: int
) -> None:
    """The printed table in steps of 5 board feet, from memory."""
    assert float(international(inches * IN, 16 * FT)) == pytest.approx(printed, abs=5.0)


@pytest.mark.parametrize(
    ("feet", "printed"), [(8, 135), (10, 175), (12, 210), (14, 250), (16, 290), (18, 330), (20, 370)]
)
def test_what_is_left_of_a_section_counts_by_its_share_at_the_large_end(feet: int, printed: int) -> None:
    """The row of 20 in of the printed table, from memory: to the nearest 5."""
    assert 5 * half_up(float(international(20 * IN, feet * FT)) / 5) == printed


def test_a_log_above_twenty_feet_is_scaled_as_two() -> None:
    """Scaling practice: the lower half has its own small end, by the taper of the rule."""
    halves = international(16 * IN, 12 * FT) + international((16 + 1.5) * IN, 12 * FT)
    assert float(international(16 * IN, 24 * FT)) == pytest.approx(float(halves), rel=1e-12)


# ------------------------------------------------------------------ Scribner

# 16 ft, tens of board feet, by inches: the printed Decimal C table, from memory.
PRINTED_16 = dict(
    zip(
        range(6, 31),
        [2, 3, 3, 4, 6, 7, 8, 10, 11, 14, 16, 18, 21, 24, 28, 30, 33, 38, 40, 46, 50, 55, 58, 61, 66],
        strict=True,
    )
) | {32: 74, 34: 80, 36: 92}


@pytest.fixture(scope="module")
def table() -> DecimalC:
    return DecimalC.of(tomllib.loads(TABLE.read_text(encoding="utf-8")))


def test_the_decimal_c_table_is_the_printed_one_at_sixteen_feet(table: DecimalC) -> None:
    for inches, tens in PRINTED_16.items():
        assert table.board_feet(inches, 16) == 10 * tens, inches


def test_cells_that_pages_print_are_in_the_decimal_c_table(table: DecimalC) -> None:
    """A farm and garden rule book (chestofbooks.com): 6 in by 8 ft is 0.5, 30 in by 16 ft is 66.

    A page on the rule: a log of 10 in holds 30 board feet at all lengths from 8 to 12 ft.
    """
    assert table.board_feet(6, 8) == 5
    assert table.board_feet(30, 16) == 660
    assert {table.board_feet(10, feet) for feet in range(8, 13)} == {30}


@pytest.mark.parametrize(("inches", "feet"), [(12, 85.8), (16, 166.2), (20, 272.0), (24, 403.0), (30, 647.0)])
def test_the_scribner_formula_gives_its_worked_figures(inches: int, feet: float) -> None:
    """Worked from (0.79 D² - 2 D - 4) L / 16 at 16 ft; the same formula stands in several calculators."""
    assert float(scribner(inches * IN, 16 * FT)) == pytest.approx(feet, abs=0.06)


def test_the_formula_is_near_the_table_but_is_not_the_table(table: DecimalC) -> None:
    """A diagram rule scatters: by 13 board feet up to 24 in, by 41 up to 36 in (reckoned here)."""
    off = {d: float(scribner(d * IN, 16 * FT)) - table.board_feet(d, 16) for d in range(6, 37)}
    assert max(abs(v) for d, v in off.items() if d <= 24) <= 13.0
    assert max(abs(v) for v in off.values()) <= 41.5
    rounded = {d: 10 * half_up(float(scribner(d * IN, 16 * FT)) / 10) for d in range(6, 37)}
    assert sum(rounded[d] != table.board_feet(d, 16) for d in rounded) >= 8


@pytest.mark.parametrize(("inches", "feet"), [(5, 16), (61, 16), (20, 3), (20, 21)])
def test_where_the_decimal_c_table_has_no_cell_it_says_so(table: DecimalC, inches: int, feet: int) -> None:
    with pytest.raises(VolumeError, match=r"has no (row|length) of \d+ (in|ft); it runs from"):
        table.board_feet(inches, feet)


# ------------------------------------------------------------------ cubic volume and areas


def test_a_board_foot_and_a_cubic_metre_are_what_they_are_by_definition() -> None:
    """An inch is 25.4 mm: 1 board foot is 0.002359737 m³ and 1 m³ 423.776 board feet."""
    board_foot = BOARD_FOOT_M3 * 1.0
    assert board_foot == pytest.approx(0.002359737216, rel=1e-12)
    assert 1 / board_foot == pytest.approx(423.776, abs=0.001)


def test_smalian_and_huber_are_their_formulas_in_feet_and_inches() -> None:
    """Textbook form: 0.005454 (d1² + d2²) / 2 L and 0.005454 dm² L cubic feet (π / 576)."""
    cubic_foot = 0.3048**3
    by_smalian = 0.005454 * (12.0**2 + 16.0**2) / 2 * 10.0
    by_huber = 0.005454 * 14.0**2 * 10.0
    assert float(smalian(12 * IN, 16 * IN, 10 * FT)) / cubic_foot == pytest.approx(by_smalian, rel=1e-4)
    assert float(huber(14 * IN, 10 * FT)) / cubic_foot == pytest.approx(by_huber, rel=1e-4)


@pytest.mark.parametrize(("inches", "square_feet"), [(12, 0.785), (20, 2.182), (30, 4.909)])
def test_end_areas_are_those_of_circles(inches: int, square_feet: float) -> None:
    assert float(end_area(inches * IN)) / 0.3048**2 == pytest.approx(square_feet, abs=5e-4)
