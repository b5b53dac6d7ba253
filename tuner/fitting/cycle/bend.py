"""The knee of a free curve: the centre of its bend.

Takes `Balance`; gives a place with its error.

A valve opens over a range of speeds. While it opens, the slope of the force goes over from that of the bleed alone to
that of bleed and valve together; below and above it changes little. So the knee is taken where the slope changes
fastest in proportion: b = d ln F' / d ln v is the share by which the slope changes per share of speed, and the knee
is the mean of ln v with b^2 as its weight, over the speeds at which the slope changes the way the knee does. Two
straight lines put their corner elsewhere, up to 12 % off, as soon as bleed or ports make the curve bend next to the
opening.
"""

from __future__ import annotations

import math

import numpy as np

from tuner.estimates import Array
from tuner.fitting.cycle import spline
from tuner.fitting.cycle.balance import Balance

PLACES = 120  # speeds at which the slope is asked, evenly spread over logarithms
REACH = 1.6  # how many times below and above the corner of two straight lines the bend is looked for
LEAST_SLOPE = 0.03  # of the greatest slope: a flat curve divides by no less


def bend_centre(
    balance: Balance, direction: float, corner: float, *, top: float, flatter: bool
) -> tuple[float, float] | None:
    """Centre of the bend of one side's curve [m/s] near `corner`, and its standard error on logarithms.

    corner : where two straight lines would meet [m/s]; top : the greatest speed of the curve [m/s]; flatter : whether
    the curve runs flatter above its knee (digressive) or steeper. None where the slope nowhere changes that way.
    """
    place = np.linspace(math.log(corner / REACH), math.log(min(corner * REACH, top)), PLACES)
    knots = balance.knots[0 if direction > 0 else 1]
    slopes = spline.basis_and_slope(np.exp(place), knots)[1]
    chosen = balance.curve_slice(direction)
    curve = balance.coefficients[chosen]
    centre = _centre(place, slopes @ curve, flatter=flatter)
    if centre is None:
        return None
    # one step of a standard deviation along each axis of the curve's error; what moves the centre adds up
    sizes, axes = np.linalg.eigh(balance.covariance[chosen, chosen])
    variance = 0.0
    for size, axis in zip(np.sqrt(np.maximum(sizes, 0.0)), axes.T, strict=True):
        pair = [
            _centre(place, slopes @ (curve + sign * size * axis), flatter=flatter) for sign in (1.0, -1.0)
        ]
        variance += (0.5 * ((pair[0] or centre) - (pair[1] or centre))) ** 2
    return math.exp(centre), math.sqrt(variance)


def _centre(place: Array, slope: Array, *, flatter: bool) -> float | None:
    """Mean of `place` = ln v weighted by the square of the slope's relative change."""
    change = np.gradient(np.log(np.maximum(slope, LEAST_SLOPE * float(np.max(slope)))), place)
    weight = np.maximum(-change if flatter else change, 0.0) ** 2
    total = float(np.sum(weight))
    return float(np.sum(weight * place)) / total if total > 0.0 else None
