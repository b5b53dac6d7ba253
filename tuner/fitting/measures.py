"""Measures of several drives or flights of one setting put together: means over runs, their scatter as interval.

Takes fits of one kind; gives the ``measures`` of the whole.

A drive or a jump differs from the next by more than its own recording shows (line, pace, throttle), so the interval of
a mean is the scatter between the runs by Student's t, and never less than what the runs say of themselves. Jumps that
are unlike each other, a throw and its rebound, have no mean: it would be no jump at all.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np

from tuner.estimates import NORMAL_95, Estimate, Note, student_95
from tuner.fitting.results import DampingFit
from tuner.records import SIDES

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


def combined_drive(fits: Sequence[DampingFit]) -> dict[str, object]:
    """Put the measures of several drives together."""
    each: list[Mapping[str, Any]] = [fit.measures for fit in fits]
    rows = tuple(row for m in each for row in m["bump_rows"])
    longest = max(each, key=lambda m: float(m["duration"]))
    return {
        "time_share": _shares([m["time_share"] for m in each]),
        "peak_speed": {
            side: mean_of_known([m["peak_speed"][side] for m in each], "above zero") for side in SIDES
        },
        "highest_speed": {side: max(float(m["highest_speed"][side]) for m in each) for side in SIDES},
        "mean_position": mean_position([m["mean_position"] for m in each]),
        "mean_below_static": mean_of_known([m["mean_below_static"] for m in each]),
        "bottomed": _joined([m["bottomed"] for m in each]),
        "topped_out": _joined([m["topped_out"] for m in each]),
        "packing": packing_of([row.sink for row in rows]),
        "bump_rows": rows,
        "main_frequencies": longest["main_frequencies"],
        "duration": float(sum(m["duration"] for m in each)),
        "traces": tuple(trace for m in each for trace in m["traces"]),
    }


def packing_of(sinks: Sequence[float]) -> Estimate | None:
    """Mean sink over the rows of bumps [m], its interval from their scatter; None with fewer than three rows."""
    if len(sinks) < PACKING_ROWS:
        return None
    return mean_over([Estimate.exact(sink, "m") for sink in sinks])


def _shares(runs: Sequence[Sequence[Any]]) -> tuple[Any, ...]:
    return tuple(
        replace(classes[0], share=mean_over([one.share for one in classes], "within one"))
        for classes in zip(*runs, strict=True)
    )


def _joined(contacts: Sequence[tuple[Any, ...] | None]) -> tuple[Any, ...] | None:
    """All contacts of all runs; None where one run cannot count them."""
    if any(c is None for c in contacts):
        return None
    return tuple(one for c in contacts if c is not None for one in c)


def combined_flight(fits: Sequence[DampingFit]) -> dict[str, object]:
    """Put the measures of several recordings of jumps together; every jump counts alike.

    Rotations of which only the size is known are left out where others are known with their direction.
    """
    jumps = tuple(jump for fit in fits for jump in fit.measures["jumps"])  # type: ignore[attr-defined]
    return {**flight_means(jumps), "traces": tuple(t for fit in fits for t in fit.measures["traces"])}  # type: ignore[attr-defined]


def flight_means(jumps: Sequence[Any]) -> dict[str, object]:
    """Means over jumps (at least one) of airtime, pitch rate, rotation and landing peak, and the jumps.

    Of jumps that are unlike each other there are no means: all four are None.
    """
    if unlike(jumps) is not None:
        return {**dict.fromkeys(("airtime", "pitch_rate", "rotation", "landing_peak")), "jumps": tuple(jumps)}
    turning = directed(jumps)
    return {
        "airtime": mean_over([j.airtime for j in jumps], "above zero"),
        "pitch_rate": mean_of_known([j.pitch_rate for j in turning]),
        "rotation": mean_of_known([j.rotation for j in turning]),
        "landing_peak": mean_over([j.landing_peak for j in jumps], "above zero"),
        "jumps": tuple(jumps),
    }


def unlike(jumps: Sequence[Any]) -> Note | None:
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


def jump_notes(jumps: Sequence[Any]) -> tuple[Note, ...]:
    """Say when jumps are unlike each other, and what to do."""
    why = unlike(jumps) if jumps else None
    return () if why is None else (Note("unlike-jumps", why=why),)


def directed(jumps: Sequence[Any]) -> list[Any]:
    """Jumps with a rotation that can be averaged: those with a known direction, else all with a size."""
    turning = [j for j in jumps if j.pitch_rate is not None]
    known = [j for j in turning if j.sign_known]
    return known if known else turning


def settled(notes: Sequence[Note], measures: Mapping[str, object]) -> tuple[Note, ...]:
    """Leave out the doubts of single runs that all runs together have settled, and add what only all of them show."""
    jumps = measures.get("jumps")
    gone = {"packing-unknown"} if measures.get("packing") is not None else set()
    several = jumps if isinstance(jumps, tuple) else ()
    if len(several) > 1:
        gone |= {"one-jump", "unlike-jumps"}
    return (*(note for note in notes if note.code not in gone), *jump_notes(several))
