"""Why a verdict is what it is, as data: codes with their numbers, and what would make it surer.

Takes ratios, chances and judged sides; gives notes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from tuner.comparing.results import ChangeAt, Remedy
from tuner.comparing.verdict import SEEN_CHANGE, Chances, Damping, excludes_one
from tuner.estimates import Estimate, Note
from tuner.fitting.results import Fit, SideFit
from tuner.fitting.speed_step import SpeedStep
from tuner.judging import JudgedSide, ZetaAt
from tuner.kinds import TOGETHER
from tuner.machine import Corner, Target
from tuner.records import Side

APART = 0.02  # of a change, on logarithms, that a reader of both columns would notice


def speed_of(at: ChangeAt) -> Estimate | None:
    """Give the speed of a change as a fact, None for a bounce."""
    return None if at.speed is None else Estimate.exact(at.speed, "m/s")


def change_reason(side: Side, at: ChangeAt) -> Note:
    """Say the change with its interval."""
    return Note("change", side=side, speed=speed_of(at), ratio=at.ratio)


def _stands(at: ZetaAt, judged: JudgedSide) -> Note:
    moved = judged.at_band if judged.step is not None else None
    here = None if moved is None or judged.judged_at is None else Estimate.exact(judged.judged_at, "m/s")
    there = None if moved is None or judged.step is None else Estimate.exact(judged.step.there, "m/s")
    return Note("stands", zeta=at.zeta, place=judged.place, moved=moved, here=here, there=there)


def zeta_reason(before: JudgedSide, after: JudgedSide) -> Note | None:
    """Say where zeta stood and stands against the band."""
    if before.at_target is None or after.at_target is None or before.band is None:
        return None
    if not (before.at_target.zeta.tells and after.at_target.zeta.tells):
        return None
    one, other = _stands(before.at_target, before), _stands(after.at_target, after)
    return Note("against-band", before=one, after=other, band=tuple(before.band))


def elsewhere(side: Side, change: Sequence[ChangeAt], at: ChangeAt) -> Note | None:
    """Say which other speeds changed for certain in another way than the one that was judged."""
    odd = []
    for other in change:
        apart = abs(math.log(other.ratio.value / at.ratio.value))
        same = excludes_one(at.ratio) and (other.ratio.value > 1.0) == (at.ratio.value > 1.0)
        if other is not at and excludes_one(other.ratio) and not (same and apart < math.log(SEEN_CHANGE)):
            odd.append(Note("moved", ratio=other.ratio, speed=speed_of(other)))
    return Note("elsewhere", side=side, changes=tuple(odd)) if odd else None


def run_reason(before: Fit, after: Fit, allowance: float) -> Note:
    """Say what stands for the scatter from run to run."""
    runs: dict[str, Any] = {"before": before.runs, "after": after.runs}
    if max(runs.values()) > 1 and {before.kind, after.kind} <= TOGETHER:
        return Note("fitted-together", allowance=allowance, **runs)
    if min(runs.values()) > 1:
        return Note("scatter-measured", **runs)
    if max(runs.values()) > 1:
        return Note("scatter-allowed", case="one")
    return Note("scatter-allowed", allowance=allowance)


def _tested(fit: SideFit) -> Note:
    if fit.zeta is not None:
        return Note("tested", case="bounce")
    speeds = tuple(Estimate.exact(s.speed, "m/s") for s in fit.secant)
    return Note("tested", slowest=speeds[0], fastest=speeds[-1]) if speeds else Note("tested", case="nowhere")


def _finds_nothing(fit: SideFit) -> bool:
    found = [fit.zeta] if fit.zeta is not None else [s.c for s in fit.secant]
    return bool(found) and all(e.value <= 0.0 for e in found)


def unseen_reasons(before: Fit, after: Fit, side: Side) -> list[Note]:
    """Say why there is no ratio at all, and which test would give one."""
    pair = {"before": before, "after": after}
    missing = {when: fit for when, fit in pair.items() if not fit.side(side).seen}
    if missing:
        return [Note("side-unseen", when=when, side=side, kind=fit.kind) for when, fit in missing.items()]
    one, other = before.side(side), after.side(side)
    nothing = tuple(when for when, fit in pair.items() if _finds_nothing(fit.side(side)))
    if nothing:
        return [Note("none-above-zero", when=nothing, side=side)]
    if (one.zeta is None) != (other.zeta is None):
        return [Note("bounce-against-damper", side=side)]
    return [Note("no-shared-speed", side=side, before=_tested(one), after=_tested(other))]


def remedy_notes(remedies: Sequence[Remedy]) -> tuple[Note, ...]:
    """Give what to do, most useful first, and how far each would narrow what is open."""
    return tuple(Note("remedy", kind=r.kind, now=r.now, left=r.left) for r in remedies)


def open_reasons(
    at: ChangeAt,
    fits: tuple[SideFit, SideFit],
    chance: Chances | None,
    damping: Damping | None,
    corner: Corner | None,
    target: Target | None,
    remedies: Sequence[Remedy],
    steps: tuple[SpeedStep | None, SpeedStep | None] = (None, None),
) -> list[Note]:
    """Say why it cannot be told, and what to give or to do."""
    missing: dict[Note, list[str]] = {}
    for when, fit in zip(("before", "after"), fits, strict=True):
        for note in fit.notes:
            if note.code == "not-enough":
                missing.setdefault(note, []).append(when)
    if missing and not excludes_one(at.ratio):
        return [note.but(of=" and ".join(when)) for note, when in missing.items()]
    bench = at.speed is not None
    if target is None or (corner is None and bench):
        return [Note("no-place", corner=corner is None and bench, target=target is None)]
    if not excludes_one(at.ratio):
        return [Note("change-open", remedies=remedy_notes(remedies))]
    if chance is None or damping is None:
        return [Note("damping-unsure")]
    chances: dict[str, Any] = {"toward": chance.toward, "away": chance.away, "inside": chance.inside}
    bend = max(0.0 if step is None else step.sd_usual for step in steps)
    if 2.0 * bend**2 > damping.sd_shared**2 + max(damping.sd_before, damping.sd_after) ** 2:
        there = next(Estimate.exact(step.there, "m/s") for step in steps if step is not None)
        return [Note("place-open", case="bend", there=there, **chances)]
    return [Note("place-open", remedies=remedy_notes(remedies), **chances)]


def speed_reason(at: ChangeAt, target: Target | None, usual: float) -> Note | None:
    """Say when the speed is not the target's own."""
    if at.speed is None:
        return None
    if target is None:
        return Note("no-target-speed", speed=speed_of(at))
    if abs(math.log(at.speed / target.speed)) <= 0.01:
        return None
    return Note("nearest-speed", speed=speed_of(at), target=Estimate.exact(target.speed, "m/s"))


def cancels_reason(change: Sequence[ChangeAt], pair: tuple[SideFit, SideFit]) -> Note | None:
    """Say where a change is not the quotient of what both tests say by themselves, and why; None where it is."""
    odd = []
    for at in change:
        secants = [None if at.speed is None else side.secant_at(at.speed) for side in pair]
        if secants[0] is not None and secants[1] is not None:
            quotient = secants[1].value / secants[0].value
            if quotient > 0 and abs(math.log(at.ratio.value / quotient)) > APART:
                odd.append(speed_of(at))
    return Note("cancels", speeds=tuple(odd)) if odd else None


def both_inside_reason(ratio: Estimate) -> Note:
    """Say that a real change made no difference to the band."""
    return Note("both-inside", case="" if excludes_one(ratio) else "open")
