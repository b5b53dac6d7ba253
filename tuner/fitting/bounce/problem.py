"""The least-squares problem of a bounce: parameters, what is known of them, residuals and their derivatives.

Takes the free ring-downs and prior knowledge; gives cost, gradient and curvature of many parameter vectors at once.

Parameters of one vector, in this order: the shared ones (`SHARED`: natural logarithms, but of the friction the square
root with either sign, so that none at all is an ordinary place), one bias per file, and for every bounce its own start
w, w', u, u' and friction over its limit. The cost is the sum of squared residuals over their variance plus the squared
distance from what is known beforehand over its variance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.families import STATES, Corners, Index, families_of
from tuner.fitting.bounce.motion import Motion, Quantity, move
from tuner.fitting.bounce.slopes import corner_slopes, sample_slopes

# omega [rad/s] of the sprung mass on its spring, handbook ratios, friction [m/s**2], unsprung over sprung mass,
# tyre rate over sprung mass [1/s**2], fraction of critical of the whole corner on its tyre, speed at the wheel at which
# friction slips [m/s], travel at the wheel by which it winds up before [m]; with a knee also its speed at the wheel
# [m/s] and, per side, the slope above it over the slope below
SHARED = ("omega", "zeta_c", "zeta_r", "friction", "mass_ratio", "tyre", "tyre_zeta", "creep", "wind")
KNEE = ("knee_speed", "knee_ratio_c", "knee_ratio_r")
OMEGA, ZETA_C, ZETA_R, FRICTION, MASS_RATIO, TYRE, TYRE_ZETA, CREEP, WIND = range(len(SHARED))
KNEE_SPEED, KNEE_RATIO_C, KNEE_RATIO_R = range(len(SHARED), len(SHARED) + len(KNEE))
STARTS = STATES  # w, w', u, u', friction over its limit

LOWEST = np.log([2.0 * np.pi * 0.4, 0.01, 0.01, 1.0, 0.01, 20.0, 1e-4, 5e-5, 3e-5, 0.01, 0.05, 0.05])
HIGHEST = np.log([2.0 * np.pi * 6.0, 4.0, 4.0, 1.0, 0.8, 3e5, 0.06, 0.03, 0.005, 3.0, 20.0, 20.0])
HEAVIER = 0.5  # on logarithms, than the machine file says of the unsprung mass
LOWEST[FRICTION], HIGHEST[FRICTION] = -2.5, 2.5
HALF_NORMAL_ZETA = 0.8  # half of all ratios below 0.54, one in twenty above 1.6; common practice, no source
HALF_NORMAL_FRICTION = 0.8  # [m/s**2], 80 N on 100 kg
LEAST_FRICTION = 1e-4  # [m/s**2] beside the square of its root: none at all has no shape of its own
DIFFERENCE = 1e-6  # step of the difference quotients of the shapes, in logarithms
CHUNK = 1_500_000  # samples x derivatives held at once


@dataclass(frozen=True, slots=True, eq=False)
class Knowledge:
    """What is known of the shared parameters beforehand: rows of (coefficients, value, sd) on logarithms."""

    coefficients: Array  # (rows, shared)
    value: Array  # (rows,)
    sd: Array

    @property
    def curvature(self) -> Array:
        """Second derivative of the penalty (halved), (shared, shared)."""
        weighted = self.coefficients / self.sd[:, None] ** 2
        return np.asarray(weighted.T @ self.coefficients)

    def shape(self, shared: Array) -> Array:
        """Log of the true prior density over the normal one that the cost uses, (s,), up to a constant.

        Ratios and friction: half-normal on themselves, so that small values are neither favoured nor shunned.
        """
        zeta = np.exp(shared[:, [ZETA_C, ZETA_R]])
        wanted = np.log(zeta) - 0.5 * (zeta / HALF_NORMAL_ZETA) ** 2
        root = np.maximum(np.abs(shared[:, FRICTION]), 1e-6)
        total = wanted.sum(axis=1) + np.log(root) - 0.5 * (root**2 / HALF_NORMAL_FRICTION) ** 2
        for place in (ZETA_C, ZETA_R, FRICTION):
            own = np.flatnonzero(self.coefficients[:, place] != 0)
            off = (shared[:, place, None] * self.coefficients[own, place] - self.value[own]) / self.sd[own]
            total += 0.5 * (off**2).sum(axis=1)
        return np.asarray(total)

    def distance(self, shared: Array) -> Array:
        """Deviations in sd, (s, rows) from (s, shared)."""
        return np.asarray((shared @ self.coefficients.T - self.value) / self.sd)


@dataclass(frozen=True, slots=True, eq=False)
class Filter:
    """What turns computed samples at (b, n) times into the (b, m) that are compared: a matrix (b, m, n)."""

    time: Array
    matrix: Array

    def apply(self, values: Array, row: Index) -> Array:
        """Filter (lanes, n) or (lanes, n, k) along the samples; `row` (lanes,) says which bounce each lane is."""
        out = np.empty((len(values), self.matrix.shape[1], *values.shape[2:]))
        for b in range(len(self.matrix)):
            mine = row == b
            out[mine] = np.tensordot(values[mine], self.matrix[b], axes=(1, 1)).swapaxes(1, -1)
        return out


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """Ring-downs padded to equal length: (b, n) time since each start, value, weight 1/variance (0 = padding)."""

    time: Array
    value: Array
    weight: Array
    file: np.ndarray  # (b,) which file each bounce belongs to
    start_centre: Array  # (b, 5) of the starts, and their standard deviations: what hands can do
    start_sd: Array
    quantity: Quantity
    knowledge: Knowledge
    may_lift: bool = False
    blur: float = 0.0  # of averaged samples, see `families_of` [s**2]
    knee: bool = False
    filter: Filter | None = None

    @property
    def shared(self) -> int:
        """Number of shared parameters."""
        return len(SHARED) + (len(KNEE) if self.knee else 0)

    @property
    def files(self) -> int:
        """Number of files, each with its own bias."""
        return int(self.file.max()) + 1

    @property
    def bounces(self) -> int:
        """Number of bounces."""
        return len(self.file)

    @property
    def size(self) -> int:
        """Number of all parameters."""
        return self.shared + self.files + STARTS * self.bounces

    def start_slice(self, bounce: int) -> slice:
        """Where the start of that bounce stands in a parameter vector."""
        first = self.shared + self.files + STARTS * bounce
        return slice(first, first + STARTS)

    def starts(self, x: Array) -> Array:
        """Take the starting states (s, b, 5) out of parameter vectors (s, size)."""
        return x[:, self.shared + self.files :].reshape(len(x), self.bounces, STARTS)

    @property
    def inner_time(self) -> Array:
        """Times at which the motion is computed, (b, n)."""
        return self.time if self.filter is None else self.filter.time

    def of_bounces(self, chosen: list[int], *, longest: float = np.inf) -> Problem:
        """Take only these bounces and no more than `longest` [s] of each, files renumbered."""
        _, file = np.unique(self.file[chosen], return_inverse=True)
        used = int(((self.weight[chosen] > 0) & (self.time[chosen] <= longest)).sum(axis=1).max())
        return replace(
            self,
            time=self.time[chosen, :used],
            value=self.value[chosen, :used],
            weight=self.weight[chosen, :used],
            file=file,
            start_centre=self.start_centre[chosen],
            start_sd=self.start_sd[chosen],
        )

    def bounds(self) -> tuple[Array, Array]:
        """Lowest and highest value of every parameter."""
        low, high = np.full(self.size, -np.inf), np.full(self.size, np.inf)
        low[: self.shared], high[: self.shared] = LOWEST[: self.shared], HIGHEST[: self.shared]
        held = np.arange(self.shared + self.files + STARTS - 1, self.size, STARTS)
        low[held], high[held] = -1.0, 1.0
        # a wheel as heavy as the body explains much that a bent force law does; only a machine file may claim it
        told = self.knowledge.value[self.knowledge.coefficients[:, MASS_RATIO] != 0.0]
        high[MASS_RATIO] = max(high[MASS_RATIO], *(told + HEAVIER))
        return low, high


def corners_of(shared: Array) -> Corners:
    """Corners of logarithmic parameters (s, shared)."""
    v = np.exp(shared)
    omega, zeta_c, zeta_r, mu, tau = v[:, OMEGA], v[:, ZETA_C], v[:, ZETA_R], v[:, MASS_RATIO], v[:, TYRE]
    knee: dict[str, Array] = {}
    if shared.shape[1] > len(SHARED):
        knee = {
            "knee_c": v[:, KNEE_SPEED],
            "knee_r": v[:, KNEE_SPEED],
            "gamma_c_high": 2.0 * zeta_c * omega * v[:, KNEE_RATIO_C],
            "gamma_r_high": 2.0 * zeta_r * omega * v[:, KNEE_RATIO_R],
        }
    return Corners.of(
        kappa=omega**2,
        gamma_c=2.0 * zeta_c * omega,
        gamma_r=2.0 * zeta_r * omega,
        phi=shared[:, FRICTION] ** 2 + LEAST_FRICTION,
        creep=v[:, CREEP],
        wind=v[:, WIND],
        mu=mu,
        tau=tau,
        beta=2.0 * v[:, TYRE_ZETA] * np.sqrt(tau * (1.0 + mu)),
        **knee,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Evaluation:
    """Cost (s,), half its gradient (s, size) and Gauss-Newton curvature (s, size, size) of parameter vectors."""

    cost: Array
    gradient: Array
    curvature: Array


def motion_of(problem: Problem, x: Array) -> Motion:
    """Motions of every bounce of every vector; lane = vector * bounces + bounce."""
    count, bounces = len(x), problem.bounces
    families = families_of(corners_of(x[:, : problem.shared]), may_lift=problem.may_lift, blur=problem.blur)
    duration = np.tile(problem.inner_time[:, -1], count)
    return move(
        families, np.repeat(np.arange(count), bounces), problem.starts(x).reshape(-1, STARTS), duration
    )


def residuals(problem: Problem, x: Array) -> Array:
    """Measured minus computed, (s, b, n)."""
    motion = motion_of(problem, x)
    row = np.tile(np.arange(problem.bounces), len(x))
    y = motion.sample(problem.inner_time, row, problem.quantity)
    if problem.filter is not None:
        y = problem.filter.apply(y, row)
    bias = x[:, problem.shared + problem.file]
    return np.asarray(problem.value[None] - y.reshape(len(x), problem.bounces, -1) - bias[:, :, None])


def evaluate(problem: Problem, x: Array, *, only_starts: bool = False) -> Evaluation:
    """Cost, gradient and curvature of vectors (s, size).

    `only_starts` leaves the derivatives by the shared parameters out (zero), which is cheaper.
    """
    columns = STARTS + (0 if only_starts else problem.shared)
    per_vector = problem.bounces * problem.time.shape[1] * columns
    block = max(1, CHUNK // per_vector)
    parts = [_evaluate(problem, x[k : k + block], only_starts) for k in range(0, len(x), block)]
    return Evaluation(
        np.concatenate([part.cost for part in parts]),
        np.concatenate([part.gradient for part in parts]),
        np.concatenate([part.curvature for part in parts]),
    )


def _samples(problem: Problem, x: Array, motion: Motion, shared: int, row: Index) -> Array:
    """Differentiate samples by shared parameters and start; the samples themselves come last, (lanes, n, k)."""
    shifted = np.tile(x[:, : problem.shared], (2, max(shared, 1), 1, 1))
    for k in range(shared):
        shifted[0, k, :, k] += DIFFERENCE
        shifted[1, k, :, k] -= DIFFERENCE
    shifted = shifted.reshape(-1, problem.shared)
    slopes = corner_slopes(motion, corners_of(shifted), shared, DIFFERENCE)
    start = np.zeros((len(row), shared + STARTS, STATES))
    start[:, shared + np.arange(STARTS), np.arange(STARTS)] = 1.0
    root = np.repeat(x[:, FRICTION], problem.bounces)
    start[:, shared + STARTS - 1, STATES - 1] = root**2 + LEAST_FRICTION
    if shared:
        start[:, FRICTION, STATES - 1] = 2.0 * root * problem.starts(x)[:, :, -1].reshape(-1)
    located = motion.locate(problem.inner_time, row)
    samples = sample_slopes(motion, slopes, start, located, problem.quantity)
    return samples if problem.filter is None else problem.filter.apply(samples, row)


def _evaluate(problem: Problem, x: Array, only_starts: bool) -> Evaluation:
    count, bounces = len(x), problem.bounces
    shared = 0 if only_starts else problem.shared
    cost, pull, squares = contributions(problem, x, only_starts=only_starts)
    gradient = np.zeros((count, problem.size))
    curvature = np.zeros((count, problem.size, problem.size))
    for b in range(bounces):
        own = problem.start_slice(b)
        place = np.concatenate(
            [np.arange(shared), np.arange(own.start, own.stop), [problem.shared + int(problem.file[b])]]
        )
        gradient[:, place] += pull[:, b]
        curvature[:, place[:, None], place[None, :]] += squares[:, b]
    total = cost.sum(axis=1)
    add_knowledge(problem, x, total, gradient, curvature)
    good = np.isfinite(total)
    return Evaluation(
        np.where(good, total, np.inf), np.where(good[:, None], gradient, 0.0), np.nan_to_num(curvature)
    )


def contributions(problem: Problem, x: Array, *, only_starts: bool = False) -> tuple[Array, Array, Array]:
    """Give what each bounce of vectors (s, size) adds, without what is known beforehand.

    Cost (s, b), infinite where a motion was cut off, half its gradient (s, b, k) and its curvature (s, b, k, k) by the
    shared parameters (none with `only_starts`), the bounce's start and its file's bias.
    """
    count, bounces = len(x), problem.bounces
    shared = 0 if only_starts else problem.shared
    motion = motion_of(problem, x)
    row = np.tile(np.arange(bounces), count)
    full = _samples(problem, x, motion, shared, row)
    bias = x[:, problem.shared + problem.file].reshape(-1)
    weight = problem.weight[row]
    rest = problem.value[row] - full[:, :, -1] - bias[:, None]
    full[:, :, -1] = 1.0  # the derivative by the bias
    weighted = full * weight[:, :, None]
    columns = full.shape[2]
    squares = (weighted.transpose(0, 2, 1) @ full).reshape(count, bounces, columns, columns)
    pull = (weighted.transpose(0, 2, 1) @ rest[:, :, None])[:, :, 0].reshape(count, bounces, columns)
    cost = np.where(motion.complete, (weight * rest**2).sum(axis=1), np.inf)
    return cost.reshape(count, bounces), pull, squares


def add_knowledge(problem: Problem, x: Array, cost: Array, gradient: Array, curvature: Array) -> None:
    """Add what is known of the corner, and how far hands reach, to cost, gradient and curvature.

    x : (s, size) or wider, with further parameters between the shared ones and the biases, which are left alone.
    """
    known, shared = problem.knowledge, problem.shared
    off = known.distance(x[:, :shared])
    cost += (off**2).sum(axis=1)
    gradient[:, :shared] -= (off / known.sd) @ known.coefficients
    curvature[:, :shared, :shared] += known.curvature
    sd = problem.start_sd.reshape(-1)
    own = np.arange(x.shape[1] - STARTS * problem.bounces, x.shape[1])
    away = (x[:, own] - problem.start_centre.reshape(-1)) / sd
    cost += (away**2).sum(axis=1)
    gradient[:, own] -= away / sd
    curvature[:, own, own] += 1.0 / sd**2
