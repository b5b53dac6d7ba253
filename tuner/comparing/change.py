"""The ratio of two runs at every speed both hold, on logarithms, with the allowance for single runs.

Takes two sides of fits; gives `ChangeAt`. Uses: estimates, fitting, judging.
"""

from __future__ import annotations

import math

from tuner.comparing.results import ChangeAt
from tuner.estimates import Estimate
from tuner.fitting.repeats import run_sd
from tuner.fitting.results import DampingFit, SideFit


def refit_sds(before: DampingFit, after: DampingFit, allowance: float) -> tuple[float, float]:
    """Relative standard deviation to add to each run: nothing where repeats have measured it."""
    return tuple(run_sd(allowance) if fit.runs <= 1 else 0.0 for fit in (before, after))  # type: ignore[return-value]


def _held(side: SideFit) -> dict[float | None, Estimate]:
    if not side.seen:
        return {}
    if side.zeta is not None:
        return {None: side.zeta} if side.zeta.value > 0 else {}
    return {s.speed: s.c for s in side.secant if s.c.value > 0}


def ratio_of(before: Estimate, after: Estimate, extra_sd: float) -> Estimate:
    """After over before with its 95 % interval; 0 to infinity when one of the two is not known."""
    value = after.value / before.value
    sd = math.sqrt(before.log_sd**2 + after.log_sd**2 + extra_sd**2)
    if math.isinf(sd):
        return Estimate(value, 0.0, math.inf, "1")
    return Estimate.from_log_sd(value, sd, "1")


def changes(before: SideFit, after: SideFit, extra_sd: float) -> tuple[ChangeAt, ...]:
    """Ratio at every reference speed both sides hold, in rising order; empty when there is none."""
    held_before, held_after = _held(before), _held(after)
    shared = sorted((s for s in held_before if s in held_after), key=lambda s: -1.0 if s is None else s)
    return tuple(ChangeAt(s, ratio_of(held_before[s], held_after[s], extra_sd)) for s in shared)
