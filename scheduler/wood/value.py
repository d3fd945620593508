"""What a log is worth, what a centimetre less of it costs, and what it weighs green.

Pure. ``numbers`` are those of config/value.toml. Lengths in cm, volumes in m³,
weights in kg, money in the yard's own currency.

The worth of a log comes from a price if the keeper gave one, else from a word.
Without a price nothing is money: the answer is in *weighted cm*, centimetres of
a good log of nominal size, and no currency is shown. ``points_per_cm`` is always
in weighted cm, so that logs with and without a price can stand in one order.

A cm counts the same at whichever end it is lost: the log gets shorter by it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scheduler.coating.product import Coating, litres_for
from scheduler.wood.volume import (
    BOARD_FOOT_M3,
    CM_FT,
    CM_IN,
    DecimalC,
    Rule,
    board_feet,
    end_area,
    other_end,
    scaled_inches,
    smalian,
    whole_steps,
)

__all__ = [
    "WORDS",
    "LogWorth",
    "Price",
    "Stick",
    "Weight",
    "WorthError",
    "bark_ratio",
    "cost_as_sold",
    "cost_of_loss",
    "cost_of_more",
    "cost_of_try",
    "green_weight",
    "lift_warning",
    "log_value",
    "log_worth",
    "money_per_point",
    "one_measure",
    "sealer_for",
    "share_lost",
    "spare_left",
    "stick_of",
]

F = NDArray[np.float64]
Numbers = Mapping[str, float]
WORDS = ("prized", "good", "plain", "firewood")
By = Literal["lump", "m3", "m3 sawn", "board foot", "piece"]


class WorthError(ValueError):
    """Something about worth or weight that cannot be; the text is a sentence for the person."""


# ------------------------------------------------------------------ the piece of wood


@dataclass(frozen=True, slots=True)
class Stick:
    """A log, half log or pack of slabs as far as its size goes; diameters inside bark."""

    small_cm: float
    large_cm: float
    length_cm: float
    count: int = 1
    thick_cm: float | None = None  # slabs of this thickness, ``count`` of them
    halved: bool = False
    assumed: tuple[str, ...] = ()  # what was taken for granted, in words

    @property
    def volume_m3(self) -> float:
        """Solid wood after Smalian, all pieces.

        A slab is as wide as the log's slabs are on average, π/4 of the diameter:
        slabs as thick together as the log then hold what the log holds.
        """
        if self.thick_cm is not None:
            width = math.pi / 4.0 * (self.small_cm + self.large_cm) / 2.0
            return width * self.thick_cm * self.length_cm * 1e-6 * self.count
        whole = float(smalian(self.small_cm, self.large_cm, self.length_cm)) * self.count
        return whole / 2.0 if self.halved else whole


def stick_of(
    butt_cm: float | None,
    top_cm: float | None,
    length_cm: float | None,
    numbers: Numbers,
    *,
    taper_cm_m: float,
    nominal_cm: float,
    count: int = 1,
    thick_cm: float | None = None,
    halved: bool = False,
) -> Stick:
    """The piece of wood, with what nobody measured taken from the other end, else from a nominal log.

    ``taper_cm_m`` and ``nominal_cm`` are ``taper`` and ``butt`` of config/assumptions.toml.

    Raises
    ------
    VolumeError
        For a size below zero.
    """
    assumed = []
    if length_cm is None:
        length_cm = numbers["length"]
        assumed.append(f"length: {length_cm:g} cm")
    if butt_cm is None and top_cm is None:
        butt_cm = nominal_cm
        assumed.append(f"butt: {butt_cm:g} cm")
    if butt_cm is None:
        butt_cm = other_end(top_cm or 0.0, length_cm, taper_cm_m, known="top")
        assumed.append(f"butt: {butt_cm:.0f} cm, from the top")
    elif top_cm is None:
        top_cm = other_end(butt_cm, length_cm, taper_cm_m, known="butt")
        assumed.append(f"top: {top_cm:.0f} cm, from the butt")
    small, large = sorted((butt_cm, top_cm if top_cm is not None else butt_cm))
    smalian(small, large, length_cm)  # refuses sizes that cannot be
    return Stick(small, large, length_cm, count, thick_cm, halved, tuple(assumed))


def bark_ratio(group: str, numbers: Numbers) -> float:
    """Diameter inside bark over outside for a group of woods (``Species.group``), for over bark."""
    key = "bark_" + group.replace(" ", "_").replace("-", "_")
    return numbers.get(key, numbers["bark_careful_hardwood"])


# ------------------------------------------------------------------ worth


@dataclass(frozen=True, slots=True)
class Price:
    """What the keeper said a log is worth: an amount, and what it is for."""

    amount: float
    by: By
    rule: Rule = "doyle"  # for board feet

    def __post_init__(self) -> None:
        if not (math.isfinite(self.amount) and self.amount >= 0):
            raise WorthError(f"{self.amount:g} cannot be a price. Give a sum of 0 or more.")
        if self.by not in get_args(By):
            raise WorthError(f"A price is by {', '.join(get_args(By))}, not by '{self.by}'.")


@dataclass(frozen=True, slots=True)
class LogWorth:
    """What a cm of a log is worth, and how much of its length is spare."""

    per_cm: float  # beyond the spare, in ``unit``
    points_per_cm: float  # the same in weighted cm
    unit: Literal["money", "cm"]
    currency: str | None
    length_cm: float
    spare_cm: float  # length above what is needed
    fits: bool  # False: it is already shorter than what is needed
    tenth: float  # what a cm of the spare counts
    left: float | None  # one piece: share of the worth left once it is too short; None: by length

    @property
    def finished_cm(self) -> float:
        """Length that is not spare."""
        return self.length_cm - self.spare_cm

    @property
    def whole(self) -> float:
        """Cost of losing all of it, in ``unit``."""
        return self.per_cm * (self.finished_cm + self.tenth * self.spare_cm)


def log_value(
    stick: Stick, price: Price, numbers: Numbers, decimal_c: DecimalC | None = None, *, as_sold: bool = False
) -> float:
    """Money for a log at a price.

    ``as_sold``: in whole steps of length (and whole inches for board feet), as logs
    are scaled; else as sawn, every cm counting.

    Raises
    ------
    VolumeError
        Where the log rule cannot tell (no row in the Decimal C table).
    """
    if price.by == "lump":
        return price.amount
    if price.by == "piece":
        return price.amount * stick.count
    if price.by == "board foot":
        return price.amount * _board_feet(stick, price.rule, numbers, decimal_c, as_sold)
    if as_sold:
        stick = replace(stick, length_cm=float(whole_steps(stick.length_cm, numbers["sold_step_cm"])))
    share = numbers["recovery"] if price.by == "m3 sawn" else 1.0
    return price.amount * stick.volume_m3 * share


def _board_feet(stick: Stick, rule: Rule, numbers: Numbers, table: DecimalC | None, as_sold: bool) -> float:
    """Board feet of all pieces; slabs by what they hold, for the rules guess at boards in a log."""
    small, length = stick.small_cm, stick.length_cm
    if as_sold:
        length = float(whole_steps(length, numbers["sold_step_ft"] * CM_FT))
        small = float(scaled_inches(small)) * CM_IN
    if length <= 0:
        return 0.0
    if stick.thick_cm is not None:
        return replace(stick, length_cm=length).volume_m3 / BOARD_FOOT_M3
    feet = board_feet(rule, small, length, table) * stick.count
    return feet / 2.0 if stick.halved else feet


def log_worth(
    stick: Stick,
    word: str,
    numbers: Numbers,
    *,
    nominal_cm: float,
    price: Price | None = None,
    currency: str | None = None,
    needs_cm: float | None = None,
    one_piece: bool = False,
    decimal_c: DecimalC | None = None,
) -> LogWorth:
    """What one more cm of loss costs, and the spare length of a log.

    Parameters
    ----------
    word : prized, good, plain or firewood (by species where nobody said one)
    nominal_cm : diameter of the nominal log, ``butt`` of config/assumptions.toml
    currency : the yard's; None is no error
    needs_cm : finished length; None: the default spare
    one_piece : too short for the use is the loss of the use, not of some length

    A lump sum (or a price by piece) is the worth of the log as it is to be used: its
    spare counts a tenth, the rest shares the sum. A price by volume is full for
    every cm beyond the spare.
    """
    if word not in WORDS:
        raise WorthError(f"'{word}' is no word for worth; say {', '.join(WORDS)}.")
    if not (math.isfinite(stick.length_cm) and stick.length_cm > 0):
        raise WorthError(f"A log of {stick.length_cm:g} cm has no length to be worth anything.")
    length, spare, fits = _spare(stick.length_cm, needs_cm, numbers)
    tenth, left = numbers["spare_share"], numbers["one_piece_left"]
    area = stick.volume_m3 / (length / 100.0) / float(end_area(nominal_cm))
    points = numbers[f"weight_{word}"] * area ** numbers["size_power"]
    shared = length
    if price is not None and price.by in ("lump", "piece"):
        shared = (length - spare + tenth * spare) or length
    per_cm = points if price is None else log_value(stick, price, numbers, decimal_c) / shared
    gone = left if one_piece and not fits else 1.0
    return LogWorth(
        per_cm=per_cm * gone,
        points_per_cm=points * gone,
        unit="cm" if price is None else "money",
        currency=None if price is None else currency,
        length_cm=length,
        spare_cm=spare,
        fits=fits,
        tenth=tenth,
        left=left if one_piece and fits else None,
    )


def _spare(length: float, needs: float | None, numbers: Numbers) -> tuple[float, float, bool]:
    if needs is None:
        return length, min(numbers["default_spare"], length), True
    if not (math.isfinite(needs) and needs > 0):
        raise WorthError(f"A finished length of {needs:g} cm cannot be. Say one such as 2.40 m.")
    return length, max(length - needs, 0.0), length >= needs


# ------------------------------------------------------------------ what loss costs


def _total(losses: Sequence[ArrayLike]) -> F:
    total = np.asarray(0.0)
    for loss in losses:
        one = np.asarray(loss, np.float64)
        if np.any(one < 0):
            raise WorthError(f"A loss of {one[one < 0].flat[0]:g} cm cannot be; a log does not grow longer.")
        total = total + one
    return np.asarray(total)


def cost_of_loss(worth: LogWorth, *losses_cm: ArrayLike) -> F:
    """Cost of what a log loses, in ``worth.unit``: one loss per end, arrays that broadcast.

    The spare is shared by the ends: their first cm, up to it, count a tenth; beyond,
    each cm at the full rate, or for a use in one piece the use is lost at once and
    the rest by length. Never more than the whole log. NaN stays NaN.
    """
    total = _total(losses_cm)
    inside = np.minimum(total, worth.spare_cm)
    beyond = np.clip(total - worth.spare_cm, 0.0, worth.finished_cm)
    if worth.left is not None and worth.finished_cm > 0:
        use = worth.finished_cm * (1.0 - worth.left)
        beyond = np.where(beyond > 0, use + worth.left * beyond, beyond)
    return np.asarray(worth.per_cm * (worth.tenth * inside + beyond))


def cost_of_more(worth: LogWorth, more_cm: ArrayLike, before_cm: ArrayLike = 0.0) -> F:
    """Cost of losing ``more_cm`` when all ends together have lost ``before_cm`` already."""
    return np.asarray(cost_of_loss(worth, before_cm, more_cm) - cost_of_loss(worth, before_cm))


def share_lost(worth: LogWorth, *losses_cm: ArrayLike) -> F:
    """Share of the log's worth that is lost, 0 to 1."""
    if worth.whole <= 0:
        return np.asarray(np.clip(_total(losses_cm) / worth.length_cm, 0.0, 1.0))
    return np.asarray(cost_of_loss(worth, *losses_cm) / worth.whole)


