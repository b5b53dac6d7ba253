"""A cycle record as one table of strokes.

Takes `CycleRecord`; gives `StrokeTable`.

Everything after this module works on the table, so its cost does not depend on how many samples were recorded.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tuner.errors import FitError
from tuner.estimates import Array, Note
from tuner.fitting.cycle.cutting import Onset, cut, same_speed_pieces
from tuner.records import CycleRecord

Index = NDArray[np.intp]
SPARSE = 12  # samples in a stroke below which it is called coarse


@dataclass(frozen=True, slots=True, eq=False)
class StrokeTable:
    """All strokes of a record.

    travel, velocity, force, force_rate : (s, m), averages over m equal parts of the stroke's time; overloaded : (s, m)
    where the load cell ended and the force is not known.
    coarseness : (s,) half a step of the travel's last digit, as a share of the stroke.
    direction : (s,) +1 compression, -1 rebound; test, cycle : (s,) numbers, `cycle` unique over the record.
    duration : (s,) [s]; peak : (s,) greatest speed of the stroke [m/s]; progress : (s,) 0..1 through the test.
    count : (s,) strokes averaged into this one; noise : (s,) sd of the mean force of one part of one stroke from
    the sensor's noise [N]. onsets : how the force comes up after a turn, one per test and direction.
    """

    travel: Array
    velocity: Array
    force: Array
    force_rate: Array
    coarseness: Array
    overloaded: NDArray[np.bool_]
    direction: Array
    test: Index
    cycle: Index
    duration: Array
    peak: Array
    progress: Array
    count: Array
    noise: Array
    onsets: tuple[Onset, ...]
    notes: tuple[Note, ...]

    @property
    def phase(self) -> Array:
        """Middle of each part as a share of the stroke's time, (m,)."""
        m = self.travel.shape[1]
        return np.asarray((np.arange(m) + 0.5) / m)

    @property
    def cycles(self) -> int:
        """Whole cycles in the record."""
        return int(np.sum(self.count) // 2)


def strokes_of(record: CycleRecord) -> StrokeTable:
    """Cut every test into strokes.

    Raises
    ------
    FitError
        When no test holds one whole stroke.
    """
    parts: list[dict[str, Array]] = []
    onsets: list[Onset] = []
    notes: list[Note] = []
    cycle_offset = 0
    for number, test in enumerate(record.tests):
        found = False
        for piece, turns in same_speed_pieces(test):
            answer = cut(piece, turns)
            if answer is None:
                continue
            table, rises = answer
            found = True
            table["test"] = np.full(table["direction"].size, float(len(parts)))
            table["cycle"] = table["cycle"] + cycle_offset
            cycle_offset = int(table["cycle"].max()) + 1
            parts.append(table)
            onsets += rises
        if not found:
            name = test.label or f"test {number + 1}"
            notes.append(Note("no-strokes", test=name))
    if not parts:
        raise FitError(
            "no test holds one whole stroke between two turning points",
            hint="Record several whole cycles; check that the travel column is the shaft's travel.",
        )
    if any(p["differs"].any() for p in parts):
        notes.append(Note("velocity-differs"))
    if min(float(p["samples"].min()) for p in parts) < SPARSE:
        notes.append(Note("few-samples", wanted=2 * SPARSE))
    joined = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    del joined["differs"], joined["samples"]
    test_number, cycle = (joined.pop(name).astype(np.intp) for name in ("test", "cycle"))
    return StrokeTable(**joined, test=test_number, cycle=cycle, onsets=tuple(onsets), notes=tuple(notes))
