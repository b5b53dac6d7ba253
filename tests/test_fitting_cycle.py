"""Bench cycles: what the independent model of `sample_data` knows comes back; odd records are handled or refused."""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from sample_data.bench_model import Bench, simulate_cycles
from sample_data.damper_model import Damper, Valve, gas_force, steady_loops, true_secant
from tuner.errors import FitError
from tuner.fitting import fit
from tuner.fitting.results import DampingFit, SideFit
from tuner.records import SIDES, CycleRecord, CycleTest

SPEEDS = (0.008, 0.05, 0.13, 0.26, 0.52, 1.04)
CYCLES = (1, 2, 4, 5, 6, 8)
MODEL = Damper(
    compression=Valve(1500.0, 400.0, 330.0, 35.0, 9e-4, 90.0),
    rebound=Valve(3000.0, 700.0, 640.0, 60.0, 4.4e-4, 150.0),
    stiffness=2.2e6,
    air=1.2,
    void=(0.0, 0.0055),
    friction=13.0,
    fade=0.03,
)


def codes(answer: DampingFit | SideFit) -> set[str]:
    return {note.code for note in answer.notes}


@functools.cache
def recorded() -> CycleRecord:
    """One damper with a dead stroke on the way out, on a bench with noise, jitter and quantised channels."""
    bench = Bench(force_offset=3.0, crank_ratio=0.08)
    traces = simulate_cycles(MODEL, SPEEDS, 0.080, 250.0, CYCLES, np.random.default_rng(21), bench)
    return CycleRecord(tuple(CycleTest(t.time, t.travel, t.force) for t in traces))


@functools.cache
def answer_of_model() -> DampingFit:
    return fit(recorded())


def linear(
    peak: float = 0.3,
    stroke: float = 0.08,
    cycles: float = 5,
    rate: float = 500.0,
    phase: float = 0.0,
    noise: float = 2.0,
    gas: float = 100.0,
    friction: float = 0.0,
    force: Callable[[np.ndarray], np.ndarray] = lambda v: 1500.0 * v,
) -> CycleTest:
    """Make a sine on a damper whose rebound is 1.6 times its compression."""
    omega = 2 * peak / stroke
    time = np.arange(0.0, cycles * 2 * math.pi / omega, 1 / rate)
    x = 0.09 - 0.5 * stroke * np.cos(omega * time + phase)
    v = peak * np.sin(omega * time + phase)
    f = np.where(v > 0, force(np.abs(v)), -1.6 * force(np.abs(v))) + gas + friction * np.sign(v)
    return CycleTest(time, x, f + noise * np.random.default_rng(5).standard_normal(time.size))


# --- the independent model ---


def test_secants_are_those_of_the_model() -> None:
    """Within 2 % from 0.13 m/s up, within 4 % at 0.05 where friction weighs."""
    answer = answer_of_model()
    for side in SIDES:
        assert [s.speed for s in answer.side(side).secant] == [0.05, 0.13, 0.26, 0.52, 1.04]
        for secant in answer.side(side).secant:
            truth = float(true_secant(MODEL, side, secant.speed))
            assert abs(secant.c.value / truth - 1) < (0.02 if secant.speed > 0.1 else 0.04)
            assert secant.c.high - secant.c.low < (0.06 if secant.speed > 0.1 else 0.12) * truth


def test_intervals_hold_the_secants_of_the_model() -> None:
    """Ten tests of one damper, its secants in their intervals: 87 of 100.

    The ten secants of one test err together, by counts of standard deviation 1.1 (seen over 60 tests), so that
    honest intervals hold 87 or more in 99 of 100 draws.
    """
    bench = Bench(force_offset=3.0, crank_ratio=0.08)
    loops = steady_loops([MODEL] * 6, SPEEDS, [0.080] * 6, [0.08] * 6)
    held = []
    for seed in range(10):
        traces = simulate_cycles(
            MODEL, SPEEDS, 0.080, 250.0, CYCLES, np.random.default_rng(seed), bench, loops
        )
        answer = fit(CycleRecord(tuple(CycleTest(t.time, t.travel, t.force) for t in traces)))
        secants = [(side, s) for side in SIDES for s in answer.side(side).secant]
        held += [s.c.contains(float(true_secant(MODEL, side, s.speed))) for side, s in secants]

    assert len(held) == 100
    assert sum(held) >= 87


def test_gas_force_and_friction_are_those_of_the_model() -> None:
    """Within 1.5 N, or 1 % of the gas force."""
    answer = answer_of_model()

    assert answer.gas_force is not None
    assert answer.friction is not None
    assert abs(answer.gas_force.value - float(gas_force(MODEL, 0.09)) - 3.0) < 1.5
    assert abs(answer.friction.value - MODEL.friction) < 1.5
    assert answer.friction.contains(MODEL.friction)


