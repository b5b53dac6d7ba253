"""Results of bounces, drives and jumps with round numbers, for words and pictures; nothing here is fitted."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from tests.phone_kinds import corner
from tuner.comparing import Comparison, MeasureChange, compare
from tuner.comparing.ground import Piece, SharedGround
from tuner.estimates import Estimate, Note
from tuner.fitting.results import (
    BumpRow,
    DampingFit,
    DriveFit,
    Fit,
    Jump,
    JumpFit,
    SideFit,
    SpeedShare,
    StopContact,
)
from tuner.fitting.traces import BounceTrace, DriveTrace, FlightTrace
from tuner.fitting.travel import SPEED_EDGES
from tuner.judging import judge
from tuner.machine import TARGETS
from tuner.records import SIDES, Provenance, Quality

UNSEEN = {side: SideFit(side, seen=False) for side in SIDES}
INPUT = Provenance("test.csv", f"{7:064x}", 4000, rate_hz=200.0)


def pm(value: float, half: float, unit: str) -> Estimate:
    return Estimate(value, value - half, value + half, unit)


def _shares() -> tuple[SpeedShare, ...]:
    shares = (0.22, 0.15, 0.07, 0.04, 0.02, 0.0, 0.0)
    return tuple(
        SpeedShare(side, low, high, pm(share, 0.2 * share, "1"))
        for side in SIDES
        for low, high, share in zip(SPEED_EDGES[:-1], SPEED_EDGES[1:], shares, strict=True)
    )


def drive_trace(seconds: float = 100.0) -> DriveTrace:
    """A drive at 50 Hz that swings 30 mm about 90 mm and runs in twice."""
    time = 3.0 + np.arange(0.0, seconds, 0.02)
    travel = 0.09 + 0.03 * np.sin(2 * math.pi * 1.5 * time)
    velocity = 0.03 * 2 * math.pi * 1.5 * np.cos(2 * math.pi * 1.5 * time)
    return DriveTrace(3.0, 0.02, travel, velocity, np.array([20.0, 61.0]), np.array([]))


def drive_fit(*, hits: int = 2, packing: Estimate | None = None, stops: bool = True) -> DriveFit:
    """A drive of 100 s."""
    contacts = tuple(StopContact(20.0 + 41.0 * i, 1.2 + 0.1 * i) for i in range(hits))
    return DriveFit(
        compression=UNSEEN["compression"],
        rebound=UNSEEN["rebound"],
        time_share=_shares(),
        peak_speed={"compression": pm(0.82, 0.10, "m/s"), "rebound": pm(0.61, 0.08, "m/s")},
        highest_speed={"compression": 2.1, "rebound": 1.4},
        mean_position=pm(0.094, 0.002, "m"),
        mean_below_static=pm(0.004, 0.002, "m"),
        bottomed=contacts if stops else None,
        topped_out=() if stops else None,
        packing=packing,
        bump_rows=tuple(BumpRow(10.0 * i, 10.0 * i + 6, 9, 0.004) for i in range(4)),
        main_frequencies=(1.6, 3.1),
        duration=100.0,
        traces=(drive_trace(),),
        inputs=(INPUT,),
        quality=(Quality(rate_hz=200.0),),
        corner=corner(),
    )


def jump_fit(
    pitch: float = -1.3, *, known: bool = True, gyroscope: bool = True, peak_open: bool = False
) -> JumpFit:
    """Three jumps."""
    rate = pm(pitch, 0.05, "rad/s") if gyroscope else None
    turned = pm(0.55 * pitch, 0.03, "rad") if gyroscope else None
    peak = Estimate(52.0, 50.0, math.inf if peak_open else 55.0, "m/s**2")
    jumps = tuple(
        Jump(10.0 + 12 * i, pm(0.55, 0.02, "s"), rate, turned, peak, known and gyroscope) for i in range(3)
    )
    time = np.linspace(-1.0, 1.55, 400)
    force = np.where((time > 0) & (time < 0.55), 0.3, 9.8 + 40.0 * np.exp(-((time - 0.6) ** 2) / 0.002))
    trace = FlightTrace(time, force, np.full(400, pitch) if known and gyroscope else None, 0.55)
    return JumpFit(
        compression=UNSEEN["compression"],
        rebound=UNSEEN["rebound"],
        airtime=pm(0.55, 0.02, "s"),
        pitch_rate=rate,
        rotation=turned,
        landing_peak=peak,
        jumps=jumps,
        traces=(trace,) * 3,
        inputs=(INPUT,),
    )


def bounce_fit(
    compression: float | None = 0.27, rebound: float | None = 0.58, *, frequency: float = 1.93
) -> DampingFit:
    """Six bounces of a corner; a side without a ratio was not seen."""
    sides = {}
    for side, zeta in (("compression", compression), ("rebound", rebound)):
        if zeta is None:
            unseen = Note("not-seen", case="bounce", side=side, remedy="lift")
            sides[side] = SideFit(side, seen=False, notes=(unseen,))  # type: ignore[arg-type]
        else:
            sides[side] = SideFit(side, seen=True, zeta=pm(zeta, 0.02, "1"), zeta_speed=0.16)  # type: ignore[arg-type]
    time = np.linspace(0.0, 2.0, 300)
    ring = np.exp(-4 * time) * np.cos(12 * time)
    rng = np.random.default_rng(1)
    traces = tuple(
        BounceTrace(
            "bounce.csv", 3.0 + 4 * i, "acceleration", time, 6 * ring + rng.normal(0, 0.1, 300), 6 * ring
        )
        for i in range(6)
    )
    return DampingFit(
        "bounce",
        sides["compression"],
        sides["rebound"],
        friction=pm(21.0, 4.0, "N"),
        corner_measured={
            "frequency": pm(frequency, 0.02, "Hz"),
            "tyre_rate": pm(71e3, 6e3, "N/m"),
            "body_mode_zeta": pm(0.36, 0.02, "1"),
            "wheel_hop_zeta": pm(0.33, 0.03, "1"),
        },
        bounces=6,
        traces=traces,
        inputs=(INPUT,),
        notes=(
            Note(
                "bounces-used",
                file="bounce.csv",
                ways=("push",),
                times=tuple(Estimate.exact(3.0 + 4 * i, "s") for i in range(6)),
            ),
        ),
        corner=corner(),
    )


def judged(fit: Fit):
    """The fit on its corner, against the band for rough ground."""
    return judge(fit, corner(), next(iter(TARGETS.values())))


def bounce_change() -> Comparison:
    return compare([bounce_fit()], [bounce_fit(0.26, 0.37)], corner(), next(iter(TARGETS.values())))


GROUND = SharedGround(
    ((Piece(8.0, 16.0), Piece(24.0, 32.0), Piece(48.0, 56.0)),),
    ((Piece(10.0, 18.0), Piece(26.0, 34.0), Piece(50.0, 58.0)),),
    0.72,
    1.0,
    (Note("same-ground", share=0.72, stretches=3, stretch=Estimate.exact(8.0, "s")),),
)


def drive_change(*, changed: bool | None = True) -> Comparison:
    """It rides 4 mm deeper; runs in more often, perhaps."""
    why = (Note("over-same-ground", before=3, after=3),)
    per_minute = (Estimate(1.2, 0.15, 4.3, "1/min"), Estimate(3.0, 1.0, 7.0, "1/min"))
    never = Estimate(0.0, 0.0, 2.2, "1/min")
    base = compare([drive_fit()], [drive_fit()], corner())
    measures = (
        MeasureChange(
            "mean_position", pm(0.09, 0.002, "m"), pm(0.094, 0.002, "m"), pm(0.004, 0.001, "m"), changed, why
        ),
        MeasureChange(
            "peak_speed",
            pm(0.8, 0.1, "m/s"),
            pm(0.9, 0.1, "m/s"),
            pm(0.1, 0.05, "m/s"),
            changed,
            why,
            "compression",
        ),
        MeasureChange(
            "peak_speed",
            pm(0.6, 0.1, "m/s"),
            pm(0.5, 0.1, "m/s"),
            pm(-0.1, 0.05, "m/s"),
            changed,
            why,
            "rebound",
        ),
        MeasureChange(
            "bottomed", *per_minute, Estimate(1.8, -1.6, 5.9, "1/min"), False, (Note("stops-as-events"),)
        ),
        MeasureChange(
            "topped_out", never, never, Estimate(0.0, -2.2, 2.2, "1/min"), False, (Note("stops-as-events"),)
        ),
        MeasureChange("packing", None, None, None, None, (Note("bump-rows", before=1, after=1),)),
        *(
            MeasureChange(
                "time_share",
                pm(0.2, 0.02, "1"),
                pm(0.18, 0.02, "1"),
                pm(-0.02, 0.01, "1"),
                True,
                why,
                side,
                (0.0, 0.05),
            )
            for side in SIDES
        ),
    )
    return replace(base, measures=measures, ground=GROUND, notes=GROUND.notes)


def jump_change(before: float = -1.3, after: float = -0.9, *, known: bool = True) -> Comparison:
    """Three jumps before and three after, which turn less."""
    base = compare([jump_fit(before, known=known)], [jump_fit(after, known=known)])
    why = (Note("scatter-of-jumps", before=3, after=3),)
    gap = pm(after - before, 0.1, "rad/s")
    measures = (
        MeasureChange("airtime", pm(0.55, 0.02, "s"), pm(0.56, 0.02, "s"), pm(0.01, 0.03, "s"), False, why),
        MeasureChange("pitch_rate", pm(before, 0.05, "rad/s"), pm(after, 0.05, "rad/s"), gap, True, why),
        MeasureChange(
            "rotation", pm(-0.7, 0.05, "rad"), None, None, None, (Note("not-known", when=("after",)),)
        ),
        MeasureChange(
            "landing_peak",
            pm(52.0, 3.0, "m/s**2"),
            pm(44.0, 3.0, "m/s**2"),
            pm(-8.0, 4.0, "m/s**2"),
            True,
            why,
        ),
    )
    return replace(base, measures=measures)
