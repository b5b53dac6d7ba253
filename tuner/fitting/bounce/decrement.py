"""Damping and friction from the turning points of a ring-down alone: the classic check beside the fit.

Takes successive turning points; gives damping ratio and friction.

One mass on a spring with viscous damping and dry friction: with signed turning points x_0, x_1, ... half a period
apart, r = exp(-pi zeta / sqrt(1 - zeta**2)) and x_k = friction / spring rate,
x_(i+1) = -r x_i + s_i (1 + r) x_k, s_i = +1 where x_i > 0.
B. F. Feeny & J.-W. Liang, *J. Sound Vib.* 195 (1996) 149-154. Friction makes the turning points fall along a straight
line, damping along an exponential; a plain logarithmic decrement takes the first for the second.
"""

from __future__ import annotations

import math

import numpy as np

from tuner.errors import RecordError, require
from tuner.estimates import Array
from tuner.fitting.regression import gauss_newton
from tuner.signals.bounces import swings

LEAST_POINTS = 4  # turning points, so that friction and the damping of both sides can be told apart


def ratio_of_decrement(decrement: float) -> float:
    """Damping ratio from the natural logarithm of the ratio of two turning points half a period apart.

    Exact for any damping below critical, zeta = d / sqrt(pi**2 + d**2), not the small-damping shortcut.
    """
    return decrement / math.hypot(math.pi, decrement)


def two_sided_decrement(turning_points: Array) -> tuple[float, float, float]:
    """Damping ratios of the half swings that begin above and below rest, and friction / rate [m].

    turning_points : (n,), n >= 4, signed from the rest position, alternating. Each kind of half swing has its own r.
    Raises RecordError when they do not alternate or do not decay.
    """
    x = np.asarray(turning_points, dtype=float)
    require(x.ndim == 1 and len(x) >= LEAST_POINTS, "turning points", f"at least {LEAST_POINTS}", x.shape)
    require(bool((x[1:] * x[:-1] < 0).all()), "turning points", "of alternating sign", x.tolist())
    before, after, sign = x[:-1], x[1:], np.sign(x[:-1])
    sides = np.stack([sign > 0, sign < 0], axis=1).astype(float)

    def model(p: Array) -> tuple[Array, Array]:
        """Give what follows each turning point, and its slopes; p : r above, r below, friction / rate."""
        r, held = sides @ p[:2], sign * p[2]
        return held - r * (before - held), np.column_stack(
            [-sides * (before - held)[:, None], sign * (1.0 + r)]
        )

    free = gauss_newton(model, np.array([0.5, 0.5, 0.0]), after)[0]
    friction = float(np.clip(free[2], 0.0, 0.98 * np.abs(before).min()))
    above, below = (
        -float((after - sign * friction)[mine] @ (before - sign * friction)[mine])
        / float(((before - sign * friction)[mine] ** 2).sum())
        for mine in (sign > 0, sign < 0)
    )
    if not (0.0 < above < 1.0 and 0.0 < below < 1.0):
        raise RecordError(
            f"turning points must decay like a damped swing; got ratios of {above:.3f} and {below:.3f}"
        )
    return ratio_of_decrement(-math.log(above)), ratio_of_decrement(-math.log(below)), friction


def mean_ratio_of_travel(value: Array, noise: float) -> float | None:
    """Mean damping ratio of both half swings of one ring-down of travel from rest, (n,) [m].

    noise : standard deviation of a sample [m]. None when too few turning points stand out.
    """
    width = max(1, len(value) // 100)
    smooth = np.convolve(value, np.ones(width) / width, mode="valid")
    gate = max(4.0 * noise / math.sqrt(width), 0.03 * float(np.ptp(smooth)))
    points = smooth[[i for i in swings(smooth, gate) if i > 0]]  # the first sample is no turning point
    points = points[np.abs(points) > gate]
    if len(points) < LEAST_POINTS or not bool((points[1:] * points[:-1] < 0).all()):
        return None
    try:
        above, below, _ = two_sided_decrement(points)
    except RecordError:
        return None
    return 0.5 * (above + below)
