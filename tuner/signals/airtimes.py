"""Find the stretches in which a machine is in the air, from the specific force a phone measures.

Takes arrays of time and specific force; gives `Airtime` stretches.

In free flight an accelerometer reads about zero: what is left is the rotation (omega^2 times the distance from
the centre of gravity), air drag and vibration. The edges are where the clipped magnitude leaves that level, going
outward from the middle of the flight.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tuner.estimates import Array
from tuner.signals.thin import runs_of
from tuner.units import GRAVITY

SHORTEST = 0.15  # shorter stretches of low force are bumps, not jumps [s] (common practice, no source)
LAST_TOUCH = 0.12 * GRAVITY  # force above that in flight with which the last wheel leaves (trials, no source)
LEVER = 0.7  # distance of phone from centre of gravity allowed for in the threshold [m]


@dataclass(frozen=True, slots=True)
class Airtime:
    """One flight: first and last instant in the air [s], standard error of each edge [s], mean force left [m/s**2]."""

    start: float
    end: float
    start_sd: float
    end_sd: float
    force_left: float

    @property
    def duration(self) -> float:
        """Time in the air [s]."""
        return self.end - self.start


def _moving_mean(values: Array, width: int) -> Array:
    """Mean over `width` samples around each one, along the first axis; shorter windows at the ends."""
    total = np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])
    n = len(values)
    low = np.maximum(np.arange(n) - width // 2, 0)
    high = np.minimum(np.arange(n) + width - width // 2, n)
    counts = (high - low).reshape(-1, *([1] * (values.ndim - 1)))
    return np.asarray((total[high] - total[low]) / counts)


def _edge(time: Array, level: Array, inside: slice, toward: int, reach: float) -> tuple[float, float]:
    """Instant at which the force leaves its level in flight, going outward from it, and its standard error [s].

    The springs still push while the wheels droop, so the force fades out before the last wheel leaves the ground: the
    edge is where it has come within `LAST_TOUCH` of its level in flight, or within the noise. The error is the
    sampling step and the time that the force takes from twice to half of that, as a uniform distribution.
    """
    middle = level[inside]
    rest = float(np.median(middle))
    noise = 1.4826 * float(np.median(np.abs(middle - rest)))
    height = max(LAST_TOUCH, 4.0 * noise)
    step = float(np.median(np.diff(time)))
    start = inside.start if toward < 0 else inside.stop - 1
    far = float(time[start]) + toward * reach

    def crossing(limit: float) -> float:
        i = start
        while 0 <= i + toward < len(time) and level[i] <= limit and toward * (far - time[i]) > 0:
            i += toward
        if i == start or level[i] <= limit:
            return float(time[i])
        share = (limit - level[i - toward]) / (level[i] - level[i - toward])
        return float(time[i - toward] + share * (time[i] - time[i - toward]))

    ramp = abs(crossing(rest + 2.0 * height) - crossing(rest + 0.5 * height))
    return crossing(rest + height), math.hypot(step, ramp) / math.sqrt(12.0)


def find_airtimes(time: Array, force: Array, rotation: Array | None = None) -> tuple[Airtime, ...]:
    """Find every flight in a recording.

    Parameters
    ----------
    time : (n,) [s], rising; force : (n, 3) specific force, gravity in [m/s**2]; rotation : (n, 3) [rad/s] or None.

    Returns
    -------
    The flights in their order, empty when there is none. A flight that the recording cuts off at either end is left
    out, since its duration cannot be known.
    """
    step = float(np.median(np.diff(time)))
    smooth = np.linalg.norm(_moving_mean(force, max(1, round(0.05 / step))), axis=1)
    allowance = 0.0 if rotation is None else LEVER * (np.linalg.norm(_moving_mean(rotation, 5), axis=1) ** 2)
    low = smooth < 0.5 * GRAVITY + allowance
    merged: list[tuple[int, int]] = []
    for first, last in runs_of(low).tolist():
        if merged and time[first] - time[merged[-1][1] - 1] < 0.03:
            merged[-1] = (merged[-1][0], last)
        else:
            merged.append((first, last))
    clipped = np.minimum(
        np.linalg.norm(_moving_mean(force, max(1, round(0.012 / step))), axis=1), 1.2 * GRAVITY
    )
    found = []
    for first, last in merged:
        if first == 0 or last == len(time):
            continue
        length = float(time[last - 1] - time[first])
        if length < 0.8 * SHORTEST:
            continue
        middle = slice(first + (last - first) // 4, last - (last - first) // 4)
        left = float(np.median(smooth[middle]))
        spare = float(np.median(np.broadcast_to(allowance, smooth.shape)[middle]))
        if left > 0.35 * GRAVITY + spare:
            continue
        reach = 0.25 * length + 0.1
        start, start_sd = _edge(time, clipped, middle, -1, reach)
        end, end_sd = _edge(time, clipped, middle, +1, reach)
        if end - start >= SHORTEST:
            found.append(Airtime(start, end, start_sd, end_sd, left))
    return tuple(found)
