"""Wheel rate, frequency, critical damping and the handbook ratio against published values and closed forms."""

import math

import numpy as np
import pytest

from tuner.errors import MachineError
from tuner.estimates import Estimate, product
from tuner.machine import (
    Corner,
    MotionRatio,
    critical_damping,
    frequency,
    handbook_zeta,
    motion_ratio_at,
    ratio_over_travel,
    spring_force_at_rest,
    wheel_rate,
)
from tuner.units import GRAVITY


def percent(value: float, share: float, unit: str) -> Estimate:
    half = value * share / 100.0
    return Estimate(value, value - half, value + half, unit)


def corner(mass=92.0, rate=28e3, ratio=0.7, spreads=(0.0, 0.0, 0.0), **more) -> Corner:
    return Corner(
        name="rear",
        sprung_mass=percent(mass, spreads[0], "kg"),
        spring_rate=percent(rate, spreads[1], "N/m"),
        motion_ratio=MotionRatio(percent(ratio, spreads[2], "1")),
        **more,
    )


def test_published_quarter_car_one_mass():
    # D. C. Barton & J. D. Fieldhouse, Automotive Chassis Engineering (Springer), 3.13, book p. 209: 317.5 kg on a
    # wheel rate of 22 kN/m with a tyre of 192 kN/m; recomputed: rigid tyre 1.32483 Hz, tyre in series 1.25488 Hz
    quarter = corner(317.5, 22e3, 1.0, tyre_rate=Estimate.exact(192e3, "N/m"))
    assert frequency(quarter).value == pytest.approx(1.32483, abs=5e-6)
    assert frequency(quarter, tyre=True).value == pytest.approx(1.25488, abs=5e-6)
    # the one-mass ratio for 1500 N*s/m there, 0.283778 (recomputed from the same inputs)
    assert handbook_zeta(Estimate.exact(1500.0, "N*s/m"), quarter).value == pytest.approx(0.283778, abs=5e-7)


@pytest.mark.parametrize(("to_spring", "to_wheel"), [(0.35, 0.50), (0.50, 0.35), (0.42, 0.42)])
def test_wheel_rate_holds_the_lever_in_balance(to_spring, to_wheel):
    # a lever on a pivot (Barton & Fieldhouse 3.9.2.1, p. 179): turned a little, the moments of spring and wheel about
    # the pivot are equal. The ratio given is spring over wheel; the other way round would give another rate
    given = corner(ratio=to_spring / to_wheel)
    turned = 1e-3
    spring_force = given.spring_rate.value * to_spring * turned
    wheel_force = spring_force * to_spring / to_wheel
    assert wheel_rate(given).value == pytest.approx(wheel_force / (to_wheel * turned), rel=1e-12)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 1.4])
def test_damping_at_the_wheel_takes_out_the_same_power(ratio):
    # zeta times the critical damping is the coefficient at the wheel: c_w v_w^2 there, c v_d^2 at the damper
    lever, c, wheel_speed = corner(ratio=ratio), 1000.0, 0.26
    at_wheel = handbook_zeta(Estimate.exact(c, "N*s/m"), lever).value * critical_damping(lever).value
    assert at_wheel * wheel_speed**2 == pytest.approx(c * (ratio * wheel_speed) ** 2, rel=1e-12)
    # and critical damping is that of the mass on its wheel rate, 2 m omega
    omega = 2.0 * math.pi * frequency(lever).value
    assert critical_damping(lever).value == pytest.approx(2.0 * 92.0 * omega, rel=1e-12)


def test_uncertainties_as_by_hand():
    # for a constant ratio: zeta = c r / (2 sqrt(k m)), relative errors in quadrature with powers 1, 1, 1/2, 1/2
    rear = corner(spreads=(2.0, 5.0, 3.0))
    c = percent(1500.0, 4.0, "N*s/m")
    expected = product(
        [
            (c, 1.0),
            (rear.motion_ratio.constant, 1.0),
            (rear.spring_rate, -0.5),
            (rear.sprung_mass, -0.5),
            (Estimate.exact(2.0, "1"), -1.0),
        ],
        "1",
    )
    found = handbook_zeta(c, rear)
    assert (found.value, found.low, found.high) == pytest.approx(
        (expected.value, expected.low, expected.high)
    )
    # one r of the damping's r^2 cancels against the wheel rate's: r counts once, not twice and not three times
    only_ratio = corner(spreads=(0.0, 0.0, 3.0))
    assert handbook_zeta(Estimate.exact(1500.0, "N*s/m"), only_ratio).log_sd == pytest.approx(
        only_ratio.motion_ratio.constant.log_sd
    )
    assert wheel_rate(only_ratio).log_sd == pytest.approx(2.0 * only_ratio.motion_ratio.constant.log_sd)


