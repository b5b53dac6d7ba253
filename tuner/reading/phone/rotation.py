"""Rotation rates of a phone: their unit, and their values at the times of the accelerometer.

Takes streams; gives streams in rad/s.

In the phone's axes a resting direction g turns by dg/dt = -omega x g (kinematics of a rotating frame, any mechanics
book): so the accelerometer's slow part tells rad/s from deg/s where the file names no unit.
"""

from __future__ import annotations

import numpy as np

from tuner.estimates import Array
from tuner.reading.phone.layout import AXES, Part, given_units
from tuner.reading.sensor.clock import Stream
from tuner.reading.table.columns import Source
from tuner.units import GRAVITY, to_si

FASTEST = 70.0  # rad/s, twice the usual range of 2000 deg/s
STEP = 0.4  # s, of the windows over which gravity's turning is looked at
NEAR = 0.06  # of gravity: how near the specific force must be
WRONG = 8.0  # times too fast or too slow: another unit, not a poor fit
ALIKE = 0.7  # cosine between both turnings from which they are the same


def rotations(source: Source, part: Part, stream: Stream, streams: dict[str, Stream]) -> Stream:
    """Give the rotation rates in rad/s; without a named unit, the turning of gravity tells rad/s from deg/s.

    Raises ReadError when the unit stays open, or when the named one turns gravity many times too fast or too slowly.
    """
    units = given_units(source, "rotation", part, "angular rate")
    values = stream.values
    if units[0]:
        names = [f"the {axis} axis of the rotation" for axis in AXES]
        values = np.column_stack(
            [
                to_si(values[:, i], "angular rate", unit, name=name)
                for i, (unit, name) in enumerate(zip(units, names, strict=True))
            ]
        )
        scale = turning_scale(stream.with_values(values), streams)
        if scale > 0.0 and not 1.0 / WRONG < scale < WRONG:
            raise source.refuse(
                "must have rotation rates that turn gravity as its accelerometer shows it",
                f"read in {units[0]}, they turn it {1.0 / scale:.3g} times as fast",
                "Say the right unit with --unit rotation_x=rad/s or --unit rotation_x=deg/s.",
            )
    elif not source.sheet.assume_si:
        scale = turning_scale(stream, streams)
        unit = next((u for u, s in (("rad/s", 1.0), ("deg/s", np.pi / 180)) if 0.6 < scale / s < 1.7), "")
        if not unit:
            raise source.refuse(
                "must name the unit of its rotation rates",
                "it names none, and the recording turns too little to tell rad/s from deg/s",
                "Say it with --unit rotation_x=rad/s or --unit rotation_x=deg/s.",
            )
        source.settled.update(dict.fromkeys(part.roles, unit))
        source.decided.append(f"the rotation is in {unit}: so it turns gravity as the accelerometer shows it")
        values = to_si(values, "angular rate", unit)
    peak = float(np.max(np.abs(values)))
    if peak > FASTEST:
        raise source.refuse(
            f"must have rotation rates of at most {FASTEST:g} rad/s",
            f"the highest is {peak:.4g} rad/s",
            "Check the unit: --unit rotation_x=rad/s or deg/s.",
        )
    return stream.with_values(values)


def turning_scale(rotation: Stream, streams: dict[str, Stream]) -> float:
    """Give the factor that makes the rotation rates turn gravity as the accelerometer shows it; 0 when unclear.

    Means over windows are compared by least squares, only where the specific force is close to gravity before, during
    and after, and only where the rates are among the highest of those; both must turn about the same axis.
    """
    name = "acceleration" if "acceleration" in streams else "gravity"
    if name not in streams:
        return 0.0
    stream = streams[name]
    edges = np.arange(stream.time[0], stream.time[-1], STEP)
    if edges.size < 6:
        return 0.0
    slow, rate = window_means(stream, edges), window_means(rotation, edges)
    near = np.abs(np.linalg.norm(slow, axis=1) / GRAVITY - 1.0) < NEAR
    turned = (slow[2:] - slow[:-2]) / (2.0 * STEP)
    if not near.any():
        return 0.0
    usual = np.median(slow[near], axis=0)  # not the one of the moment: in a bend that one leans
    expected = -np.cross(rate[1:-1], usual)
    whole = np.isfinite(expected).all(axis=1) & np.isfinite(turned).all(axis=1)
    good = near[2:] & near[1:-1] & near[:-2] & whole
    power = np.where(good, (expected**2).sum(axis=1), 0.0)
    strong = power > 0.1 * power.max(initial=0.0)
    a, b = expected[strong].ravel(), turned[strong].ravel()
    if not a.size or float(b @ b) == 0.0:
        return 0.0
    together = float(a @ b) / float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / float(a @ a) if together > ALIKE else 0.0


def window_means(stream: Stream, edges: Array) -> Array:
    """Mean of each channel between one edge [s] and the next, (edges - 1, k); NaN where there is no sample."""
    at = np.searchsorted(stream.time, edges)
    at = np.clip(at, 0, stream.time.size - 1)
    sums = np.add.reduceat(stream.values, at, axis=0)
    counts = np.diff(np.append(at, stream.time.size))
    means = sums / np.maximum(counts, 1)[:, None]
    means[counts == 0] = np.nan
    return np.asarray(means[:-1])


def at_times(stream: Stream, time: Array) -> Array:
    """Give a stream's values at other times by lines between samples, (n, k)."""
    return np.column_stack([np.interp(time, stream.time, channel) for channel in stream.values.T])
