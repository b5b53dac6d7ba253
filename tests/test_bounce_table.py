"""A small, seeded version of the bounce table: random corners from an independent integrator, both sensors.

The whole table is printed by ``python tests/benchmarks/bounce_table.py``.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))

from bounce_corners import Case, case
from bounce_table import Row, one_mass_rows, two_mass_rows

SEEDS = range(2000, 2024)


@pytest.fixture(scope="module")
def cases() -> list[Case]:
    return [case(seed) for seed in SEEDS]


def check(rows: list[Row], least_sure: int) -> None:
    seen = [row for row in rows if np.isfinite(row.value)]
    sure = [row for row in seen if row.sure]
    assert len(seen) >= 0.5 * len(rows)
    # of 36 sides, 95 % intervals miss more than three once in ten such tests
    assert sum(not row.low <= row.truth <= row.high for row in seen) <= 3
    assert len(sure) >= least_sure
    assert sum(row.error < 0.03 for row in sure) >= 0.8 * len(sure)
    assert all(row.error < 0.1 for row in sure)


def test_acceleration_tells_both_ratios(cases: list[Case]) -> None:
    check([row for one in cases for row in two_mass_rows(one, "acceleration")], 4)


def test_travel_tells_both_ratios(cases: list[Case]) -> None:
    check([row for one in cases for row in two_mass_rows(one, "travel")], 1)


def test_one_mass_without_a_tyre_claims_what_is_not_so(cases: list[Case]) -> None:
    rows = [row for one in cases for row in one_mass_rows(one)]
    sure = [row for row in rows if row.sure]
    assert len(sure) >= 3
    assert sum(row.low <= row.truth <= row.high for row in sure) < 0.5 * len(sure)
