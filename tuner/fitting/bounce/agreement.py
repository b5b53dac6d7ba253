"""How well the bounces agree with each other, and noise widened until they do.

Takes a problem and its minimum; gives the problem with its weights lowered. Uses: descent, problem, numpy.

The model is never all there is: the body pitches, the damper is not two lines, hands let go unevenly. What it leaves
out shows as bounces that pull the shared parameters further apart than their noise explains, so bounces, not
samples, are the independent units (clustered errors: Liang & Zeger, *Biometrika* 73, 1986).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.descent import Bottom
from tuner.fitting.bounce.problem import OMEGA, ZETA_C, ZETA_R, Filter, Problem, evaluate

NOISE_WORTH = 6.0  # bounces that the expectation "only noise" is worth; a judgement, no source
MOST = 1e4


def _one(problem: Problem, bounce: int) -> Problem:
    """Take one bounce with its filter."""
    part = problem.of_bounces([bounce])
    if problem.filter is None:
        return part
    used = part.time.shape[1]
    own = Filter(problem.filter.time[[bounce]], problem.filter.matrix[[bounce]][:, :used])
    return replace(part, filter=own)


def _pull(problem: Problem, bounce: int, x: Array) -> tuple[Array, Array]:
    """Give pull (shared,) and information (shared, shared) of one bounce on the shared parameters, start solved for."""
    shared = problem.shared
    bias = shared + int(problem.file[bounce])
    own = np.concatenate([x[:shared], x[bias : bias + 1], x[problem.start_slice(bounce)]])
    there = evaluate(_one(problem, bounce), own[None])
    known = problem.knowledge
    gradient, curvature = there.gradient[0].copy(), there.curvature[0].copy()
    gradient[:shared] += (known.distance(own[None, :shared])[0] / known.sd) @ known.coefficients
    curvature[:shared, :shared] -= known.curvature
    link = np.linalg.solve(curvature[shared:, shared:], curvature[shared:, :shared])
    return (
        np.asarray(gradient[:shared] - link.T @ gradient[shared:]),
        np.asarray(curvature[:shared, :shared] - curvature[:shared, shared:] @ link),
    )


def excess(problem: Problem, bottom: Bottom) -> float:
    """How many times the variance is that the bounces show, over the one that their noise explains; at least 1.

    Fewer than three bounces cannot tell and give 1.
    """
    if problem.bounces < 3:
        return 1.0
    pairs = [_pull(problem, b, bottom.x[0]) for b in range(problem.bounces)]
    pulls = np.stack([pull for pull, _ in pairs])
    inverse = np.linalg.inv(sum(information for _, information in pairs) + problem.knowledge.curvature)
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
