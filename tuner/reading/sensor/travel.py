"""Shaft travel while driving: a linear sensor or a tracked video.

Takes a `Source`; gives a `TravelRecord`.
"""

from __future__ import annotations

import numpy as np

from tuner.estimates import Array, Estimate, Note
from tuner.reading.sensor import position
from tuner.reading.table.columns import Matched, Source
from tuner.reading.table.options import conditions_of
from tuner.records import TravelRecord

ROLES = position.ROLES
NEEDS = "time and shaft travel (mm, in, or volts or counts with a calibration)"
SLOW, TOO_SLOW = 100.0, 25.0  # Hz
BELOW = -0.005  # m: less than full extension by more than this is a wrong zero


def recognises(matched: Matched) -> str:
    """Say why the columns are those of a drive, "" when they are not."""
    return position.travel_columns(matched)


def read(source: Source) -> TravelRecord:
    """Read a drive; raises ReadError or UnitError when the file leaves something open."""
    trace = position.read_sensor(source)
    rate = trace.stream.rate
    notes = list(trace.notes)
    if rate < TOO_SLOW:
        raise source.refuse(
            f"must have at least {TOO_SLOW:g} samples a second to show how fast the shaft moves",
            f"it has {rate:.3g}",
            "Set the logger to 200 a second or more.",
        )
    if rate < SLOW:
        notes.append(Note("slow-sampling", case="drive", rate=rate))
    travel, more = _zeroed(source, trace)
    length = trace.stream.time[-1] - trace.stream.time[0]
    return TravelRecord(
        trace.stream.time,
        travel,
        source.provenance(ROLES, f"{travel.size} samples of shaft travel, {length:.1f} s", rate),
        conditions_of(source.options),
        trace.stream.quality(trace.clipped_share, [*source.sheet.notes, *notes, *more]),
    )


def _zeroed(source: Source, trace: position.SensorTrace) -> tuple[Array, list[Note]]:
    """Set the rest at the start to the static travel where it is given; doubt a zero that cannot be full extension."""
    travel = trace.travel
    static = source.options.amount("static_travel")
    if static is not None:
        if not trace.rests:
            raise source.refuse(
                "must stand still somewhere, to set the travel at rest",
                "it never does for half a second",
                "Stand still for five seconds before driving, or leave static_travel out.",
            )
        rest = max(trace.rests[:1] + trace.rests[-1:], key=lambda r: r.duration)
        shift = static - float(rest.mean[0])
        source.decided.append(
            f"the travel at rest was set to {static * 1e3:.1f} mm, a shift of {shift * 1e3:+.1f} mm"
        )
        travel = travel + shift
    low = float(np.min(travel))
    if low < BELOW:
        return travel, [Note("zero-unknown", lowest=Estimate.exact(low, "m"))]
    return travel, []
