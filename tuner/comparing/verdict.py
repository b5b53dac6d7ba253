"""The verdict on one side: toward the target, away from it, no clear change, or cannot tell.

Takes two positive estimates, what they share, and a band; gives the probabilities. Uses: judging.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from tuner.judging import log_of


class Chances(NamedTuple):
    """Probability that the distance to the band shrank, grew, or is nil before and after."""

    toward: float
    away: float
    inside: float


def chances(
    before: float,
    after: float,
    band: tuple[float, float],
    *,
    sd_before: float,
    sd_after: float,
    sd_shared: float,
) -> Chances:
    """Distance to the band on logarithms, before against after (a first version by seeded draws)."""
    draws = np.random.default_rng(20240611).standard_normal((3, 40_000))
    z_before = math.log(before) + sd_before * draws[0] + sd_shared * draws[2]
    z_after = math.log(after) + sd_after * draws[1] + sd_shared * draws[2]
    low, high = log_of(band[0]), log_of(band[1])
    d_before = np.maximum(np.maximum(low - z_before, z_before - high), 0.0)
    d_after = np.maximum(np.maximum(low - z_after, z_after - high), 0.0)
    toward, away = float(np.mean(d_after < d_before)), float(np.mean(d_after > d_before))
    return Chances(toward, away, 1.0 - toward - away)
