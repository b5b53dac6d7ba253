"""Bench cycles: time, travel, force and perhaps velocity, one or several tests in a file.

Takes a `Source`; gives a `CycleRecord`. Uses: errors, records, blocks, columns, signs, quality, plausible.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tuner.estimates import Array, Note
from tuner.reading import plausible
from tuner.reading.blocks import Stretch, stretches
from tuner.reading.columns import Matched, Source, complete
from tuner.reading.options import conditions_of
from tuner.reading.quality import Cycle, by_speed, clipped, cycles_of, missing_rows, timing, zero_drift
from tuner.reading.signs import relative_sign, settle
from tuner.records import CycleRecord, CycleTest, Provenance, Quality

ROLES = ("time", "travel", "force", "velocity", "test")
NEEDS = "time, travel and force"


def recognises(matched: Matched) -> str:
    """Say why the columns are those of bench cycles, "" when they are not."""
    return "time, travel and force" if matched.has("time", "travel", "force") else ""


@dataclass(slots=True, eq=False)
class _Test:
    """One test on its way: arrays in SI with the file's signs."""

    time: Array
    travel: Array
    force: Array
    velocity: Array | None
    label: str
    line: int
    cycles: list[Cycle]


@dataclass(slots=True)
class _Losses:
    rows: int = 0
    missing: int = 0
    first: int = 0
    duplicates: int = 0


def _merge_equal_times(columns: list[Array]) -> tuple[list[Array], int]:
    """Average rows with the same time, so that none of them is lost."""
    time = columns[0]
    same = np.diff(time) == 0.0
    if not same.any():
        return columns, 0
    starts = np.flatnonzero(np.concatenate(([True], ~same)))
    counts = np.diff(np.append(starts, time.size))
    return [time[starts], *(np.add.reduceat(c, starts) / counts for c in columns[1:])], int(same.sum())


def _test(source: Source, stretch: Stretch, losses: _Losses) -> _Test:
    table = stretch.table
    roles = ["time", "travel", "force"] + (["velocity"] if source.has("velocity") else [])
    columns = [source.values(r, table) for r in roles]
    good = complete(columns)
    losses.rows += table.rows
    if not good.all():
        losses.missing += int((~good).sum())
        losses.first = losses.first or table.line(int(np.argmin(good)))
        columns = [c[good] for c in columns]
    time = columns[0]
    if time.size < 8:
        raise source.refuse(
            "must have at least 8 whole rows in every test",
            f"the one from line {table.line(0)} on has {time.size}",
        )
    falls = np.flatnonzero(np.diff(time) < 0)
    if falls.size:
        row = int(np.flatnonzero(good)[falls[0] + 1])
        raise source.refuse(
            "must have a time that rises",
            f"line {table.line(row)} is earlier than the line before it",
            "Check that line and the choice of the time column (--column time=NAME).",
        )
    columns, equal = _merge_equal_times(columns)
    losses.duplicates += equal
    if columns[0].size < 8 or equal > 0.5 * time.size:
        raise source.refuse(
            "must have a time that rises",
            f"{equal} of {time.size} rows in the test from line {table.line(0)} on have the time of the row before",
            "The time stamps are too coarse; export them with more digits.",
        )
    velocity = columns[3] if len(columns) == 4 else None
    return _Test(columns[0], columns[1], columns[2], velocity, stretch.label, table.line(0), [])


def _work(test: _Test) -> list[float]:
    """Work [J] of each whole cycle with the file's signs: the integral of force over travel."""
    middle = 0.5 * (test.force[1:] + test.force[:-1])
    steps = np.concatenate(([0.0], np.cumsum(middle * np.diff(test.travel))))
    return [float(steps[c.end] - steps[c.start]) for c in test.cycles]


