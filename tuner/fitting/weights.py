"""Hung weights: masses that sink at a steady speed into a fit.

Takes `WeightsRecord`; gives `DampingFit`. Uses: errors, estimates, records, results, choice, side.

At a steady speed the damping force balances the rest: in compression m g - F_gas - F_friction, in extension
m g + F_gas - F_friction; speed = distance / time. A slow push and a slow return on a scale read F_gas + F_friction and
F_gas - F_friction.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tuner.errors import FitError
from tuner.estimates import Array, Estimate, Note, student_95
from tuner.fitting.choice import fit_laws
from tuner.fitting.results import DampingFit, SideFit
from tuner.fitting.side import law_side, unseen
from tuner.records import SIDES, Side, WeightsRecord

GRAVITY = 9.80665  # standard gravity, CGPM 1901 [m/s**2]
HAND_STOPPED = 0.15  # sd of a hand-stopped time [s]; 0.1-0.2 s, common practice, no source
SETTLED = 3.0  # time constants until the speed counts as steady


def fit_weights(record: WeightsRecord) -> DampingFit:
    """Fit a hung-weight table."""
    gas, friction, notes = _scale_readings(record)
    sides: dict[Side, SideFit] = {}
    for side in SIDES:
        chosen = record.direction > 0 if side == "compression" else record.direction < 0
        sides[side] = _fit_side(record, side, chosen, gas, friction) if chosen.any() else unseen(side)
    return DampingFit(
        kind="weights",
        compression=sides["compression"],
        rebound=sides["rebound"],
        gas_force=gas,
        friction=friction,
        inputs=(record.provenance,),
        conditions=(record.conditions,),
        quality=(record.quality,),
        notes=notes,
    )


def _mean_reading(readings: Array) -> tuple[float, float, float]:
    """Mean, its standard error, degrees of freedom; a single reading counts with 2 % (common practice, no source)."""
    mean = float(np.mean(readings))
    if readings.size >= 2:
        return mean, float(np.std(readings, ddof=1) / np.sqrt(readings.size)), float(readings.size - 1)
    return mean, 0.02 * abs(mean), np.inf


def _scale_readings(record: WeightsRecord) -> tuple[Estimate | None, Estimate | None, tuple[Note, ...]]:
    if record.push_force.size == 0 or record.return_force.size == 0:
        text = (
            "without scale readings of a slow push and a slow return, gas force and friction are unknown and stay "
            "inside the damping; push the shaft in slowly on a scale, let it return slowly, and give both readings"
        )
        return None, None, (Note("gas-friction-unknown", text),)
    push, push_sd, push_df = _mean_reading(record.push_force)
    back, back_sd, back_df = _mean_reading(record.return_force)
    half = student_95(min(push_df, back_df)) * 0.5 * float(np.hypot(push_sd, back_sd))
    gas, friction = 0.5 * (push + back), 0.5 * (push - back)
    notes: tuple[Note, ...] = ()
    if friction < 0:
        notes = (
            Note(
                "friction-negative",
                f"the slow return reads more than the slow push ({back:.0f} N against {push:.0f} N): friction would be "
                "negative; the two readings may be swapped",
            ),
        )
        friction = 0.0
    return (
        Estimate(gas, gas - half, gas + half, "N"),
        Estimate(friction, min(friction, friction - half), friction + half, "N"),
        notes,
    )


def _fit_side(
    record: WeightsRecord,
    side: Side,
    chosen: NDArray[np.bool_],
    gas: Estimate | None,
    friction: Estimate | None,
) -> SideFit:
    sign = 1.0 if side == "compression" else -1.0
    load = GRAVITY * (record.mass[chosen] + record.moving_mass)
    speed = record.distance[chosen] / record.duration[chosen]
    time_sd = np.sqrt(2.0) / (np.sqrt(12.0) * record.frame_rate) if record.frame_rate else HAND_STOPPED
    relative = time_sd / record.duration[chosen]
    force = load - sign * (gas.value if gas else 0.0) - (friction.value if friction else 0.0)
    notes: list[Note] = []
    if not bool((force > 0).any()):
        raise FitError(
            f"gas force and friction are larger than every {side} weight, so no damping force is left",
            hint="Check the scale readings and the direction of each row.",
        )
    keep = force > 0
    speed, force, relative = speed[keep], force[keep], relative[keep]
    mass = (record.mass[chosen] + record.moving_mass)[keep]
    settle = SETTLED * mass * speed / force
    slow = settle > 0.1 * record.duration[chosen][keep]
    if slow.any():
        notes.append(
            Note(
                "not-steady",
                f"{int(slow.sum())} of {speed.size} {side} rows were timed for less than ten times the time it takes "
                "to reach a steady speed; their speed is too low by more than a few percent",
            )
        )
    if np.unique(speed).size < 3:
        notes.append(Note("few-points", f"only {speed.size} {side} row(s): the interval is wide"))
    weights = 1.0 / np.maximum(relative * force, 1e-3 * force) ** 2
    fits = fit_laws(
        speed, force, weights / float(np.mean(weights)), allow=("line", "power", "leak + orifice", "knee")
    )
    extra = float(np.hypot(gas.sd if gas else 0.0, friction.sd if friction else 0.0))
    common = float(np.sqrt(np.mean(relative**2)))
    if fits[0].df < 1 or not np.isfinite(fits[0].covariance).all():
        from dataclasses import replace

        fits = (replace(fits[0], covariance=np.zeros_like(fits[0].covariance), df=1e9, weight=1.0),)
        extra = float(np.hypot(extra, 0.1 * float(np.mean(force))))
    return law_side(side, fits, speed, force, speed_sd=common, extra_sd=extra, notes=tuple(notes))
