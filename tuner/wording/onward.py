"""What to do after an answer: keep the change or take it back, go on the same way, test again.

Takes comparisons, judgements and matches; gives sentences.

It says where to go from the verdict, not which oil or shim would take one there.
"""

from __future__ import annotations

from collections.abc import Sequence

from tuner.comparing import Comparison, PairMatch, SideComparison
from tuner.comparing.confounders import has_dead_stroke
from tuner.fitting.results import JumpFit
from tuner.judging import Judgement
from tuner.records import SIDES, Side
from tuner.wording.doubts.measured import LIKE_WITH_LIKE
from tuner.wording.layout import FIRST
from tuner.wording.surer import surer_change, surer_pair

# how a recording that shows no damping is made again
_AGAIN = {
    "travel": "drive the same line again at the same pace, with five seconds of rest at either end",
    "flight": "make the same jump again at the same speed, three times before and three times after",
}
_LIKE_WITH_LIKE = f"{LIKE_WITH_LIKE.capitalize()}."
PUT_RIGHT = "Look at that, put right what is wrong and run this again; do nothing to the machine before."
_MOVING = ("toward", "away")
_MIXED = (
    "One side moved toward its target and the other away from it, and that is only probable: make the answer surer "
    "before you decide."
)


def onward_change(comparison: Comparison, *, checked: bool = True) -> tuple[str, ...]:
    """Say what to do after the verdict on a change, and how to be surer of it; `checked` False: an input is doubted."""
    return (*look_first(checked), *after_verdict(comparison), *surer_change(comparison))


def onward_pair(pair: PairMatch, *, checked: bool = True) -> tuple[str, ...]:
    """Say what to do about two dampers that are alike, or not, and how to be surer of it."""
    return (*look_first(checked), *after_pair(pair), *surer_pair(pair))


def after_pair(pair: PairMatch) -> tuple[str, ...]:
    """Say what to do about two dampers."""
    said = {
        True: "Nothing needs to be done: the two may stay on one axle as they are.",
        False: (
            "Set both alike (oil, its quantity, clicks) and test both again. Which of the two stands better, its test "
            "says when it is held against the corner by itself."
        ),
        None: "Do not change a damper on this answer: make it surer first.",
    }[pair.matched]
    return (said,)


def onward_fit(judgement: Judgement, *, checked: bool = True) -> tuple[str, ...]:
    """Say what one test is good for."""
    return (*look_first(checked), *after_fit(judgement))


def look_first(checked: bool) -> tuple[str, ...]:
    """Send back to an input in doubt before anything else is done; nothing where all was checked."""
    if checked:
        return ()
    return (
        f"Do nothing yet to the machine: look at '{FIRST}' above, put right what is wrong there and run this again. "
        "What follows holds only if it is right.",
    )


def after_fit(judgement: Judgement) -> tuple[str, ...]:
    """Say what one test is good for, the first thing first."""
    if isinstance(judgement.fit, JumpFit) and judgement.fit.airtime is None:
        return (_LIKE_WITH_LIKE,)
    if judgement.fit.kind in _AGAIN:
        again = _AGAIN[judgement.fit.kind]
        return (f"Keep this recording as the 'before': change one thing, {again}, and compare the two.",)
    seen = [side for side in SIDES if judgement.fit.side(side).seen]
    if not seen:
        return ()
    again = "then make the same test again and compare the two"
    surer = _told_by_a_bench(judgement)
    outside = [side for side in seen if judgement.side(side).place in ("below", "above")]
    if outside:
        return (f"Change one thing that works on {' and '.join(outside)}, {again}.", *surer)
    leaning = [side for side in seen if judgement.side(side).leaning in ("below", "above")]
    if leaning:
        ways = " and ".join(
            f"{side} is probably {judgement.side(side).leaning} its target" for side in leaning
        )
        return (f"{ways[:1].upper()}{ways[1:]}: make that surer before you change anything for it.", *surer)
    if surer:
        return (*surer, f"Keep this test as the 'before' of any change, {again}.")
    if all(judgement.side(side).place == "inside" for side in seen):
        return (
            f"Nothing here asks for a change. Keep this test: it is the 'before' of any change, {again}.",
        )
    return (f"Keep this test as the 'before': change one thing, {again}.",)


