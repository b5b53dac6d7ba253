"""Several runs of one setting: their mean, their scatter, and what is said when they disagree."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tests.moving_results import bounce_fit, drive_fit, jump_fit
from tuner.errors import FitError
from tuner.estimates import Estimate
from tuner.fitting.repeats import PRIOR_DF, RUN_TO_RUN, combine, mean_of, run_sd, scatter
from tuner.fitting.results import REFERENCE_SPEEDS, Curve, DampingFit, Secant, SideFit
from tuner.laws import Knee, Line, Power
from tuner.records import Conditions, Provenance


def side_of(side, c, log_sd=0.01, *, speeds=REFERENCE_SPEEDS, **more):
    """One side with the same secant at every speed."""
    secants = tuple(Secant(v, Estimate.from_log_sd(c, log_sd, "N*s/m")) for v in speeds)
    return SideFit(side, True, secant=secants, speed_range=(speeds[0], speeds[-1]), **more)


def fit_of(compression=800.0, rebound=1500.0, log_sd=0.01, **more):
    """A bench fit whose secants are flat."""
    return DampingFit(
        "cycle", side_of("compression", compression, log_sd), side_of("rebound", rebound, log_sd), **more
    )


def codes(notes):
    return {note.code for note in notes}


def test_one_run_comes_back_unchanged():
    fit = fit_of()

    assert combine([fit]) is fit


def test_the_mean_is_the_geometric_one():
    combined = combine([fit_of(800.0), fit_of(1000.0), fit_of(900.0)])

    assert math.isclose(combined.compression.secant_at(0.26).value, stats.gmean([800.0, 1000.0, 900.0]))
    assert combined.runs == 3


def test_the_interval_is_the_closed_form():
    """Pooled variance (4 (s0^2 + w^2) + SS)/(4 + n - 1), Student's t, worked with scipy.stats."""
    values, own = np.array([800.0, 840.0, 860.0]), 0.012
    c = combine([fit_of(v, log_sd=own) for v in values]).compression.secant_at(0.26)
    logs = np.log(values)
    prior = run_sd(RUN_TO_RUN) ** 2 + own**2
    df = PRIOR_DF + 2
    sd = math.sqrt((PRIOR_DF * prior + 2 * np.var(logs, ddof=1)) / df / 3)
    low, high = stats.t.interval(0.95, df, loc=logs.mean(), scale=sd)

    assert math.isclose(c.low, math.exp(low), rel_tol=1e-9)
    assert math.isclose(c.high, math.exp(high), rel_tol=1e-9)


def test_runs_that_agree_by_chance_are_not_certain_and_still_better_than_one():
    twice = combine([fit_of(800.0), fit_of(800.0)]).compression.secant_at(0.26)
    single_with_allowance = math.hypot(0.01, run_sd())

    assert 0.5 * single_with_allowance < twice.log_sd < single_with_allowance


@pytest.mark.parametrize("remount", [0.005, 0.015, 0.018])
def test_the_interval_of_two_runs_holds_the_truth(remount):
    """Coverage over 2000 invented pairs whose refitting scatter is at or below the allowance."""
    rng = np.random.default_rng(3)
    hits = 0
    for _ in range(2000):
        runs = [
            SideFit(
                "compression",
                True,
                secant=(
                    Secant(0.26, Estimate.from_log_sd(800 * math.exp(rng.normal(0, s)), 0.008, "N*s/m")),
                ),
            )
            for s in [math.hypot(remount, 0.008)] * 2
        ]
        c = combine([DampingFit("cycle", r, SideFit("rebound", False)) for r in runs]).compression.secant_at(
            0.26
        )
        hits += c.contains(800.0)

    assert hits / 2000 > 0.94


def test_more_runs_make_it_narrower():
    widths = [combine([fit_of()] * n).compression.secant_at(0.26).log_sd for n in (2, 3, 5, 9)]

    assert widths == sorted(widths, reverse=True)


def test_disagreement_beyond_the_allowance_is_said():
    quiet = combine([fit_of(800.0), fit_of(820.0)]).compression
    loud = combine([fit_of(800.0), fit_of(920.0)]).compression

    assert "repeats-disagree" not in codes(quiet.notes)
    assert "repeats-disagree" in codes(loud.notes)
    assert "run-to-run" in codes(quiet.notes) & codes(loud.notes)


