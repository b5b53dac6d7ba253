"""Fewer points with the same picture, evenly spread samples, runs of flags.

Takes arrays; gives indices or smaller arrays.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from tuner.estimates import Array

DRAWN = 2000  # points that one picture needs at most


def thin_indices(count: int, most: int = DRAWN) -> NDArray[np.intp]:
    """Evenly spread indices, at most `most`, always with the first and the last."""
    if count <= most:
        return np.arange(count)
    return np.unique(np.round(np.linspace(0, count - 1, most)).astype(np.intp))


def thin_extremes(values: Array, most: int = DRAWN) -> NDArray[np.intp]:
    """Give indices of at most `most` samples that keep the lowest and highest value of every stretch, in order."""
    if values.size <= most:
        return np.arange(values.size)
    stretches = max(1, (most - 2) // 2)
    edges = np.linspace(0, values.size, stretches + 1).astype(np.intp)
    keep = [0, values.size - 1]
    for start, end in itertools.pairwise(edges):
        part = values[start:end]
        keep += [int(start + np.argmin(part)), int(start + np.argmax(part))]
    return np.unique(np.array(keep, dtype=np.intp))


def every_so_many(values: Array, most: int = 1_000_000) -> Array:
    """Give all values (n,), or about half of `most` evenly spread ones where there are more: enough for a median."""
    return values if values.size <= most else values[:: values.size // (most // 2)]


def runs_of(flags: NDArray[np.bool_]) -> NDArray[np.intp]:
    """First index and index past the end of every run of True in `flags` (n,): (k, 2)."""
    return np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8))).reshape(-1, 2)
