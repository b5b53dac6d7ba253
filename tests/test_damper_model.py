"""The invented damper behind the samples and the known truths, against closed forms of its limits."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from sample_data.bench_model import Bench, simulate_cycles, simulate_weights
from sample_data.damper_model import (
    ATMOSPHERE,
    GRAVITY,
    PHASES,
    Damper,
    Valve,
    gas_force,
    opening_speed,
    steady_loops,
    true_force,
)
from sample_data.random_dampers import random_damper

CLOSED = Valve(leak=1500.0, orifice=1e-9, opening=1e9, softness=1.0, flow=0.0, port=0.0)
LINEAR = Damper(compression=CLOSED, rebound=CLOSED, stiffness=1e6, air=0.0, friction=0.0)
STROKE = 0.080


def _travel() -> np.ndarray:
    return -0.5 * STROKE * np.cos(np.linspace(0.0, 2.0 * math.pi, PHASES + 1))


@pytest.mark.parametrize("speed", [0.05, 0.52, 1.04])
def test_a_linear_damper_on_elastic_oil_is_a_maxwell_element(speed: float) -> None:
    """Amplitude c w X / sqrt(1 + (w c/k)^2), energy pi c w X^2 / (1 + (w c/k)^2): textbook Maxwell element."""
    force = steady_loops([LINEAR], [speed], [STROKE], [0.0])[0]
    omega, c, k = speed / (0.5 * STROKE), 1500.0, 1e6
    slip = 1.0 + (omega * c / k) ** 2
    assert force.max() == pytest.approx(c * speed / math.sqrt(slip), rel=1e-3)
    energy = float(np.trapezoid(force, _travel()))
    assert energy == pytest.approx(math.pi * c * omega * (0.5 * STROKE) ** 2 / slip, rel=2e-3)


def test_the_static_curve_balances_the_flow() -> None:
    """Bleed alone: leak v + orifice v^2; behind a port: + port v^2; wide open shims: the port rules."""
    bleed = Damper(compression=replace(CLOSED, orifice=400.0, port=100.0), rebound=CLOSED)
    v = np.array([0.05, 0.26, 1.04])
    assert true_force(bleed, "compression", v) == pytest.approx(1500.0 * v + 500.0 * v**2, rel=1e-9)
    wide = Damper(
        compression=replace(CLOSED, opening=300.0, softness=1.0, flow=10.0, port=200.0), rebound=CLOSED
    )
    assert true_force(wide, "compression", 1.0) == pytest.approx(300.0 + 200.0, rel=0.01)
    assert opening_speed(wide, "compression") == pytest.approx(0.2, rel=1e-6)


def test_a_slow_cycle_follows_the_static_curve() -> None:
    rng = np.random.default_rng(5)
    for damper in (random_damper(rng, void_share=0.0) for _ in range(3)):
        force = steady_loops([damper], [0.05], [STROKE], [0.0])[0]
        assert force.max() == pytest.approx(float(true_force(damper, "compression", 0.05)), rel=1e-3)
        assert -force.min() == pytest.approx(float(true_force(damper, "rebound", 0.05)), rel=1e-3)


@pytest.mark.parametrize("void", [0.002, 0.006, 0.010])
def test_a_void_takes_its_own_distance_after_the_reversal(void: float) -> None:
    """The force reaches half of the static one after that distance, on that side only.

    A little later than the void alone would say: 1.5 % leaks past while it closes, and the force has to build up.
    """
    damper = replace(LINEAR, stiffness=2e7, void=(0.0, void))
    force = steady_loops([damper], [0.26], [STROKE], [0.0])[0]
    travel = _travel()
    back = np.arange(PHASES // 2, PHASES)
    speed = 0.26 * np.sin(2.0 * math.pi * back / PHASES)
    late = back[-force[back] > 0.5 * 1500.0 * np.abs(speed)][0]
    assert travel.max() - travel[late] == pytest.approx(void, rel=0.04, abs=1.5e-4)
    inward = np.arange(20, PHASES // 2)
    assert force[inward].min() > 0.0


def test_gas_is_polytropic_on_the_rod() -> None:
    damper = Damper(CLOSED, CLOSED, rod=0.02, gas_pressure=1e6, gas_volume=1e-4, polytropic=1.2)
    area = math.pi * 1e-4
    assert float(gas_force(damper, 0.0)) == pytest.approx(area * (1e6 - ATMOSPHERE))
    squeezed = (1e-4 / (1e-4 - area * 0.1)) ** 1.2
    assert float(gas_force(damper, 0.1)) == pytest.approx(area * (1e6 * squeezed - ATMOSPHERE))


def test_a_recording_is_the_loop_with_gas_offset_and_quanta() -> None:
    bench = Bench(force_noise=0.0, travel_noise=0.0, jitter=0.0, force_offset=7.0, cycle_scatter=0.0)
    (trace,) = simulate_cycles(LINEAR, [0.26], STROKE, 500.0, 3, np.random.default_rng(0), bench)
    middle = np.argmin(np.abs(trace.travel - bench.middle))
    rest = trace.force[middle] - float(gas_force(LINEAR, bench.middle)) - 7.0
    assert abs(rest) == pytest.approx(1500.0 * 0.26, rel=0.01)
    assert np.allclose(np.round(trace.force / bench.force_quantum), trace.force / bench.force_quantum)
    assert np.ptp(trace.time) == pytest.approx(3.1 * math.pi * STROKE / 0.26, rel=0.01)


def test_a_light_weight_sinks_at_the_speed_of_balance() -> None:
    """Far from its start a weight falls at v = (m g - gas - friction) / c (gas nearly constant here)."""
    damper = replace(LINEAR, gas_volume=1.0, friction=5.0)
    gas = float(gas_force(damper, 0.09))
    drops = simulate_weights(
        damper, [30.0, 10.0], [1, -1], np.random.default_rng(1), moving_mass=0.0, frame_rate=1e5
    )
    speeds = drops.distance / drops.duration
    assert speeds[0] == pytest.approx((30.0 * GRAVITY - gas - 5.0) / 1500.0, rel=0.02)
    assert speeds[1] == pytest.approx((10.0 * GRAVITY + gas - 5.0) / 1500.0, rel=0.02)
