"""How well the bounces agree with each other, and noise widened until they do.

Takes a problem and its minimum; gives the problem with its weights lowered.

The model is never all there is: the body pitches, the damper is not two lines, hands let go unevenly. What it leaves
out shows as bounces that pull the shared parameters further apart than their noise explains, so bounces, not
samples, are the independent units (clustered errors: Liang & Zeger, *Biometrika* 73, 1986).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.descent import Bottom
from tuner.fitting.bounce.problem import OMEGA, STARTS, ZETA_C, ZETA_R, Problem, contributions, evaluate

NOISE_WORTH = 6.0  # bounces that the expectation "only noise" is worth; a judgement, no source
MOST = 1e4


def _pulls(problem: Problem, x: Array) -> tuple[Array, Array]:
    """Give pull (b, shared) and information (b, shared, shared) of every bounce at x (size,), starts solved for."""
    shared = problem.shared
    _, gradient, curvature = (part[0].copy() for part in contributions(problem, x[None]))
    own = np.arange(shared, shared + STARTS)
    starts = problem.starts(x[None])[0]
    gradient[:, own] -= (starts - problem.start_centre) / problem.start_sd**2
    curvature[:, own, own] += 1.0 / problem.start_sd**2
    link = np.linalg.solve(curvature[:, shared:, shared:], curvature[:, shared:, :shared])
    back = link.swapaxes(1, 2)
    return (
        gradient[:, :shared] - (back @ gradient[:, shared:, None])[:, :, 0],
        curvature[:, :shared, :shared] - curvature[:, :shared, shared:] @ link,
    )


def excess(problem: Problem, bottom: Bottom) -> float:
    """How many times the variance is that the bounces show, over the one that their noise explains; at least 1.

    Fewer than three bounces cannot tell and give 1.
    """
    if problem.bounces < 3:
        return 1.0
    pulls, information = _pulls(problem, bottom.x[0])
    inverse = np.linalg.inv(information.sum(axis=0) + problem.knowledge.curvature)
    free = problem.bounces - 1
    shifts = (pulls - pulls.mean(axis=0)) @ inverse
    seen = (shifts**2).sum(axis=0) * problem.bounces / free
    ratio = float(np.mean((seen / np.diag(inverse))[[OMEGA, ZETA_C, ZETA_R]]))
    return float(np.clip((NOISE_WORTH + free * ratio) / (NOISE_WORTH + free), 1.0, MOST))


def loosened(problem: Problem, bottom: Bottom) -> tuple[Problem, Bottom, float]:
    """Lower the weights until the bounces agree; the minima weighed anew, and by how much the variance grew."""
    factor = excess(problem, bottom)
    if factor == 1.0:
        return problem, bottom, factor
    wider = replace(problem, weight=problem.weight / factor)
    there = evaluate(wider, bottom.x)
    return wider, Bottom(bottom.x, there.cost, there.curvature), factor
