"""One keeper for each test."""

from __future__ import annotations

from pathlib import Path

import pytest
from keeper import Keeper


@pytest.fixture
def keeper(tmp_path: Path) -> Keeper:
    return Keeper(tmp_path)
