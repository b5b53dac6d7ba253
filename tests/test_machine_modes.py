"""Body mode and wheel hop against a textbook, an independent library and what every such system obeys."""

import math

import control
import numpy as np
import pytest

from tuner.errors import MachineError
from tuner.estimates import Estimate
from tuner.machine import (
    Corner,
    MotionRatio,
    handbook_zeta,
    modes_estimate,
    modes_missing,
    two_mass_modes,
)
from tuner.wording.doubts import note_text

# D. C. Barton & J. D. Fieldhouse, Automotive Chassis Engineering (Springer), 3.13, book p. 209, Eq. 3.81-3.84
BOOK = {"sprung": 317.5, "unsprung": 45.4, "wheel_rate": 22e3, "tyre_rate": 192e3}


def test_book_frequencies():
    modes = two_mass_modes(**BOOK, c_wheel=0.0)
    # printed: 7.87 rad/s (1.25 Hz) and 68.73 rad/s (10.9 Hz), rounded there from a coefficient 0.07 % too large
    assert 2 * math.pi * modes.body_frequency == pytest.approx(7.87, abs=0.01)
    assert 2 * math.pi * modes.hop_frequency == pytest.approx(68.73, abs=0.03)
    # exact roots of the book's own equation with unrounded coefficients, omega^4 - 4782.948 omega^2 + 293038.3
    assert modes.body_frequency == pytest.approx(1.253924, abs=1e-6)
    assert modes.hop_frequency == pytest.approx(10.935317, abs=1e-6)
    assert modes.body_zeta == pytest.approx(0.0, abs=1e-12)
    assert modes.hop_zeta == pytest.approx(0.0, abs=1e-12)


def test_book_corner_with_damping():
    # control.damp of python-control 0.10.2 for 1500 N*s/m: 7.992348 rad/s, 0.242953; 67.731042 rad/s, 0.250111
    modes = two_mass_modes(**BOOK, c_wheel=1500.0)
    assert 2 * math.pi * modes.body_frequency == pytest.approx(7.992348, abs=1e-6)
    assert modes.body_zeta == pytest.approx(0.242953, abs=1e-6)
    assert 2 * math.pi * modes.hop_frequency == pytest.approx(67.731042, abs=1e-6)
    assert modes.hop_zeta == pytest.approx(0.250111, abs=1e-6)


def drawn(rng):
    return (
        rng.uniform(30, 400),
        rng.uniform(5, 60),
        rng.uniform(5e3, 60e3),
        rng.uniform(50e3, 300e3),
        10 ** rng.uniform(1, 4),
        rng.uniform(0, 200),
    )


def test_second_opinion_over_drawn_corners():
    rng = np.random.default_rng(5)
    for _ in range(200):
        ms, mu, k, kt, c, ct = drawn(rng)
        mass, damping = np.diag([ms, mu]), np.array([[c, -c], [-c, c + ct]])
        stiffness = np.array([[k, -k], [-k, k + kt]])
        a = np.block(
            [
                [np.zeros((2, 2)), np.eye(2)],
                [-np.linalg.solve(mass, stiffness), -np.linalg.solve(mass, damping)],
            ]
        )
        system = control.ss(a, np.zeros((4, 1)), np.eye(4), np.zeros((4, 1)))
        wn, zeta, _ = control.damp(system, doprint=False)
        modes = two_mass_modes(ms, mu, k, kt, c, ct)
        found = [
            (2 * math.pi * modes.body_frequency, modes.body_zeta),
            (2 * math.pi * modes.hop_frequency, modes.hop_zeta),
        ]
        swinging = sorted((w, z) for w, z in zip(wn, zeta, strict=True) if z < 1 - 1e-9)[::2]
        for pair in swinging:
            assert any(pair == pytest.approx(f, rel=1e-6) for f in found)
        assert sum(z < 1 for _, z in found) == len(swinging)


