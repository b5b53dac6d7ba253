"""A phone's sensors in one file: one stream per sensor in SI, gravity in or out, and where it is at rest.

Takes a `Source`; gives a `Phone`.

A unit that the file does not name is settled where physics leaves nothing open: at rest an accelerometer reads gravity,
and a gyroscope turns the direction of gravity.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tuner.estimates import Array
from tuner.reading.phone.layout import Part, given_units, parts_of
from tuner.reading.phone.rotation import at_times, rotations, window_means
from tuner.reading.sensor.clock import Stream, stream_of, whole_table
from tuner.reading.table.columns import Source
from tuner.signals.rests import Rest, find_rests
from tuner.units import GRAVITY, to_si

STILL = 0.6  # spread of tenth-of-a-second means that counts as rest [m/s**2]
WINDOW = 0.5  # s, over which means tell gravity in from gravity out
STRONGEST = 1000.0  # m/s**2, beyond any phone's range


@dataclass(frozen=True, slots=True, eq=False)
class Phone:
    """The streams of one recording, values in SI along the phone's axes; `vertical` has one column.

    still : stretches at rest, by the stream of the acceleration (its mean vector with each).
    """

    streams: dict[str, Stream]
    gravity_in: bool
    still: tuple[Rest, ...] = field(default=())

    @property
    def main(self) -> Stream:
        """The stream that shows the motion."""
        return self.streams[self.main_name]

    @property
    def force(self) -> Array | None:
        """Specific force (n, 3) with gravity in, from columns of gravity where it was taken out; None without."""
        values = self.main.values
        if values.shape[1] != 3 or self.gravity_in:
            return values if values.shape[1] == 3 else None
        if "gravity" not in self.streams:
            return None
        return values + at_times(self.streams["gravity"], self.main.time)

    @property
    def main_name(self) -> str:
        """Name of that stream."""
        return next(s for s in ("acceleration", "linear", "vertical") if s in self.streams)


def read_phone(source: Source) -> Phone:
    """Read every sensor of the file; raises ReadError or UnitError when the file leaves something open."""
    table = whole_table(source)
    parts = parts_of(source, table)
    raw: dict[str, Stream] = {}
    for sensor, part in parts.items():
        own_time = sensor == "rotation" and source.has("rotation_time")
        role = "rotation_time" if own_time else "time"
        raw[sensor] = stream_of(source, table, role, part.values, part.rows, part.lost)
    streams = {
        sensor: _accelerations(source, sensor, parts[sensor], stream)
        for sensor, stream in raw.items()
        if sensor not in ("rotation", "orientation")
    }
    gravity_in, still = _gravity_in(source, streams)
    if "rotation" in raw:
        streams["rotation"] = rotations(source, parts["rotation"], raw["rotation"], streams)
    if "orientation" in raw:
        streams["orientation"] = raw["orientation"]
    return Phone(streams, gravity_in, still)


def _accelerations(source: Source, sensor: str, part: Part, stream: Stream) -> Stream:
    """Give the stream in m/s**2; without a named unit, gravity at rest tells m/s**2 from g."""
    roles, units = part.roles, given_units(source, sensor, part, "acceleration")
    values = stream.values
    if units[0]:
        source.settled.update(dict(zip(roles, units, strict=True)))
        values = np.column_stack(
            [
                to_si(
                    values[:, i],
                    "acceleration",
                    u,
                    name=f"column {source.sheet.table.names[source.index(r)]!r}",
                )
                for i, (u, r) in enumerate(zip(units, roles, strict=True))
            ]
        )
    elif not source.sheet.assume_si:
        values = values * _scale_by_gravity(source, sensor, roles, stream)
    peak = float(np.max(np.abs(values)))
    if peak > STRONGEST:
        raise source.refuse(
            f"must have accelerations of at most {STRONGEST:g} m/s**2",
            f"the highest {sensor} is {peak:.4g} m/s**2",
            f"Check the unit: --unit {(roles or ('acceleration_x',))[0]}=m/s**2 or g.",
        )
    return stream.with_values(values)


def _scale_by_gravity(source: Source, sensor: str, roles: tuple[str, ...], stream: Stream) -> float:
    """Find m/s**2 or g from what the sensor reads at rest; raises ReadError when gravity is not in it."""
    size = np.linalg.norm(stream.values, axis=1)
    at_rest = [
        float(np.linalg.norm(r.mean)) for r in find_rests(stream.time, stream.values, 0.06 * _high(size))
    ]
    reading = float(np.median(at_rest)) if at_rest else float(np.median(size))
    for unit, scale in (("m/s**2", 1.0), ("g", GRAVITY)):
        if abs(reading * scale / GRAVITY - 1.0) < 0.07:
            source.decided.append(f"the {sensor} is in {unit}: at rest it reads {reading:.3g}")
            source.settled.update(dict.fromkeys(roles, unit))
            return scale
    role = (roles or (f"{sensor}_x",))[0]
    raise source.refuse(
        f"must name the unit of its {sensor}",
        f"it names none, and at rest it reads {reading:.3g}, neither 9.81 (m/s**2) nor 1 (g)",
        f"Say it with --unit {role}=m/s**2 or --unit {role}=g.",
    )


def _high(size: Array) -> float:
    return float(np.median(size)) or 1.0


def _gravity_in(source: Source, streams: dict[str, Stream]) -> tuple[bool, tuple[Rest, ...]]:
    """Settle whether gravity is in the main stream, by its means over half seconds; the setting overrules.

    With gravity in, most of those means are of the size of gravity, in flight they vanish; with gravity out it is the
    other way round.
    """
    name = next(s for s in ("acceleration", "linear", "vertical") if s in streams)
    stream = streams[name]
    still = find_rests(stream.time, stream.values, STILL)
    said = source.options.choice("gravity")
    if said:
        source.decided.append(f"gravity is {said}, as the settings say")
        return said == "in", still
    means = window_means(stream, np.arange(stream.time[0], stream.time[-1] + WINDOW, WINDOW))
    size = np.linalg.norm(means[np.isfinite(means).all(axis=1)], axis=1)
    heavy = float(np.mean(np.abs(size / GRAVITY - 1.0) < 0.25)) if size.size else 0.0
    light = float(np.mean(size < 0.25 * GRAVITY)) if size.size else 0.0
    at_rest = [float(np.linalg.norm(r.mean)) for r in still]
    typical = float(np.median(at_rest or size if size.size else [0.0]))
    if max(heavy, light) < 0.4 or (light > heavy and at_rest and abs(typical - 1.0) < 0.07):
        raise source.refuse(
            "must read 9.81 m/s**2 at rest (gravity in) or about zero (gravity out)",
            f"it reads {typical:.3g} m/s**2",
            "Check the unit (--unit acceleration_x=g, for example), or say --set gravity=in or --set gravity=out.",
        )
    if heavy > light:
        source.decided.append(
            f"gravity is in: the acceleration reads {np.median(size):.2f} m/s**2 most of the time"
        )
        return True, still
    source.decided.append("gravity is out: the acceleration reads about zero most of the time")
    return False, still


def check_strength(source: Source, signal: Array) -> None:
    """Refuse a signal without motion."""
    if float(np.ptp(signal)) < 0.3:
        raise source.refuse(
            "must show a motion",
            f"the acceleration changes by {float(np.ptp(signal)):.2g} m/s**2 in all",
            "Check that the recording covers the test and that the right columns were chosen.",
        )
