"""What a change did to drives and jumps: differences with honest intervals, only over ground that both passed."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tests import phone_kinds as made
from tuner.comparing import Comparison, MeasureChange, compare
from tuner.comparing.ground import shared_ground
from tuner.comparing.scatter import apart, clear, difference_of, mean_difference, unseen, wider
from tuner.estimates import Estimate
from tuner.fitting import fit
from tuner.records import SIDES
from tuner.wording.doubts import note_text


def exact(*values: float) -> list[Estimate]:
    return [Estimate.exact(v, "s") for v in values]


def of(comparison: Comparison, name: str, side: str | None = None) -> MeasureChange:
    (found,) = [c for c in comparison.measures if c.name == name and c.side == side and c.speeds is None]
    return found


# --- differences ---------------------------------------------------------------------------------------------------


def test_two_groups_are_compared_as_welch_does():
    """scipy's Welch test and its interval."""
    rng = np.random.default_rng(5)
    one, other = rng.normal(0.8, 0.05, 4), rng.normal(0.9, 0.12, 6)
    wanted = stats.ttest_ind(other, one, equal_var=False).confidence_interval(0.95)

    difference = difference_of(exact(*one), exact(*other), "s")

    assert difference.value == pytest.approx(other.mean() - one.mean())
    assert (difference.low, difference.high) == pytest.approx((wanted.low, wanted.high))


def test_where_only_one_group_repeats_its_scatter_stands_for_both():
    """Student: sd of three, n - 1 = 2 degrees of freedom, variance (1/3 + 1) sd**2."""
    difference = difference_of(exact(1.0, 1.1, 1.2), exact(1.5), "s")

    assert difference.high - difference.value == pytest.approx(4.302653 * 0.1 * math.sqrt(4 / 3), rel=1e-5)


def test_one_against_one_has_no_interval_of_its_own():
    assert difference_of(exact(1.0), exact(1.5), "s") is None


def test_numbers_that_happen_to_agree_keep_their_own_errors():
    """Two pairs of equal values with an error of 0.1 each: 1.96 * sqrt(0.1**2 / 2 + 0.1**2 / 2)."""
    unsure = [Estimate.from_sd(1.0, 0.1, "s")] * 2

    difference = difference_of(unsure, unsure, "s")

    assert difference.high == pytest.approx(1.96 * 0.1, rel=1e-3)


def test_a_peak_that_ran_into_the_limit_leaves_the_difference_open():
    clipped = [Estimate(40.0, 39.0, math.inf, "m/s**2"), Estimate(41.0, 40.0, 42.0, "m/s**2")]
    fine = [Estimate(30.0, 29.0, 31.0, "m/s**2"), Estimate(31.0, 30.0, 32.0, "m/s**2")]

    assert difference_of(fine, clipped, "m/s**2").high == math.inf
    assert difference_of(clipped, fine, "m/s**2").low == -math.inf


def test_stretches_are_compared_in_pairs():
    """scipy's paired test."""
    rng = np.random.default_rng(6)
    one = rng.normal(0, 1.0, 12)
    other = one + 0.1 + rng.normal(0, 0.05, 12)
    wanted = stats.ttest_rel(other, one).confidence_interval(0.95)

    difference = mean_difference(list(other - one), "m")

    assert (difference.low, difference.high) == pytest.approx((wanted.low, wanted.high))
    assert mean_difference([0.1, 0.2], "m") is None


def test_the_wider_interval_wins():
    narrow, wide = Estimate(1.0, 0.9, 1.1, "m"), Estimate(1.0, 0.5, 1.5, "m")

    assert wider(narrow, wide) is wide
    assert wider(None, narrow) is narrow
    assert wider(None, None) is None
    assert apart(narrow, wide).low == pytest.approx(-math.hypot(0.5, 0.1))


@pytest.mark.parametrize(
    ("low", "high", "changed"),
    [(0.1, 0.6, True), (-0.2, 0.24, False), (-0.2, 0.26, None), (-0.26, 0.1, None), (-6.0, 6.0, None)],
)
def test_small_is_what_a_quarter_of_the_value_before_lies_outside_of(low, high, changed):
    difference, before = Estimate(0.5 * (low + high), low, high, "s"), Estimate.exact(-1.0, "s")

    assert clear(difference, before) is changed
    assert bool(unseen(changed)) == (changed is None)
    assert clear(None, before) is None


