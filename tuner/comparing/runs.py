"""Runs before and after a change into a `Comparison`.

Takes the fits of each setting (several = repeats), a corner and a target; gives ratios, verdict and reasons.
Uses: errors, estimates, machine, fitting, judging.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tuner.comparing.change import changes, refit_sds
from tuner.comparing.results import ChangeAt, Comparison, SideComparison, Verdict
from tuner.comparing.verdict import chances
from tuner.fitting.repeats import RUN_TO_RUN, combine
from tuner.fitting.results import DampingFit
from tuner.judging import USUAL_SPEED, Judgement, corner_factor, judge, nearest_speed, normal_below
from tuner.records import SIDES, Side

if TYPE_CHECKING:
    from tuner.machine import Corner, Target

SURE = 0.975  # probability behind "toward" and "away": a two-sided 95 % interval that excludes the contrary


def _side(side: Side, before: Judgement, after: Judgement, allowance: float) -> SideComparison:
    target, corner = before.target, before.corner
    sds = refit_sds(before.fit, after.fit, allowance)
    change = changes(before.fit.side(side), after.fit.side(side), math.hypot(*sds))
    judged = before.side(side), after.side(side)
    if not change:
        reason = f"{side} has no speed that both runs hold"
        return SideComparison(side, (), None, *judged, "cannot tell", None, (reason,), None)
    speed = None
    if change[0].speed is not None:
        wanted = target.speed if target is not None else USUAL_SPEED
        speed = nearest_speed(tuple(c.speed for c in change if c.speed is not None), wanted)
    at: ChangeAt = next(c for c in change if c.speed == speed)
    changed = not at.ratio.contains(1.0)
    reasons = [f"{side} damping changed by {100 * (at.ratio.value - 1):+.0f} %"]
    verdict: Verdict = "cannot tell"
    probability: float | None = None
    band = judged[0].band
    pair = [next((z.zeta for z in j.zeta if z.speed == speed), None) for j in judged]
    if not changed and at.ratio.low > 0.8 and at.ratio.high < 1.25:
        verdict = "no clear change"
        sd = max(at.ratio.log_sd, 1e-12)
        middle, edge = math.log(at.ratio.value), math.log(1.1)
        probability = normal_below((edge - middle) / sd) - normal_below((-edge - middle) / sd)
    elif band is not None and pair[0] is not None and pair[1] is not None:
        shared = corner_factor(corner).log_sd if corner is not None and speed is not None else 0.0
        own = [math.sqrt(max(z.log_sd**2 - shared**2, 0.0)) for z in pair if z is not None]
        chance = chances(
            pair[0].value,
            pair[1].value,
            band,
            sd_before=math.hypot(own[0], sds[0]),
            sd_after=math.hypot(own[1], sds[1]),
            sd_shared=shared,
        )
        probability = max(chance)
        if probability >= SURE:
            verdict = ("toward", "away", "no clear change")[chance.index(probability)]  # type: ignore[assignment]
    else:
        reasons.append("give a machine file with a corner and a target")
    return SideComparison(side, change, at, *judged, verdict, probability, tuple(reasons), changed)


def compare(
    before: Sequence[DampingFit],
    after: Sequence[DampingFit],
    corner: Corner | None = None,
    target: Target | None = None,
    *,
    allowance: float = RUN_TO_RUN,
) -> Comparison:
    """Compare two settings of one damper; several fits of a setting are repeats of it."""
    pair = [judge(combine(fits, allowance=allowance), corner, target) for fits in (before, after)]
    sides = {side: _side(side, pair[0], pair[1], allowance) for side in SIDES}
    return Comparison(pair[0], pair[1], sides["compression"], sides["rebound"], (), (), allowance)
