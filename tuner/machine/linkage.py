"""The motion ratio: damper travel over wheel travel, constant or from a table, and where the corner rests.

Takes a corner; gives the ratio r and its change dr/dz at rest.

A table of tape readings is smoothed, since its second derivative is wanted and differences of readings that are
1 mm uncertain would be useless: a Legendre series of degree 5 with a prior on its bent part (Bayesian linear
regression, Bishop, *Pattern Recognition and Machine Learning*, 3.3), so that few or rough rows widen the result.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.polynomial import legendre

from tuner.errors import MachineError
from tuner.estimates import NORMAL_95, Array, Estimate
from tuner.machine.parts import Corner, MotionRatio
from tuner.machine.propagation import STANDARD, propagate
from tuner.units import GRAVITY

_READING_FLOOR = 2e-5  # m, no table is better than this
_DEGREE = 5
# prior standard deviations of the bent coefficients, degrees 2 to 5, over half the damper travel: 0.1 is a ratio
# that rises by a factor of two over the travel; at least three times what plain levers drawn at random show, so that
# rockers fit as well (tests/test_machine_linkage.py)
_CURVATURE = (0.10, 0.03, 0.006, 0.0015)


class AtRest(NamedTuple):
    """The corner at rest: spring rate [N/m], sprung mass [kg], ratio r [-], dr/dz [1/m]."""

    spring_rate: float
    sprung_mass: float
    ratio: float
    ratio_change: float


class Smooth(NamedTuple):
    """A smoothed table: damper travel over wheel travel as a polynomial in x, -1 at the `start` to 1 at the `end`.

    series, covariance : Legendre coefficients (6,) and their covariance (6, 6); powers : the same curve and its two
    derivatives in plain powers of x, rising; residual : largest distance of a row from the curve [m], at `worst_row`
    (counted from 1); rough : the rows do not fit any linkage within their uncertainty, which was widened.
    """

    series: Array
    covariance: Array
    powers: tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]
    residual: float
    worst_row: int
    rough: bool
    start: float
    end: float

    def at(self, wheel: float, order: int = 0) -> float:
        """Damper travel [m] at `wheel` [m], or its first (ratio) or second derivative there."""
        scale = 2.0 / (self.end - self.start)
        x = scale * (wheel - self.start) - 1.0
        total = 0.0
        for coefficient in reversed(self.powers[order]):
            total = total * x + coefficient
        return total * scale**order


@functools.lru_cache(maxsize=64)
def smooth_table(ratio: MotionRatio) -> Smooth:
    """Smooth the table of `ratio` (which must have one).

    Raises MachineError when no curve that rises all the way goes near the rows.
    """
    from scipy.special import chdtri

    wheel, damper = ratio.wheel, ratio.damper
    start, end = float(wheel[0]), float(wheel[-1])
    half_span = 0.5 * float(damper[-1] - damper[0])
    design = legendre.legvander(2.0 * (wheel - start) / (end - start) - 1.0, _DEGREE)
    prior = np.array([10.0, 10.0, *_CURVATURE]) * half_span
    slope = 2.0 * half_span / (end - start)
    stated = (ratio.damper_half**2 + (slope * ratio.wheel_half) ** 2) / NORMAL_95**2
    variance = np.maximum(stated, _rounding_sd(damper) ** 2)
    for _ in range(3):
        # weighted least squares with the prior as further rows
        rows = np.vstack([design / np.sqrt(variance)[:, None], np.diag(1.0 / prior)])
        inverse = np.linalg.pinv(rows)
        coefficients = inverse[:, : wheel.size] @ (damper / np.sqrt(variance))
        residuals = damper - design @ coefficients
        used = float(np.trace(rows[: wheel.size] @ inverse[:, : wheel.size]))
        scatter = float(np.sum(residuals**2 / variance)) / (wheel.size - used)
        if scatter <= 1.0 or wheel.size < 6:
            break
        variance = variance * scatter
    orders = [legendre.leg2poly(legendre.legder(coefficients, order)) for order in range(3)]
    powers = [tuple(float(c) for c in order) for order in orders]
    worst = int(np.argmax(np.abs(residuals)))
    # data and prior together have n - 2 degrees of freedom; what they miss widens all (Birge 1932)
    freedom = max(wheel.size - 2, 1)
    misfit = float(np.sum(residuals**2 / variance) + np.sum((coefficients / prior)[2:] ** 2))
    covariance = inverse @ inverse.T * max(misfit / freedom, 1.0)
    smooth = Smooth(
        coefficients,
        covariance,
        (powers[0], powers[1], powers[2]),
        float(abs(residuals[worst])),
        worst + 1,
        misfit > float(chdtri(freedom, 0.001)),
        start,
        end,
    )
    if min(smooth.at(z, 1) for z in np.linspace(start, end, 101)) <= 0:
        raise MachineError(
            "the damper travel in the motion ratio table must rise smoothly; no smooth rising curve fits its rows",
            hint="Look for a row that was misread.",
        )
    return smooth


def _rounding_sd(damper: Array) -> float:
    """Give the standard deviation [m] of readings to the last digit they show, a whole millimetre at most."""
    for step in (1e-3, 5e-4, 1e-4):
        if bool((np.abs(damper / step - np.round(damper / step)) < 1e-6).all()):
            return step / math.sqrt(12.0)
    return _READING_FLOOR


def _derivative_matrix(order: int) -> Array:
    """Give the (6, 6) matrix that turns powers of x into the `order`-th derivative of each Legendre polynomial."""
    columns = [legendre.leg2poly(legendre.legder(unit, order)) for unit in np.eye(_DEGREE + 1)]
    return np.array([np.pad(column, (0, _DEGREE + 1 - column.size)) for column in columns]).T


_DERIVATIVES = (_derivative_matrix(1), _derivative_matrix(2))


def _slope_noise(smooth: Smooth, wheel: float) -> tuple[float, float, float]:
    """Give the lower triangular root (a; b, c) of the covariance of (r, dr/dz) at `wheel` [m]."""
    scale = 2.0 / (smooth.end - smooth.start)
    powers = (scale * (wheel - smooth.start) - 1.0) ** np.arange(_DEGREE + 1)
    first, second = (scale**order * (powers @ _DERIVATIVES[order - 1]) for order in (1, 2))
    a = math.sqrt(max(float(first @ smooth.covariance @ first), 0.0))
    b = float(first @ smooth.covariance @ second) / a if a > 0 else 0.0
    return a, b, math.sqrt(max(float(second @ smooth.covariance @ second) - b**2, 0.0))


def _root(function: Callable[[float], tuple[float, float]], low: float, high: float) -> float:
    """Find where a rising `function`, given as (value, slope), is zero: Newton held between ends that close in.

    Gives the nearer end when it is zero nowhere between. scipy.optimize.brentq takes twice as long (33 against 16 us),
    and 0.24 s to import.
    """
    if function(low)[0] >= 0:
        return low
    if function(high)[0] <= 0:
        return high
    place = 0.5 * (low + high)
    for _ in range(60):
        value, slope = function(place)
        low, high = (place, high) if value < 0 else (low, place)
        step = place - value / slope if slope > 0 else low
        new = step if low < step < high else 0.5 * (low + high)
        if abs(new - place) <= 1e-12:
            return new
        place = new
    return place


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
        return AtRest(rate, mass, values[2], 0.0)
    smooth = smooth_table(ratio)
    if corner.static_travel is not None:
        target = values[4]
        place = _root(lambda z: (smooth.at(z) - target, smooth.at(z, 1)), smooth.start, smooth.end)
    else:
        load = mass * GRAVITY

        def excess(z: float) -> tuple[float, float]:
            s, r, change = (smooth.at(z, order) for order in range(3))
            return rate * s * r - load, rate * (r**2 + s * change)

        place = _root(excess, smooth.start, smooth.end)
    r, change = smooth.at(place, 1), smooth.at(place, 2)
    if values[2] or values[3]:
        a, b, c = _slope_noise(smooth, place)
        r, change = r + a * values[2], change + b * values[2] + c * values[3]
    if r <= 0:
        raise MachineError("the motion ratio at rest is too uncertain: the table's slope there may be zero")
    return AtRest(rate, mass, r, change)


def rest(corner: Corner) -> AtRest:
    """Give the corner at rest for the values of its estimates, without their uncertainty."""
    return at_rest(corner, [estimate.value for estimate in rest_inputs(corner)])


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
    x = 2.0 * (inside - smooth.start) / (smooth.end - smooth.start) - 1.0
    slope = legendre.legval(x, legendre.legder(smooth.series)) * 2.0 / (smooth.end - smooth.start)
    return legendre.legval(x, smooth.series) + slope * (z - inside), slope
