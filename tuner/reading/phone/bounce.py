"""A bounced end: a phone's accelerations, or a travel sensor, into the body's vertical trace.

Takes a `Source`; gives a `BounceRecord`.
"""

from __future__ import annotations

import numpy as np

from tuner.estimates import Array, Estimate, Note
from tuner.reading.phone import layout, sensors
from tuner.reading.phone.motion import check_bounce
from tuner.reading.phone.vertical import vertical_of
from tuner.reading.sensor import position
from tuner.reading.sensor.clipping import clipping
from tuner.reading.table.columns import Matched, Source
from tuner.reading.table.options import conditions_of
from tuner.records import BounceRecord
from tuner.signals.rests import Rest

ROLES = (*layout.ROLES, *position.READINGS)
NEEDS = "time and acceleration along three axes, or time and shaft travel"
SLOW, TOO_SLOW = 80.0, 30.0  # Hz: the wheel hops at 10 to 15 Hz, and five samples to a swing are the least
RANGE = 15.0  # m/s**2: no phone's range ends below that


def recognises(matched: Matched) -> str:
    """Say why the columns can be those of a bounce, "" when they cannot."""
    return layout.phone_columns(matched) or position.travel_columns(matched) or _single(matched)


def _single(matched: Matched) -> str:
    if not matched.has("time"):
        return ""
    if matched.has("vertical"):
        return "time and vertical acceleration"
    if matched.has("acceleration_z") and not (matched.has("acceleration_x") or matched.has("acceleration_y")):
        return "time and acceleration along one axis"
    return "time and the size of an acceleration" if matched.has("magnitude") else ""


def read(source: Source) -> BounceRecord:
    """Read a bounce; raises ReadError or UnitError when the file leaves something open or holds something else."""
    chosen = any(r in source.options.columns for r in position.READINGS)
    travel = position.travel_columns(source.matched)
    moving = layout.phone_columns(source.matched) or (not travel and _single(source.matched))
    return _by_phone(source) if moving and not chosen else _by_sensor(source)


def _rate(source: Source, rate: float) -> list[Note]:
    if rate < TOO_SLOW:
        raise source.refuse(
            f"must have at least {TOO_SLOW:g} samples a second to show a bounce",
            f"it has {rate:.3g}",
            "Set the sensor to 100 a second or more, often called fastest, and bounce again.",
        )
    if rate < SLOW:
        return [Note("slow-sampling", case="bounce", rate=rate)]
    return []


def _by_phone(source: Source) -> BounceRecord:
    seen = sensors.read_phone(source)
    stream = seen.main
    notes = _rate(source, stream.rate)
    found = vertical_of(source, seen)
    part = slice(found.first, found.last)
    time, values = stream.time[part], stream.values[part]
    share, limits = clipping(values, RANGE)
    sensors.check_strength(source, found.signal)
    notes += [*found.notes, *limits, *check_bounce(source, seen, time, found.signal)]
    notes += _engine(time, found.signal, stream.rate, seen.still)
    roles = layout.roles_used(source, seen.main_name, *found.sensors)
    return BounceRecord(
        time,
        found.signal,
        "acceleration",
        source.provenance(
            roles, f"{time.size} samples of vertical acceleration, gravity out, + up", stream.rate
        ),
        conditions_of(source.options),
        stream.quality(share, [*source.sheet.notes, *notes]),
    )


def _by_sensor(source: Source) -> BounceRecord:
    trace = position.read_sensor(source)
    notes = _rate(source, trace.stream.rate)
    return BounceRecord(
        trace.stream.time,
        trace.travel,
        "travel",
        source.provenance(position.ROLES, f"{trace.travel.size} samples of shaft travel", trace.stream.rate),
        conditions_of(source.options),
        trace.stream.quality(trace.clipped_share, [*source.sheet.notes, *trace.notes, *notes]),
    )


def _engine(time: Array, signal: Array, rate: float, still: tuple[Rest, ...]) -> list[Note]:
    """Look for an engine: one strong line above 20 Hz where the machine stands still."""
    longest = max(still, key=lambda r: r.duration, default=None)
    if longest is None or rate < 60.0:
        return []
    inside = (time >= longest.start) & (time <= longest.end)
    if inside.sum() < 64:
        return []
    step = 1.0 / rate
    grid = np.arange(longest.start, longest.end, step)
    even = np.interp(grid, time[inside], signal[inside])
    even = even - even.mean()
    window = np.hanning(even.size)
    power = np.abs(np.fft.rfft(even * window)) ** 2 / (window**2).sum() / even.size * 2.0
    frequency = np.fft.rfftfreq(even.size, step)
    high = frequency > 20.0
    if not high.any():
        return []
    at = int(np.flatnonzero(high)[np.argmax(power[high])])
    near = slice(max(at - 3, 0), at + 4)
    amplitude = float(np.sqrt(2.0 * power[near].sum()))
    share = float(power[near].sum() / max(power[high].sum(), 1e-300))
    if amplitude < 0.2 or share < 0.4:
        return []
    size, pitch = Estimate.exact(amplitude, "m/s**2"), Estimate.exact(float(frequency[at]), "Hz")
    return [Note("engine-vibration", size=size, pitch=pitch)]
