"""Rows that lack a number: counted, noted, refused when there are too many.

Takes columns and rows; gives which rows are whole, how many are lost, and notes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tuner.errors import ReadError
from tuner.estimates import Array, Note
from tuner.reading.table.columns import Source
from tuner.reading.text.tables import Table

MOST_MISSING = 0.2  # share of rows that may be missing


def complete(columns: Sequence[Array]) -> NDArray[np.bool_]:
    """Say for each row whether all of these columns have a number."""
    return np.asarray(np.logical_and.reduce([np.isfinite(c) for c in columns]))


def missing_rows(lost: int, rows: int, name: str, line: int) -> tuple[Note, ...]:
    """Note `lost` of `rows` rows that are left out; raises ReadError when more than a fifth of them is."""
    if lost == 0:
        return ()
    if lost > MOST_MISSING * rows:
        raise ReadError(
            f"{name} must have numbers in at least {1 - MOST_MISSING:.0%} of its rows; "
            f"{lost} of {rows} rows lack one, the first in line {line}",
            hint="Export the channels at one common rate, or leave the empty column out.",
        )
    return (Note("missing-rows", lost=lost, rows=rows, line=line),)


def blank_rows(source: Source, table: Table, filled: np.ndarray, used: set[int]) -> int:
    """Count rows outside `filled` in which no other column has a number: what another sensor logged is no loss."""
    if filled.all():
        return 0
    other = filled.copy()
    skip = used | {source.index("time")}
    for i, column in enumerate(table.columns):
        if i not in skip and not column.is_words:
            other |= np.isfinite(column.numbers)
    return int((~other).sum())
