"""What a change did: ratios, verdict with its probability, confounders, pairs, and the path of several runs."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tuner.comparing import compare, match, path
from tuner.comparing.confounders import thinning
from tuner.comparing.verdict import Chances, Damping, chances, decide, within
from tuner.errors import FitError
from tuner.estimates import Estimate, Note
from tuner.fitting import fit
from tuner.fitting.repeats import RUN_TO_RUN
from tuner.fitting.results import REFERENCE_SPEEDS, DampingFit, Secant, SideFit
from tuner.judging import judge
from tuner.laws import LeakOrifice
from tuner.machine import TARGETS, Corner, MotionRatio, Target
from tuner.records import Conditions, Provenance, Quality, SweepRecord
from tuner.wording.doubts import note_text

TARGET = TARGETS["rough ground and jumps"]
BAND = TARGET.rebound  # 0.45 to 0.75


def corner_of(unsure=0.01):
    """An invented corner: 92 kg on 28 N/mm at a ratio of 0.70, each known to `unsure` (relative sd)."""
    return Corner(
        name="rear",
        sprung_mass=Estimate.from_log_sd(92.0, unsure, "kg"),
        spring_rate=Estimate.from_log_sd(28e3, unsure, "N/m"),
        motion_ratio=MotionRatio(constant=Estimate.from_log_sd(0.7, unsure, "1")),
    )


CORNER = corner_of()
# N*s/m at the damper that makes a damping ratio of 1 on that corner: c_crit / r^2
C_OF_ONE = 2.0 * math.sqrt(28e3 * 0.7**2 * 92.0) / 0.7**2


def side_of(side, zeta, log_sd=0.01, speeds=REFERENCE_SPEEDS, **more):
    """A side whose secant gives that damping ratio at every speed."""
    c = Estimate.from_log_sd(zeta * C_OF_ONE, log_sd, "N*s/m")
    return SideFit(
        side, True, secant=tuple(Secant(v, c) for v in speeds), speed_range=(speeds[0], speeds[-1]), **more
    )


def run_of(rebound=0.9, compression=0.15, log_sd=0.01, speeds=REFERENCE_SPEEDS, **more):
    return DampingFit(
        "cycle",
        side_of("compression", compression, log_sd, speeds),
        side_of("rebound", rebound, log_sd, speeds),
        **more,
    )


def bounce_of(compression, rebound, sd=0.01, corner=None):
    def side(name, zeta):
        if zeta is None:
            return SideFit(name, False)
        return SideFit(name, True, zeta=Estimate.from_sd(zeta, sd, "1"), zeta_speed=TARGET.speed)

    return DampingFit("bounce", side("compression", compression), side("rebound", rebound), corner=corner)


def codes(notes):
    return {note.code for note in notes}


def texts(notes):
    return {note.code: note_text(note) for note in notes}


# --- the probabilities ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("rise", [-0.2, -0.05, 0.0, 0.03, 0.1])
@pytest.mark.parametrize("shared", [0.0, 0.05, 0.3])
def test_far_below_the_band_toward_is_a_rise(rise, shared):
    """Closed form: P(toward) = Phi(ln ratio / sd); what both share drops out."""
    own = 0.02, 0.03
    chance = chances(Damping(math.log(0.01), math.log(0.01) + rise, *own, shared), BAND)

    assert chance.toward == pytest.approx(stats.norm.cdf(rise / math.hypot(*own)), abs=1e-9)
    assert chance.inside == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("rise", [-0.1, 0.02, 0.1])
def test_far_above_the_band_toward_is_a_fall(rise):
    chance = chances(Damping(math.log(9.0), math.log(9.0) + rise, 0.03, 0.03, 0.1), BAND)

    assert chance.toward == pytest.approx(stats.norm.cdf(-rise / math.hypot(0.03, 0.03)), abs=1e-9)


@pytest.mark.parametrize("sd", [0.01, 0.1, 0.5])
def test_both_inside_is_a_product_when_nothing_is_shared(sd):
    """Closed form for independent normals."""
    means = math.log(0.5), math.log(0.7)
    inside = [
        stats.norm.cdf(math.log(BAND[1]), m, sd) - stats.norm.cdf(math.log(BAND[0]), m, sd) for m in means
    ]

    assert chances(Damping(*means, sd, sd, 0.0), BAND).inside == pytest.approx(math.prod(inside), abs=1e-9)


def test_both_inside_is_one_share_when_only_the_corner_is_unsure():
    """Two exact fits on an unsure corner move together: a one-dimensional normal decides."""
    means, shared = (math.log(0.5), math.log(0.7)), 0.1
    low, high = math.log(BAND[0]) - means[0], math.log(BAND[1]) - means[1]
    expected = stats.norm.cdf(high / shared) - stats.norm.cdf(low / shared)

    assert chances(Damping(*means, 0.0, 0.0, shared), BAND).inside == pytest.approx(expected, abs=1e-7)


@pytest.mark.parametrize("seed", range(25))
def test_the_integral_agrees_with_plain_draws(seed):
    """Four hundred thousand draws of the three normals, distances taken one by one."""
    rng = np.random.default_rng(seed)
    before, after = np.log(rng.uniform(0.2, 1.4, 2))
    own = 10 ** rng.uniform(-3, -0.5, 2)
    shared = 10 ** rng.uniform(-3, -0.5)
    draws = rng.standard_normal((3, 400_000))
    z = [m + s * d + shared * draws[2] for m, s, d in zip((before, after), own, draws[:2], strict=True)]
    d = [np.maximum(np.maximum(math.log(BAND[0]) - x, x - math.log(BAND[1])), 0.0) for x in z]
    chance = chances(Damping(before, after, *own, shared), BAND)

    assert chance.toward == pytest.approx(np.mean(d[1] < d[0]), abs=0.004)
    assert chance.away == pytest.approx(np.mean(d[1] > d[0]), abs=0.004)
    assert sum(chance) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("seed", range(10))
def test_swapping_the_runs_swaps_toward_and_away(seed):
    rng = np.random.default_rng(seed)
    before, after = np.log(rng.uniform(0.2, 1.4, 2))
    one, other, shared = rng.uniform(0.005, 0.2, 3)
    there = chances(Damping(before, after, one, other, shared), BAND)
    back = chances(Damping(after, before, other, one, shared), BAND)

    assert there.toward == pytest.approx(back.away, abs=1e-8)
    assert there.inside == pytest.approx(back.inside, abs=1e-8)


def test_exact_numbers_decide_exactly():
    assert chances(Damping(math.log(0.3), math.log(0.4), 0, 0, 0), BAND) == pytest.approx(
        (1.0, 0.0, 0.0), abs=1e-9
    )
    assert chances(Damping(math.log(0.5), math.log(0.6), 0, 0, 0), BAND) == pytest.approx(
        (0.0, 0.0, 1.0), abs=1e-9
    )
    # from 20 % below the band to 10 % above it: nearer, though on the other side
    across = Damping(math.log(0.45 / 1.2), math.log(0.75 * 1.1), 0, 0, 0)
    assert chances(across, BAND) == pytest.approx((1.0, 0.0, 0.0), abs=1e-9)


def test_a_band_without_an_upper_edge():
    chance = chances(Damping(math.log(0.4), math.log(0.5), 0.1, 0.1, 0.05), (0.45, math.inf))
    rng = np.random.default_rng(0)
    draws = rng.standard_normal((3, 400_000))
    z = [math.log(m) + 0.1 * d + 0.05 * draws[2] for m, d in zip((0.4, 0.5), draws[:2], strict=True)]
    d = [np.maximum(math.log(0.45) - x, 0.0) for x in z]

    assert chance.toward == pytest.approx(np.mean(d[1] < d[0]), abs=0.004)


def test_toward_grows_with_the_rise_while_below_the_band():
    rises = [
        chances(Damping(math.log(0.3), math.log(0.3 * k), 0.05, 0.05, 0.05), BAND).toward
        for k in (0.8, 0.9, 0.95, 1.0, 1.05, 1.1, 1.2, 1.4)
    ]

    assert rises == sorted(rises)


@pytest.mark.parametrize(("value", "sd"), [(1.0, 0.03), (1.08, 0.02), (0.85, 0.1)])
def test_within_is_a_share_of_a_normal_distribution(value, sd):
    normal = stats.norm(math.log(value), sd)
    expected = normal.cdf(math.log(1.1)) - normal.cdf(-math.log(1.1))

    assert within(Estimate.from_log_sd(value, sd, "1"), 0.10) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("ratio", "chance", "verdict"),
    [
        (Estimate(1.3, 1.2, 1.4, "1"), Chances(0.98, 0.01, 0.01), "toward"),
        (Estimate(1.3, 1.2, 1.4, "1"), Chances(0.01, 0.98, 0.01), "away"),
        (Estimate(1.3, 1.2, 1.4, "1"), Chances(0.02, 0.02, 0.96), "no clear change"),
        (Estimate(1.3, 1.2, 1.4, "1"), Chances(0.5, 0.1, 0.4), "cannot tell"),
        (Estimate(1.3, 1.2, 1.4, "1"), None, "cannot tell"),
        (Estimate(1.02, 0.9, 1.15, "1"), None, "no clear change"),
        (Estimate(1.02, 0.9, 1.15, "1"), Chances(0.6, 0.4, 0.0), "no clear change"),
        (Estimate(1.1, 0.9, 1.3, "1"), Chances(0.8, 0.2, 0.0), "cannot tell"),  # 25 % is not excluded
        (Estimate(0.9, 0.79, 1.02, "1"), None, "cannot tell"),  # nor is a fall to 1/1.25
    ],
)
def test_the_four_verdicts(ratio, chance, verdict):
    assert decide(ratio, chance)[0] == verdict


# --- two settings ----------------------------------------------------------------------------------------------


def test_the_ratio_of_two_single_runs_carries_the_allowance():
    """Closed form: relative errors and 5 % / 1.96 in quadrature."""
    ratio = compare([run_of(0.9, log_sd=0.01)], [run_of(0.6, log_sd=0.02)]).rebound.at_target.ratio
    half = stats.norm.ppf(0.975) * math.sqrt(0.01**2 + 0.02**2 + (0.05 / stats.norm.ppf(0.975)) ** 2)

    assert ratio.value == pytest.approx(2 / 3)
    assert ratio.low == pytest.approx(2 / 3 * math.exp(-half))
    assert ratio.high == pytest.approx(2 / 3 * math.exp(half))


def test_the_allowance_is_a_setting():
    none = compare([run_of(0.9)], [run_of(0.6)], allowance=0.0).rebound.at_target.ratio
    wide = compare([run_of(0.9)], [run_of(0.6)], allowance=0.2)

    assert none.log_sd == pytest.approx(0.01 * math.sqrt(2))
    assert wide.rebound.at_target.ratio.log_sd == pytest.approx(
        math.hypot(none.log_sd, 0.2 / stats.norm.ppf(0.975))
    )
    assert wide.allowance == 0.2
    assert "± 20 % allowed" in " ".join(map(note_text, wide.rebound.reasons))


def test_repeats_replace_the_allowance_by_what_they_measured():
    twice = compare([run_of(0.9)] * 2, [run_of(0.6)] * 2).rebound
    mixed = compare([run_of(0.9)] * 2, [run_of(0.6)]).rebound
    single = compare([run_of(0.9)], [run_of(0.6)]).rebound

    assert twice.at_target.ratio.log_sd < mixed.at_target.ratio.log_sd < single.at_target.ratio.log_sd
    assert any("repeats measured" in note_text(reason) for reason in twice.reasons)
    assert not any("allowed" in note_text(reason) for reason in twice.reasons)
    assert any("its share allowed" in note_text(reason) for reason in mixed.reasons)


@pytest.mark.parametrize(
    ("before", "after", "verdict"),
    [
        (0.9, 0.6, "toward"),
        (0.6, 0.9, "away"),
        (0.9, 1.1, "away"),
        (0.3, 0.4, "toward"),
        (0.9, 0.91, "no clear change"),
        (0.55, 0.65, "no clear change"),  # a real change inside the band
        (0.45 / 1.3, 0.75 * 1.1, "toward"),  # across the band and nearer
        (0.45 / 1.1, 0.75 * 1.3, "away"),  # across the band and further
        (0.45 / 1.1, 0.75 * 1.1, "cannot tell"),  # across the band, as far as before
    ],
)
def test_verdicts_on_the_return(before, after, verdict):
    side = compare([run_of(before)], [run_of(after)], CORNER, TARGET).rebound

    assert side.verdict == verdict
    assert side.changed is (abs(math.log(after / before)) > 0.1)
    assert 0.0 <= side.probability <= 1.0
    assert side.at_target.speed == TARGET.speed
    assert len(side.change) == len(REFERENCE_SPEEDS)


def test_a_change_inside_the_band_says_both():
    side = compare([run_of(0.55)], [run_of(0.65)], CORNER, TARGET).rebound

    assert side.changed is True
    assert any("rose by 18 %" in note_text(reason) for reason in side.reasons)
    assert any("inside the band before and after" in note_text(reason) for reason in side.reasons)
    assert side.probability > 0.99


def test_an_unsure_corner_does_not_blur_a_change_far_from_the_band():
    """The corner moves both runs alike: a mass known to 20 % leaves the direction certain."""
    sure = compare([run_of(1.6)], [run_of(1.4)], corner_of(0.01), TARGET).rebound
    vague = compare([run_of(1.6)], [run_of(1.4)], corner_of(0.1), TARGET).rebound

    assert (sure.verdict, vague.verdict) == ("toward", "toward")
    assert vague.probability == pytest.approx(sure.probability, abs=1e-3)


def test_a_real_change_on_an_unsure_corner_near_the_band_cannot_be_told():
    side = compare([run_of(0.8)], [run_of(0.7)], corner_of(0.15), TARGET).rebound

    assert (side.verdict, side.changed) == ("cannot tell", True)
    assert any("weigh the corner" in note_text(reason) for reason in side.reasons)


def test_a_wide_interval_cannot_tell_and_says_to_repeat():
    side = compare([run_of(0.9, log_sd=0.15)], [run_of(0.8, log_sd=0.15)], CORNER, TARGET).rebound

    assert (side.verdict, side.changed) == ("cannot tell", False)
    assert any("repeat" in note_text(reason) for reason in side.reasons)


@pytest.mark.parametrize("seed", range(8))
def test_swapping_before_and_after_inverts_everything(seed):
    rng = np.random.default_rng(seed)
    one, other = (run_of(*rng.uniform(0.1, 1.3, 2), log_sd=rng.uniform(0.005, 0.05)) for _ in range(2))
    there, back = compare([one], [other], CORNER, TARGET), compare([other], [one], CORNER, TARGET)
    opposite = {"toward": "away", "away": "toward"}

    for side in ("compression", "rebound"):
        a, b = there.side(side), back.side(side)
        assert a.at_target.ratio.value == pytest.approx(1 / b.at_target.ratio.value)
        assert a.at_target.ratio.low == pytest.approx(1 / b.at_target.ratio.high)
        assert b.verdict == opposite.get(a.verdict, a.verdict)
        assert b.probability == pytest.approx(a.probability, abs=1e-8)


def test_scaling_both_runs_leaves_the_ratio():
    small, large = (compare([run_of(k)], [run_of(0.8 * k)]).rebound.at_target.ratio for k in (0.3, 3.0))

    assert small.value == pytest.approx(large.value)
    assert small.low == pytest.approx(large.low)


def test_the_same_input_gives_the_same_answer_to_the_last_digit():
    answers = {compare([run_of(0.8)], [run_of(0.7)], CORNER, TARGET).rebound.probability for _ in range(3)}

    assert len(answers) == 1


# --- how often it is right -----------------------------------------------------------------------------------


def _shaken(rng, zetas, remount, log_sd):
    """A run of one damper: every side moved by remounting and by its own fit's error."""
    shake = remount * rng.standard_normal()  # refitting and temperature move both sides alike
    moved = [z * math.exp(shake + log_sd * rng.standard_normal()) for z in zetas]
    return run_of(moved[0], moved[1], log_sd)


