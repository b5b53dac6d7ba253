"""What is said of a bounce beside its numbers."""

from __future__ import annotations

import re

import numpy as np
import pytest

from tuner.estimates import Estimate
from tuner.fitting.bounce.doubts import of_friction

FREQUENCY, ZETA, PEAK = 2.0, 0.3, 0.2  # Hz, -, m/s


def notes(friction: float | None, peak: float = PEAK):
    given = None if friction is None else Estimate(friction, 0.9 * friction, 1.1 * friction, "m/s**2")
    ratio = Estimate(ZETA, 0.28, 0.32, "1")
    return of_friction(given, Estimate.exact(FREQUENCY, "Hz"), {"rebound": ratio}, {"rebound": peak})


def test_the_share_of_friction_is_that_of_its_work_over_one_swing() -> None:
    """Both works by summing force times velocity over a sine, for a mass of 1 kg."""
    phase = np.linspace(0.0, 2.0 * np.pi, 100_001)
    speed = PEAK * np.cos(phase)
    friction = np.trapezoid(0.5 * np.abs(speed), phase)
    damping = np.trapezoid(2.0 * ZETA * 2.0 * np.pi * FREQUENCY * speed**2, phase)

    (note,) = notes(0.5)
    said = re.search(r"(\d+) %", note.text)

    assert said is not None
    assert int(said[1]) == pytest.approx(100.0 * friction / damping, abs=0.5)
    assert "rebound" in note.text


def test_little_friction_and_hard_bounces_need_no_word() -> None:
    assert notes(None) == []
    assert notes(0.1) == []
    assert notes(0.5, peak=1.0) == []
