"""What a change did to the measures of drives and jumps, each with the interval of the difference.

Takes the fits of both settings, repeats combined; gives `Measured`. Uses: estimates, records, fitting, ground,
scatter, results.

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
from tuner.fitting.measures import directed, mean_over
from tuner.fitting.results import DampingFit

JUMP_MEASURES = (("airtime", "s"), ("pitch_rate", "rad/s"), ("rotation", "rad"), ("landing_peak", "m/s**2"))


class Measured(NamedTuple):
    """Changes of measures, what else could explain them, and remarks on how they were compared."""

    changes: tuple[MeasureChange, ...] = ()
    confounders: tuple[Note, ...] = ()
    notes: tuple[Note, ...] = ()
    ground: SharedGround | None = None


def measure_changes(before: DampingFit, after: DampingFit) -> Measured:
    """Compare measures of one kind of record; nothing for damping fits and for different kinds."""
    if before.kind != after.kind or not all("traces" in fit.measures for fit in (before, after)):
        return Measured()
    if before.kind == "flight":
        return Measured(_jump_changes(_jumps(before), _jumps(after)))
    if before.kind == "travel":
        ground = shared_ground(before.measures["traces"], after.measures["traces"])  # type: ignore[arg-type]
        return Measured(drive_changes(before, after, ground), pace_notes(ground), ground.notes, ground)
    return Measured()


def _jumps(fit: DampingFit) -> tuple[Any, ...]:
    jumps = fit.measures["jumps"]
    return jumps if isinstance(jumps, tuple) else ()


def _jump_changes(before: Sequence[Any], after: Sequence[Any]) -> tuple[MeasureChange, ...]:
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
            why = "the direction of the rotation is known on one side only: lift the nose once at the start of each"
            changes.append(MeasureChange(name, mean_over(one), mean_over(other), None, None, (why,)))
        else:
            changes.append(_jump_change(name, unit, one, other))
    return tuple(changes)


def _jump_change(
    name: str, unit: str, before: Sequence[Estimate], after: Sequence[Estimate]
) -> MeasureChange:
    one, other = (mean_over(values) if values else None for values in (before, after))
    if one is None or other is None:
        missing = " and ".join(when for when, value in (("before", one), ("after", other)) if value is None)
        return MeasureChange(name, one, other, None, None, (f"not known {missing}",))
    counts = f"{len(before)} jump{'s' if len(before) > 1 else ''} before, {len(after)} after"
    difference = difference_of(before, after, unit)
    if difference is None:
        why = f"{counts}: how far two jumps of one setting differ is not known, make three of each"
        return MeasureChange(name, one, other, apart(one, other), None, (why,))
    why = f"the interval is the scatter of the jumps ({counts})"
    changed = clear(difference, one)
    return MeasureChange(name, one, other, difference, changed, (*unseen(changed), why))
