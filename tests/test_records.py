"""Records are checked once at birth, own their arrays and keep them locked."""

from __future__ import annotations

import numpy as np
import pytest

from tuner.errors import RecordError
from tuner.kinds import KINDS, kind_of
from tuner.records import (
    BounceRecord,
    Conditions,
    CycleRecord,
    CycleTest,
    FlightRecord,
    SweepRecord,
    TravelRecord,
    WeightsRecord,
    conditions_given,
)

T = np.arange(5) / 100
V = np.array([0.1, 0.2, -0.1, -0.2, 0.3])


def records():
    return [
        SweepRecord(V, V * 1000),
        CycleRecord((CycleTest(T, V, V),)),
        WeightsRecord(np.array([20.0]), np.array([0.1]), np.array([1.0]), np.array([1.0])),
        BounceRecord(T, V, "acceleration"),
        TravelRecord(T, V),
        FlightRecord(T, np.ones((5, 3)), np.zeros((5, 3))),
    ]


def test_there_is_one_record_type_per_kind():
    assert [kind_of(r) for r in records()] == list(KINDS)


def test_arrays_are_copied_and_read_only():
    given = V.copy()
    record = SweepRecord(given, given)
    given[0] = 99.0

    assert record.velocity[0] == 0.1
    with pytest.raises(ValueError, match="read-only"):
        record.force[0] = 1.0


@pytest.mark.parametrize(
    "make",
    [
        lambda: SweepRecord(V, V[:-1]),
        lambda: SweepRecord(np.array([0.0]), np.array([1.0])),
        lambda: SweepRecord(np.array([np.nan]), np.array([1.0])),
        lambda: SweepRecord(np.ones((2, 2)), np.ones((2, 2))),
        lambda: CycleTest(T[::-1], V, V),
        lambda: CycleTest(np.zeros(5), V, V),
        lambda: CycleRecord(()),
        lambda: WeightsRecord(np.array([-1.0]), np.array([0.1]), np.array([1.0]), np.array([1.0])),
        lambda: WeightsRecord(np.array([1.0]), np.array([0.1]), np.array([1.0]), np.array([0.5])),
        lambda: TravelRecord(T[:1], V[:1]),
        lambda: FlightRecord(T, np.ones((5, 2))),
        lambda: FlightRecord(T, np.ones((5, 3)), np.ones((4, 3))),
    ],
)
def test_numbers_that_cannot_be_a_record_are_refused(make):
    with pytest.raises(RecordError):
        make()


def test_only_what_somebody_said_is_given():
    assert conditions_given(Conditions()) == {}
    assert conditions_given(Conditions(oil="light", clicks=0.0)) == {"oil": "light", "clicks": 0.0}
