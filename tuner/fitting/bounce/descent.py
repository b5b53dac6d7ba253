"""Many descents to many minima in step: Levenberg-Marquardt on a batch of parameter vectors.

Takes a problem and starting vectors; gives the vectors at the bottom and their costs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.families import Flags
from tuner.fitting.bounce.problem import FRICTION, OMEGA, ZETA_C, ZETA_R, Evaluation, Problem, evaluate

LONGEST_STEP = 0.7  # of a logarithm, in one step
SETTLED = (
    0.1  # a step that lowers the cost by less, or is not even expected to lower it by more, ends a descent
)
WALLED = 100.0  # damping at which a descent ends: no step of any length goes down
MOST_STOPS = 6  # rounds in which parts of a step reach their limit


@dataclass(frozen=True, slots=True, eq=False)
class Bottom:
    """Where descents ended: vectors (s, size), cost (s,), curvature (s, size, size)."""

    x: Array
    cost: Array
    curvature: Array

    def best(self, count: int = 1) -> Bottom:
        """Give the `count` lowest ones, lowest first."""
        order = np.argsort(self.cost)[:count]
        return Bottom(self.x[order], self.cost[order], self.curvature[order])

    @staticmethod
    def joined(*parts: Bottom) -> Bottom:
        """All of them in one."""
        return Bottom(
            np.concatenate([p.x for p in parts]),
            np.concatenate([p.cost for p in parts]),
            np.concatenate([p.curvature for p in parts]),
        )


def descend(
    problem: Problem,
    x: Array,
    steps: int,
    *,
    fixed: Flags | None = None,
    keep: tuple[tuple[int, int], ...] = (),
) -> Bottom:
    """Walk every vector (s, size) downhill, at most `steps` steps.

    fixed : (s, size) True where a parameter must not move. keep : (after step, how many) pairs: only the best so many
    go on after that step.
    """
    low, high = problem.bounds()
    x = np.clip(x, low, high)
    now = evaluate(problem, x)
    cost, gradient, curvature = now.cost.copy(), now.gradient.copy(), now.curvature.copy()
    damping = np.full(len(x), 1e-2)
    alive = np.flatnonzero(np.isfinite(cost))
    shared = problem.shared
    keeping = dict(keep)
    for step in range(steps):
        if step in keeping and len(alive) > keeping[step]:
            alive = alive[np.argsort(cost[alive])[: keeping[step]]]
        if alive.size == 0:
            break
        least, most = low - x[alive], high - x[alive]
        least[:, :shared] = np.maximum(least[:, :shared], -LONGEST_STEP)
        most[:, :shared] = np.minimum(most[:, :shared], LONGEST_STEP)
        if fixed is not None:
            least[fixed[alive]] = most[fixed[alive]] = 0.0
        moved = _step(gradient[alive], curvature[alive], damping[alive], least, most)
        hoped = (moved * (2.0 * gradient[alive] - (curvature[alive] @ moved[:, :, None])[:, :, 0])).sum(
            axis=1
        )
        trial = np.clip(x[alive] + moved, low, high)
        there: Evaluation = evaluate(problem, trial)
        gain = cost[alive] - there.cost
        better = gain > 0
        taken = alive[better]
        x[taken], cost[taken] = trial[better], there.cost[better]
        gradient[taken], curvature[taken] = there.gradient[better], there.curvature[better]
        # a hardly damped step that was to gain little, or gained little, has come to the bottom
        little = np.where(better, gain, hoped) < SETTLED
        settled = little & (damping[alive] < 0.5)
        damping[alive] = np.where(better, damping[alive] * 0.2, damping[alive] * 6.0)
        alive = alive[~settled & (damping[alive] < WALLED)]
    return Bottom(x, cost, curvature)


def _step(gradient: Array, curvature: Array, damping: Array, least: Array, most: Array) -> Array:
    """Damped step (s, size) within `least` and `most` (s, size).

    What would go too far stops at its limit, and the others are solved for anew beside it (projected Newton: Bertsekas,
    *SIAM Journal on Control and Optimization* 20, 1982); cutting it off alone would misplace the others.
    """
    diagonal = np.arange(gradient.shape[1])
    scale = np.sqrt(np.maximum(curvature[:, diagonal, diagonal], 1e-12))
    matrix = curvature / (scale[:, :, None] * scale[:, None, :])
    matrix[:, diagonal, diagonal] += damping[:, None] + 1e-10
    right, least, most = gradient / scale, least * scale, most * scale
    stopped = least == most
    step = np.zeros_like(right)
    rows = np.arange(len(right))
    for _ in range(MOST_STOPS):
        held, kept = stopped[rows], np.where(stopped[rows], step[rows], 0.0)
        part = matrix[rows]
        side = np.where(held, kept, right[rows] - (part @ kept[:, :, None])[:, :, 0])
        part[held[:, :, None] | held[:, None, :]] = 0.0
        part[:, diagonal, diagonal] += held
        wanted = np.linalg.solve(part, side[:, :, None])[:, :, 0]
        step[rows] = np.clip(wanted, least[rows], most[rows])
        beyond = step[rows] != wanted
        stopped[rows] |= beyond
        rows = rows[beyond.any(axis=1)]
        if rows.size == 0:
            break
    return np.asarray(step / scale)


def distinct(bottom: Bottom) -> Bottom:
    """Leave out bottoms that lie in the same place as a lower one."""
    bottom = bottom.best(len(bottom.cost))
    place = np.abs(bottom.x[:, [OMEGA, ZETA_C, ZETA_R, FRICTION]])
    kept: list[int] = []
    for i in range(len(bottom.cost)):
        near = [np.abs(place[i] - place[k]).max() < 0.02 for k in kept]
        if np.isfinite(bottom.cost[i]) and not any(near):
            kept.append(i)
    return Bottom(bottom.x[kept], bottom.cost[kept], bottom.curvature[kept])
