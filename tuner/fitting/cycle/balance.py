"""The force balance of all strokes together: gas force, friction, oil compression and a free curve for each side.

Takes `StrokeTable`; gives `Balance`. Uses: errors, estimates, strokes, regression.

F = gas(x) + friction sign(v) + D(u), u = v - F' / stiffness: the compressed oil takes up part of the shaft speed while
the force rises. D is a cubic spline through zero on each side, so no law has to be right here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tuner.errors import FitError
from tuner.estimates import Array
from tuner.fitting.cycle.strokes import Index, StrokeTable

NDArrayBool = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """The joint least-squares answer; parameters in the order gas, friction, compression curve, rebound curve."""

    coefficients: Array
    covariance: Array
    influence: Array  # (clusters, p): change of the coefficients that each cycle stands for
    used: NDArrayBool
    compliance: float
    knots: dict[float, Array]
    gas_terms: int
    travel_middle: float
    travel_half: float
    clusters: Index
    residual: Array

    def gas(self, travel: Array) -> Array:
        """Gas force [N] at `travel`."""
        z = (travel - self.travel_middle) / self.travel_half
        return np.asarray(
            np.vander(z.ravel(), self.gas_terms, increasing=True) @ self.coefficients[: self.gas_terms]
        ).reshape(travel.shape)

    @property
    def friction(self) -> float:
        """Dry friction [N]."""
        return float(self.coefficients[self.gas_terms])

    def curve_row(self, direction: float, speed: Array) -> Array:
        """Row of the design that gives the damping force of one side at `speed`, (k, p)."""
        p = self.coefficients.size
        out = np.zeros((speed.size, p))
        start = self.gas_terms + 1
        if direction < 0:
            start += spline_size(self.knots[1.0])
        basis = spline_basis(speed, self.knots[direction])
        out[:, start : start + basis.shape[1]] = basis
        return out


def knots_for(top: float, lowest: float) -> Array:
    """Places between 0 and `top` where the free curve may bend, finer at low speed; rising, with both ends."""
    inner = np.array(
        [
            0.01,
            0.02,
            0.035,
            0.055,
            0.08,
            0.115,
            0.16,
            0.22,
            0.3,
            0.4,
            0.54,
            0.72,
            0.95,
            1.25,
            1.7,
            2.3,
            3.1,
            4.2,
        ]
    )
    inner = inner[(inner > 1.2 * lowest) & (inner < 0.9 * top)]
    return np.concatenate(([0.0], inner, [top]))


def spline_size(knots: Array) -> int:
    """Free parameters of the curve on these knots (cubic, zero at zero)."""
    return knots.size + 1


def spline_basis(speed: Array, knots: Array) -> Array:
    """Cubic B-splines that vanish at 0, (n, k); straight on beyond the last knot (de Boor's recursion)."""
    top = knots[-1]
    t = np.concatenate(([0.0] * 3, knots, [top] * 3))
    inside = np.clip(speed, 0.0, top * (1 - 1e-12))
    values = _de_boor(inside, t, 3)
    beyond = speed - inside
    if np.any(beyond > 1e-9 * top):
        step = 1e-4 * top
        slope = (
            _de_boor(np.array([top * (1 - 1e-12)]), t, 3) - _de_boor(np.array([top - step]), t, 3)
        ) / step
        values = values + beyond[:, None] * slope
    return values[:, 1:]


def _de_boor(x: Array, t: Array, degree: int) -> Array:
    basis = ((x[:, None] >= t[None, :-1]) & (x[:, None] < t[None, 1:])).astype(float)
    for d in range(1, degree + 1):
        left_width = t[d:-1] - t[: -d - 1]
        right_width = t[d + 1 :] - t[1:-d]
        with np.errstate(divide="ignore", invalid="ignore"):
            left = np.where(left_width > 0, (x[:, None] - t[None, : -d - 1]) / left_width, 0.0)
            right = np.where(right_width > 0, (t[None, d + 1 :] - x[:, None]) / right_width, 0.0)
        basis = left * basis[:, :-1] + right * basis[:, 1:]
    return basis


def solve(table: StrokeTable, use: NDArrayBool, compliance: float, gas_terms: int) -> Balance:
    """Solve the balance for one `compliance` [m/N] over the parts marked in `use` (s, m)."""
    sides = [d for d in (1.0, -1.0) if (use & (table.direction[:, None] == d)).any()]
    middle = 0.5 * float(table.travel.max() + table.travel.min())
    half = 0.5 * float(np.ptp(table.travel)) or 1.0
    direction = np.broadcast_to(table.direction[:, None], use.shape)
    effective = direction * (table.velocity - compliance * table.force_rate)
    knots = {}
    for d in (1.0, -1.0):
        chosen = use & (direction == d)
        if chosen.any():
            speeds = effective[chosen]
            knots[d] = knots_for(float(np.quantile(speeds, 0.995)), float(np.quantile(speeds, 0.01)))
        else:
            knots[d] = np.array([0.0, 1.0])
    rows_d = direction[use]
    z = (table.travel[use] - middle) / half
    columns = [np.vander(z, gas_terms, increasing=True), rows_d[:, None]]
    for d in (1.0, -1.0):
        basis = np.zeros((rows_d.size, spline_size(knots[d])))
        mine = rows_d == d
        basis[mine] = d * spline_basis(np.maximum(effective[use][mine], 0.0), knots[d])
        columns.append(basis)
    design = np.hstack(columns)
    force = table.force[use]
    top = np.max(np.abs(force))
    weights = 1.0 / (0.01**2 * force**2 + (0.004 * top) ** 2)
    weights = weights * np.broadcast_to(table.count[:, None], use.shape)[use]
    weights /= weights.mean()
    root = np.sqrt(weights)
    penalty = _penalty(knots, gas_terms, design.shape[1])
    scaled = design * root[:, None]
    gram = scaled.T @ scaled
    scale = np.sqrt(np.maximum(np.diag(gram), 1e-30))
    ridge = 1e-9 * np.diag(scale**2) + penalty * (1e-7 * float(np.mean(np.diag(gram))))
    inverse = np.linalg.inv((gram + ridge) / np.outer(scale, scale)) / np.outer(scale, scale)
    coefficients = inverse @ (scaled.T @ (force * root))
    residual_used = force - design @ coefficients
    clusters = np.broadcast_to(table.cycle[:, None], use.shape)[use]
    names, index = np.unique(clusters, return_inverse=True)
    scores = np.zeros((names.size, design.shape[1]))
    np.add.at(scores, index, design * (weights * residual_used)[:, None])
    influence = scores @ inverse
    covariance = influence.T @ influence
    residual = np.full(use.shape, np.nan)
    residual[use] = residual_used
    if not sides:
        raise FitError("no part of any stroke could be used")
    return Balance(
        coefficients, covariance, influence, use, compliance, knots, gas_terms, middle, half, names, residual
    )


def _penalty(knots: dict[float, Array], gas_terms: int, size: int) -> Array:
    out = np.zeros((size, size))
    start = gas_terms + 1
    for d in (1.0, -1.0):
        k = spline_size(knots[d])
        difference = np.diff(np.eye(k), 2, axis=0)
        out[start : start + k, start : start + k] = difference.T @ difference
        start += k
    return out


def weighted_rss(balance: Balance) -> float:
    """Sum of squares that the compliance is chosen by."""
    return float(np.nansum(balance.residual**2))
