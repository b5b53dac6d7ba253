"""What all fits of a side share: the unseen side, the reference speeds that count as tested, the drawn curve.

Takes speeds and forces; gives parts of `SideFit`.
"""

from __future__ import annotations

import math

import numpy as np

from tuner.estimates import Array, Estimate, Note, student_95
from tuner.fitting.results import REFERENCE_SPEEDS, Curve, SideFit
from tuner.laws import Knee, Line
from tuner.records import Side

END_TOLERANCE = 0.02  # a reference speed this far outside the tested range still counts as tested
# when a bend counts as excluded; judgements, no source
BEYOND_KNEES = 0.9  # m/s that a bounce must reach: twice the highest knee of ordinary dampers
CLEARLY_WORSE = 4.0  # AICc by which a law must lose to be out of the question
NEARLY_A_LINE = 0.10  # by which the secants of a law may differ over the tested range


def gas_notes(gas: Estimate | None) -> tuple[Note, ...]:
    """Say when the force at rest [N] pulls the ends together, which no gas does."""
    if gas is None or gas.high >= 0.0:
        return ()
    return (Note("gas-pulls", force=gas.scaled(-1.0)),)


def unseen(side: Side) -> SideFit:
    """Give the fit of a side that the record does not show."""
    return SideFit(side=side, seen=False, notes=(Note("side-not-seen", side=side),))


def speeds_inside(low: float, high: float) -> tuple[float, ...]:
    """Give the reference speeds inside the tested range, with the small tolerance at its ends."""
    return tuple(
        v for v in REFERENCE_SPEEDS if low * (1.0 - END_TOLERANCE) <= v <= high * (1.0 + END_TOLERANCE)
    )


def shows_no_bend(fit: SideFit) -> bool:
    """Say whether a bend of the force over speed was looked for and excluded, within the tested range.

    A bounce excludes one only where it went well beyond the knees of ordinary dampers. Of points, a knee must have been
    tried with enough of them, and every law that is not clearly worse than the best must be nearly a line.
    """
    if fit.speed_range is None or not isinstance(fit.law, Line):
        return False
    low, high = fit.speed_range
    if fit.zeta is not None:
        return high >= BEYOND_KNEES
    if not any(isinstance(c.law, Knee) and math.isfinite(c.aicc) for c in fit.candidates):
        return False
    best = max(c.weight for c in fit.candidates)
    speed = np.linspace(max(low, 0.05 * high), high, 60)
    secants = [
        c.law.secant(speed) for c in fit.candidates if c.weight > best * math.exp(-0.5 * CLEARLY_WORSE)
    ]
    return all(float(np.max(c)) <= (1.0 + NEARLY_A_LINE) * float(np.min(c)) for c in secants)


def curve_of(speed: Array, force: Array, sd: Array, df: float) -> Curve:
    """Give the curve for pictures with its 95 % band."""
    half = student_95(max(df, 1.0)) * sd
    return Curve(speed, force, force - half, force + half)
