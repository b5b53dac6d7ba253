"""A corner whose damper is soft after every reversal: motion step by step, and its fit.

Takes a problem and what the fit without a dead stroke found; gives the minimum with one.

Air in the oil, or too little of it, leaves a void that the piston must close after each reversal before the damper
holds. No closed form is at hand for that, so the motion is stepped through (midpoint rule), all derivatives at once.
Only records that one line per side does not explain come here.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.families import GRAVITY
from tuner.fitting.bounce.known import centre_of
from tuner.fitting.bounce.posterior import Posterior
from tuner.fitting.bounce.problem import (
    FRICTION,
    MASS_RATIO,
    OMEGA,
    SHARED,
    STARTS,
    TYRE,
    TYRE_ZETA,
    ZETA_C,
    ZETA_R,
    Problem,
    add_knowledge,
)

FINE, COARSE = 1e-3, 2e-3  # [s]; a wheel hop of 15 Hz is followed to 0.1 % by the fine one
TURN = 0.003  # shaft speed over which friction turns round [m/s]
SOFT_C, SOFT_R, ABRUPT = range(len(SHARED), len(SHARED) + 3)
OWN = ABRUPT + 1  # shared parameters with the dead strokes
ANY_SOFT = (0.004, 1.0)  # centre [m at the wheel] and sd of the logarithm: common practice, no source
SOFTEST, LONGEST_SOFT = 2e-4, 0.05
# damping after s metres is (s/length)**abrupt of what it will be: 1 like foam, many like a clean gap
ANY_ABRUPT = (3.0, 0.8)
FOAMIEST, MOST_ABRUPT = 0.7, 20.0
BLOWN_UP = 1e100  # a try too far out, whose motion grows without end: it is given up
LENGTHS = (0.003, 0.008, 0.016)  # tried first [m at the wheel]
NO_LENGTH = 0.0005
CALM = 0.3  # root of a small friction [m/s**2]
FIRMER = (1.0, 1.6, 2.5)  # what a dead stroke hides of the damping behind it
KEPT = 3
FIRST_STEPS, LAST_STEPS, FINE_STEPS = 6, 15, 6
LONGEST_STEP = 0.5
DIFFERENCE = 1e-4
SETTLED = 0.05
EXPLAINED, EXPLAINED_MORE = 0.6, 1.3  # of the misfit without; where that needs the bounces cut short
SOFT_DOUBT = (
    0.1  # relative sd of a dead stroke: foam and a clean gap close differently; a judgement, no source
)
SHORTEST_SOFT = 0.0015  # [m at the wheel]
AVERAGED = 5  # looks at the times that were averaged into one sample


@dataclass(frozen=True, slots=True, eq=False)
class Softened:
    """The lowest place with a dead stroke on each side.

    x : (size + 3,), in the order of `Problem`, with the logarithms of both dead strokes at the wheel [m] and of how
    abrupt they end behind the shared parameters; computed : (b, n) samples above a level (b,); peak_compression,
    peak_rebound : highest shaft speed at the wheel [m/s]; misfit : variance of the residuals over the weights' own,
    1 = nothing but noise is left.
    """

    problem: Problem
    x: Array
    curvature: Array
    computed: Array
    level: Array
    peak_compression: float
    peak_rebound: float
    misfit: float

    def drawn(self, count: int = 800, seed: int = 5) -> tuple[Posterior, Array]:
        """Draw shared parameters, and the logarithms of both dead strokes (count, 2); what misfits widens them."""
        covariance = np.linalg.inv(self.curvature)[:OWN, :OWN] * max(self.misfit, 1.0) ** 2
        root = np.linalg.cholesky(0.5 * (covariance + covariance.T))
        normal = np.random.default_rng(seed).normal(size=(count, OWN))
        draws = self.x[:OWN] + normal @ root.T
        weight = np.full(count, 1.0 / count)
        lengths = draws[:, [SOFT_C, SOFT_R]] + SOFT_DOUBT * np.random.default_rng(seed + 1).normal(
            size=(count, 2)
        )
        return Posterior(draws[:, :SOFT_C], weight, float(count)), lengths

    def is_there(self, lines: float, *, whole: bool) -> bool:
        """Whether the record carries it: far more is explained, and one dead stroke is surely longer than a hair.

        lines : misfit of lines without a dead stroke; whole : they explain the bounces without cutting them.
        """
        _, lengths = self.drawn()
        shortest = np.exp(np.quantile(lengths, 0.025, axis=0))
        most = (EXPLAINED if whole else EXPLAINED_MORE) * lines
        return self.misfit < most and bool(shortest.max() > SHORTEST_SOFT)


def _acceleration(p: Array, state: Array, soft: Array) -> tuple[Array, Array]:
    """Body acceleration and compression acceleration of lanes; p (OWN, lanes) shared, state (4, lanes)."""
    w, v, u, du = state
    omega, mu, tau = p[OMEGA], p[MASS_RATIO], p[TYRE]
    gamma = 2.0 * np.where(v > 0, p[ZETA_C], p[ZETA_R]) * omega
    force = omega**2 * w + gamma * v * soft + p[FRICTION] * np.tanh(v / TURN)
    beta = 2.0 * p[TYRE_ZETA] * np.sqrt(tau * (1.0 + mu))
    ground = np.where(u < (1.0 + mu) * GRAVITY / tau, tau * u + beta * du, (1.0 + mu) * GRAVITY)
    return force, (-force - ground) / mu - force


def _held(went: Array, length: Array, abrupt: Array) -> Array:
    """How far the damper has taken hold, 0 to 1, after `went` metres since the reversal."""
    return np.asarray(np.clip(went / length, 1e-9, 1.0) ** abrupt)


def step_through(
    shared: Array, start: Array, duration: float, step: float = FINE
) -> tuple[Array, Array, Array]:
    """Follow lanes; give times (k,), body acceleration [m/s**2] and compression at the wheel [m], (k, lanes).

    shared : (lanes, OWN), as in `Softened`; start : (lanes, 5) as in `Problem`; friction is taken to turn with the
    speed. How far the shaft had already come since
    it turned is taken from its speed, as a body that was let go.
    """
    p = np.exp(shared.T)
    p[FRICTION] = shared.T[FRICTION] ** 2
    state = start.T[:4].copy()
    lanes = len(shared)
    side = np.sign(state[1])
    _, pull = _acceleration(p, state * np.array([1.0, 0.0, 1.0, 1.0])[:, None], np.zeros(lanes))
    turn = state[0] - side * 0.5 * state[1] ** 2 / np.maximum(np.abs(pull), 1.0)
    count = int(np.ceil(duration / step)) + 2
    acceleration, travel = np.empty((count, lanes)), np.empty((count, lanes))

    def pace(now: Array) -> tuple[Array, Array]:
        dead = np.where(now[1] > 0, p[SOFT_C], p[SOFT_R])
        body, shaft = _acceleration(p, now, _held(np.abs(now[0] - turn), dead, p[ABRUPT]))
        return body, np.stack([now[1], shaft, now[3], shaft + body])

    for k in range(count):
        body, slope = pace(state)
        acceleration[k], travel[k] = body, state[0]
        _, slope = pace(state + 0.5 * step * slope)
        new = state + step * slope
        turned = np.sign(new[1]) != side
        turn = np.where(turned, new[0], turn)
        side = np.where(turned, np.sign(new[1]), side)
        state = new
    return np.asarray(step * np.arange(count)), acceleration, travel


def _samples(problem: Problem, shared: Array, start: Array, row: np.ndarray, step: float) -> Array:
    """Compute samples (lanes, n) of bounces `row`, averaged as the measured ones were."""
    times, acceleration, travel = step_through(shared, start, float(problem.inner_time.max()) + 0.05, step)
    values = acceleration if problem.quantity == "acceleration" else travel
    # half the variance of the times in one sample is `blur`
    half = np.sqrt(6.0 * problem.blur)
    offsets = np.linspace(-half, half, AVERAGED) if half > 0 else np.zeros(1)
    out = np.zeros((len(row), problem.inner_time.shape[1]))
    for b in range(problem.bounces):
        mine = np.flatnonzero(row == b)
        for offset in offsets:
            place = np.clip((problem.inner_time[b] + offset) / step, 0.0, len(times) - 2.0)
            left = place.astype(np.intp)
            share = (place - left)[:, None]
            part = values[np.ix_(left, mine)] * (1.0 - share) + values[np.ix_(left + 1, mine)] * share
            out[mine] += part.T / len(offsets)
    return out if problem.filter is None else problem.filter.apply(out, row)


def _evaluate(problem: Problem, x: Array, step: float) -> tuple[Array, Array, Array]:
    """Cost (s,), half its gradient (s, size) and Gauss-Newton curvature of vectors (s, size)."""
    count, bounces = len(x), problem.bounces
    shared = OWN
    first = shared + problem.files
    starts = x[:, first:].reshape(count, bounces, STARTS)
    changes = shared + STARTS
    scale = np.concatenate([np.full(shared, DIFFERENCE), DIFFERENCE * problem.start_sd.mean(axis=0)])
    lanes_shared = np.repeat(x[:, None, None, :shared], bounces, axis=1)
    lanes_shared = np.repeat(lanes_shared, changes + 1, axis=2)
    lanes_start = np.repeat(starts[:, :, None], changes + 1, axis=2)
    for k in range(shared):
        lanes_shared[:, :, k + 1, k] += scale[k]
    for k in range(STARTS):
        lanes_start[:, :, shared + k + 1, k] += scale[shared + k]
    row = np.tile(np.repeat(np.arange(bounces), changes + 1), count)
    y = _samples(problem, lanes_shared.reshape(-1, shared), lanes_start.reshape(-1, STARTS), row, step)
    y = y.reshape(count, bounces, changes + 1, -1)
    y = np.where(np.abs(y) < BLOWN_UP, y, np.nan)
    slope = (y[:, :, 1:] - y[:, :, :1]) / scale[:, None]
    slope = np.concatenate([slope, np.ones_like(slope[:, :, :1])], axis=2)
    bias = x[:, shared + problem.file]
    rest = problem.value - y[:, :, 0] - bias[:, :, None]
    weighted = slope * problem.weight[:, None, :]
    squares = weighted @ slope.swapaxes(2, 3)
    pull = (weighted @ rest[..., None])[..., 0]
    cost = (problem.weight * rest**2).sum(axis=(1, 2))
    gradient = np.zeros((count, x.shape[1]))
    curvature = np.zeros((count, x.shape[1], x.shape[1]))
    for b in range(bounces):
        own = first + STARTS * b
        place = np.concatenate(
            [np.arange(shared), np.arange(own, own + STARTS), [shared + int(problem.file[b])]]
        )
        gradient[:, place] += pull[:, b]
        curvature[:, place[:, None], place[None, :]] += squares[:, b]
    add_knowledge(problem, x, cost, gradient, curvature)
    _add_softness(x, cost, gradient, curvature)
    good = np.isfinite(cost)
    return (
        np.where(good, cost, np.inf),
        np.where(good[:, None], gradient, 0.0),
        np.nan_to_num(curvature),
    )


def _add_softness(x: Array, cost: Array, gradient: Array, curvature: Array) -> None:
    """Add what is known of dead strokes to cost, gradient and curvature."""
    own = np.array([SOFT_C, SOFT_R, ABRUPT])
    centre = np.log([ANY_SOFT[0], ANY_SOFT[0], ANY_ABRUPT[0]])
    sd = np.array([ANY_SOFT[1], ANY_SOFT[1], ANY_ABRUPT[1]])
    away = (x[:, own] - centre) / sd
    cost += (away**2).sum(axis=1)
    gradient[:, own] -= away / sd
    curvature[:, own, own] += 1.0 / sd**2


def _descend(problem: Problem, x: Array, steps: int, step: float) -> tuple[Array, Array, Array]:
    """Levenberg-Marquardt on a batch of vectors; vectors, costs and curvatures at the end."""
    low, high = np.full(x.shape[1], -np.inf), np.full(x.shape[1], np.inf)
    below, above = problem.bounds()
    shared = problem.shared
    low[:shared], high[:shared] = below[:shared], above[:shared]
    low[SOFT_C:OWN] = np.log([SOFTEST, SOFTEST, FOAMIEST])
    high[SOFT_C:OWN] = np.log([LONGEST_SOFT, LONGEST_SOFT, MOST_ABRUPT])
    x = np.clip(x, low, high)
    cost, gradient, curvature = _evaluate(problem, x, step)
    damping = np.full(len(x), 1e-1)
    every = np.arange(x.shape[1])
    for _ in range(steps):
        matrix = curvature.copy()
        matrix[:, every, every] *= 1.0 + damping[:, None]
        move = np.linalg.solve(matrix, gradient[..., None])[..., 0]
        move[:, :OWN] = np.clip(move[:, :OWN], -LONGEST_STEP, LONGEST_STEP)
        trial = np.clip(x + move, low, high)
        there = _evaluate(problem, trial, step)
        better = there[0] < cost
        settled = np.abs(cost - there[0]) < SETTLED
        x[better] = trial[better]
        cost, gradient, curvature = (
            np.where(better.reshape(-1, *[1] * (new.ndim - 1)), new, old)
            for new, old in zip(there, (cost, gradient, curvature), strict=True)
        )
        damping = np.where(better, damping * 0.3, damping * 5.0)
        if bool((settled & better | (damping > 1e7)).all()):
            break
    return x, cost, curvature


def softened(problem: Problem, shared: Array) -> Softened:
    """Find the lowest place with dead strokes.

    problem : whole ring-downs from the release on, with weights 1/variance of the noise alone; shared : (shared,) from
    the fit without.
    """
    rows = []
    # what lines took for friction may be the dead stroke itself
    calm = shared.copy()
    calm[FRICTION] = CALM
    calm[OMEGA] = centre_of(problem.knowledge)[OMEGA]
    rest = np.concatenate([np.zeros(problem.files), problem.start_centre.reshape(-1)])
    ways = ((True, False), (False, True), (True, True))
    for first, length, firmer, sides in product((shared, calm), LENGTHS, FIRMER, ways):
        soft = np.where(sides, length, NO_LENGTH)
        row = np.concatenate([first, np.log([*soft, ANY_ABRUPT[0]]), rest])
        row[[ZETA_C, ZETA_R]] += np.log(np.where(sides, firmer, 1.0))
        rows.append(row)
    x, cost, _ = _descend(problem, np.stack(rows), FIRST_STEPS, COARSE)
    x, cost, _ = _descend(problem, x[np.argsort(cost)[:KEPT]], LAST_STEPS, COARSE)
    x, cost, curvature = _descend(problem, x[np.argsort(cost)[:1]], FINE_STEPS, FINE)
    return _summed_up(problem, x[0], curvature[0])


def _summed_up(problem: Problem, x: Array, curvature: Array) -> Softened:
    row = np.arange(problem.bounces)
    shared = np.repeat(x[None, :OWN], problem.bounces, axis=0)
    start = x[OWN + problem.files :].reshape(-1, STARTS)
    computed = _samples(problem, shared, start, row, FINE)
    _, _, travel = step_through(shared, start, float(problem.inner_time.max()))
    speed = np.diff(travel, axis=0) / FINE
    level = x[OWN + problem.file]
    rest = problem.value - computed - level[:, None]
    free = max(int((problem.weight > 0).sum()) - len(x), 1)
    misfit = float((problem.weight * rest**2).sum()) / free
    return Softened(problem, x, curvature, computed, level, float(speed.max()), float(-speed.min()), misfit)
