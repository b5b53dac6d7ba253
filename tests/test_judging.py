"""Damping ratios on a corner and their place against the band."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tests.moving_results import jump_fit
from tuner.comparing import compare
from tuner.errors import FitError, UsageError
from tuner.estimates import Estimate
from tuner.fitting import combine
from tuner.fitting.results import REFERENCE_SPEEDS, DampingFit, Secant, SideFit
from tuner.judging import corner_factor, energy_mean, judge, judge_side, place_of, places
from tuner.machine import TARGETS, Corner, MotionRatio, Target, suspects_of
from tuner.wording.doubts import note_text

TARGET = TARGETS["rough ground and jumps"]


def exact(value, unit="1"):
    return Estimate.exact(value, unit)


def corner_of(mass=92.0, rate=28_000.0, ratio=0.7, *, unsure=0.0, **more):
    """A corner whose mass, spring rate and motion ratio are known to `unsure` (relative sd)."""

    def known(value, unit):
        return Estimate.from_log_sd(value, unsure, unit)

    return Corner(
        name="rear",
        sprung_mass=known(mass, "kg"),
        spring_rate=known(rate, "N/m"),
        motion_ratio=MotionRatio(constant=known(ratio, "1")),
        **more,
    )


def side_of(side, c, log_sd=0.01, speeds=REFERENCE_SPEEDS):
    secants = tuple(Secant(v, Estimate.from_log_sd(c, log_sd, "N*s/m")) for v in speeds)
    return SideFit(side, True, secant=secants, speed_range=(speeds[0], speeds[-1]))


def bench(compression=800.0, rebound=4000.0, **more):
    return DampingFit(
        "cycle", side_of("compression", compression, **more), side_of("rebound", rebound, **more)
    )


def bounce(compression, rebound, **measured):
    return DampingFit(
        "bounce",
        SideFit("compression", True, zeta=compression),
        SideFit("rebound", True, zeta=rebound),
        corner_measured=measured,
    )


def judge_on(fit, corner, target=None):
    """Judge a bounce on the corner it was fitted with."""
    return judge(replace(fit, corner=corner), corner, target)


def codes(notes):
    return {note.code for note in notes}


def test_motorcycle_shock_absorber():
    """Rao, Mechanical Vibrations, "Shock Absorber for a Motorcycle": m 200 kg, k 2358.2652 N/m, c 554.4981 N*s/m give
    c_c 1373.54 N*s/m, zeta 0.4037, omega_n 3.4338 rad/s.
    """
    judged = judge(bench(554.4981, 554.4981, log_sd=0.0), corner_of(200.0, 2358.2652, 1.0))

    assert judged.compression.at_target.zeta.value == pytest.approx(0.4037, abs=5e-5)
    assert judged.critical_damping.value == pytest.approx(1373.54, abs=5e-3)
    assert 2 * math.pi * judged.frequency.value == pytest.approx(3.4338, abs=1e-4)


def test_motorcycle_shock_absorber_without_the_rounding_of_the_book():
    """The same from its damped period of 2 s and the fall to a quarter in half a cycle, ln 16 in a whole one."""
    zeta = math.log(16.0) / math.hypot(2.0 * math.pi, math.log(16.0))
    omega = math.pi / math.sqrt(1.0 - zeta**2)
    c = 200.0 * math.log(16.0)
    judged = judge(bench(c, c, log_sd=0.0), corner_of(200.0, 200.0 * omega**2, 1.0))

    assert judged.compression.at_target.zeta.value == pytest.approx(0.4037128, abs=1e-7)
    assert judged.critical_damping.value == pytest.approx(1373.5453, abs=1e-3)


def test_quarter_car_modes():
    """Barton & Fieldhouse, Automotive Chassis Engineering, p. 209 (317.5 kg, 45.4 kg, 22 and 192 kN/m) with
    c = 1500 N*s/m; modes from python-control 0.10.2: body 0.242953, wheel hop 0.250111, handbook 0.283778.
    """
    corner = corner_of(317.5, 22_000.0, 1.0, unsprung_mass=exact(45.4, "kg"), tyre_rate=exact(192e3, "N/m"))
    judged = judge(bench(1200.0, 1800.0, log_sd=0.0), corner)  # the energy mean is 1500

    assert judged.mean_zeta[2].speed == 0.26
    assert judged.mean_zeta[2].zeta.value == pytest.approx(0.283778, abs=1e-6)
    assert judged.body_mode_zeta.value == pytest.approx(0.242953, abs=1e-6)
    assert judged.wheel_hop_zeta.value == pytest.approx(0.250111, abs=1e-6)
    assert judged.frequency.value == pytest.approx(1.32483, abs=1e-5)  # rigid tyre, same page


@pytest.mark.parametrize(("zeta", "sd"), [(0.3, 0.2), (0.5, 0.05), (0.74, 0.1), (1.2, 0.3)])
def test_places_are_shares_of_a_normal_distribution(zeta, sd):
    """Against scipy.stats on logarithms."""
    normal = stats.norm(math.log(zeta), sd)
    chances = places(Estimate.from_log_sd(zeta, sd, "1"), (0.45, 0.75))

    assert chances["below"] == pytest.approx(normal.cdf(math.log(0.45)), abs=1e-12)
    assert chances["above"] == pytest.approx(normal.sf(math.log(0.75)), abs=1e-12)
    assert sum(chances.values()) == pytest.approx(1.0)


def test_a_place_is_named_when_the_interval_is_clear_of_the_edges():
    named = {
        z: place_of(Estimate.from_log_sd(z, 0.05, "1"), (0.45, 0.75))[0] for z in (0.3, 0.45, 0.6, 0.74, 1.0)
    }

    assert named == {0.3: "below", 0.45: "uncertain", 0.6: "inside", 0.74: "uncertain", 1.0: "above"}


@pytest.mark.parametrize("edge", [0.45, 0.75])
def test_outside_begins_where_the_interval_leaves_the_band(edge):
    """At the very edge of the 95 % interval the place changes: closed form."""
    sd = 0.03
    out = -1.0 if edge == 0.45 else 1.0
    near, far = (edge * math.exp(out * sd * stats.norm.ppf(0.975) * k) for k in (0.999, 1.001))

    assert place_of(Estimate.from_log_sd(near, sd, "1"), (0.45, 0.75))[0] == "uncertain"
    assert place_of(Estimate.from_log_sd(far, sd, "1"), (0.45, 0.75))[0] == ("below" if out < 0 else "above")


def test_an_exact_ratio_has_a_certain_place():
    assert place_of(exact(0.6), (0.45, 0.75)) == ("inside", 1.0)
    assert place_of(exact(0.9), (0.45, 0.75)) == ("above", 1.0)


def test_a_ratio_that_reaches_zero_is_placed_on_the_plain_scale():
    zeta = Estimate(0.1, -0.1, 0.3, "1")
    sd = 0.2 / stats.norm.ppf(0.975)

    assert places(zeta, (0.45, 0.75))["below"] == pytest.approx(stats.norm.cdf((0.45 - 0.1) / sd), abs=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_the_interval_holds_fit_and_corner(seed):
    """ln zeta = ln c + ln r - (ln k + ln m)/2 + const: one of the two r cancels against the wheel rate's."""
    a, b = np.random.default_rng(seed).uniform(0.005, 0.05, 2)
    zeta = judge(bench(log_sd=a), corner_of(unsure=b)).rebound.at_target.zeta

    assert zeta.log_sd == pytest.approx(math.sqrt(a**2 + b**2 * (1.0 + 0.25 + 0.25)), rel=1e-6)
    assert corner_factor(corner_of(unsure=b)).log_sd == pytest.approx(b * math.sqrt(1.5), rel=1e-6)


