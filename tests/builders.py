"""Results to draw and to write about, built without any file: one damper before and after a change.

Nothing here is fitted: the forces come from the laws below, so that a test knows what a picture must show.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from tuner.comparing import Comparison, compare
from tuner.estimates import Array, Estimate, Note
from tuner.fitting.results import REFERENCE_SPEEDS, Curve, DampingFit, Loop, Secant, SideFit
from tuner.judging import judge
from tuner.laws import Knee, Law, LeakOrifice
from tuner.records import SIDES, ColumnUse, Conditions, CycleRecord, CycleTest, Provenance, Quality, Side

if TYPE_CHECKING:
    from tuner.charts import Run

COMPRESSION = LeakOrifice(700.0, 620.0)
REBOUND = Knee(4200.0, 1150.0, 0.16)
COMPRESSION_AFTER = LeakOrifice(630.0, 600.0)
REBOUND_AFTER = Knee(2700.0, 860.0, 0.15)
TEST_SPEEDS = (0.05, 0.13, 0.26, 0.52)
STROKE = 0.05  # peak to peak [m]
GAS = 140.0
FRICTION = 18.0


def side_fit(
    side: Side, law: Law, *, log_sd: float = 0.012, dead_stroke: float = 0.0, seed: int = 1
) -> SideFit:
    """One side with that law, and points scattered about it by 3 %."""
    random = np.random.default_rng(seed)
    top = max(TEST_SPEEDS)
    v = np.linspace(0.0, top, 60)
    f = law.force(v)
    points = np.sort(random.uniform(0.01, top, 400))
    widening = 1.0 + 2.0 * np.abs(v - 0.5 * top) / top
    half = np.expm1(1.96 * log_sd * widening)
    return SideFit(
        side,
        True,
        law=law,
        parameters={
            name: Estimate.from_log_sd(value, 2.0 * log_sd, law.units[name])
            for name, value in law.parameters.items()
        },
        secant=tuple(
            Secant(s, Estimate.from_log_sd(float(law.secant(s)), log_sd, "N*s/m"))
            for s in REFERENCE_SPEEDS
            if s <= top
        ),
        speed_range=(min(TEST_SPEEDS), top),
        dead_stroke=Estimate(dead_stroke, max(0.0, dead_stroke - 0.0004), dead_stroke + 0.0004, "m"),
        curve=Curve(v, f, f * (1.0 - half), f * (1.0 + half)),
        point_speed=points,
        point_force=law.force(points) * (1.0 + 0.03 * random.standard_normal(len(points))),
    )


def loop(peak: float, laws: tuple[Law, Law], dead_stroke: tuple[float, float], *, samples: int = 200) -> Loop:
    """One closed cycle at that peak speed; the damping force stays away over the dead stroke of each side."""
    phase = np.linspace(0.0, 2.0 * math.pi, samples)
    travel = 0.06 - 0.5 * STROKE * np.cos(phase)
    velocity = peak * np.sin(phase)
    going_in = velocity >= 0
    speed = np.abs(velocity)
    damping = np.where(going_in, laws[0].force(speed), -laws[1].force(speed))
    since = np.where(going_in, travel - travel.min(), travel.max() - travel)
    dead = np.where(going_in, *dead_stroke)
    taken = np.where(dead > 0, np.clip((since - dead) / 0.002, 0.0, 1.0), 1.0)
    gas = GAS * (1.0 + 1.5 * (travel - 0.035))
    return Loop(travel, velocity, gas + FRICTION * np.tanh(velocity / 0.01) + damping * taken, peak, 8)


def bench_fit(
    laws: tuple[Law, Law] = (COMPRESSION, REBOUND),
    *,
    file: str = "rear_left_before.csv",
    seed: int = 1,
    log_sd: float = 0.012,
    dead_stroke: tuple[float, float] = (0.0, 0.0),
    temperature: float | None = 298.15,
    notes: tuple[Note, ...] = (),
) -> DampingFit:
    """The fit of one bench record with these laws of compression and rebound."""
    compression, rebound = (
        side_fit(side, law, log_sd=log_sd, dead_stroke=dead, seed=seed + shift)
        for side, law, dead, shift in zip(SIDES, laws, dead_stroke, (0, 50), strict=True)
    )
    return DampingFit(
        "cycle",
        compression,
        rebound,
        gas_force=Estimate.from_sd(GAS, 2.0, "N"),
        friction=Estimate.from_sd(FRICTION, 1.5, "N"),
        lag=Estimate.from_sd(0.0011, 0.0002, "s"),
        energy_per_cycle=Estimate.from_sd(1.9e-3 * float(laws[1].secant(0.26)), 0.1, "J"),
        energy_speed=0.26,
        fade=Estimate.from_sd(-0.021, 0.004, "1"),
        loops=tuple(loop(peak, laws, dead_stroke) for peak in TEST_SPEEDS),
        inputs=(provenance(file),),
        conditions=(Conditions(temperature=temperature, stroke=STROKE, oil="15 cSt fork oil"),),
        quality=(Quality(rate_hz=1000.0, cycles=tuple((s, 8) for s in TEST_SPEEDS)),),
        notes=notes,
    )


def after_fit(**changes: object) -> DampingFit:
    """The same damper after oil was lost: much weaker on the way out, with a dead stroke there."""
    given = {
        "file": "rear_left_after.csv",
        "seed": 7,
        "dead_stroke": (0.0, 0.006),
        "temperature": 303.15,
    }
    return bench_fit((COMPRESSION_AFTER, REBOUND_AFTER), **(given | changes))


def sweep_fit(laws: tuple[Law, Law] = (COMPRESSION, REBOUND), *, file: str = "sweep.csv") -> DampingFit:
    """The fit of one point per speed: no loops, no gas force, wide intervals."""
    whole = bench_fit(laws, file=file, log_sd=0.05)
    speeds = np.array(TEST_SPEEDS)
    compression, rebound = (
        replace(whole.side(side), point_speed=speeds, point_force=law.force(speeds), dead_stroke=None)
        for side, law in zip(SIDES, laws, strict=True)
    )
    return DampingFit("sweep", compression, rebound, inputs=whole.inputs, conditions=whole.conditions)


def bounce_fit(zeta: tuple[float, float] = (0.22, 0.36), *, file: str = "bounce.csv") -> DampingFit:
    """The fit of the buggy's bounced rear corner: damping ratios without a test speed, nothing else."""
    compression, rebound = (
        SideFit(side, True, zeta=Estimate.from_log_sd(value, 0.04, "1"))
        for side, value in zip(SIDES, zeta, strict=True)
    )
    rear = machine().corner("rear")
    return DampingFit("bounce", compression, rebound, inputs=(provenance(file),), corner=rear)


