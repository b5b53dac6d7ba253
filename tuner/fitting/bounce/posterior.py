"""What the record leaves open: draws of the shared parameters, weighted by how well each explains the record.

Takes a problem and its lowest minima; gives weighted draws.

Intervals from the curvature at one minimum lie when there are several minima, or when a side is hardly seen. So the
shared parameters are drawn widely around all minima, the starts and biases are solved for under each draw (they are
nearly linear), and every draw gets the weight of its posterior density over its drawing density. Later rounds draw
around what the earlier ones found (adaptive multiple importance sampling: Cornuet, Marin, Mira & Robert,
*Scandinavian Journal of Statistics* 39, 2012, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuner.estimates import NORMAL_95, Array
from tuner.fitting.bounce.descent import Bottom, descend, distinct
from tuner.fitting.bounce.problem import FRICTION, ZETA_C, ZETA_R, Problem, evaluate

TAILS = 5.0  # degrees of freedom of the drawing density
FIRST_DRAWS, MORE_DRAWS = 160, 224
WIDENED = 1.25  # the first draws stray further than the curvature says
MOST_ROUNDS = 4
ENOUGH = 80.0  # effective draws
FEW = 15.0  # with fewer the descents go on from the weightiest draws
RESUMED = 6
LEAST = 40.0  # with fewer the weights are flattened
ANCHORS = (-2.4, -1.2, 1.2, 2.4)  # standard deviations away
ANCHOR_STEPS = 5
WIDEST = 0.8
FARTHEST = 16.0  # above the lowest cost
SOFTENED = 0.7  # power of the guessed shares of the first draws
NARROW = 20
MOST_TRIED = 16  # draws for one within the bounds
UNSOLVED = 1.0  # a start that can still lower the cost by more is solved once more


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Weighted draws: shared (n, shared) logarithms, weight (n,) sums to 1; effective number of draws."""

    shared: Array
    weight: Array
    effective: float

    def quantiles(self, values: Array, shares: Array) -> Array:
        """Quantiles of `values` (n,) that belong to the draws."""
        order = np.argsort(values)
        middle = np.cumsum(self.weight[order]) - 0.5 * self.weight[order]
        return np.asarray(np.interp(shares, middle, values[order]))

    def interval(self, values: Array) -> tuple[float, float, float]:
        """Low, middle and high of the central 95 % of `values` (n,).

        A few hundred weighted draws make the outer quantiles ragged: where mean and spread tell nearly the same, the
        bounds are the mean of both ways.
        """
        low, middle, high = (float(q) for q in self.quantiles(values, np.array([0.025, 0.5, 0.975])))
        mean = float(self.weight @ values)
        sd = float(np.sqrt(self.weight @ (values - mean) ** 2))
        smooth = (mean - NORMAL_95 * sd, mean + NORMAL_95 * sd)
        bounds = []
        for ragged, even in zip((low, high), smooth, strict=True):
            alike = abs(ragged - even) < 0.35 * NORMAL_95 * sd
            bounds.append(0.5 * (ragged + even) if alike else ragged)
        return min(bounds[0], middle), middle, max(bounds[1], middle)


def _marginal(problem: Problem, shared: Array, rest: Array) -> tuple[Array, Array]:
    """Log posterior density of shared parameters (n, shared), starts and biases solved for; the solved ones.

    rest : (n, size - shared) first guess of the starts and biases.
    """
    first = problem.shared
    x = np.concatenate([shared, rest], axis=1)
    solved = x.copy()
    density = np.full(len(x), -np.inf)
    todo = np.arange(len(x))
    for attempt in range(3):
        there = evaluate(problem, x[todo], only_starts=True)
        curvature = there.curvature[:, first:, first:]
        gradient = there.gradient[:, first:]
        step = np.linalg.solve(curvature, gradient[:, :, None])[:, :, 0]
        drop = (gradient * step).sum(axis=1)
        _, size = np.linalg.slogdet(curvature)
        value = -0.5 * (there.cost - drop) - 0.5 * size
        if attempt:  # a predicted gain that did not come true is not believed
            value = np.where(drop > UNSOLVED, -0.5 * there.cost - 0.5 * size, value)
        density[todo] = np.where(np.isfinite(there.cost), value, -np.inf)
        solved[todo, first:] = x[todo, first:] + step
        todo = todo[(drop > UNSOLVED) & np.isfinite(there.cost)]
        if todo.size == 0 or attempt == 2:
            break
        x[todo] = solved[todo]
    return density, solved[:, first:]


def _positive(covariance: Array) -> Array:
    """Covariances (m, d, d) with the negative spreads that rounding leaves in a nearly flat direction lifted."""
    spread, axes = np.linalg.eigh(0.5 * (covariance + covariance.swapaxes(-1, -2)))
    spread = np.maximum(spread, 1e-9 * np.maximum(spread[:, -1:], 1.0))
    return np.asarray((axes * spread[:, None, :]) @ axes.swapaxes(-1, -2), dtype=float)


