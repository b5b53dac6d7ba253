"""Measures of several drives or flights of one setting put together: means over runs, their scatter as interval.

Takes fits of one kind; gives the ``measures`` of the whole. Uses: estimates, results, travel's and flight's values.

A drive or a jump differs from the next by more than its own recording shows (line, pace, throttle), so the interval of
a mean is the scatter between the runs by Student's t, and never less than what the runs say of themselves.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tuner.estimates import NORMAL_95, Estimate, Note, student_95
from tuner.fitting.results import DampingFit
from tuner.records import SIDES

PACKING_ROWS = 3  # rows of bumps from which packing down can be told


def mean_over(values: Sequence[Estimate]) -> Estimate:
    """Mean of at least one estimate: the single one's own interval, else the scatter by Student's t.

    An interval without an upper bound leaves the mean without one.
    """
    if len(values) == 1:
        return values[0]
    numbers = np.array([v.value for v in values])
    half = student_95(len(numbers) - 1) * float(numbers.std(ddof=1)) / math.sqrt(len(numbers))
    own = math.sqrt(sum(v.sd**2 for v in values if math.isfinite(v.sd))) / len(values) * NORMAL_95
    mean, half = float(numbers.mean()), max(half, own)
    high = math.inf if any(math.isinf(v.high) for v in values) else mean + half
    return Estimate(mean, mean - half, high, values[0].unit)


def mean_of_known(values: Sequence[Estimate | None]) -> Estimate | None:
    """Mean of those that are known, None when none is."""
    known = [v for v in values if v is not None]
    return mean_over(known) if known else None


def combined_drive(fits: Sequence[DampingFit]) -> dict[str, object]:
    """Put the measures of several drives together."""
    each: list[Mapping[str, Any]] = [fit.measures for fit in fits]
    rows = tuple(row for m in each for row in m["bump_rows"])
    longest = max(each, key=lambda m: float(m["duration"]))
    return {
        "time_share": _shares([m["time_share"] for m in each]),
        "peak_speed": {side: mean_of_known([m["peak_speed"][side] for m in each]) for side in SIDES},
        "highest_speed": {side: max(float(m["highest_speed"][side]) for m in each) for side in SIDES},
        "mean_position": mean_of_known([m["mean_position"] for m in each]),
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
    from dataclasses import replace

    found = []
    for classes in zip(*runs, strict=True):
        mean = mean_over([one.share for one in classes])
        low, high = min(max(mean.low, 0.0), mean.value), max(min(mean.high, 1.0), mean.value)
        found.append(replace(classes[0], share=Estimate(mean.value, low, high, "1")))
    return tuple(found)


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
    """Means over jumps (at least one) of airtime, pitch rate, rotation and landing peak, and the jumps."""
    turning = directed(jumps)
    return {
        "airtime": mean_over([j.airtime for j in jumps]),
        "pitch_rate": mean_of_known([j.pitch_rate for j in turning]),
        "rotation": mean_of_known([j.rotation for j in turning]),
        "landing_peak": mean_over([j.landing_peak for j in jumps]),
        "jumps": tuple(jumps),
    }


def directed(jumps: Sequence[Any]) -> list[Any]:
    """Jumps with a rotation that can be averaged: those with a known direction, else all with a size."""
    turning = [j for j in jumps if j.pitch_rate is not None]
    known = [j for j in turning if j.sign_known]
    return known if known else turning


def settled(notes: Sequence[Note], measures: Mapping[str, object]) -> tuple[Note, ...]:
    """Leave out the doubts of single runs that all runs together have settled."""
    jumps = measures.get("jumps")
    gone = {"packing-unknown"} if measures.get("packing") is not None else set()
    if isinstance(jumps, tuple) and len(jumps) > 1:
        gone.add("one-jump")
    return tuple(note for note in notes if note.code not in gone)
