"""One bench test cut into strokes, each reduced to averages over equal parts of its time.

Takes `CycleTest`; gives arrays of its strokes and how the force comes up after a turn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tuner.estimates import Array
from tuner.records import CycleTest
from tuner.signals.cycles import Turns, turning_points
from tuner.signals.differentiate import harmonic_velocity, noise_of, smooth_between, velocity_from_travel
from tuner.signals.limits import limits_of

PARTS = 64  # parts of a stroke
DENSE = 3  # samples that a part needs to be averaged; sparser strokes are interpolated
BLOCKS = 60  # strokes of one test and direction at most; longer tests are averaged over neighbouring cycles
SAME_SPEED = 0.08  # cycles whose durations differ by less belong to one speed
ONSETS = 40  # strokes of one direction that the rise after a turn is averaged over
ONSET_POINTS, ONSET_SHARE = 240, 0.45  # points, and the share of the stroke they cover


@dataclass(frozen=True, slots=True, eq=False)
class Onset:
    """How the force comes up after a turn, mean of several strokes of one test and direction.

    distance : (k,) from the turn [m]; travel, velocity, force : (k,) there; spacing : distance between two samples at
    `velocity`, over the root of the number of strokes [m], (k,).
    """

    direction: float
    distance: Array
    travel: Array
    velocity: Array
    force: Array
    spacing: Array


def same_speed_pieces(test: CycleTest) -> list[tuple[CycleTest, Turns]]:
    """Split a test where its speed changes; each piece comes with its turning points."""
    turns = turning_points(test.time, test.travel)
    if turns.time.size < 3 and _closes(test.time, test.travel):
        return [_twice(test)]
    if turns.time.size < 4:
        return [(test, turns)]
    lengths = turns.time[2:] - turns.time[:-2]
    jump = np.abs(np.diff(np.log(lengths))) > SAME_SPEED
    if not jump.any():
        return [(test, turns)]
    # label every stroke by the run of alike cycles it lies in; strokes between two runs are left out
    run = np.concatenate(([0], np.cumsum(jump)))
    pieces = []
    for number in np.unique(run):
        mine = np.flatnonzero(run == number)
        if mine.size < 1:
            continue
        first, last = int(mine[0]), int(mine[-1]) + 2
        low, high = np.searchsorted(test.time, turns.time[[first, last]])
        low, high = max(int(low) - 1, 0), min(int(high) + 1, test.time.size)
        if high - low < 16:
            continue
        velocity = None if test.velocity is None else test.velocity[low:high]
        piece = CycleTest(
            test.time[low:high], test.travel[low:high], test.force[low:high], velocity, test.label
        )
        chosen = slice(first, last + 1)
        pieces.append((piece, Turns(turns.time[chosen], turns.travel[chosen], turns.direction[chosen])))
    alike = [p for p in pieces if p[1].time.size >= 4]
    return alike or pieces or [(test, turns)]


def cut(test: CycleTest, turns: Turns) -> tuple[dict[str, Array], list[Onset]] | None:
    """Cut one piece at its turns; None when it holds no whole stroke."""
    time, travel, force = test.time, test.travel, test.force
    if time.size < 16 or np.ptp(travel) == 0 or turns.time.size < 2:
        return None
    lengths = np.diff(turns.time)
    velocity = _velocity(test, turns)
    bounds = np.searchsorted(time, turns.time)
    samples = np.diff(bounds)
    steps = np.diff(time)
    wide = np.concatenate(([0], np.cumsum(steps > 3.5 * float(np.median(steps)))))
    gaps = wide[np.minimum(bounds[1:], time.size - 1)] - wide[np.maximum(bounds[:-1] - 1, 0)]
    good = (samples >= 8) & (gaps == 0) & (lengths > 0)
    if not good.any():
        return None
    directions = turns.direction[:-1]
    per_stroke = float(np.median(samples[good]))
    cycles = np.arange(good.size) // 2
    cycles = cycles - cycles[good].min()
    group = max(1, -(-int(cycles[good].max() + 1) // BLOCKS))
    names, row = np.unique((cycles // group * 2 + (directions < 0))[good], return_inverse=True)
    rows = np.full(good.size, -1)
    rows[good] = row
    m = names.size
    count = np.bincount(row, minlength=m).astype(float)
    signals = {"travel": travel, "velocity": velocity, "force": force}
    if per_stroke >= DENSE * PARTS:
        out = _averaged(time, signals, turns, rows, m)
    else:
        middle = (np.arange(PARTS) + 0.5) / PARTS
        out = {name: np.zeros((m, PARTS)) for name in signals}
        for i in np.flatnonzero(good):
            at = turns.time[i] + middle * lengths[i]
            inside = slice(int(bounds[i]), int(bounds[i + 1]))  # the force jumps at the turns
            for name, values in signals.items():
                between = smooth_between(time[inside], values[inside], at)
                out[name][rows[i]] += between / count[rows[i]]

    def mean(values: Array) -> Array:
        return np.asarray(np.bincount(row, weights=values[good], minlength=m) / count)

    duration, start = mean(lengths), mean(turns.time[:-1])
    span = float(turns.time[-1] - turns.time[0]) or 1.0
    rate = np.gradient(out["force"], axis=1) * PARTS / duration[:, None]
    return {
        **out,
        "force_rate": rate,
        "coarseness": np.full(m, 0.5 * _step_of(travel) / float(np.ptp(travel))),
        "overloaded": _overloaded(out["force"], *limits_of(force)),
        "direction": np.where(names % 2 == 0, 1.0, -1.0),
        "cycle": (names // 2).astype(float),
        "duration": duration,
        "peak": np.max(np.abs(out["velocity"]), axis=1),
        "progress": (start + 0.5 * duration - turns.time[0]) / span,
        "count": count,
        "differs": np.full(m, float(test.velocity is not None and velocity is not test.velocity)),
        "samples": np.full(m, per_stroke),
        "noise": np.full(
            m,
            np.hypot(
                noise_of(force) / np.sqrt(max(per_stroke / PARTS, 1.0)), _step_of(force) / np.sqrt(12.0)
            ),
        ),
    }, _onsets(time, velocity, force, turns, good)


def _overloaded(force: Array, low: float, high: float) -> NDArray[np.bool_]:
    """Mark parts of strokes (m, PARTS) in which the load cell ended, with one part on either side."""
    slack = 0.002 * float(np.ptp(force))
    at_end = (force >= high - slack) | (force <= low + slack)
    beside = at_end.copy()
    beside[:, 1:] |= at_end[:, :-1]
    beside[:, :-1] |= at_end[:, 1:]
    return beside


def _step_of(values: Array) -> float:
    """Smallest step of a channel: values written with few digits err by up to half of it, and alike in every cycle."""
    levels = np.unique(values)
    gaps = np.diff(levels)
    gaps = gaps[gaps > 1e-6 * float(np.ptp(values))]
    return float(np.quantile(gaps, 0.1)) if gaps.size else 0.0


def _velocity(test: CycleTest, turns: Turns) -> Array:
    """Give the file's velocity where it agrees with the travel, else the one that the travel gives."""
    own = harmonic_velocity(test.time, test.travel, turns.time[::2])
    if own is None:
        own = velocity_from_travel(test.time, test.travel, 2.0 * float(np.median(np.diff(turns.time))))
    return own if test.velocity is None or velocity_differs(test.velocity, own) else test.velocity