def test_the_energy_mean_of_two_sides():
    """Against draws: half the sum, errors independent."""
    rng = np.random.default_rng(5)
    draws = 0.5 * (rng.normal(800, 20, 400_000) + rng.normal(4000, 60, 400_000))
    mean = energy_mean(Estimate.from_sd(800, 20, "N*s/m"), Estimate.from_sd(4000, 60, "N*s/m"))
    low, high = np.quantile(draws, [0.025, 0.975])

    assert mean.value == pytest.approx(2400.0)
    assert mean.low == pytest.approx(low, abs=0.5)
    assert mean.high == pytest.approx(high, abs=0.5)


def test_each_side_is_judged_by_its_own_band_at_the_target_speed():
    judged = judge(bench(1200.0, 1200.0), corner_of(), TARGET)

    assert judged.compression.at_target.speed == TARGET.speed
    assert (judged.compression.place, judged.rebound.place) == ("inside", "below")
    assert judged.compression.probability > 0.95
    assert len(judged.rebound.zeta) == len(REFERENCE_SPEEDS)


def test_the_nearest_tested_speed_stands_in_and_says_so():
    target = Target((0.2, 0.35), (0.45, 0.75), 0.3, "own")
    near = judge(bench(), corner_of(), target).rebound
    far = judge(bench(speeds=(0.05, 0.13)), corner_of(), TARGET).rebound

    assert (near.at_target.speed, far.at_target.speed) == (0.26, 0.13)
    assert "other-speed" in codes(near.notes) & codes(far.notes)
    assert "other-speed" not in codes(judge(bench(), corner_of(), TARGET).rebound.notes)


