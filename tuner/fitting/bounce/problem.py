"""The least-squares problem of a bounce: parameters, what is known of them, residuals and their derivatives.

Takes the free ring-downs and prior knowledge; gives cost, gradient and curvature of many parameter vectors at once.
Uses: families, motion, slopes, numpy.

Parameters of one vector, in this order: the shared ones (natural logarithms, `SHARED`), one bias per file, and for
every bounce its own start w, w', u, u'. The cost is the sum of squared residuals over their variance plus the squared
distance from what is known beforehand over its variance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.families import Corners, Flags, families_of
from tuner.fitting.bounce.motion import Motion, Quantity, move
from tuner.fitting.bounce.slopes import corner_slopes, sample_slopes

# omega [rad/s] of the sprung mass on its spring, handbook ratios, friction [m/s**2], unsprung over sprung mass,
# tyre rate over sprung mass [1/s**2], fraction of critical of the whole corner on its tyre; with a knee also
# its speed at the wheel [m/s] and, per side, the slope above it over the slope below
SHARED = ("omega", "zeta_c", "zeta_r", "friction", "mass_ratio", "tyre", "tyre_zeta")
KNEE = ("knee_speed", "knee_ratio_c", "knee_ratio_r")
OMEGA, ZETA_C, ZETA_R, FRICTION, MASS_RATIO, TYRE, TYRE_ZETA = range(len(SHARED))
KNEE_SPEED, KNEE_RATIO_C, KNEE_RATIO_R = range(len(SHARED), len(SHARED) + len(KNEE))
STARTS = 4  # w, w', u, u'

LOWEST = np.log([2.0 * np.pi * 0.4, 0.01, 0.01, 0.002, 0.01, 20.0, 1e-4, 0.01, 0.05, 0.05])
HIGHEST = np.log([2.0 * np.pi * 6.0, 4.0, 4.0, 6.0, 3.0, 3e5, 0.5, 3.0, 20.0, 20.0])
START_SPREAD = np.array([0.2, 2.0, 0.08, 2.0])  # 1 sd of what a hand can do, wide [m, m/s, m, m/s]
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

    def distance(self, shared: Array) -> Array:
        """Deviations in sd, (s, rows) from (s, shared)."""
        return np.asarray((shared @ self.coefficients.T - self.value) / self.sd)


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """Ring-downs padded to equal length: (b, n) time since each start, value, weight 1/variance (0 = padding)."""

    time: Array
    value: Array
    weight: Array
    file: np.ndarray  # (b,) which file each bounce belongs to
    quantity: Quantity
    knowledge: Knowledge
    may_lift: bool = False
    knee: bool = False

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
        """Starting states (s, b, 4) of parameter vectors (s, size)."""
        return x[:, self.shared + self.files :].reshape(len(x), self.bounces, STARTS)

    def of_bounces(self, chosen: list[int]) -> Problem:
        """Only these bounces, files renumbered."""
        _, file = np.unique(self.file[chosen], return_inverse=True)
        used = int((self.weight[chosen] > 0).sum(axis=1).max())
        return replace(
            self,
            time=self.time[chosen, :used],
            value=self.value[chosen, :used],
            weight=self.weight[chosen, :used],
            file=file,
        )

    def bounds(self) -> tuple[Array, Array]:
        """Lowest and highest value of every parameter."""
        low, high = np.full(self.size, -np.inf), np.full(self.size, np.inf)
        low[: self.shared], high[: self.shared] = LOWEST[: self.shared], HIGHEST[: self.shared]
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
        phi=v[:, FRICTION],
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
    families = families_of(corners_of(x[:, : problem.shared]), may_lift=problem.may_lift)
    duration = np.tile(problem.time[:, -1], count)
    return move(
        families, np.repeat(np.arange(count), bounces), problem.starts(x).reshape(-1, STARTS), duration
    )


def residuals(problem: Problem, x: Array) -> Array:
    """Measured minus computed, (s, b, n); padding included."""
    motion = motion_of(problem, x)
    row = np.tile(np.arange(problem.bounces), len(x))
    y = motion.sample(problem.time, row, problem.quantity).reshape(len(x), problem.bounces, -1)
    bias = x[:, problem.shared + problem.file]
    return np.asarray(problem.value[None] - y - bias[:, :, None])


def evaluate(problem: Problem, x: Array) -> Evaluation:
    """Cost, gradient and curvature of vectors (s, size)."""
    per_vector = problem.bounces * problem.time.shape[1] * (problem.shared + STARTS)
    block = max(1, CHUNK // per_vector)
    parts = [_evaluate(problem, x[k : k + block]) for k in range(0, len(x), block)]
    return Evaluation(
        np.concatenate([part.cost for part in parts]),
        np.concatenate([part.gradient for part in parts]),
        np.concatenate([part.curvature for part in parts]),
    )


def _evaluate(problem: Problem, x: Array) -> Evaluation:
    count, bounces, shared = len(x), problem.bounces, problem.shared
    logs = x[:, :shared]
    motion = motion_of(problem, x)
    row = np.tile(np.arange(bounces), count)
    stretch, since = motion.stretch_of(problem.time, row)
    y, grown = motion.at(stretch, since, problem.quantity)
    changed = []
    for k in range(shared):
        shifted = logs.copy()
        shifted[:, k] += DIFFERENCE
        changed.append(corners_of(shifted))
    start = np.zeros((len(row), shared + STARTS, STARTS))
    start[:, shared + np.arange(STARTS), np.arange(STARTS)] = 1.0
    slopes = corner_slopes(motion, changed, DIFFERENCE)
    jacobian = sample_slopes(motion, slopes, start, stretch, since, grown, problem.quantity)
    bias = x[:, shared + problem.file].reshape(-1)
    weight = problem.weight[row]
    rest = problem.value[row] - y - bias[:, None]
    full = np.concatenate([jacobian, np.ones((*rest.shape, 1))], axis=2)
    weighted = full * weight[:, :, None]
    squares = (weighted.transpose(0, 2, 1) @ full).reshape(count, bounces, shared + STARTS + 1, -1)
    pull = (weighted.transpose(0, 2, 1) @ rest[:, :, None])[:, :, 0].reshape(count, bounces, -1)
    cost = (weight * rest**2).reshape(count, -1).sum(axis=1)
    gradient = np.zeros((count, problem.size))
    curvature = np.zeros((count, problem.size, problem.size))
    for b in range(bounces):
        own = problem.start_slice(b)
        place = np.concatenate(
            [np.arange(shared), np.arange(own.start, own.stop), [shared + int(problem.file[b])]]
        )
        gradient[:, place] += pull[:, b]
        curvature[:, place[:, None], place[None, :]] += squares[:, b]
    known = problem.knowledge
    off = known.distance(logs)
    cost += (off**2).sum(axis=1)
    gradient[:, :shared] -= (off / known.sd) @ known.coefficients
    curvature[:, :shared, :shared] += known.curvature
    begin = problem.starts(x)
    spread = np.tile(START_SPREAD, bounces)
    cost += ((begin / START_SPREAD) ** 2).sum(axis=(1, 2))
    own_all = np.arange(shared + problem.files, problem.size)
    gradient[:, own_all] -= x[:, own_all] / spread**2
    curvature[:, own_all, own_all] += 1.0 / spread**2
    good = np.isfinite(cost) & motion.complete.reshape(count, bounces).all(axis=1)
    cost = np.where(good, cost, np.inf)
    return Evaluation(cost, np.where(good[:, None], gradient, 0.0), curvature)
