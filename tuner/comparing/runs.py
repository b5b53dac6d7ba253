"""Runs before and after a change into a `Comparison`.

Takes the fits of each setting (several = repeats), a corner and a target; gives ratios, verdict and reasons.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from tuner.comparing.change import changes, refit_sds
from tuner.comparing.confounders import confounders, unknown_conditions
from tuner.comparing.measures import measure_changes
from tuner.comparing.reasons import (
    both_inside_reason,
    cancels_reason,
    change_reason,
    elsewhere,
    open_reasons,
    run_reason,
    speed_reason,
    unseen_reasons,
    zeta_reason,
)
from tuner.comparing.remedies import best_remedy, damping_of
from tuner.comparing.results import ChangeAt, Comparison, Remedy, SideComparison
from tuner.comparing.verdict import Chances, Damping, chances, decide, excludes_one, shows_no_change
from tuner.errors import UsageError
from tuner.estimates import Note
from tuner.fitting.repeats import RUN_TO_RUN, combine
from tuner.fitting.results import Fit
from tuner.fitting.speed_step import SpeedStep
from tuner.judging import (
    USUAL_SPEED,
    Judgement,
    judge,
    judge_side,
    nearest_speed,
    wanted_speed,
)
from tuner.machine import Corner, Target
from tuner.records import SIDES, Side


def judged_change(change: Sequence[ChangeAt], target: Target | None) -> ChangeAt | None:
    """Give the change at the reference speed nearest to the target's (the usual one without a target)."""
    speeds = [c.speed for c in change if c.speed is not None]
    if not speeds:
        return change[0] if change else None
    speed = nearest_speed(speeds, wanted_speed(target))
    return next(c for c in change if c.speed == speed)


def _moved(damping: Damping, steps: tuple[SpeedStep | None, SpeedStep | None]) -> Damping:
    """Carry two bounces over to the speed of the band.

    What ordinary dampers leave open of the bend is open alike in both, of one damper: it moves both, and cannot look
    like a change. What a curve says is of its own test.
    """
    usual = [0.0 if step is None else step.sd_usual for step in steps]
    same_way = all(step is not None for step in steps) and len({s.there > s.here for s in steps if s}) == 1
    common = min(usual) if same_way else 0.0
    own = [
        math.sqrt(sd**2 + (0.0 if step is None else step.sd_own**2) + much**2 - common**2)
        for sd, step, much in zip((damping.sd_before, damping.sd_after), steps, usual, strict=True)
    ]
    shifts = [0.0 if step is None else step.shift for step in steps]
    return Damping(
        damping.before + shifts[0],
        damping.after + shifts[1],
        own[0],
        own[1],
        math.hypot(damping.sd_shared, common),
    )


def _side(side: Side, before: Judgement, after: Judgement, allowance: float) -> SideComparison:
    target, corner = before.target, before.corner
    fits = before.fit.side(side), after.fit.side(side)
    sds = refit_sds(before.fit, after.fit, allowance)
    change = changes(*fits, math.hypot(*sds))
    at = judged_change(change, target)
    if at is None:
        reasons = tuple(unseen_reasons(before.fit, after.fit, side))
        return SideComparison(
            side, (), None, before.side(side), after.side(side), "cannot tell", None, reasons, None
        )
    one, other = (judge_side(fit, corner, target, speed=at.speed) for fit in fits)
    damping = damping_of(*fits, at.speed, corner, sds)
    steps = one.step, other.step
    chance: Chances | None = None
    if damping is not None:
        damping = _moved(damping, steps)
    if damping is not None and one.band is not None:
        chance = chances(damping, one.band)
    verdict, probability = decide(at.ratio, chance)
    odd = elsewhere(side, change, at)
    if target is None and odd is not None and verdict == "no clear change":
        verdict, probability = "cannot tell", None
    remedies: tuple[Remedy, ...] = ()
    said: list[Note | None] = [change_reason(side, at), zeta_reason(one, other)]
    if verdict == "cannot tell":
        remedies = best_remedy(*fits, at.speed, corner, sds)
        said += open_reasons(at, fits, chance, damping, corner, target, remedies, steps)
    elif verdict == "no clear change":
        seen = Note("no-change-seen")
        said.append(seen if shows_no_change(at.ratio) else both_inside_reason(at.ratio))
    said += [
        odd,
        cancels_reason(change, fits),
        speed_reason(at, target, USUAL_SPEED),
        run_reason(before.fit, after.fit, allowance),
    ]
    reasons = tuple(reason for reason in said if reason is not None)
    known = at.ratio.tells or excludes_one(at.ratio)
    likeliest = chance.likeliest if verdict == "cannot tell" and chance is not None and known else None
    if verdict == "cannot tell" and not known:
        probability = None
    return SideComparison(
        side,
        change,
        at,
        one,
        other,
        verdict,
        probability,
        reasons,
        excludes_one(at.ratio),
        likeliest,
        remedies,
    )


def refuse_two_corners(before: Fit, after: Fit) -> None:
    """Refuse two fits of one kind with different corners in them: their difference would be that of the corners too."""
    if before.kind == after.kind and before.corner != after.corner:
        raise UsageError(
            f"the run before was fitted with {before.corner_words} and the run after with {after.corner_words}"
            + (", of other numbers" if before.corner_words == after.corner_words else "")
            + ", so their difference would be that of the corners too",
            hint="Fit both with the same corner: fit(record, corner).",
        )


def compare(
    before: Sequence[Fit],
    after: Sequence[Fit],
    corner: Corner | None = None,
    target: Target | None = None,
    *,
    allowance: float = RUN_TO_RUN,
) -> Comparison:
    """Compare two settings of one damper; several fits of a setting are repeats of it.

    `allowance` >= 0 is the 95 % half width, on logarithms, that refitting and temperature put on the ratio of two
    single runs (0.05 by common practice, no source); repeats of a setting replace its share by what they measured.
    Bounces and drives are compared with the corner they were fitted with, or with none (`tuner.judging.judge`).
    Raises FitError when a setting has no fit, or repeats of different kinds; UsageError for two different corners.
    """
    fits = [combine(runs, allowance=allowance) for runs in (before, after)]
    pair = [judge(fit, corner, target) for fit in fits]
    refuse_two_corners(*fits)
    sides = {side: _side(side, pair[0], pair[1], allowance) for side in SIDES}
    measured = measure_changes(*fits)
    notes: tuple[Note, ...] = unknown_conditions(*fits)
    return Comparison(
        pair[0],
        pair[1],
        sides["compression"],
        sides["rebound"],
        (*confounders(*fits), *measured.confounders),
        (*measured.notes, *notes),
        allowance,
        measured.changes,
        measured.ground,
    )
