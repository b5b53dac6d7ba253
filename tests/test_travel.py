"""Driving: signals whose shares, stops and sinking are known in closed form, and two runs over one ground."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tuner.errors import FitError
from tuner.estimates import Estimate
from tuner.fitting.travel import fit_travel
from tuner.machine import Corner, MotionRatio
from tuner.records import TravelRecord
from tuner.signals.ground import line_up

T = np.arange(0, 120, 0.002)
RNG = np.random.default_rng(11)


def corner(static: float = 0.09, full: float = 0.21) -> Corner:
    return Corner(
        name="rear",
        sprung_mass=Estimate.exact(92.0, "kg"),
        unsprung_mass=None,
        spring_rate=Estimate.exact(28e3, "N/m"),
        motion_ratio=MotionRatio(Estimate.exact(0.7, "1")),
        tyre_rate=None,
        damper_travel=Estimate.exact(full, "m"),
        static_travel=Estimate.exact(static, "m"),
    )


def test_time_shares_of_a_sine_follow_the_arcsine_law():
    """|v| of a sine with peak V stays below s for (2/pi) asin(s/V) of the time, half of it on each side."""
    amplitude, frequency = 0.03, 1.9
    peak = amplitude * 2 * math.pi * frequency
    fit = fit_travel(TravelRecord(T, 0.09 + amplitude * np.sin(2 * math.pi * frequency * T)))

    for share in fit.time_share:
        below = [2 / math.pi * math.asin(min(s / peak, 1.0)) for s in (share.low, share.high)]
        assert share.share.value == pytest.approx((below[1] - below[0]) / 2, abs=0.004)
    assert sum(s.share.value for s in fit.time_share) == pytest.approx(1.0)


def test_a_speed_that_was_never_reached_is_not_known_to_be_impossible():
    """Rule of three: 120 s hold 480 strokes of a quarter second; fewer than 3 in 480 may reach it, 19 times in 20
    (Hanley & Lippman-Hand, *JAMA* 249, 1983, from memory)."""
    fit = fit_travel(TravelRecord(T, 0.09 + 0.02 * np.sin(2 * math.pi * 1.9 * T)))
    fastest = fit.time_share[-1].share

    assert fastest.value == 0.0
    assert fastest.high == pytest.approx(3 / 480)


def test_mean_position_peak_speeds_and_main_frequency_come_back():
    x = 0.08 + 0.02 * np.sin(2 * math.pi * 1.75 * T) + RNG.normal(0, 1e-4, T.size)
    fit = fit_travel(TravelRecord(T, x), corner())

    assert fit.mean_position.contains(0.08)
    assert fit.mean_below_static.value == pytest.approx(-0.01, abs=1e-4)
    assert fit.peak_speed["rebound"].value == pytest.approx(0.02 * 2 * math.pi * 1.75, rel=0.06)
    assert fit.main_frequencies[0] == pytest.approx(1.75, abs=0.13)
    assert not fit.compression.seen


def test_stops_are_counted_with_their_closing_speed():
    """Triangle strokes of 0.6 m/s that run into both ends of 200 mm, seven times each."""
    period = 2 * 0.24 / 0.6
    phase = (T[7 * period > T] / period + 0.25) % 1.0
    x = np.clip(-0.02 + 0.48 * np.minimum(phase, 1 - phase), 0.0, 0.20)

    fit = fit_travel(TravelRecord(T[: x.size], x), corner(full=0.20))

    assert len(fit.bottomed) == 7
    assert len(fit.topped_out) == 7
    assert all(c.speed == pytest.approx(0.6, rel=0.05) for c in fit.bottomed)


def test_packing_is_the_sink_over_a_row_of_bumps():
    """Rows of 20 bumps at 2 Hz, 8 s of smooth ground between; the mean sinks 12 mm as 1 - exp(-t / 1 s) in each."""
    cycle = T % 18.0
    driving = cycle < 10.0
    sink = np.where(driving, 0.012 * (1 - np.exp(-cycle)), 0.012 * np.exp(-(cycle - 10.0)))
    x = (
        0.09
        + sink
        + np.where(driving, 0.015 * np.sin(2 * math.pi * 2 * T), 0.0)
        + RNG.normal(0, 5e-5, T.size)
    )

    fit = fit_travel(TravelRecord(T, x))

    # mean of the last third minus the mean of the first: 12 mm * (0.29 mean loss of the first 3.3 s)
    expected = 0.012 * (1 - math.exp(-10 / 3)) / (10 / 3) - 0.012 * (math.exp(-20 / 3) - math.exp(-10)) / (
        10 / 3
    )
    assert fit.packing.value == pytest.approx(expected, rel=0.15)
    assert fit.packing.low > 0


def test_what_is_not_given_is_said_to_be_unknown():
    fit = fit_travel(TravelRecord(T, 0.09 + 0.02 * np.sin(11 * T)))

    assert fit.bottomed is None
    assert {"static-unknown", "full-travel-unknown"} <= {n.code for n in fit.notes}


def test_travel_outside_the_damper_is_named():
    fit = fit_travel(TravelRecord(T, 0.19 + 0.04 * np.sin(11 * T)), corner(full=0.2))

    assert "beyond-travel" in [n.code for n in fit.notes]


def test_a_shaft_that_does_not_move_is_refused():
    with pytest.raises(FitError, match="hardly moves"):
        fit_travel(TravelRecord(T, 0.09 + RNG.normal(0, 1e-5, T.size)))


def ground(seed: int) -> np.ndarray:
    """A rough strip, 90 s at the first run's pace, as shaft travel over place."""
    rng = np.random.default_rng(seed)
    rough = np.convolve(rng.normal(0, 1, 90 * 500), np.hanning(200), mode="same")
    return 0.09 + 0.01 * rough / rough.std()


def test_the_same_ground_is_lined_up_at_another_pace_and_with_other_damping():
    """Run B starts 7.3 s later and drives 6 % faster; its travel is 30 % larger and has its own noise."""
    strip = ground(1)
    place = np.arange(strip.size) / 500
    tb = np.arange(0, 80, 0.002)
    b = (
        0.09
        + 1.3 * (np.interp((tb - 7.3) * 1.06, place, strip, left=0.09) - 0.09)
        + RNG.normal(0, 5e-4, tb.size)
    )

    pairs = line_up(place, strip, tb, b)

    assert len(pairs) >= 8
    for pair in pairs:
        assert pair.start_b == pytest.approx(pair.start_a / 1.06 + 7.3, abs=0.15)


def test_other_ground_is_not_taken_for_the_same():
    place = np.arange(ground(1).size) / 500

    assert len(line_up(place, ground(1), place, ground(2))) <= 1
