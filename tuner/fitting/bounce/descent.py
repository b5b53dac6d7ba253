"""Many descents to many minima in step: Levenberg-Marquardt on a batch of parameter vectors.

Takes a problem and starting vectors; gives the vectors at the bottom and their costs. Uses: problem, numpy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.families import Flags
from tuner.fitting.bounce.problem import FRICTION, OMEGA, ZETA_C, ZETA_R, Evaluation, Problem, evaluate

LONGEST_STEP = 0.7  # of a logarithm, in one step
SETTLED = 0.1  # a step that lowers the cost by less ends a descent


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
        moved = _step(
            gradient[alive], curvature[alive], damping[alive], None if fixed is None else fixed[alive]
        )
        moved[:, :shared] = np.clip(moved[:, :shared], -LONGEST_STEP, LONGEST_STEP)
        trial = np.clip(x[alive] + moved, low, high)
        there: Evaluation = evaluate(problem, trial)
        gain = cost[alive] - there.cost
        better = gain > 0
        taken = alive[better]
        x[taken], cost[taken] = trial[better], there.cost[better]
        gradient[taken], curvature[taken] = there.gradient[better], there.curvature[better]
        damping[alive] = np.where(better, damping[alive] * 0.2, damping[alive] * 6.0)
        settled = (better & (gain < SETTLED) & (damping[alive] < 0.1)) | (damping[alive] > 1e8)
        alive = alive[~settled]
    return Bottom(x, cost, curvature)


def _step(gradient: Array, curvature: Array, damping: Array, fixed: Flags | None) -> Array:
    size = gradient.shape[1]
    diagonal = np.arange(size)
    scale = np.sqrt(np.maximum(curvature[:, diagonal, diagonal], 1e-12))
    matrix = curvature / (scale[:, :, None] * scale[:, None, :])
    matrix[:, diagonal, diagonal] += damping[:, None] + 1e-10
    right = gradient / scale
    if fixed is not None:
        matrix[fixed[:, :, None] | fixed[:, None, :]] = 0.0
        right = np.where(fixed, 0.0, right)
        matrix[:, diagonal, diagonal] = np.where(fixed, 1.0, matrix[:, diagonal, diagonal])
    return np.asarray(np.linalg.solve(matrix, right[:, :, None])[:, :, 0] / scale)


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
