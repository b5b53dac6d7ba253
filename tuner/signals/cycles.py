"""Where a stroking motion turns round, and the strokes between the turns.

Takes time and travel; gives turning times and stroke bounds. Uses: errors, numpy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuner.estimates import Array


@dataclass(frozen=True, slots=True, eq=False)
class Turns:
    """Turning points in their order: time (k,) [s], direction (k,) of the stroke that begins there (+1 in, -1 out).

    `travel` (k,) is the position of the turn [m].
    """

    time: Array
    travel: Array
    direction: Array


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

    A turn counts when the travel went through the middle by `hysteresis` times half its range on both sides. Its
    time is the middle between the last crossing of a level near the top on the way up and the first on the way
    down, which noise and quantisation of the flat top hardly move. Ends of the record are no turns.
    """
    low, high = np.percentile(
        travel if travel.size <= 1_000_000 else travel[:: travel.size // 500_000], [1, 99]
    )
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
    times, places, directions = [], [], []
    for number, (start, end) in enumerate(zip(starts, ends, strict=True)):
        sign = int(state[start])
        values = sign * (travel[start:end] - middle)
        top = float(np.max(values)) if values.size < 20 else float(np.partition(values, -5)[-5])
        level = 0.9 * top
        first_whole = number > 0
        last_whole = number < len(starts) - 1
        if not (first_whole and last_whole):
            # a stretch at an end of the record: a turn only when the travel comes from and goes below the level
            inside = np.flatnonzero(values >= level)
            if not (first_whole or inside[0] > 0) or not (last_whole or inside[-1] < values.size - 1):
                continue
        signed = sign * (travel[max(start - 1, 0) : min(end + 1, travel.size)] - middle)
        clock = time[max(start - 1, 0) : min(end + 1, travel.size)]
        up = _level_crossing(clock, signed, 0, signed.size, level, rising=True)
        down = _level_crossing(clock, signed, 0, signed.size, level, rising=False)
        times.append(0.5 * (up + down))
        places.append(middle + sign * top)
        directions.append(-float(sign))
    return Turns(np.array(times), np.array(places), np.array(directions))
