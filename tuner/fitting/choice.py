"""All laws fitted to one side, and the choice among them by AICc.

Takes speed and damping force of one side (both counted positive); gives every law with its covariance and
weight.

AICc: Akaike's criterion with the small-sample term, Hurvich and Tsai, *Biometrika* 76 (1989). A law that gives
negative damping inside the tested range, or whose parts have the wrong sign (a leak or an orifice below zero),
is kept among the figures with weight 0 and never chosen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tuner.errors import FitError
from tuner.estimates import Array, Estimate
from tuner.fitting.knee import BrokenStick, broken_stick, two_knees
from tuner.fitting.regression import covariance_at, gauss_newton, linear_fit
from tuner.fitting.results import Candidate
from tuner.laws import Knee, Law, LeakOrifice, Line, Power, TwoKnees

# a second knee must change the slope by this share to be one, and lie this many times further up when it bends the
# same way: nearer together the two draw one valve that opens gradually; common practice, no source
REAL_KNEE, ONE_VALVE = 0.2, 2.0


@dataclass(frozen=True, slots=True, eq=False)
class FittedLaw:
    """One law at its optimum.

    covariance : (p, p) over the law's parameters in their order; when `intercept` is fitted it comes last.
    free : parameters counted by AICc, the noise included.
    """

    law: Law
    intercept: float
    covariance: Array
    df: float
    rss: float
    free: int
    aicc: float
    weight: float
    admissible: bool

    def candidate(self) -> Candidate:
        """Give the figures that the result keeps."""
        return Candidate(self.law, self.rss, self.free, self.aicc, self.weight)

    def estimates(self) -> dict[str, Estimate]:
        """Give every parameter of the law with its 95 % interval; one that is positive does not reach below zero."""
        sds = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        df = self.df if self.df >= 1 else 1.0
        return {
            name: found.not_negative() if value > 0.0 else found
            for (name, value), sd in zip(
                self.law.parameters.items(), sds[: len(self.law.parameters)], strict=True
            )
            for found in [Estimate.from_sd(value, float(sd), self.law.units[name], df=df)]
        }

    def force_sd(self, speed: Array) -> Array:
        """Give the standard error of the law's force [N] at `speed` (k,), without an intercept."""
        gradient = law_gradient(self.law, speed)
        p = gradient.shape[1]
        variance: Array = np.sum((gradient @ self.covariance[:p, :p]) * gradient, axis=1)
        return np.sqrt(np.maximum(variance, 0.0))


def law_gradient(law: Law, speed: Array) -> Array:
    """Give the derivative of the force with respect to the law's parameters, (n, p)."""
    v = np.asarray(speed, dtype=float)
    match law:
        case Line():
            return v[:, None]
        case Power(a=a, n=n):
            with np.errstate(divide="ignore", invalid="ignore"):
                log_v = np.where(v > 0, np.log(np.maximum(v, 1e-300)), 0.0)
            grown = np.power(v, n)
            return np.column_stack((grown, a * grown * log_v))
        case LeakOrifice():
            return np.column_stack((v, v * v))
        case Knee(c_low=c0, c_high=c1, v_knee=k):
            above = np.maximum(v - k, 0.0)
            return np.column_stack((v - above, above, -(c1 - c0) * (v > k)))
        case TwoKnees(c_low=c0, c_middle=c1, c_high=c2, v_knee=k1, v_knee_2=k2):
            h1, h2 = np.maximum(v - k1, 0.0), np.maximum(v - k2, 0.0)
            return np.column_stack((v - h1, h1 - h2, h2, -(c1 - c0) * (v > k1), -(c2 - c1) * (v > k2)))
        case _:
            raise FitError(f"no gradient is known for the law {law.name!r}")


def aicc_of(rss: float, points: float, free: int) -> float:
    """Akaike's criterion with the small-sample term; infinite where the points are too few."""
    if points - free - 1 <= 0:
        return math.inf
    size = max(rss, 1e-300) / points
    return points * math.log(size) + 2.0 * free + 2.0 * free * (free + 1.0) / (points - free - 1.0)