def _check_velocity(source: Source, test: _Test) -> int:
    """Compare the given velocity with the slope of the travel; give its sign against the travel's.

    Raises ReadError when scale or shape differ by more than a tenth.
    """
    assert test.velocity is not None
    width = max(1, int(np.median([c.end - c.start for c in test.cycles])) // 40)
    slope = (test.travel[2 * width :] - test.travel[: -2 * width]) / (
        test.time[2 * width :] - test.time[: -2 * width]
    )
    given = test.velocity[width:-width]
    size = float(np.sqrt(np.mean(slope**2) * np.mean(given**2)))
    name = source.use("velocity").name
    together = float(np.mean(slope * given)) / size if size > 0 else 0.0
    if abs(together) < 0.8:
        raise source.refuse(
            "must have a velocity that is the slope of its travel",
            f"column {name!r} goes together with it only to {abs(together):.0%}",
            "Check that the columns are not swapped; choose with --column velocity=NAME.",
        )
    scale = float(np.sqrt(np.mean(given**2) / np.mean(slope**2)))
    if not 0.9 <= scale <= 1.1:
        raise source.refuse(
            "must have a velocity that is the slope of its travel",
            f"column {name!r} is {scale:.3g} times that slope",
            "One of the units of time, travel and velocity is wrong: say it with --unit ROLE=UNIT.",
        )
    return 1 if together > 0 else -1


def _static(tests: list[_Test]) -> tuple[int, str]:
    """Find a force that keeps its sign in both directions just around both turns of the slowest test: the gas.

    Friction and damping change their sign there, and what lags behind has opposite signs at the two ends.
    """
    with_cycles = [t for t in tests if t.cycles]
    test = min(with_cycles, key=lambda t: min(c.speed for c in t.cycles))
    middles = []
    slowest = 1.15 * min(c.speed for c in test.cycles)
    slow = [c for c in test.cycles if c.speed <= slowest]
    for c in slow[:: max(1, len(slow) // 100)]:
        travel, force = test.travel[c.start : c.end], test.force[c.start : c.end]
        width = max(
            1, travel.size // 60
        )  # a few degrees of the crank, where the speed is a tenth of the peak
        for turn in (int(np.argmax(travel)), int(np.argmin(travel))):
            middles.append(force[max(turn - width, 0) : turn])
            middles.append(force[turn + 1 : turn + 1 + width])
    means = np.array([m.mean() for m in middles if m.size])
    if not means.size:
        return 0, ""
    span = float(np.ptp(test.force))
    one_way = (means > 0).all() or (means < 0).all()
    lowest, mean = float(np.min(np.abs(means))), abs(float(means.mean()))
    if not one_way or lowest < max(10.0, 0.003 * span) or mean < max(40.0, 0.01 * span):
        return 0, ""  # what is smaller can be the load cell's own zero, or the weight of its fork
    return (1 if means[0] > 0 else -1), (
        f"the gas force (about {float(means.mean()):.0f} N in the file's sign at every turn of the slowest test)"
    )


def _swapped(source: Source, test: _Test) -> None:
    """Refuse a smooth force over a travel that jumps: a bench moves the travel smoothly, the force jumps."""
    c = test.cycles[len(test.cycles) // 2]
    phase = 2 * np.pi * (test.time[c.start : c.end] - test.time[c.start]) / c.duration
    base = np.column_stack((np.ones(phase.size), np.cos(phase), np.sin(phase)))
    rest = []
    for values in (test.travel[c.start : c.end], test.force[c.start : c.end]):
        left = values - base @ np.linalg.lstsq(base, values, rcond=None)[0]
        rest.append(float(np.sqrt(np.mean(left**2)) / max(float(np.std(values)), 1e-300)))
    chosen = {"travel", "force"} <= set(source.options.columns)
    if rest[0] > 0.15 and rest[1] < 0.3 * rest[0] and not chosen:
        raise source.refuse(
            "must have a travel that moves smoothly",
            f"column {source.use('force').name!r} does and column {source.use('travel').name!r} does not: "
            "they look swapped",
            "Settle it with --column travel=NAME --column force=NAME.",
        )


def _quality(tests: list[_Test], losses: _Losses, source: Source) -> Quality:
    notes = [Note(*n) for n in source.sheet.notes]
    figures = [timing(t.time) for t in tests]
    longest = max(range(len(tests)), key=lambda i: tests[i].time.size)
    rate, jitter = figures[longest].rate, max(f.jitter for f in figures)
    gaps = sum(f.gaps for f in figures)
    total = sum(t.time.size for t in tests)
    share = sum(clipped(t.force) * t.time.size for t in tests) / total
    drifts = [d for d in (zero_drift(t.time, t.force, t.cycles) for t in tests) if d is not None]
    drift = max(drifts, key=abs) if drifts else None
    span = max(float(np.ptp(t.force)) for t in tests)
    if losses.missing:
        notes.append(
            Note(
                "missing-rows",
                f"{losses.missing} of {losses.rows} rows lack a number and were left out, "
                f"the first in line {losses.first}",
            )
        )
    if losses.duplicates:
        notes.append(
            Note(
                "equal-times",
                f"{losses.duplicates} rows had the time of the row before and were averaged with it",
            )
        )
    if gaps:
        notes.append(Note("gaps", f"samples are missing in {gaps} places"))
    if jitter > 0.2:
        notes.append(Note("jitter", f"the time between samples varies by {jitter:.0%}"))
    if share > 0:
        notes.append(
            Note("clipped", f"{share:.1%} of the forces rest on a limit: the load cell was overloaded")
        )
    if drift is not None and abs(drift) > 0.02 * span:
        notes.append(Note("zero-drift", f"the middle of the force drifts by {drift:.0f} N during one test"))
    for test in tests:
        if not test.cycles:
            notes.append(Note("no-cycle", f"the test from line {test.line} on holds no whole cycle"))
        elif np.median([c.end - c.start for c in test.cycles]) < 40:
            notes.append(
                Note("coarse", f"the test from line {test.line} on has fewer than 40 samples per cycle")
            )
    cycles = by_speed([c for t in tests for c in t.cycles])
    return Quality(
        rate,
        jitter,
        gaps,
        losses.duplicates,
        losses.missing + source.sheet.left_out,
        share,
        drift,
        cycles,
        tuple(notes),
    )


def read(source: Source) -> CycleRecord:
    """Read bench cycles; raises ReadError or UnitError when the file leaves something open."""
    losses = _Losses()
    tests = [_test(source, s, losses) for s in stretches(source)]
    if losses.missing:
        good = np.ones(losses.rows, dtype=bool)
        good[: losses.missing] = False
        missing_rows(good, source.name, losses.first)
    for test in tests:
        stroke = float(np.ptp(test.travel))
        plausible.limit(source, "travel", "stroke", stroke, plausible.SHORTEST, plausible.LONGEST, "m")
        plausible.forces(source, "force", test.force)
        test.cycles = cycles_of(test.time, test.travel)
    whole = [t for t in tests if t.cycles]
    if not whole:
        raise source.refuse(
            "must hold at least one whole cycle",
            f"the travel in column {source.use('travel').name!r} never goes to and fro",
            "Record the stroking bench, at least one turn per speed.",
        )
    notes: list[Note] = []
    turns = {1}
    for test in whole:
        speed = max(c.speed for c in test.cycles)
        plausible.limit(source, "travel", "highest speed", speed, 1e-5, plausible.FASTEST, "m/s")
        _swapped(source, test)
        notes += [
            n
            for n in plausible.secant(source, "force", speed, 0.5 * float(np.ptp(test.force)))
            if n not in notes
        ]
    if source.has("velocity"):
        turns = {_check_velocity(source, t) for t in whole}
        if len(turns) > 1:
            raise source.refuse(
                "must count velocity in one way in all tests", "its sign changes against the travel's"
            )
    relative = relative_sign([w for t in whole for w in _work(t)])
    if not relative:
        raise source.refuse(
            "must show a damper that takes energy out",
            "the work over whole cycles has no clear sign",
            "Check that travel and force are the right columns (--column ROLE=NAME) and that the spring is off.",
        )
    static, text = _static(whole)
    turn = turns.pop()
    signs = settle(source, relative, static, text)
    source.decided.append(signs.decided)
    if turn < 0:
        source.decided.append("velocity is counted against the travel's sign and was turned round")
    if static and static != signs.force:
        notes.append(
            Note(
                "gas-sign",
                "with these signs the static force pulls the ends together: check which way is compression",
            )
        )
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
    source.left_over(*ROLES)
    history = (
        *source.decided,
        f"{len(records)} tests, {sum(len(t.cycles) for t in tests)} whole cycles read",
    )
    return CycleRecord(
        records,
        Provenance(
            source.name, source.sha256, source.sheet.rows, source.uses(*ROLES), quality.rate_hz, history
        ),
        conditions_of(source.options),
        replace(quality, notes=(*quality.notes, *notes)),
    )
