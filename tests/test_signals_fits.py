"""Arrays in, arrays out: speed from travel, turning points, thinning."""

from __future__ import annotations

import numpy as np
import pytest
from builders import loop_area

from tuner.signals.cycles import turning_points
from tuner.signals.differentiate import (
    derivative_weights,
    even_derivative,
    harmonic_velocity,
    noise_of,
    velocity_from_travel,
)
from tuner.signals.thin import thin_extremes, thin_indices

RNG = np.random.default_rng(12)
TIME = np.arange(0.0, 4.0, 0.002)
OMEGA = 2 * np.pi * 2.0
TRAVEL = 0.09 - 0.04 * np.cos(OMEGA * TIME)
VELOCITY = 0.04 * OMEGA * np.sin(OMEGA * TIME)


@pytest.mark.parametrize(("points", "order"), [(5, 2), (9, 3), (21, 4)])
def test_weights_are_those_of_scipy(points: int, order: int) -> None:
    signal = pytest.importorskip("scipy.signal")

    for derivative in (0, 1, 2):
        wanted = signal.savgol_coeffs(points, order, deriv=derivative, use="dot")
        assert np.allclose(derivative_weights(points, order, derivative), wanted, atol=1e-10)


def test_speed_has_the_sign_of_the_travel() -> None:
    rising = even_derivative(np.linspace(0.0, 0.1, 50), 0.01, 7)

    assert np.allclose(rising, 0.1 / 49 / 0.01)


@pytest.mark.parametrize("jitter", [0.0, 0.1])
def test_speed_from_noisy_travel_with_uneven_times(jitter: float) -> None:
    """0.02 mm steps at 500 Hz: plain differences would be wrong by 0.7 % of 1 m/s per sample step; here 1 %."""
    time = np.sort(TIME + jitter * 0.002 * RNG.standard_normal(TIME.size))
    time = time[np.concatenate(([True], np.diff(time) > 0))]
    travel = np.round((0.09 - 0.04 * np.cos(OMEGA * time)) / 2e-5) * 2e-5
    wanted = 0.04 * OMEGA * np.sin(OMEGA * time)
    plain = np.gradient(travel, time)

    speed = velocity_from_travel(time, travel, 0.5)

    inner = slice(20, -20)
    error = np.std((speed - wanted)[inner]) / (0.04 * OMEGA)
    assert error < 0.01
    assert error < 0.7 * np.std((plain - wanted)[inner]) / (0.04 * OMEGA)


def test_a_crank_is_followed_by_its_harmonics() -> None:
    """Crank with rod: fundamental and second harmonic; speed to 1e-3 of the peak with 0.05 mm steps."""
    travel = TRAVEL - 0.04 * 0.03 * np.cos(2 * OMEGA * TIME)
    wanted = VELOCITY + 2 * OMEGA * 0.04 * 0.03 * np.sin(2 * OMEGA * TIME)
    speed = harmonic_velocity(TIME, np.round(travel / 5e-5) * 5e-5, np.arange(0.0, 4.0, 0.5))

    assert speed is not None
    assert np.max(np.abs(speed - wanted)) < 1e-3 * np.max(np.abs(wanted))


def test_what_is_not_periodic_is_not_forced_into_harmonics() -> None:
    travel = TRAVEL + 0.01 * np.cumsum(RNG.standard_normal(TIME.size)) / np.sqrt(TIME.size)

    assert harmonic_velocity(TIME, travel, np.arange(0.0, 4.0, 0.5)) is None


def test_noise_is_measured_on_a_moving_signal() -> None:
    assert np.isclose(noise_of(TRAVEL + 1e-5 * RNG.standard_normal(TIME.size)), 1e-5, rtol=0.1)


@pytest.mark.parametrize("phase", [0.0, 0.7, 2.0, 3.5, 5.5])
def test_turning_points_of_a_noisy_sine(phase: float) -> None:
    travel = 0.09 - 0.04 * np.cos(OMEGA * TIME + phase) + 2e-5 * RNG.standard_normal(TIME.size)
    turns = turning_points(TIME, travel)
    at = OMEGA * turns.time + phase
    whole = np.round(at / np.pi)
    inner = slice(1, -1)

    assert np.max(np.abs(at - whole * np.pi)[inner]) < 0.02
    assert np.array_equal(turns.direction, np.where(whole % 2 == 0, 1.0, -1.0))
    assert np.allclose(turns.travel[inner], (0.09 - 0.04 * turns.direction)[inner], atol=1e-4)


def test_a_record_that_begins_at_a_turn_keeps_its_first_stroke() -> None:
    one_cycle = TIME <= 0.5
    turns = turning_points(TIME[one_cycle], TRAVEL[one_cycle])

    assert turns.time.size == 3
    assert np.allclose(turns.time, (0.0, 0.25, 0.5), atol=0.01)


def test_a_shaft_that_stands_still_has_no_turns() -> None:
    assert turning_points(TIME, np.full(TIME.size, 0.05)).time.size == 0


def test_area_of_an_ellipse() -> None:
    phase = np.linspace(0, 2 * np.pi, 20_001)[:-1]

    assert np.isclose(loop_area(3 * np.cos(phase), 5 * np.sin(phase)), 15 * np.pi, rtol=1e-6)


def test_thinning_keeps_ends_and_extremes() -> None:
    values = RNG.standard_normal(50_000)
    values[31_234] = 40.0
    few = thin_extremes(values, 500)

    assert few.size <= 500
    assert 31_234 in few
    assert few[0] == 0
    assert few[-1] == values.size - 1
    assert thin_indices(10).size == 10
    assert thin_indices(10_000, 100).size == 100
