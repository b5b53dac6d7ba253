"""Several runs of one setting into one fit, with the scatter that refitting and temperature add.

Takes fits of the same kind; gives one `DampingFit`. Uses: errors, estimates, fitting.results.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tuner.errors import FitError, require
from tuner.estimates import NORMAL_95, Estimate
from tuner.fitting.results import DampingFit, Secant, SideFit

# 95 % half width, on logarithms, of the ratio of two single runs of one setting: refitting the damper and
# temperature (common practice, no source). One run carries 1/sqrt(2) of it.
RUN_TO_RUN = 0.05
# how much that allowance weighs against the scatter that repeats show, in degrees of freedom
PRIOR_DF = 4.0


def run_sd(allowance: float = RUN_TO_RUN) -> float:
    """Relative standard deviation that refitting adds to one run, from the allowance on the ratio of two."""
    return allowance / NORMAL_95 / math.sqrt(2.0)


def _pooled(values: Sequence[Estimate], prior_sd: float) -> Estimate:
    logs = np.log([e.value for e in values])
    within = float(np.mean([e.log_sd**2 for e in values]))
    n = len(values)
    df = PRIOR_DF + n - 1
    variance = (PRIOR_DF * (prior_sd**2 + within) + float(((logs - logs.mean()) ** 2).sum())) / df
    return Estimate.from_log_sd(math.exp(float(logs.mean())), math.sqrt(variance / n), values[0].unit, df=df)


def _side(sides: Sequence[SideFit], prior_sd: float) -> SideFit:
    seen = [side for side in sides if side.seen]
    if not seen:
        return sides[0]
    speeds = sorted({s.speed for side in seen for s in side.secant})
    secant = tuple(
        Secant(speed, _pooled(held, prior_sd))
        for speed in speeds
        if (held := [c for side in seen if (c := side.secant_at(speed)) is not None and c.low > 0])
    )
    zetas = [side.zeta for side in seen if side.zeta is not None and side.zeta.low > 0]
    return replace(seen[0], secant=secant, zeta=_pooled(zetas, prior_sd) if zetas else None)


def combine(fits: Sequence[DampingFit], *, allowance: float = RUN_TO_RUN) -> DampingFit:
    """Combine repeats of one setting; one fit comes back unchanged."""
    require(len(fits) > 0, "repeats", "at least one fit", 0, error=FitError)
    if len(fits) == 1:
        return fits[0]
    sd = run_sd(allowance)
    return replace(
        fits[0],
        compression=_side([f.compression for f in fits], sd),
        rebound=_side([f.rebound for f in fits], sd),
        runs=sum(f.runs for f in fits),
        inputs=tuple(p for f in fits for p in f.inputs),
        conditions=tuple(c for f in fits for c in f.conditions),
        quality=tuple(q for f in fits for q in f.quality),
    )
