"""A jump: a phone strapped to the frame, accelerations with gravity in and rotation rates.

Takes a `Source`; gives a `FlightRecord`.
"""

from __future__ import annotations

from tuner.estimates import Array, Estimate, Note
from tuner.reading.phone import layout
from tuner.reading.phone.motion import check_flight
from tuner.reading.phone.orientation import axis_of
from tuner.reading.phone.rotation import at_times
from tuner.reading.phone.sensors import Phone, read_phone
from tuner.reading.sensor.clipping import clipping
from tuner.reading.table.columns import Matched, Source
from tuner.reading.table.options import conditions_of
from tuner.records import FlightRecord

ROLES = layout.ROLES
NEEDS = "time, acceleration along three axes with gravity in, and rotation rates about them if there are any"
SLOW = 50.0  # Hz: at less, airtimes are coarse
RANGE = 15.0


def recognises(matched: Matched) -> str:
    """Say why the columns can be those of a jump, "" when they cannot."""
    return layout.phone_columns(matched)


def read(source: Source) -> FlightRecord:
    """Read a jump; raises ReadError or UnitError when the file leaves something open or holds something else."""
    phone = read_phone(source)
    time, force, rotation, notes = with_gravity(source, phone)
    check_flight(source, phone, time, force, rotation)
    share, limits = clipping(force, RANGE)
    notes += limits
    rate = phone.main.rate
    if rate < SLOW:
        notes.append(Note("slow-sampling", case="jump", rate=rate))
    asked = source.options.choice("nose_up_axis")
    nose_up = None
    if asked:
        x, y, z = (float(v) for v in axis_of(asked))
        nose_up = (x, y, z)
        source.decided.append(
            f"a right-hand turn about the phone's {asked} axis lifts the nose, as the settings say"
        )
    roles = layout.roles_used(
        source, phone.main_name, "rotation", *(() if phone.gravity_in else ("gravity",))
    )
    read = f"{time.size} samples of specific force" + (", rotation" if rotation is not None else "")
    return FlightRecord(
        time,
        force,
        rotation,
        nose_up,
        source.provenance(roles, read, rate),
        conditions_of(source.options),
        phone.main.quality(share, [*source.sheet.notes, *notes]),
    )


def with_gravity(source: Source, phone: Phone) -> tuple[Array, Array, Array | None, list[Note]]:
    """Give time, specific force with gravity in, rotation rates at the same times, and doubts."""
    stream = phone.main
    time, force = stream.time, phone.force
    notes: list[Note] = []
    if force is None:
        raise source.refuse(
            "must have gravity in its accelerations, for the airtime is where it vanishes",
            "the acceleration reads about zero most of the time: gravity was taken out, or the phone fell all the time",
            "Record the plain accelerometer (with gravity), or the columns of gravity beside it.",
        )
    if not phone.gravity_in:
        source.decided.append(
            "specific force is the acceleration without gravity plus the columns of gravity"
        )
    turning = phone.streams.get("rotation")
    rotation = None
    if turning is not None:
        rotation, other = at_times(turning, time), turning.time
        near = 2.0 / turning.rate  # at both ends the nearest sample counts
        inside = (time >= other[0] - near) & (time <= other[-1] + near)
        outside = int((~inside).sum())
        if outside:
            if inside.sum() < 0.5 * time.size:
                raise source.refuse(
                    "must have accelerations and rotation rates of the same time",
                    f"they share {int(inside.sum())} of {time.size} samples",
                    "Check the columns of time (--column time=NAME, --column rotation_time=NAME).",
                )
            lost = float(time[-1] - time[0]) * outside / time.size
            if lost > 0.5:
                notes.append(Note("no-rotation", time=Estimate.exact(lost, "s")))
            time, force, rotation = time[inside], force[inside], rotation[inside]
        if abs(turning.rate / stream.rate - 1.0) > 0.05:
            source.decided.append(
                f"rotation ({turning.rate:.0f} a second) was put on the times of the acceleration "
                f"({stream.rate:.0f} a second)"
            )
    return time, force, rotation, notes