def provenance(file: str) -> Provenance:
    """Where a made-up record says it came from."""
    return Provenance(
        file=file,
        sha256=f"{sum(map(ord, file)):064x}",
        rows=41_200,
        columns=(
            ColumnUse("time", "Time", "s"),
            ColumnUse("travel", "Position", "mm"),
            ColumnUse("force", "Load", "lbf"),
        ),
        rate_hz=1000.0,
        history=("read 41200 rows, delimiter ';', decimal comma", "left out 3 rows with a missing value"),
    )


def machine():
    """The buggy of all samples, one rear corner."""
    from tuner.machine import read_machine

    return read_machine(
        """
name = "Dune Hopper No. 4"
[corners.rear]
sprung_mass = "92 kg +- 2 %"
unsprung_mass = "28 kg"
spring_rate = "28 N/mm"
motion_ratio = 0.70
tyre_rate = "70 N/mm +- 20 %"
damper_travel = "210 mm"
[target]
use = "rough ground and jumps"
""",
        "machine.toml",
    )


def comparison(
    before: Sequence[DampingFit] | None = None,
    after: Sequence[DampingFit] | None = None,
    *,
    corner: bool = True,
) -> Comparison:
    """A damper that lost a third of its rebound damping and got a dead stroke; compression changed little."""
    before = before or (bench_fit(),)
    after = after or (after_fit(),)
    if not corner:
        return compare(before, after)
    here = machine()
    return compare(before, after, here.corner("rear"), here.target)


def record(file: str) -> CycleRecord:
    """A tiny record with that provenance."""
    t = np.linspace(0.0, 1.0, 200)
    test = CycleTest(t, 0.02 * np.sin(6.28 * t), 300.0 * np.cos(6.28 * t))
    return CycleRecord((test,), provenance(file))


def _with_origin(fit: DampingFit) -> CycleRecord:
    conditions = next(iter(fit.conditions), Conditions())
    quality = next(iter(fit.quality), Quality())
    return replace(record("x"), provenance=fit.inputs[0], conditions=conditions, quality=quality)


def fit_job(
    fits: Sequence[DampingFit], *, corner: bool = True, command: str = "tuner fit rear_left_before.csv"
):
    """One setting, as the jobs give it."""
    from tuner.fitting import combine
    from tuner.jobs import FitJob, MachineInput
    from tuner.reading import Reading, ReadOptions

    here = machine() if corner else None
    readings = tuple(
        Reading(_with_origin(fit), ("the kind is cycle: time, travel and force",)) for fit in fits
    )
    judgement = judge(combine(fits), here.corner("rear") if here else None, here.target if here else None)
    return FitJob(
        readings,
        tuple(fits),
        judgement,
        tuple(ReadOptions() for _ in readings),
        MachineInput(here, Provenance("machine.toml", f"{1:064x}", 12)) if here else None,
        "rear" if here else None,
        command,
    )


def compare_job(
    before: Sequence[DampingFit] | None = None,
    after: Sequence[DampingFit] | None = None,
    *,
    corner: bool = True,
    command: str = "tuner compare --before rear_left_before.csv --after rear_left_after.csv "
    "--machine machine.toml --corner rear",
):
    """The whole main job of `comparison`."""
    from tuner.jobs import CompareJob

    result = comparison(before, after, corner=corner)
    one, other = (
        fit_job(fits or (judged.fit,), corner=corner)
        for fits, judged in ((before, result.before), (after, result.after))
    )
    return CompareJob(one, other, result, one.machine_input, one.corner_name, command)


def runs_of(compared: Comparison) -> tuple[Run, Run]:
    """Give the two runs of a comparison as charts take them."""
    from tuner.charts import Run

    return Run("before", compared.before.fit), Run("after", compared.after.fit)


def loop_area(x: Array, y: Array) -> float:
    """Area inside a closed loop (n,) by the shoelace formula: the energy of a force-travel loop [J]."""
    return abs(0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)))
