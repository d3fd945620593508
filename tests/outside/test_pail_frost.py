"""The carriers' frost season by usual air, held against the nights of recorded years.

Daily records: Champion, Nebraska, 1982-2018 and Brussels 1976-2005, out of the PyPI
package `aquacrop` (Apache-2.0), looked for as in test_first_freeze.py.
"""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from scheduler.planning.normals import Normals
from scheduler.planning.pail import frost_weeks
from scheduler.settings import pail_numbers
from scheduler.weather.air import humidity
from scheduler.weather.history import DailyRecord, numbered
from scheduler.weather.history_read import read_daily_csv

F = NDArray[np.float64]
FOLDER = Path(os.environ.get("COATCAST_CLIMATE") or Path(__file__).parents[3] / "shared" / "climate")
FILES = {"Champion": "champion_ne_daily_1982_2018.csv", "Brussels": "brussels_daily_1976_2005.csv"}
JULY = 181  # 1 July, day of a year of 365 days

pytestmark = pytest.mark.skipif(
    not FOLDER.is_dir(), reason="no daily records here: set COATCAST_CLIMATE to the folder of the two tables"
)


def record(name: str) -> DailyRecord:
    return read_daily_csv((FOLDER / FILES[name]).read_text(encoding="utf-8"))


def from_july(values: F, kept: DailyRecord) -> F:
    """Mean by day from 1 July over all years, the week around taken together, (365,)."""
    number = (numbered(kept.dates) - JULY) % 365
    known = np.isfinite(values)
    total = np.bincount(number[known], values[known], 365)
    count = np.bincount(number[known], minlength=365)
    around = (np.arange(365)[:, None] + np.arange(-3, 4)) % 365
    return np.asarray(total[around].sum(axis=1) / count[around].sum(axis=1))


@pytest.mark.parametrize("name", FILES)
def test_the_first_frosty_week_by_usual_air_is_near_that_of_the_recorded_nights(name: str) -> None:
    """From a week before one night in twenty freezes to a week after three in ten do."""
    kept = record(name)
    usual = from_july((kept.min_c + kept.max_c) / 2, kept)
    # The record has no dew point; its nights stand for it, as FAO Irrigation and Drainage Paper 56 has it.
    damp = humidity(usual, from_july(kept.min_c, kept))
    normals = Normals(usual, damp, datetime(2025, 7, 1, tzinfo=UTC), guess=False)
    ours = int(np.argmax(frost_weeks(normals, pail_numbers())))
    share = from_july(np.where(np.isfinite(kept.min_c), kept.min_c <= 0.0, np.nan), kept)
    first = {limit: int(np.argmax(share >= limit)) for limit in (0.05, 0.3)}
    assert first[0.05] - 7 <= ours <= first[0.3] + 7