@dataclass(frozen=True, slots=True, eq=False)
class _Drawer:
    """A mixture of Student densities, all (m, ...)."""

    centre: Array
    root: Array  # Cholesky factors
    share: Array

    @classmethod
    def of(cls, centre: Array, covariance: Array, share: Array) -> _Drawer:
        root = np.asarray(np.linalg.cholesky(_positive(covariance)), dtype=float)
        return cls(centre, root, share / share.sum())

    def joined(self, other: _Drawer) -> _Drawer:
        """Draw from both alike."""
        return _Drawer(
            np.concatenate([self.centre, other.centre]),
            np.concatenate([self.root, other.root]),
            0.5 * np.concatenate([self.share, other.share]),
        )

    def draw(self, count: int, rng: np.random.Generator) -> Array:
        size = self.centre.shape[1]
        which = rng.choice(len(self.share), count, p=self.share)
        normal = rng.normal(size=(count, size))
        stretch = np.sqrt(TAILS / rng.chisquare(TAILS, count))
        points = self.centre[which] + stretch[:, None] * (self.root[which] @ normal[:, :, None])[:, :, 0]
        points[:, FRICTION] = np.abs(points[:, FRICTION])  # either sign is the same friction
        return np.asarray(points)

    def density(self, points: Array) -> Array:
        """Density at points (n, d), up to a factor that all drawers share."""
        mirrored = points.copy()
        mirrored[:, FRICTION] *= -1.0
        return self._one_sided(points) + self._one_sided(mirrored)

    def _one_sided(self, points: Array) -> Array:
        size = self.centre.shape[1]
        total = np.zeros(len(points))
        for centre, root, share in zip(self.centre, self.root, self.share, strict=True):
            off = np.linalg.solve(root, (points - centre).T)
            scale = np.log(np.diag(root)).sum()
            kernel = -0.5 * (TAILS + size) * np.log1p((off**2).sum(axis=0) / TAILS) - scale
            total += share * np.exp(kernel)
        return total


@dataclass(frozen=True, slots=True, eq=False)
class _Anchors:
    """Places to draw around: vectors, their covariances of the shared parameters, how starts follow these."""

    bottom: Bottom
    covariance: Array
    links: tuple[Array, ...]

    @classmethod
    def of(cls, bottom: Bottom, shared: int) -> _Anchors:
        folded = _folded(bottom)
        covariance = np.asarray(np.linalg.inv(folded.curvature)[:, :shared, :shared], dtype=float)
        links = tuple(np.linalg.solve(c[shared:, shared:], c[shared:, :shared]) for c in folded.curvature)
        return cls(folded, covariance, links)

    def drawer(self, widened: float) -> _Drawer:
        """Draw around all of them, the lower ones more often; softened, since their shares are guesses."""
        shared = self.covariance.shape[1]
        _, size = np.linalg.slogdet(self.covariance)
        share = -0.5 * self.bottom.cost + 0.5 * np.clip(size - size[0], -6.0, 6.0)
        share = np.exp(np.maximum(SOFTENED * (share - share.max()), -6.0))
        return _Drawer.of(self.bottom.x[:, :shared], widened**2 * self.covariance, share)

    def starts(self, drawn: Array) -> Array:
        """Guess starts and biases under drawn shared parameters (n, shared), from the nearest place."""
        shared = drawn.shape[1]
        near = _nearest(drawn, self.bottom, self.covariance)
        rest = np.empty((len(drawn), self.bottom.x.shape[1] - shared))
        for k, link in enumerate(self.links):
            mine = near == k
            off = drawn[mine] - self.bottom.x[k, :shared]
            rest[mine] = self.bottom.x[k, shared:] - off @ link.T
        return rest


def explore(problem: Problem, bottom: Bottom, *, seed: int = 2) -> Posterior:
    """Draw until enough draws count; `bottom` holds the lowest minima of `problem`, lowest first."""
    rng = np.random.default_rng(seed)
    shared = problem.shared
    low, high = (bound[:shared] for bound in problem.bounds())
    anchors = _Anchors.of(_anchored(problem, bottom), shared)
    drawer = anchors.drawer(WIDENED)
    drawers: list[tuple[_Drawer, int]] = []
    points, densities, solved = np.zeros((0, shared)), np.zeros(0), np.zeros((0, problem.size - shared))
    posterior = Posterior(points, densities, 0.0)
    for round_ in range(MOST_ROUNDS):
        count = FIRST_DRAWS if round_ == 0 else MORE_DRAWS
        drawn, tried = _within(drawer, low, high, count, rng)
        density, starts = _marginal(problem, drawn, anchors.starts(drawn))
        points = np.concatenate([points, drawn])
        densities = np.concatenate([densities, density + problem.knowledge.shape(drawn)])
        solved = np.concatenate([solved, starts])
        drawers.append((drawer, tried))
        posterior = _weighed(points, densities, drawers)
        if posterior.effective > ENOUGH and round_ > 0:
            break
        drawer = _adapted(posterior, anchors.covariance[0], rng)
        if posterior.effective < FEW and round_ < MOST_ROUNDS - 1:
            # the draws found better places than the descents did: descend from there and draw around these too
            best = np.argsort(-posterior.weight)[:RESUMED]
            there = descend(problem, np.concatenate([points[best], solved[best]], axis=1), ANCHOR_STEPS)
            anchors = _Anchors.of(distinct(Bottom.joined(there, anchors.bottom)), shared)
            drawer = drawer.joined(anchors.drawer(1.0))
    return _tempered(posterior)