@pytest.mark.parametrize(("log_sd", "runs"), [(0.004, 1), (0.02, 1), (0.01, 2), (0.01, 3)])
def test_a_damper_that_was_only_remounted_is_not_called_changed(log_sd, runs):
    """Null pairs with 1.5 % remounting scatter per run: at most 5 % called a change, whatever the number of runs."""
    rng = np.random.default_rng(11)
    called = changed = 0
    pairs = 200
    for _ in range(pairs):
        zetas = np.exp(rng.uniform(math.log(0.08), math.log(1.6), 2))
        before, after = ([_shaken(rng, zetas, 0.015, log_sd) for _ in range(runs)] for _ in range(2))
        comparison = compare(before, after, CORNER, TARGET)
        sides = comparison.compression, comparison.rebound
        called += sum(side.verdict in ("toward", "away") for side in sides)
        changed += sum(bool(side.changed) for side in sides)

    assert called / (2 * pairs) <= 0.05
    assert changed / (2 * pairs) <= 0.05


@pytest.mark.parametrize("direction", [1.25, 1 / 1.25])
def test_a_change_by_a_quarter_is_called_and_never_the_wrong_way(direction):
    """Pairs outside the band on either side with 1.5 % remounting scatter: at least 95 % called, none wrong."""
    rng = np.random.default_rng(12)
    right = wrong = 0
    pairs = 200
    for _ in range(pairs):
        below = rng.random() < 0.5
        zetas = (rng.uniform(0.1, 0.3), rng.uniform(0.05, 0.15)) if below else (rng.uniform(1.0, 2.0), 0.6)
        before = _shaken(rng, zetas, 0.015, 0.01)
        after = _shaken(rng, [z * direction for z in zetas], 0.015, 0.01)
        toward = below == (direction > 1)
        comparison = compare([before], [after], CORNER, TARGET)
        for side in (comparison.compression, comparison.rebound):
            right += side.verdict == ("toward" if toward else "away")
            wrong += side.verdict == ("away" if toward else "toward")

    assert right / (2 * pairs) >= 0.95
    assert wrong == 0


