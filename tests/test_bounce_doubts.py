"""What is said of dry friction beside the damping that a bounce shows."""

from __future__ import annotations

import numpy as np
import pytest

from tuner.fitting.bounce.answer import friction_share

OMEGA, ZETA, PEAK = 12.0, 0.3, 0.2  # rad/s, -, m/s


def test_the_share_of_friction_is_that_of_its_work_over_one_swing() -> None:
    """Both works by summing force times velocity over a sine, for a mass of 1 kg."""
    phase = np.linspace(0.0, 2.0 * np.pi, 100_001)
    speed = PEAK * np.cos(phase)
    friction = np.trapezoid(0.5 * np.abs(speed), phase)
    damping = np.trapezoid(2.0 * ZETA * OMEGA * speed**2, phase)

    assert friction_share(0.5, OMEGA, ZETA, PEAK) == pytest.approx(friction / damping, rel=1e-6)