@pytest.mark.parametrize("off", [-800.0, 800.0])
def test_a_load_cell_off_its_zero_costs_no_damping(off: float) -> None:
    """A force that pulls the ends together at rest is no gas force, and is said to be none."""
    tests = tuple(CycleTest(t.time, t.travel, t.force + off) for t in recorded().tests)
    answer, right = fit(CycleRecord(tests)), answer_of_model()

    for side in SIDES:
        for one, other in zip(answer.side(side).secant, right.side(side).secant, strict=True):
            assert one.c.value == pytest.approx(other.c.value, rel=1e-3)
    assert ("gas-pulls" in codes(answer)) == (off < 0)
    assert "gas-pulls" not in codes(right)


def test_the_dead_stroke_is_found_on_its_side_only() -> None:
    answer = answer_of_model()
    dead, none = answer.rebound.dead_stroke, answer.compression.dead_stroke

    assert dead is not None
    assert none is not None
    assert abs(dead.value - 0.0055) < 0.1 * 0.0055
    assert dead.contains(0.0055)
    assert none.value < 0.0005
    assert "dead-stroke" in codes(answer)


def test_fade_lag_and_knee_are_those_of_the_model() -> None:
    """Fade -3 % over a test; lag = compliance times slope, some tenths of a millisecond; knee at the opening."""
    from sample_data.damper_model import opening_speed

    answer = answer_of_model()
    assert answer.fade is not None
    assert answer.lag is not None
    half = answer.fade.high - answer.fade.value
    assert half < 0.012
    assert abs(answer.fade.value + 0.03) < 2 * half  # four standard errors
    slope = np.mean([float(true_secant(MODEL, side, 1.04)) for side in SIDES])
    assert 0.5 < answer.lag.value / (slope / MODEL.stiffness) < 2.0
    for side in SIDES:
        knee = answer.side(side).parameters["v_knee"]
        wanted = opening_speed(MODEL, side)
        assert knee.contains(wanted) or abs(knee.value / wanted - 1) < 0.1


@pytest.mark.parametrize(("place", "bleed"), [(0.15, 0.1), (0.25, 0.4), (0.40, 0.4)])
def test_a_knee_is_where_the_valve_opens(place: float, bleed: float) -> None:
    """However the bleed bends next to it: within 10 % of the speed at which the bleed alone carries the preload."""
    from sample_data.damper_model import opening_speed

    opening = 2000.0 * (place + bleed * place**2)
    valve = Valve(2000.0, 2000.0 * bleed, opening, 0.12 * opening, 1.5 / 2000.0, 150.0)
    damper = replace(MODEL, compression=valve, rebound=valve.scaled(leak=1.6, orifice=1.6, opening=1.6))
    traces = simulate_cycles(damper, SPEEDS, 0.080, 400.0, CYCLES, np.random.default_rng(5))
    answer = fit(CycleRecord(tuple(CycleTest(t.time, t.travel, t.force) for t in traces)))

    for side in SIDES:
        assert abs(opening_speed(damper, side) / place - 1) < 1e-9
        law, knee = answer.side(side).law, answer.side(side).parameters["v_knee"]
        assert law is not None
        assert law.name == "knee"
        assert law.parameters["v_knee"] == knee.value
        assert abs(knee.value / place - 1) < 0.10
        assert knee.contains(place)
        assert knee.high / knee.value < 1.15


@pytest.mark.parametrize("step", [2.0, 5.0, 10.0, 20.0])
def test_forces_written_with_few_digits_do_not_pull_the_damping(step: float) -> None:
    """A slow test of some 10 N of damping then errs alike in every cycle; the fast ones must not follow it."""
    fine = recorded()
    tests = tuple(CycleTest(t.time, t.travel, step * np.round(t.force / step)) for t in fine.tests)
    answer, wanted = fit(CycleRecord(tests)), answer_of_model()

    for side in SIDES:
        for secant in wanted.side(side).secant:
            coarse = answer.side(side).secant_at(secant.speed)
            assert coarse is not None
            assert abs(coarse.value / secant.c.value - 1) < (0.01 if secant.speed > 0.1 else 0.03)


@pytest.mark.parametrize("step", [0.2e-3, 0.5e-3, 1e-3])
def test_a_travel_written_with_few_digits_widens_the_interval(step: float) -> None:
    """Speeds from it err by parts of a per cent, alike in all strokes of a test."""
    fine = recorded()
    tests = tuple(CycleTest(t.time, step * np.round(t.travel / step), t.force) for t in fine.tests)
    answer, wanted = fit(CycleRecord(tests)), answer_of_model()

    for side in SIDES:
        for secant in wanted.side(side).secant[1:]:
            coarse = answer.side(side).secant_at(secant.speed)
            assert coarse is not None
            assert coarse.contains(secant.c.value)
            assert step < 1e-3 or coarse.sd > 1.1 * secant.c.sd