# --- what cannot be compared ---------------------------------------------------------------------------------


def test_without_a_machine_a_change_is_still_measured():
    """No corner: the change is known, its direction against a band is not; no change needs no band."""
    moved, still = compare([run_of(0.9)], [run_of(0.6)]), compare([run_of(0.9)], [run_of(0.9)])

    assert (moved.rebound.verdict, moved.rebound.changed, moved.rebound.probability) == (
        "cannot tell",
        True,
        None,
    )
    assert any("a corner" in r and "a target band" in r for r in map(note_text, moved.rebound.reasons))
    assert still.rebound.verdict == "no clear change"


def test_without_a_target_a_change_at_another_speed_is_not_called_none():
    """A dead stroke shows at low speed only."""
    after = run_of(0.9)
    low = replace(
        after.rebound,
        secant=(Secant(0.05, Estimate.from_log_sd(0.4 * C_OF_ONE, 0.01, "N*s/m")), *after.rebound.secant[1:]),
    )
    side = compare([run_of(0.9)], [replace(after, rebound=low)], CORNER).rebound

    assert side.verdict == "cannot tell"
    assert any("fell by 56 % at 0.05 m/s" in note_text(reason) for reason in side.reasons)


def test_speeds_that_do_not_overlap():
    comparison = compare([run_of(speeds=(0.05, 0.13))], [run_of(speeds=(0.52, 1.04))], CORNER, TARGET)

    assert comparison.rebound.verdict == "cannot tell"
    assert (comparison.rebound.change, comparison.rebound.changed, comparison.rebound.probability) == (
        (),
        None,
        None,
    )
    assert any("0.05 to 0.13 m/s before and" in note_text(reason) for reason in comparison.rebound.reasons)
    assert "no-overlap" in codes(comparison.confounders)


