"""A cycle record cut into strokes, each reduced to averages over equal parts of its time.

Takes `CycleRecord`; gives `StrokeTable`. Uses: errors, estimates, records, signals.

Everything after this room works on the table, so its cost does not depend on how many samples were recorded.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tuner.errors import FitError
from tuner.estimates import Array, Note
from tuner.records import CycleRecord, CycleTest
from tuner.signals.cycles import Turns, turning_points
from tuner.signals.differentiate import harmonic_velocity, noise_of, velocity_from_travel

Index = NDArray[np.intp]

PARTS = 64  # parts of a stroke
DENSE = 3  # samples that a part needs to be averaged; sparser strokes are interpolated
BLOCKS = 60  # strokes of one test and direction at most; longer tests are averaged over neighbouring cycles


@dataclass(frozen=True, slots=True, eq=False)
class StrokeTable:
    """All strokes of a record.

    travel, velocity, force, force_rate : (s, m), averages over m equal parts of the stroke's time.
    direction : (s,) +1 compression, -1 rebound; test, cycle : (s,) numbers, `cycle` unique over the record.
    duration : (s,) [s]; peak : (s,) greatest speed of the stroke's test [m/s]; progress : (s,) 0..1 through the test.
    reach : (s, 2) travel at the turn before and after; count : (s,) strokes averaged into this one;
    noise : (s,) sd of the mean force of one part of one stroke from the sensor's noise [N].
    """

    travel: Array
    velocity: Array
    force: Array
    force_rate: Array
    direction: Array
    test: Index
    cycle: Index
    duration: Array
    peak: Array
    progress: Array
    reach: Array
    count: Array
    noise: Array
    notes: tuple[Note, ...]

    @property
    def phase(self) -> Array:
        """Middle of each part as a share of the stroke's time, (m,)."""
        m = self.travel.shape[1]
        return (np.arange(m) + 0.5) / m

    def since_turn(self) -> Array:
        """Distance from the turn at which the stroke began, (s, m) [m]."""
        return np.abs(self.travel - self.reach[:, :1])


def strokes_of(record: CycleRecord) -> StrokeTable:
    """Cut every test into strokes.

    Raises
    ------
    FitError
        When no test holds one whole stroke.
    """
    parts: list[dict[str, Array]] = []
    notes: list[Note] = []
    cycle_offset = 0
    for number, test in enumerate(record.tests):
        table = _strokes_of_test(test)
        if table is None:
            name = test.label or f"test {number + 1}"
            notes.append(Note("no-strokes", f"{name} holds no whole stroke and was left out"))
            continue
        table["test"] = np.full(table["direction"].size, number)
        table["cycle"] = table["cycle"] + cycle_offset
        cycle_offset = int(table["cycle"].max()) + 1
        parts.append(table)
    if not parts:
        raise FitError(
            "no test holds one whole stroke between two turning points",
            hint="Record several whole cycles; check that the travel column is the shaft's travel.",
        )
    joined = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    return StrokeTable(
        travel=joined["travel"],
        velocity=joined["velocity"],
        force=joined["force"],
        force_rate=joined["force_rate"],
        direction=joined["direction"],
        test=joined["test"].astype(np.intp),
        cycle=joined["cycle"].astype(np.intp),
        duration=joined["duration"],
        peak=joined["peak"],
        progress=joined["progress"],
        reach=joined["reach"],
        count=joined["count"],
        noise=joined["noise"],
        notes=tuple(notes),
    )