def _told_by_a_bench(judgement: Judgement) -> tuple[str, ...]:
    """Name the test that shows what bounces leave open because they are slower or faster than the target."""
    sides = [judgement.side(side) for side in SIDES]
    if not any(judged.step and judged.step.sd_usual and judged.place == "uncertain" for judged in sides):
        return ()
    return (
        "What the damper does at the speed of the target this bounce does not show: give a bench test of it, in the "
        "same state, together with the bounce.",
    )


def after_verdict(comparison: Comparison) -> tuple[str, ...]:
    """Say what to do after the verdict on a change, the first thing first."""
    if comparison.measures:
        return _after_measures(comparison)
    sides: dict[Side, SideComparison] = {side: comparison.side(side) for side in SIDES}
    told = {name: side for name, side in sides.items() if side.before.band is not None and side.at_target}
    if not told:
        return ()
    toward, away = ([name for name, s in told.items() if s.verdict == way] for way in _MOVING)
    leaning = [s.leaning[0] for s in told.values() if s.leaning is not None]
    points = []
    if (toward and "away" in leaning) or (away and "toward" in leaning):
        points.append(_MIXED)
    elif toward and away:
        points.append(
            f"Keep the change only if what {toward[0]} gained is worth more to you than what {away[0]} lost; "
            f"otherwise take it back and try one that works on {toward[0]} alone."
        )
    elif toward:
        points.append("Keep this change.")
    elif away:
        points.append("Take this change back, then test once more to see that the damping has come back.")
    elif "toward" in leaning or "away" in leaning:
        points.append(_after_leaning(leaning))
    elif all(side.verdict == "cannot tell" for side in told.values()) and len(leaning) < len(told):
        points.append("Do not decide on these tests: make the answer surer first.")
    left = {name: has_dead_stroke(comparison.after.fit.side(name).dead_stroke) for name in told}
    points += [text for name, side in told.items() if (text := _from_here(name, side, left[name]))]
    return tuple(points)


def _after_leaning(ways: Sequence[str]) -> str:
    if {"toward", "away"} <= set(ways):
        return _MIXED
    if "toward" in ways:
        return "Keep this change for now, and make the answer surer before you build on it."
    return "This change probably did harm: take it back, or make the answer surer before you jump it."


def _after_measures(comparison: Comparison) -> tuple[str, ...]:
    """Say what drives and jumps leave to their driver."""
    shows = "What it did to the damping, a bounce of the corner or a bench shows."
    if any(change.changed for change in comparison.measures):
        return (f"Is that what you wanted? Then keep the change, else take it back. {shows}",)
    unlike = any(any(change.each) for change in comparison.measures)
    return (f"Do not decide on these recordings. {shows}", *((_LIKE_WITH_LIKE,) if unlike else ()))


def _from_here(name: Side, side: SideComparison, dead_stroke: bool) -> str:
    """Say where a side stands and what that asks for; "" where the verdict has said it.

    A side inside its target with a `dead_stroke` still needs that cured.
    """
    title, place = f"{name[:1].upper()}{name[1:]}", side.after.place
    if side.verdict == "toward":
        if place == "inside":
            rest = "only its dead stroke is left to cure" if dead_stroke else "needs nothing more"
            return f"{title} is now inside its target and {rest}."
        if place in ("below", "above"):
            return f"{title} is still {place} its target: go on the same way, in a smaller step."
        return f"{title} is near an edge of its target: another step could overshoot."
    if side.leaning is not None and side.leaning[0] == "inside":
        return f"{title} is probably inside its target and needs nothing as far as these tests show."
    if side.verdict == "no clear change":
        if place in ("below", "above"):
            return (
                f"{title} is {place} its target and this change did not move it: try a larger step or another kind of "
                "change."
            )
        rest = "needs nothing but a cure for its dead stroke" if dead_stroke else "needs nothing"
        return f"{title} is inside its target and {rest}." if place == "inside" else ""
    return ""