def test_the_nearest_speed_both_hold_is_judged_and_said():
    """Both sides are judged at the speed that is compared, even where one run holds the target's own."""
    side = compare([run_of(0.9)], [run_of(0.6, speeds=(0.52, 1.04))], CORNER, TARGET).rebound

    assert side.at_target.speed == side.before.at_target.speed == side.after.at_target.speed == 0.52
    assert any("0.26 m/s; compared at 0.52 m/s" in note_text(reason) for reason in side.reasons)


def test_a_side_that_a_record_does_not_show_names_the_test_that_would():
    comparison = compare(
        [bounce_of(None, 0.9, corner=CORNER)], [bounce_of(None, 0.6, corner=CORNER)], CORNER, TARGET
    )

    assert comparison.compression.verdict == "cannot tell"
    assert any(
        "lift the corner and drop it" in note_text(reason) for reason in comparison.compression.reasons
    )
    assert comparison.rebound.verdict == "toward"


def test_bounces_are_compared_by_their_ratio_without_any_corner():
    side = compare([bounce_of(0.15, 0.9)], [bounce_of(0.15, 0.6)], None, TARGET).rebound

    assert side.verdict == "toward"
    assert [at.speed for at in side.change] == [None]
    assert side.at_target.ratio.value == pytest.approx(2 / 3)


