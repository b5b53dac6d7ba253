"""Where a stroking motion turns round, and the strokes between the turns.

Takes time and travel; gives turning times and stroke bounds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuner.estimates import Array
from tuner.signals.thin import every_so_many


@dataclass(frozen=True, slots=True, eq=False)
class Turns:
    """Turning points in their order: times (k,) [s], positions (k,) [m].

    direction (k,) of the stroke that begins there: +1 in, -1 out.
    """

    time: Array
    travel: Array
    direction: Array


SLOWER = (
    0.5  # an end of the record is a turn when the motion is slower there by this factor than in the middle
)


def _level_crossing(time: Array, values: Array, start: int, end: int, level: float, *, rising: bool) -> float:
    """Time at which `values[start:end]` first rises through (or last falls through) `level`."""
    part = values[start:end]
    above = part >= level
    if rising:
        i = int(np.argmax(above))
        if not above[i]:
            return float("nan")
        if i == 0:
            return float(time[start]) if start == 0 else _between(time, values, start - 1, level)
        return _between(time, values, start + i - 1, level)
    i = part.size - 1 - int(np.argmax(above[::-1]))
    if start + i + 1 >= values.size:
        return float(time[start + i])
    return _between(time, values, start + i, level)


def _between(time: Array, values: Array, i: int, level: float) -> float:
    low, high = float(values[i]), float(values[i + 1])
    share = 0.5 if high == low else min(max((level - low) / (high - low), 0.0), 1.0)
    return float(time[i] + share * (time[i + 1] - time[i]))


def turning_points(time: Array, travel: Array, *, hysteresis: float = 0.1) -> Turns:
    """Find the turns of a motion that strokes about one middle position.

    A turn counts when the travel went through the middle by `hysteresis` times half its range on both
    sides. Its time is the middle between the last crossing of a level near the top on the way up and the
    first on the way down, which noise and quantisation of the flat top hardly move. An end of the record
    counts as a turn when it lies within 3 % of the turn's height and the motion slows down towards it.
    """
    low, high = (float(q) for q in np.percentile(every_so_many(travel), [1, 99]))
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    if half <= 0:
        return Turns(np.empty(0), np.empty(0), np.empty(0))
    state = np.zeros(travel.size, dtype=np.int8)
    state[travel > middle + hysteresis * half] = 1
    state[travel < middle - hysteresis * half] = -1
    known = np.flatnonzero(state)
    signs = state[known]
    change = np.flatnonzero(np.diff(signs)) + 1
    starts = known[np.concatenate(([0], change))]
    ends = np.concatenate((known[change - 1] + 1, [known[-1] + 1]))
    inner = np.abs(travel - middle) < 0.5 * half
    steps = np.diff(time, append=time[-1])
    usual = (
        half * max(len(starts) - 1, 1) / max(float(np.sum(steps[inner])), 1e-300)
    )  # speed through the middle
    times, places, directions = [], [], []
    for number, (start, end) in enumerate(zip(starts, ends, strict=True)):
        sign = int(state[start])
        values = sign * (travel[start:end] - middle)
        top = float(np.max(values)) if values.size < 20 else float(np.partition(values, -3)[-3])
        level = 0.9 * top
        at_start, at_end = number == 0, number == len(starts) - 1
        first, last = max(start - 1, 0), min(end + 1, travel.size)
        signed, clock = sign * (travel[first:last] - middle), time[first:last]
        if (at_start and values[0] >= level) or (at_end and values[-1] >= level):
            turn = _turn_at_end(clock, signed, level, half, at_start=at_start and bool(values[0] >= level))
            near = clock[signed >= level]
            slow = 0.1 * top < SLOWER * usual * max(float(np.ptp(near)), 1e-300)
            if turn is None or not slow:
                continue
        else:
            up = _level_crossing(clock, signed, 0, signed.size, level, rising=True)
            down = _level_crossing(clock, signed, 0, signed.size, level, rising=False)
            turn = 0.5 * (up + down)
        times.append(turn)
        places.append(middle + sign * top)
        directions.append(-float(sign))
    return Turns(np.array(times), np.array(places), np.array(directions))


def _turn_at_end(time: Array, height: Array, level: float, half: float, *, at_start: bool) -> float | None:
    """Time of a turn that the record begins or ends with, None when the record starts or stops mid-way."""
    near = height >= level
    t, h = time[near], height[near]
    edge = float(t[0] if at_start else t[-1])
    edge_height = float(h[0] if at_start else h[-1])
    if t.size >= 5:
        scale = float(np.ptp(t)) or 1.0
        square, slope, _ = np.polyfit((t - edge) / scale, h, 2)
        if square < 0:
            vertex = edge - 0.5 * slope / square * scale
            if t[0] < vertex < t[-1]:
                return float(vertex)
    return edge if edge_height >= 0.97 * half else None
