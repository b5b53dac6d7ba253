"""Counts of rare events as rates per minute, with the intervals that a count allows.

Takes counts and durations; gives estimates.

An event is taken to come by itself (Poisson). Garwood's exact interval (*Biometrika* 28, 1936) for one rate; for the
difference of two the limits of both put together in quadrature (MOVER: Donner & Zou, *Statistical Methods in Medical
Research* 21, 2012); both from memory, checked against statsmodels in the tests.
"""

from __future__ import annotations

import math

from tuner.errors import FitError, require
from tuner.estimates import COVERAGE, Estimate

PER_MINUTE = "1/min"


def rate_per_minute(count: int, duration: float) -> Estimate:
    """Give the rate of `count` >= 0 events in `duration` > 0 seconds, per minute."""
    from scipy.special import gammaincinv

    require(
        count >= 0 and duration > 0, "a count and its duration", "positive", (count, duration), error=FitError
    )
    tail = 0.5 * (1.0 - COVERAGE)
    low = float(gammaincinv(count, tail)) if count else 0.0
    high = float(gammaincinv(count + 1, 1.0 - tail))
    minutes = duration / 60.0
    return Estimate(count / minutes, low / minutes, high / minutes, PER_MINUTE)


def rate_difference(before: Estimate, after: Estimate) -> Estimate:
    """After minus before of two independent rates."""
    value = after.value - before.value
    down = math.hypot(after.value - after.low, before.high - before.value)
    up = math.hypot(after.high - after.value, before.value - before.low)
    return Estimate(value, value - down, value + up, before.unit)
