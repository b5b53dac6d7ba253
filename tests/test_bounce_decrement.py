"""Damping and friction from turning points against published numbers."""

from __future__ import annotations

import numpy as np
import pytest

from tuner.errors import RecordError
from tuner.fitting.bounce.decrement import half_cycle_decrement, ratio_of_decrement


def test_motorcycle_that_falls_to_a_quarter_in_half_a_cycle() -> None:
    # S. S. Rao, Mechanical Vibrations, shock absorber for a motorcycle: zeta 0.4037 (exact 0.4037128)
    found = half_cycle_decrement(np.array([1.0, -0.25]))
    assert found.zeta == pytest.approx(0.4037, abs=5e-5)
    assert found.zeta == pytest.approx(0.4037128, abs=1e-6)


def test_corner_that_loses_half_in_a_cycle() -> None:
    # NCERT Physics XI, 14.21: half of the amplitude in one cycle; exact damped zeta 0.109653
    assert ratio_of_decrement(0.5 * np.log(2.0)) == pytest.approx(0.109653, abs=1e-6)


def test_damping_and_friction_are_told_apart() -> None:
    # Feeny & Liang, J. Sound Vib. 195 (1996): m 100 kg, c 200 N s/m, k 20 kN/m, F 60 N, x0 50 mm;
    # turning points from an event-located integration at 1e-12
    found = half_cycle_decrement(np.array([50.0, -34.61662, 22.30448, -12.45041, 4.56367]) * 1e-3)
    assert found.zeta == pytest.approx(0.0707107, abs=1e-6)
    assert found.friction_travel == pytest.approx(3.0e-3, abs=1e-8)
    # a plain logarithmic decrement of the first cycle takes friction for damping: 0.127428, 80 % too much
    plain = ratio_of_decrement(0.5 * np.log(50.0 / 22.30448))
    assert plain == pytest.approx(0.127428, abs=1e-6)


def test_friction_alone_falls_along_a_straight_line() -> None:
    # k 20 N/mm, F 39.9934 N, x0 39 mm: 3.99934 mm less in every half cycle
    drop = 3.99934e-3
    points = np.array([(-1.0) ** n * (39e-3 - n * drop) for n in range(6)])
    r_free = half_cycle_decrement(points * (1.0 - 1e-12 * np.arange(6)))
    assert r_free.zeta == pytest.approx(0.0, abs=1e-6)
    assert r_free.friction_travel == pytest.approx(0.5 * drop, rel=1e-6)


@pytest.mark.parametrize("points", [[1.0], [1.0, 0.5], [0.5, -1.0], [1.0, -2.0, 4.0]])
def test_what_is_no_decay_is_refused(points: list[float]) -> None:
    with pytest.raises(RecordError):
        half_cycle_decrement(np.array(points))
