"""Dead stroke: the distance after a turn in which the force stays below what the law asks for.

Takes the rises of `StrokeTable` and `Balance`; gives an `Estimate` in m for each side.

The place where the force has come up to half of the free curve is found on each test's mean rise. From it goes what
even a full damper needs: the oil gives a little before it holds. Springy oil in front of a valve with force in
proportion to speed reaches half its force after ln 2 / (1/2) times the distance that half force compresses it.
"""

from __future__ import annotations

import math

import numpy as np

from tuner.estimates import NORMAL_95, Estimate, student_95
from tuner.fitting.cycle.balance import Balance
from tuner.fitting.cycle.cutting import Onset
from tuner.fitting.cycle.strokes import StrokeTable

HALF = 0.5
RISE = 2.0 * math.log(2.0)
ELASTIC_ERROR = 0.3  # share of the elastic distance that stays open
PLACE_ERROR = 5e-5  # error of the turn's place [m]; common practice, no source
COMMON_ERROR, COMMON_SHARE = (
    5e-5,
    0.015,
)  # [m] and of the value, shared by all tests; common practice, no source


def dead_stroke(table: StrokeTable, balance: Balance, direction: float) -> Estimate | None:
    """Estimate the dead stroke of one side over all tests; None where no test shows how the force comes up."""
    values, sds = [], []
    for onset in table.onsets:
        if onset.direction == direction:
            answer = _of_test(onset, balance, table)
            if answer is not None:
                values.append(answer[0])
                sds.append(answer[1])
    if not values:
        return None
    value, sd = np.array(values), np.array(sds)
    weight = 1.0 / sd**2
    mean = float(np.sum(weight * value) / np.sum(weight))
    n = value.size
    # tests that disagree by more than their errors widen the interval (DerSimonian and Laird 1986)
    excess = 0.0
    if n > 1:
        q = float(np.sum(weight * (value - mean) ** 2))
        scale = float(np.sum(weight) - np.sum(weight**2) / np.sum(weight))
        excess = max(0.0, (q - (n - 1)) / scale)
        weight = 1.0 / (sd**2 + excess)
        mean = float(np.sum(weight * value) / np.sum(weight))
    spread = 1.0 / math.sqrt(float(np.sum(weight)))
    half = (student_95(max(n - 1, 1)) if excess > 0 else NORMAL_95) * spread
    # the force neither vanishes nor returns at one place: an error that all tests share
    half = math.hypot(half, NORMAL_95 * math.hypot(COMMON_ERROR, COMMON_SHARE * mean))
    mean = max(mean, 0.0)
    return Estimate(mean, max(mean - half, 0.0), mean + half, "m")


def _of_test(onset: Onset, balance: Balance, table: StrokeTable) -> tuple[float, float] | None:
    d = onset.direction
    gas = _gas_along(balance, table, onset)
    damping = d * (onset.force - gas) - balance.friction
    wanted = balance.force_at(d, np.maximum(onset.velocity, 0.0))
    noise = float(np.median(table.noise))
    reach = int(onset.distance.size)
    # where half the law's force is too small against friction and noise, the place cannot be seen
    if float(onset.velocity[-1]) < 0.03 or float(wanted[-1]) < 8.0 * (
        noise + 0.1 * abs(balance.friction) + 0.5
    ):
        return None
    below = damping < HALF * wanted
    if not below.any():
        return 0.0, PLACE_ERROR + float(onset.spacing[1])
    up = np.flatnonzero(~below & (np.arange(reach) > 0))
    run = 4
    place = None
    for i in up:  # the first crossing after which the force stays up
        if not below[i : i + run].any():
            place = int(i)
            break
    if place is None:
        return None
    if place == 0:
        return 0.0, PLACE_ERROR + float(onset.spacing[1])
    gap = damping - HALF * wanted
    low, high = float(gap[place - 1]), float(gap[place])
    share = 0.5 if high == low else min(max(-low / (high - low), 0.0), 1.0)
    crossing = float(onset.distance[place - 1]) + share * float(
        onset.distance[place] - onset.distance[place - 1]
    )
    half_force = HALF * float(np.interp(crossing, onset.distance, wanted))
    elastic = float(balance.elastic(np.array([half_force]))[0]) * RISE
    spacing = float(np.interp(crossing, onset.distance, onset.spacing))
    sd = math.sqrt(
        PLACE_ERROR**2
        + spacing**2 / 12.0
        + (ELASTIC_ERROR * elastic) ** 2
        + (elastic * 0.1 * abs(balance.friction) / max(half_force, 1.0)) ** 2
    )
    return crossing - elastic, sd


def _gas_along(balance: Balance, table: StrokeTable, onset: Onset) -> np.ndarray:
    """Gas force at the places of a rise, from the balance's own gas forces over travel."""
    middle = 0.5 * float(table.travel.max() + table.travel.min())
    half = 0.5 * float(np.ptp(table.travel)) or 1.0
    z = (onset.travel - middle) / half
    terms = balance.gas_terms
    return np.asarray(np.vander(z, terms, increasing=True) @ balance.coefficients[:terms])