def test_the_allowance_is_where_two_runs_begin_to_disagree():
    """Two exact runs, one allowance (5 % on logarithms) apart: the edge of the note, by its definition."""
    at = {
        gap: codes(
            combine([fit_of(800.0, log_sd=0), fit_of(800.0 * math.exp(gap), log_sd=0)]).compression.notes
        )
        for gap in (0.0499, 0.0501)
    }

    assert "repeats-disagree" not in at[0.0499]
    assert "repeats-disagree" in at[0.0501]


def test_scatter_is_the_sample_standard_deviation():
    values = [800.0, 830.0, 850.0]
    between, own, runs = scatter([side_of("compression", v, 0.02) for v in values])

    assert math.isclose(between, np.std(np.log(values), ddof=1))
    assert math.isclose(own, 0.02)
    assert runs == 3


def test_a_speed_that_one_run_holds_keeps_that_run_with_the_allowance():
    short = replace(fit_of(), compression=side_of("compression", 800.0, speeds=(0.05, 0.13)))
    combined = combine([fit_of(900.0), short]).compression

    assert combined.secant_at(1.04).value == pytest.approx(900.0)
    assert combined.secant_at(1.04).log_sd == pytest.approx(math.hypot(0.01, run_sd()))
    assert combined.speed_range == (0.05, 1.04)


def test_a_side_that_one_run_does_not_show_is_taken_from_the_others():
    blind = replace(fit_of(), rebound=SideFit("rebound", False))
    combined = combine([blind, fit_of(rebound=1500.0)])

    assert combined.rebound.seen
    assert combined.rebound.secant_at(0.26).value == pytest.approx(1500.0)
    assert "not-repeated" in codes(combined.rebound.notes)
    assert not combine([blind, blind]).rebound.seen


def test_a_run_that_knows_nothing_is_left_out():
    lost = replace(
        fit_of(),
        compression=SideFit(
            "compression", True, secant=(Secant(0.26, Estimate(500.0, -900.0, 1900.0, "N*s/m")),)
        ),
    )
    combined = combine([fit_of(800.0), lost]).compression.secant_at(0.26)

    assert combined.value == pytest.approx(800.0)


def test_runs_that_all_reach_zero_are_averaged_plainly_and_cut_at_zero():
    side = SideFit("rebound", True, secant=(Secant(0.26, Estimate(30.0, -10.0, 70.0, "N*s/m")),))
    combined = combine([DampingFit("cycle", SideFit("compression", False), side)] * 2).rebound.secant_at(0.26)

    assert combined.value == pytest.approx(30.0)
    assert combined.low == 0.0 < combined.high


def test_laws_of_one_kind_are_averaged_and_others_are_named():
    same = combine(
        [
            fit_of().__class__(
                "cycle",
                side_of(
                    "compression",
                    800.0,
                    law=Line(c),
                    parameters={"c": Estimate.from_log_sd(c, 0.01, "N*s/m")},
                ),
                SideFit("rebound", False),
            )
            for c in (800.0, 900.0)
        ]
    ).compression
    mixed = combine(
        [
            DampingFit("cycle", side_of("compression", 800.0, law=law), SideFit("rebound", False))
            for law in (Line(800.0), Power(700.0, 0.9), Line(810.0))
        ]
    ).compression

    assert same.law == Line(pytest.approx(math.sqrt(800.0 * 900.0)))
    assert same.parameters["c"].value == pytest.approx(math.sqrt(800.0 * 900.0))
    assert "laws-differ" in codes(mixed.notes)


def test_a_mean_that_is_no_law_falls_back_to_the_typical_run():
    """A knee at zero speed is refused by the law, so the typical run's own law stays."""
    knee = Knee(900.0, 400.0, 0.1)
    parameters = {
        "c_low": Estimate.exact(900.0, "N*s/m"),
        "c_high": Estimate.exact(400.0, "N*s/m"),
        "v_knee": Estimate(-0.1, -0.3, 0.2, "m/s"),
    }
    fits = [
        DampingFit(
            "cycle", side_of("compression", 800.0, law=knee, parameters=parameters), SideFit("rebound", False)
        )
    ] * 2

    assert combine(fits).compression.law == knee


def test_curves_are_averaged_over_the_speeds_they_share():
    def curve(c, last):
        v = np.linspace(0.0, last, 50)
        return Curve(v, c * v, 0.98 * c * v, 1.02 * c * v)

    combined = combine(
        [
            DampingFit("cycle", side_of("compression", c, curve=curve(c, last)), SideFit("rebound", False))
            for c, last in ((800.0, 1.0), (900.0, 0.6))
        ]
    ).compression.curve

    assert combined.speed[-1] == pytest.approx(0.6)
    assert combined.force == pytest.approx(850.0 * combined.speed)
    assert np.all(combined.low <= combined.force)
    assert np.all(combined.force <= combined.high)


