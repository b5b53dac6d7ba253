"""The workshop's sums against published examples and closed forms, each with its source."""

import math

import numpy as np
import pytest

from tuner.errors import MachineError
from tuner.estimates import Estimate
from tuner.machine import (
    Body,
    cg_height_by_raising,
    cg_to_front,
    coil_rate,
    frequency_from_sag,
    front_share_of,
    pitch_inertia,
    pitch_inertia_by_swing,
    pitch_inertia_from_factor,
    stacked_rate,
)
from tuner.units import amount_to_si


def exact(value, unit):
    return Estimate.exact(value, unit)


def about(value, share, unit):
    return Estimate(value, value * (1 - share), value * (1 + share), unit)


def test_coil_of_pytel_and_singer():
    # Pytel & Singer, Strength of Materials, Problem 343 (from memory, recomputed): 20 turns, d = 20 mm, mean radius
    # 90 mm, G = 83 GPa, 1.5 kN -> 105.4 mm; exact 105.39759 mm, 14.23182 N/mm
    rate = coil_rate(exact(0.020, "m"), exact(0.180, "m"), exact(20, "1"), exact(83e9, "Pa"))
    assert 1500.0 / rate.value == pytest.approx(0.1054, abs=5e-5)
    assert rate.value == pytest.approx(14231.82, abs=0.01)


def test_coil_from_an_exam():
    # exam problem: d = 5 mm, spring index 8, 100 N -> 20 mm; with G = 79.3 GPa 19.3604 active coils (recomputed)
    rate = coil_rate(exact(0.005, "m"), exact(0.040, "m"), exact(19.3604, "1"), exact(79.3e9, "Pa"))
    assert 100.0 / rate.value == pytest.approx(0.020, rel=1e-5)


def test_coil_of_shigley():
    # Shigley Example 10-1 (from memory, recomputed): d 0.037 in, D 0.4005 in, G 11.85 Mpsi, 10.5 turns: 4.11565 lbf/in
    inch, psi = 0.0254, 6894.757293168
    rate = coil_rate(
        exact(0.037 * inch, "m"), exact(0.4005 * inch, "m"), exact(10.5, "1"), exact(11.85e6 * psi, "Pa")
    )
    assert rate.value == pytest.approx(amount_to_si("4.11565 lbf/in", "stiffness", name="rate"), rel=1e-5)


def test_coil_uncertainty_has_the_powers_of_the_formula():
    wire, diameter, coils = about(0.010, 0.01, "m"), about(0.076, 0.01, "m"), about(8.0, 0.01, "1")
    rate = coil_rate(wire, diameter, coils, exact(80e9, "Pa"))
    assert rate.log_sd == pytest.approx(math.sqrt(4**2 + 3**2 + 1) * wire.log_sd, rel=1e-6)
    assert coil_rate(wire, diameter, coils).log_sd > rate.log_sd  # the steel's own uncertainty by default


@pytest.mark.parametrize(
    ("wire", "diameter", "coils", "words"),
    [
        (0.076, 0.010, 8.0, "thinner than half the mean diameter"),
        (0.0, 0.076, 8.0, "wire must be positive"),
        (0.010, 0.076, -8.0, "active_coils must be positive"),
    ],
)
def test_impossible_coils(wire, diameter, coils, words):
    with pytest.raises(MachineError, match=words):
        coil_rate(exact(wire, "m"), exact(diameter, "m"), exact(coils, "1"))


def test_stacked_springs_share_the_force():
    rng = np.random.default_rng(1)
    for _ in range(50):
        rates = rng.uniform(5e3, 80e3, rng.integers(1, 5))
        stacked = stacked_rate([exact(k, "N/m") for k in rates])
        force = 1000.0
        assert force / stacked.value == pytest.approx(sum(force / k for k in rates))
        assert stacked.value <= rates.min() * (1 + 1e-12)
    # two equal springs: half the rate; their independent errors average out by the square root of two
    two = stacked_rate([about(20e3, 0.05, "N/m")] * 2)
    assert two.value == pytest.approx(10e3)
    assert two.log_sd == pytest.approx(about(20e3, 0.05, "N/m").log_sd / math.sqrt(2), rel=1e-3)
    with pytest.raises(MachineError, match="at least one spring"):
        stacked_rate([])


def test_frequency_from_sag_in_both_systems():
    # f[Hz] = 15.7636/sqrt(mm) at g = 9.81; f[cycles/min] = 187.64/sqrt(in) at g = 386.09 in/s^2, the "188" of the SAE
    # texts (Gillespie, from memory)
    for mm in (25.0, 90.0, 150.0):
        assert frequency_from_sag(exact(mm / 1000, "m")).value == pytest.approx(
            15.7636 / math.sqrt(mm), rel=3e-4
        )
    for inch in (1.0, 4.0, 9.0):
        per_minute = 60.0 * frequency_from_sag(exact(inch * 0.0254, "m")).value
        assert per_minute == pytest.approx(187.64 / math.sqrt(inch), rel=1e-4)
        assert per_minute == pytest.approx(188.0 / math.sqrt(inch), rel=2e-3)
    assert frequency_from_sag(about(0.1, 0.02, "m")).log_sd == pytest.approx(
        0.5 * about(0.1, 0.02, "m").log_sd, rel=1e-6
    )
    with pytest.raises(MachineError, match="sag must be positive"):
        frequency_from_sag(exact(0.0, "m"))


