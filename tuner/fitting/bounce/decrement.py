"""Damping and friction from the turning points of a ring-down alone: the classic check beside the fit.

Takes successive turning points; gives damping ratio and friction. Uses: errors, signals.bounces, numpy.

One mass on a spring with viscous damping and dry friction: with signed turning points x_0, x_1, ... half a period
apart, r = exp(-pi zeta / sqrt(1 - zeta**2)) and x_k = friction / spring rate,
x_(i+1) = -r x_i + s_i (1 + r) x_k, s_i = +1 where x_i > 0.
B. F. Feeny & J.-W. Liang, *J. Sound Vib.* 195 (1996) 149-154. Friction makes the turning points fall along a straight
line, damping along an exponential; a plain logarithmic decrement takes the first for the second.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from tuner.errors import RecordError, require
from tuner.estimates import Array
from tuner.signals.bounces import swings

LEAST_POINTS = 4  # turning points, so that friction and the damping of both sides can be told apart


class Decrement(NamedTuple):
    """Damping ratio [-], and the travel by which friction holds the spring off its rest, friction / rate [m]."""

    zeta: float
    friction_travel: float


def ratio_of_decrement(decrement: float) -> float:
    """Damping ratio from the natural logarithm of the ratio of two turning points half a period apart.

    Exact for any damping below critical, zeta = d / sqrt(pi**2 + d**2), not the small-damping shortcut.
    """
    return decrement / math.hypot(math.pi, decrement)


def half_cycle_decrement(turning_points: Array) -> Decrement:
    """Fit damping and friction to successive turning points.

    turning_points : (n,), n >= 2, signed from the rest position, alternating; with two points friction is taken as
    zero. Raises RecordError when they do not alternate or do not decay.
    """
    x = np.asarray(turning_points, dtype=float)
    require(x.ndim == 1 and len(x) >= 2, "turning points", "at least two in a row", x.shape)
    require(bool((x[1:] * x[:-1] < 0).all()), "turning points", "of alternating sign", x.tolist())
    sign = np.sign(x[:-1])
    if len(x) == 2:
        r, held = float(-x[1] / x[0]), 0.0
    else:
        # x_(i+1) = -r x_i + s_i b, linear in r and b = (1 + r) x_k
        columns = np.stack([-x[:-1], sign], axis=1)
        (r, b), *_ = np.linalg.lstsq(columns, x[1:], rcond=None)
        held = b / (1.0 + r)
    if not 0.0 < r < 1.0:
        raise RecordError(
            f"turning points must decay like a damped swing; got a ratio of {r:.3f} from one to the next"
        )
    return Decrement(ratio_of_decrement(-math.log(r)), float(held))


def two_sided_decrement(turning_points: Array) -> tuple[float, float, float]:
    """Damping ratios of the half swings that begin above and below rest, and friction / rate [m].

    turning_points : (n,), n >= 4, as for `half_cycle_decrement`. Each kind of half swing has its own r:
    x_(i+1) - s_i x_k = -r (x_i - s_i x_k), so for a given x_k both r are linear; x_k is found by a scan.
    """
    x = np.asarray(turning_points, dtype=float)
    require(x.ndim == 1 and len(x) >= LEAST_POINTS, "turning points", f"at least {LEAST_POINTS}", x.shape)
    require(bool((x[1:] * x[:-1] < 0).all()), "turning points", "of alternating sign", x.tolist())
    sign = np.sign(x[:-1])
    best = (math.inf, 0.5, 0.5, 0.0)
    for held in np.linspace(0.0, 0.98 * float(np.abs(x[:-1]).min()), 200):
        before, after = x[:-1] - sign * held, x[1:] - sign * held
        rest, ratios = 0.0, []
        for side in (1.0, -1.0):
            mine = sign == side
            r = -float(before[mine] @ after[mine]) / float(before[mine] @ before[mine])
            ratios.append(r)
            rest += float(((after[mine] + r * before[mine]) ** 2).sum())
        if rest < best[0]:
            best = (rest, ratios[0], ratios[1], float(held))
    _, above, below, friction = best
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
