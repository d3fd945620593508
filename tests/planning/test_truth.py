"""Estimate against truth: what cuts and the saw say, and what is learned from them."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from reminder_samples import coat, end, log
from test_worth import AT, fresh, looked

from scheduler.planning.ledger import ledger_of
from scheduler.planning.truth import rows_of, taught
from scheduler.planning.worth import Ledger
from scheduler.settings import species_table
from scheduler.views.rank import cuts_json, cuts_lines
from scheduler.views.wording import Wording
from scheduler.yard.facts import Cut, Log, Moment, Register

DAY = timedelta(days=1)
OPEN = Moment(AT - 60 * DAY)


def cut(days_ago: float = 1.0, size: float | None = 5.0, found: str | None = "clean", **more: Any) -> Cut:
    return Cut(Moment(AT - days_ago * DAY), 7, size, found, "open", OPEN, **more)  # type: ignore[arg-type]


def with_cuts(*cuts: Cut, tag: str = "L01") -> Log:
    return fresh(tag, ends=(replace(end(), diameter_cm=50.0, cuts=cuts),))


def ledger(*logs: Log) -> Ledger:
    view = looked()
    return ledger_of(view.yard, Register(AT, logs), AT, view.coating, species_table(), outlook=view)


def rows(*logs: Log):  # type: ignore[no-untyped-def]
    return rows_of(logs, ledger(*logs))


def test_slices_taken_in_one_go_are_one_cut_between_two_sizes() -> None:
    (row,) = rows(with_cuts(cut(1.0, 2.5, "still cracked"), cut(0.95, 2.5, "clean")))
    assert (row.above, row.at_most) == (2.5, 5.0)
    assert row.low < row.estimate < row.high
    assert row.days_open == pytest.approx(59.0, abs=0.1)


def test_a_cut_that_stayed_cracked_says_only_how_deep_at_least() -> None:
    (row,) = rows(with_cuts(cut(1.0, 2.5, "still cracked")))
    assert row.above == 2.5
    assert row.at_most == float("inf")


def test_a_loss_told_at_the_saw_is_a_measure() -> None:
    (row,) = rows(with_cuts(cut(1.0, 4.0, "clean", measured=True)))
    assert row.above == pytest.approx(3.2)
    assert row.at_most == pytest.approx(5.0)


@pytest.mark.parametrize(
    "said",
    [
        {"size": None},
        {"found": None},
        {"days_ago": 61.0},
    ],
)
def test_a_cut_that_says_nothing_teaches_nothing(said: dict[str, Any]) -> None:
    assert rows(with_cuts(cut(**said))) == ()


def test_a_cut_since_an_assumed_one_teaches_nothing() -> None:
    unsure = replace(cut(), open_since=replace(OPEN, assumed=True))
    assert rows(with_cuts(unsure)) == ()


def test_a_coated_end_is_estimated_under_its_coat() -> None:
    laid = replace(coat("2025-11-01T10:00", 2), moment=Moment(OPEN.time + 2 * DAY))
    (bare,), (coated,) = rows(with_cuts(cut())), rows(with_cuts(cut(coats=(laid,))))
    assert coated.coated
    assert coated.estimate < 0.5 * bare.estimate
    assert coated.days_open == pytest.approx(2.0, abs=0.1)


def test_cuts_that_all_went_deeper_teach_a_larger_factor_and_few_teach_none() -> None:
    one = rows(with_cuts(cut()))[0]
    deep = [
        with_cuts(cut(1.0 + n / 10, 1.8 * one.estimate, "clean", measured=True), tag=f"L{n:02d}")
        for n in range(10)
    ]
    found = taught(rows(*deep), ledger(*deep))
    assert found.used
    assert found.factor == pytest.approx(1.8, rel=0.25)
    few = taught(rows(*deep[:2]), ledger(*deep[:2]))
    assert not few.used
    assert few.factor == 1.0


def test_the_table_names_each_cut_and_says_how_many_lay_within_the_band() -> None:
    logs = (
        with_cuts(cut(1.0, 5.0, "clean", measured=True)),
        with_cuts(cut(2.0, 90.0, "still cracked"), tag="L02"),
    )
    found = rows(*logs)
    view = looked()
    said = cuts_lines(found, taught(found, ledger(*logs)), Wording(view.yard.zone, "metric", AT))
    text = "\n".join(said)
    assert "L01 butt" in text
    assert "L02 butt" in text
    assert "deeper" in text
    assert "of 2 within the band" in text
    data = cuts_json(found, taught(found, ledger(*logs)))
    assert {row["at_most_cm"] for row in data["cuts"]} >= {None}
    assert (
        "No cut says anything yet"
        in cuts_lines((), taught((), ledger(log("L03", end()))), Wording(view.yard.zone, "metric", AT))[0]
    )
