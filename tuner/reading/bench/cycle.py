"""Bench cycles: time, travel, force and perhaps velocity, one or several tests in a file.

Takes a `Source`; gives a `CycleRecord`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from tuner.estimates import Array, Estimate, Note
from tuner.reading.bench import plausible
from tuner.reading.bench.cycles import (
    by_speed,
    clipped,
    cycles_of,
    isolated,
    zero_drift,
)
from tuner.reading.bench.traces import (
    Trace,
    is_nominal,
    not_swapped,
    remarks_on,
    static_force,
    velocity_sign,
    work,
)
from tuner.reading.sensor.clock import UNEVEN, timing
from tuner.reading.table.blocks import FEWEST_ROWS, Stretch, stretches
from tuner.reading.table.columns import Matched, Source, mixed_rows
from tuner.reading.table.gaps import complete, missing_rows
from tuner.reading.table.options import conditions_of
from tuner.reading.table.signs import Signs, relative_sign, settle
from tuner.reading.text.tables import Table
from tuner.records import CycleRecord, CycleTest, Quality

ROLES = ("time", "travel", "force", "velocity", "test")
NEEDS = "time, travel and force"
FEW_SAMPLES = 40  # in a cycle


def recognises(matched: Matched) -> str:
    """Say why the columns are those of bench cycles, "" when they are not."""
    return "time, travel and force" if matched.has("time", "travel", "force") else ""


class _Losses(NamedTuple):
    """Rows of one test: all of them, those that lack a number, that have the time of another, that stand alone."""

    rows: int
    missing: int
    duplicates: int
    alone: int
    first_missing: int  # line in the file, 0 where there is none
    first_alone: int


def _together(losses: Sequence[_Losses]) -> _Losses:
    """Add up the losses of all tests; of the lines the first one counts."""
    sums = [sum(some) for some in zip(*(one[:4] for one in losses), strict=True)]
    first = [
        next((line for line in lines if line), 0) for lines in zip(*(one[4:] for one in losses), strict=True)
    ]
    return _Losses(*sums, *first)


def _merge_equal_times(columns: list[Array]) -> tuple[list[Array], int]:
    """Average rows with the same time, so that none of them is lost."""
    time = columns[0]
    same = np.diff(time) == 0.0
    if not same.any():
        return columns, 0
    starts = np.flatnonzero(np.concatenate(([True], ~same)))
    counts = np.diff(np.append(starts, time.size))
    return [time[starts], *(np.add.reduceat(c, starts) / counts for c in columns[1:])], int(same.sum())


def _first(table: Table, rows: np.ndarray) -> int:
    """Give the line of the first of these rows, 0 where there is none."""
    return table.line(int(rows[0])) if rows.size else 0


def _test(source: Source, stretch: Stretch) -> tuple[Trace, _Losses]:
    """Read one test; raises ReadError when its time does not rise, or too few rows are left."""
    table = stretch.table
    roles = ["time", "travel", "force"] + (["velocity"] if source.has("velocity") else [])
    columns = [source.values(r, table) for r in roles]
    columns[0] = columns[0] - source.epoch()
    good = complete(columns)
    torn, rows = np.flatnonzero(~good), np.flatnonzero(good)
    if torn.size:
        columns = [c[good] for c in columns]
    wild = isolated(columns[1]) | isolated(columns[2])
    stray = rows[wild]
    if stray.size:
        columns, rows = [c[~wild] for c in columns], rows[~wild]
    time = columns[0]
    if time.size < FEWEST_ROWS:
        raise source.refuse(
            f"must have at least {FEWEST_ROWS} whole rows in every test",
            f"the one from line {table.line(0)} on has {time.size}",
        )
    falls = np.flatnonzero(np.diff(time) < 0)
    if falls.size:
        raise source.refuse(
            "must have a time that rises",
            f"line {table.line(int(rows[falls[0] + 1]))} is earlier than the line before it",
            "Check that line and the choice of the time column (--column time=NAME).",
        )
    columns, equal = _merge_equal_times(columns)
    if columns[0].size < FEWEST_ROWS or equal > 0.5 * time.size:
        raise source.refuse(
            "must have a time that rises",
            f"{equal} of {time.size} rows in the test from line {table.line(0)} on have the time of the row before",
            "The time stamps are too coarse; export them with more digits.",
        )
    velocity = columns[3] if len(columns) == 4 else None
    losses = _Losses(table.rows, torn.size, equal, stray.size, _first(table, torn), _first(table, stray))
    cycles = tuple(cycles_of(columns[0], columns[1]))
    return Trace(columns[0], columns[1], columns[2], velocity, stretch.label, table.line(0), cycles), losses


def _loss_notes(losses: _Losses) -> list[Note]:
    """Say which rows were left out or averaged."""
    notes = []
    if losses.missing:
        lost, line = losses.missing, losses.first_missing
        notes.append(Note("missing-rows", lost=lost, rows=losses.rows, line=line))
    if losses.alone:
        notes.append(Note("spikes", samples=losses.alone, line=losses.first_alone))
    if losses.duplicates:
        notes.append(Note("equal-times", rows=losses.duplicates))
    return notes


def _cycle_notes(tests: Sequence[Trace]) -> list[Note]:
    """Say which tests hold no whole cycle, or coarse ones."""
    notes = []
    for test in tests:
        if not test.cycles:
            notes.append(Note("no-cycle", line=test.line))
        elif np.median([c.end - c.start for c in test.cycles]) < FEW_SAMPLES:
            notes.append(Note("coarse", line=test.line, wanted=FEW_SAMPLES))
    return notes


def _quality(tests: Sequence[Trace], losses: _Losses, source: Source) -> Quality:
    figures = [timing(t.time) for t in tests]
    longest = max(range(len(tests)), key=lambda i: tests[i].time.size)
    rate, jitter = figures[longest].rate, max(f.jitter for f in figures)
    gaps = sum(f.gaps for f in figures)
    total = sum(t.time.size for t in tests)
    share = sum(clipped(t.force) * t.time.size for t in tests) / total
    drifts = [d for d in (zero_drift(t.time, t.travel, t.force, t.cycles) for t in tests) if d is not None]
    drift = max(drifts, key=lambda d: (d.clear, -d.error)) if drifts else None
    span = max(float(np.ptp(t.force)) for t in tests)
    notes = [*source.sheet.notes, *_loss_notes(losses)]
    if gaps:
        notes.append(Note("gaps", places=gaps))
    if jitter > UNEVEN:
        notes.append(Note("jitter", share=jitter))
    if share > 0:
        notes.append(Note("clipped", share=share))
    if drift is not None and drift.clear > 0.02 * span:
        notes.append(Note("zero-drift", drift=Estimate.exact(drift.size, "N")))
    return Quality(
        rate,
        jitter,
        gaps,
        losses.duplicates,
        losses.missing + losses.alone + source.sheet.left_out,
        share,
        None if drift is None else drift.size,
        by_speed([c for t in tests for c in t.cycles]),
        (*notes, *_cycle_notes(tests)),
    )


def _with_nominal_speed(source: Source) -> Source:
    """Take a column of speeds that stand still for a whole test as the column of tests."""
    if not source.has("velocity") or source.has("test"):
        return source
    columns = [source.values("velocity", b) for b in source.sheet.blocks]
    if not is_nominal(np.concatenate(columns)):
        return source
    roles = dict(source.matched.roles)
    roles["test"] = roles.pop("velocity")
    name = source.sheet.table.names[roles["test"]]
    source.decided.append(
        f"column {name!r} stands still within a test: it is the bench's setting, not the velocity"
    )
    return replace(source, matched=replace(source.matched, roles=roles))


def _one_way(source: Source, tests: Sequence[Trace], works: list[list[float]]) -> None:
    """Refuse a file in which some tests count force or travel the other way round."""
    ways = [relative_sign(some) for some in works]
    common = 1 if sum(ways) >= 0 else -1
    for test, way in zip(tests, ways, strict=True):
        if way == -common:
            raise source.refuse(
                "must count force and travel in one way in all tests",
                f"in the test from line {test.line} on they go together the other way round than in the others",
                "Turn the sign of that test's force, or leave the test out.",
            )


def _tests(source: Source) -> tuple[list[Trace], _Losses]:
    """Read every test of the file; raises ReadError for rows, strokes or forces that cannot be."""
    found = [_test(source, s) for s in stretches(source)]
    tests, losses = [t for t, _ in found], _together([one for _, one in found])
    if losses.missing:
        missing_rows(losses.missing, losses.rows, source.name, losses.first_missing)
    for test in tests:
        stroke = float(np.ptp(test.travel))
        plausible.limit(source, "travel", "stroke", stroke, plausible.SHORTEST, plausible.LONGEST, "m")
        plausible.forces(source, "force", test.force)
    if not any(t.cycles for t in tests):
        raise source.refuse(
            "must hold at least one whole cycle",
            f"the travel in column {source.use('travel').name!r} never goes to and fro",
            "Record the stroking bench, at least one turn per speed.",
        )
    return tests, losses


def _doubts(source: Source, whole: Sequence[Trace]) -> list[Note]:
    """Refuse speeds and columns that cannot be, and note forces that hardly can."""
    notes: list[Note] = []
    for test in whole:
        speed = max(c.speed for c in test.cycles)
        plausible.limit(source, "travel", "highest speed", speed, 1e-5, plausible.FASTEST, "m/s")
        not_swapped(source, test)
        found = plausible.secant(source, "force", speed, 0.5 * float(np.ptp(test.force)))
        notes += [n for n in found if n not in notes]
    return notes


def _velocity_turn(source: Source, whole: Sequence[Trace]) -> int:
    """Give the sign of the velocity against the travel's, 1 without a velocity; raises ReadError when it changes."""
    turns = {velocity_sign(source, t) for t in whole} if source.has("velocity") else {1}
    if len(turns) > 1:
        raise source.refuse(
            "must count velocity in one way in all tests", "its sign changes against the travel's"
        )
    return turns.pop()