def spare_left(worth: LogWorth, losses_cm: Sequence[float]) -> tuple[float, ...]:
    """Spare left at each end: an equal part, less what it lost; an end that lost more takes from the others.

    Together they are what is left of the spare.
    """
    total = max(worth.spare_cm - float(_total(losses_cm)), 0.0)
    raw = [max(worth.spare_cm / len(losses_cm) - loss, 0.0) for loss in losses_cm]
    both = sum(raw)
    return tuple(part * total / both if both > 0 else 0.0 for part in raw)


def cost_as_sold(
    stick: Stick, price: Price, lost_cm: float, numbers: Numbers, decimal_c: DecimalC | None = None
) -> float:
    """Money lost when the log is sold as it is scaled: nothing until a whole step of length is gone.

    Diameters are taken as they were. A lump sum or a price by piece loses its share of the length.
    """
    _total([lost_cm])
    if price.by in ("lump", "piece"):
        return log_value(stick, price, numbers) * min(lost_cm / stick.length_cm, 1.0)
    shorter = replace(stick, length_cm=max(stick.length_cm - lost_cm, 0.0))
    before = log_value(stick, price, numbers, decimal_c, as_sold=True)
    return before - log_value(shorter, price, numbers, decimal_c, as_sold=True)


def money_per_point(worths: Iterable[LogWorth]) -> float | None:
    """Money for one weighted cm: the middle one of the yard's priced logs; None where no log has a price."""
    rates = [w.per_cm / w.points_per_cm for w in worths if w.unit == "money" and w.points_per_cm > 0]
    return median(rates) if rates else None