def test_what_two_bounces_have_in_common_cancels_in_the_change():
    """Closed form: own parts and 5 % / 1.96 in quadrature, the common part of the ratio left out."""

    def run(zeta, own, common):
        whole = Estimate.from_log_sd(zeta, math.hypot(own, common), "1")
        return DampingFit(
            "bounce", SideFit("compression", False), SideFit("rebound", True, zeta=whole, zeta_common=common)
        )

    ratio = compare([run(0.9, 0.01, 0.03)], [run(0.6, 0.02, 0.03)]).rebound.at_target.ratio
    half = stats.norm.ppf(0.975) * math.sqrt(0.01**2 + 0.02**2 + (0.05 / stats.norm.ppf(0.975)) ** 2)

    assert ratio.low == pytest.approx(2 / 3 * math.exp(-half))
    assert ratio.high == pytest.approx(2 / 3 * math.exp(half))


def test_a_bounce_and_a_bench_run_have_no_ratio():
    comparison = compare([bounce_of(0.15, 0.9, corner=CORNER)], [run_of(0.6)], CORNER, TARGET)

    assert comparison.rebound.verdict == "cannot tell"
    assert any("the same way before and after" in note_text(reason) for reason in comparison.rebound.reasons)
    assert "different-kinds" in codes(comparison.confounders)


def lost(value, high):
    """A run whose return damping at 0.26 m/s is `value` of the critical one, perhaps nothing, at most `high`."""
    c = Estimate(value * C_OF_ONE, -0.05 * C_OF_ONE, high * C_OF_ONE, "N*s/m")
    return replace(run_of(), rebound=SideFit("rebound", True, secant=(Secant(0.26, c),)))


def test_damping_that_may_be_gone_is_known_to_have_fallen():
    """The upper bound is enough: from 0.9 to at most 0.3 is a fall and leads away from 0.45 to 0.75."""
    side = compare([run_of(0.9)], [lost(0.1, 0.3)], CORNER, TARGET).rebound
    back = compare([lost(0.1, 0.3)], [run_of(0.9)], CORNER, TARGET).rebound

    assert (side.verdict, side.changed) == ("away", True)
    assert (side.at_target.ratio.low, side.at_target.ratio.high < 0.4) == (0.0, True)
    assert (back.verdict, back.changed, back.at_target.ratio.high) == ("toward", True, math.inf)
    assert any("fell by at least" in note_text(reason) for reason in side.reasons)
    assert any("by at least +" in note_text(reason) for reason in back.reasons)


def test_damping_that_may_be_anything_cannot_be_told():
    side = compare([run_of(0.9)], [lost(0.6, 1.3)], CORNER, TARGET).rebound
    both = compare([lost(0.6, 1.3)], [lost(0.6, 1.3)], CORNER, TARGET).rebound

    assert (side.verdict, side.changed) == ("cannot tell", False)
    assert (both.verdict, both.at_target.ratio.low, both.at_target.ratio.high) == (
        "cannot tell",
        0.0,
        math.inf,
    )


def test_no_damping_above_zero_is_said():
    side = compare([run_of()], [lost(-0.01, 0.1)], CORNER, TARGET).rebound

    assert side.verdict == "cannot tell"
    assert "no rebound damping above zero" in note_text(side.reasons[0])


def test_a_damper_that_lost_its_return_does_not_match():
    assert match([run_of(0.9)], [lost(0.1, 0.3)]).rebound.matched is False
    assert match([run_of(0.9)], [lost(0.6, 1.3)]).rebound.matched is None


def test_no_run_at_all_is_refused():
    with pytest.raises(FitError, match="at least one"):
        compare([], [run_of()])


