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


def test_the_bounds_are_those_of_the_binomial_distribution() -> None:
    """Closed forms: one try; and P(all of n) = p^n."""
    assert fewest(0.95, 1) == 0
    assert fewest(0.995, 1) == 1
    assert fewest(0.95, 20) == 16  # P(<= 15 of 20) = 0.0026, P(<= 16 of 20) = 0.0159


def _standardised(item: Recovered) -> float:
    assert item.value is not None
    assert item.low is not None
    assert item.high is not None
    return (item.value - item.truth) / ((item.high - item.low) / (2.0 * 1.959964))


def _near(item: Recovered) -> bool:
    return abs(item.error) <= 0.10 or item.covered


def shortfalls(found: Recovery) -> list[str]:
    """Name every goal that these few dampers speak against."""
    sides = 2 * DAMPERS
    scaled = np.abs([_standardised(r) for r in found.secants])
    invented = [r.low is not None and r.low > 0.0005 for r in found.no_dead_strokes]
    goals = {
        "secants within 2 %": reaches(0.95, [abs(r.error) <= 0.02 for r in found.secants], sides),
        "intervals hold the secants": reaches(0.93, [r.covered for r in found.secants], sides),
        # half of honest errors exceed 0.6745 standard deviations; the median size of 40 independent ones lies within
        # 0.40 and 1.02 in 99 of 100 draws (simulated): this is what shows intervals that are too wide
        f"intervals as wide as the errors: {np.median(scaled):.2f}": 0.40 < np.median(scaled) < 1.02,
        # of 160 normal errors none exceeds 4.5 standard deviations in 999 of 1000 draws: a larger one is a wrong fit
        f"no interval far off: {found.secants[int(np.argmax(scaled))]}": scaled.max() < 4.5,
        "knees": reaches(0.95, [_near(r) for r in found.knees], len(found.knees)),
        "dead strokes": reaches(0.95, [_near(r) for r in found.dead_strokes], len(found.dead_strokes)),
        "no dead stroke invented": reaches(0.95, [not seen for seen in invented], len(invented)),
        "null pairs not called": reaches(0.95, [not called for called in found.null_called], DAMPERS),
        "changes called": reaches(0.95, found.change_called, DAMPERS),
        "none in the wrong direction": not any(found.wrong_direction),
    }
    return [name for name, reached in goals.items() if not reached]


def test_known_truths_are_recovered() -> None:
    """One test, so that the dampers are simulated and fitted once however the tests are spread over processes."""
    found = recover(DAMPERS, SEED)
    assert len(found.secants) == DAMPERS * 2 * 4
    assert len(found.knees) > DAMPERS / 2
    assert len(found.dead_strokes) >= 5
    assert len(found.null_called) == len(found.change_called) == DAMPERS
    within = sum(abs(r.error) <= 0.02 for r in found.secants)
    assert f"{within} of   160" in table(found).splitlines()[3]
    assert not shortfalls(found)


def test_a_program_that_is_off_falls_short() -> None:
    """So that the goals above can fail: every secant 3 % high with a narrow interval, every pair called."""
    off = Recovery(dampers=DAMPERS)
    for damper in range(DAMPERS):
        for side in ("compression", "rebound"):
            off.secants += [
                Recovered(damper, side, v, 1000.0, 1030.0, 1020.0, 1040.0, False) for v in (0.13, 0.26)
            ]
            off.knees.append(Recovered(damper, side, 0.0, 0.2, None, None, None, False))
            off.dead_strokes.append(Recovered(damper, side, 0.0, 0.005, 0.004, 0.0038, 0.0042, True))
            off.no_dead_strokes.append(Recovered(damper, side, 0.0, 0.0, 0.002, 0.001, 0.003, False))
    off.null_called = off.wrong_direction = [True] * DAMPERS
    off.change_called = [False] * DAMPERS
    assert len(shortfalls(off)) == 10


def test_share_and_its_bounds() -> None:
    """Wilson bounds of 8 of 10 independent tries, from the closed form: 0.4902 to 0.9433."""
    k, n, p, low, high = share_of([True] * 8 + [False] * 2, list(range(10)))
    assert (k, n, p) == (8, 10, 0.8)
    assert low == pytest.approx(0.49016, abs=0.02)  # the clustered variance has n - 1 in it
    assert high == pytest.approx(0.94331, abs=0.02)
    # ten copies of each try say no more than one
    _, _, _, low_10, high_10 = share_of(([True] * 8 + [False] * 2) * 10, list(range(10)) * 10)
    assert (low_10, high_10) == pytest.approx((low, high), abs=1e-12)


@pytest.mark.parametrize(("hit", "low", "high"), [(False, 0.0, 0.2775328), (True, 0.7224672, 1.0)])
def test_bounds_of_none_and_all_of_ten(hit: bool, low: float, high: float) -> None:
    """Wilson bounds of 0 and of 10 of 10 as R's prop.test gives them without continuity correction."""
    assert share_of([hit] * 10, list(range(10)))[3:] == pytest.approx((low, high), abs=5e-8)