def _within(
    drawer: _Drawer, low: Array, high: Array, count: int, rng: np.random.Generator
) -> tuple[Array, int]:
    """Take `count` draws within the bounds, and say how many were drawn for them; fewer where hardly any lie within."""
    drawn = drawer.draw(MOST_TRIED * count, rng)
    within = np.flatnonzero(((drawn >= low) & (drawn <= high)).all(axis=1))[:count]
    if within.size == 0:  # so far out that only the nearest place within tells anything
        return np.clip(drawn[:count], low, high), len(drawn)
    return drawn[within], int(within[-1]) + 1 if len(within) == count else len(drawn)


def _tempered(posterior: Posterior) -> Posterior:
    """Flatten the weights until `LEAST` draws count: a few heavy draws would make an interval that looks sure."""
    weight, effective = posterior.weight, posterior.effective
    if effective >= LEAST:
        return posterior
    low, high = 0.0, 1.0
    for _ in range(40):
        power = 0.5 * (low + high)
        weight = np.where(posterior.weight > 0, posterior.weight**power, 0.0)
        weight = weight / weight.sum()
        effective = float(1.0 / (weight**2).sum())
        low, high = (power, high) if effective > LEAST else (low, power)
    return Posterior(posterior.shared, weight, effective)


def _anchored(problem: Problem, bottom: Bottom) -> Bottom:
    """Add to the minima the lowest places with one parameter held away from the lowest one: the ridges."""
    x = bottom.x[0]
    sd = np.sqrt(np.diag(np.linalg.inv(bottom.curvature[0])))
    low, high = problem.bounds()
    rows, held = [], []
    for place in (ZETA_C, ZETA_R, FRICTION):
        for shift in ANCHORS:
            row = x.copy()
            row[place] = np.clip(x[place] + shift * min(sd[place], WIDEST), low[place], high[place])
            rows.append(row)
            held.append(np.arange(problem.size) == place)
    there = descend(problem, np.stack(rows), ANCHOR_STEPS, fixed=np.stack(held))
    kept = there.cost < bottom.cost[0] + FARTHEST
    return Bottom.joined(bottom, Bottom(there.x[kept], there.cost[kept], there.curvature[kept]))


def _folded(bottom: Bottom) -> Bottom:
    """Give the same minima with the root of the friction positive."""
    sign = np.ones_like(bottom.x)
    sign[:, FRICTION] = np.where(bottom.x[:, FRICTION] < 0, -1.0, 1.0)
    return Bottom(bottom.x * sign, bottom.cost, bottom.curvature * sign[:, :, None] * sign[:, None, :])


def _nearest(points: Array, bottom: Bottom, covariance: Array) -> np.ndarray:
    """Which minimum each point lies nearest to, in its own curvature."""
    distance = []
    for k in range(len(bottom.cost)):
        off = points - bottom.x[k, : points.shape[1]]
        distance.append((off * np.linalg.solve(covariance[k], off.T).T).sum(axis=1))
    return np.asarray(np.argmin(distance, axis=0))


def _weighed(points: Array, densities: Array, drawers: list[tuple[_Drawer, int]]) -> Posterior:
    total = sum(count for _, count in drawers)
    mixed = sum((count / total * drawer.density(points) for drawer, count in drawers), np.zeros(len(points)))
    log_weight = densities - np.log(np.maximum(mixed, 1e-300))
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    return Posterior(points, weight, float(1.0 / (weight**2).sum()))


def _adapted(posterior: Posterior, covariance: Array, rng: np.random.Generator) -> _Drawer:
    """Give a drawer around what was found: one broad, and narrow ones on weighty draws."""
    points = posterior.shared
    # temper the weights until enough draws carry the new shape
    weight = posterior.weight
    for _ in range(20):
        if 1.0 / (weight**2).sum() >= 3.0 * points.shape[1]:
            break
        weight = np.sqrt(weight)
        weight /= weight.sum()
    mean = weight @ points
    off = points - mean
    spread = (weight[:, None] * off).T @ off + 1e-3 * covariance
    tempered = np.sqrt(posterior.weight)
    chosen = rng.choice(len(points), NARROW, p=tempered / tempered.sum())
    narrow = 0.3 * spread + 0.02 * covariance
    centre = np.concatenate([mean[None], points[chosen]])
    shapes = np.concatenate([1.15**2 * spread[None], np.repeat(narrow[None], NARROW, axis=0)])
    share = np.concatenate([[0.4], np.full(NARROW, 0.6 / NARROW)])
    return _Drawer.of(centre, shapes, share)
