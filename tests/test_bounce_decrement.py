"""Damping and friction from turning points against published numbers."""

from __future__ import annotations

import numpy as np
import pytest

from tuner.errors import RecordError
from tuner.fitting.bounce.decrement import ratio_of_decrement, two_sided_decrement


def test_motorcycle_that_falls_to_a_quarter_in_half_a_cycle() -> None:
    # S. S. Rao, Mechanical Vibrations, shock absorber for a motorcycle: zeta 0.4037 (exact 0.4037128)
    above, below, friction = two_sided_decrement(np.array([1.0, -0.25, 0.25**2, -(0.25**3)]))
    for zeta in (above, below):
        assert zeta == pytest.approx(0.4037, abs=5e-5)
        assert zeta == pytest.approx(0.4037128, abs=1e-6)
    assert friction == pytest.approx(0.0, abs=1e-9)


def test_corner_that_loses_half_in_a_cycle() -> None:
    # NCERT Physics XI, 14.21: half of the amplitude in one cycle; exact damped zeta 0.109653
    assert ratio_of_decrement(0.5 * np.log(2.0)) == pytest.approx(0.109653, abs=1e-6)


def test_damping_and_friction_are_told_apart() -> None:
    # Feeny & Liang, J. Sound Vib. 195 (1996): m 100 kg, c 200 N s/m, k 20 kN/m, F 60 N, x0 50 mm;
    # turning points from an event-located integration at 1e-12
    points = np.array([50.0, -34.61662, 22.30448, -12.45041, 4.56367]) * 1e-3
    above, below, friction = two_sided_decrement(points)
    assert (above, below) == pytest.approx((0.0707107, 0.0707107), abs=1e-6)
    assert friction == pytest.approx(3.0e-3, abs=1e-8)
    # a plain logarithmic decrement of the first cycle takes friction for damping: 0.127428, 80 % too much
    plain = ratio_of_decrement(0.5 * np.log(50.0 / 22.30448))
    assert plain == pytest.approx(0.127428, abs=1e-6)


def test_friction_alone_falls_along_a_straight_line() -> None:
    # k 20 N/mm, F 39.9934 N, x0 39 mm: 3.99934 mm less in every half cycle
    drop = 3.99934e-3
    points = np.array([(-1.0) ** n * (39e-3 - n * drop) for n in range(6)])
    above, below, friction = two_sided_decrement(points * (1.0 - 1e-8 * np.arange(6)))
    assert (above, below) == pytest.approx((0.0, 0.0), abs=1e-6)
    assert friction == pytest.approx(0.5 * drop, rel=1e-6)


def test_both_sides_have_their_own_damping() -> None:
    # made from the recurrence itself: r 0.8 above rest, 0.5 below, held 1 mm off; zeta = d / sqrt(pi^2 + d^2)
    points = [0.05]
    for ratio in (0.8, 0.5, 0.8, 0.5):
        sign = np.sign(points[-1])
        points.append(-ratio * points[-1] + sign * (1 + ratio) * 1e-3)
    above, below, friction = two_sided_decrement(np.array(points))
    decrements = -np.log([0.8, 0.5])
    assert (above, below) == pytest.approx(tuple(decrements / np.hypot(np.pi, decrements)), abs=1e-9)
    assert friction == pytest.approx(1e-3, abs=1e-9)


@pytest.mark.parametrize("points", [[1.0], [1.0, 0.5, 0.2, 0.1], [0.5, -1.0], [1.0, -2.0, 4.0, -8.0]])
def test_what_is_no_decay_is_refused(points: list[float]) -> None:
    with pytest.raises(RecordError):
        two_sided_decrement(np.array(points))
