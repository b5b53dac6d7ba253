"""The motion ratio: damper travel over wheel travel, constant or from a table, and where the corner rests.

Takes a corner; gives the ratio r and its change dr/dz at rest. Uses: errors, estimates, parts, propagation.

A table of tape readings is smoothed by one polynomial (degree 1 to 5, chosen by Cp; Mallows 1973), since its
second derivative is wanted: differences of readings that are 1 mm uncertain would be useless.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.polynomial import Polynomial

from tuner.errors import MachineError
from tuner.estimates import NORMAL_95, Array, Estimate
from tuner.machine.parts import GRAVITY, Corner, MotionRatio
from tuner.machine.propagation import STANDARD, propagate

_READING_FLOOR = 2e-5  # m, no table is better than this


class AtRest(NamedTuple):
    """The corner at rest: spring rate [N/m], sprung mass [kg], ratio r [-], dr/dz [1/m], wheel travel [m].

    The wheel travel is nan with a constant ratio, where it does not matter.
    """

    spring_rate: float
    sprung_mass: float
    ratio: float
    ratio_change: float
    wheel_travel: float


class Smooth(NamedTuple):
    """A smoothed table: damper travel over wheel travel as a polynomial, its coefficients' covariance."""

    travel: Polynomial
    covariance: Array
    residual: float  # largest distance of a row from the curve [m]
    start: float
    end: float


@functools.lru_cache(maxsize=64)
def smooth_table(ratio: MotionRatio) -> Smooth:
    """Smooth the table of `ratio` (which must have one)."""
    wheel, damper = ratio.wheel, ratio.damper
    n = wheel.size
    span = (float(wheel[0]), float(wheel[-1]))
    mean_ratio = (damper[-1] - damper[0]) / (span[1] - span[0])
    reading_sd = np.sqrt(ratio.damper_half**2 + (mean_ratio * ratio.wheel_half) ** 2) / NORMAL_95
    highest = 1 if n == 2 else 2 if n <= 4 else 3 if n <= 7 else 4 if n <= 11 else 5
    fits = [Polynomial.fit(wheel, damper, degree, domain=list(span)) for degree in range(1, highest + 1)]
    rss = [float(np.sum((fit(wheel) - damper) ** 2)) for fit in fits]
    spare = n - highest - 1
    variance = max(float(np.mean(reading_sd**2)), rss[-1] / spare if spare > 0 else 0.0, _READING_FLOOR**2)
    everywhere = np.linspace(*span, 201)
    usable = [i for i, fit in enumerate(fits) if bool((fit.deriv()(everywhere) > 0).all())]
    best = min(usable, key=lambda i: rss[i] / variance + 2.0 * (i + 2))
    fit = fits[best]
    design = np.polynomial.polynomial.polyvander(
        2.0 * (wheel - span[0]) / (span[1] - span[0]) - 1.0, best + 1
    )
    spare = n - best - 2
    known = np.diag(np.maximum(reading_sd**2, rss[best] / spare if spare > 0 else 0.0))
    solve = np.linalg.pinv(design)
    residual = float(np.max(np.abs(fit(wheel) - damper)))
    return Smooth(fit, solve @ known @ solve.T, residual, *span)


def _slopes(smooth: Smooth, wheel: float) -> tuple[float, float, Array]:
    """Give r, dr/dz at `wheel` [m] and the square root of their covariance, (2, 2) lower triangular."""
    first, second = smooth.travel.deriv(), smooth.travel.deriv(2)
    scale = 2.0 / (smooth.end - smooth.start)
    x = scale * (wheel - smooth.start) - 1.0
    powers = np.arange(smooth.covariance.shape[0])
    row1 = scale * powers * x ** np.maximum(powers - 1, 0)
    row2 = scale**2 * powers * (powers - 1) * x ** np.maximum(powers - 2, 0)
    rows = np.vstack([row1, row2])
    a, b, d = (float(q) for q in (rows @ smooth.covariance @ rows.T)[[0, 0, 1], [0, 1, 1]])
    root = math.sqrt(max(a, 0.0))
    lower = b / root if root > 0 else 0.0
    return (
        float(first(wheel)),
        float(second(wheel)),
        np.array([[root, 0.0], [lower, math.sqrt(max(d - lower**2, 0.0))]]),
    )


def _bisect(function: Callable[[float], float], low: float, high: float) -> float:
    """Find where a rising `function` crosses zero, or the end that is nearer to it."""
    if function(low) >= 0:
        return low
    if function(high) <= 0:
        return high
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if function(middle) < 0 else (low, middle)
    return 0.5 * (low + high)


def rest_inputs(corner: Corner) -> list[Estimate]:
    """Give the independent estimates that `at_rest` takes, in its order."""
    ratio = corner.motion_ratio
    if ratio.constant is not None:
        return [corner.spring_rate, corner.sprung_mass, ratio.constant]
    noise = [STANDARD, STANDARD]
    if corner.static_travel is not None:
        return [corner.spring_rate, corner.sprung_mass, *noise, corner.static_travel]
    return [corner.spring_rate, corner.sprung_mass, *noise]


def at_rest(corner: Corner, values: Sequence[float]) -> AtRest:
    """Give the corner at rest for these values of `rest_inputs`.

    With a table the place is static_travel when it is known, otherwise the equilibrium of a spring without
    preload, k s(z) r(z) = m g, held inside the table.
    """
    rate, mass = values[0], values[1]
    ratio = corner.motion_ratio
    if ratio.constant is not None:
        return AtRest(rate, mass, values[2], 0.0, math.nan)
    smooth = smooth_table(ratio)
    slope = smooth.travel.deriv()
    if corner.static_travel is not None:
        place = _bisect(lambda z: float(smooth.travel(z)) - values[4], smooth.start, smooth.end)
    else:
        load = mass * GRAVITY
        place = _bisect(
            lambda z: rate * float(smooth.travel(z)) * float(slope(z)) - load,
            smooth.start,
            smooth.end,
        )
    r, change, root = _slopes(smooth, place)
    r += float(root[0] @ values[2:4])
    change += float(root[1] @ values[2:4])
    if r <= 0:
        raise MachineError(
            "the motion ratio table is too uncertain: its slope at rest may be zero or negative"
        )
    return AtRest(rate, mass, r, change, place)


def motion_ratio_at(corner: Corner) -> Estimate:
    """Motion ratio at rest [-], damper travel over wheel travel, with its interval."""
    if corner.motion_ratio.constant is not None:
        return corner.motion_ratio.constant
    return propagate(lambda *v: at_rest(corner, v).ratio, rest_inputs(corner), "1")


def ratio_over_travel(ratio: MotionRatio, wheel: Array) -> tuple[Array, Array]:
    """Give (damper travel [m], ratio [-]) at the `wheel` travels (n,) [m] from full droop.

    A constant ratio starts at zero; a table is its smooth curve, straight on beyond its ends.
    """
    z = np.asarray(wheel, dtype=float)
    if ratio.constant is not None:
        return z * ratio.constant.value, np.full(z.shape, ratio.constant.value)
    smooth = smooth_table(ratio)
    inside = np.clip(z, smooth.start, smooth.end)
    slope = smooth.travel.deriv()(inside)
    return smooth.travel(inside) + slope * (z - inside), slope