def delayed(by: float) -> CycleRecord:
    """The record with its force channel `by` seconds late."""
    tests = recorded().tests
    return CycleRecord(
        tuple(CycleTest(t.time, t.travel, np.interp(t.time - by, t.time, t.force)) for t in tests)
    )


@pytest.mark.parametrize("by", [-0.003, 0.004, 0.008])
def test_channels_a_little_apart_are_named(by: float) -> None:
    assert "strokes-disagree" in codes(fit(delayed(by)))
    assert "strokes-disagree" not in codes(answer_of_model())


@pytest.mark.parametrize("by", [-0.010, -0.006, 0.015, 0.020])
def test_channels_far_apart_are_refused(by: float) -> None:
    """No number that looks sure comes of them."""
    with pytest.raises(FitError, match=r"contradict each other|does not follow"):
        fit(delayed(by))


def test_forces_beyond_the_load_cell_are_not_taken_as_damping() -> None:
    """A cell that ends at 75 % of the greatest pull: below it nothing changes, the speeds above it are not given."""
    whole = recorded()
    limit = 0.75 * min(float(t.force.min()) for t in whole.tests)
    tests = tuple(CycleTest(t.time, t.travel, np.maximum(t.force, limit)) for t in whole.tests)
    answer, wanted = fit(CycleRecord(tests)), answer_of_model()

    assert [s.speed for s in answer.rebound.secant] == [0.05, 0.13, 0.26, 0.52]
    for side in SIDES:
        for secant in answer.side(side).secant:
            full = wanted.side(side).secant_at(secant.speed)
            assert full is not None
            assert abs(secant.c.value / full.value - 1) < 0.01
    assert answer.energy_speed == pytest.approx(0.52, abs=0.01)


def test_energy_is_the_area_of_the_fastest_loop() -> None:
    """Polygon area of every whole raw cycle of the fastest test, 0.5 %."""
    from builders import loop_area

    test = recorded().tests[-1]
    omega_cycles = CYCLES[-1]
    edges = np.linspace(0, test.time.size, omega_cycles + 1).astype(int)
    pairs = itertools.pairwise(edges)
    wanted = np.mean([loop_area(test.travel[a:b], test.force[a:b]) for a, b in pairs])
    answer = answer_of_model()

    assert answer.energy_per_cycle is not None
    assert answer.energy_speed is not None
    assert abs(answer.energy_per_cycle.value / wanted - 1) < 0.005
    assert abs(answer.energy_speed - 1.04) < 0.01


def test_a_velocity_column_is_used_and_a_wrong_one_is_named() -> None:
    tests = recorded().tests
    speeds = [np.gradient(t.travel, t.time) for t in tests]
    smooth = [np.convolve(v, np.ones(5) / 5, mode="same") for v in speeds]
    wrong = CycleRecord(
        tuple(CycleTest(t.time, t.travel, t.force, 1.2 * v) for t, v in zip(tests, smooth, strict=True))
    )
    answer, plain = fit(wrong), answer_of_model()

    assert "velocity-differs" in codes(answer)
    for one, other in zip(answer.compression.secant, plain.compression.secant, strict=True):
        assert math.isclose(one.c.value, other.c.value, rel_tol=1e-9)


def test_everything_drawn_is_thin() -> None:
    answer = answer_of_model()

    assert len(answer.loops) == len(SPEEDS)
    for loop in answer.loops:
        assert loop.travel.size <= 2000
        assert loop.travel[0] == loop.travel[-1]
    for side in SIDES:
        assert 100 < answer.side(side).point_speed.size <= 2000


# --- laws ---


def test_the_mirrored_record_gives_the_mirrored_fit() -> None:
    """Travel and force negated: the sides swap, the gas force changes its sign, nothing else changes."""
    record = CycleRecord((linear(0.3), linear(0.05), linear(0.01, cycles=2)))
    mirror = CycleRecord(tuple(CycleTest(t.time, 0.18 - t.travel, -t.force) for t in record.tests))
    one, other = fit(record), fit(mirror)

    assert one.gas_force is not None
    assert other.gas_force is not None
    assert math.isclose(one.gas_force.value, -other.gas_force.value, abs_tol=0.2)
    for a, b in zip(one.compression.secant, other.rebound.secant, strict=True):
        assert math.isclose(a.c.value, b.c.value, rel_tol=2e-3)