def _strokes_of_test(test: CycleTest) -> dict[str, Array] | None:
    time, travel, force = test.time, test.travel, test.force
    if time.size < 16 or np.ptp(travel) == 0:
        return None
    turns = turning_points(time, travel)
    if turns.time.size < 3 and _closes(time, travel):
        # one averaged loop, cut somewhere: put it behind itself and keep one whole cycle
        later = time + (time[-1] - time[0]) + (time[1] - time[0])
        again = CycleTest(
            np.concatenate((time, later)),
            np.tile(travel, 2),
            np.tile(force, 2),
            None if test.velocity is None else np.tile(test.velocity, 2),
        )
        time, travel, force, test = again.time, again.travel, again.force, again
        turns = turning_points(time, travel)
        turns = Turns(turns.time[:3], turns.travel[:3], turns.direction[:3])
    if turns.time.size < 2:
        return None
    lengths = np.diff(turns.time)
    velocity = test.velocity
    if velocity is None:
        velocity = harmonic_velocity(time, travel, turns.time[::2])
    if velocity is None:
        velocity = velocity_from_travel(time, travel, 2.0 * float(np.median(lengths)))
    bounds = np.searchsorted(time, turns.time)
    samples = np.diff(bounds)
    steps = np.diff(time)
    usual = float(np.median(steps))
    wide = np.concatenate(([0], np.cumsum(steps > 3.5 * usual)))
    gaps = wide[np.minimum(bounds[1:], time.size - 1)] - wide[np.maximum(bounds[:-1] - 1, 0)]
    good = (samples >= 8) & (gaps == 0) & (lengths > 0)
    if not good.any():
        return None
    directions = turns.direction[:-1]
    per_stroke = float(np.median(samples[good]))
    cycles = (np.arange(good.size) + (0 if directions[0] > 0 else 1)) // 2
    whole_cycles = int(cycles[good].max() - cycles[good].min() + 1)
    group = max(1, -(-whole_cycles // BLOCKS))
    block = (cycles - cycles[good].min()) // group
    parts = PARTS
    keys = block * 2 + (directions < 0)
    names, row = np.unique(keys[good], return_inverse=True)
    rows = np.full(good.size, -1)
    rows[good] = row
    m = names.size
    count = np.bincount(row, minlength=m).astype(float)
    first = np.zeros((m, parts))
    out = {"travel": first, "velocity": first.copy(), "force": first.copy()}
    signals = {"travel": travel, "velocity": velocity, "force": force}
    if per_stroke >= DENSE * parts:
        stroke = np.clip(np.searchsorted(turns.time, time, side="right") - 1, 0, good.size - 1)
        inside = (time >= turns.time[0]) & (time < turns.time[-1]) & good[stroke]
        share = (time - turns.time[stroke]) / lengths[stroke]
        cell = np.clip((share * parts).astype(np.intp), 0, parts - 1)
        flat = (rows[stroke] * parts + cell)[inside]
        filled = np.bincount(flat, minlength=m * parts).astype(float)
        for name, values in signals.items():
            total = np.bincount(flat, weights=values[inside], minlength=m * parts)
            with np.errstate(invalid="ignore"):
                out[name] = (total / filled).reshape(m, parts)
    else:
        middle = (np.arange(parts) + 0.5) / parts
        for i in np.flatnonzero(good):
            at = turns.time[i] + middle * lengths[i]
            for name, values in signals.items():
                out[name][rows[i]] += np.interp(at, time, values) / count[rows[i]]
    for values in out.values():
        if np.isnan(values).any():
            _fill(values)
    duration = np.bincount(row, weights=lengths[good], minlength=m) / count
    reach = (
        np.column_stack(
            [
                np.bincount(row, weights=turns.travel[:-1][good], minlength=m),
                np.bincount(row, weights=turns.travel[1:][good], minlength=m),
            ]
        )
        / count[:, None]
    )
    start = np.bincount(row, weights=turns.time[:-1][good], minlength=m) / count
    span = float(turns.time[-1] - turns.time[0]) or 1.0
    direction = np.where(names % 2 == 0, 1.0, -1.0)
    rate = np.gradient(out["force"], axis=1) * parts / duration[:, None]
    top = np.max(np.abs(out["velocity"]), axis=1)
    return {
        **out,
        "force_rate": rate,
        "direction": direction,
        "cycle": (names // 2).astype(float),
        "duration": duration,
        "peak": top,
        "progress": (start + 0.5 * duration - turns.time[0]) / span,
        "reach": reach,
        "count": count,
        "noise": np.full(m, noise_of(force) / np.sqrt(max(per_stroke / parts, 1.0))),
    }


def _closes(time: Array, travel: Array) -> bool:
    """Say whether the record is one cycle whose end meets its beginning."""
    slope_start = travel[min(3, travel.size - 1)] - travel[0]
    slope_end = travel[-1] - travel[-min(4, travel.size)]
    near = abs(travel[-1] - travel[0]) < 0.05 * float(np.ptp(travel))
    return bool(near and slope_start * slope_end > 0 and time.size >= 16)


def _fill(values: Array) -> None:
    """Fill parts without a sample from their neighbours, in place."""
    for line in values:
        known = np.isfinite(line)
        if not known.all():
            line[~known] = np.interp(np.flatnonzero(~known), np.flatnonzero(known), line[known])
