"""Damping and friction from the turning points of a ring-down alone: the classic check beside the fit.

Takes successive turning points; gives damping ratio and friction. Uses: errors, numpy.

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
