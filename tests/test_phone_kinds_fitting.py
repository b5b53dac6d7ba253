"""Bounces, drives and jumps through the one door of the fits; repeats of one setting put together."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests import phone_kinds as made
from tuner.errors import FitError
from tuner.estimates import Estimate
from tuner.fitting import combine, fit, fit_setting, fitted_together
from tuner.fitting.counts import rate_difference, rate_per_minute
from tuner.fitting.measures import mean_over
from tuner.fitting.traces import DriveTrace, drive_trace
from tuner.jobs import fit_readings
from tuner.reading import Reading
from tuner.records import SIDES


@pytest.fixture(scope="module")
def bounces():
    return [made.bounce(seed=1, name="one.csv"), made.bounce(seed=2, name="two.csv")]


@pytest.fixture(scope="module")
def together(bounces):
    return fit_setting(bounces, made.corner())


def test_bounces_of_one_setting_share_one_fit(together):
    (one,) = together

    assert one.runs == 2
    assert [p.file for p in one.inputs] == ["one.csv", "two.csv"]
    assert {trace.file for trace in one.traces} == {"one.csv", "two.csv"}
    assert combine(together) is one


def test_both_sides_come_back_from_bounces_fitted_together(together):
    """Truth: 0.26 and 0.55, integrated by scipy."""
    (one,) = together

    assert one.compression.zeta.value == pytest.approx(0.26, abs=0.02)
    assert one.rebound.zeta.value == pytest.approx(0.55, abs=0.03)


def test_a_bounce_trace_holds_what_was_measured_and_what_was_fitted(together):
    for trace in together[0].traces:
        left = trace.measured - trace.fitted
        assert trace.time[0] == pytest.approx(0.0, abs=0.1)
        assert float(left.std()) < 0.25 * float(trace.measured.std())


def test_what_is_known_of_the_corner_goes_into_the_fit(bounces, together):
    """Without a corner there is no mass, so neither friction in newtons nor a tyre rate."""
    bare = fit(bounces[0])

    assert bare.friction is None
    assert "tyre_rate" not in bare.corner_measured
    assert together[0].friction.contains(20.0)
    assert together[0].corner_measured["tyre_rate"].value == pytest.approx(70e3, rel=0.15)


def test_jobs_fit_bounces_together_and_say_so(bounces, monkeypatch):
    import tuner.fitting.bounce as room

    asked = []
    monkeypatch.setattr(
        room, "fit_bounce", lambda records, corner=None: asked.append((records, corner)) or "a fit"
    )
    said: list[str] = []

    fits = fit_readings([Reading(b, ()) for b in bounces], made.corner(), progress=said.append)

    assert fits == ("a fit",)
    assert [len(records) for records, _ in asked] == [2]
    assert asked[0][1].name == "rear"
    assert said == ["fitting one.csv and two.csv"]


def test_only_bounces_are_fitted_together():
    drive, jump = made.drive(made.strip()), made.jump(0.5, -1.0, 4.0)

    assert fitted_together([made.bounce(pushes=1, lifts=0)])
    assert not fitted_together([drive, drive])
    assert not fitted_together([jump])
    assert len(fit_setting([drive, drive])) == 2


def test_no_recording_at_all_is_refused():
    with pytest.raises(FitError, match="at least one"):
        fit_setting([])


def test_the_corner_of_a_drive_gives_its_stops():
    drive = made.drive(made.strip(), full=0.105)

    assert fit(drive).bottomed is None
    assert len(fit(drive, made.corner(full=0.105)).bottomed) > 0


@pytest.fixture(scope="module")
def drives():
    ground, corner = made.strip(), made.corner(full=0.12)
    return [
        fit(made.drive(ground, position=p, seed=i, full=0.12, name=f"{i}.csv"), corner)
        for i, p in enumerate((0.090, 0.092, 0.097))
    ]


def test_drives_are_averaged_with_the_scatter_between_them(drives):
    """Student, 2 degrees of freedom: 4.3027 * sd / sqrt(3) of three means 2 and 5 mm apart."""
    whole = combine(drives)
    means = [d.mean_position.value for d in drives]
    half = 4.3027 * np.std(means, ddof=1) / math.sqrt(3)

    position = whole.mean_position
    assert position.value == pytest.approx(np.mean(means))
    assert math.log(position.high / position.value) == pytest.approx(half / position.value, rel=1e-3)
    assert whole.runs == 3


def test_counts_and_lengths_of_drives_add_up(drives):
    whole = combine(drives)

    assert len(whole.bottomed) == sum(len(d.bottomed) for d in drives)
    assert whole.duration == pytest.approx(sum(d.duration for d in drives))
    assert len(whole.traces) == 3


def test_shares_of_time_of_several_drives_still_make_one(drives):
    shares = combine(drives).time_share

    assert sum(one.share.value for one in shares) == pytest.approx(1.0)
    assert all(0.0 <= one.share.low <= one.share.value <= one.share.high <= 1.0 for one in shares)


def test_standing_still_before_and_after_a_drive_does_not_count():
    """Twenty seconds at another height than the 60 s of driving would move the mean by 7 mm."""
    rng = np.random.default_rng(4)
    moving = made.drive(made.strip(), seconds=60.0).travel
    travel = np.concatenate([np.full(5000, 0.06), moving, np.full(5000, 0.06)]) + rng.normal(0, 1e-4, 40000)
    record = replace(made.drive(made.strip()), time=np.arange(40000) / made.RATE, travel=travel)

    measured = fit(record)

    assert measured.mean_position.value == pytest.approx(float(moving.mean()), abs=1e-3)
    assert measured.duration == pytest.approx(60.0, abs=2.5)
    assert "standing-left-out" in [note.code for note in measured.notes]


def test_jumps_of_several_recordings_count_alike():
    fits = [fit(made.jump(0.5 + 0.02 * i, -1.0 - 0.1 * i, 4.0, seed=i)) for i in range(3)]

    whole = combine(fits)

    assert len(whole.jumps) == 3
    assert len(whole.traces) == 3
    assert whole.pitch_rate.value == pytest.approx(-1.1, abs=0.02)
    # Student, 2 degrees of freedom: 4.3027 * 0.1 / sqrt(3)
    assert whole.pitch_rate.high - whole.pitch_rate.value == pytest.approx(0.248, rel=0.1)
    assert "one-jump" in [note.code for note in fits[0].notes]
    assert "one-jump" not in [note.code for note in whole.notes]


def test_a_rotation_without_direction_is_not_averaged_with_one_that_has_it():
    known, open_ = fit(made.jump(0.5, -1.0, 4.0)), fit(made.jump(0.5, -1.4, 4.0, gesture=False, seed=1))

    assert open_.pitch_rate.value == pytest.approx(1.4, abs=0.02)
    assert combine([known, open_]).pitch_rate.value == pytest.approx(-1.0, abs=0.02)


def test_a_landing_past_the_sensors_limit_leaves_the_mean_open():
    peaks = [Estimate(40.0, 39.0, 43.0, "m/s**2"), Estimate(44.0, 43.0, math.inf, "m/s**2")]

    assert mean_over(peaks).high == math.inf
    assert mean_over(peaks).value == 42.0


# --- counts ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("count", "seconds"), [(0, 60.0), (1, 45.0), (3, 120.0), (17, 600.0)])
def test_rates_are_garwoods(count, seconds):
    """statsmodels' exact interval of one rate ("exact-c" is Garwood's)."""
    from statsmodels.stats.rates import confint_poisson

    low, high = confint_poisson(count, seconds / 60.0, method="exact-c")
    rate = rate_per_minute(count, seconds)

    assert rate.value == pytest.approx(count / (seconds / 60.0))
    assert rate.low == pytest.approx(float(low), abs=1e-9)
    assert rate.high == pytest.approx(float(high))
    assert rate.unit == "1/min"


def test_a_difference_of_rates_has_the_limits_of_both_in_quadrature():
    """statsmodels' MOVER interval, there with the score interval of each rate: close for counts that are not small."""
    from statsmodels.stats.rates import confint_poisson_2indep

    counts, minutes = (30, 55), (3.0, 3.5)
    low, high = confint_poisson_2indep(
        counts[1], minutes[1], counts[0], minutes[0], method="mover", compare="diff"
    )
    one, other = (rate_per_minute(c, 60 * m) for c, m in zip(counts, minutes, strict=True))
    difference = rate_difference(one, other)

    assert difference.value == pytest.approx(55 / 3.5 - 10.0)
    assert difference.low == pytest.approx(low, abs=0.25)
    assert difference.high == pytest.approx(high, abs=0.25)