def test_a_named_speed_is_used_instead_of_the_targets():
    judged = judge_side(bench().rebound, corner_of(), TARGET, speed=1.04)

    assert judged.at_target.speed == 1.04


def test_a_bounce_brings_its_own_ratio():
    """No speed, no corner needed; the corner still gives its rate."""
    fit = bounce(Estimate.from_sd(0.21, 0.01, "1"), Estimate.from_sd(0.353, 0.01, "1"))
    alone, on_corner = judge(fit, None, TARGET), judge_on(fit, corner_of(unsure=0.02), TARGET)

    for judged in (alone, on_corner):
        assert judged.rebound.at_target.speed is None
        assert judged.rebound.at_target.zeta == fit.rebound.zeta
        assert judged.rebound.place == "below"
    assert judged.mean_zeta[0].zeta.value == pytest.approx((0.21 + 0.353) / 2)
    assert alone.wheel_rate is None
    assert on_corner.wheel_rate.value == pytest.approx(28_000 * 0.49)


def test_a_bounce_and_a_bench_run_of_one_damping_agree_in_the_modes():
    """The corner's own uncertainty enters the modes once, whichever way zeta was found."""
    corner = corner_of(unsprung_mass=exact(28.0, "kg"), tyre_rate=exact(70e3, "N/m"))
    on_bench = judge(bench(2000.0, 2000.0), corner)
    zeta = on_bench.rebound.at_target.zeta
    by_hand = judge_on(bounce(zeta, zeta), corner)

    assert by_hand.body_mode_zeta.value == pytest.approx(on_bench.body_mode_zeta.value, rel=1e-9)
    assert by_hand.body_mode_zeta.low == pytest.approx(on_bench.body_mode_zeta.low, rel=1e-4)


def test_the_measured_frequency_rules_and_is_checked_against_spring_and_mass():
    """A ratio entered the wrong way round moves the expected frequency by 1/r^2, a whole axle's mass by sqrt(2)."""
    sure = {"compression": Estimate.from_sd(0.2, 0.01, "1"), "rebound": Estimate.from_sd(0.4, 0.01, "1")}
    true = judge(bench(), corner_of()).frequency.value
    found = Estimate.from_log_sd(true, 0.01, "Hz")
    good = judge_on(bounce(**sure, frequency=found), corner_of())
    inverted = judge_on(bounce(**sure, frequency=found), corner_of(ratio=1 / 0.7))
    axle = judge_on(bounce(**sure, frequency=found), corner_of(mass=184.0))

    assert good.frequency == found
    assert "frequency-disagrees" not in codes(good.notes)
    for judged, code, right in ((inverted, "ratio-inverted", 0.7), (axle, "mass-of-axle", 92.0)):
        assert "frequency-disagrees" in codes(judged.notes)
        likeliest = suspects_of(judged.corner, frequency=found)[0]
        assert (likeliest.code, likeliest.right.value) == (code, pytest.approx(right, rel=0.03))


def test_a_vague_frequency_disagrees_with_nothing():
    fit = bounce(exact(0.2), exact(0.4), frequency=Estimate.from_log_sd(3.0, 0.3, "Hz"))

    assert "frequency-disagrees" not in codes(judge_on(fit, corner_of()).notes)


