"""How a motion changes with its corner and its start: derivatives carried from event to event.

Takes a motion; gives the derivative of every sample with respect to every parameter.
Uses: families, motion, stretches, numpy.

Inside a stretch the derivative is that of the closed form; at an event its instant moves too, and the next stretch
starts from the state there (the jump condition of piecewise smooth systems; Leine & Nijmeijer, *Dynamics and
Bifurcations of Non-Smooth Mechanical Systems*, from memory).
"""

from __future__ import annotations

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.families import GRAVITY, Complex, Corners, Flags, Shapes, nearby, no_slopes
from tuner.fitting.bounce.motion import Located, Motion, Quantity
from tuner.fitting.bounce.stretches import ABOVE, GROUND, NOTHING, SLIPS_IN, SLIPS_OUT


def corner_slopes(motion: Motion, changed: Corners, count: int, step: float) -> Shapes | None:
    """Differentiate the shapes by `count` parameters, each array (f, count, ...); None for no parameter.

    changed : as `families.nearby` wants them, all parameters up by `step`, then all down by it.
    """
    return None if count == 0 else nearby(motion.families, changed, count, step)


def sample_slopes(
    motion: Motion,
    slopes: Shapes | None,
    start: Array,
    located: Located,
    grown: Complex,
    quantity: Quantity,
) -> Array:
    """Differentiate the samples, (lanes, n, parameters).

    slopes : derivatives of the shapes for the first parameters; start : (lanes, parameters, 5) derivative of the
    starting state for all parameters (the remaining ones change only the start). located, grown : from
    `Motion.locate` and `Motion.at`.
    """
    f = motion.families
    s = f.shapes
    lanes, count = start.shape[:2]
    shared = 0 if slopes is None else slopes.rate.shape[1]
    stretch, since = located.stretch, located.since
    stretches = motion.begin.shape[1]
    width = s.rate.shape[1]
    steady = np.zeros((lanes, stretches, count, width), dtype=complex)
    rising = np.zeros((lanes, stretches, shared, width), dtype=complex)
    resting = np.zeros((lanes, stretches, count))

    d = slopes if slopes is not None else no_slopes(s)
    d_weight = d.out if quantity == "acceleration" else d.shown
    weight = s.out if quantity == "acceleration" else s.shown
    moved = start.copy()  # derivative of the state at the beginning of the stretch
    delay = np.zeros((lanes, count))  # derivative of the instant at which the stretch begins
    for r in range(stretches):
        rows = np.flatnonzero(np.isfinite(motion.begin[:, r]))
        fam = motion.family[rows, r]
        air = f.air[fam]
        a, x, t = motion.amplitude[rows, r], motion.state[rows, r], motion.lasts[rows, r]
        rate, q = s.rate[fam], s.q[fam]
        dx = moved[rows]
        dcentre = np.zeros((len(rows), count))
        dcentre[:, :shared] = d.centre[fam]
        offset = x.copy()
        offset[:, 0] -= s.centre[fam]
        doffset = dx.copy()
        doffset[:, :, 0] -= dcentre
        da = doffset @ s.solve[fam].transpose(0, 2, 1)
        da[:, :shared] += (d.solve[fam] @ offset[:, None, :, None])[..., 0]
        w = weight[fam]
        wa = w * a
        steady[rows, r] = w[:, None] * da - (rate * wa)[:, None] * delay[rows][:, :, None]
        steady[rows, r, :shared] += d_weight[fam] * a[:, None]
        rising[rows, r] = d.rate[fam] * wa[:, None]
        if quantity == "travel":
            resting[rows, r] = dcentre
        # lanes that go on: the state at the end of the stretch, first at the old instant, then at the moved one
        on = np.isfinite(t)
        if r == stretches - 1 or not on.any():
            break
        rows, fam, air, a, x, t = rows[on], fam[on], air[on], a[on], x[on], t[on]
        rate, q, dx, dcentre, da = rate[on], q[on], dx[on], dcentre[on], da[on]
        e = np.exp(rate * t[:, None])
        ae, dae = a * e, da * e[:, None]
        dae[:, :shared] += d.rate[fam] * (ae * t[:, None])[:, None]
        p, held = s.p[fam], s.hold[fam]
        up = p[:, None] * dae
        up[:, :shared] += d.p[fam] * ae[:, None]
        high = q[:, None] * dae
        high[:, :shared] += d.q[fam] * ae[:, None]
        friction = held[:, None] * dae
        friction[:, :shared] += d.hold[fam] * ae[:, None]
        end = np.empty_like(dx)
        end[:, :, 0] = dcentre + up.real.sum(axis=2)
        end[:, :, 2] = high.real.sum(axis=2)
        end[:, :, 4] = friction.real.sum(axis=2)
        end[:, :shared, 4] += d.slip[fam]
        up_rate, high_rate = up * rate[:, None], high * rate[:, None]
        up_rate[:, :shared] += d.rate[fam] * (p * ae)[:, None]
        high_rate[:, :shared] += d.rate[fam] * (q * ae)[:, None]
        end[:, :, 1] = up_rate.real.sum(axis=2)
        end[:, :, 3] = high_rate.real.sum(axis=2)
        if air.any():
            dh = q[:, None] * da
            dh[:, :shared] += d.q[fam] * a[:, None]
            dh_rate = dh * rate[:, None]
            dh_rate[:, :shared] += d.rate[fam] * (q * a)[:, None]
            linear = np.where(air[:, None], dx[:, :, 3] - dh_rate.real.sum(axis=2), 0.0)
            constant = np.where(air[:, None], dx[:, :, 2] - dh.real.sum(axis=2), 0.0)
            end[:, :, 2] += constant + linear * t[:, None]
            end[:, :, 3] += linear
        # how the instant of the event moves
        kind = motion.kind[rows, r]
        slips, grounded = (kind == SLIPS_IN) | (kind == SLIPS_OUT), kind == GROUND
        wheel_speed = (q * ae * rate).real.sum(axis=1)
        if air.any():
            linear_speed = x[:, 3] - (q * a * rate).real.sum(axis=1)
            wheel_speed += np.where(air, linear_speed - GRAVITY * t, 0.0)
        pace = _pace(p, q, held, ae, rate, air, wheel_speed)
        speed = np.select([slips, grounded], [pace[:, 4], wheel_speed], pace[:, 1])
        change = np.where(slips[:, None], end[:, :, 4], end[:, :, 1])
        border = np.zeros_like(change)
        border[:, :shared] = np.where((kind == ABOVE)[:, None], d.high[fam], d.low[fam])
        if slips.any():
            sign = np.where(kind == SLIPS_IN, 1.0, -1.0)
            border[:, :shared] = np.where(slips[:, None], sign[:, None] * d.limit[fam], border[:, :shared])
        if grounded.any():
            change = np.where(grounded[:, None], end[:, :, 2], change)
            lift = np.zeros_like(change)
            lift[:, :shared] = d.lift[fam]
            border = np.where(grounded[:, None], lift, border)
        steep = (kind != NOTHING) & (np.abs(speed) > 1e-9)
        shift = np.where(steep[:, None], (border - change) / np.where(steep, speed, 1.0)[:, None], 0.0)
        end += shift[:, :, None] * pace[:, None]
        moved[rows] = end
        delay[rows] += shift
    every = np.arange(lanes)[:, None]
    part = steady[every, stretch]  # (lanes, n, count, j)
    total = np.einsum("lnkj,lnj->lnk", part.real, grown.real) - np.einsum(
        "lnkj,lnj->lnk", part.imag, grown.imag
    )
    if shared:
        swelling = grown * since[:, :, None]
        part = rising[every, stretch]
        total[:, :, :shared] += np.einsum("lnkj,lnj->lnk", part.real, swelling.real)
        total[:, :, :shared] -= np.einsum("lnkj,lnj->lnk", part.imag, swelling.imag)
    if quantity == "travel":
        total += resting[every, stretch]
    return np.asarray(total)


def _pace(
    p: Complex, q: Complex, hold: Complex, ae: Complex, rate: Complex, air: Flags, wheel_speed: Array
) -> Array:
    """Rate of change of w, w', u, u', s at the end of a stretch, for the shift of the next beginning, (rows, 5)."""
    first, second = ae * rate, ae * rate**2
    fall = np.where(air, GRAVITY, 0.0)
    return np.stack(
        [
            (p * first).real.sum(axis=1),
            (p * second).real.sum(axis=1),
            wheel_speed,
            (q * second).real.sum(axis=1) - fall,
            (hold * first).real.sum(axis=1),
        ],
        axis=1,
    )