def raising(level, raised, *, angle=12.0, **more):
    lift = 2.5 * math.sin(math.radians(angle))
    return cg_height_by_raising(
        exact(2.5, "m"),
        exact(1000.0, "kg"),
        exact(level, "kg"),
        exact(raised, "kg"),
        exact(lift, "m"),
        **more,
    )


def test_cg_height_round_trip():
    # L 2.5 m, W 1000, CG 1.3 m behind the front axle, h 0.55 m, 12 deg: front scale 480 level, 526.762444 with the
    # rear lifted (computed outside the library from three algebras that agree)
    assert raising(480.0, 526.762444).value == pytest.approx(0.55, abs=1e-7)
    # the common shortcut c = b^2 dW/(h W) gives 0.562287 there, 1/cos(12 deg) too much
    assert raising(480.0, 526.762444).value / 0.562287 == pytest.approx(
        math.cos(math.radians(12.0)), rel=1e-5
    )
    above_ground = raising(480.0, 526.762444, axle_height=exact(0.3, "m"))
    assert above_ground.value == pytest.approx(0.85, abs=1e-7)


def test_cg_height_by_a_third_algebra():
    # light-truck body-builder guideline, Eq. 1-9: lifted wheelbase sqrt(L^2 - a^2), y = X_h1 - sqrt(u^2 + X_h2^2) ...,
    # here written with moments about the axle that stays down: sum of moments must vanish
    rng = np.random.default_rng(2)
    for _ in range(50):
        length, total, back, height = (
            rng.uniform(1.5, 3.0),
            rng.uniform(300, 1500),
            rng.uniform(0.3, 0.7),
            0.0,
        )
        height = rng.uniform(0.2, 0.9)
        angle = rng.uniform(0.05, 0.4)
        level = total * (1.0 - back)  # front axle stays on the scale
        # the body's centre of gravity, seen from the rear axle that was lifted, turned nose down by the angle
        forward = (1.0 - back) * length * math.cos(angle) + height * math.sin(angle)
        raised = total * forward / (length * math.cos(angle))
        found = cg_height_by_raising(
            exact(length, "m"),
            exact(total, "kg"),
            exact(level, "kg"),
            exact(raised, "kg"),
            exact(length * math.sin(angle), "m"),
        )
        assert found.value == pytest.approx(height, rel=1e-9)


def test_cg_height_says_how_little_a_small_lift_tells():
    def spread(angle):
        lift = 2.5 * math.sin(math.radians(angle))
        raised = 480.0 + 1000.0 * 0.55 * math.tan(math.radians(angle)) / 2.5
        return cg_height_by_raising(
            exact(2.5, "m"),
            exact(1000.0, "kg"),
            Estimate(480.0, 475.0, 485.0, "kg"),
            Estimate(raised, raised - 5.0, raised + 5.0, "kg"),
            exact(lift, "m"),
        )

    assert spread(5.0).log_sd > 2.0 * spread(15.0).log_sd
    assert spread(15.0).contains(0.55)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((2.5, 1000, 480, 470, 0.5), "raised_mass must be larger than level_mass"),
        ((2.5, 1000, 480, 1100, 0.5), "raised_mass must be smaller than the total mass"),
        ((2.5, 1000, 480, 520, 2.6), "lift must be smaller than the wheelbase"),
        ((2.5, 1000, 480, 520, 0.0), "lift must be positive"),
    ],
)
def test_impossible_raising(arguments, words):
    units = ("m", "kg", "kg", "kg", "m")
    with pytest.raises(MachineError, match=words):
        cg_height_by_raising(*(exact(a, u) for a, u in zip(arguments, units, strict=True)))


def test_swing_of_a_uniform_rod():
    # a rod of length L hung at its end swings with T = 2 pi sqrt(2 L / (3 g)) and has J = m L^2/12 (any mechanics text)
    g = 9.80665
    for mass, length in ((10.0, 1.0), (180.0, 2.4)):
        period = 2 * math.pi * math.sqrt(2 * length / (3 * g))
        found = pitch_inertia_by_swing(exact(mass, "kg"), exact(length / 2, "m"), exact(period, "s"))
        assert found.value == pytest.approx(mass * length**2 / 12, rel=1e-9)


