"""Units at the doors, against defined values: NIST SP 811 (inch, pound, standard gravity, psi)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tuner.errors import UnitError
from tuner.units import (
    SHOWN,
    SI_UNIT,
    amount_to_si,
    from_si,
    known_unit,
    parse_estimate,
    shown,
    text_of,
    to_si,
)

# NIST SP 811 (2008), appendix B: exact definitions
INCH, POUND, GRAVITY = 0.0254, 0.45359237, 9.80665
POUND_FORCE = POUND * GRAVITY


@pytest.mark.parametrize(
    ("unit", "kind", "expected"),
    [
        ("in", "length", INCH),
        ('"', "length", INCH),
        ("MM", "length", 1e-3),
        ("ft", "length", 12 * INCH),
        ("in/s", "speed", INCH),
        ("km/h", "speed", 1 / 3.6),
        ("lb", "force", POUND_FORCE),
        ("lbs", "force", POUND_FORCE),
        ("lbf", "force", POUND_FORCE),
        ("kgf", "force", GRAVITY),
        ("kp", "force", GRAVITY),
        ("kg", "force", GRAVITY),
        ("KN", "force", 1000.0),
        ("daN", "force", 10.0),
        ("lb", "mass", POUND),
        ("g", "mass", 1e-3),
        ("g", "acceleration", GRAVITY),
        ("m/s²", "acceleration", 1.0),
        ("m/s^2", "acceleration", 1.0),
        ("m/s2", "acceleration", 1.0),
        ("lbf/in", "stiffness", POUND_FORCE / INCH),
        ("lb/in", "stiffness", POUND_FORCE / INCH),
        ("N/mm", "stiffness", 1000.0),
        ("Ns/m", "damping", 1.0),
        ("N·s/m", "damping", 1.0),
        ("lbf*s/in", "damping", POUND_FORCE / INCH),
        ("psi", "pressure", POUND_FORCE / INCH**2),
        ("bar", "pressure", 1e5),
        ("cSt", "viscosity", 1e-6),
        ("mm²/s", "viscosity", 1e-6),
        ("ml", "volume", 1e-6),
        ("cc", "volume", 1e-6),
        ("deg/s", "angular rate", math.pi / 180),
        ("°/s", "angular rate", math.pi / 180),
        ("rpm", "frequency", 1 / 60),
        ("ms", "time", 1e-3),
        ("ns", "time", 1e-9),
        ("%", "ratio", 0.01),
    ],
)
def test_units_of_the_trade_convert_to_their_defined_values(unit, kind, expected):
    assert float(to_si(1.0, kind, unit)) == pytest.approx(expected, rel=1e-12)


def test_temperatures_keep_their_offset():
    """0 degC = 273.15 K; 212 degF = 100 degC (definitions)."""
    assert float(to_si(0.0, "temperature", "degC")) == pytest.approx(273.15)
    assert float(to_si(212.0, "temperature", "degF")) == pytest.approx(373.15)
    assert amount_to_si("9 degF", "temperature difference", name="t") == pytest.approx(5.0)


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("kind", sorted(SI_UNIT))
def test_every_kind_can_be_shown_and_comes_back(kind, system):
    values = np.array([-3.0, 0.25, 812.0])

    back = to_si(from_si(values, kind, SHOWN[system][kind].unit), kind, SHOWN[system][kind].unit)

    np.testing.assert_allclose(back, values, rtol=1e-12, atol=1e-10)


@pytest.mark.parametrize(
    ("unit", "kind"),
    [
        ("mm/s", "force"),
        ("N", "speed"),
        ("blub", "force"),
        ("", "force"),
        ("(((", "force"),
        ("[mm", "length"),
        ("N; drop", "force"),
        ("10**10**10", "force"),
        ("9^9^9^9", "force"),
        ("m" * 100, "length"),
        ("__import__('os')", "force"),
    ],
)
def test_a_wrong_unit_is_refused_with_name_need_and_got(unit, kind):
    with pytest.raises(UnitError) as caught:
        to_si(1.0, kind, unit, name="column 2")

    assert "column 2" in caught.value.message
    assert SI_UNIT[kind] in caught.value.message
    assert repr(unit) in caught.value.message
    assert caught.value.hint
    assert not known_unit(unit, kind)


def test_an_unknown_kind_names_the_nearest():
    with pytest.raises(UnitError, match="no kind") as caught:
        to_si(1.0, "forse", "N")

    assert "force" in caught.value.hint


@pytest.mark.parametrize(
    ("text", "kind", "value", "half"),
    [
        ("92 kg", "mass", 92.0, 0.0),
        (92, "mass", 92.0, 0.0),
        ("92", "mass", 92.0, 0.0),
        ("92 kg +- 2 %", "mass", 92.0, 1.84),
        ("92 kg ± 2 kg", "mass", 92.0, 2.0),
        ("92 kg +/- 2", "mass", 92.0, 2.0),
        ("10,5 mm", "length", 0.0105, 0.0),
        ("350 lbf/in +- 5 lbf/in", "stiffness", 350 * POUND_FORCE / INCH, 5 * POUND_FORCE / INCH),
        ("20 degC +- 3 degC", "temperature", 293.15, None),
        ("0.70 +- 3 %", "ratio", 0.70, 0.021),
    ],
)
def test_amounts_are_read_with_their_uncertainty(text, kind, value, half):
    estimate = parse_estimate(text, kind, name="x")

    assert estimate.value == pytest.approx(value)
    if half is not None:
        assert estimate.high - estimate.value == pytest.approx(half)
        assert estimate.value - estimate.low == pytest.approx(half)


@pytest.mark.parametrize(
    "text", ["", "kg", "ten kg", "92 kg +- 2 mm", "92 kg +- -2 kg", "1 +- 2 +- 3", "nan", True, None, [1]]
)
def test_nonsense_amounts_are_refused(text):
    with pytest.raises(UnitError):
        parse_estimate(text, "mass", name="sprung_mass")


def test_people_read_their_own_units():
    assert text_of(92.0, "mass", "metric") == "92.0 kg"
    assert text_of(POUND_FORCE / INCH * 350, "stiffness", "us") == "350 lbf/in"
    assert shown(0.0254, "length", "us") == (pytest.approx(1.0), "in")