def _settled(source: Source, whole: Sequence[Trace]) -> tuple[Signs, list[Note]]:
    """Settle which way the file counts; raises ReadError when its work or its words leave it open."""
    works = [work(t) for t in whole]
    relative = relative_sign([w for some in works for w in some])
    _one_way(source, whole, works)
    if not relative:
        raise source.refuse(
            "must show a damper that takes energy out",
            "the work over whole cycles has no clear sign",
            "Check that travel and force are the right columns (--column ROLE=NAME) and that the spring is off.",
        )
    static, text = static_force(whole)
    signs = settle(source, relative, static, text)
    source.decided.append(signs.decided)
    if static in (0, signs.force):
        return signs, []
    return signs, [Note("gas-sign")]


def read(source: Source) -> CycleRecord:
    """Read bench cycles; raises ReadError or UnitError when the file leaves something open."""
    source = _with_nominal_speed(source)
    tests, losses = _tests(source)
    whole = [t for t in tests if t.cycles]
    notes = _doubts(source, whole)
    turn = _velocity_turn(source, whole)
    signs, doubts = _settled(source, whole)
    if turn < 0:
        source.decided.append("velocity is counted against the travel's sign and was turned round")
    notes += doubts + remarks_on(source, whole, signs.force, signs.travel)
    quality = _quality(tests, losses, source)
    records = tuple(
        CycleTest(
            t.time,
            signs.travel * t.travel,
            signs.force * t.force,
            None if t.velocity is None else signs.travel * turn * t.velocity,
            t.label,
        )
        for t in tests
    )
    notes += mixed_rows(source, source.sheet.table, ROLES)
    count = sum(len(t.cycles) for t in tests)
    return CycleRecord(
        records,
        source.provenance(ROLES, f"{len(records)} tests, {count} whole cycles read", quality.rate_hz),
        conditions_of(source.options),
        replace(quality, notes=(*quality.notes, *notes)),
    )
