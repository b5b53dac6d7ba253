"""Force laws: closed forms, inverses, and energies against published equivalents."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tuner.errors import RecordError
from tuner.laws import LAWS, Knee, LeakOrifice, Line, Power, TwoKnees

EXAMPLES = [
    Line(1500.0),
    Power(900.0, 0.6),
    LeakOrifice(400.0, 800.0),
    LeakOrifice(900.0, -200.0),
    Knee(3000.0, 600.0, 0.15),
    TwoKnees(3000.0, 600.0, 1200.0, 0.15, 0.6),
]


def test_energy_of_a_line_is_pi_c_omega_x_squared_per_cycle():
    """Stutts (2009): W = pi c w X^2; c 1000 N*s/m, f 2 Hz, X 0.03 m -> 35.530576 J."""
    assert 2 * Line(1000.0).energy_half_cycle(0.03, 4 * math.pi) == pytest.approx(35.530576, abs=1e-6)


def test_energy_of_a_quadratic_law_has_the_published_equivalent():
    """c_eq = (8/3 pi) a w X (Den Hartog; from memory); a 250, X 0.03 m, f 2 Hz -> 80 N*s/m by quadrature."""
    omega, amplitude = 4 * math.pi, 0.03

    energy = 2 * LeakOrifice(0.0, 250.0).energy_half_cycle(amplitude, omega)

    assert energy / (math.pi * omega * amplitude**2) == pytest.approx(80.0, rel=1e-6)


@pytest.mark.parametrize("law", EXAMPLES, ids=lambda law: law.name)
def test_energy_agrees_with_adaptive_quadrature(law):
    """scipy.integrate.quad over the half cycle, the knees given as break points."""
    from scipy.integrate import quad

    amplitude, omega = 0.04, 20.0
    peak = amplitude * omega
    knees = [law.parameters[n] for n in ("v_knee", "v_knee_2") if n in law.parameters]

    expected = (
        2
        * quad(
            lambda p: float(law.force(peak * math.cos(p))) * amplitude * math.cos(p),
            0,
            math.pi / 2,
            points=[math.acos(k / peak) for k in knees] or None,
            limit=200,
        )[0]
    )

    assert law.energy_half_cycle(amplitude, omega) == pytest.approx(expected, rel=2e-5)


@pytest.mark.parametrize("law", EXAMPLES, ids=lambda law: law.name)
@pytest.mark.parametrize("speed", [0.05, 0.13, 0.52, 1.04])
def test_speed_at_inverts_the_force(law, speed):
    assert law.speed_at(float(law.force(speed))) == pytest.approx(speed, rel=1e-9)


@pytest.mark.parametrize("law", EXAMPLES, ids=lambda law: law.name)
def test_every_law_goes_through_zero_and_keeps_its_shape(law):
    speeds = np.linspace(0, 1, 12).reshape(3, 4)

    assert float(law.force(0.0)) == 0.0
    assert law.force(speeds).shape == speeds.shape
    np.testing.assert_allclose(law.secant(speeds[1]), law.force(speeds[1]) / speeds[1])


def test_a_knee_is_continuous_with_the_two_slopes():
    law = Knee(3000.0, 600.0, 0.15)

    assert float(law.force(0.15)) == pytest.approx(450.0)
    assert float(law.force(1.15) - law.force(0.15)) == pytest.approx(600.0)


def test_a_force_that_is_never_reached_has_no_speed():
    assert Line(0.0).speed_at(10.0) == math.inf
    assert LeakOrifice(100.0, -100.0).speed_at(1000.0) == math.inf
    assert Knee(1000.0, 0.0, 0.1).speed_at(200.0) == math.inf


def test_impossible_knees_are_refused():
    with pytest.raises(RecordError):
        Knee(1.0, 2.0, 0.0)
    with pytest.raises(RecordError):
        TwoKnees(1.0, 2.0, 3.0, 0.5, 0.4)


def test_every_law_states_a_unit_for_each_parameter():
    for law in EXAMPLES:
        assert LAWS[law.name] is type(law)
        assert set(law.parameters) == set(law.units)
