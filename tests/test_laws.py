"""Force laws: closed forms, shapes and refusals."""

from __future__ import annotations

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


def test_impossible_knees_are_refused():
    with pytest.raises(RecordError):
        Knee(1.0, 2.0, 0.0)
    with pytest.raises(RecordError):
        TwoKnees(1.0, 2.0, 3.0, 0.5, 0.4)


def test_every_law_states_a_unit_for_each_parameter():
    for law in EXAMPLES:
        assert LAWS[law.name] is type(law)
        assert set(law.parameters) == set(law.units)