def test_jumps_of_one_setting_are_seldom_called_changed():
    """3 against 3 with the same truth, 2000 times: 5 % false alarms at most, by more than chance."""
    rng = np.random.default_rng(7)
    alarms = sum(
        not difference_of(exact(*rng.normal(1, 0.1, 3)), exact(*rng.normal(1, 0.1, 3)), "s").contains(0.0)
        for _ in range(2000)
    )

    assert alarms / 2000 < 0.05 + 3 * math.sqrt(0.05 * 0.95 / 2000)


# --- jumps ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def jumps() -> Comparison:
    before = [
        fit(made.jump(0.80 + d, -1.1 + d, 5.0 + 5 * d, seed=i)) for i, d in enumerate((-0.02, 0.0, 0.02))
    ]
    after = [
        fit(made.jump(0.81 + d, -0.5 + d, 3.5 + 5 * d, seed=9 + i)) for i, d in enumerate((-0.02, 0.0, 0.02))
    ]
    return compare(before, after)


def test_what_changed_between_jumps_is_found(jumps):
    assert of(jumps, "pitch_rate").difference.contains(0.6)
    assert of(jumps, "pitch_rate").changed is True
    assert of(jumps, "landing_peak").changed is True
    assert of(jumps, "landing_peak").difference.value == pytest.approx(-1.5 * made.G, rel=0.15)
    assert of(jumps, "airtime").changed is False
    assert of(jumps, "airtime").difference.contains(0.01)


def test_jumps_say_nothing_of_the_sides(jumps):
    for side in SIDES:
        assert jumps.side(side).verdict == "cannot tell"
        assert jumps.side(side).change == ()


def test_one_jump_against_one_gives_no_verdict():
    one, other = fit(made.jump(0.5, -1.0, 4.0)), fit(made.jump(0.9, -2.0, 8.0, seed=1))

    change = of(compare([one], [other]), "airtime")

    assert change.difference.value == pytest.approx(0.4, abs=0.02)
    assert change.changed is None
    assert "make three" in note_text(change.reasons[0])


def test_a_direction_that_is_known_on_one_side_only_is_not_compared():
    known, open_ = fit(made.jump(0.5, -1.0, 4.0)), fit(made.jump(0.5, -1.0, 4.0, gesture=False, seed=1))

    change = of(compare([known], [open_]), "pitch_rate")

    assert change.difference is None
    assert change.changed is None
    assert "direction" in note_text(change.reasons[0])


def test_a_phone_without_a_gyroscope_leaves_the_pitch_open():
    with_it, without = (
        fit(made.jump(0.5, -1.0, 4.0)),
        fit(made.without_gyroscope(made.jump(0.5, -1.0, 4.0, seed=1))),
    )

    change = of(compare([with_it], [without]), "pitch_rate")

    assert change.after is None
    assert [note_text(reason) for reason in change.reasons] == ["not known after"]


# --- drives --------------------------------------------------------------------------------------------------------


def drives(**change: float) -> Comparison:
    ground, corner = made.strip(), made.corner(full=0.125)
    before = [fit(made.drive(ground, lag=2.0, seed=1, full=0.125), corner)]
    after = [fit(made.drive(ground, lag=5.0, seed=2, full=0.125, **change), corner)]
    return compare(before, after, corner)


@pytest.fixture(scope="module")
def changed() -> Comparison:
    return drives(pace=1.06, gain=1.2, position=0.094)


def test_the_shared_ground_is_found_and_said(changed):
    (note,) = [n for n in changed.notes if n.code == "same-ground"]

    assert changed.ground.found
    assert changed.ground.shared > 0.7
    assert f"{100 * changed.ground.shared:.0f} % of the first drive" in note_text(note)


def test_only_the_shared_stretches_are_compared(changed):
    """4 mm deeper; 20 % more motion at 6 % more pace is 27 % more speed."""
    position = of(changed, "mean_position")
    assert position.difference.value == pytest.approx(0.004, abs=0.0005)
    assert position.changed is True

    for side in SIDES:
        peak = of(changed, "peak_speed", side)
        assert peak.after.value / peak.before.value == pytest.approx(1.2 * 1.06, rel=0.05)
        assert peak.changed is True


def test_pairs_over_the_same_ground_are_surer_than_the_drives_by_themselves(changed):
    position = of(changed, "mean_position")
    alone = apart(position.before, position.after)

    assert position.difference.high - position.difference.low < 0.5 * (alone.high - alone.low)


def test_another_pace_is_named_as_something_else_that_moves_every_figure(changed):
    (note,) = [n for n in changed.confounders if n.code == "other-pace"]

    assert "faster" in note_text(note)
    assert changed.ground.pace == pytest.approx(1.06, abs=0.02)


