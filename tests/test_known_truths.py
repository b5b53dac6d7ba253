"""Known truths of randomly drawn dampers are recovered: the small, seeded version of `tests/benchmarks/truth_table.py`.

The dampers come from the independent model of `sample_data`. The goals are shares of many dampers; here are few, so a
program that just meets a goal would often fall short of it by chance. Each bound is therefore the count that such a
program reaches or beats in 99 of 100 draws (binomial distribution). Several quantities of one side err together, so
that each side of a damper counts as one try: 2 * DAMPERS tries for secants and intervals.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.benchmarks.known_truths import Recovered, Recovery, recover
from tests.benchmarks.truth_table import share_of, table

DAMPERS = 20
SEED = 4
SURE = 0.99


def fewest(goal: float, tries: int) -> int:
    """Count that is reached or beaten with probability SURE when each try succeeds with probability `goal`."""
    below = 0.0
    for count in range(tries + 1):
        below += math.comb(tries, count) * goal**count * (1.0 - goal) ** (tries - count)
        if below > 1.0 - SURE:
            return count
    return tries


def reaches(goal: float, items: list[bool], tries: int) -> bool:
    """Say whether the share of `items` is one that a program with that goal could have by chance."""
    return bool(items) and sum(items) / len(items) >= fewest(goal, tries) / tries


@pytest.fixture(scope="module")
def found() -> Recovery:
    return recover(DAMPERS, SEED)


def test_the_bounds_are_those_of_the_binomial_distribution() -> None:
    """Closed forms: one try; and P(all of n) = p^n."""
    assert fewest(0.95, 1) == 0
    assert fewest(0.995, 1) == 1
    assert fewest(0.95, 20) == 16  # P(<= 15 of 20) = 0.0026, P(<= 16 of 20) = 0.0159


def test_secants_are_within_two_percent(found: Recovery) -> None:
    assert len(found.secants) == DAMPERS * 2 * 4
    assert reaches(0.95, [abs(r.error) <= 0.02 for r in found.secants], 2 * DAMPERS)


def test_intervals_hold_the_secants(found: Recovery) -> None:
    assert reaches(0.93, [r.covered for r in found.secants], 2 * DAMPERS)


def test_intervals_are_not_wider_than_the_errors(found: Recovery) -> None:
    """Intervals that are too wide hold every truth; half of honest errors exceed 0.6745 standard deviations.

    The median size of 40 independent normal errors lies within 0.40 and 1.02 in 99 of 100 draws (simulated).
    """
    assert 0.40 < float(np.median(np.abs([_standardised(r) for r in found.secants]))) < 1.02


def test_no_interval_is_far_off(found: Recovery) -> None:
    """Of 160 normal errors none exceeds 4.5 standard deviations in 999 of 1000 draws: a larger one is a wrong fit."""
    worst = max(found.secants, key=lambda r: abs(_standardised(r)))
    assert abs(_standardised(worst)) < 4.5, worst


def _standardised(item: Recovered) -> float:
    assert item.value is not None
    assert item.low is not None
    assert item.high is not None
    return (item.value - item.truth) / ((item.high - item.low) / (2.0 * 1.959964))


def test_knees_are_found(found: Recovery) -> None:
    near = [abs(r.error) <= 0.10 or r.covered for r in found.knees]
    assert len(near) > DAMPERS / 2
    assert reaches(0.95, near, len(near))


def test_dead_strokes_are_found_and_none_is_invented(found: Recovery) -> None:
    near = [abs(r.error) <= 0.10 or r.covered for r in found.dead_strokes]
    assert len(near) >= 5
    assert reaches(0.95, near, len(near))
    invented = [r.low is not None and r.low > 0.0005 for r in found.no_dead_strokes]
    assert reaches(0.95, [not seen for seen in invented], len(invented))


def test_null_pairs_are_not_called_a_change(found: Recovery) -> None:
    assert reaches(0.95, [not called for called in found.null_called], DAMPERS)


def test_changes_of_a_quarter_are_called_in_the_right_direction(found: Recovery) -> None:
    assert reaches(0.95, found.change_called, DAMPERS)
    assert not any(found.wrong_direction)


def test_the_table_counts_what_was_found(found: Recovery) -> None:
    words = table(found)
    k = sum(abs(r.error) <= 0.02 for r in found.secants)
    assert f"{k} of   160" in words.splitlines()[3]


def test_share_and_its_bounds() -> None:
    """Wilson bounds of 8 of 10 independent tries, from the closed form: 0.4902 to 0.9433."""
    k, n, p, low, high = share_of([True] * 8 + [False] * 2, list(range(10)))
    assert (k, n, p) == (8, 10, 0.8)
    assert low == pytest.approx(0.49016, abs=0.02)  # the clustered variance has n - 1 in it
    assert high == pytest.approx(0.94331, abs=0.02)
    # ten copies of each try say no more than one
    _, _, _, low_10, high_10 = share_of(([True] * 8 + [False] * 2) * 10, list(range(10)) * 10)
    assert (low_10, high_10) == pytest.approx((low, high), abs=1e-12)
