"""What the interval of a change is made of: the tests' own scatter, mounting the damper again, the corner.

Takes a `Comparison`; gives shares.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from tuner.comparing.change import log_spread, own_zeta, refit_sds
from tuner.comparing.results import Comparison
from tuner.estimates import NORMAL_95, Estimate
from tuner.fitting.results import SideFit
from tuner.judging import corner_factor
from tuner.records import Side


class IntervalParts(NamedTuple):
    """95 % half widths on logarithms [-], as the share of the value for small ones; infinite where nothing bounds it.

    before, after : of the tests themselves, their cycles and their repeats. mounting : allowed for single runs.
    change : of the whole change; where both tests share a doubt, it is less than its parts together.
    corner : of mass, spring and motion ratio; it moves both damping ratios alike and is not in the change.
    """

    before: float
    after: float
    mounting: float
    change: float
    corner: float


def _own(side: SideFit, speed: float | None) -> Estimate | None:
    return own_zeta(side) if speed is None else side.secant_at(speed)


def interval_parts(comparison: Comparison, side: Side) -> IntervalParts | None:
    """Take the interval of the judged change of a side apart; None where nothing was judged."""
    at = comparison.side(side).at_target
    fits = comparison.before.fit, comparison.after.fit
    if at is None:
        return None
    one, other = (_own(fit.side(side), at.speed) for fit in fits)
    if one is None or other is None:
        return None
    corner = comparison.before.corner
    if at.speed is None:
        shared = max(fit.side(side).zeta_common for fit in fits)
    else:
        shared = 0.0 if corner is None else corner_factor(corner).log_sd
    mounting = math.hypot(*refit_sds(*fits, comparison.allowance))
    sds = (log_spread(one), log_spread(other), mounting, log_spread(at.ratio), shared)
    return IntervalParts(*(NORMAL_95 * sd for sd in sds))