def fit_power(
    speed: Array,
    force: Array,
    weights: Array | None = None,
    *,
    intercept: bool = False,
    bounds: tuple[float, float] = (0.05, 5.0),
) -> tuple[Array, Array, Array]:
    """Fit F = a v^n (+ F0) in force units: the best n of a grid, the rest in closed form, then polished.

    Returns the parameters (a, n[, F0]), the residuals (n,) and the jacobian (n, p).
    """
    w = np.ones_like(speed) if weights is None else weights
    scale = float(np.exp(np.mean(np.log(speed[speed > 0]))))
    ratio = speed / scale

    def profile(n: float) -> float:
        grown = ratio**n
        if intercept:
            mean_g, mean_f = np.average(grown, weights=w), np.average(force, weights=w)
            spread = np.sum(w * (grown - mean_g) ** 2)
            common = np.sum(w * (grown - mean_g) * (force - mean_f))
            return float(np.sum(w * (force - mean_f) ** 2) - (common**2 / spread if spread > 0 else 0.0))
        return float(np.sum(w * force**2) - np.sum(w * grown * force) ** 2 / np.sum(w * grown**2))

    grid = np.linspace(bounds[0], bounds[1], 60)
    n = float(grid[np.argmin([profile(float(n)) for n in grid])])
    columns = (ratio**n)[:, None] if not intercept else np.column_stack((ratio**n, np.ones_like(ratio)))
    linear = linear_fit(columns, force, weights)
    log_v = np.log(np.maximum(speed, 1e-300))

    def model(p: Array) -> tuple[Array, Array]:
        grown = speed ** p[1]
        jacobian = [grown, p[0] * grown * log_v]
        prediction = p[0] * grown
        if intercept:
            jacobian.append(np.ones_like(speed))
            prediction = prediction + p[2]
        return prediction, np.column_stack(jacobian)

    start = [linear.coefficients[0] / scale**n, n, *linear.coefficients[1:]]
    return gauss_newton(model, np.array(start), force, weights)


def _admissible(law: Law, speed: Array) -> bool:
    top = float(np.max(speed))
    grid = np.linspace(top / 200.0, top, 200)
    if not bool(np.all(law.force(grid) > 0)):
        return False
    match law:
        case LeakOrifice(a=a, b=b):
            return a >= 0 and b >= 0
        case Power(n=n):
            return 0.05 < n < 5.0
        case Knee(c_low=low, c_high=high):
            return low > 0 and high >= -0.05 * low
        case TwoKnees(c_low=low, c_middle=middle, c_high=high, v_knee=first, v_knee_2=second):
            real = all(
                abs(b - a) >= REAL_KNEE * max(abs(a), abs(b)) for a, b in ((low, middle), (middle, high))
            )
            gradual = (middle - low) * (high - middle) > 0 and second < ONE_VALVE * first
            return real and not gradual and low > 0 and min(middle, high) >= -0.05 * low
        case _:
            return True