def test_what_every_pair_of_modes_obeys():
    # characteristic polynomial: its constant term is the product of the squared frequencies, its cubic term the
    # sum of 2 zeta omega, whether the modes swing or not
    rng = np.random.default_rng(6)
    overdamped = 0
    for _ in range(500):
        ms, mu, k, kt, c, ct = drawn(rng)
        c *= 3.0
        modes = two_mass_modes(ms, mu, k, kt, c, ct)
        body, hop = 2 * math.pi * modes.body_frequency, 2 * math.pi * modes.hop_frequency
        assert (body * hop) ** 2 == pytest.approx(k * kt / (ms * mu), rel=1e-6)
        assert 2 * (modes.body_zeta * body + modes.hop_zeta * hop) == pytest.approx(
            c / ms + (c + ct) / mu, rel=1e-6
        )
        assert body <= hop
        assert min(modes.body_zeta, modes.hop_zeta) > 0
        overdamped += max(modes.body_zeta, modes.hop_zeta) > 1
    assert 50 < overdamped < 450  # both kinds were drawn


def test_stiff_tyre_and_light_wheel_give_the_handbook_ratio():
    # limit of one mass: zeta = c / (2 sqrt(k m)), also above 1, where two real eigenvalues stand for the mode
    for c in (500.0, 2000.0, 4000.0, 6000.0):
        modes = two_mass_modes(300.0, 0.05, 20e3, 1e9, c)
        assert modes.body_zeta == pytest.approx(c / (2 * math.sqrt(20e3 * 300.0)), rel=1e-3)
        assert 2 * math.pi * modes.body_frequency == pytest.approx(math.sqrt(20e3 / 300.0), rel=1e-3)


def test_locked_damper_bounces_on_the_tyre():
    # limit of huge damping: both masses as one on the tyre, sqrt(k_t / (m_s + m_u))
    modes = two_mass_modes(317.5, 45.4, 22e3, 192e3, 1e8)
    locked = math.sqrt(192e3 / (317.5 + 45.4)) / (2 * math.pi)
    assert min(abs(modes.body_frequency - locked), abs(modes.hop_frequency - locked)) < 1e-3 * locked
    assert min(modes.body_zeta, modes.hop_zeta) < 1e-3


def test_ratio_runs_on_smoothly_through_critical():
    rng = np.random.default_rng(9)
    for _ in range(5):
        ms, mu, k, kt = (
            rng.uniform(200, 300),
            rng.uniform(2, 5),
            rng.uniform(8e3, 15e3),
            rng.uniform(90e3, 150e3),
        )
        hop_critical = 2 * math.sqrt((k + kt) * mu)
        zetas = [two_mass_modes(ms, mu, k, kt, c).hop_zeta for c in hop_critical * np.linspace(0.8, 1.1, 121)]
        assert zetas[0] < 1 < zetas[-1]
        assert np.diff(zetas).max() < 0.05
        assert np.diff(zetas).min() > 0


@pytest.mark.parametrize("position", range(4))
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_impossible_corners_are_refused(position, value):
    arguments = [317.5, 45.4, 22e3, 192e3, 1500.0]
    arguments[position] = value
    with pytest.raises(MachineError, match="must be positive"):
        two_mass_modes(*arguments)


def test_negative_damping_is_refused():
    with pytest.raises(MachineError, match="damping must be zero or positive"):
        two_mass_modes(**BOOK, c_wheel=-1.0)
    with pytest.raises(MachineError, match="tyre damping must be zero or positive"):
        two_mass_modes(**BOOK, c_wheel=1.0, tyre_damping=-1.0)


def outcome_of(numbers):
    try:
        return two_mass_modes(*numbers)
    except MachineError as refusal:
        return refusal


def test_numbers_too_far_apart_never_crash():
    rng = np.random.default_rng(10)
    for _ in range(2000):
        numbers = 10 ** rng.uniform([-1, -2, 1, 1, -3, -3], [4, 4, 8, 8, 9, 6])
        outcome = outcome_of(numbers)
        if isinstance(outcome, MachineError):
            assert "powers of ten" in outcome.message
        else:
            assert all(math.isfinite(m) for m in outcome)