def test_reasons_never_say_more_or_less_of_a_side():
    """ "Less rebound" is read both ways; the damping of a side rises or falls."""
    said = []
    for before, after in ((0.9, 0.6), (0.6, 0.9), (0.9, 0.9), (0.5, 0.6)):
        comparison = compare([run_of(before)], [run_of(after)], CORNER, TARGET)
        said += map(note_text, (*comparison.rebound.reasons, *comparison.compression.reasons))
    text = " ".join(said).lower()

    for word in ("more rebound", "less rebound", "more compression", "less compression"):
        assert word not in text
    assert "rebound damping at 0.26 m/s fell by 33 %" in text


# --- what confounds --------------------------------------------------------------------------------------------


def conditioned(**conditions):
    return run_of(conditions=(Conditions(**conditions),))


@pytest.mark.parametrize(
    ("before", "after", "code"),
    [
        (conditioned(temperature=293.0), conditioned(temperature=310.0), "oil-temperature"),
        (conditioned(temperature=293.0), conditioned(), "oil-temperature-unknown"),
        (conditioned(stroke=0.05), conditioned(stroke=0.1), "stroke"),
        (conditioned(gas_pressure=1e6), conditioned(gas_pressure=8e5), "gas-pressure"),
        (conditioned(oil="A", clicks=8), conditioned(oil="B", clicks=12), "several-changes"),
        (conditioned(spring="28 N/mm"), conditioned(spring="32 N/mm"), "spring-changed"),
        (
            run_of(gas_force=Estimate.from_sd(140, 2, "N")),
            run_of(gas_force=Estimate.from_sd(90, 2, "N")),
            "gas-force",
        ),
        (
            run_of(friction=Estimate.from_sd(15, 1, "N")),
            run_of(friction=Estimate.from_sd(40, 1, "N")),
            "friction",
        ),
        (run_of(), run_of(speeds=REFERENCE_SPEEDS[1:]), "speed-range"),
        (run_of(), DampingFit("sweep", run_of().compression, run_of().rebound), "different-kinds"),
        (
            run_of(inputs=(Provenance(rate_hz=1000.0),)),
            run_of(inputs=(Provenance(rate_hz=100.0),)),
            "sampling-rate",
        ),
        (
            run_of(),
            run_of(quality=(Quality(notes=(Note("clipped", share=0.1),)),)),
            "quality",
        ),
        (run_of(), run_of(fade=Estimate.from_sd(-0.12, 0.01, "1")), "fade"),
        (
            replace(bounce_of(0.2, 0.6), corner_measured={"frequency": Estimate.from_sd(1.9, 0.01, "Hz")}),
            replace(bounce_of(0.2, 0.6), corner_measured={"frequency": Estimate.from_sd(2.3, 0.01, "Hz")}),
            "frequency-shift",
        ),
        (
            replace(run_of(), rebound=side_of("rebound", 0.9, dead_stroke=Estimate(0.0, 0.0, 0.0004, "m"))),
            replace(
                run_of(), rebound=side_of("rebound", 0.9, dead_stroke=Estimate(0.006, 0.005, 0.007, "m"))
            ),
            "dead-stroke",
        ),
    ],
)
def test_confounders_have_names(before, after, code):
    """Each is named either way round, and not between a run and itself."""
    assert code in codes(compare([before], [after]).confounders)
    assert code in codes(compare([after], [before]).confounders)
    for run in (before, after):
        assert codes(compare([run], [run]).confounders) <= {"fade"}


def test_one_change_is_no_confounder():
    before, after = (
        conditioned(temperature=293.0, oil="A", clicks=8),
        conditioned(temperature=294.0, oil="B", clicks=8),
    )

    assert compare([before], [after]).confounders == ()


def test_small_differences_stay_unnamed():
    one = conditioned(temperature=293.0, stroke=0.100, gas_pressure=1.00e6)
    other = conditioned(temperature=295.0, stroke=0.102, gas_pressure=1.02e6)

    assert compare([one], [other]).confounders == ()


def test_a_temperature_that_nobody_noted_is_said():
    assert "oil-temperature-not-noted" in codes(compare([run_of()], [run_of()]).notes)
    noted = conditioned(temperature=293.0)
    assert compare([noted], [noted]).notes == ()


@pytest.mark.parametrize(
    ("celsius", "viscosity", "relative"),
    [
        (80.0, 8.533215, 1e-5),  # the published 8.5 recomputed with 273.15
        (100.0, 5.4, 1e-5),
    ],
)
def test_thinning_follows_the_published_oil(celsius, viscosity, relative):
    """Walther / ASTM D341 worked example: 32 mm^2/s at 40 degC, 5.4 at 100 degC, hence 8.5 at 80 degC."""
    assert 32.0 * thinning(313.15, 273.15 + celsius) == pytest.approx(viscosity, rel=relative)


def test_what_temperature_can_explain_is_narrowed_by_leak_and_orifice():
    """At 0.26 m/s half of the force is leak flow, so at most half of the thinning can show."""
    law = LeakOrifice(1000.0, 1000.0 / 0.26)
    sides = {"compression": side_of("compression", 0.2, law=law), "rebound": side_of("rebound", 0.9)}
    cold, warm = (
        DampingFit("cycle", **sides, conditions=(Conditions(temperature=t),)) for t in (293.15, 313.15)
    )
    text = texts(compare([cold], [warm]).confounders)["oil-temperature"]
    full = 100 * (thinning(293.15, 313.15) - 1)

    assert "20 °C before and 40 °C after" in text
    assert f"weaken the damping by anything up to {-full / 2:.0f} % in compression" in text
    assert f"{-full:.0f} % in rebound" in text
    assert full < -50  # a cold damper is a strong one


