"""How the uncertainty of inputs reaches a result: first order, by the change of the result over one standard deviation.

Takes a function of plain numbers and independent estimates; gives an estimate. Uses: estimates.

JCGM 100:2008 (GUM) 5.1.2 with the sensitivity found numerically, on logarithms where the result is positive, so
that products and powers are carried exactly as `estimates.product` does.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from tuner.estimates import NORMAL_95, Estimate

STANDARD = Estimate(0.0, -NORMAL_95, NORMAL_95, "1")  # a standard normal variable


def propagate(function: Callable[..., float], inputs: Sequence[Estimate], unit: str) -> Estimate:
    """Give ``function(*inputs)``, a positive number, with its 95 % interval; inputs count as independent.

    An input that enters twice (a mass in both rate and damping ratio) is one argument, so its correlation
    with itself is respected. An interval that is open on one side gives an interval from 0 to infinity.
    """
    values = [i.value for i in inputs]
    value = function(*values)
    variance = 0.0
    for position, estimate in enumerate(inputs):
        if estimate.low == estimate.high:
            continue
        up, down = _one_sd(estimate)
        if not (math.isfinite(up) and math.isfinite(down)):
            variance = math.inf
            break
        ends = [function(*values[:position], moved, *values[position + 1 :]) for moved in (up, down)]
        if min(ends) <= 0 or not all(math.isfinite(e) for e in ends):
            variance = math.inf
            break
        variance += (0.5 * math.log(ends[0] / ends[1])) ** 2
    return Estimate.from_log_sd(value, math.sqrt(variance), unit)


def _one_sd(estimate: Estimate) -> tuple[float, float]:
    if estimate.low > 0 and math.isfinite(estimate.log_sd):
        factor = math.exp(estimate.log_sd)
        return estimate.value * factor, estimate.value / factor
    return estimate.value + estimate.sd, estimate.value - estimate.sd


def symmetric(estimate: Estimate) -> Estimate:
    """Give the same relative standard deviation as value +- half width, the way a machine file writes it."""
    half = NORMAL_95 * estimate.log_sd * estimate.value
    return Estimate(estimate.value, estimate.value - half, estimate.value + half, estimate.unit)