def test_uncertainty_against_drawn_inputs():
    rear = corner(spreads=(6.0, 10.0, 5.0), tyre_rate=percent(70e3, 20.0, "N/m"))
    c = percent(1500.0, 15.0, "N*s/m")
    rng = np.random.default_rng(20)

    def draw(e: Estimate) -> np.ndarray:
        return e.value * np.exp(rng.normal(0.0, e.log_sd, 200_000))

    m, k, r = draw(rear.sprung_mass), draw(rear.spring_rate), draw(rear.motion_ratio.constant)
    tyre, cs = draw(rear.tyre_rate), draw(c)
    ride = k * r**2 * tyre / (k * r**2 + tyre)
    for found, draws in (
        (handbook_zeta(c, rear), cs * r**2 / (2 * np.sqrt(k * r**2 * m))),
        (wheel_rate(rear), k * r**2),
        (frequency(rear), np.sqrt(k * r**2 / m) / (2 * np.pi)),
        (frequency(rear, tyre=True), np.sqrt(ride / m) / (2 * np.pi)),
        (critical_damping(rear), 2 * np.sqrt(k * r**2 * m)),
    ):
        low, high = np.quantile(draws, [0.025, 0.975])
        assert found.low == pytest.approx(low, rel=0.01)
        assert found.high == pytest.approx(high, rel=0.01)


def test_tightening_any_input_never_widens_the_result():
    rng = np.random.default_rng(7)
    for _ in range(100):
        spreads = rng.uniform(0.0, 15.0, 3)
        tighter = spreads.copy()
        tighter[rng.integers(3)] *= rng.uniform(0.0, 1.0)
        c = percent(float(rng.uniform(200, 5000)), float(rng.uniform(0, 20)), "N*s/m")
        mass, rate, ratio = rng.uniform(20, 300), rng.uniform(5e3, 80e3), rng.uniform(0.3, 1.1)
        wide = handbook_zeta(c, corner(mass, rate, ratio, spreads))
        tight = handbook_zeta(c, corner(mass, rate, ratio, tighter))
        assert tight.value == pytest.approx(wide.value)
        assert tight.log_sd <= wide.log_sd * (1 + 1e-9)


def test_scaling_laws():
    # twice the damping, twice the ratio; four times the mass, half the ratio and half the frequency
    rng = np.random.default_rng(8)
    for _ in range(50):
        mass, rate, ratio = rng.uniform(20, 300), rng.uniform(5e3, 80e3), rng.uniform(0.3, 1.1)
        c = float(rng.uniform(200, 5000))
        base, heavy = corner(mass, rate, ratio), corner(4 * mass, rate, ratio)
        zeta = handbook_zeta(Estimate.exact(c, "N*s/m"), base).value
        assert handbook_zeta(Estimate.exact(2 * c, "N*s/m"), base).value == pytest.approx(2 * zeta)
        assert handbook_zeta(Estimate.exact(c, "N*s/m"), heavy).value == pytest.approx(zeta / 2)
        assert frequency(heavy).value == pytest.approx(frequency(base).value / 2)


def test_interval_of_c_that_reaches_zero_is_kept_finite_and_ends_there():
    rear = corner(spreads=(2.0, 2.0, 1.0))
    unsure = Estimate(100.0, -50.0, 250.0, "N*s/m")
    found = handbook_zeta(unsure, rear)
    per_c = handbook_zeta(Estimate.exact(1.0, "N*s/m"), rear).value
    assert found.value == pytest.approx(100.0 * per_c)
    assert found.low == 0.0
    assert found.high == pytest.approx(250.0 * per_c, rel=1e-3)
    open_above = handbook_zeta(Estimate(100.0, 20.0, math.inf, "N*s/m"), rear)
    assert open_above.low < open_above.value
    assert math.isinf(open_above.high) or open_above.high > 1e100


def test_frequency_with_tyre_needs_the_tyre():
    with pytest.raises(MachineError, match="tyre_rate of corner 'rear' must be known") as refusal:
        frequency(corner(), tyre=True)
    assert "tyre_rate" in refusal.value.hint


def rising(n=41):
    """s(z) = 0.6 z + 0.8 z^2: ratio 0.6 + 1.6 z, changing by 1.6 per metre."""
    wheel = np.linspace(0.0, 0.2, n)
    return wheel, 0.6 * wheel + 0.8 * wheel**2