# --- two dampers -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ratio", "matched"), [(1.0, True), (1.03, True), (0.97, True), (1.09, None), (1.3, False), (0.7, False)]
)
def test_a_pair_is_matched_within_the_tolerance(ratio, matched):
    pair = match([run_of(0.6, 0.2)], [run_of(0.6 * ratio, 0.2)])

    assert pair.rebound.matched is matched
    assert pair.compression.matched is True
    assert pair.matched is matched
    assert 0.0 <= pair.rebound.probability <= 1.0
    assert pair.side("rebound") is pair.sides[1]


def test_the_probability_of_a_match_is_closed_form():
    ratio, sd = 1.05, math.sqrt(2 * 0.01**2 + (RUN_TO_RUN / stats.norm.ppf(0.975)) ** 2)
    normal = stats.norm(math.log(ratio), sd)
    pair = match([run_of(0.6)], [run_of(0.6 * ratio)])

    assert pair.rebound.probability == pytest.approx(
        normal.cdf(-math.log(0.9)) - normal.cdf(math.log(0.9)), abs=1e-9
    )


def test_one_speed_off_is_enough_for_no_match():
    other = run_of(0.6)
    high = replace(
        other.rebound,
        secant=(
            *other.rebound.secant[:-1],
            Secant(1.04, Estimate.from_log_sd(0.9 * C_OF_ONE, 0.01, "N*s/m")),
        ),
    )
    pair = match([run_of(0.6)], [replace(other, rebound=high)])

    assert pair.rebound.matched is False
    assert any(
        "the one is 33 % weaker than the other at 1.04 m/s" in note_text(reason)
        for reason in pair.rebound.reasons
    )


def test_a_wide_interval_is_no_mismatch():
    """Unknown is not different: a fit that knows nothing leaves the pair open, and says what would tell."""
    pair = match([run_of(0.6, log_sd=0.5)], [run_of(0.6, log_sd=0.5)])

    assert pair.matched is None
    assert "open" in note_text(pair.rebound.reasons[0])


def test_the_runs_that_would_tell_do_tell():
    """The advice is taken: that many runs, at the same ratio, settle it."""
    one, other = run_of(0.6), run_of(0.6 * 1.06)
    open_pair = match([one], [other])
    advice = int(note_text(open_pair.rebound.reasons[0]).split("about ")[1].split(" ")[0])

    assert open_pair.rebound.matched is None
    assert match([one] * advice, [other] * advice).rebound.matched is True


def test_a_tighter_tolerance_is_harder():
    pairs = [
        match([run_of(0.6)], [run_of(0.62)], tolerance=t).rebound.probability for t in (0.02, 0.05, 0.1, 0.2)
    ]

    assert pairs == sorted(pairs)


def test_pairs_that_cannot_be_compared():
    blind = replace(run_of(), rebound=SideFit("rebound", False))
    half, none = match([run_of()], [blind]), match([run_of(speeds=(0.05,))], [run_of(speeds=(1.04,))])

    assert half.rebound.matched is None
    assert half.matched is True
    assert "one-side" in codes(half.notes)
    assert none.matched is None
    assert none.rebound.probability is None


def test_dampers_that_were_set_differently_are_named():
    pair = match([conditioned(clicks=8)], [conditioned(clicks=12)])

    assert "clicks" in texts(pair.confounders)["settings-differ"]
    assert "several-changes" not in codes(pair.confounders)


@pytest.mark.parametrize("tolerance", [0.0, -0.1, math.nan])
def test_an_impossible_tolerance_is_refused(tolerance):
    with pytest.raises(FitError, match="tolerance"):
        match([run_of()], [run_of()], tolerance=tolerance)


# --- the path of several runs ------------------------------------------------------------------------------------


def test_a_path_holds_every_run_at_one_speed():
    runs = [judge(run_of(z), CORNER, TARGET) for z in (1.0, 0.76, 0.6)]
    walked = path(runs, ["as bought", "thinner oil", "two clicks out"])

    assert (walked.quantity, walked.speed) == ("zeta", 0.26)
    assert [step.value.value for step in walked.rebound] == pytest.approx([1.0, 0.76, 0.6])
    assert [step.place for step in walked.rebound] == ["above", "uncertain", "inside"]
    assert walked.rebound[0].ratio is None
    assert [step.changed for step in walked.side("rebound")] == [None, True, True]
    assert [step.changed for step in walked.compression] == [None, False, False]


def test_a_step_on_the_path_is_the_comparison_of_its_two_runs():
    before, after = run_of(0.9, log_sd=0.02), run_of(0.7, log_sd=0.01)
    walked = path([judge(run, CORNER, TARGET) for run in (before, after)], ["a", "b"])

    assert walked.rebound[1].ratio == compare([before], [after], CORNER, TARGET).rebound.at_target.ratio


