"""Bench sweep: one peak force per test speed and side into a fit.

Takes `SweepRecord`; gives `DampingFit`. Uses: errors, estimates, records, results, choice, side.

A peak force holds damping, friction and gas force together. Where a side has enough different speeds, the force left
at speed zero tells gas force and friction: compression keeps friction + gas there, rebound friction - gas.
"""

from __future__ import annotations

import numpy as np

from tuner.errors import FitError
from tuner.estimates import Array, Estimate, Note, student_95
from tuner.fitting.choice import FittedLaw, fit_laws
from tuner.fitting.results import DampingFit, SideFit
from tuner.fitting.side import law_side, unseen
from tuner.records import SIDES, Side, SweepRecord

ENOUGH_FOR_ZERO = 6  # different speeds that a side needs before the force at speed zero is looked for
FEW = 4  # fewer different speeds than this are called few


def fit_sweep(record: SweepRecord) -> DampingFit:
    """Fit a bench sweep; both sides, each with the laws that its points allow."""
    points: dict[Side, tuple[Array, Array]] = {}
    for side in SIDES:
        sign = 1.0 if side == "compression" else -1.0
        chosen = record.velocity * sign > 0
        speed, force = np.abs(record.velocity[chosen]), sign * record.force[chosen]
        if speed.size:
            points[side] = (speed, force)
    if not points:
        raise FitError("the sweep holds no point", hint="Give one row per test speed with its peak force.")
    zero = {side: _force_at_zero(speed, force) for side, (speed, force) in points.items()}
    gas, friction, notes = _gas_and_friction(zero)
    sides: dict[Side, SideFit] = {}
    for side in SIDES:
        if side not in points:
            sides[side] = unseen(side)
            continue
        sides[side] = _fit_side(side, *points[side], zero[side])
    return DampingFit(
        kind="sweep",
        compression=sides["compression"],
        rebound=sides["rebound"],
        gas_force=gas,
        friction=friction,
        inputs=(record.provenance,),
        conditions=(record.conditions,),
        quality=(record.quality,),
        notes=notes,
    )


def _force_at_zero(speed: Array, force: Array) -> tuple[FittedLaw, ...] | None:
    """Laws with a force at speed zero, when the points are many enough and ask for it."""
    if np.unique(speed).size < ENOUGH_FOR_ZERO:
        return None
    with_zero = fit_laws(speed, force, intercept=True, allow=("line", "power", "leak + orifice", "knee"))
    without = fit_laws(speed, force)
    return with_zero if with_zero[0].admissible and with_zero[0].aicc < without[0].aicc - 2.0 else None


def _zero_estimate(fits: tuple[FittedLaw, ...]) -> tuple[float, float, float]:
    """Force at speed zero averaged over the laws: value, standard error, degrees of freedom."""
    used = [f for f in fits if f.weight > 1e-4]
    total = sum(f.weight for f in used)
    mean = sum(f.weight * f.intercept for f in used) / total
    variance = sum(f.weight * (float(f.covariance[-1, -1]) + (f.intercept - mean) ** 2) for f in used) / total
    return mean, float(np.sqrt(variance)), min(f.df for f in used)


def _gas_and_friction(
    zero: dict[Side, tuple[FittedLaw, ...] | None],
) -> tuple[Estimate | None, Estimate | None, tuple[Note, ...]]:
    known = {side: _zero_estimate(fits) for side, fits in zero.items() if fits is not None}
    if len(known) < 2:
        text = (
            "a sweep gives peak forces: gas force and friction are inside them and raise or lower the damping, most "
            "at low speed; a slow cycle (below 0.02 m/s) or a slow push and return on a scale would tell them"
        )
        return None, None, (Note("gas-friction-inside", text),)
    (c, c_sd, c_df), (r, r_sd, r_df) = known["compression"], known["rebound"]
    half = student_95(max(min(c_df, r_df), 1.0)) * 0.5 * float(np.hypot(c_sd, r_sd))
    gas, friction = 0.5 * (c - r), 0.5 * (c + r)
    note = Note(
        "gas-friction-from-intercept",
        f"the points do not run to zero force at zero speed: gas force {gas:.0f} N and friction {friction:.0f} N were "
        "read from there and taken off",
    )
    return (
        Estimate(gas, gas - half, gas + half, "N"),
        Estimate(friction, friction - half, friction + half, "N"),
        (note,),
    )


def _fit_side(side: Side, speed: Array, force: Array, zero: tuple[FittedLaw, ...] | None) -> SideFit:
    notes: list[Note] = []
    different = int(np.unique(speed).size)
    if different < FEW:
        notes.append(
            Note(
                "few-points",
                f"only {different} different speed{'s' if different > 1 else ''} on the {side} side, "
                f"{FEW} or more wanted: the interval is wide",
            )
        )
    if float(np.mean(force)) <= 0:
        raise FitError(
            f"the {side} forces have the wrong sign: a damper takes energy out, so force must oppose the motion",
            hint="Check which direction the file counts positive (positive_force, positive_travel).",
        )
    fits = zero if zero is not None else fit_laws(speed, force)
    offset = _zero_estimate(fits)[0] if zero is not None else 0.0
    extra = 0.0
    if not np.isfinite(fits[0].covariance).all() or fits[0].df < 1:
        notes.append(
            Note(
                "one-point",
                f"one single {side} point: its error cannot be seen, 20 % is assumed (common practice, no source)",
            )
        )
        fits = fits[:1]
        extra = 0.1 * float(force[0])
        from dataclasses import replace

        fits = (replace(fits[0], covariance=np.zeros_like(fits[0].covariance), df=1e9, weight=1.0),)
    return law_side(side, fits, speed, force - offset, extra_sd=extra, notes=tuple(notes))