def velocity_differs(given: Array, own: Array) -> bool:
    """Say whether a velocity column tells another speed than the travel: by 3 % overall or 10 % of the peak."""
    gain = float(given @ own) / max(float(own @ own), 1e-300)
    rest = float(np.sqrt(np.mean((given - own) ** 2)))
    return abs(gain - 1.0) > 0.03 or rest > 0.1 * float(np.max(np.abs(own)))


def _averaged(
    time: Array, signals: dict[str, Array], turns: Turns, rows: NDArray[np.int_], m: int
) -> dict[str, Array]:
    """Mean of every signal in every part of every row, (m, PARTS) each."""
    lengths = np.diff(turns.time)
    stroke = np.clip(np.searchsorted(turns.time, time, side="right") - 1, 0, lengths.size - 1)
    inside = (time >= turns.time[0]) & (time < turns.time[-1]) & (rows[stroke] >= 0)
    share = (time - turns.time[stroke]) / lengths[stroke]
    cell = np.clip((share * PARTS).astype(np.intp), 0, PARTS - 1)
    flat = (rows[stroke] * PARTS + cell)[inside]
    filled = np.bincount(flat, minlength=m * PARTS).astype(float)
    out = {}
    for name, values in signals.items():
        total = np.bincount(flat, weights=values[inside], minlength=m * PARTS)
        with np.errstate(invalid="ignore"):
            out[name] = (total / filled).reshape(m, PARTS)
        for line in out[name]:  # parts without a sample, next to a slow sensor or a lost value
            known = np.isfinite(line)
            if not known.all():
                line[~known] = np.interp(np.flatnonzero(~known), np.flatnonzero(known), line[known])
    return out