def test_intervals_of_rates_hold_the_truth():
    """Exact sum over the Poisson distribution: at least 95 % at every rate tried."""
    from scipy.stats import poisson

    for mean in (0.3, 1.0, 2.7, 6.0, 20.0):
        counts = np.arange(0, 80)
        held = [rate_per_minute(int(k), 60.0).contains(mean) for k in counts]
        assert float(poisson.pmf(counts, mean)[held].sum()) >= 0.95


def test_a_rate_needs_a_duration():
    with pytest.raises(FitError, match="positive"):
        rate_per_minute(1, 0.0)


# --- traces ------------------------------------------------------------------------------------------------------


def test_a_thinned_drive_keeps_times_means_and_speeds():
    """A sine of 1.5 Hz at 1 kHz: at 200 Hz its mean, swing and peak speed stay within a thousandth."""
    time = np.arange(0, 20.0, 1e-3) + 3.0
    travel = 0.09 + 0.02 * np.sin(2 * math.pi * 1.5 * time)
    velocity = 0.02 * 2 * math.pi * 1.5 * np.cos(2 * math.pi * 1.5 * time)

    trace = drive_trace(time, travel, velocity, 1e-3)

    assert trace.step == pytest.approx(5e-3)
    assert trace.duration == pytest.approx(20.0, abs=0.01)
    np.testing.assert_allclose(trace.travel, 0.09 + 0.02 * np.sin(2 * math.pi * 1.5 * trace.time), atol=2e-5)
    assert trace.velocity.max() == pytest.approx(velocity.max(), rel=1e-3)


def test_a_slow_logger_is_not_thinned():
    trace = drive_trace(np.arange(100) / 50.0, np.zeros(100), np.zeros(100), 0.02)

    assert isinstance(trace, DriveTrace)
    assert len(trace.travel) == 100


def test_drives_and_jumps_show_no_side(drives):
    for side in SIDES:
        assert not drives[0].side(side).seen
        assert not fit(made.jump(0.5, -1.0, 4.0)).side(side).seen
