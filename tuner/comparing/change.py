"""The ratio of two runs at every speed both hold, on logarithms, with the allowance for single runs.

Takes two sides of fits; gives `ChangeAt`. Uses: estimates, fitting, judging.
"""

from __future__ import annotations

import math

from tuner.comparing.results import ChangeAt
from tuner.estimates import NORMAL_95, Estimate
from tuner.fitting import TOGETHER
from tuner.fitting.repeats import run_sd
from tuner.fitting.results import DampingFit, SideFit


def refit_sds(before: DampingFit, after: DampingFit, allowance: float) -> tuple[float, float]:
    """Relative standard deviation to add to each run: nothing where repeats have measured it.

    Recordings that share one fit have not measured it: their mean carries the allowance of one over the root of n.
    """

    def sd(fit: DampingFit) -> float:
        if fit.runs <= 1:
            return run_sd(allowance)
        return run_sd(allowance) / math.sqrt(fit.runs) if fit.kind in TOGETHER else 0.0

    return sd(before), sd(after)


def _held(side: SideFit) -> dict[float | None, Estimate]:
    if not side.seen:
        return {}
    zeta = own_zeta(side)
    if zeta is not None:
        return {None: zeta} if zeta.value > 0 else {}
    return {s.speed: s.c for s in side.secant if s.c.value > 0}


def own_zeta(side: SideFit) -> Estimate | None:
    """Give the ratio without what of its doubt every test of the corner has in common: that cancels in a change.

    An interval without two positive bounds is left as it is.
    """
    zeta = side.zeta
    if zeta is None or zeta.log_sd == 0.0 or not math.isfinite(zeta.log_sd):
        return zeta
    share = math.sqrt(max(1.0 - (side.zeta_common / zeta.log_sd) ** 2, 0.0))
    low, high = (zeta.value * (bound / zeta.value) ** share for bound in (zeta.low, zeta.high))
    return Estimate(zeta.value, low, high, zeta.unit)


def log_spread(estimate: Estimate) -> float:
    """Relative standard deviation of an `estimate` > 0 on logarithms.

    An interval that reaches down to zero knows only how much there is at most: its upper half counts. Infinite
    when it has no upper bound either.
    """
    if math.isfinite(estimate.log_sd) or not math.isfinite(estimate.high):
        return estimate.log_sd
    return math.log(estimate.high / estimate.value) / NORMAL_95


def ratio_of(before: Estimate, after: Estimate, extra_sd: float) -> Estimate:
    """After over before, both > 0, with its 95 % interval.

    Damping that may be zero afterwards leaves the interval without a lower bound (0), damping that may have been
    zero before without an upper one (infinity).
    """
    value = after.value / before.value
    sd = math.sqrt(log_spread(before) ** 2 + log_spread(after) ** 2 + extra_sd**2)
    if math.isinf(sd):
        return Estimate(value, 0.0, math.inf, "1")
    ratio = Estimate.from_log_sd(value, sd, "1")
    low = ratio.low if math.isfinite(after.log_sd) else 0.0
    return Estimate(value, low, ratio.high if math.isfinite(before.log_sd) else math.inf, "1")


def changes(before: SideFit, after: SideFit, extra_sd: float) -> tuple[ChangeAt, ...]:
    """Ratio at every reference speed both sides hold, in rising order; empty when there is none."""
    held_before, held_after = _held(before), _held(after)
    shared = sorted((s for s in held_before if s in held_after), key=lambda s: -1.0 if s is None else s)
    return tuple(ChangeAt(s, ratio_of(held_before[s], held_after[s], extra_sd)) for s in shared)
