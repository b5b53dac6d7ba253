"""One fitted side, ready to hand on: secants, curve, candidates and notes.

Takes fitted laws and points; gives `SideFit` and its parts. Uses: estimates, records, results,
choice, signals.
"""

from __future__ import annotations

import math

import numpy as np

from tuner.estimates import Array, Estimate, Note, student_95
from tuner.fitting.choice import FittedLaw
from tuner.fitting.results import REFERENCE_SPEEDS, Curve, Secant, SideFit
from tuner.records import Side
from tuner.signals.thin import thin_indices

END_TOLERANCE = 0.02  # a reference speed this far outside the tested range still counts as tested

UNSEEN_TEST = {
    "compression": "a test in which the damper is pushed together",
    "rebound": "a test in which the damper is pulled apart",
}


def unseen(side: Side, why: str = "") -> SideFit:
    """Give the fit of a side that the record does not show."""
    text = why or f"the record holds no {side}; it takes {UNSEEN_TEST[side]} to see it"
    return SideFit(side=side, seen=False, notes=(Note("side-not-seen", text),))


def speeds_inside(low: float, high: float) -> tuple[float, ...]:
    """Give the reference speeds inside the tested range, with the small tolerance at its ends."""
    return tuple(
        v for v in REFERENCE_SPEEDS if low * (1.0 - END_TOLERANCE) <= v <= high * (1.0 + END_TOLERANCE)
    )


def averaged_force(fits: tuple[FittedLaw, ...], speed: Array) -> tuple[Array, Array, float]:
    """Force [N] averaged over the laws by their weights, its standard error and degrees of freedom.

    The standard error holds each law's own and the laws' disagreement (Burnham and Anderson, *Model
    Selection and Multimodel Inference*, the unconditional variance).
    """
    used = [f for f in fits if f.weight > 1e-4]
    total = sum(f.weight for f in used)
    forces = np.array([f.law.force(speed) for f in used])
    shares = np.array([f.weight / total for f in used])[:, None]
    mean = np.sum(shares * forces, axis=0)
    variance = sum(
        share * (f.force_sd(speed) ** 2 + (force - mean) ** 2)
        for f, share, force in zip(used, shares[:, 0], forces, strict=True)
    )
    df = min(f.df for f in used)
    return mean, np.sqrt(np.asarray(variance)), df


def curve_of(speed: Array, force: Array, sd: Array, df: float) -> Curve:
    """Give the curve for pictures with its 95 % band."""
    half = student_95(max(df, 1.0)) * sd
    return Curve(speed, force, force - half, force + half)


def law_side(
    side: Side,
    fits: tuple[FittedLaw, ...],
    speed: Array,
    force: Array,
    *,
    speed_sd: float = 0.0,
    extra_sd: float = 0.0,
    notes: tuple[Note, ...] = (),
    dead_stroke: Estimate | None = None,
) -> SideFit:
    """Build a side from fitted laws alone (single points, no cycles).

    Parameters
    ----------
    speed, force : (n,)
        The points, gas force and friction taken off, both counted positive.
    speed_sd : float
        Relative error common to all speeds.
    extra_sd : float
        Error of the force common to all points [N], such as an unknown friction.
    """
    low, high = float(np.min(speed)), float(np.max(speed))
    wanted = np.array(speeds_inside(low, high))
    secants: list[Secant] = []
    if wanted.size:
        mean, sd, df = averaged_force(fits, wanted)
        for v, f, s in zip(wanted, mean, sd, strict=True):
            half = student_95(max(df, 1.0)) * float(s)
            if not math.isfinite(half):
                half = abs(float(f))
            half = math.hypot(half, 1.96 * extra_sd, 1.96 * speed_sd * float(f))
            c, c_half = float(f / v), float(half / v)
            secants.append(Secant(float(v), Estimate(c, c - c_half, c + c_half, "N*s/m")))
    grid = np.linspace(0.0, high, 120)
    mean, sd, df = averaged_force(fits, grid)
    sd = np.where(np.isfinite(sd), sd, np.abs(mean))
    best = fits[0]
    keep = thin_indices(speed.size)
    if not secants:
        notes = (
            *notes,
            Note(
                "no-reference-speed",
                f"the {side} was tested from {low:.3g} to {high:.3g} m/s; no reference speed lies in there",
            ),
        )
    return SideFit(
        side=side,
        seen=True,
        law=best.law,
        parameters=best.estimates() if np.isfinite(best.covariance).all() else {},
        secant=tuple(secants),
        speed_range=(low, high),
        dead_stroke=dead_stroke,
        candidates=tuple(f.candidate() for f in fits),
        curve=curve_of(grid, mean, sd, df),
        point_speed=speed[keep],
        point_force=force[keep],
        notes=notes,
    )