def test_varying_ratio_against_the_curvature_of_the_energy():
    # the wheel rate is the second derivative of the spring's energy, whatever the linkage does
    wheel, damper = rising()
    rate, mass = 28e3, 92.0
    rear = Corner(
        name="rear",
        sprung_mass=Estimate.exact(mass, "kg"),
        spring_rate=Estimate.exact(rate, "N/m"),
        motion_ratio=MotionRatio(None, wheel, damper),
    )

    def energy(z: float) -> float:
        return 0.5 * rate * (0.6 * z + 0.8 * z**2) ** 2

    # equilibrium without preload: energy'(z) = m g, by Newton from outside the library
    z, h = 0.1, 1e-4
    for _ in range(50):
        slope = (energy(z + h) - energy(z - h)) / (2 * h)
        curvature = (energy(z + h) - 2 * energy(z) + energy(z - h)) / h**2
        z -= (slope - mass * GRAVITY) / curvature
    assert motion_ratio_at(rear).value == pytest.approx(0.6 + 1.6 * z, rel=1e-4)
    assert wheel_rate(rear).value == pytest.approx(curvature, rel=1e-4)
    assert spring_force_at_rest(rear).value == pytest.approx(rate * (0.6 * z + 0.8 * z**2), rel=1e-4)


def test_varying_ratio_at_a_measured_rest():
    # with static_travel (preload or not) the force is what holds the mass up: k r^2 + (m g / r) dr/dz
    wheel, damper = rising()
    z = 0.11
    rear = Corner(
        name="rear",
        sprung_mass=Estimate.exact(92.0, "kg"),
        spring_rate=Estimate.exact(20e3, "N/m"),
        motion_ratio=MotionRatio(None, wheel, damper),
        static_travel=Estimate.exact(0.6 * z + 0.8 * z**2, "m"),
    )
    r = 0.6 + 1.6 * z
    assert wheel_rate(rear).value == pytest.approx(20e3 * r**2 + 92.0 * GRAVITY / r * 1.6, rel=1e-4)
    assert handbook_zeta(Estimate.exact(1500.0, "N*s/m"), rear).value == pytest.approx(
        1500.0 * r**2 / (2.0 * math.sqrt((20e3 * r**2 + 92.0 * GRAVITY / r * 1.6) * 92.0)), rel=1e-4
    )


def test_straight_table_is_the_constant_ratio():
    wheel = np.linspace(0.0, 0.2, 14)  # rows that no rounding to millimetres explains
    table = Corner(
        name="rear",
        sprung_mass=percent(92.0, 2.0, "kg"),
        spring_rate=percent(28e3, 3.0, "N/m"),
        motion_ratio=MotionRatio(None, wheel, 0.7 * wheel),
    )
    constant = corner(spreads=(2.0, 3.0, 0.0))
    assert wheel_rate(table).value == pytest.approx(wheel_rate(constant).value, rel=1e-6)
    assert wheel_rate(table).log_sd == pytest.approx(wheel_rate(constant).log_sd, rel=0.05)


def test_falling_ratio_that_cannot_carry_is_refused():
    wheel = np.linspace(0.0, 0.2, 11)
    damper = 0.9 * wheel - 2.0 * wheel**2  # ratio falls from 0.9 to 0.1
    rear = Corner(
        name="rear",
        sprung_mass=Estimate.exact(200.0, "kg"),
        spring_rate=Estimate.exact(15e3, "N/m"),
        motion_ratio=MotionRatio(None, wheel, damper),
        static_travel=Estimate.exact(0.09, "m"),
    )
    with pytest.raises(MachineError, match="wheel rate must be positive"):
        wheel_rate(rear)


def test_ratio_over_travel():
    travel, ratio = ratio_over_travel(MotionRatio(Estimate.exact(0.7, "1")), np.array([0.0, 0.1]))
    assert travel == pytest.approx([0.0, 0.07])
    assert ratio == pytest.approx([0.7, 0.7])
    wheel, damper = rising()
    travel, ratio = ratio_over_travel(MotionRatio(None, wheel, damper), np.array([-0.01, 0.05, 0.21]))
    assert ratio == pytest.approx([0.6, 0.68, 0.92], rel=1e-3)
    assert travel == pytest.approx([-0.006, 0.032, 0.152 + 0.0092], rel=1e-3)


def test_log_scale_of_an_estimate_without_spread_is_exact():
    rear = corner()
    for found in (wheel_rate(rear), frequency(rear), critical_damping(rear)):
        assert found.low == found.value == found.high
