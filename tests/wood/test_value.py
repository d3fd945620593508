"""What a log is worth, what its loss costs, and what it weighs."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from weather_samples import emulsion

from scheduler.coating.product import litres_for
from scheduler.settings import Number, assumptions, species_table
from scheduler.wood.value import (
    LogWorth,
    Price,
    Stick,
    WorthError,
    bark_ratio,
    cost_as_sold,
    cost_of_loss,
    cost_of_more,
    cost_of_try,
    green_weight,
    lift_warning,
    log_value,
    log_worth,
    money_per_point,
    one_measure,
    sealer_for,
    share_lost,
    spare_left,
    stick_of,
)
from scheduler.wood.volume import DecimalC, VolumeError

CONFIG = Path(__file__).parents[2] / "config"
ENTRIES = tomllib.loads((CONFIG / "value.toml").read_text(encoding="utf-8"))
NUMBERS = {name: float(entry["value"]) for name, entry in ENTRIES.items()}
TABLE = DecimalC.of(tomllib.loads((CONFIG / "scribner_decimal_c.toml").read_text(encoding="utf-8")))
NOMINAL = assumptions()["butt"]
IN, FT = 2.54, 30.48
TWENTY_BY_TEN = Stick(20 * IN, 20 * IN, 10 * FT)  # inches and feet


def worth(stick: Stick | None = None, word: str = "good", **more: Any) -> LogWorth:
    return log_worth(stick or Stick(50.0, 50.0, 300.0), word, NUMBERS, nominal_cm=NOMINAL, **more)


def test_every_number_of_the_file_has_value_unit_source_and_is_read() -> None:
    source = "\n".join(p.read_text(encoding="utf-8") for p in (CONFIG.parent / "scheduler/wood").glob("*.py"))
    for name, entry in ENTRIES.items():
        Number.model_validate(entry)
        made = name.startswith(("weight_prized", "weight_good", "weight_plain", "weight_firewood", "bark_"))
        assert made or f'"{name}"' in source, name


def test_every_group_of_woods_has_a_bark_of_its_own() -> None:
    for group in {row.group for row in species_table().values()}:
        assert f"bark_{group.replace(' ', '_').replace('-', '_')}" in NUMBERS, group
        assert 0.8 <= bark_ratio(group, NUMBERS) <= 1.0
    assert bark_ratio("never heard of", NUMBERS) == NUMBERS["bark_careful_hardwood"]


# ------------------------------------------------------------------ the piece of wood


def stick(butt: float | None, top: float | None, length: float | None, **more: Any) -> Stick:
    return stick_of(butt, top, length, NUMBERS, taper_cm_m=1.0, nominal_cm=NOMINAL, **more)


def test_what_nobody_measured_is_taken_from_the_other_end_and_said() -> None:
    one = stick(50.0, None, 400.0)
    assert (one.small_cm, one.large_cm) == (46.0, 50.0)
    assert one.assumed == ("top: 46 cm, from the butt",)
    other = stick(None, 46.0, 400.0)
    assert (other.small_cm, other.large_cm) == (46.0, 50.0)
    none = stick(None, None, None)
    assert none.large_cm == NOMINAL
    assert none.length_cm == NUMBERS["length"]
    assert [said.split(":")[0] for said in none.assumed] == ["length", "butt", "top"]
    assert stick(50.0, 46.0, 400.0).assumed == ()


def test_a_half_log_and_a_pack_of_all_its_slabs_hold_what_they_should() -> None:
    whole = stick(40.0, 40.0, 300.0)
    assert stick(40.0, 40.0, 300.0, halved=True).volume_m3 == pytest.approx(whole.volume_m3 / 2)
    pack = stick(40.0, 40.0, 300.0, thick_cm=5.0, count=8)  # eight slabs of 5 cm are 40 cm
    assert pack.volume_m3 == pytest.approx(whole.volume_m3)


def test_a_size_below_zero_is_refused() -> None:
    with pytest.raises(VolumeError, match="cannot be -4 cm"):
        stick(50.0, -4.0, 300.0)


# ------------------------------------------------------------------ worth of a log


def test_one_centimetre_of_a_log_at_a_price_by_volume_is_a_disc_of_it() -> None:
    """Reckoned: 1 cm of a log of 30, 50, 60 cm is 0.00071, 0.00196, 0.00283 m³."""
    for across, volume in ((30.0, 0.00071), (50.0, 0.00196), (60.0, 0.00283)):
        found = worth(Stick(across, across, 300.0), price=Price(1000.0, "m3"), currency="EUR")
        assert found.per_cm == pytest.approx(1000.0 * volume, abs=0.006)
        assert (found.unit, found.currency) == ("money", "EUR")


@pytest.mark.parametrize(("inches", "feet"), [(12, 0.79), (16, 1.40), (20, 2.18), (24, 3.14), (30, 4.91)])
def test_one_inch_off_a_log_is_its_end_in_board_feet(inches: int, feet: float) -> None:
    """One inch off one end, gross, is as many board feet as the end has square feet."""
    found = worth(Stick(inches * IN, inches * IN, 10 * FT), price=Price(1 / 0.002359737216, "m3"))
    assert float(cost_of_loss(found, IN)) == pytest.approx(feet, abs=0.005)


def test_without_a_price_length_is_weighed_by_the_word_and_no_currency_is_shown() -> None:
    rates = [worth(word=word, currency="EUR") for word in ("prized", "good", "plain", "firewood")]
    assert [r.unit for r in rates] == ["cm"] * 4
    assert [r.currency for r in rates] == [None] * 4
    assert sorted((r.per_cm for r in rates), reverse=True) == [r.per_cm for r in rates]
    nominal = worth(Stick(NOMINAL, NOMINAL, 200.0))
    assert nominal.per_cm == pytest.approx(1.0)  # a cm of a good log of nominal size is the measure


def test_a_price_without_a_currency_is_no_error() -> None:
    found = worth(price=Price(900.0, "lump"))
    assert (found.unit, found.currency) == ("money", None)


def test_a_bigger_log_loses_more_by_a_centimetre() -> None:
    assert worth(Stick(60.0, 60.0, 300.0)).per_cm == pytest.approx(4 * worth(Stick(30.0, 30.0, 300.0)).per_cm)


def test_prices_of_all_kinds_give_the_worth_of_a_log() -> None:
    log = Stick(20 * IN, 20 * IN, 16 * FT)
    assert log_value(log, Price(900.0, "lump"), NUMBERS) == 900.0
    assert log_value(replace(log, count=3), Price(40.0, "piece"), NUMBERS) == 120.0
    assert log_value(log, Price(2.0, "board foot", "doyle"), NUMBERS) == pytest.approx(512.0)
    assert log_value(log, Price(2.0, "board foot", "scribner c"), NUMBERS, TABLE) == 560.0
    by_volume = log_value(log, Price(500.0, "m3"), NUMBERS)
    assert by_volume == pytest.approx(500.0 * log.volume_m3)
    sawn = log_value(log, Price(500.0, "m3 sawn"), NUMBERS)
    assert sawn == pytest.approx(by_volume * NUMBERS["recovery"])
    slabs = replace(log, thick_cm=5.0, count=4)
    assert log_value(slabs, Price(1.0, "board foot"), NUMBERS) == pytest.approx(
        slabs.volume_m3 * 423.776, rel=1e-5
    )


@pytest.mark.parametrize("amount", [-1.0, math.nan, math.inf])
def test_a_price_that_cannot_be_is_refused(amount: float) -> None:
    with pytest.raises(WorthError, match=r"cannot be a price\. Give a sum of 0 or more\."):
        Price(amount, "lump")


def test_words_and_lengths_that_cannot_be_are_refused() -> None:
    with pytest.raises(WorthError, match="say prized, good, plain, firewood"):
        worth(word="superb")
    with pytest.raises(WorthError, match="has no length"):
        worth(Stick(50.0, 50.0, 0.0))
    with pytest.raises(WorthError, match="A finished length of -5 cm cannot be"):
        worth(needs_cm=-5.0)
    with pytest.raises(WorthError, match="A price is by lump"):
        Price(1.0, "cord")  # type: ignore[arg-type]


# ------------------------------------------------------------------ what loss costs

LOSS = st.floats(0.0, 400.0)
NEEDS = st.one_of(st.none(), st.floats(50.0, 290.0))
PRICES = st.sampled_from(
    [None, Price(900.0, "lump"), Price(420.0, "m3"), Price(1.5, "board foot"), Price(30.0, "piece")]
)


def test_the_first_centimetres_up_to_the_spare_count_a_tenth() -> None:
    found = worth(needs_cm=280.0)  # 300 cm long: 20 cm to spare
    assert found.spare_cm == 20.0
    assert float(cost_of_loss(found, 20.0)) == pytest.approx(2.0 * found.per_cm)
    assert float(cost_of_loss(found, 10.0, 10.0)) == pytest.approx(2.0 * found.per_cm)  # shared by the ends
    assert float(cost_of_loss(found, 15.0, 10.0)) == pytest.approx(7.0 * found.per_cm)
    assert float(cost_of_more(found, 1.0, 19.0)) == pytest.approx(0.1 * found.per_cm)
    assert float(cost_of_more(found, 1.0, 20.0)) == pytest.approx(found.per_cm)


@given(PRICES, NEEDS, LOSS, LOSS, LOSS)
def test_the_parts_of_a_loss_sum_to_the_whole(
    price: Price | None, needs: float | None, a: float, b: float, c: float
) -> None:
    found = worth(price=price, needs_cm=needs)
    parts = cost_of_more(found, a) + cost_of_more(found, b, a) + cost_of_more(found, c, a + b)
    assert float(parts) == pytest.approx(float(cost_of_loss(found, a, b, c)), rel=1e-9, abs=1e-9)
    assert float(cost_of_loss(found, a, b, c)) == pytest.approx(float(cost_of_loss(found, c, a, b)))


@given(PRICES, NEEDS, st.booleans(), LOSS, LOSS, LOSS)
def test_losing_more_never_costs_less_and_never_more_than_the_log(
    price: Price | None, needs: float | None, one_piece: bool, butt: float, top: float, more: float
) -> None:
    found = worth(price=price, needs_cm=needs, one_piece=one_piece)
    less = float(cost_of_loss(found, butt, top))
    assert 0.0 <= less <= float(cost_of_loss(found, butt + more, top)) + 1e-9
    assert float(cost_of_loss(found, butt + more, top)) <= found.whole * (1 + 1e-9)
    assert 0.0 <= float(share_lost(found, butt, top)) <= 1.0 + 1e-9


@given(NEEDS, st.booleans())
def test_a_log_lost_whole_costs_its_lump_sum(needs: float | None, one_piece: bool) -> None:
    found = worth(price=Price(900.0, "lump"), needs_cm=needs, one_piece=one_piece)
    assert float(cost_of_loss(found, 300.0)) == pytest.approx(900.0)
    assert float(cost_of_loss(found, 150.0, 150.0)) == pytest.approx(900.0)
    assert float(share_lost(found, 200.0, 200.0)) == pytest.approx(1.0)


@given(st.lists(st.tuples(LOSS, LOSS), min_size=1, max_size=30), NEEDS, st.booleans())
def test_many_losses_at_once_are_the_losses_one_by_one(
    losses: list[tuple[float, float]], needs: float | None, one_piece: bool
) -> None:
    found = worth(needs_cm=needs, one_piece=one_piece)
    butt, top = np.array(losses).T
    one_by_one = [float(cost_of_loss(found, a, b)) for a, b in losses]
    assert cost_of_loss(found, butt, top) == pytest.approx(np.array(one_by_one))


def test_a_use_in_one_piece_is_lost_when_the_log_is_too_short_for_it() -> None:
    found = worth(price=Price(900.0, "lump"), needs_cm=280.0, one_piece=True)
    just, over = float(cost_of_loss(found, 20.0)), float(cost_of_loss(found, 20.1))
    assert just < 10.0
    assert over == pytest.approx(900.0 * (1 - NUMBERS["one_piece_left"]), rel=0.01)
    by_length = worth(price=Price(900.0, "lump"), needs_cm=280.0)
    assert float(cost_of_loss(by_length, 20.1)) < 10.0


def test_a_log_that_is_already_too_short_says_so_and_has_no_spare() -> None:
    found = worth(price=Price(900.0, "lump"), needs_cm=320.0)
    assert not found.fits
    assert found.spare_cm == 0.0
    one_piece = worth(price=Price(900.0, "lump"), needs_cm=320.0, one_piece=True)
    assert one_piece.per_cm == pytest.approx(NUMBERS["one_piece_left"] * found.per_cm)
    assert one_piece.left is None  # the use is gone already; what is left goes by length


def test_the_spare_left_is_told_for_each_end() -> None:
    found = worth(needs_cm=270.0)
    assert spare_left(found, (6.0, 3.0)) == pytest.approx((9.0, 12.0))
    assert spare_left(found, (20.0, 0.0)) == pytest.approx((0.0, 10.0))
    assert spare_left(found, (20.0, 20.0)) == (0.0, 0.0)


@given(NEEDS, st.lists(LOSS, min_size=1, max_size=3))
def test_the_spare_of_all_ends_together_is_what_is_left_of_it(
    needs: float | None, losses: list[float]
) -> None:
    found = worth(needs_cm=needs)
    assert sum(spare_left(found, losses)) == pytest.approx(max(found.spare_cm - sum(losses), 0.0), abs=1e-9)


def test_a_loss_below_zero_is_refused_and_an_unknown_one_stays_unknown() -> None:
    with pytest.raises(WorthError, match="a log does not grow longer"):
        cost_of_loss(worth(), 3.0, -1.0)
    assert np.isnan(cost_of_loss(worth(needs_cm=280.0, one_piece=True), np.nan, 2.0))


# ------------------------------------------------------------------ as sawn, as sold


def test_seven_inches_an_end_of_a_log_of_twenty_inches_by_ten_feet_as_sawn() -> None:
    """Reckoned by Doyle: of 160 board feet 7 in an end costs 18.7 (11.7 %), 1.5 in an end 4.0 (2.5 %)."""
    found = worth(TWENTY_BY_TEN, price=Price(1.0, "board foot"))
    assert float(cost_of_loss(found, 7 * IN, 7 * IN)) == pytest.approx(18.67, abs=0.05)
    assert float(cost_of_loss(found, 1.5 * IN, 1.5 * IN)) == pytest.approx(4.0, abs=0.05)
    assert float(share_lost(found, 7 * IN, 7 * IN)) == pytest.approx(0.117, abs=0.001)


def test_six_inches_an_end_of_a_walnut_of_twenty_four_inches_by_eight_feet() -> None:
    """Reckoned: 12.5 percent of the length; by Doyle 200 board feet become 175."""
    log = Stick(24 * IN, 24 * IN, 8 * FT)
    found = worth(log, price=Price(1.0, "board foot"))
    assert float(share_lost(found, 6 * IN, 6 * IN)) == pytest.approx(0.125)
    assert 200.0 - float(cost_of_loss(found, 6 * IN, 6 * IN)) == pytest.approx(175.0)


def test_a_log_as_it_is_sold_loses_by_whole_even_feet() -> None:
    price = Price(1.0, "board foot")
    long = replace(TWENTY_BY_TEN, length_cm=10 * FT + 12.0)
    assert cost_as_sold(long, price, 11.9, NUMBERS) == 0.0
    assert cost_as_sold(long, price, 12.1, NUMBERS) == pytest.approx(160.0 - 128.0)
    assert cost_as_sold(long, price, 400.0, NUMBERS) == pytest.approx(160.0)
    assert cost_as_sold(TWENTY_BY_TEN, Price(1.0, "board foot", "scribner c"), 1.0, NUMBERS, TABLE) == 30.0


def test_a_log_sold_by_the_cubic_metre_loses_by_whole_steps_and_a_lump_by_its_share() -> None:
    log = Stick(50.0, 50.0, 305.0)
    by_volume = Price(400.0, "m3")
    assert cost_as_sold(log, by_volume, 5.0, NUMBERS) == 0.0
    assert cost_as_sold(log, by_volume, 6.0, NUMBERS) == pytest.approx(400.0 * math.pi / 4 * 0.25 * 0.10)
    assert cost_as_sold(log, Price(610.0, "lump"), 30.5, NUMBERS) == pytest.approx(61.0)


@given(PRICES.filter(lambda p: p is not None), st.floats(0.0, 300.0), st.floats(0.0, 50.0))
def test_as_sold_too_losing_more_never_costs_less(price: Price, lost: float, more: float) -> None:
    log = Stick(50.0, 50.0, 300.0)
    assert cost_as_sold(log, price, lost, NUMBERS) <= cost_as_sold(log, price, lost + more, NUMBERS) + 1e-9


# ------------------------------------------------------------------ one order, and the cost of a try


def test_logs_with_and_without_a_price_stand_in_one_order() -> None:
    priced = [worth(Stick(d, d, 300.0), price=Price(800.0, "m3")) for d in (30.0, 40.0, 50.0)]
    by_word = [worth(Stick(45.0, 45.0, 300.0), word) for word in ("prized", "plain")]
    rates = one_measure([*priced, *by_word])
    assert rates[0] < rates[1] < rates[2]
    assert rates[3:] == [w.points_per_cm for w in by_word]
    assert rates[1] == pytest.approx(priced[1].points_per_cm)  # one price for good wood: both measures agree
    assert one_measure(by_word) == [w.points_per_cm for w in by_word]
    assert money_per_point(by_word) is None


def test_a_try_costs_wax_and_time_or_so_much_of_a_good_log() -> None:
    priced = worth(price=Price(500.0, "m3"), currency="EUR")
    told = cost_of_try(priced, NUMBERS, litres=0.2, minutes=12.0, price_per_litre=9.5, wage=25.0)
    assert told == pytest.approx(1.9 + 5.0)
    assert cost_of_try(worth(), NUMBERS, litres=0.2, minutes=12.0, wage=25.0) == NUMBERS["try_cm"]
    per_point = priced.per_cm / priced.points_per_cm
    assert cost_of_try(priced, NUMBERS) == pytest.approx(NUMBERS["try_cm"] * per_point)
    assert cost_of_try(priced, NUMBERS, money_per_point=3.0) == pytest.approx(3.0 * NUMBERS["try_cm"])


def test_the_sealer_of_a_log_is_that_of_its_ends() -> None:
    coat = emulsion()
    both = sealer_for(coat, (54.0, 48.0))
    assert both == pytest.approx(litres_for(coat, 54.0) + litres_for(coat, 48.0))
    assert sealer_for(coat, (54.0,), second=True) < sealer_for(coat, (54.0,))
    assert sealer_for(coat, ()) == 0.0


# ------------------------------------------------------------------ weight


def test_a_green_pear_log_of_a_small_yard_weighs_about_two_hundred_kilograms() -> None:
    """41 and 37 cm, 1.6 m: 0.192 m³ x 560 kg/m³ x 1.8, and bark."""
    pear = species_table()["Pyrus communis"]
    log = Stick(37.0, 41.0, 160.0)
    bare = green_weight(log.volume_m3, pear.basic_density, pear.green_moisture, NUMBERS, bark=False)
    assert bare.kg == pytest.approx(193.0, abs=2.0)
    barked = green_weight(log.volume_m3, pear.basic_density, pear.green_moisture, NUMBERS)
    assert barked.kg == pytest.approx(bare.kg * (1 + NUMBERS["weight_bark"]))
    assert barked.low < barked.kg < barked.high


@given(st.floats(0.001, 5.0), st.floats(200.0, 1000.0), st.floats(0.0, 2.0), st.floats(0.0, 1.0))
def test_wetter_and_bigger_wood_is_heavier_and_two_halves_weigh_the_whole(
    volume: float, density: float, moisture: float, more: float
) -> None:
    whole = green_weight(volume, density, moisture, NUMBERS)
    assert whole.kg <= green_weight(volume, density, moisture + more, NUMBERS).kg
    assert whole.kg <= green_weight(volume + more, density, moisture, NUMBERS).kg
    assert 2 * green_weight(volume / 2, density, moisture, NUMBERS).kg == pytest.approx(whole.kg)


@pytest.mark.parametrize(
    ("kg", "said"),
    [
        (24.9, None),
        (25.0, None),
        (25.1, "Two people or a machine."),
        (80.0, "Two people"),
        (80.1, "Machine only."),
    ],
)
def test_a_weight_says_how_many_hands_it_wants_and_names_local_rules(kg: float, said: str | None) -> None:
    found = lift_warning(kg, NUMBERS)
    assert (found is None) == (said is None)
    if said is not None and found is not None:
        assert found.startswith(said)
        assert found.endswith("Rules of your place for lifting come first.")


@pytest.mark.parametrize(
    ("volume", "density", "moisture"),
    [(-1.0, 500.0, 0.8), (1.0, 0.0, 0.8), (1.0, 500.0, 80.0), (math.nan, 500.0, 0.8)],
)
def test_wood_that_cannot_be_is_not_weighed(volume: float, density: float, moisture: float) -> None:
    with pytest.raises(WorthError):
        green_weight(volume, density, moisture, NUMBERS)
