"""Random dampers with a known truth, recorded, fitted and compared: the tallies behind the table.

Takes a number of dampers and a seed; gives `Recovery`.

Each damper has its own bench, stroke, rate and mounting. It is recorded, recorded again after remounting (the null
pair), and recorded after one side was made 25 % stronger or weaker (the changed pair), remounted as well.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from sample_data.bench_model import Bench, Trace, simulate_cycles
from sample_data.damper_model import PHASES, Array, Damper, opening_speed, steady_loops, true_secant
from sample_data.random_dampers import random_bench, random_damper, remounted
from tuner.comparing import compare
from tuner.estimates import Estimate
from tuner.fitting import fit
from tuner.fitting.results import DampingFit
from tuner.records import SIDES, CycleRecord, CycleTest, Side

SPEEDS = (0.13, 0.26, 0.52, 1.04)  # the test speeds that QC/T 491-2018 recommends
CYCLES = (2, 4, 5, 6, 8, 10)
CHUNK = 25  # dampers whose flow balances are solved side by side
CHANGE = 0.25
CLEAR_KNEE = 0.7  # a knee is asked for where the open shims add this share of the bleed's own slope or more
DEAD = 0.002  # m


@dataclass(frozen=True)
class Setup:
    """One damper on its bench: drawn once, recorded three times."""

    number: int
    damper: Damper
    changed: Damper
    side: Side  # that was changed
    factor: float
    bench: Bench
    stroke: float
    rate: float
    speeds: tuple[float, ...]
    seed: int


@dataclass(frozen=True)
class Recovered:
    """One known quantity and its estimate; `value` None where the fit gave none."""

    damper: int
    side: str
    speed: float
    truth: float
    value: float | None
    low: float | None
    high: float | None
    void: bool

    @property
    def error(self) -> float:
        """Relative error."""
        return math.inf if self.value is None else self.value / self.truth - 1.0

    @property
    def covered(self) -> bool:
        """Whether the interval holds the truth."""
        return self.low is not None and self.high is not None and self.low <= self.truth <= self.high


@dataclass
class Recovery:
    """All tallies: one entry per quantity or pair, in the order of the dampers."""

    dampers: int = 0
    secants: list[Recovered] = field(default_factory=list)
    knees: list[Recovered] = field(default_factory=list)
    dead_strokes: list[Recovered] = field(default_factory=list)
    no_dead_strokes: list[Recovered] = field(default_factory=list)
    null_called: list[bool] = field(default_factory=list)  # per pair
    null_sides_called: list[bool] = field(default_factory=list)
    change_called: list[bool] = field(default_factory=list)
    wrong_direction: list[bool] = field(default_factory=list)
    other_side_called: list[bool] = field(default_factory=list)


def stronger(damper: Damper, side: str, factor: float) -> Damper:
    """Give the damper with every force of one side multiplied, as another valve would do it."""
    valve = damper.valve(side)
    other = replace(
        valve,
        leak=valve.leak * factor,
        orifice=valve.orifice * factor,
        opening=valve.opening * factor,
        softness=valve.softness * factor,
        flow=valve.flow / factor,
        port=valve.port * factor,
    )
    return replace(damper, compression=other) if side == "compression" else replace(damper, rebound=other)


def setups(count: int, seed: int) -> list[Setup]:
    """Draw the dampers, their benches and their changes."""
    drawn = []
    for number in range(count):
        rng = np.random.default_rng([seed, number])
        damper = random_damper(rng)
        side = SIDES[int(rng.integers(2))]
        factor = 1.0 + CHANGE * (1 if rng.random() < 0.5 else -1)
        drawn.append(
            Setup(
                number=number,
                damper=damper,
                changed=stronger(damper, side, factor),
                side=side,
                factor=factor,
                bench=random_bench(rng),
                stroke=rng.uniform(0.060, 0.100),
                rate=float(rng.choice([200.0, 250.0, 400.0, 500.0, 1000.0])),
                speeds=(rng.uniform(0.005, 0.010), 0.05, *SPEEDS),
                seed=int(rng.integers(2**31)),
            )
        )
    return drawn


def other_side(side: Side) -> Side:
    """Give the other side."""
    return "rebound" if side == "compression" else "compression"


def as_record(traces: list[Trace]) -> CycleRecord:
    """Give the traces as the record that a file of them would become; the velocity is not handed over."""
    return CycleRecord(tests=tuple(CycleTest(t.time, t.travel, t.force) for t in traces))


@dataclass(frozen=True)
class Recorded:
    """One damper's records: `first` of `damper` as mounted then, `again` remounted, `changed` (pairs only)."""

    setup: Setup
    damper: Damper
    first: CycleRecord
    again: CycleRecord | None = None
    changed: CycleRecord | None = None