def _onsets(time: Array, velocity: Array, force: Array, turns: Turns, good: NDArray[np.bool_]) -> list[Onset]:
    """Mean rise of the force over the distance from the turn, per direction."""
    out = []
    stroke_length = float(np.median(np.abs(np.diff(turns.travel))))
    grid = np.linspace(0.0, ONSET_SHARE * stroke_length, ONSET_POINTS)
    usual = float(np.median(np.diff(time)))
    for d in (1.0, -1.0):
        mine = np.flatnonzero(good & (turns.direction[:-1] == d))
        if mine.size > ONSETS:
            mine = mine[np.round(np.linspace(0, mine.size - 1, ONSETS)).astype(int)]
        forces, speeds = [], []
        for i in mine:
            low, high = np.searchsorted(time, [turns.time[i], turns.time[i + 1]])
            if high - low < 6:
                continue
            # distance by adding up the smooth speed: steadier than the sensor's steps near the flat turn
            t = np.concatenate(([turns.time[i]], time[low:high]))
            v = np.concatenate(([0.0], np.maximum(d * velocity[low:high], 0.0)))
            distance = np.concatenate(([0.0], np.cumsum(0.5 * (v[1:] + v[:-1]) * np.diff(t))))
            near = slice(max(low - 1, 0), high + 1)
            f = np.concatenate(([float(np.interp(turns.time[i], time[near], force[near]))], force[low:high]))
            forces.append(np.interp(grid, distance, f))
            speeds.append(np.interp(grid, distance, v))
        if not forces:
            continue
        speed = np.mean(speeds, axis=0)
        start = float(np.median(turns.travel[:-1][mine]))
        spacing = speed * usual / np.sqrt(len(forces))
        out.append(Onset(d, grid, start + d * grid, speed, np.mean(forces, axis=0), spacing))
    return out


def _closes(time: Array, travel: Array) -> bool:
    """Say whether the record is one cycle whose end meets its beginning."""
    if time.size < 16:
        return False
    slope_start, slope_end = travel[3] - travel[0], travel[-1] - travel[-4]
    return bool(abs(travel[-1] - travel[0]) < 0.05 * float(np.ptp(travel)) and slope_start * slope_end > 0)


def _twice(test: CycleTest) -> tuple[CycleTest, Turns]:
    """Put one averaged loop, cut anywhere, behind itself, and keep the turns of one whole cycle."""
    later = test.time + (test.time[-1] - test.time[0]) + (test.time[1] - test.time[0])
    again = CycleTest(
        np.concatenate((test.time, later)),
        np.tile(test.travel, 2),
        np.tile(test.force, 2),
        None if test.velocity is None else np.tile(test.velocity, 2),
        test.label,
    )
    turns = turning_points(again.time, again.travel)
    return again, Turns(turns.time[:3], turns.travel[:3], turns.direction[:3])
