"""A corner whose damper holds nothing until a gap is closed after every reversal, integrated in small even steps.

Takes a true corner, the gaps and the hands; gives the body's acceleration. Independent of the program: no events, no
closed form, the gap is clean (the program's own law builds up like a power of the way). Uses: bounce_truth.
"""

from __future__ import annotations

import math

import numpy as np
from bounce_truth import G, Hands, TrueCorner

STEP = 1e-4
EDGE = 0.001  # the gap closes over this travel at the wheel [m]


def with_gap(
    corner: TrueCorner, gap_in: float, gap_out: float, hands: Hands, times: np.ndarray
) -> np.ndarray:
    """Body acceleration at `times` [m/s**2]; gaps at the wheel [m] of compression and rebound; from rest."""
    weight = (corner.sprung + corner.unsprung) * G
    zs = vs = zu = vu = turn = 0.0
    side = 0
    out = np.empty(int(times[-1] / STEP) + 2)
    for i in range(len(out)):
        way, speed = zu - zs, vu - vs
        now = 1 if speed > 0 else -1
        if now != side:
            side, turn = now, way
        gap = gap_in if side > 0 else gap_out
        held = min(max((abs(way - turn) - gap) / EDGE + 0.5, 0.0), 1.0) if gap > 0 else 1.0
        force = corner.wheel_rate * way + corner.damper(speed) * held
        force += corner.friction * math.tanh(speed / 1e-3)
        hand = hands(i * STEP)
        out[i] = (force + hand) / corner.sprung
        vs += out[i] * STEP
        vu += (max(-corner.tyre_rate * zu, -weight) - force) / corner.unsprung * STEP
        zs += vs * STEP
        zu += vu * STEP
    return np.interp(times, STEP * np.arange(len(out)), out)
