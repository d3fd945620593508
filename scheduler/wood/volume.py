"""How much wood is in a log: the public board-foot log rules, cubic volume, and questions about odd sizes.

Pure. Lengths and diameters come in centimetres, diameters inside bark. The four
board-foot rules answer in board feet (a nominal board foot is 144 cubic inches of
sawn board), the cubic formulas in cubic metres. Plain numbers or numpy arrays
alike; NaN (not known) stays NaN.

Log rules are old public rules that guess at sawn boards, not at volume. They
differ by half on small logs; none is the truth.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scheduler.units import show_length

__all__ = [
    "BOARD_FOOT_M3",
    "DecimalC",
    "Rule",
    "VolumeError",
    "board_feet",
    "check_cut",
    "doyle",
    "end_area",
    "huber",
    "inside_bark",
    "international",
    "mean_diameter",
    "other_end",
    "questions",
    "scaled_inches",
    "scribner",
    "smalian",
    "whole_steps",
]

F = NDArray[np.float64]
Rule = Literal["doyle", "scribner", "scribner c", "international"]

CM_IN = 2.54  # exact
CM_FT = 30.48  # exact
BOARD_FOOT_M3 = 144 * CM_IN**3 * 1e-6  # 1 in x 12 in x 12 in, exact: 0.002359737216
ONE_LOG_FT = 20.0  # longest log that the International rule scales in one piece
KERF_QUARTER = 0.904762  # from the 1/8 in kerf of the first form of the rule to 1/4 in
SECTION_FT, SECTION_TAPER_IN = 4.0, 0.5


class VolumeError(ValueError):
    """Sizes from which no volume can be told; the text is a sentence for the person."""


def _sizes(**named: ArrayLike) -> list[F]:
    """The sizes as arrays; below zero or without end is refused by name."""
    found = []
    for name, value in named.items():
        array = np.asarray(value, np.float64)
        wrong = array[(array < 0) | np.isinf(array)]
        if wrong.size:
            what = name.replace("_", " ")
            raise VolumeError(f"The {what} cannot be {wrong.flat[0]:g} cm. Look at number and unit.")
        found.append(array)
    return found


# ------------------------------------------------------------------ board-foot rules


def doyle(small_cm: ArrayLike, length_cm: ArrayLike) -> F:
    """Board feet by the Doyle rule: (D - 4)² L / 16, D in inches at the small end, L in feet; 0 up to 4 in.

    Source: Purdue Extension FNR-191 and the printed table.
    """
    small, length = _sizes(diameter=small_cm, length=length_cm)
    return np.asarray(np.maximum(small / CM_IN - 4.0, 0.0) ** 2 * (length / CM_FT) / 16.0)


def scribner(small_cm: ArrayLike, length_cm: ArrayLike) -> F:
    """Board feet by the Scribner formula: (0.79 D² - 2 D - 4) L / 16; never below zero.

    The formula was fitted to the diagram rule (Bruce and Schumacher, from memory).
    Rounded, it is not the Decimal C table: for that see :class:`DecimalC`.
    """
    small, length = _sizes(diameter=small_cm, length=length_cm)
    inches = small / CM_IN
    slab = np.maximum(0.79 * inches**2 - 2.0 * inches - 4.0, 0.0)
    return np.asarray(slab * (length / CM_FT) / 16.0)


def international(small_cm: ArrayLike, length_cm: ArrayLike) -> F:
    """Board feet by the International rule, 1/4 in kerf: sections of 4 ft from the small end.

    Each section holds 0.904762 (0.22 D² - 0.71 D), and D grows 1/2 in from one to
    the next; what remains at the large end counts by its share of 4 ft. Above 20 ft
    the log is scaled in equal pieces, each with its own small end. Not rounded to 5.

    Source: Michigan Compiled Laws 290.401; General Laws of Massachusetts c. 96 s. 11A.
    """
    small, length = np.broadcast_arrays(*_sizes(diameter=small_cm, length=length_cm))
    inches, feet = small / CM_IN, length / CM_FT
    pieces = np.maximum(np.ceil(feet / ONE_LOG_FT - 1e-9), 1.0)
    each = feet / pieces
    total = np.where(np.isfinite(inches * feet), 0.0, np.nan)
    for n in range(int(np.nanmax(pieces, initial=1.0))):
        own = inches + n * each / SECTION_FT * SECTION_TAPER_IN
        total = total + np.where(n < pieces, _sections(own, each), 0.0)
    return np.asarray(total)


def _sections(inches: F, feet: F) -> F:
    """One piece of up to 20 ft, section by section."""
    total = np.zeros(np.shape(inches))
    for n in range(math.ceil(ONE_LOG_FT / SECTION_FT)):
        part = np.clip(feet / SECTION_FT - n, 0.0, 1.0)
        own = inches + n * SECTION_TAPER_IN
        total = total + part * np.maximum(0.22 * own**2 - 0.71 * own, 0.0)
    return np.asarray(total * KERF_QUARTER)


@dataclass(frozen=True, eq=False)
class DecimalC:
    """The Scribner Decimal C table: tens of board feet by whole inches and whole feet; nothing in between."""

    tens: Mapping[int, Mapping[int, float]]  # inches -> feet -> tens of board feet

    @classmethod
    def of(cls, table: Mapping[str, Any]) -> DecimalC:
        """From config/scribner_decimal_c.toml: ``lengths_ft`` and rows ``tens`` by inches.

        Raises
        ------
        VolumeError
            When a row is not as long as the lengths.
        """
        lengths: Sequence[int] = table["lengths_ft"]
        rows: dict[int, dict[int, float]] = {}
        for inches, cells in table["tens"].items():
            if len(cells) != len(lengths):
                raise VolumeError(
                    f"scribner_decimal_c: the row of {inches} in has {len(cells)} cells, not {len(lengths)}."
                )
            rows[int(inches)] = dict(zip(lengths, cells, strict=True))
        return cls(rows)

    def board_feet(self, inches: int, feet: int) -> float:
        """The cell of a diameter and a length.

        Raises
        ------
        VolumeError
            Where the table has no such row or column.
        """
        row = self.tens.get(inches)
        if row is None:
            least, most = min(self.tens), max(self.tens)
            raise VolumeError(
                f"The Scribner Decimal C table has no row of {inches} in; it runs from {least} to {most} in."
            )
        if feet not in row:
            least, most = min(row), max(row)
            longer = " Scale a longer log as two." if feet > most else ""
            raise VolumeError(
                f"The Scribner Decimal C table has no length of {feet} ft; it runs from {least} to {most} ft."
                f"{longer}"
            )
        return 10.0 * row[feet]

    def scale(self, small_cm: float, length_cm: float) -> float:
        """Board feet as a scaler reads them: the nearest whole inch, whole feet without what is over.

        Source of the nearest inch: Official Code of Georgia 2-14-80 (e); an exact half goes down here.
        """
        small, length = _sizes(diameter=small_cm, length=length_cm)
        if np.isnan(small) or np.isnan(length):
            return math.nan
        feet = float(whole_steps(length, 1.0 * CM_FT)) / CM_FT
        return self.board_feet(int(scaled_inches(small)), round(feet))


def board_feet(rule: Rule, small_cm: float, length_cm: float, decimal_c: DecimalC | None = None) -> float:
    """Board feet of one log by the rule of that name.

    Raises
    ------
    VolumeError
        For an unknown rule, or where the Decimal C table is needed and is not there or has no such cell.
    """
    if rule == "scribner c":
        if decimal_c is None:
            raise VolumeError("The rule Scribner Decimal C needs its table.")
        return decimal_c.scale(small_cm, length_cm)
    rules: dict[str, Callable[[ArrayLike, ArrayLike], F]] = {
        "doyle": doyle,
        "scribner": scribner,
        "international": international,
    }
    if rule not in rules:
        raise VolumeError(f"'{rule}' is no log rule; there are {', '.join(get_args(Rule))}.")
    return float(rules[rule](small_cm, length_cm))


def scaled_inches(diameter_cm: ArrayLike) -> F:
    """A diameter in whole inches, the nearest; an exact half goes down."""
    (diameter,) = _sizes(diameter=diameter_cm)
    return np.asarray(np.ceil(diameter / CM_IN - 0.5 - 1e-9))


def whole_steps(length_cm: ArrayLike, step_cm: float) -> F:
    """A length without what is over whole steps (even feet: 60.96 cm), in cm."""
    (length,) = _sizes(length=length_cm)
    if not step_cm > 0:
        raise VolumeError(f"A step of length cannot be {step_cm:g} cm; give one above zero.")
    return np.asarray(np.floor(length / step_cm + 1e-6) * step_cm)


# ------------------------------------------------------------------ cubic volume


def end_area(diameter_cm: ArrayLike) -> F:
    """Area of an end in m²."""
    (diameter,) = _sizes(diameter=diameter_cm)
    return np.asarray(math.pi / 4.0 * (diameter / 100.0) ** 2)


def smalian(one_cm: ArrayLike, other_cm: ArrayLike, length_cm: ArrayLike) -> F:
    """Cubic metres after Smalian: the mean of the two end areas times the length."""
    (length,) = _sizes(length=length_cm)
    return np.asarray((end_area(one_cm) + end_area(other_cm)) / 2.0 * length / 100.0)


def huber(middle_cm: ArrayLike, length_cm: ArrayLike) -> F:
    """Cubic metres after Huber: the area at mid-length times the length."""
    (length,) = _sizes(length=length_cm)
    return np.asarray(end_area(middle_cm) * length / 100.0)


# ------------------------------------------------------------------ diameters


def mean_diameter(one_cm: ArrayLike, crossing_cm: ArrayLike) -> F:
    """The diameter of an end that is not round: the mean of two that cross, common practice, no source."""
    one, crossing = _sizes(diameter=one_cm, crossing_diameter=crossing_cm)
    return np.asarray((one + crossing) / 2.0)


def other_end(
    known_cm: float, length_cm: float, taper_cm_m: float, *, known: Literal["butt", "top"]
) -> float:
    """The diameter of the other end where only one is known, by a taper in cm per m.

    A top is never taken thinner than a third of its butt.
    """
    _sizes(diameter=known_cm, length=length_cm, taper=taper_cm_m)
    lost = taper_cm_m * length_cm / 100.0
    return max(known_cm - lost, known_cm / 3.0) if known == "butt" else known_cm + lost


def inside_bark(over_cm: float, ratio: float) -> float:
    """The diameter inside bark of one measured over bark; ``ratio`` is inside over outside.

    Raises
    ------
    VolumeError
        For a ratio that no bark has.
    """
    _sizes(diameter=over_cm)
    if not 0.5 <= ratio <= 1.0:
        raise VolumeError(
            f"Inside over outside bark cannot be {ratio:g}; it lies between 0.5 and 1 (0.92 is ordinary)."
        )
    return over_cm * ratio


# ------------------------------------------------------------------ what cannot be, and what is asked


def check_cut(size_cm: float, length_cm: float | None, show: Callable[[float], str] | None = None) -> None:
    """Refuse a cut that cannot be.

    Raises
    ------
    VolumeError
        When nothing or less than nothing is taken off, or more than the log has.
    """
    show = show or _metric
    if not (math.isfinite(size_cm) and size_cm > 0):
        raise VolumeError(
            f"A cut of {size_cm:g} cm takes nothing off. Say how much was cut off, such as 3 cm or 1 in."
        )
    if length_cm is not None and size_cm >= length_cm:
        raise VolumeError(
            f"A cut of {show(size_cm)} leaves nothing of a log of {show(length_cm)}. Look at number and unit."
        )


def questions(
    butt_cm: float | None, top_cm: float | None, length_cm: float | None, numbers: Mapping[str, float]
) -> list[str]:
    """What to ask about sizes that can be but are odd: swapped ends, a slipped unit, a steep taper.

    ``numbers`` are those of config/value.toml. Nothing is mended here; the person answers.
    """
    asked = []
    for name, size in (("butt", butt_cm), ("top", top_cm)):
        if size is not None and size > numbers["ask_above"]:
            asked.append(f"{_both(size)} at the {name}? Perhaps {size / CM_IN:.0f} cm was meant.")
        elif size is not None and size < numbers["ask_below"]:
            asked.append(f"{_both(size)} at the {name}? Perhaps {size:.0f} in was meant.")
    if butt_cm is None or top_cm is None:
        return asked
    if 2.3 <= max(butt_cm, top_cm) / max(min(butt_cm, top_cm), 0.1) <= 2.8:
        asked.append(
            f"The butt is {_metric(butt_cm)} and the top {_metric(top_cm)}: is one in inches, one in cm?"
        )
    elif top_cm > butt_cm:
        asked.append(
            f"The top ({_metric(top_cm)}) is thicker than the butt ({_metric(butt_cm)}): are they swapped?"
        )
    elif length_cm and butt_cm - top_cm > numbers["ask_taper"] * length_cm / 100.0:
        asked.append(
            f"From {_metric(butt_cm)} to {_metric(top_cm)} within {_metric(length_cm)}: is that right?"
        )
    return asked


def _both(cm: float) -> str:
    return f"{cm / CM_IN:.0f} in = {cm:.0f} cm"


def _metric(cm: float) -> str:
    return show_length(cm, "metric")
