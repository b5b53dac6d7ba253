"""How a motion changes with its corner and its start: derivatives carried from event to event.

Takes a motion; gives the derivative of every sample with respect to every parameter.

Inside a stretch the derivative is that of the closed form; at an event its instant moves too, and the next stretch
starts from the state there (the jump condition of piecewise smooth systems; Leine & Nijmeijer, *Dynamics and
Bifurcations of Non-Smooth Mechanical Systems*, from memory).
"""

from __future__ import annotations

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.exponentials import Complex, real_product
from tuner.fitting.bounce.families import GRAVITY, STATES, Corners, Index, Shapes, nearby, no_slopes
from tuner.fitting.bounce.motion import Located, Motion, Quantity
from tuner.fitting.bounce.stretches import HEIGHT, HOLD, NOTHING, SPEED, WHEEL_SPEED

# what of the state reaches a border at an event: nothing, the speed below or above, friction out or in, the ground
PLACES = np.array([SPEED, SPEED, SPEED, HOLD, HOLD, HEIGHT])


def corner_slopes(motion: Motion, changed: Corners, count: int, step: float) -> Shapes | None:
    """Differentiate the shapes by `count` parameters, each array (f, count, ...); None for no parameter.

    changed : as `families.nearby` wants them, all parameters up by `step`, then all down by it.
    """
    return None if count == 0 else nearby(motion.families, changed, count, step)


def sample_slopes(
    motion: Motion, slopes: Shapes | None, start: Array, located: Located, quantity: Quantity
) -> Array:
    """Differentiate the samples, (lanes, n, parameters + 1), the last of which are the samples themselves.

    slopes : derivatives of the shapes for the first parameters; start : (lanes, parameters, 5) derivative of the
    starting state for all parameters (the remaining ones change only the start). located : from `Motion.locate`.
    """
    s = motion.families.shapes
    d = no_slopes(s) if slopes is None else slopes
    lanes, count = start.shape[:2]
    shared, stretches = d.rate.shape[1], motion.begin.shape[1]
    fam = motion.family.reshape(-1)
    a, x = motion.amplitude.reshape(len(fam), -1), motion.state.reshape(len(fam), STATES)
    offset = x.copy()
    offset[:, 0] -= s.centre[fam]
    by_solve = np.einsum("mi,mkij->mkj", offset, d.solve[fam])
    carried, added, late, later = (
        value.reshape(lanes, stretches, *value.shape[1:])
        for value in _passed_on(motion, d, fam, a, x, by_solve)
    )
    moved = np.empty(
        (lanes, stretches, count, STATES)
    )  # derivative of the state at the beginning of each stretch
    delay = np.zeros((lanes, stretches, count))  # and of the instant at which it begins
    moved[:, 0] = start
    for r in range(stretches - 1):
        moved[:, r + 1] = moved[:, r] @ carried[:, r]
        moved[:, r + 1, :shared] += added[:, r]
        delay[:, r + 1] = delay[:, r] + (moved[:, r] @ late[:, r, :, None])[:, :, 0]
        delay[:, r + 1, :shared] += later[:, r]
    change = moved.reshape(-1, count, STATES)
    change[:, :shared, 0] -= d.centre[fam]
    by_start = change @ s.solve[fam]
    by_start[:, :shared] += by_solve
    shown, level = motion.shown(quantity)
    weight, d_weight = (s.out, d.out) if quantity == "acceleration" else (s.shown, d.shown)
    steady = weight[fam, None] * by_start - (s.rate[fam, None] * shown) * delay.reshape(-1, count, 1)
    steady[:, :shared] += d_weight[fam] * a[:, None]
    besides = np.zeros((len(fam), count + 1))
    besides[:, count:] = level
    if quantity == "travel":
        besides[:, :shared] = d.centre[fam]
    return motion.added_up(located, np.concatenate([steady, shown], axis=1), besides, d.rate[fam] * shown)


def _passed_on(
    motion: Motion, d: Shapes, fam: Index, a: Complex, x: Array, by_solve: Complex
) -> tuple[Array, Array, Array, Array]:
    """How derivatives dx of the state at the beginning of a stretch pass on to the next, for all stretches (m,).

    The next state changes by dx carried + added, the instant by dx late + later: carried (m, 5, 5), added
    (m, shared, 5), late (m, 5), later (m, shared).
    """
    f, s, shared = motion.families, motion.families.shapes, d.rate.shape[1]
    kind, t = motion.kind.reshape(-1), motion.lasts.reshape(-1)
    t = np.where(np.isfinite(t), t, 0.0)
    rate, state, solve, air = s.rate[fam], s.state[fam], s.solve[fam], f.air[fam]
    grown = np.exp(rate * t[:, None])
    ae = a * grown
    # at the old instant
    carried = real_product(solve, state * grown[:, None], f.pairs)
    own = d.state[fam]
    added = (own.reshape(len(fam), shared * STATES, a.shape[1]) @ ae[:, :, None]).real.reshape(
        len(fam), shared, STATES
    )
    added += real_product(
        by_solve * grown[:, None] + d.rate[fam] * (ae * t[:, None])[:, None], state, f.pairs
    )
    pace = real_product(state, (ae * rate)[:, None], f.pairs)[:, :, 0]
    if air.any():
        now, flown = np.flatnonzero(air), t[air, None]
        wheel = state[now, HEIGHT : WHEEL_SPEED + 1]
        free = np.eye(STATES)[:, HEIGHT : WHEEL_SPEED + 1] - real_product(solve[now], wheel, f.pairs)
        carried[now, :, HEIGHT] += free[:, :, 0] + free[:, :, 1] * flown
        carried[now, :, WHEEL_SPEED] += free[:, :, 1]
        changed = real_product(by_solve[now], wheel, f.pairs)
        changed += np.einsum("mkcj,mj->mkc", own[now, :, HEIGHT : WHEEL_SPEED + 1], a[now]).real
        added[now, :, HEIGHT] -= changed[:, :, 0] + changed[:, :, 1] * flown
        added[now, :, WHEEL_SPEED] -= changed[:, :, 1]
        drift = x[now, WHEEL_SPEED] - real_product(wheel[:, 1:], a[now, None], f.pairs)[:, 0, 0]
        pace[now, HEIGHT] += drift - GRAVITY * t[now]
        pace[now, WHEEL_SPEED] -= GRAVITY
    added -= d.centre[fam][:, :, None] * carried[:, None, 0]
    added[:, :, 0] += d.centre[fam]
    added[:, :, HOLD] += d.slip[fam]
    # and how the instant of the event moves
    place = PLACES[kind]
    every = np.arange(len(fam))
    borders = np.stack([np.zeros_like(d.low), d.low, d.high, -d.limit, d.limit, d.lift])
    speed = pace[every, place]
    steep = (kind != NOTHING) & (np.abs(speed) > 1e-9)
    inverse = np.where(steep, 1.0 / np.where(steep, speed, 1.0), 0.0)
    late = -carried[every, :, place] * inverse[:, None]
    later = (borders[kind, fam] - added[every, :, place]) * inverse[:, None]
    carried += late[:, :, None] * pace[:, None]
    added += later[:, :, None] * pace[:, None]
    return carried, added, late, later
