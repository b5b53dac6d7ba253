"""What the traces of a stroking bench are worth: whole cycles, clipping, stray samples, drift of the zero.

Takes arrays in SI; gives figures.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tuner.estimates import Array
from tuner.signals.limits import limits_of
from tuner.signals.thin import every_so_many

RARE = 0.002  # share of samples up to which some that stand alone are taken as faults
LEAST_CYCLES = 4  # of one test that show a drift
PHASES = 80  # of a cycle at which cycles are held against each other


class Cycle(NamedTuple):
    """One whole cycle: rows `start` ... `end`, duration [s], stroke [m], highest speed [m/s]."""

    start: int
    end: int
    duration: float
    stroke: float
    speed: float


def clipped(values: Array) -> float:
    """Share of samples that rest on the sensor's limit: a flat top or bottom with almost nothing beside it."""
    low, high = limits_of(values)
    return float(np.count_nonzero((values == low) | (values == high))) / max(values.size, 1)


def isolated(values: Array) -> NDArray[np.bool_]:
    """Mark samples that stand far off both their neighbours, (n,): a loose contact, not a damper.

    Far is more than half the span of nearly all samples. Where that is not rare, the recording is coarse, and nothing
    is marked.
    """
    out = np.zeros(values.size, dtype=bool)
    if values.size < 50:
        return out
    low, high = np.percentile(every_so_many(values), [1, 99])
    far = 0.5 * float(high - low)
    steps = np.diff(values)
    out[1:-1] = (np.abs(steps[:-1]) > far) & (np.abs(steps[1:]) > far) & (steps[:-1] * steps[1:] < 0.0)
    return out if far > 0.0 and out.sum() <= max(RARE * values.size, 1) else np.zeros(values.size, dtype=bool)


def _bounds(travel: Array) -> list[int]:
    """Rows at which whole cycles begin and end: one phase of the motion, that of which the record holds most.

    The phases are the middle on the way in, the middle on the way out, and the two turns; a half cycle counts
    when it goes through the middle by 0.3 of the half stroke on both sides.
    """
    low, high = (float(q) for q in np.percentile(every_so_many(travel), [1, 99]))
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    if half <= 0.0:
        return []
    state = np.zeros(travel.size, dtype=np.int8)
    state[travel > middle + 0.3 * half] = 1
    state[travel < middle - 0.3 * half] = -1
    known = np.flatnonzero(state)
    if known.size < 2:
        return []
    signs = state[known]
    change = np.flatnonzero(signs[:-1] != signs[1:])
    crossings: dict[int, list[int]] = {1: [], -1: []}
    for before, after in zip(known[change], known[change + 1], strict=True):
        way = int(state[after])
        through = way * (travel[before : after + 1] - middle) >= 0.0
        crossings[way].append(int(before) + int(np.argmax(through)))
    edges = [int(known[0]), *(int(known[c + 1]) for c in change), travel.size]
    turns: dict[int, list[int]] = {1: [], -1: []}
    for number, (start, end) in enumerate(itertools.pairwise(edges)):
        way = int(state[start])
        first = 0 if number == 0 else start
        place = first + int(np.argmax(way * travel[first:end]))
        inside = 0 < number < len(edges) - 2
        if inside or way * (travel[place] - middle) > 0.97 * half:  # the ends may stop short of the turn
            turns[way].append(place)
    last = travel.size - 1
    if abs(travel[0] - middle) < 0.05 * half:
        crossings[int(signs[0])].insert(0, 0)
    if abs(travel[last] - middle) < 0.05 * half:
        crossings[-int(signs[-1])].append(last)
    bounds = max((crossings[1], crossings[-1], turns[-1], turns[1]), key=len)
    if len(bounds) < 2 and change.size >= 2 and abs(travel[last] - travel[0]) < 0.05 * half:
        return [0, last]  # one cycle that begins and ends anywhere
    return bounds


def cycles_of(time: Array, travel: Array) -> list[Cycle]:
    """Find the whole cycles of a stroking motion, (n,) [s] and (n,) [m]."""
    found = []
    for start, end in itertools.pairwise(_bounds(travel)):
        part = travel[start : end + 1]
        clock = time[start : end + 1]
        if part.size < 8:
            continue
        width = max(1, part.size // 40)
        slope = np.abs(part[2 * width :] - part[: -2 * width]) / (clock[2 * width :] - clock[: -2 * width])
        place = slope.size - 1 - slope.size // 50  # the highest, but for the noise of a few samples
        speed = float(np.partition(slope, place)[place])
        found.append(Cycle(start, end, float(clock[-1] - clock[0]), float(part.max() - part.min()), speed))
    return found


def by_speed(cycles: Sequence[Cycle]) -> tuple[tuple[float, int], ...]:
    """Group cycles whose highest speeds lie within 15 %: (mean of that speed, number of cycles)."""
    groups: list[list[float]] = []
    for speed in sorted(c.speed for c in cycles):
        if groups and speed <= 1.15 * groups[-1][0]:
            groups[-1].append(speed)
        else:
            groups.append([speed])
    return tuple((float(np.mean(g)), len(g)) for g in groups)


class Drift(NamedTuple):
    """Drift of a zero over one test and its standard error [N]."""

    size: float
    error: float

    @property
    def clear(self) -> float:
        """What of the size stands beyond two standard errors [N]."""
        return max(abs(self.size) - 2.0 * self.error, 0.0)


def zero_drift(time: Array, travel: Array, force: Array, cycles: Sequence[Cycle]) -> Drift | None:
    """Drift of the force's zero over the cycles of one test, by a line; None with fewer than four cycles.

    Every cycle is held against the mean cycle, F = zero + gain_c (upper part) + gain_r (lower part), so that a damper
    that fades, or whose cycles differ in strength, does not look like a zero that moves. The parts are divided at the
    mean cycle's force at the two turns, where the damping is nil.
    """
    if len(cycles) < LEAST_CYCLES:
        return None
    cycles = cycles[:: max(1, len(cycles) // 300)]
    phase = np.linspace(0.0, 1.0, PHASES, endpoint=False)

    def laid(values: Array) -> Array:
        parts = [slice(c.start, c.end + 1) for c in cycles]
        clocks = [(time[p] - time[p.start]) / c.duration for p, c in zip(parts, cycles, strict=True)]
        return np.array([np.interp(phase, t, values[p]) for t, p in zip(clocks, parts, strict=True)])

    forces, mean_travel = laid(force), laid(travel).mean(axis=0)
    mean = forces.mean(axis=0)
    middle = 0.5 * float(mean[int(np.argmax(mean_travel))] + mean[int(np.argmin(mean_travel))])
    shift = np.roll(mean, -1) - np.roll(mean, 1)  # a cycle's start is known to a sample only
    design = np.column_stack(
        (np.ones(PHASES), np.maximum(mean - middle, 0.0), np.minimum(mean - middle, 0.0), shift)
    )
    # where the force jumps, a cycle read between two samples says little
    steep = np.abs(shift) / max(float(np.median(np.abs(shift))), 1e-12)
    root = 1.0 / np.hypot(1.0, steep)[:, None]
    zeros = np.linalg.lstsq(design * root, (forces - middle).T * root, rcond=None)[0][0]
    when = np.array([time[c.start] for c in cycles]) - time[cycles[0].start]
    off = when - when.mean()
    slope = float(off @ zeros / (off @ off))
    rest = zeros - zeros.mean() - slope * off
    error = float(np.sqrt(rest @ rest / (zeros.size - 2) / (off @ off)))
    return Drift(slope * float(when[-1]), error * float(when[-1]))
