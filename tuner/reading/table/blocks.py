"""Blocks of a file into tests: by empty lines, by headers, by a column of tests, by the time.

Takes a `Source`; gives `Stretch`es of rows.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from tuner.estimates import Array
from tuner.reading.table.columns import Source
from tuner.reading.text.tables import Table, stacked
from tuner.signals.thin import every_so_many

FEWEST_ROWS = 8  # rows below which a block is no test
MOST_TESTS = 500
PAUSE = 50  # missing samples from which on a pause parts two tests


class Stretch(NamedTuple):
    """Rows that belong to one test."""

    table: Table
    label: str


def _by_column(source: Source, table: Table) -> Iterator[Stretch]:
    """Cut a block where the column of tests changes."""
    column = source.column("test", table)
    marks: Array = column.numbers if column.codes is None else column.codes.astype(float)
    if np.isnan(marks).any():
        filled = np.where(np.isnan(marks), -np.inf, marks)
        marks = filled
    edges = np.concatenate(([0], np.flatnonzero(np.diff(marks) != 0) + 1, [table.rows]))
    name = source.use("test").name
    if len(edges) - 1 > MOST_TESTS:
        raise source.refuse(
            f"must have at most {MOST_TESTS} tests",
            f"column {name!r} changes {len(edges) - 2} times",
            "Choose the column of tests with --column test=NAME.",
        )
    for start, end in itertools.pairwise(edges):
        word = column.word(int(start))
        yield Stretch(table.part(slice(int(start), int(end))), f"{name} {word}" if word else table.label)


def _by_time(source: Source, stretch: Stretch) -> Iterator[Stretch]:
    """Cut a stretch where the time falls back to where it began, and where it pauses for long."""
    table = stretch.table
    time = source.column("time", table).numbers
    known = np.flatnonzero(np.isfinite(time))
    if known.size < 2 * FEWEST_ROWS:
        yield stretch
        return
    clock = time[known]
    steps = np.diff(clock)
    usual = abs(float(np.median(every_so_many(steps, 200_000))))
    backward = int(np.count_nonzero(steps < 0))
    if backward > 0.05 * steps.size:
        raise source.refuse(
            "must have a time that rises",
            f"column {source.use('time').name!r} falls {backward} times in {steps.size} steps",
            "Check that the columns are not swapped (--column time=NAME).",
        )
    after = np.append(steps[1:], 0.0)  # a single wrong time is no new test: the next step must be a usual one
    falls = (steps < 0) & (clock[1:] <= clock[0] + 3 * usual) & (np.abs(after) <= 5 * usual)
    pauses = (steps > PAUSE * usual) & (np.abs(after) <= 5 * usual)
    if not falls.any() and not pauses.any():
        yield stretch
        return
    cuts = known[1:][falls | pauses]
    why = "starts again" if falls.any() else "pauses"
    source.decided.append(f"the time {why} in line {table.line(int(cuts[0]))}: a new test")
    for number, (start, end) in enumerate(itertools.pairwise([0, *(int(c) for c in cuts), table.rows]), 1):
        yield Stretch(table.part(slice(start, end)), f"{stretch.label} part {number}".strip())


def _continues(source: Source, before: Sequence[Table], after: Table) -> bool:
    """Say whether the time runs on from one block to the next as if nothing stood between them."""
    one = np.concatenate([source.column("time", t).numbers[-200:] for t in before[-3:]])
    other = source.column("time", after).numbers
    if one.size < 3 or other.size < 1 or after.label:
        return False
    usual = float(np.nanmedian(np.diff(one)))
    return bool(0 <= other[0] - one[-1] <= 1.6 * usual)


def stretches(source: Source) -> list[Stretch]:
    """Cut a file with a time column into its tests.

    An empty line inside a running test is not a border. Raises ReadError for a block of fewer than eight rows.
    """
    runs: list[list[Table]] = []
    for block in source.sheet.blocks:
        if runs and _continues(source, runs[-1], block):
            source.decided.append(f"the empty line above line {block.line(0)} is not used: the time runs on")
            runs[-1].append(block)
        else:
            runs.append([block])
    whole = [stacked(r) for r in runs]
    if len(whole) > 1:
        source.decided.append(f"{len(whole)} blocks, the second begins in line {whole[1].line(0)}")
    found: list[Stretch] = []
    for table in whole:
        parts = list(_by_column(source, table)) if source.has("test") else [Stretch(table, table.label)]
        if source.has("test") and len(parts) > 1:
            source.decided.append(f"column {source.use('test').name!r} tells {len(parts)} tests apart")
        for part in parts:
            found.extend(_by_time(source, part))
    for stretch in found:
        if stretch.table.rows < FEWEST_ROWS:
            raise source.refuse(
                f"must have at least {FEWEST_ROWS} rows in every test",
                f"the one from line {stretch.table.line(0)} on has {stretch.table.rows}",
                "Remove that block, or check the column of tests and the empty lines.",
            )
    return found
