"""How the uncertainty of inputs reaches a result: to first order, by what one standard deviation changes.

Takes a function of plain numbers and independent estimates; gives an estimate.

JCGM 100:2008 (the GUM) 5.1.2 with the sensitivities found numerically; on logarithms where all is positive, so
that products and powers come out exactly as `estimates.product` gives them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from tuner.errors import MachineError
from tuner.estimates import NORMAL_95, Estimate

STANDARD = Estimate(0.0, -NORMAL_95, NORMAL_95, "1")  # a standard normal variable


def propagate(function: Callable[..., float], inputs: Sequence[Estimate], unit: str) -> Estimate:
    """Give ``function(*inputs)`` with its 95 % interval; the inputs count as independent.

    What enters twice (a mass, in rate and in damping ratio) is one argument, so its correlation with itself is
    respected. The interval is symmetric on logarithms, or on the plain scale when an input may take the result
    to zero or below; an input known on one side only leaves it open. Where the function refuses one end with
    a MachineError the other end counts twice.
    """
    values = [i.value for i in inputs]
    value = function(*values)
    moves: list[tuple[float, float]] = []
    plain = value <= 0
    for position, estimate in enumerate(inputs):
        if estimate.low == estimate.high:
            continue
        ends = _one_sd(estimate)
        if not all(math.isfinite(end) for end in ends):
            return Estimate(value, 0.0 if value > 0 else -math.inf, math.inf, unit)
        down, up = _moved(function, values, value, position, ends)
        if not (math.isfinite(down) and math.isfinite(up)):
            return Estimate(value, 0.0 if value > 0 else -math.inf, math.inf, unit)
        moves.append((down, up))
        may_reach_zero = not _on_logs(estimate) and NORMAL_95 * 0.5 * abs(up - down) >= value
        plain = plain or min(down, up) <= 0 or may_reach_zero
    if not plain:
        log_sd = math.hypot(*(0.5 * math.log(up / down) for down, up in moves))
        return Estimate.from_log_sd(value, log_sd, unit)
    return Estimate.from_sd(value, math.hypot(*(0.5 * (up - down) for down, up in moves)), unit)


def _moved(
    function: Callable[..., float],
    values: list[float],
    centre: float,
    position: int,
    ends: tuple[float, float],
) -> tuple[float, float]:
    """Give the results at both ends; where one is impossible, as far away as the other on its side."""
    found: list[float] = []
    for end in ends:
        try:
            found.append(function(*values[:position], end, *values[position + 1 :]))
        except MachineError:
            found.append(math.nan)
    down, up = found
    if math.isnan(down):
        down = 2.0 * centre - up if centre <= 0 or up <= 0 else centre**2 / up
    elif math.isnan(up):
        up = 2.0 * centre - down if centre <= 0 or down <= 0 else centre**2 / down
    return down, up


def _on_logs(estimate: Estimate) -> bool:
    return estimate.low > 0 and math.isfinite(estimate.log_sd)


def _one_sd(estimate: Estimate) -> tuple[float, float]:
    """Give the value less and plus one standard deviation, by a factor where the estimate is positive."""
    if _on_logs(estimate):
        factor = math.exp(estimate.log_sd)
        return estimate.value / factor, estimate.value * factor
    return estimate.value - estimate.sd, estimate.value + estimate.sd


def symmetric(estimate: Estimate) -> Estimate:
    """Give the same relative standard deviation as value +- half width, the way a machine file writes it."""
    half = NORMAL_95 * estimate.log_sd * estimate.value
    return Estimate(estimate.value, estimate.value - half, estimate.value + half, estimate.unit)