@pytest.mark.parametrize(
    ("fit", "corner", "target", "code"),
    [
        (bench(), None, TARGET, "no-corner"),
        (bench(), corner_of(), None, "no-target"),
        (
            DampingFit("bounce", SideFit("compression", False), SideFit("rebound", False)),
            None,
            TARGET,
            "not-seen",
        ),
        (
            DampingFit("cycle", SideFit("compression", True), SideFit("rebound", True)),
            corner_of(),
            TARGET,
            "no-speed",
        ),
    ],
)
def test_what_is_missing_is_said(fit, corner, target, code):
    for side in ("compression", "rebound"):
        judged = judge(fit, corner, target).side(side)
        assert code in codes(judged.notes)
        assert (judged.place, judged.probability) == ("unknown", None)


def test_a_fit_that_shows_nothing_gives_no_numbers():
    judged = judge(jump_fit(), corner_of(), TARGET)

    assert judged.compression.at_target is None
    assert judged.mean_zeta == ()
    assert judged.body_mode_zeta is None


def test_modes_need_tyre_unsprung_mass_and_both_sides():
    full = corner_of(unsprung_mass=exact(28.0, "kg"), tyre_rate=exact(70e3, "N/m"))
    half = DampingFit("cycle", side_of("compression", 800.0), SideFit("rebound", False))

    assert codes(judge(bench(), corner_of()).notes) == {"modes-unknown", "one-run", "inputs-exact"}
    assert codes(judge(half, full).notes) == {"modes-one-side", "one-run", "inputs-exact"}
    assert judge(half, full).body_mode_zeta is None
    assert judge(bench(), full).body_mode_zeta is not None


def test_numbers_of_the_corner_without_an_error_are_named():
    exact_note = next(n for n in judge(bench(), corner_of()).notes if n.code == "inputs-exact")

    assert "without an error of sprung_mass and spring_rate and motion_ratio" in note_text(exact_note)
    assert "inputs-exact" not in codes(judge(bench(), corner_of(unsure=0.02)).notes)


@pytest.mark.parametrize("kind", ["cycle", "sweep", "weights"])
def test_one_bench_test_says_what_its_intervals_do_not_hold(kind):
    """Mounting the damper again: no test holds it, repeats do, and a bounce leaves the damper where it is."""
    one = replace(bench(), kind=kind)

    for corner in (None, corner_of()):
        assert "one-run" in {note.code for note in judge(one, corner).notes}
        assert "one-run" not in {note.code for note in judge(replace(one, runs=2), corner).notes}
        bounced = replace(one, kind="bounce", corner=corner)
        assert "one-run" not in {note.code for note in judge(bounced, corner).notes}


# --- the corner that is in a fit --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fitted", "words"),
    [
        (None, "was fitted with no corner, so it cannot be judged with the corner 'rear'"),
        (replace(corner_of(), name="front"), "was fitted with the corner 'front', so it cannot be judged"),
        (
            corner_of(mass=93.0),
            "was fitted with the corner 'rear', so it cannot be judged with other numbers for",
        ),
    ],
)
@pytest.mark.parametrize("kind", ["bounce", "travel"])
def test_a_fit_is_judged_with_the_corner_that_is_in_it(kind, fitted, words):
    fit = replace(bounce(exact(0.2), exact(0.4)), kind=kind, corner=fitted)

    for asked in (
        lambda: judge(fit, corner_of(), TARGET),
        lambda: compare([fit], [fit], corner_of(), TARGET),
    ):
        with pytest.raises(UsageError, match=re.escape(words)) as refusal:
            asked()
        assert "fit(record, corner)" in refusal.value.hint
    assert judge(replace(fit, corner=corner_of()), corner_of(), TARGET).corner == corner_of()
    assert judge(fit, None, TARGET).corner is None


@pytest.mark.parametrize("kind", ["sweep", "cycle", "weights"])
def test_a_bench_test_is_judged_with_any_corner(kind):
    fit = replace(bench(), kind=kind)

    assert judge(fit, corner_of(), TARGET).rebound.place != "unknown"
    assert judge(fit, corner_of(mass=60.0), TARGET).rebound.place != "unknown"


def test_fits_with_two_corners_are_not_compared():
    one, other = (
        replace(bounce(exact(0.2), exact(0.4)), corner=replace(corner_of(), name=name)) for name in ("a", "b")
    )

    with pytest.raises(UsageError, match="before was fitted with the corner 'a' and the run after with"):
        compare([one], [other])
    with pytest.raises(FitError, match="the same in every fit; got the corner 'a' and the corner 'b'"):
        combine([one, other])
    assert combine([one, one]).corner == one.corner
