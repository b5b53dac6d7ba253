"""How to be surer: what to do, note or give next time, most useful first.

Takes comparisons and matches; gives sentences.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from tuner.comparing import Comparison, PairMatch
from tuner.comparing.confounders import cured, has_dead_stroke
from tuner.estimates import Note
from tuner.fitting.results import Fit, JumpFit
from tuner.judging import Judgement
from tuner.kinds import ON_A_BENCH
from tuner.records import SIDES
from tuner.wording.doubts.compared import SCALE_ADVICE, SHOWING

# drives and jumps differ so much from each other that two of them show little
_MORE: Mapping[str, str] = {
    "travel": "Drive the same line three times before a change and three times after it.",
    "flight": "Make three jumps before a change and three after it, at the same speed.",
}

# what to do about a confounder or a doubt, by its code
_REMEDY: Mapping[str, str] = {
    "different-kinds": "Test both the same way: two kinds of test do not show the same thing.",
    "no-overlap": "Test both over the same speeds.",
    "speed-range": "Test both over the same speeds.",
    "several-changes": "Change one thing at a time; otherwise the test cannot say which of them did it.",
    "spring-changed": "Change the damper and the spring one after the other.",
    "oil-temperature": "Bring the damper to the same temperature for both tests.",
    "oil-temperature-unknown": "Note the temperature of the damper at every test.",
    "oil-temperature-not-noted": "Note the temperature of the damper at every test.",
    "dead-stroke": (
        "A dead stroke mixes with the damping at low speed: have the damper filled and bled to the same level, "
        "then test again."
    ),
    "fade": "Run the damper warm before the test, so that it does not drift within it.",
    "other-ground": "Drive the same line before and after, and stand still for five seconds at either end.",
    "other-jump": "Make the jumps before and after over the same ramp at the same speed.",
    "other-pace": "Drive at the same pace before and after: pace alone moves every figure.",
    "frequency-shift": "Check tyre pressure, load and spring: the corner itself swung differently.",
}


def surer_change(comparison: Comparison) -> tuple[str, ...]:
    """Say how to be surer of what a change did; empty where nothing would help that is known here."""
    notes = (*comparison.confounders, *comparison.notes)
    return _surer(
        (("before", comparison.before), ("after", comparison.after)),
        [note for note in notes if note.code != "dead-stroke" or _dead_stroke_left(comparison)],
        judged=True,
        scale=_scale_first(comparison),
    )


def _scale_first(comparison: Comparison) -> bool:
    """Say whether a slow push on a scale is what helps most wherever the answer is open."""
    best = [side.remedies[0].kind for name in SIDES if (side := comparison.side(name)).remedies]
    return bool(best) and set(best) == {"scale"}


def _dead_stroke_left(comparison: Comparison) -> bool:
    """Say whether the damper, as it is after the change, may still have a dead stroke."""
    pairs = [
        (comparison.before.fit.side(s).dead_stroke, comparison.after.fit.side(s).dead_stroke) for s in SIDES
    ]
    return any(
        has_dead_stroke(after) or (has_dead_stroke(before) and not cured(before, after))
        for before, after in pairs
    )


def surer_pair(pair: PairMatch) -> tuple[str, ...]:
    """Say how to be surer whether two dampers are alike."""
    return _surer((("one", pair.one), ("other", pair.other)), (*pair.confounders, *pair.notes), judged=False)


def _surer(
    judged_runs: tuple[tuple[str, Judgement], tuple[str, Judgement]],
    notes: Iterable[Note],
    *,
    judged: bool,
    scale: bool = False,
) -> tuple[str, ...]:
    """Give the advice; `scale` : what is open is friction and gas force, which repeats leave as open as before."""
    notes = tuple(notes)
    points = [_REMEDY[note.code] for note in notes if note.code == "different-kinds"]
    fits = [judgement.fit for _, judgement in judged_runs]
    for side in SIDES:
        unseen = next((fit for fit in fits if not fit.side(side).seen), None)
        if unseen is not None and any(fit.side(other).seen for fit in fits for other in SIDES):
            points.append(f"To see {side}: {SHOWING[unseen.kind][side]}.")
    first = judged_runs[0][1]
    if judged and first.corner is None and fits[0].kind in ON_A_BENCH:
        points.append(
            "Describe the machine: mass, spring and motion ratio of the corner turn damping into a ratio."
        )
    if judged and first.corner is None and fits[0].kind == "bounce":
        points.append(
            "Describe the machine: its target says where the ratio should be, and mass, spring and tyre make it surer."
        )
    if scale:
        points.append(
            f"{SCALE_ADVICE[:1].upper()}{SCALE_ADVICE[1:]}: friction and gas force are most of what is open."
        )
    single = [] if scale else [label for label, judgement in judged_runs if _single(judgement.fit)]
    kinds = {fit.kind for fit in fits}
    if single and not ("bounce" in kinds and len(kinds) > 1):
        where = "each test" if len(single) > 1 else f"the test '{single[0]}'"
        how = ", with the damper taken off and mounted again in between" if fits[0].kind in ON_A_BENCH else ""
        again = f"Make {where} a second time{how}: the scatter from run to run is then measured instead of allowed for."
        points.append(_MORE.get(fits[0].kind, again))
    points += [_REMEDY[note.code] for note in notes if note.code in _REMEDY]
    return tuple(dict.fromkeys(points))


def _single(fit: Fit) -> bool:
    """Say whether nothing in there is a repeat; several jumps in one recording repeat each other."""
    return fit.runs < 2 and not (isinstance(fit, JumpFit) and len(fit.jumps) > 1)
