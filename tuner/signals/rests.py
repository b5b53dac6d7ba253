"""Where a recording is at rest: stretches in which nothing moves, whatever the engine or the sensor hums.

Takes arrays of time and of one or several channels; gives `Rest` stretches with their means.

The channels are averaged over blocks of a tenth of a second, which hides vibration above some 20 Hz; a stretch is at
rest when the means of at least five blocks in a row stay within an allowance.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from tuner.estimates import Array
from tuner.signals.thin import runs_of

BLOCK = 0.1  # [s]
IN_A_ROW = 5  # blocks: half a second is the shortest rest


class Rest(NamedTuple):
    """One stretch at rest: samples [first, last), from and to [s], and the mean (k,) of each channel."""

    first: int
    last: int
    start: float
    end: float
    mean: Array

    @property
    def duration(self) -> float:
        """Length of the rest [s]."""
        return self.end - self.start


def find_rests(time: Array, values: Array, allowance: float) -> tuple[Rest, ...]:
    """Find every stretch at rest.

    Parameters
    ----------
    time : (n,) [s], rising; values : (n,) or (n, k); allowance : spread of the block means that still counts as rest,
    in the unit of the values.
    """
    channels = values[:, None] if values.ndim == 1 else values
    if time.size < 2:
        return ()
    block = np.floor((time - time[0]) / BLOCK).astype(np.int64)
    starts = np.concatenate(([0], np.flatnonzero(np.diff(block)) + 1))
    counts = np.diff(np.append(starts, time.size))
    means = np.add.reduceat(channels, starts, axis=0) / counts[:, None]
    number = block[starts]
    n = starts.size
    if n < IN_A_ROW:
        return ()
    windows = np.lib.stride_tricks.sliding_window_view(means, IN_A_ROW, axis=0)
    calm = (windows.max(axis=2) - windows.min(axis=2) <= allowance).all(axis=1)
    calm &= number[IN_A_ROW - 1 :] - number[: 1 - IN_A_ROW] == IN_A_ROW - 1  # no gap inside
    tied = np.zeros(
        n - 1, dtype=bool
    )  # block and next lie in one calm window; a jump between them ends the rest
    for shift in range(IN_A_ROW - 1):
        tied[shift : n - IN_A_ROW + 1 + shift] |= calm
    found = []
    for a, b in runs_of(tied):  # the last tie reaches one block on
        first = int(starts[a])
        last = int(starts[b + 1]) if b + 1 < n else time.size
        mean = channels[first:last].mean(axis=0)
        found.append(Rest(first, last, float(time[first]), float(time[last - 1]), mean))
    return tuple(found)
