"""Two dampers side by side: matched or not within a tolerance.

Takes the fits of each damper (several = repeats); gives a `PairMatch`.
Uses: estimates, machine, fitting, judging.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tuner.comparing.change import changes, refit_sds
from tuner.comparing.results import PairMatch, SideMatch
from tuner.fitting.repeats import RUN_TO_RUN, combine
from tuner.fitting.results import DampingFit
from tuner.judging import Judgement, judge, normal_below
from tuner.records import SIDES, Side

if TYPE_CHECKING:
    from tuner.machine import Corner

TOLERANCE = 0.10  # common practice, no source
SURE = 0.95


def _side(side: Side, one: Judgement, other: Judgement, tolerance: float, allowance: float) -> SideMatch:
    ratio = changes(
        one.fit.side(side), other.fit.side(side), math.hypot(*refit_sds(one.fit, other.fit, allowance))
    )
    if not ratio:
        return SideMatch(side, (), None, None, (f"{side} has no speed that both hold",))
    edge = math.log1p(tolerance)
    within = []
    for at in ratio:
        middle, sd = math.log(at.ratio.value), max(at.ratio.log_sd, 1e-12)
        within.append(normal_below((edge - middle) / sd) - normal_below((-edge - middle) / sd))
    worst = min(within)
    matched = True if worst >= SURE else False if worst <= 1 - SURE else None
    return SideMatch(side, ratio, matched, 1 - worst if matched is False else worst, ())


def match(
    one: Sequence[DampingFit],
    other: Sequence[DampingFit],
    corner: Corner | None = None,
    *,
    tolerance: float = TOLERANCE,
    allowance: float = RUN_TO_RUN,
) -> PairMatch:
    """Say whether two dampers are alike within `tolerance` on every side both records show."""
    pair = [judge(combine(fits, allowance=allowance), corner) for fits in (one, other)]
    sides = tuple(_side(side, pair[0], pair[1], tolerance, allowance) for side in SIDES)
    seen = [s.matched for s in sides if s.ratio]
    matched = False if False in seen else True if seen and None not in seen else None
    return PairMatch(pair[0], pair[1], (sides[0], sides[1]), matched, tolerance, allowance=allowance)