@pytest.mark.parametrize(("to_centre", "period"), [(0.648334, 1.83), (0.289166, 1.68)])
def test_swing_of_a_connecting_rod(to_centre, period):
    # Khurmi & Gupta, Theory of Machines, Example 15.17 (read in a public worked companion, recomputed): 55 kg, hung at
    # either hole it swings in 1.83 s and 1.68 s; I 6.56 kg m^2, k 0.345 m; exact with its g of 9.81 m/s^2: 6.555248
    # about the centre of gravity, which is 0.648334 m and 0.289166 m from the two holes
    found = pitch_inertia_by_swing(exact(55.0, "kg"), exact(to_centre, "m"), exact(period, "s")).value
    about_hole = found + 55.0 * to_centre**2  # in proportion to g
    with_its_g = about_hole * 9.81 / 9.80665 - 55.0 * to_centre**2
    assert with_its_g == pytest.approx(6.555248, abs=3e-4)
    assert with_its_g == pytest.approx(6.56, abs=0.005)
    assert math.sqrt(found / 55.0) == pytest.approx(0.345, abs=1e-3)


def test_swing_uncertainty_against_drawn_inputs():
    mass, arm, period = about(180.0, 0.02, "kg"), about(1.1, 0.01, "m"), about(2.6, 0.004, "s")
    rng = np.random.default_rng(4)
    m, d, t = (e.value * np.exp(rng.normal(0, e.log_sd, 200_000)) for e in (mass, arm, period))
    draws = m * 9.80665 * d * t**2 / (4 * np.pi**2) - m * d**2
    found = pitch_inertia_by_swing(mass, arm, period)
    low, high = np.quantile(draws, [0.025, 0.975])
    assert found.low == pytest.approx(low, rel=0.02)
    assert found.high == pytest.approx(high, rel=0.02)


def test_swing_faster_than_a_point_mass_is_refused():
    with pytest.raises(MachineError, match=r"period must be longer than 2\.006 s") as refusal:
        pitch_inertia_by_swing(exact(100.0, "kg"), exact(1.0, "m"), exact(1.0, "s"))
    assert "there and back" in refusal.value.hint


def test_inertia_from_factor():
    # factor 1 puts the masses at the axles: m_f a^2 + m_r b^2 with m_f = m b/L, m_r = m a/L is m a b
    a, b, mass = 0.95, 0.85, 250.0
    at_axles = mass * b / (a + b) * a**2 + mass * a / (a + b) * b**2
    found = pitch_inertia_from_factor(exact(mass, "kg"), exact(a, "m"), exact(b, "m"), exact(1.0, "1"))
    assert found.value == pytest.approx(at_axles)
    default = pitch_inertia_from_factor(exact(mass, "kg"), exact(a, "m"), exact(b, "m"))
    assert default.low == pytest.approx(0.8 * at_axles, rel=0.01)
    assert default.high == pytest.approx(1.0 * at_axles, rel=0.02)


def test_body_answers_from_what_was_given():
    length = exact(1.8, "m")
    by_share = Body(wheelbase=length, front_share=exact(0.47, "1"), pitch_factor=exact(0.9, "1"))
    by_place = Body(wheelbase=length, cg_to_front=exact(0.954, "m"), pitch_inertia=exact(160.0, "kg*m**2"))
    assert cg_to_front(by_share).value == pytest.approx(0.954)
    assert cg_to_front(by_place).value == 0.954
    mass = exact(250.0, "kg")
    assert pitch_inertia(by_place, mass).value == 160.0
    assert pitch_inertia(by_share, mass).value == pytest.approx(250.0 * 0.9 * 0.954 * 0.846)


def test_axle_loads_of_a_car():
    # Khurmi & Gupta, Theory of Machines, Example 14.12 (inputs read in a public worked companion): 2000 kg, wheelbase
    # 2.5 m, centre of gravity 1.5 m ahead of the rear axle: 11772 N on the front axle and 7848 N on the rear
    share = front_share_of(exact(11772.0 / 9.81, "kg"), exact(7848.0 / 9.81, "kg"))
    car = Body(wheelbase=exact(2.5, "m"), front_share=share, pitch_factor=exact(1.0, "1"))
    assert share.value * 2000.0 * 9.81 == pytest.approx(11772.0, abs=0.5)
    assert cg_to_front(car).value == pytest.approx(2.5 - 1.5, rel=1e-9)


def test_body_respects_that_a_and_b_share_one_wheelbase():
    # J = m f s (1 - s) L^2: at a share of one half a small error of the share does nothing to first order
    sure = exact(1.8, "m")
    body = Body(wheelbase=sure, front_share=about(0.5, 0.05, "1"), pitch_factor=exact(0.9, "1"))
    assert pitch_inertia(body, exact(250.0, "kg")).log_sd < 1e-3


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"front_share": None}, "cg_to_front or front_share must be given"),
        ({"cg_to_front": exact(0.9, "m")}, "exactly one of the two"),
        ({"front_share": exact(1.0, "1")}, "front_share must be between 0 and 1"),
        ({"front_share": None, "cg_to_front": exact(1.9, "m")}, "smaller than the wheelbase"),
        ({"wheelbase": exact(-1.8, "m")}, "wheelbase must be positive"),
    ],
)
def test_impossible_bodies(changes, words):
    given = {
        "wheelbase": exact(1.8, "m"),
        "front_share": exact(0.47, "1"),
        "pitch_factor": exact(0.9, "1"),
        **changes,
    }
    with pytest.raises(MachineError, match=words):
        Body(**given)