def recordings(count: int, seed: int, pairs: bool = True) -> Iterator[Recorded]:
    """Give every damper's records; without `pairs` only the first."""
    drawn = setups(count, seed)
    for start in range(0, count, CHUNK):
        chunk = drawn[start : start + CHUNK]
        lanes = [
            (damper, setup, speed)
            for setup in chunk
            for damper in (setup.damper, setup.changed)[: 2 if pairs else 1]
            for speed in setup.speeds
        ]
        loops = steady_loops(
            [damper for damper, _, _ in lanes],
            [speed for _, _, speed in lanes],
            [setup.stroke for _, setup, _ in lanes],
            [setup.bench.crank_ratio for _, setup, _ in lanes],
        ).reshape(len(chunk), -1, len(SPEEDS) + 2, PHASES + 1)
        for setup, loop in zip(chunk, loops, strict=True):
            yield _recorded(setup, loop)


def _recorded(setup: Setup, loop: Array) -> Recorded:
    rng = np.random.default_rng(setup.seed)
    mounted = [remounted(d, rng) for d in (setup.damper, setup.damper, setup.changed)]

    def record(k: int, rows: Array) -> CycleRecord:
        return as_record(
            simulate_cycles(
                mounted[k], setup.speeds, setup.stroke, setup.rate, CYCLES, rng, setup.bench, rows
            )
        )

    first = record(0, loop[0])
    if len(loop) == 1:
        return Recorded(setup, mounted[0], first)
    return Recorded(setup, mounted[0], first, record(1, loop[0]), record(2, loop[1]))


def recover(
    count: int, seed: int, progress: Callable[[int], None] | None = None, pairs: bool = True
) -> Recovery:
    """Record, fit and compare `count` dampers, and hold the results against the truth."""
    found = Recovery(dampers=count)
    for recorded in recordings(count, seed, pairs):
        fitted = fit(recorded.first)
        _tally_fit(found, recorded.setup, recorded.damper, fitted)
        if recorded.again is not None and recorded.changed is not None:
            _tally_pairs(found, recorded.setup, fitted, fit(recorded.again), fit(recorded.changed))
        if progress is not None:
            progress(recorded.setup.number + 1)
    return found


def _tally_pairs(
    found: Recovery, setup: Setup, fitted: DampingFit, refitted: DampingFit, altered: DampingFit
) -> None:
    null = compare([fitted], [refitted])
    calls = [bool(null.side(side).changed) for side in SIDES]
    found.null_sides_called += calls
    found.null_called.append(any(calls))
    real = compare([fitted], [altered])
    side = real.side(setup.side)
    ratio = math.nan if side.at_target is None else side.at_target.ratio.value
    found.change_called.append(bool(side.changed))
    found.wrong_direction.append(bool(side.changed) and (ratio > 1.0) != (setup.factor > 1.0))
    found.other_side_called.append(bool(real.side(other_side(setup.side)).changed))


def _known(
    number: int, side: Side, void: bool, truth: float, estimate: Estimate | None, speed: float = 0.0
) -> Recovered:
    if estimate is None:
        return Recovered(number, side, speed, truth, None, None, None, void)
    return Recovered(number, side, speed, truth, estimate.value, estimate.low, estimate.high, void)


def _tally_fit(found: Recovery, setup: Setup, damper: Damper, fitted: DampingFit) -> None:
    for k, side in enumerate(SIDES):
        got = fitted.side(side)
        void = damper.void[k] > 0
        known = partial(_known, setup.number, side, void)

        for speed in SPEEDS:
            truth = float(true_secant(damper, side, speed))
            found.secants.append(known(truth, got.secant_at(speed), speed))
        valve = damper.valve(side)
        if valve.flow * valve.leak >= CLEAR_KNEE:
            found.knees.append(known(opening_speed(damper, side), got.parameters.get("v_knee")))
        if damper.void[k] >= DEAD:
            found.dead_strokes.append(known(damper.void[k], got.dead_stroke))
        elif not void:  # shorter ones are neither asked for nor counted as none
            found.no_dead_strokes.append(known(0.0, got.dead_stroke))
