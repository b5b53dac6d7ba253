"""A free curve: cubic B-splines over speed that vanish at speed zero.

Takes speeds and knots; gives rows of a design. Source: de Boor, *A Practical Guide to Splines*.
"""

from __future__ import annotations

import numpy as np

from tuner.estimates import Array

# where a free curve may bend [m/s], about 1.35 apart: fine enough for a valve that opens within a third of its speed
PLACES = np.array(
    [0.025, 0.045, 0.07, 0.10, 0.14, 0.19, 0.25, 0.33, 0.43, 0.57, 0.76, 1.0, 1.35, 1.8, 2.4, 3.2, 4.3]
)


def knots_for(top: float, lowest: float) -> Array:
    """Places from 0 to `top` where the curve may bend, none below `lowest`; rising, with both ends."""
    inner = PLACES[(lowest < PLACES) & (0.87 * top > PLACES)]
    return np.concatenate(([0.0], inner, [top]))


def size(knots: Array) -> int:
    """Free parameters of a curve on these knots."""
    return knots.size + 1


def basis(speed: Array, knots: Array) -> Array:
    """Rows of the design, (n, size(knots)); straight on beyond the last knot, the slope at 0 below it."""
    return basis_and_slope(speed, knots)[0]


def basis_and_slope(speed: Array, knots: Array) -> tuple[Array, Array]:
    """Rows of the design and of its derivative, both (n, size(knots)).

    scipy.interpolate.BSpline gives the same to 1e-14 in the same time, but takes 0.28 s to import.
    """
    top = float(knots[-1])
    t = np.concatenate(([0.0] * 3, knots, [top] * 3))
    inside = np.clip(speed, 0.0, top)
    span = np.clip(np.searchsorted(knots, inside, side="right") - 1, 0, knots.size - 2) + 3
    lower: list[Array] = [np.ones(speed.size)]
    quadratic: list[Array] = []
    for degree in (1, 2, 3):  # only the functions that are not zero there (de Boor's recursion)
        if degree == 3:
            quadratic = lower
        values = [np.zeros(speed.size) for _ in range(degree + 1)]
        for j, below in enumerate(lower):
            left, right = t[span - degree + 1 + j], t[span + 1 + j]
            share = below / (right - left)
            values[j] += (right - inside) * share
            values[j + 1] += (inside - left) * share
        lower = values
    rows = np.arange(speed.size)
    count = size(knots) + 1
    out, slope = np.zeros((speed.size, count)), np.zeros((speed.size, count))
    for j in range(4):
        out[rows, span - 3 + j] = lower[j]
    for j, below in enumerate(quadratic):
        step = 3.0 * below / (t[span + 1 + j] - t[span - 2 + j])
        slope[rows, span - 3 + j] -= step
        slope[rows, span - 2 + j] += step
    beyond = speed - inside
    if np.any(beyond != 0.0):
        out += beyond[:, None] * slope
    return out[:, 1:], slope[:, 1:]


def centres(knots: Array) -> Array:
    """Speed at which each basis function acts, (size + 1,), 0 first."""
    t = np.concatenate(([0.0] * 3, knots, [knots[-1]] * 3))
    return np.asarray((t[1:-3] + t[2:-2] + t[3:-1]) / 3.0)


def bends(knots: Array) -> Array:
    """Rows that give the change of slope at each inner centre, (size - 1, size) [N*s/m]."""
    centre = centres(knots)
    k = centre.size
    rows = np.zeros((k - 2, k))
    for i in range(k - 2):
        a, b, c = centre[i : i + 3]
        rows[i, i : i + 3] = [1.0 / (b - a), -1.0 / (b - a) - 1.0 / (c - b), 1.0 / (c - b)]
    return rows[:, 1:]