def test_dead_stroke_and_friction_stay_physical():
    """A dead stroke near zero keeps a lower bound of zero; plain means for what may be negative."""
    values = [Estimate(0.0, 0.0, 0.001, "m"), Estimate(0.004, 0.003, 0.005, "m")]
    fits = [
        DampingFit(
            "cycle",
            side_of("compression", 800.0, dead_stroke=d),
            SideFit("rebound", False),
            friction=Estimate.from_sd(20.0, 1.0, "N"),
            gas_force=Estimate.from_sd(g, 1.0, "N"),
        )
        for d, g in zip(values, (-5.0, 15.0), strict=True)
    ]
    combined = combine(fits)

    assert combined.compression.dead_stroke.value == pytest.approx(0.002)
    assert combined.compression.dead_stroke.low >= 0.0
    assert combined.gas_force.value == pytest.approx(5.0)
    assert combined.friction.value == pytest.approx(20.0)


def test_what_went_in_is_kept():
    fits = [
        fit_of(inputs=(Provenance(f"run {i}.csv"),), conditions=(Conditions(temperature=293.0 + i),))
        for i in range(2)
    ]
    combined = combine(fits)

    assert [p.file for p in combined.inputs] == ["run 0.csv", "run 1.csv"]
    assert [c.temperature for c in combined.conditions] == [293.0, 294.0]


def test_measures_of_drives_and_flights_are_averaged():
    """Every jump counts alike; drives add up in time, and the longest one tells the frequencies."""
    jumps = combine([jump_fit(1.0), jump_fit(1.2)])
    drives = combine([drive_fit(hits=2), replace(drive_fit(hits=3), duration=50.0, main_frequencies=(9.0,))])

    assert jumps.pitch_rate.value == pytest.approx(1.1)
    assert jumps.pitch_rate.contains(1.0)
    assert len(jumps.jumps) == len(jumps.traces) == 6
    assert drives.duration == 150.0
    assert len(drives.bottomed) == 5
    assert drives.main_frequencies == (1.6, 3.1)
    assert drives.runs == jumps.runs == 2


def test_bounces_of_several_fits_are_counted_together():
    bounces = combine([bounce_fit(), bounce_fit()])

    assert bounces.bounces == len(bounces.traces) == 12
    assert bounces.decrement_zeta is None


def test_energy_is_averaged_only_at_one_speed():
    energy = Estimate.from_sd(10.0, 0.1, "J")
    same = [fit_of(energy_per_cycle=energy, energy_speed=0.26)] * 2
    other = [same[0], fit_of(energy_per_cycle=energy, energy_speed=0.52)]

    assert combine(same).energy_per_cycle.value == pytest.approx(10.0)
    assert combine(other).energy_per_cycle is None


def test_mean_of_nothing_known_is_none():
    assert mean_of([]) is None
    assert mean_of([Estimate(1.0, -math.inf, math.inf, "N")]) is None


@pytest.mark.parametrize(
    ("fits", "words"),
    [
        ([], "at least one"),
        (
            [fit_of(), DampingFit("sweep", SideFit("compression", False), SideFit("rebound", False))],
            "one kind",
        ),
    ],
)
def test_what_cannot_be_combined_is_refused_in_one_sentence(fits, words):
    with pytest.raises(FitError, match=words):
        combine(fits)


@pytest.mark.parametrize("allowance", [-0.1, math.nan, math.inf])
def test_an_impossible_allowance_is_refused(allowance):
    with pytest.raises(FitError, match="allowance"):
        combine([fit_of()] * 2, allowance=allowance)


def test_repeats_do_not_tell_what_every_run_leaves_open():
    """Scatter shrinks with the root of the runs; friction that no sweep tells is as unknown as before."""
    offset = Estimate.from_sd(15.0, 10.0, "N")
    secant = Secant(0.26, Estimate.from_sd(1000.0, math.hypot(10.0 / 0.26, 20.0), "N*s/m"), -1.0 / 0.26, 20.0)
    side = SideFit("rebound", True, secant=(secant,), speed_range=(0.1, 0.5), offset=offset)
    run = DampingFit("sweep", SideFit("compression", False), side)
    many = combine([run] * 9, allowance=0.0).rebound

    assert many.offset == offset
    assert many.secant[0].per_offset == pytest.approx(-1.0 / 0.26)
    assert many.secant[0].scattered < 0.6 * 20.0
    assert many.secant[0].c.sd == pytest.approx(math.hypot(10.0 / 0.26, many.secant[0].scattered), rel=1e-3)