def test_more_scatter_gives_a_wider_interval() -> None:
    widths = []
    speeds, damper = (0.05, 0.26, 0.52), replace(MODEL, void=(0.0, 0.0))
    loops = steady_loops([damper] * 3, speeds, [0.08] * 3, [0.0] * 3)
    for scatter in (0.002, 0.01, 0.04):
        bench = Bench(cycle_scatter=scatter)
        traces = simulate_cycles(damper, speeds, 0.08, 250.0, 6, np.random.default_rng(3), bench, loops)
        answer = fit(CycleRecord(tuple(CycleTest(t.time, t.travel, t.force) for t in traces)))
        secant = answer.rebound.secant_at(0.52)
        assert secant is not None
        widths.append((secant.high - secant.low) / secant.value)
    assert widths[0] < widths[1] < widths[2]
    assert widths[2] > 2 * widths[1]


def test_all_speeds_in_one_trace_are_told_apart() -> None:
    parts = [linear(v, rate=400.0, friction=10.0) for v in (0.05, 0.13, 0.26, 0.52, 1.04)]
    starts = np.cumsum([0.0] + [p.time[-1] + 1 / 400 for p in parts[:-1]])
    time = np.concatenate([p.time + s for p, s in zip(parts, starts, strict=True)])
    one = CycleTest(time, *(np.concatenate([getattr(p, n) for p in parts]) for n in ("travel", "force")))
    answer = fit(CycleRecord((one,)))

    assert len(answer.loops) == 5
    for secant in answer.compression.secant:
        assert abs(secant.c.value / 1500 - 1) < 0.01
        assert secant.c.contains(1500.0)


@pytest.mark.parametrize("phase", [0.0, 1.2, 3.0, 4.5])
def test_one_averaged_loop_cut_anywhere_is_read_and_wide(phase: float) -> None:
    answer = fit(CycleRecord((linear(cycles=1, phase=phase),)))

    assert "few-cycles" in codes(answer)
    for side, factor in (("compression", 1.0), ("rebound", 1.6)):
        secant = answer.side(side).secant_at(0.26)
        assert secant is not None
        assert secant.contains(1500 * factor)
        assert secant.high - secant.low > 0.04 * secant.value


def test_a_triangle_motion_is_read_without_its_corners() -> None:
    """Constant speed between corners at 0.2 and 0.05 m/s: two speeds, friction left open, so wide but right."""
    tests = []
    for period in (0.8, 3.2):
        time = np.arange(0, 6 * period, 0.002)
        share = (time / period) % 1
        x = 0.02 + 0.08 * (1 - np.abs(2 * share - 1))
        v = np.where(share < 0.5, 1, -1) * 0.16 / period
        tests.append(CycleTest(time, x, np.where(v > 0, 1500 * v, 2400 * v) + 100))
    answer = fit(CycleRecord(tuple(tests)))

    for side, c in (("compression", 1500.0), ("rebound", 2400.0)):
        secant = answer.side(side).secant_at(0.13)
        assert secant is not None
        assert abs(secant.value / c - 1) < 0.02
        assert secant.contains(c)


def test_half_a_cycle_shows_one_side() -> None:
    answer = fit(CycleRecord((linear(cycles=0.5),)))

    assert answer.compression.seen
    assert not answer.rebound.seen
    assert codes(answer.rebound) == {"side-not-seen"}
    assert answer.gas_force is None
    assert "gas-friction-unknown" in codes(answer)


def test_a_gap_costs_its_strokes_only() -> None:
    test = linear(cycles=8)
    keep = np.ones(test.time.size, dtype=bool)
    keep[900:1000] = False
    answer = fit(CycleRecord((CycleTest(test.time[keep], test.travel[keep], test.force[keep]),)))
    secant = answer.compression.secant_at(0.26)

    assert secant is not None
    assert abs(secant.value / 1500 - 1) < 0.02


def test_nothing_is_said_of_speeds_that_were_not_reached() -> None:
    answer = fit(CycleRecord((linear(0.01, cycles=2, rate=100.0),)))

    assert answer.compression.secant == ()
    assert "no-reference-speed" in codes(answer.compression)


# --- refusals: one sentence with a hint ---


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (lambda t: CycleTest(t.time, t.travel, -t.force), "wrong way round"),
        (lambda t: CycleTest(t.time, t.travel, 0 * t.force), "no damper"),
        (lambda t: CycleTest(t.time, t.travel, 1e6 * t.force), "no damper"),
        (lambda t: CycleTest(t.time, 0 * t.travel, t.force), "no test holds one whole stroke"),
        (lambda t: CycleTest(t.time[:40], t.travel[:40], t.force[:40]), "no test holds one whole stroke"),
        (
            lambda t: CycleTest(t.time, t.travel, np.random.default_rng(1).normal(0, 300, t.time.size)),
            "does not follow|wrong way round",
        ),
    ],
    ids=["turned", "no force", "huge", "standing", "short", "noise"],
)
def test_what_cannot_be_a_damper_is_refused(record: Callable[[CycleTest], CycleTest], words: str) -> None:
    with pytest.raises(FitError, match=words) as caught:
        fit(CycleRecord((record(linear(phase=0.6)),)))
    assert caught.value.hint