def test_a_drive_that_only_began_later_is_not_called_changed():
    same = drives()

    for name, side in (("mean_position", None), ("peak_speed", "compression"), ("peak_speed", "rebound")):
        assert of(same, name, side).changed is False
    assert not [n for n in same.confounders if n.code == "other-pace"]


def test_stops_are_compared_as_rates_with_poisson_intervals(changed):
    hits = of(changed, "bottomed")
    minutes = sum(p.end - p.start for p in changed.ground.before[0]) / 60.0
    inside = [
        t
        for t in changed.before.fit.traces[0].bottomed
        if any(p.start <= t < p.end for p in changed.ground.before[0])
    ]

    assert hits.before.value == pytest.approx(len(inside) / minutes)
    assert hits.before.low == pytest.approx(
        stats.chi2.ppf(0.025, 2 * len(inside)) / 2 / minutes if inside else 0
    )
    assert hits.before.high == pytest.approx(stats.chi2.ppf(0.975, 2 * len(inside) + 2) / 2 / minutes)
    assert hits.difference.contains(hits.after.value - hits.before.value)


def test_other_ground_gives_no_verdict_and_says_so():
    corner = made.corner()
    before, after = (fit(made.drive(made.strip(seed), seed=seed), corner) for seed in (1, 2))

    result = compare([before], [after], corner)

    assert not result.ground.found
    assert "other-ground" in [n.code for n in result.notes]
    assert {c.changed for c in result.measures} == {None}
    assert any("share no ground" in note_text(reason) for reason in of(result, "mean_position").reasons)


def test_a_drive_too_short_to_be_known_again_is_said_to_be_so():
    short = fit(made.drive(made.strip(), seconds=15.0))

    (note,) = shared_ground(short.traces, short.traces).notes

    assert "too short" in note_text(note)


def test_repeats_bring_their_own_scatter():
    """Drives of one setting 3 mm apart: 2 mm of change is then not clear, though every stretch shows it."""
    ground = made.strip()

    def setting(seed: int, *positions: float):
        return [fit(made.drive(ground, position=p, seed=seed + i)) for i, p in enumerate(positions)]

    single = compare(setting(1, 0.090), setting(5, 0.092))
    several = compare(setting(1, 0.0885, 0.0915), setting(5, 0.0905, 0.0935))

    assert of(single, "mean_position").changed is True
    assert of(several, "mean_position").changed is False
    assert "2 drives before and 2 after" in note_text(of(several, "mean_position").reasons[0])


def test_a_drive_over_other_ground_is_left_out_and_named():
    ground = made.strip()
    before = [fit(made.drive(ground, seed=1)), fit(made.drive(made.strip(7), seed=2))]
    after = [fit(made.drive(ground, position=0.094, seed=3))]

    result = compare(before, after)

    assert [bool(row) for row in result.ground.before] == [True, False]
    assert any("1 of 3 drives went over other ground" in note_text(n) for n in result.notes)
    assert of(result, "mean_position").difference.value == pytest.approx(0.004, abs=0.0005)


def test_packing_needs_rows_of_bumps(changed):
    assert of(changed, "packing").difference is None
    assert "three of each" in note_text(of(changed, "packing").reasons[0])


def test_different_kinds_have_no_measures_in_common():
    result = compare([fit(made.drive(made.strip()))], [fit(made.jump(0.5, -1.0, 4.0))])

    assert result.measures == ()
    assert "different-kinds" in [n.code for n in result.confounders]


# --- bounces -------------------------------------------------------------------------------------------------------


def test_recordings_fitted_together_carry_their_share_of_the_allowance():
    """Two recordings a side: the allowance of 5 % on a ratio of single runs shrinks by the root of two."""
    from tests.builders import bench_fit

    zeta = Estimate.exact(0.3, "1")
    base = bench_fit()
    sides = {side: replace(base.side(side), secant=(), zeta=zeta) for side in SIDES}
    one = replace(base, kind="bounce", runs=1, **sides)
    two = replace(one, runs=2)

    def half(pair):
        ratio = compare([pair], [pair]).rebound.at_target.ratio
        return math.log(ratio.high)

    assert half(one) == pytest.approx(0.05, rel=1e-6)
    assert half(two) == pytest.approx(0.05 / math.sqrt(2), rel=1e-6)
    assert any("fitted together" in note_text(r) for r in compare([two], [two]).rebound.reasons)