def fit_laws(
    speed: Array,
    force: Array,
    weights: Array | None = None,
    clusters: Array | None = None,
    *,
    intercept: bool = False,
    offset: tuple[float, float] | None = None,
    points: float | None = None,
    floor: float = 0.0,
    expected: tuple[float, float] = (0.0, 0.0),
    allow: tuple[str, ...] = ("line", "power", "leak + orifice", "knee", "two knees"),
) -> tuple[FittedLaw, ...]:
    """Fit every law that the points allow; best first.

    Parameters
    ----------
    speed, force : (n,)
        One side, both counted positive; gas force and friction off (or in with ``intercept=True``).
    weights, clusters : (n,), optional
        Weights of the squares; clusters are the independent units of the errors.
    offset : (value, weight), optional
        A force [N] inside all points that is not damping, known as well as one point of that weight: fitted with
        each law, and not counted among its parameters, since it brings its own point.
    points : float, optional
        Number of independent points for AICc, by default n.
    floor : float
        Squares that do not count against a law [as rss]: differences below what any law can promise must not
        decide between laws.
    expected : (variance, points)
        Variance of a point of weight 1 that was known beforehand [N^2], and how many points that is worth in the
        choice; points that happen to lie closer together do not make a law surer than they are themselves.

    Raises
    ------
    FitError
        When not even a line can be fitted.
    """
    count = float(speed.size) if points is None else points
    fits: list[FittedLaw] = []
    tested = speed
    if offset is not None:  # what is left at speed zero
        weights = np.append(np.ones_like(speed) if weights is None else weights, offset[1])
        speed, force, intercept = np.append(speed, 0.0), np.append(force, offset[0]), True
    extra = 1 if intercept else 0
    variance, known = expected

    def add(law: Law, jacobian: Array, residuals: Array, f0: float) -> None:
        w = np.ones_like(residuals) if weights is None else weights
        free = jacobian.shape[1] + (0 if offset is not None else 1)
        if speed.size < jacobian.shape[1]:
            return
        covariance, df = covariance_at(jacobian, residuals, weights, clusters)
        rss = float(np.sum(w * residuals**2))
        if rss < df * variance:
            covariance = covariance * (df * variance / max(rss, 1e-12 * df * variance))
        fits.append(
            FittedLaw(
                law,
                f0,
                covariance,
                df,
                rss,
                free,
                aicc_of(rss + floor + known * variance, count + known, free),
                0.0,
                _admissible(law, tested),
            )
        )

    one = np.ones((speed.size, 1))
    for name in allow:
        try:
            if name == "line":
                design = np.hstack((speed[:, None], one)) if intercept else speed[:, None]
                fit = linear_fit(design, force, weights)
                add(
                    Line(float(fit.coefficients[0])),
                    design,
                    fit.residuals,
                    float(fit.coefficients[1]) if intercept else 0.0,
                )
            elif name == "leak + orifice" and np.unique(speed).size >= 2 + extra:
                design = np.column_stack((speed, speed**2))
                design = np.hstack((design, one)) if intercept else design
                fit = linear_fit(design, force, weights)
                law: Law = LeakOrifice(float(fit.coefficients[0]), float(fit.coefficients[1]))
                add(law, design, fit.residuals, float(fit.coefficients[2]) if intercept else 0.0)
            elif name == "power" and np.unique(speed).size >= 2 + extra:
                p, residuals, jacobian = fit_power(speed, force, weights, intercept=intercept)
                add(Power(float(p[0]), float(p[1])), jacobian, residuals, float(p[2]) if intercept else 0.0)
            elif name == "knee" and np.unique(speed).size >= 4 + extra:
                stick = broken_stick(speed, force, weights, intercept=intercept)
                jacobian = _law_order(stick, intercept=intercept)
                add(
                    Knee(stick.slopes[0], stick.slopes[1], stick.knees[0]),
                    jacobian,
                    stick.residuals,
                    stick.intercept,
                )
            elif name == "two knees" and not intercept and np.unique(speed).size >= 8 and count >= 10:
                stick = two_knees(speed, force, weights)
                add(TwoKnees(*stick.slopes, *stick.knees), stick.jacobian, stick.residuals, 0.0)
        except (FitError, np.linalg.LinAlgError, ValueError):
            continue
    if not fits:
        raise FitError(
            "not even a straight line could be fitted to this side",
            hint="Check that the forces are numbers of a sensible size and the speeds differ.",
        )
    return _weighed(fits)


def _law_order(stick: BrokenStick, *, intercept: bool) -> Array:
    """Put the jacobian in the law's order: slopes, knee, then the intercept."""
    jacobian = stick.jacobian
    return np.hstack((jacobian[:, 1:], jacobian[:, :1])) if intercept else jacobian


def _weighed(fits: list[FittedLaw]) -> tuple[FittedLaw, ...]:
    usable = [f for f in fits if f.admissible and math.isfinite(f.aicc)]
    if not usable:  # too few points for the criterion: the simplest admissible law
        usable = [f for f in fits if f.admissible][:1] or fits[:1]
        best_aicc = {id(usable[0]): 1.0}
    else:
        lowest = min(f.aicc for f in usable)
        raw = {id(f): math.exp(-0.5 * (f.aicc - lowest)) for f in usable}
        total = sum(raw.values())
        best_aicc = {key: value / total for key, value in raw.items()}
    weighed = [replace(f, weight=best_aicc.get(id(f), 0.0)) for f in fits]
    return tuple(sorted(weighed, key=lambda f: (-f.weight, f.aicc)))