def one_measure(worths: Sequence[LogWorth]) -> list[float]:
    """Rates in weighted cm for one order of logs: priced ones turned back by the yard's own middle price."""
    rate = money_per_point(worths)
    return [w.per_cm / rate if w.unit == "money" and rate else w.points_per_cm for w in worths]


def cost_of_try(
    worth: LogWorth,
    numbers: Numbers,
    *,
    litres: float = 0.0,
    minutes: float = 0.0,
    price_per_litre: float | None = None,
    wage: float | None = None,
    money_per_point: float | None = None,
) -> float:
    """What one try with the brush costs, in ``worth.unit``.

    With a wage and a worth in money: wax and time. Else so much of a good log
    (``try_cm``), turned into money by the yard's middle price, or by this log's.
    """
    if worth.unit == "cm":
        return numbers["try_cm"]
    if wage is not None:
        return litres * (price_per_litre or 0.0) + minutes / 60.0 * wage
    if money_per_point is None:
        money_per_point = worth.per_cm / worth.points_per_cm if worth.points_per_cm > 0 else 0.0
    return numbers["try_cm"] * money_per_point


# ------------------------------------------------------------------ sealer and weight


def sealer_for(
    coating: Coating, diameters_cm: Iterable[float], *, second: bool = False, count: int = 1
) -> float:
    """Litres for one coat on all these ends, lap on the bark and waste included (``litres_for`` of each)."""
    return sum(litres_for(coating, across, second=second, count=count) for across in diameters_cm)


