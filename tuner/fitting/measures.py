"""Measures of several drives or flights of one setting put together: means over runs, their scatter as interval.

Takes fits of one kind; gives one fit of them all.

A drive or a jump differs from the next by more than its own recording shows (line, pace, throttle), so the interval of
a mean is the scatter between the runs by Student's t, and never less than what the runs say of themselves. Jumps that
are unlike each other, a throw and its rebound, have no mean: it would be no jump at all.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence, Set
from dataclasses import replace
from typing import TYPE_CHECKING, Literal, TypedDict

import numpy as np

from tuner.estimates import NORMAL_95, Estimate, Note, student_95
from tuner.fitting.results import DriveFit, Fit, Jump, JumpFit, SideFit, SpeedShare, StopContact
from tuner.records import SIDES, Conditions, Provenance, Quality, Side

if TYPE_CHECKING:
    from tuner.machine import Corner

PACKING_ROWS = 3  # rows of bumps from which packing down can be told

# How far two jumps of one kind differ at most, as a ratio; common practice, no source. The time in the air goes with
# the speed on the ramp, which a driver holds to about 15 % either way: 1.15 / 0.85 = 1.35, and some room. Landings
# scatter twice as far, with the slope and the place they hit.
AIRTIMES_APART, LANDINGS_APART = 1.5, 2.0

Bounded = Literal["plain", "above zero", "within one"]  # what values are possible at all


def mean_over(values: Sequence[Estimate], bounded: Bounded = "plain") -> Estimate:
    """Mean of at least one estimate: the single one's own interval, else the scatter by Student's t.

    `bounded` "above zero" carries the interval of a positive quantity on logarithms, "within one" that of a share on
    logits. An interval without an upper bound leaves the mean without one.
    """
    if len(values) == 1:
        return values[0]
    numbers = np.array([v.value for v in values])
    half = student_95(len(numbers) - 1) * float(numbers.std(ddof=1)) / math.sqrt(len(numbers))
    own = math.sqrt(sum(v.sd**2 for v in values if math.isfinite(v.sd))) / len(values) * NORMAL_95
    found = spread(float(numbers.mean()), max(half, own), values[0].unit, bounded)
    return replace(found, high=math.inf) if any(math.isinf(v.high) for v in values) else found


def spread(value: float, half: float, unit: str, bounded: Bounded) -> Estimate:
    """Give a value with the interval of that half width, as far as such values are possible."""
    if bounded == "above zero":
        return Estimate.above_zero(value, half, unit)
    if bounded == "within one":
        return Estimate.within_one(value, half)
    return Estimate(value, value - half, value + half, unit)


def mean_of_known(values: Sequence[Estimate | None], bounded: Bounded = "plain") -> Estimate | None:
    """Mean of those that are known, None when none is."""
    known = [v for v in values if v is not None]
    return mean_over(known, bounded) if known else None


def mean_position(values: Sequence[Estimate | None]) -> Estimate | None:
    """Mean ride position: of a sensor with a true zero it is positive, and carried so."""
    true_zero = all(v.value > 0.0 for v in values if v is not None)
    return mean_of_known(values, "above zero" if true_zero else "plain")


def combined_drive(fits: Sequence[DriveFit], sides: Mapping[Side, SideFit]) -> DriveFit:
    """Put several drives of one setting together."""
    rows = tuple(row for fit in fits for row in fit.bump_rows)
    longest = max(fits, key=lambda fit: fit.duration)
    packing = packing_of([row.sink for row in rows])
    return DriveFit(
        compression=sides["compression"],
        rebound=sides["rebound"],
        time_share=_shares([fit.time_share for fit in fits]),
        peak_speed={
            side: mean_of_known([fit.peak_speed[side] for fit in fits], "above zero") for side in SIDES
        },
        highest_speed={side: max(fit.highest_speed[side] for fit in fits) for side in SIDES},
        mean_position=mean_position([fit.mean_position for fit in fits]),
        mean_below_static=mean_of_known([fit.mean_below_static for fit in fits]),
        bottomed=_joined([fit.bottomed for fit in fits]),
        topped_out=_joined([fit.topped_out for fit in fits]),
        packing=packing,
        bump_rows=rows,
        main_frequencies=longest.main_frequencies,
        duration=float(sum(fit.duration for fit in fits)),
        traces=tuple(trace for fit in fits for trace in fit.traces),
        **of_records(fits, {"packing-unknown"} if packing is not None else set()),
    )


class OfRecords(TypedDict):
    """What a fit of several keeps of the records behind it."""

    runs: int
    inputs: tuple[Provenance, ...]
    conditions: tuple[Conditions, ...]
    quality: tuple[Quality, ...]
    notes: tuple[Note, ...]
    corner: Corner | None


def of_records(fits: Sequence[Fit], settled: Set[str] = frozenset()) -> OfRecords:
    """Put together what several fits keep of their records; doubts that all of them together have `settled` go."""
    notes = dict.fromkeys(note for fit in fits for note in fit.notes if note.code not in settled)
    return {
        "runs": sum(fit.runs for fit in fits),
        "inputs": tuple(provenance for fit in fits for provenance in fit.inputs),
        "conditions": tuple(conditions for fit in fits for conditions in fit.conditions),
        "quality": tuple(quality for fit in fits for quality in fit.quality),
        "notes": tuple(notes),
        "corner": fits[0].corner,
    }


def packing_of(sinks: Sequence[float]) -> Estimate | None:
    """Mean sink over the rows of bumps [m], its interval from their scatter; None with fewer than three rows."""
    if len(sinks) < PACKING_ROWS:
        return None
    return mean_over([Estimate.exact(sink, "m") for sink in sinks])


def _shares(runs: Sequence[Sequence[SpeedShare]]) -> tuple[SpeedShare, ...]:
    return tuple(
        replace(classes[0], share=mean_over([one.share for one in classes], "within one"))
        for classes in zip(*runs, strict=True)
    )


def _joined(contacts: Sequence[tuple[StopContact, ...] | None]) -> tuple[StopContact, ...] | None:
    """All contacts of all runs; None where one run cannot count them."""
    known = [each for each in contacts if each is not None]
    return tuple(one for each in known for one in each) if len(known) == len(contacts) else None


def combined_flight(fits: Sequence[JumpFit], sides: Mapping[Side, SideFit]) -> JumpFit:
    """Put several recordings of jumps together; every jump counts alike.

    Rotations of which only the size is known are left out where others are known with their direction.
    """
    jumps = tuple(jump for fit in fits for jump in fit.jumps)
    kept = of_records(fits, {"one-jump", "unlike-jumps"} if len(jumps) > 1 else set())
    kept["notes"] = (*kept["notes"], *jump_notes(jumps))
    return JumpFit(
        compression=sides["compression"],
        rebound=sides["rebound"],
        **flight_means(jumps),
        traces=tuple(trace for fit in fits for trace in fit.traces),
        **kept,
    )


class JumpMeans(TypedDict):
    """Means over jumps and the jumps themselves, as a `JumpFit` holds them."""

    airtime: Estimate | None
    pitch_rate: Estimate | None
    rotation: Estimate | None
    landing_peak: Estimate | None
    jumps: tuple[Jump, ...]


def flight_means(jumps: Sequence[Jump]) -> JumpMeans:
    """Means over jumps (at least one) of airtime, pitch rate, rotation and landing peak, and the jumps.

    Of jumps that are unlike each other there are no means: all four are None.
    """
    alike = unlike(jumps) is None
    turning = directed(jumps)
    return {
        "airtime": mean_over([jump.airtime for jump in jumps], "above zero") if alike else None,
        "pitch_rate": mean_of_known([jump.pitch_rate for jump in turning]) if alike else None,
        "rotation": mean_of_known([jump.rotation for jump in turning]) if alike else None,
        "landing_peak": mean_over([jump.landing_peak for jump in jumps], "above zero") if alike else None,
        "jumps": tuple(jumps),
    }


def unlike(jumps: Sequence[Jump]) -> Note | None:
    """Say how far jumps differ that are not jumps of one kind; None where they may be.

    Two of them must be apart by more than `AIRTIMES_APART` or `LANDINGS_APART`, even at the near ends of their
    intervals.
    """
    for name, limit in (("airtime", AIRTIMES_APART), ("landing_peak", LANDINGS_APART)):
        each = [getattr(jump, name) for jump in jumps]
        if max(e.low for e in each) > limit * min(e.high for e in each):
            times = max(e.value for e in each) / min(e.value for e in each)
            return Note("airtimes-apart" if name == "airtime" else "landings-apart", times=times)
    return None


def jump_notes(jumps: Sequence[Jump]) -> tuple[Note, ...]:
    """Say when jumps are unlike each other, and what to do."""
    why = unlike(jumps) if jumps else None
    return () if why is None else (Note("unlike-jumps", why=why),)


def directed(jumps: Sequence[Jump]) -> list[Jump]:
    """Jumps with a rotation that can be averaged: those with a known direction, else all with a size."""
    turning = [j for j in jumps if j.pitch_rate is not None]
    known = [j for j in turning if j.sign_known]
    return known if known else turning
