"""The picture of a recording over time keeps its peaks, and a drag over it takes hold everywhere."""

from __future__ import annotations

import numpy as np
import pytest

from tuner.charts.recording import Channel, recording_figure

RATE = 2000.0  # samples a second


@pytest.fixture(scope="module")
def knocked():
    """A minute of a quiet force with one sample that a knock made: -900 N."""
    time = np.arange(120_000) / RATE
    force = 50.0 * np.sin(2.0 * np.pi * 1.3 * time)
    force[77_777] = -900.0
    return Channel("force", "force", time, force)


def test_a_peak_of_one_sample_is_in_the_picture(knocked):
    line = recording_figure(knocked, selectable=True).data[0]

    assert line.mode == "lines"
    assert min(line.y) == -900.0
    assert line.x[int(np.argmin(line.y))] == pytest.approx(77_777 / RATE, abs=0.001)
    assert len(line.x) < 3000


def test_a_drag_takes_hold_everywhere_at_few_marks(knocked):
    """A box that holds no mark is not taken: there is one at least every 1 % of the picture, and none is seen."""
    marks = recording_figure(knocked, selectable=True).data[1]

    assert marks.mode == "markers"
    assert marks.marker.opacity <= 0.01
    assert (marks.x[0], marks.x[-1]) == pytest.approx((0.0, 60.0), abs=0.1)
    assert np.max(np.diff(marks.x)) < 0.6
    assert len(marks.x) <= 400


def test_a_picture_that_is_only_looked_at_has_no_marks(knocked):
    assert len(recording_figure(knocked, (10.0, 20.0)).data) == 1
