"""Bench sweeps: one row per test speed, as signed points, with a column of sides, or wide with one column per side.

Takes a `Source`; gives a `SweepRecord` and what was decided.
"""

from __future__ import annotations

import math

import numpy as np

from tuner.estimates import Array, Note
from tuner.reading.bench import plausible, sweep_doubts
from tuner.reading.bench.sweep_sides import by_sides, by_signs, one_sign, row_sides
from tuner.reading.table.columns import Matched, Source, mixed_rows
from tuner.reading.table.gaps import complete, missing_rows
from tuner.reading.table.options import conditions_of
from tuner.reading.table.signs import SIDE_SIGN, relative_sign
from tuner.reading.text.tables import Table, stacked
from tuner.records import Quality, SweepRecord

ROLES = (
    "velocity",
    "force",
    "side",
    "compression_force",
    "rebound_force",
    "compression_velocity",
    "rebound_velocity",
    "stroke",
    "crank_speed",
    "time",
)
NEEDS = "velocity (or stroke and crank speed) and force, or one force per side; no time"


def recognises(matched: Matched) -> str:
    """Say why the columns are those of a sweep, "" when they are not."""
    if matched.has("time"):
        return ""
    speed = matched.has("velocity") or matched.has("crank_speed")
    sided = matched.has("compression_force") or matched.has("rebound_force")
    if sided and (speed or matched.has("compression_velocity") or matched.has("rebound_velocity")):
        return "speed and force of each side"
    if matched.has("force") and speed:
        return "speed and force without time"
    return ""


def _speeds(source: Source, table: Table, side: str) -> Array:
    """Speeds of one side (or of both), as they stand in the file or from stroke and strokes per time."""
    for role in (f"{side}_velocity", "velocity"):
        if source.has(role):
            return source.values(role, table)
    rpm = source.options.amount("rpm")
    if rpm is not None and not source.has("crank_speed"):
        turns = np.full(table.rows, rpm)
    else:
        turns = source.values("crank_speed", table)
    stroke: Array | float | None = source.options.amount("stroke")
    if source.has("stroke"):
        stroke = source.values("stroke", table)
    if stroke is None:
        raise source.refuse(
            "needs the stroke to turn strokes per time into speed",
            "found no column of it",
            "Say it with --set stroke='50 mm'.",
        )
    note = "speed = pi * stroke * strokes per time, the peak of a sine"
    if note not in source.decided:
        source.decided.append(note)
    return np.asarray(math.pi * stroke * turns)


def _wide(source: Source, table: Table) -> tuple[Array, Array, list[Note], int]:
    velocities: list[Array] = []
    forces: list[Array] = []
    notes: list[Note] = []
    lost = 0
    for side, sign in SIDE_SIGN.items():
        role = f"{side}_force"
        if not source.has(role):
            continue
        speed, force = _speeds(source, table, side), source.values(role, table)
        filled = np.isfinite(speed) & np.isfinite(force)
        if not filled.any():
            raise source.refuse(f"needs numbers in column {source.use(role).name!r}", "it is empty")
        half = np.isfinite(speed) ^ np.isfinite(force)  # a side may be tested at fewer speeds than the other
        if half.any():
            lost += int(half.sum())
            line, missing = table.line(int(np.argmax(half))), int(half.sum())
            notes.append(Note("missing-rows", lost=missing, rows=half.size, side=side, line=line))
        speed, force = speed[filled], force[filled]
        one_sign(source, table, speed, np.flatnonzero(filled), side)
        plausible.forces(source, role, force)
        speed = np.abs(speed)
        relative = relative_sign((force * speed).tolist())
        if not relative:
            raise source.refuse(
                f"must have a force in {side} that mostly has one sign",
                f"column {source.use(role).name!r} has both",
                "Check that the columns are not swapped.",
            )
        velocities.append(sign * speed)
        forces.append(sign * relative * force)
    return np.concatenate(velocities), np.concatenate(forces), notes, lost


def _long(source: Source, table: Table) -> tuple[Array, Array, list[Note], int]:
    speed, force = _speeds(source, table, ""), source.values("force", table)
    good = complete((speed, force))
    torn = np.flatnonzero(~good)
    notes = missing_rows(torn.size, good.size, source.name, table.line(int(torn[0])) if torn.size else 0)
    plausible.forces(source, "force", force[good])
    sides = row_sides(source, table, speed)
    if sides is not None:
        sign = np.array([SIDE_SIGN[s] for s in sides], dtype=float)[good]
        points = by_sides(source, table, np.flatnonzero(good), speed[good], force[good], sign)
    else:
        points = by_signs(source, speed[good], force[good])
    return *points, list(notes), torn.size


def _doubts(source: Source, velocity: Array, force: Array) -> list[Note]:
    """Refuse points that cannot be, and note those that hardly can, or that say little."""
    speeds = ("velocity", "compression_velocity", "rebound_velocity")
    speed_role = next((r for r in speeds if source.has(r)), "crank_speed")
    speed = np.abs(velocity)
    fastest = int(np.argmax(speed))
    top = float(speed[fastest])
    plausible.limit(source, speed_role, "highest speed", top, plausible.SLOWEST, plausible.FASTEST, "m/s")
    force_role = next(r for r in ("force", "compression_force", "rebound_force") if source.has(r))
    notes = [*plausible.secant(source, force_role, top, abs(float(force[fastest]))), *plausible.speeds(top)]
    common = min(float(np.max(velocity)), -float(np.min(velocity)))
    if common > 0:
        tops = [np.abs(force[(w * velocity > 0) & (speed <= 1.01 * common)]) for w in (1, -1)]
        notes += plausible.sides(*(float(t.max(initial=0.0)) for t in tops))
    if np.unique(speed).size == 1 and velocity.size > 1:
        notes.append(Note("one-speed"))
    for side, direction in SIDE_SIGN.items():
        if not (np.sign(velocity) == direction).any():
            notes.append(Note("side-missing", side=side))
    return notes


def read(source: Source) -> SweepRecord:
    """Read a sweep; raises ReadError or UnitError when the file leaves something open."""
    sided = source.has("compression_force") or source.has("rebound_force")
    table = stacked(source.sheet.blocks)
    velocity, force, notes, lost = (_wide if sided else _long)(source, table)
    zero = velocity == 0.0
    if zero.any():
        notes.append(Note("zero-speed", points=int(zero.sum())))
        velocity, force = velocity[~zero], force[~zero]
    if velocity.size == 0:
        raise source.refuse("needs points with a speed", "every speed is zero or missing")
    notes += _doubts(source, velocity, force)
    used = _used(source, sided)
    notes += sweep_doubts.stated_speed(source, table) + mixed_rows(source, table, used)
    notes += sweep_doubts.swapped(source, table, used, plausible.steep(velocity, force))
    return SweepRecord(
        velocity,
        force,
        source.options.amount("push"),
        source.options.amount("return"),
        source.provenance(used, f"{velocity.size} points read"),
        conditions_of(source.options),
        Quality(dropouts=lost + source.sheet.left_out, notes=(*source.sheet.notes, *notes)),
    )


def _used(source: Source, sided: bool) -> tuple[str, ...]:
    """Give the roles whose columns went into the record."""
    sides = [side for side in SIDE_SIGN if source.has(f"{side}_force")] if sided else [""]
    roles = [f"{side}_force" for side in sides] if sided else ["force", "side"]
    for side in sides:
        role = next((r for r in (f"{side}_velocity", "velocity") if source.has(r)), "")
        roles += [role] if role else ["stroke", "crank_speed"]
    return tuple(r for r in ROLES if r in roles)
