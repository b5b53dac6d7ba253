"""A corner whose damper holds nothing until a gap is closed after every reversal, integrated in small even steps.

Takes a true corner, the gaps and the hands; gives the body's acceleration and the compression. Independent of the
program: no events, no closed form, the gap is clean (the program's own law builds up like a power of the way).
"""

from __future__ import annotations

import math

import numpy as np
from bounce_truth import G, Hands, TrueCorner

STEP = 1e-4
EDGE = 0.001  # the gap closes over this travel at the wheel [m]


def with_gap(
    corner: TrueCorner,
    gap_in: float,
    gap_out: float,
    hands: Hands,
    times: np.ndarray,
    turn_round: float = 1e-3,
) -> tuple[np.ndarray, np.ndarray]:
    """Body acceleration [m/s**2] and compression [m] at `times`; gaps at the wheel [m] of compression and rebound.

    From rest. turn_round : speed over which friction changes its sign [m/s]; a large one lets it creep.
    """
    weight = (corner.sprung + corner.unsprung) * G
    zs = vs = zu = vu = turn = 0.0
    side = 0
    out = np.empty(int(times[-1] / STEP) + 2)
    ways = np.empty_like(out)
    for i in range(len(out)):
        way, speed = zu - zs, vu - vs
        now = 1 if speed > 0 else -1
        if now != side:
            side, turn = now, way
        gap = gap_in if side > 0 else gap_out
        held = min(max((abs(way - turn) - gap) / EDGE + 0.5, 0.0), 1.0) if gap > 0 else 1.0
        force = corner.wheel_rate * way + corner.damper(speed) * held
        force += corner.friction * math.tanh(speed / turn_round)
        hand = hands(i * STEP)
        out[i], ways[i] = (force + hand) / corner.sprung, way
        vs += out[i] * STEP
        vu += (max(-corner.tyre_rate * zu, -weight) - force) / corner.unsprung * STEP
        zs += vs * STEP
        zu += vu * STEP
    clock = STEP * np.arange(len(out))
    return np.interp(times, clock, out), np.interp(times, clock, ways)
