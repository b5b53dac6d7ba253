"""Why a verdict is what it is: short sentences with the numbers, and what would make it surer.

Takes ratios, chances and judged sides; gives sentences. Uses: records, judging. Says what the damping does on
each side, never "more" or "less" of a side's name alone, which people read both ways.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from tuner.comparing.results import ChangeAt, Remedy, RemedyKind
from tuner.comparing.verdict import SEEN_CHANGE, Chances, Damping, excludes_one
from tuner.estimates import Estimate
from tuner.fitting.results import Fit, SideFit
from tuner.fitting.speed_step import SpeedStep
from tuner.judging import JudgedSide, ZetaAt
from tuner.kinds import TOGETHER
from tuner.machine import Corner, Target
from tuner.records import Kind, Side

APART = 0.02  # of a change, on logarithms, that a reader of both columns would notice

# which test shows a side that a record does not show
SHOWING: dict[Kind, dict[Side, str]] = {
    "bounce": {
        "compression": "lift the corner and drop it; a push-down shows the return first",
        "rebound": "push the corner down and let go",
    },
    "weights": {
        "compression": "let the weight push the shaft in",
        "rebound": "let the weight pull the shaft out",
    },
    "sweep": {
        "compression": "test the way in at the same speeds",
        "rebound": "test the way out at the same speeds",
    },
    "cycle": {
        "compression": "stroke the damper both ways and record the force",
        "rebound": "stroke the damper both ways and record the force",
    },
    "travel": dict.fromkeys(("compression", "rebound"), "bounce the corner or put the damper on a bench"),
    "flight": dict.fromkeys(("compression", "rebound"), "bounce the corner or put the damper on a bench"),
}


def per_cent(ratio: float) -> str:
    """Write a ratio as a change: 0.66 -> "-34 %"."""
    change = 100.0 * (ratio - 1.0)
    if not math.isfinite(change):
        return "any amount"
    return f"{change:+.0f} %" if abs(change) >= 1.95 else f"{change:+.1f} %"


def moved(ratio: float) -> str:
    """Write a ratio as a movement: 0.66 -> "fell by 34 %"."""
    text = per_cent(ratio)
    if abs(ratio - 1.0) < 5e-4:
        return "did not move"
    return f"{'rose' if ratio >= 1.0 else 'fell'} by {text.lstrip('+-')}"


def at_speed(speed: float | None) -> str:
    """Write " at 0.26 m/s", nothing for a bounce."""
    return "" if speed is None else f" at {speed:g} m/s"


def change_reason(side: Side, at: ChangeAt) -> str:
    """Say the change with its interval."""
    ratio = at.ratio
    if math.isinf(ratio.high) and ratio.low == 0.0:
        return f"the change of {side} damping{at_speed(at.speed)} cannot be pinned down at all"
    if math.isinf(ratio.high):
        bound = f"by at least {per_cent(ratio.low)}" if ratio.low > 1.0 else "by an unknown amount"
        return f"{side} damping{at_speed(at.speed)} changed {bound}; before it may have been next to nothing"
    if ratio.low == 0.0:
        bound = f"fell by at least {per_cent(ratio.high).lstrip('-')}" if ratio.high < 1.0 else "changed"
        return f"{side} damping{at_speed(at.speed)} {bound}; afterwards it may be next to nothing"
    if not (ratio.tells or excludes_one(ratio)):
        return f"the tests leave the change of {side} damping{at_speed(at.speed)} open by more than a factor of six"
    interval = f"95 % interval {per_cent(ratio.low)} to {per_cent(ratio.high)}"
    return f"{side} damping{at_speed(at.speed)} {moved(ratio.value)} ({interval})"


def _stands(at: ZetaAt, judged: JudgedSide) -> str:
    words = {
        "below": "below the band",
        "inside": "inside the band",
        "above": "above the band",
        "uncertain": "astride an edge of the band",
        "unknown": "with no band",
    }
    z = at.zeta
    stood = _interval(z)
    if judged.step is not None and judged.at_band is not None:
        here = "" if judged.judged_at is None else f" at {judged.judged_at:.2g} m/s"
        stood += f"{here}, hence {_interval(judged.at_band)}{at_speed(judged.step.there)}"
    return f"{stood}, {words[judged.place]}"


def _interval(z: Estimate) -> str:
    places = 2 if max(z.value - z.low, z.high - z.value) >= 0.0095 else 3
    return f"{z.value:.{places}f} ({z.low:.{places}f} to {z.high:.{places}f})"


def zeta_reason(before: JudgedSide, after: JudgedSide) -> str | None:
    """Say where zeta stood and stands against the band."""
    if before.at_target is None or after.at_target is None or before.band is None:
        return None
    if not (before.at_target.zeta.tells and after.at_target.zeta.tells):
        return None
    low, high = before.band
    one, other = _stands(before.at_target, before), _stands(after.at_target, after)
    return f"zeta was {one}, and is {other}; the band is {low:.2f} to {high:.2f}"


def elsewhere(side: Side, change: Sequence[ChangeAt], at: ChangeAt) -> str | None:
    """Say which other speeds changed for certain in another way than the one that was judged."""
    odd = []
    for other in change:
        apart = abs(math.log(other.ratio.value / at.ratio.value))
        same = excludes_one(at.ratio) and (other.ratio.value > 1.0) == (at.ratio.value > 1.0)
        if other is not at and excludes_one(other.ratio) and not (same and apart < math.log(SEEN_CHANGE)):
            odd.append(f"{moved(other.ratio.value)}{at_speed(other.speed)}")
    return f"{side} damping {', '.join(odd)}" if odd else None


def run_reason(before: Fit, after: Fit, allowance: float) -> str:
    """Say what stands for the scatter from run to run."""
    if max(before.runs, after.runs) > 1 and {before.kind, after.kind} <= TOGETHER:
        counts = f"{before.runs} before, {after.runs} after"
        return (
            f"the recordings of a setting were fitted together ({counts}); +-{100 * allowance:g} % was allowed "
            "on the ratio of two single ones for refitting and temperature"
        )
    if before.runs > 1 and after.runs > 1:
        return f"repeats measured the scatter from run to run ({before.runs} before, {after.runs} after)"
    share = f"+-{100 * allowance:g} %" if before.runs <= 1 and after.runs <= 1 else "its share"
    which = "two single runs" if before.runs <= 1 and after.runs <= 1 else "the single run"
    return f"{share} allowed on the ratio for refitting and temperature of {which}; repeats would measure it"


def _range(fit: SideFit) -> str:
    if fit.zeta is not None:
        return "a bounce, which has no speed of its own"
    if not fit.secant:
        return "at no reference speed"
    first, last = fit.secant[0].speed, fit.secant[-1].speed
    return f"at {first:g} m/s" if first == last else f"from {first:g} to {last:g} m/s"


def _finds_nothing(fit: SideFit) -> bool:
    found = [fit.zeta] if fit.zeta is not None else [s.c for s in fit.secant]
    return bool(found) and all(e.value <= 0.0 for e in found)


def unseen_reasons(before: Fit, after: Fit, side: Side) -> list[str]:
    """Say why there is no ratio at all, and which test would give one."""
    pair = {"before": before, "after": after}
    missing = {when: fit for when, fit in pair.items() if not fit.side(side).seen}
    if missing:
        return [
            f"the record {when} does not show {side}: {SHOWING[fit.kind][side]}"
            for when, fit in missing.items()
        ]
    one, other = before.side(side), after.side(side)
    nothing = [when for when, fit in pair.items() if _finds_nothing(fit.side(side))]
    if nothing:
        return [f"the fit {' and '.join(nothing)} found no {side} damping above zero: test at higher speeds"]
    if (one.zeta is None) != (other.zeta is None):
        return [
            f"one record is of the whole corner (a bounce) and one of the damper "
            f"alone: record {side} the same way before and after"
        ]
    return [
        f"{side} was tested {_range(one)} before and {_range(other)} after, with no usable reference speed in both: "
        "test both over the same speeds"
    ]


SCALE_ADVICE = (
    "push the shaft in slowly over a scale, let it come back slowly, and give both readings (of a sweep as the "
    "settings push and return)"
)
_STEP: dict[RemedyKind, str] = {
    "scale": SCALE_ADVICE,
    "repeats": "test each setting three times",
    "corner": "weigh the corner and measure its motion ratio again",
}
_OF: dict[RemedyKind, str] = {
    "scale": "the readings",
    "repeats": "three tests of each setting",
    "corner": "a corner measured twice as well",
}


def step_words(remedies: Sequence[Remedy]) -> str:
    """Say what to do, most useful first, and how far it and the next best would narrow what is open."""
    if not remedies:
        return "test at higher speeds"
    best, others = remedies[0], remedies[1:]
    text = f"{_STEP[best.kind]}; that would narrow it from {_wide(best.now)} to {_wide(best.left)}"
    if others:
        text += f", {_OF[others[0].kind]} only to {_wide(others[0].left)}"
    return text


def _wide(half: float) -> str:
    """Write a half width on logarithms."""
    return f"+-{100.0 * half:.2g} %" if half < 0.5 else f"a factor of {math.exp(half):.1f} either way"


def open_reasons(
    at: ChangeAt,
    fits: tuple[SideFit, SideFit],
    chance: Chances | None,
    damping: Damping | None,
    corner: Corner | None,
    target: Target | None,
    remedies: Sequence[Remedy],
    steps: tuple[SpeedStep | None, SpeedStep | None] = (None, None),
) -> list[str]:
    """Say why it cannot be told, and what to give or to do."""
    missing: dict[str, list[str]] = {}
    for when, fit in zip(("before", "after"), fits, strict=True):
        for text in (note.text for note in fit.notes if note.code == "not-enough"):
            missing.setdefault(text, []).append(when)
    if missing and not excludes_one(at.ratio):
        return [f"{' and '.join(when)}: {text}" for text, when in missing.items()]
    bench = at.speed is not None
    if target is None or (corner is None and bench):
        wants = (["a corner (mass, spring, motion ratio)"] if corner is None and bench else []) + (
            ["a target band"] if target is None else []
        )
        return [f"toward or away needs {' and '.join(wants)}: give a machine file and name the corner"]
    if not excludes_one(at.ratio):
        return [f"the interval is too wide to tell a change of 25 % from none: {step_words(remedies)}"]
    if chance is None or damping is None:
        return ["the damping is too unsure for a place against the band: test at higher speeds, or repeat"]
    said = (
        f"toward the band {100 * chance.toward:.0f} %, away {100 * chance.away:.0f} %, "
        f"inside before and after {100 * chance.inside:.0f} %"
    )
    bend = max(0.0 if step is None else step.sd_usual for step in steps)
    if 2.0 * bend**2 > damping.sd_shared**2 + max(damping.sd_before, damping.sd_after) ** 2:
        there = next(step.there for step in steps if step is not None)
        what = f"what the damper does at {there:g} m/s these bounces do not show: a bench test of it does"
    else:
        what = step_words(remedies)
    return [f"the change is clear, its place against the band is not ({said}): {what}"]


def speed_reason(at: ChangeAt, target: Target | None, usual: float) -> str | None:
    """Say when the speed is not the target's own."""
    if at.speed is None:
        return None
    if target is None:
        return f"no target names a speed; the change is stated{at_speed(at.speed)}"
    if abs(math.log(at.speed / target.speed)) <= 0.01:
        return None
    return f"the target is meant at {target.speed:g} m/s; compared at {at.speed:g} m/s, the nearest that both hold"


def cancels_reason(change: Sequence[ChangeAt], pair: tuple[SideFit, SideFit]) -> str | None:
    """Say where a change is not the quotient of what both tests say by themselves, and why; None where it is."""
    odd = []
    for at in change:
        secants = [None if at.speed is None else side.secant_at(at.speed) for side in pair]
        if secants[0] is not None and secants[1] is not None:
            quotient = secants[1].value / secants[0].value
            if quotient > 0 and abs(math.log(at.ratio.value / quotient)) > APART:
                odd.append(f"{at.speed:g} m/s")
    if not odd:
        return None
    return (
        f"at {' and '.join(odd)} the change is not one column over the other: each test alone leaves friction and gas "
        "force a little open, both together must have the same of them, and what is wrong in it cancels"
    )


def both_inside_reason(ratio: Estimate) -> str:
    """Say that a real change made no difference to the band."""
    real = "the change is real" if excludes_one(ratio) else "a change is not shown"
    return f"{real}, but zeta stands inside the band before and after"