@dataclass(frozen=True, slots=True)
class Weight:
    """Green weight in kg with its doubt."""

    low: float
    kg: float
    high: float


def green_weight(
    volume_m3: float, basic_density: float, green_moisture: float, numbers: Numbers, *, bark: bool = True
) -> Weight:
    """Weight of fresh wood: oven-dry wood per green volume, its water, and the bark on it.

    Parameters
    ----------
    basic_density : kg oven-dry wood per m³ of green wood
    green_moisture : kg water per kg oven-dry wood
    bark : False for slabs and barked logs

    Raises
    ------
    WorthError
        For a volume, density or moisture that no wood has.
    """
    if not (math.isfinite(volume_m3) and volume_m3 >= 0):
        raise WorthError(f"A volume of {volume_m3:g} m³ cannot be weighed.")
    if not (0 < basic_density <= 1500 and 0 <= green_moisture <= 4):
        raise WorthError(
            f"No wood has {basic_density:g} kg/m³ and {green_moisture:g} kg of water per kg. "
            "Look at the species table."
        )
    kg = (
        volume_m3 * basic_density * (1.0 + green_moisture) * (1.0 + (numbers["weight_bark"] if bark else 0.0))
    )
    doubt = numbers["weight_doubt"]
    return Weight(kg * (1.0 - doubt), kg, kg * (1.0 + doubt))


def lift_warning(kg: float, numbers: Numbers) -> str | None:
    """What a weight asks for, in words; None where one person may lift it. Rules of the place come first."""
    local = "Rules of your place for lifting come first."
    if kg > numbers["lift_machine"]:
        return f"Machine only. {local}"
    if kg > numbers["lift_two"]:
        return f"Two people or a machine. {local}"
    return None
