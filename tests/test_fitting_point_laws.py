"""Laws of single points: chosen with what is known of the scatter, and no surer than the points.

The dampers are two straight lines written out here; bounds are counts of the binomial distribution.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.test_fitting_points import weights
from tuner.fitting import fit
from tuner.laws import Knee, Line
from tuner.records import SIDES, SweepRecord

SETS = 40  # sweeps, of two sides each
SPEEDS = np.array([0.025, 0.05, 0.08, 0.13, 0.2, 0.26, 0.4, 0.52])


def drawn(seed: int, *, straight: bool) -> tuple[SweepRecord, dict[str, tuple[float, float, float]]]:
    """Draw a sweep of six to eight speeds with 1 % scatter, gas force and friction; (slope, slope above, knee)."""
    rng = np.random.default_rng(seed)
    speeds = np.sort(rng.choice(SPEEDS[1:-1], rng.integers(4, 7), replace=False))
    speeds = np.concatenate((SPEEDS[:1], speeds, SPEEDS[-1:]))
    gas, friction, truths = rng.uniform(30, 200), rng.uniform(5, 20), {}
    velocity, force = [], []
    for side, way in (("compression", 1.0), ("rebound", -1.0)):
        low, knee = rng.uniform(800, 3000), rng.uniform(0.12, 0.22)
        high = low if straight else low * rng.uniform(0.3, 0.7)
        damping = low * speeds - (low - high) * np.maximum(speeds - knee, 0.0)
        damping *= 1.0 + 0.01 * rng.standard_normal(speeds.size)
        truths[side] = (low, high, knee)
        velocity.append(way * speeds)
        force.append(way * (damping + friction) + gas)
    return SweepRecord(np.concatenate(velocity), np.concatenate(force)), truths


def test_few_speeds_show_a_knee_and_its_interval_holds_it():
    held, knees = {"c_low": 0, "c_high": 0, "v_knee": 0}, 0
    for seed in range(SETS):
        record, truths = drawn(seed, straight=False)
        answer = fit(record)
        for side in SIDES:
            found = answer.side(side)
            if isinstance(found.law, Knee):
                knees += 1
                for name, true in zip(held, truths[side], strict=True):
                    held[name] += found.parameters[name].contains(true)

    assert knees >= 72  # of 80: 95 % in truth give fewer in 1 of 100 draws
    assert all(count >= 0.88 * knees for count in held.values()), (held, knees)  # 95 %, as above


def test_a_straight_damper_is_given_no_knee():
    laws = [
        fit(drawn(seed, straight=True)[0]).side(side).law for seed in range(SETS, 2 * SETS) for side in SIDES
    ]

    assert sum(isinstance(law, Line) for law in laws) >= 72


@pytest.mark.parametrize("frame_rate", [None, 240.0])
def test_the_law_of_hung_weights_is_no_surer_than_their_speeds(frame_rate: float | None):
    """Exact tables: the points lie on a line, the times are known to a hand's reaction or to a frame."""
    answer = fit(weights(frame_rate=frame_rate))

    for side in SIDES:
        law = answer.side(side).parameters["c"]
        best = min(s.c.high - s.c.low for s in answer.side(side).secant)
        # four points of one line: at best half as wide as the best of them
        assert law.high - law.low > 0.4 * best
        assert law.contains(1500.0)
