"""The search for the lowest of many minima: starts from the turning points of the record, then random hops.

Takes a problem and the found bounces; gives the lowest bottoms.

Dry friction makes the cost multi-modal (the number of half swings before it sticks jumps), so one start is never
enough. Coarse descents run on the strongest one or two bounces with thinned samples; the best go on with everything.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.descent import Bottom, descend, distinct
from tuner.fitting.bounce.known import centre_of
from tuner.fitting.bounce.problem import (
    FRICTION,
    OMEGA,
    TYRE,
    ZETA_C,
    ZETA_R,
    Problem,
    motion_of,
)
from tuner.fitting.bounce.smoothing import thinned
from tuner.signals.bounces import Bounce

ZETA_GRID = (0.12, 0.3, 0.7)
FRICTION_SHARES = (0.02, 0.12)  # of the first strong acceleration
FREQUENCY_FACTORS = (0.85, 1.15)
COARSE_RATE = 100.0  # [Hz]
COARSE_TIME = 2.2  # [s] of a bounce
FINE_RATE = 130.0  # [Hz] holds all that a wheel hop can carry
COARSE_STEPS, FINE_STEPS, HOP_STEPS, LAST_STEPS = 12, 8, 8, 25
KEPT = 6
HOPS = 16


def first_vectors(problem: Problem, bounces: Sequence[Bounce]) -> Array:
    """Make starting vectors (s, size) from the turning points, over a grid of ratios, friction and frequency."""
    centre = centre_of(problem.knowledge)
    rows = []
    for zeta_c in ZETA_GRID:
        for zeta_r in ZETA_GRID:
            for share in FRICTION_SHARES:
                for factor in FREQUENCY_FACTORS:
                    rows.append(_first_vector(problem, bounces, centre, zeta_c, zeta_r, share, factor))
    return np.stack(rows)


def _first_vector(
    problem: Problem,
    bounces: Sequence[Bounce],
    centre: Array,
    zeta_c: float,
    zeta_r: float,
    friction_share: float,
    factor: float,
) -> Array:
    x = np.zeros(problem.size)
    shared = centre.copy()
    shared[ZETA_C], shared[ZETA_R] = np.log(zeta_c), np.log(zeta_r)
    # one mass let go at rest: its pull is used up after arccos(zeta) / (omega sqrt(1 - zeta**2))
    strongest = max(bounces, key=lambda b: abs(b.strength))
    zeta = zeta_r if strongest.direction == "push" else zeta_c
    riding = np.arccos(zeta) / (max(strongest.quarter, 0.02) * np.sqrt(1.0 - zeta**2))
    omega = riding
    for _ in range(3):  # spring and tyre in series carry the body
        tyre = np.exp(shared[TYRE])
        omega = factor * riding * np.sqrt(1.0 + omega**2 / tyre)
    omega = float(np.clip(omega, 2.0 * np.pi * 0.6, 2.0 * np.pi * 4.5))
    shared[OMEGA] = np.log(omega)
    tyre = float(np.exp(shared[TYRE]))
    travel = problem.quantity == "travel"
    pulls = [b.strength * omega**2 if travel else b.strength for b in bounces]
    friction = max(friction_share * max(abs(p) for p in pulls), 0.01)
    shared[FRICTION] = np.sqrt(friction)
    x[: problem.shared] = shared
    for f in range(problem.files):
        ends = []
        for b in np.flatnonzero(problem.file == f).tolist():
            used = problem.value[b][problem.weight[b] > 0]
            ends.append(float(used[-max(3, len(used) // 8) :].mean()))
        x[problem.shared + f] = float(np.median(ends)) if travel else 0.0
    for b in range(problem.bounces):
        used = problem.value[b][problem.weight[b] > 0]
        early = float(used[: max(1, min(4, len(used) // 20))].mean()) - x[problem.shared + problem.file[b]]
        sign = -1.0 if bounces[b].direction == "push" else 1.0
        if travel:
            pull, w = early * omega**2, early
        else:
            pull = early
            w = (early - sign * friction) / omega**2
        start = problem.start_slice(b)
        x[start] = (w, sign * 0.05 * abs(pull) / omega, -pull / tyre, 0.0, 0.0)
    return x


def lowest(problem: Problem, bounces: Sequence[Bounce], *, seed: int = 1) -> tuple[Problem, Bottom]:
    """Find the lowest minima; gives the problem (with or without a wheel that can leave the ground) and bottoms."""
    order = sorted(range(len(bounces)), key=lambda b: -abs(bounces[b].strength))
    chosen = sorted(_contrasting(order, bounces))
    coarse = thinned(problem.of_bounces(chosen, longest=COARSE_TIME), COARSE_RATE)
    coarse_bounces = [bounces[b] for b in chosen]
    first = first_vectors(coarse, coarse_bounces)
    bottom = descend(coarse, first, COARSE_STEPS, keep=((3, 24), (7, 12))).best(KEPT)
    if _lifts(coarse, bottom.x):
        coarse = replace(coarse, may_lift=True)
        problem = replace(problem, may_lift=True)
        bottom = descend(coarse, bottom.x, COARSE_STEPS // 2).best(KEPT)
    rng = np.random.default_rng(seed)
    hopped = descend(coarse, _hops(coarse, bottom.x[0], HOPS, rng), HOP_STEPS, keep=((3, HOPS // 2),))
    bottom = distinct(Bottom.joined(bottom, hopped)).best(KEPT)
    full = np.stack([_widened(problem, coarse, x, chosen, bounces) for x in bottom.x])
    middle = thinned(problem, COARSE_RATE)
    bottom = distinct(descend(middle, full, FINE_STEPS, keep=((3, 3),)).best(3))
    return problem, bottom


def _contrasting(order: list[int], bounces: Sequence[Bounce]) -> list[int]:
    """Choose the strongest bounce, and the strongest of the other direction or else the second strongest."""
    chosen = order[:1]
    other = [b for b in order[1:] if bounces[b].direction != bounces[order[0]].direction]
    return chosen + (other[:1] or order[1:2])


def _lifts(problem: Problem, x: Array) -> bool:
    return bool(motion_of(replace(problem, may_lift=True), x).left_ground.any())


def _hops(problem: Problem, x: Array, count: int, rng: np.random.Generator) -> Array:
    hopped = np.tile(x, (count, 1))
    hopped[:, ZETA_C] += rng.normal(0.0, 0.6, count)
    hopped[:, ZETA_R] += rng.normal(0.0, 0.6, count)
    hopped[:, FRICTION] *= np.exp(rng.normal(0.0, 0.5, count))
    hopped[:, OMEGA] += rng.normal(0.0, 0.12, count)
    return hopped


def _widened(
    problem: Problem, coarse: Problem, x: Array, chosen: list[int], bounces: Sequence[Bounce]
) -> Array:
    """Carry a vector of some bounces to all of them."""
    v = np.exp(x)
    share = 1.0
    guess = _first_vector(
        problem,
        bounces,
        x[: problem.shared],
        v[ZETA_C].clip(0.02, 0.95),
        v[ZETA_R].clip(0.02, 0.95),
        0.0,
        share,
    )
    old_bias = {int(problem.file[b]): x[coarse.shared + coarse.file[k]] for k, b in enumerate(chosen)}
    guess[: problem.shared] = x[: problem.shared]
    for f, value in old_bias.items():
        guess[problem.shared + f] = value
    omega = v[OMEGA]
    for b in range(problem.bounces):
        start = problem.start_slice(b)
        if b in chosen:
            guess[start] = x[coarse.start_slice(chosen.index(b))]
        elif problem.quantity == "acceleration":
            like = x[coarse.start_slice(0)]
            own = abs(bounces[b].strength / bounces[chosen[0]].strength)
            same = bounces[b].direction == bounces[chosen[0]].direction
            guess[start] = like * own * (1.0 if same else -1.0)
        else:
            sign = -1.0 if bounces[b].direction == "push" else 1.0
            guess[start.start + 1] = sign * 0.05 * abs(guess[start.start]) * omega
    return guess