def percent(value, share, unit):
    return Estimate(value, value * (1 - share / 100), value * (1 + share / 100), unit)


def buggy(**changes):
    parts = {
        "name": "rear",
        "sprung_mass": percent(92.0, 4.0, "kg"),
        "unsprung_mass": percent(28.0, 6.0, "kg"),
        "spring_rate": percent(28e3, 5.0, "N/m"),
        "motion_ratio": MotionRatio(percent(0.7, 3.0, "1")),
        "tyre_rate": percent(70e3, 20.0, "N/m"),
        "tyre_damping": Estimate(30.0, 0.0, 60.0, "N*s/m"),
    }
    return Corner(**{**parts, **changes})


def test_every_uncertainty_reaches_the_modes():
    corner = buggy()
    c = percent(1500.0, 8.0, "N*s/m")
    rng = np.random.default_rng(21)
    n = 4000

    def draw(e):
        return e.value * np.exp(rng.normal(0, e.log_sd, n))

    ms, mu, k, r = (
        draw(e)
        for e in (corner.sprung_mass, corner.unsprung_mass, corner.spring_rate, corner.motion_ratio.constant)
    )
    kt, cs, ct = draw(corner.tyre_rate), draw(c), np.abs(rng.normal(30.0, corner.tyre_damping.sd, n))
    draws = np.array(
        [two_mass_modes(*each) for each in zip(ms, mu, k * r**2, kt, cs * r**2, ct, strict=True)]
    )
    found = modes_estimate(c, corner)
    for estimate, column in zip(found[:4], draws.T, strict=True):
        low, high = np.quantile(column, [0.025, 0.975])
        assert estimate.low == pytest.approx(low, rel=0.02)
        assert estimate.high == pytest.approx(high, rel=0.02)
    assert found.notes == ()


def test_handbook_ratio_overstates_the_body_mode():
    # the book's corner: 0.283778 by the one-mass formula, 0.242953 for the mode, 17 % apart
    corner = buggy(
        sprung_mass=Estimate.exact(317.5, "kg"),
        unsprung_mass=Estimate.exact(45.4, "kg"),
        spring_rate=Estimate.exact(22e3, "N/m"),
        motion_ratio=MotionRatio(Estimate.exact(1.0, "1")),
        tyre_rate=Estimate.exact(192e3, "N/m"),
        tyre_damping=Estimate.exact(0.0, "N*s/m"),
    )
    c = Estimate.exact(1500.0, "N*s/m")
    assert handbook_zeta(c, corner).value / modes_estimate(c, corner).body_zeta.value == pytest.approx(
        1.168, abs=1e-3
    )


@pytest.mark.parametrize("missing", ["unsprung_mass", "tyre_rate"])
def test_unknown_parts_are_named(missing):
    corner = buggy(**{missing: None})
    assert modes_estimate(Estimate.exact(1500.0, "N*s/m"), corner) is None
    note = modes_missing(corner)
    assert note.code == "modes-unknown"
    assert missing in note_text(note)
    assert modes_missing(buggy()) is None


def test_overdamped_and_locked_corners_are_said():
    codes = {n.code for n in modes_estimate(Estimate.exact(5000.0, "N*s/m"), buggy()).notes}
    assert codes == {"overdamped", "locked"}
    assert modes_estimate(Estimate.exact(1000.0, "N*s/m"), buggy()).notes == ()
    assert modes_estimate(Estimate.exact(-1.0, "N*s/m"), buggy()) is None


def test_damping_that_may_be_zero_keeps_a_finite_interval():
    found = modes_estimate(Estimate(150.0, -50.0, 350.0, "N*s/m"), buggy())
    assert found.body_zeta.low < 0 < found.body_zeta.high < 1