def test_a_path_without_a_corner_is_of_the_coefficient():
    walked = path([judge(run_of(z)) for z in (1.0, 0.8)], ["a", "b"])

    assert walked.quantity == "c"
    assert walked.rebound[0].value.value == pytest.approx(C_OF_ONE)


def test_a_path_over_runs_that_share_no_speed_shows_the_commonest():
    speeds = [(0.05, 0.13), (0.13, 0.26), (0.52, 1.04)]
    walked = path([judge(run_of(speeds=s), CORNER, TARGET) for s in speeds], list("abc"))

    assert walked.speed == 0.13
    assert walked.rebound[2].value is None
    assert codes(walked.notes) == {"no-overlap"}


def test_bounces_and_bench_runs_on_one_path_are_not_compared():
    runs = [judge(run_of(0.9), CORNER, TARGET), judge(bounce_of(0.2, 0.6, corner=CORNER), CORNER, TARGET)]
    walked = path(runs, ["bench", "bounce"])

    assert walked.rebound[1].value.value == pytest.approx(0.6)
    assert walked.rebound[1].ratio is None
    assert "different-kinds" in codes(walked.notes)


def test_a_path_of_bounces_has_no_speed():
    walked = path([judge(bounce_of(0.2, z), None, TARGET) for z in (0.9, 0.6)], ["a", "b"])

    assert (walked.quantity, walked.speed) == ("zeta", None)
    assert walked.rebound[1].changed is True


@pytest.mark.parametrize(("runs", "labels"), [([], []), ([judge(run_of())], [])])
def test_a_path_needs_runs_and_their_labels(runs, labels):
    with pytest.raises(FitError):
        path(runs, labels)


def test_an_own_target_rules():
    own = Target((0.1, 0.2), (0.5, 1.0), 0.52, "own")
    side = compare([run_of(1.2)], [run_of(0.9)], CORNER, own).rebound

    assert (side.verdict, side.at_target.speed) == ("toward", 0.52)


# --- single points: what both runs leave open in common ----------------------------------------------------------


def sheet(factor=1.0, friction=15.0, gas=0.0, speeds=(0.05, 0.13, 0.26, 0.52, 1.04), seed=0, noise=0.01):
    """Peak forces of a damper with 1200 N*s/m in and 2400 out, the return times `factor`."""
    rng = np.random.default_rng(seed)
    v = np.asarray(speeds)
    force = np.concatenate((1200.0 * v, -2400.0 * factor * v)) * (
        1.0 + noise * rng.standard_normal(2 * v.size)
    )
    velocity = np.concatenate((v, -v))
    return SweepRecord(velocity, force + friction * np.sign(velocity) + gas)


@pytest.mark.parametrize("friction", [5.0, 15.0, 40.0])
@pytest.mark.parametrize("factor", [0.75, 1.25])
def test_friction_that_no_sweep_tells_is_the_same_before_and_after(friction, factor):
    pair = [fit(sheet(friction=friction, seed=1))], [fit(sheet(factor, friction, seed=2))]
    answer = compare(*pair)

    for at in answer.rebound.change:
        assert at.ratio.contains(factor)
    for at in answer.compression.change:
        assert at.ratio.contains(1.0)
    assert answer.rebound.changed
    assert not answer.compression.changed
    assert answer.rebound.at_target.ratio.high / answer.rebound.at_target.ratio.low < 1.2


def test_what_is_common_says_no_more_than_the_points():
    """The ratio of two sheets is at least as unsure as their own scatter and the allowance make it."""
    ratio = compare([fit(sheet(seed=3))], [fit(sheet(seed=4))]).rebound.at_target.ratio

    assert ratio.log_sd > math.hypot(0.05 / 1.96, 0.01)


def test_offsets_that_differ_clearly_are_not_taken_as_common():
    """Another gas pressure: 60 N before, 250 N after. The ratio then keeps what each sheet leaves open."""
    one, other = fit(sheet(gas=60.0, seed=5)), fit(sheet(gas=250.0, seed=6))
    apart = compare([one], [other]).rebound.at_target.ratio
    alike = compare([one], [one]).rebound.at_target.ratio

    assert apart.log_sd > 1.5 * alike.log_sd
    assert apart.contains(1.0)


def test_a_change_that_is_not_one_column_over_the_other_says_why():
    """Two sweeps of one damper; what friction each of them finds differs, and cancels in the change."""
    speeds = np.array([0.05, 0.09, 0.13, 0.2, 0.26, 0.39, 0.52])

    def record(scale: float, friction: float) -> SweepRecord:
        force = np.concatenate([900.0 * scale * speeds + friction, -2000.0 * scale * speeds - friction])
        return SweepRecord(np.concatenate([speeds, -speeds]), force)

    same = compare([fit(record(1.0, 12.0))], [fit(record(1.2, 12.0))]).compression
    apart = compare([fit(record(1.0, 8.0))], [fit(record(1.2, 17.0))]).compression

    assert not any("one column over the other" in note_text(reason) for reason in same.reasons)
    assert any("at 0.05 m/s" in r and "cancels" in r for r in map(note_text, apart.reasons))
