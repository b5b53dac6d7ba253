"""Two dampers side by side: matched or not within a tolerance, which side is off, and by how much.

Takes the fits of each damper (several = repeats); gives a `PairMatch`.

A side is matched when, at every reference speed both hold, the true ratio lies within the tolerance with 95 %
probability; it is off when at one of them it lies outside with 95 % probability. The tolerance is a share of the
stronger of the two: 10 % allows ratios from 0.9 to 1/0.9.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from tuner.comparing.change import changes, refit_sds
from tuner.comparing.confounders import Labels, confounders
from tuner.comparing.reasons import cancels_reason, speed_of
from tuner.comparing.results import ChangeAt, PairMatch, SideMatch
from tuner.comparing.verdict import within
from tuner.errors import FitError, require
from tuner.estimates import NORMAL_95, Note
from tuner.fitting.repeats import RUN_TO_RUN, combine, interval_factor
from tuner.fitting.results import Fit
from tuner.judging import Judgement, judge, normal_below
from tuner.machine import Corner
from tuner.records import SIDES, Side

TOLERANCE = 0.10  # common practice, no source
SURE = 0.95
NORMAL_95_ONE_SIDED = 1.6448536269514722
MOST_RUNS = 9  # runs of each damper beyond which more of them are no advice


def _edge(tolerance: float) -> float:
    """Logarithm of the ratio at which the weaker has `tolerance` less than the stronger."""
    return -math.log1p(-tolerance)


def _against(at: ChangeAt) -> Note:
    """Say how the other damper differs from the one."""
    return Note("against", ratio=at.ratio, speed=speed_of(at))


def _chances(at: ChangeAt, tolerance: float) -> tuple[float, float]:
    """Probability that the true ratio is within the tolerance, and that it is beyond it on the likelier side."""
    edge, sd = _edge(tolerance), at.ratio.log_sd
    beyond = abs(math.log(at.ratio.value)) - edge
    if math.isinf(sd):  # only one bound is known; it alone can rule a match out
        clear = at.ratio.high < 1.0 - tolerance or at.ratio.low > 1.0 / (1.0 - tolerance)
        return 0.0, 0.975 if clear else 0.5
    outside = normal_below(beyond / sd) if sd > 0 else float(beyond > 0)
    return within(at.ratio, math.expm1(edge)), outside


def _runs_needed(at: ChangeAt, tolerance: float, runs: int) -> int | None:
    """Count the runs of each damper that would settle this speed if ratio and scatter stay; None: too many."""
    edge, middle = _edge(tolerance), abs(math.log(at.ratio.value))
    needed = min(abs(edge - middle) / NORMAL_95_ONE_SIDED, edge / NORMAL_95)
    for count in range(runs + 1, MOST_RUNS + 1):
        spread = math.sqrt(runs / count) * interval_factor(count) / interval_factor(runs)
        if at.ratio.log_sd * spread <= needed:
            return count
    return None


def _side(side: Side, one: Fit, other: Fit, tolerance: float, allowance: float) -> SideMatch:
    extra = math.hypot(*refit_sds(one, other, allowance))
    ratio = changes(one.side(side), other.side(side), extra)
    if not ratio:
        blind = tuple(name for name, fit in (("one", one), ("other", other)) if not fit.side(side).seen)
        why = Note("pair-unseen", of=side, which=blind) if blind else Note("pair-no-speed", of=side)
        return SideMatch(side, (), None, None, (why,))
    chances = [_chances(at, tolerance) for at in ratio]
    cancels = cancels_reason(ratio, (one.side(side), other.side(side)))
    more = () if cancels is None else (cancels.but(of=side),)
    off = [(at, out) for at, (_, out) in zip(ratio, chances, strict=True) if out >= SURE]
    if off:
        reasons = tuple(Note("pair-off", of=side, other=_against(at), tolerance=tolerance) for at, _ in off)
        surest = max(off, key=lambda pair: pair[1])
        return SideMatch(side, ratio, False, surest[1], (*reasons, *more), surest[0])
    worst = min(range(len(ratio)), key=lambda i: chances[i][0])
    probability = chances[worst][0]
    if probability >= SURE:
        widest = max(ratio, key=lambda at: abs(math.log(at.ratio.value)))
        reason = Note("pair-within", of=side, other=_against(widest), tolerance=tolerance)
        return SideMatch(side, ratio, True, probability, (reason, *more), widest)
    runs = _runs_needed(ratio[worst], tolerance, min(one.runs, other.runs))
    reason = Note("pair-open", of=side, other=_against(ratio[worst]), tolerance=tolerance, runs=runs)
    return SideMatch(side, ratio, None, probability, (reason, *more), ratio[worst])


def match(
    one: Sequence[Fit],
    other: Sequence[Fit],
    corner: Corner | None = None,
    *,
    tolerance: float = TOLERANCE,
    allowance: float = RUN_TO_RUN,
) -> PairMatch:
    """Say whether two dampers are alike within `tolerance` on every side both records show.

    `tolerance` between 0 and 1 as a share of the stronger (0.10 = 10 %); `allowance` as in `compare`. `matched` is
    None when a side cannot be told, or when no side can be compared at all. Raises FitError for a damper without a
    fit.
    """
    require(0.0 < tolerance < 1.0, "the tolerance", "a share between 0 and 1", tolerance, error=FitError)
    fits = [combine(runs, allowance=allowance) for runs in (one, other)]
    pair: list[Judgement] = [judge(fit, corner) for fit in fits]
    compression, rebound = (_side(side, fits[0], fits[1], tolerance, allowance) for side in SIDES)
    compared = [s for s in (compression, rebound) if s.ratio]
    answers = [s.matched for s in compared]
    matched = False if False in answers else True if answers and None not in answers else None
    notes: tuple[Note, ...] = ()
    if len(compared) == 1:
        notes = (Note("one-side", side=compared[0].side),)
    return PairMatch(
        pair[0],
        pair[1],
        (compression, rebound),
        matched,
        tolerance,
        notes,
        confounders(*fits, labels=Labels("on the one", "on the other")),
        allowance,
    )
