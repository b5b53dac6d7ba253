"""What cannot be negative never is, in any interval of any kind of test; too little is said to be too little."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tests import moving_results as results
from tests.phone_kinds import corner, drive, jump, strip
from tuner.comparing import compare
from tuner.errors import FitError
from tuner.estimates import Estimate
from tuner.exchange import compare_value, fit_value
from tuner.fitting import fit
from tuner.fitting.measures import flight_means
from tuner.fitting.repeats import combine
from tuner.fitting.results import DampingFit, Secant, SideFit, SpeedShare
from tuner.fitting.travel import SPEED_EDGES
from tuner.judging import judge
from tuner.machine import TARGETS, read_machine_file
from tuner.records import SIDES, SweepRecord, WeightsRecord
from tuner.wording import change_headline, change_sections, fit_headline, fit_sections, page
from tuner.wording.doubts import note_text
from tuner.wording.onward import onward_change

# quantities that may well be negative; every other one is a size, a rate, a share, a time or a speed
SIGNED = {
    "gas_force",
    "pitch_rate",
    "rotation",
    "mean_below_static",
    "packing",
    "difference",
    "fade",
    "a",
    "b",
}
MACHINE = read_machine_file(Path(__file__).parents[1] / "sample_data" / "dune_hopper.toml")
TARGET = next(iter(TARGETS.values()))
GRAVITY = 9.80665


def below_zero(value, path=()):
    """Paths of intervals in a JSON value that reach below zero where that cannot be."""
    if isinstance(value, dict):
        if value.keys() == {"value", "low", "high", "unit"}:
            low = value["low"]
            return [path] if low is not None and low < 0.0 and not SIGNED & set(path) else []
        return [found for name, item in value.items() for found in below_zero(item, (*path, name))]
    if isinstance(value, list):
        return [found for item in value for found in below_zero(item, path)]
    return []


def wild(rng, middle, unit):
    """An estimate of a positive quantity, anything from sharp to useless, with a plain interval cut at zero."""
    value = middle * math.exp(rng.normal(0.0, 0.7))
    half = value * math.exp(rng.normal(-1.5, 1.5))
    return Estimate(value, max(value - half, 0.0), value + half, unit)


def bench(kind):
    def made(rng):
        sides = [
            SideFit(
                side,
                True,
                secant=tuple(Secant(v, wild(rng, 1000.0, "N*s/m")) for v in (0.05, 0.13, 0.26)),
                dead_stroke=Estimate(0.0, 0.0, 0.001, "m") if rng.random() < 0.5 else wild(rng, 0.004, "m"),
            )
            for side in SIDES
        ]
        return DampingFit(
            kind,
            *sides,
            gas_force=Estimate.from_sd(rng.normal(50.0, 80.0), 20.0, "N"),
            friction=wild(rng, 15.0, "N"),
            lag=wild(rng, 0.001, "s"),
            energy_per_cycle=wild(rng, 20.0, "J"),
            energy_speed=0.26,
        )

    return made


def flight(rng):
    first = results.jump_fit()
    jumps = tuple(
        replace(j, airtime=wild(rng, 0.5, "s"), landing_peak=wild(rng, 40.0, "m/s**2"))
        for j in first.jumps[: rng.integers(1, 4)]
    )
    return replace(first, **flight_means(jumps))


def travel(rng):
    first = results.drive_fit(hits=int(rng.integers(0, 4)))
    shares = []
    for side in SIDES:
        for low, high in pairwise(SPEED_EDGES):
            share = 0.0 if rng.random() < 0.3 else min(rng.exponential(0.1), 1.0)
            shares.append(SpeedShare(side, low, high, Estimate.within_one(share, rng.exponential(0.2))))
    measures = {
        "time_share": tuple(shares),
        "peak_speed": {side: wild(rng, 0.8, "m/s") for side in SIDES},
        "mean_position": wild(rng, 0.05, "m"),
    }
    return replace(first, **measures)


def bounce(rng):
    first = results.bounce_fit(*rng.uniform(0.05, 0.9, 2))
    sides = {side: replace(first.side(side), zeta=wild(rng, 0.3, "1")) for side in SIDES}
    measured = {name: wild(rng, e.value, e.unit) for name, e in first.corner_measured.items()}
    return replace(first, **sides, corner_measured=measured, friction=wild(rng, 20.0, "N"))


MAKERS = {
    "cycle": bench("cycle"),
    "sweep": bench("sweep"),
    "weights": bench("weights"),
    "bounce": bounce,
    "travel": travel,
    "flight": flight,
}


@pytest.mark.parametrize("kind", MAKERS)
@pytest.mark.parametrize("seed", range(12))
def test_repeats_of_any_kind_never_bound_a_positive_quantity_below_zero(kind, seed):
    rng = np.random.default_rng(100 * seed + len(kind))
    before, after = ([MAKERS[kind](rng) for _ in range(rng.integers(1, 5))] for _ in range(2))
    rear = corner()

    whole = fit_value(judge(combine(before), rear, TARGET), ())
    change = compare(before, after, rear, TARGET)

    assert below_zero(whole) == []
    assert below_zero(compare_value(change, "", ())) == []
    assert "±" in page(change_sections(change, "metric"))


def rows(masses, direction, c, *, offset, noise=0.0, seed=0, distance=0.08):
    """Hung weights that sink against c v + offset: (mass, distance, time, direction) of each."""
    rng = np.random.default_rng(seed)
    masses = np.asarray(masses, dtype=float)
    speed = (GRAVITY * masses - offset) / c * (1.0 + rng.normal(0.0, noise, masses.size))
    size = np.full(masses.size, distance)
    return masses, size, size / speed, np.full(masses.size, direction)


def weights(*groups, **more):
    return WeightsRecord(*(np.concatenate(column) for column in zip(*groups, strict=True)), **more)


@pytest.mark.parametrize("seed", range(30))
def test_few_rows_of_weights_and_sweeps_never_bound_a_positive_quantity_below_zero(seed):
    rng = np.random.default_rng(seed)
    masses = rng.uniform(12.0, 50.0, (2, rng.integers(1, 4)))
    drops = fit(
        weights(
            rows(masses[0], 1.0, rng.uniform(300, 2000), offset=rng.uniform(-20, 40), noise=0.1, seed=seed),
            rows(masses[1], -1.0, rng.uniform(300, 4000), offset=rng.uniform(-20, 40), noise=0.1, seed=seed),
        )
    )
    v = rng.choice([0.02, 0.05, 0.13, 0.26], rng.integers(1, 4), replace=False)
    force = np.concatenate([rng.uniform(200, 2000) * v + 15.0, -rng.uniform(200, 4000) * v - 15.0])
    points = fit(SweepRecord(np.concatenate([v, -v]), force))
    for made in (drops, points):
        value = fit_value(judge(made, MACHINE.corner("front left"), MACHINE.target), ())
        assert below_zero(value) == []
        for side in SIDES:
            assert all(s.c.low >= 0.0 for s in made.side(side).secant)


def test_real_drives_and_jumps_of_very_unlike_runs_stay_above_zero():
    ground = strip(seconds=40.0)
    drives = [
        fit(drive(ground, gain=gain, position=position, seconds=30.0, seed=int(100 * gain)), corner())
        for gain, position in ((0.2, 0.02), (1.6, 0.12))
    ]
    jumps = [fit(jump(seconds, -1.0, peak, seed=3)) for seconds, peak in ((0.95, 6.0), (0.33, 2.1))]

    for each in (drives, jumps):
        assert below_zero(fit_value(judge(combine(each), corner(), TARGET), ())) == []
    assert combine(jumps).airtime is None
    assert [note.code for note in combine(jumps).notes].count("unlike-jumps") == 1
    assert drives[0].mean_position.value < 0.3 * drives[1].mean_position.value


def test_jumps_of_one_ramp_have_a_mean():
    """A driver who holds the speed to 15 % either way."""
    like = [fit(jump(0.5 * x, -1.0, 4.0, seed=i)) for i, x in enumerate((0.85, 1.0, 1.15))]

    assert combine(like).airtime.value == pytest.approx(0.5, abs=0.02)
    assert "unlike-jumps" not in [note.code for note in combine(like).notes]


# --- not enough is an answer ---


def three_rows(c, seed=0):
    """Three weights on the way out, timed by hand, without scale readings."""
    return weights(rows([10.0, 20.0, 40.0], -1.0, c, offset=15.0 - 110.0, noise=0.02, seed=seed))


def test_three_rows_that_say_nothing_are_not_enough():
    judgement = judge(fit(three_rows(2300.0)), MACHINE.corner("front left"), MACHINE.target)
    text = page(fit_sections(judgement, "metric", notes=judgement.fit.rebound.notes))
    value = fit_value(judgement, judgement.fit.rebound.notes)

    assert "Rebound (on the way out): not enough to tell rebound at" in " ".join(text.split())
    assert "what is missing is" in " ".join(text.split())
    assert "is measured" not in fit_headline(judgement).sentence
    assert "the test is not enough" in fit_headline(judgement).sentence
    assert "is measured" not in fit_headline(judge(judgement.fit)).sentence
    assert all(entry["c"] is None for entry in value["sides"]["rebound"]["secant"])
    assert all(entry["zeta"] is None for entry in value["sides"]["rebound"]["zeta"])
    assert "not-enough" in [note["code"] for note in value["notes"]]


def test_what_is_said_to_be_missing_is_enough():
    """The scale readings that the note asks for, then the weights it asks for, make the side tell."""
    poor = fit(three_rows(2300.0)).rebound
    note = next(note_text(note) for note in poor.notes if note.code == "not-enough")
    read = {"push_force": np.array([125.0]), "return_force": np.array([95.0])}
    told = fit(replace(three_rows(2300.0), **read)).rebound

    assert "both scale readings" in note
    assert "more weight" not in note
    assert all(s.c.tells for s in told.secant)
    assert told.secant_at(poor.secant[0].speed).contains(2300.0)


def test_more_weights_are_asked_for_with_their_masses():
    """Two fast rows timed by hand on the way in: readings alone do not help."""
    pair = weights(rows([20.0, 30.0], 1.0, 900.0, offset=125.0))
    note = next(note_text(note) for note in fit(pair).compression.notes if note.code == "not-enough")

    assert "2 more weights going in, such as" in note
    assert "kg" in note


def test_a_change_that_is_open_by_a_factor_of_six_has_no_number():
    corner_of, target = MACHINE.corner("front left"), MACHINE.target
    change = compare([fit(three_rows(2300.0))], [fit(three_rows(1500.0, seed=1))], corner_of, target)
    text = " ".join(page(change_sections(change, "metric")).split())
    value = compare_value(change, "", ())["sides"]["rebound"]

    assert change.rebound.verdict == "cannot tell"
    assert change.rebound.probability is None
    assert "cannot tell, because these tests leave the change open by more than a factor of six" in text
    assert "what is missing is both scale readings" in text
    assert "% less" not in text
    assert "% more" not in text
    assert [entry["ratio"] for entry in value["change"]] == [None] * len(value["change"])
    assert (
        change_headline(compare([fit(three_rows(2300.0))], [fit(three_rows(1500.0, seed=1))])).answer
        == "Cannot tell"
    )


# --- the remedy that helps most ---

SPEEDS = np.array([0.05, 0.13, 0.26, 0.52])
PUSH, RETURN = 139.0, 121.0  # what a scale reads of 130 N of gas and 9 N of friction


def sweep(compression, rebound, seed, *, scatter, read=False):
    """A bench sweep of straight sides with 9 N of friction, zeroed with the gas force on."""
    rng = np.random.default_rng(seed)
    force = np.concatenate([compression * SPEEDS + 9.0, -(rebound * SPEEDS + 9.0)])
    force *= 1.0 + rng.normal(0.0, scatter, force.size)
    readings = (PUSH, RETURN) if read else (None, None)
    return fit(SweepRecord(np.concatenate([SPEEDS, -SPEEDS]), force, *readings))


@cache
def changed(scatter, *, read=False, times=1):
    """Compression moved from above its band to just inside it."""
    pairs = [
        (
            sweep(1400.0, 2400.0, 1 + 10 * i, scatter=scatter, read=read),
            sweep(1240.0, 2400.0, 2 + 10 * i, scatter=scatter, read=read),
        )
        for i in range(times)
    ]
    before, after = zip(*pairs, strict=True)
    return compare(before, after, MACHINE.corner("front left"), MACHINE.target).compression


@pytest.mark.parametrize("scatter", [0.003, 0.02])
def test_where_friction_is_the_doubt_the_slow_push_is_advised_and_helps_more_than_repeats(scatter):
    """Each remedy is really made: the probability of the truth, toward the band, goes up most with the advised one."""
    now = changed(scatter)
    read, repeated = changed(scatter, read=True), changed(scatter, times=3)

    assert now.verdict == "cannot tell"
    assert [remedy.kind for remedy in now.remedies] == ["scale", "repeats"]
    assert read.probability > now.probability + 0.02
    assert read.probability > repeated.probability
    why = next(
        reason for reason in map(note_text, now.reasons) if "its place against the band is not" in reason
    )
    assert "push the shaft in slowly over a scale" in why
    assert "three tests of each setting only to" in why
    assert "repeat each setting" not in " ".join(map(note_text, now.reasons))


def test_what_a_remedy_is_foretold_to_leave_is_what_it_leaves():
    now, read = changed(0.003), changed(0.003, read=True)

    assert now.remedies[0].left == pytest.approx(read.remedies[0].now, rel=0.03)


def test_where_scatter_is_the_doubt_repeats_are_advised():
    """Friction and gas force read on a scale on both sides: only the scatter of the weights is left."""
    read = {"push_force": np.array([125.0] * 4), "return_force": np.array([107.0] * 4), "frame_rate": 240.0}
    masses = [16.0, 20.0, 25.0, 30.0, 36.0, 42.0]

    def drops(c, seed):
        return fit(weights(rows(masses, 1.0, c, offset=125.0, noise=0.1, seed=seed), **read))

    side = compare(
        [drops(1100.0, 1)], [drops(1320.0, 2)], MACHINE.corner("front left"), MACHINE.target
    ).compression

    assert side.verdict == "cannot tell"
    assert side.remedies[0].kind == "repeats"
    assert "test each setting three times" in " ".join(map(note_text, side.reasons))


def test_what_now_names_the_slow_push_instead_of_repeats():
    before, after = (sweep(c, 2400.0, seed, scatter=0.003) for c, seed in ((1400.0, 1), (1240.0, 2)))
    points = onward_change(compare([before], [after], MACHINE.corner("front left"), MACHINE.target))

    assert any(point.startswith("Push the shaft in slowly over a scale") for point in points)
    assert not any("a second time" in point for point in points)


def test_a_sweep_takes_a_slow_push_and_return():
    plain, read = (sweep(1400.0, 2400.0, 1, scatter=0.003, read=read) for read in (False, True))

    assert read.friction.contains(9.0)
    assert read.friction.high - read.friction.low < 8.0
    assert plain.friction is None
    assert read.compression.offset.sd == pytest.approx(plain.compression.offset_sd_read, rel=0.1)
    assert "friction-from-scale" in [note.code for note in read.notes]


def test_readings_the_wrong_way_round_are_refused():
    with pytest.raises(FitError, match="slow push on the scale"):
        fit(SweepRecord(np.array([0.1, -0.1]), np.array([100.0, -200.0]), RETURN, PUSH))
