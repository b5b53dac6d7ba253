"""Least squares with errors: linear problems, and the covariance at the optimum of any problem.

Takes arrays; gives coefficients with their covariance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuner.errors import FitError, require
from tuner.estimates import Array, Estimate


@dataclass(frozen=True, slots=True, eq=False)
class Regression:
    """A least-squares answer.

    coefficients : (p,); covariance : (p, p); rss : weighted residual sum of squares; df :
    degrees of freedom of the t interval (samples - p, or clusters - 1); residuals : (n,) unweighted.
    """

    coefficients: Array
    covariance: Array
    rss: float
    df: float
    residuals: Array

    @property
    def standard_errors(self) -> Array:
        """Standard error of each coefficient, (p,)."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))

    def estimate(self, number: int, unit: str) -> Estimate:
        """Give one coefficient with its 95 % interval."""
        return Estimate.from_sd(
            float(self.coefficients[number]), float(self.standard_errors[number]), unit, df=max(self.df, 1.0)
        )


def covariance_at(
    jacobian: Array, residuals: Array, weights: Array | None = None, clusters: Array | None = None
) -> tuple[Array, float]:
    """Covariance (p, p) of a least-squares optimum and its degrees of freedom.

    Parameters
    ----------
    jacobian : (n, p)
        Derivative of the model with respect to its parameters.
    residuals, weights : (n,)
    clusters : (n,) integers, optional
        With it, whole clusters are the independent units: sandwich with the small-sample factor
        G/(G-1) (n-1)/(n-p) (Liang and Zeger 1986; the factor as in common econometric practice).
    """
    n, p = jacobian.shape
    w = np.ones(n) if weights is None else weights
    weighted = jacobian * np.sqrt(w)[:, None]
    # columns of very different size: scale first, so that the inverse does not lose digits
    size = np.sqrt(np.sum(weighted**2, axis=0))
    size[size == 0] = 1.0
    _, r = np.linalg.qr(weighted / size)
    try:
        inverse_r = np.linalg.inv(r)
    except np.linalg.LinAlgError as error:
        raise FitError(
            "the points do not determine the law; two of its parameters cannot be told apart",
            hint="Measure at more and at more different speeds.",
        ) from error
    bread = (inverse_r @ inverse_r.T) / np.outer(size, size)
    if clusters is None:
        df = float(n - p)
        rss = float(np.sum(w * residuals**2))
        return (bread * rss / df if df > 0 else np.full((p, p), np.inf)), df
    names, index = np.unique(clusters, return_inverse=True)
    groups = names.size
    if groups < 2 or n <= p:
        return np.full((p, p), np.inf), 0.0
    scores = np.zeros((groups, p))
    np.add.at(scores, index, jacobian * (w * residuals)[:, None])
    factor = groups / (groups - 1.0) * (n - 1.0) / (n - p)
    return factor * bread @ (scores.T @ scores) @ bread, float(groups - 1)


def linear_fit(
    design: Array, values: Array, weights: Array | None = None, clusters: Array | None = None
) -> Regression:
    """Fit values ~ design @ coefficients by weighted least squares (QR, no normal equations).

    design : (n, p); values, weights, clusters : (n,). Raises FitError where the columns cannot be told apart.
    """
    n, p = design.shape
    require(n >= p, "points", f"at least {p} for this law", n, error=FitError)
    root = np.ones(n) if weights is None else np.sqrt(weights)
    size = np.sqrt(np.sum((design * root[:, None]) ** 2, axis=0))
    size[size == 0] = 1.0
    q, r = np.linalg.qr(design * root[:, None] / size)
    if np.min(np.abs(np.diag(r))) < 1e-12 * max(np.max(np.abs(np.diag(r))), 1e-300):
        raise FitError(
            "the points do not determine the law; two of its parameters cannot be told apart",
            hint="Measure at more and at more different speeds.",
        )
    coefficients = np.linalg.solve(r, q.T @ (values * root)) / size
    residuals = values - design @ coefficients
    covariance, df = covariance_at(design, residuals, weights, clusters)
    rss = float(np.sum(root**2 * residuals**2))
    return Regression(coefficients, covariance, rss, df, residuals)


def gauss_newton(
    model: object,
    start: Array,
    values: Array,
    weights: Array | None = None,
    *,
    steps: int = 100,
) -> tuple[Array, Array, Array]:
    """Polish a non-linear least-squares problem from a good start; step halving, no bounds.

    `model` is a callable: parameters (p,) -> (prediction (n,), jacobian (n, p)).
    Returns parameters, residuals and jacobian at the optimum.
    """
    # scipy.optimize.least_squares finds the same to 1e-8 and takes 0.8 ms where this takes 2.1 (40 points), but its
    # import costs 0.24 s, a fifth of what a fit of a bench test takes
    require(callable(model), "model", "callable", type(model), error=FitError)
    root = np.ones(values.size) if weights is None else np.sqrt(weights)

    def cost_of(point: Array) -> tuple[float, Array, Array]:
        with np.errstate(all="ignore"):
            prediction, jacobian = model(point)  # type: ignore[operator]
            residuals = values - prediction
            cost = float(np.sum((root * residuals) ** 2))
        return (cost if np.isfinite(cost) else np.inf), residuals, jacobian

    point = np.array(start, dtype=float)
    cost, residuals, jacobian = cost_of(point)
    damping = 0.0
    for _ in range(steps):
        weighted = jacobian * root[:, None]
        size = np.sqrt(np.sum(weighted**2, axis=0))
        size[size == 0] = 1.0
        scaled = weighted / size
        stacked = np.vstack((scaled, np.sqrt(damping) * np.eye(point.size)))
        target = np.concatenate((root * residuals, np.zeros(point.size)))
        step = np.linalg.lstsq(stacked, target, rcond=None)[0] / size
        new_cost, new_residuals, new_jacobian = cost_of(point + step)
        if new_cost <= cost:
            small = np.all(np.abs(step) <= 1e-13 * (np.abs(point) + 1e-300))
            point, residuals, jacobian = point + step, new_residuals, new_jacobian
            gain = cost - new_cost
            cost = new_cost
            damping = damping / 10.0 if damping > 1e-12 else 0.0
            if small or (gain <= 1e-16 * cost and damping == 0.0):
                break
        else:
            damping = max(10.0 * damping, 1e-6)
            if damping > 1e8:
                break
    return point, residuals, jacobian
