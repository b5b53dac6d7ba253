"""What a change did to the measures of drives and jumps, each with the interval of the difference.

Takes the fits of both settings, repeats combined; gives `Measured`.

Jumps: several of each show their scatter (Welch). Drives: on ground that both passed, stretch by stretch, and run by
run where each setting was driven more than once; the wider interval counts. `changed` stays None where the
difference may be the ground's, or where one jump stands against one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from tuner.comparing.drives import drive_changes
from tuner.comparing.ground import SharedGround, pace_notes, shared_ground
from tuner.comparing.results import MeasureChange
from tuner.comparing.scatter import apart, clear, difference_of, unseen
from tuner.estimates import Estimate, Note
from tuner.fitting.measures import directed, mean_of_known, mean_over, unlike
from tuner.fitting.results import DriveFit, Fit, Jump, JumpFit

JUMP_MEASURES = (("airtime", "s"), ("pitch_rate", "rad/s"), ("rotation", "rad"), ("landing_peak", "m/s**2"))


class Measured(NamedTuple):
    """Changes of measures, what else could explain them, and remarks on how they were compared."""

    changes: tuple[MeasureChange, ...] = ()
    confounders: tuple[Note, ...] = ()
    notes: tuple[Note, ...] = ()
    ground: SharedGround | None = None


def measure_changes(before: Fit, after: Fit) -> Measured:
    """Compare measures of one kind of record; nothing for damping fits and for different kinds."""
    if isinstance(before, JumpFit) and isinstance(after, JumpFit):
        return Measured(_jump_changes(before.jumps, after.jumps), _other_jump(before.jumps, after.jumps))
    if isinstance(before, DriveFit) and isinstance(after, DriveFit):
        ground = shared_ground(before.traces, after.traces)
        return Measured(drive_changes(before, after, ground), pace_notes(ground), ground.notes, ground)
    return Measured()


def _other_jump(before: Sequence[Jump], after: Sequence[Jump]) -> tuple[Note, ...]:
    """Say when the jumps of each setting are of one kind, but not of the same one."""
    if not (before and after) or unlike(before) is not None or unlike(after) is not None:
        return ()
    apart = unlike((*before, *after))
    if apart is None:
        return ()
    return (Note("other-jump", why=apart),)


def _jump_changes(before: Sequence[Jump], after: Sequence[Jump]) -> tuple[MeasureChange, ...]:
    reasons = [
        Note("unlike-jumps", case="setting", when=when, why=why)
        for when, jumps in (("before", before), ("after", after))
        if (why := unlike(jumps)) is not None
    ]
    if reasons:
        return tuple(
            _listed(name, before, after, (*reasons, Note("like-with-like"))) for name, _ in JUMP_MEASURES
        )
    turning = directed(before), directed(after)
    signed = [any(jump.sign_known for jump in jumps) for jumps in turning]
    changes = []
    for name, unit in JUMP_MEASURES:
        turns = name in ("pitch_rate", "rotation")
        one, other = (
            [value for jump in jumps if (value := getattr(jump, name)) is not None]
            for jumps in (turning if turns else (before, after))
        )
        if turns and one and other and signed[0] != signed[1]:
            means = mean_over(one), mean_over(other)
            changes.append(MeasureChange(name, *means, None, None, (Note("direction-unknown"),)))
        else:
            changes.append(_jump_change(name, unit, one, other))
    return tuple(changes)


def _mean(name: str, values: Sequence[Estimate]) -> Estimate | None:
    return mean_of_known(values, "plain" if name in ("pitch_rate", "rotation") else "above zero")


def _listed(name: str, before: Sequence[Jump], after: Sequence[Jump], why: tuple[Note, ...]) -> MeasureChange:
    """Give a measure of jumps of which one setting's are unlike each other: each by itself, nothing to compare."""
    each = [
        tuple(value for jump in jumps if (value := getattr(jump, name)) is not None)
        for jumps in (before, after)
    ]
    means = [
        _mean(name, values) if unlike(jumps) is None else None
        for values, jumps in zip(each, (before, after), strict=True)
    ]
    single = [values if mean is None else () for values, mean in zip(each, means, strict=True)]
    return MeasureChange(name, means[0], means[1], None, None, why, each=(single[0], single[1]))


def _jump_change(
    name: str, unit: str, before: Sequence[Estimate], after: Sequence[Estimate]
) -> MeasureChange:
    one, other = (_mean(name, values) for values in (before, after))
    if one is None or other is None:
        missing = tuple(when for when, value in (("before", one), ("after", other)) if value is None)
        return MeasureChange(name, one, other, None, None, (Note("not-known", when=missing),))
    counts: dict[str, Any] = {"before": len(before), "after": len(after)}
    difference = difference_of(before, after, unit)
    if difference is None:
        why = Note("one-jump", case="each", **counts)
        return MeasureChange(name, one, other, apart(one, other), None, (why,))
    why = Note("scatter-of-jumps", **counts)
    changed = clear(difference, one)
    return MeasureChange(name, one, other, difference, changed, (*unseen(changed), why))
