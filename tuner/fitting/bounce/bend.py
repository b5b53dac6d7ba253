"""Does the damping change with speed: a knee in both lines, allowed only when the record carries it.

Takes a problem and its lowest minimum; gives the problem and minimum with a knee, or None.

First a cheap question: by how much would the cost fall if the slopes above a trial speed were free? Only a clear answer
is followed by descents, and the knee stays only if it earns its three parameters by a wide margin (the corrected Akaike
criterion asks for about 6; searching for its speed costs more).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tuner.fitting.bounce.descent import Bottom, descend
from tuner.fitting.bounce.problem import (
    KNEE_RATIO_C,
    KNEE_RATIO_R,
    KNEE_SPEED,
    SHARED,
    Knowledge,
    Problem,
    evaluate,
)

TRIAL_SPEEDS = (0.08, 0.15, 0.3, 0.6)  # at the wheel [m/s]
MARGIN = 16.0  # cost that a knee must save
STEPS = 20


def with_knee(problem: Problem, bottom: Bottom, knowledge: Knowledge) -> tuple[Problem, Bottom] | None:
    """Give the problem with a knee and its minimum if the record asks for one; `knowledge` includes the knee."""
    bent = replace(problem, knee=True, knowledge=knowledge)
    extra = bent.shared - problem.shared
    rows = []
    for speed in TRIAL_SPEEDS:
        knee = np.zeros(extra)
        knee[KNEE_SPEED - len(SHARED)] = np.log(speed)
        rows.append(np.concatenate([bottom.x[0, : problem.shared], knee, bottom.x[0, problem.shared :]]))
    x = np.stack(rows)
    there = evaluate(bent, x)
    free = np.ones(bent.size, dtype=bool)
    free[KNEE_SPEED] = False
    gain = np.array(
        [
            g[free] @ np.linalg.solve(c[np.ix_(free, free)], g[free])
            for g, c in zip(there.gradient, there.curvature, strict=True)
        ]
    )
    if gain.max() < MARGIN:
        return None
    promising = np.argsort(-gain)[:2]
    starts = []
    for k in promising:
        step = np.linalg.solve(there.curvature[k][np.ix_(free, free)], there.gradient[k][free])
        row = x[k].copy()
        row[free] += np.clip(step, -0.5, 0.5)
        starts += [row, x[k]]
    held = np.zeros((len(starts), bent.size), dtype=bool)
    held[:, KNEE_SPEED] = True
    first = descend(bent, np.stack(starts), STEPS // 2, fixed=held)
    lowest = descend(bent, first.best(2).x, STEPS).best()
    before = float(bottom.cost[0])
    if not before - lowest.cost[0] > MARGIN:
        return None
    ratios = lowest.x[0, [KNEE_RATIO_C, KNEE_RATIO_R]]
    return (bent, lowest) if np.abs(ratios).max() > 0.1 else None
