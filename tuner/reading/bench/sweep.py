"""Bench sweeps: one row per test speed, as signed points, with a column of sides, or wide with one column per side.

Takes a `Source`; gives a `SweepRecord` and what was decided.
"""

from __future__ import annotations

import math

import numpy as np

from tuner.estimates import Array, Note
from tuner.reading.bench import plausible, sweep_doubts
from tuner.reading.table.columns import Matched, Source, mixed_rows
from tuner.reading.table.gaps import complete, missing_rows
from tuner.reading.table.header import tokens_of
from tuner.reading.table.options import conditions_of
from tuner.reading.table.sides import DOWN, UP, UP_OR_DOWN, meanings_in, side_of, stroke_of
from tuner.reading.table.signs import SIDE_SIGN, relative_sign, sayings, settle
from tuner.reading.text.tables import Table, stacked
from tuner.records import Provenance, Quality, Side, SweepRecord

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


def _one_sign(source: Source, table: Table, speed: Array, rows: np.ndarray, what: str) -> None:
    if (speed > 0).any() and (speed < 0).any():
        row = int(np.flatnonzero(speed < 0 if (speed > 0).sum() > (speed < 0).sum() else speed > 0)[0])
        raise source.refuse(
            f"must count the speed of {what} with one sign",
            f"line {table.line(int(rows[row]))} has the other one",
        )


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
            text = f"{int(half.sum())} of {half.size} rows lack the speed or the force in {side}, "
            notes.append(Note("missing-rows", f"{text}the first in line {table.line(int(np.argmax(half)))}"))
        speed, force = speed[filled], force[filled]
        _one_sign(source, table, speed, np.flatnonzero(filled), side)
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


def _row_sides(source: Source, table: Table, speed: Array) -> list[Side] | None:
    """Give the side of every row, from a column of sides or from the line above each block; None where neither is."""
    if not source.has("side"):
        return None if (speed > 0).any() and (speed < 0).any() else _block_sides(source)
    column = source.column("side", table)
    if not column.is_words:
        raise source.refuse(
            f"needs words in column {source.use('side').name!r}",
            "found numbers",
            "Write compression or rebound, or choose another column with --column side=NAME.",
        )
    use = source.use("side")
    meanings = meanings_in([use.name, *(text for _, text in source.sheet.title)])
    read = [stroke_of(word, meanings) for word in column.words]
    sides = [None if code < 0 else read[code] for code in np.asarray(column.codes)]
    if any(s is None for s in sides):
        row = sides.index(None)
        word = column.word(row)
        raise source.refuse(
            "needs compression or rebound in every row",
            f"line {table.line(row)} holds {word[:40]!r}",
            UP_OR_DOWN if set(tokens_of(word)) & (UP | DOWN) else "Write compression or rebound.",
        )
    source.decided.append(f"column {source.use('side').name!r} says the side")
    return [s for s in sides if s is not None]


def _block_sides(source: Source) -> list[Side] | None:
    blocks = source.sheet.blocks
    above = [block.label for block in blocks]
    if not above[0] and source.sheet.title:
        above[0] = source.sheet.title[-1][1]
    named = [side_of(label) for label in above]
    sides = [s for s in named if s is not None]
    if len(blocks) < 2 or len(set(sides)) < 2:
        return None
    if len(sides) < len(blocks):
        block = blocks[named.index(None)]
        raise source.refuse(
            "must name the side of every block or of none",
            f"the block from line {block.line(0)} on has none above it",
            "Write compression or rebound above each block.",
        )
    if source.options.choice("side"):
        raise source.refuse(
            "must not be given one side (--set side), since it holds both",
            f"the lines above its blocks name {' and '.join(dict.fromkeys(sides))}",
            "Leave the setting out.",
        )
    source.decided.append("the lines above the blocks say the side")
    return [side for side, block in zip(sides, blocks, strict=True) for _ in range(block.rows)]


def _long(source: Source, table: Table) -> tuple[Array, Array, list[Note], int]:
    speed, force = _speeds(source, table, ""), source.values("force", table)
    good = complete((speed, force))
    torn = np.flatnonzero(~good)
    notes = missing_rows(torn.size, good.size, source.name, table.line(int(torn[0])) if torn.size else 0)
    plausible.forces(source, "force", force[good])
    sides = _row_sides(source, table, speed)
    if sides is not None:
        sign = np.array([SIDE_SIGN[s] for s in sides], dtype=float)[good]
        points = _by_sides(source, table, np.flatnonzero(good), speed[good], force[good], sign)
    else:
        points = _by_signs(source, speed[good], force[good])
    return *points, list(notes), torn.size


def _by_sides(
    source: Source, table: Table, rows: np.ndarray, speed: Array, force: Array, sign: Array
) -> tuple[Array, Array]:
    """Give velocity and force where each of these rows of the table names its side, by its sign +1 or -1."""
    velocity = sign * np.abs(speed)
    for side, value in SIDE_SIGN.items():
        part = sign == value
        if not part.any():
            continue
        _one_sign(source, table, speed[part], rows[part], side)
        relative = relative_sign((force[part] * velocity[part]).tolist())
        if not relative:
            raise source.refuse(
                f"must have a force in {side} that mostly has one sign", "it has both", "Check the sides."
            )
        force = np.where(part, relative * force, force)
    return velocity, force


def _by_signs(source: Source, speed: Array, force: Array) -> tuple[Array, Array]:
    """Give velocity and force where signs, words or the settings tell the side."""
    both = bool((speed > 0).any() and (speed < 0).any())
    if not both:
        points = _one_way(source, speed, force)
        if points is not None:
            return points
    relative = _relative(source, speed, force)
    for way in (speed > 0, speed < 0):
        if way.any() and relative_sign((force * speed)[way].tolist()) != relative:
            raise source.refuse(
                "must have forces that resist the motion both ways, the gas force apart",
                "in one direction many of them push along",
                "Zero the load cell, or take off every force what it shows at rest (gas and offset); check that the "
                "columns are not swapped.",
            )
    signs = settle(source, relative, *_static(speed, force))
    source.decided.append(signs.decided)
    return signs.travel * speed, signs.force * force


def _relative(source: Source, speed: Array, force: Array) -> int:
    relative = relative_sign((force * speed).tolist())
    if not relative:
        raise source.refuse(
            "must have forces that go with the speeds as a damper's do",
            "with one sign of force for both directions the work is about zero",
            "Check the signs and that the columns are not swapped; a column of sides (compression, rebound) helps.",
        )
    return relative


def _one_way(source: Source, speed: Array, force: Array) -> tuple[Array, Array] | None:
    """Give velocity and force where all speeds have one sign; None where only words about signs tell the side."""
    side = source.options.choice("side")
    if side:
        _relative(source, speed, force)
        source.decided.append(f"the setting side says that this is {side}")
        one, along = SIDE_SIGN[side], float((force * np.abs(speed)).sum())
        return one * np.abs(speed), one * force * (1 if along > 0 else -1)
    said = sayings(source)
    if not said:
        raise source.refuse(
            "must say which side was tested",
            "all speeds have one sign and no word names a side",
            "Say --set side=compression or --set side=rebound; "
            "for signed values --set positive_travel=compression or positive_force=compression.",
        )
    by_force = next((s for s in said if s.quantity == "force"), None)
    if by_force is None or not _pairs(speed, force):
        return None
    source.decided.append(
        f"the sign of the force says the side: positive is {by_force.side} ({by_force.who})"
    )
    towards = SIDE_SIGN[by_force.side] * np.sign(force)
    return towards * np.abs(speed), towards * np.abs(force)


def _pairs(speed: Array, force: Array) -> bool:
    """Say whether every speed comes with as many positive forces as negative ones."""
    if not (force > 0).any() or not (force < 0).any():
        return False
    return all(float(np.sign(force[speed == v]).sum()) == 0.0 for v in np.unique(speed))


def _static(speed: Array, force: Array) -> tuple[int, str]:
    """Sign of a force that stays the same in both directions at the slowest speeds: the gas pushing."""
    ups, downs = np.flatnonzero(speed > 0), np.flatnonzero(speed < 0)
    if not ups.size or not downs.size:
        return 0, ""
    up, down = force[ups[np.argmin(speed[ups])]], force[downs[np.argmax(speed[downs])]]
    if up * down <= 0 or min(abs(up), abs(down)) < max(20.0, 0.01 * float(np.max(np.abs(force)))):
        return 0, ""
    text = f"the gas force ({0.5 * (up + down):.0f} N in the file's sign at the slowest speeds, both ways)"
    return (1 if up > 0 else -1), text


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
        notes.append(
            Note("one-speed", "all points have the same speed; a law of force over speed needs several")
        )
    for side, direction in SIDE_SIGN.items():
        if not (np.sign(velocity) == direction).any():
            notes.append(Note("side-missing", f"the sweep has no point in {side}"))
    return notes


def read(source: Source) -> SweepRecord:
    """Read a sweep; raises ReadError or UnitError when the file leaves something open."""
    sided = source.has("compression_force") or source.has("rebound_force")
    table = stacked(source.sheet.blocks)
    velocity, force, notes, lost = (_wide if sided else _long)(source, table)
    zero = velocity == 0.0
    if zero.any():
        notes.append(Note("zero-speed", f"{int(zero.sum())} points at zero speed were left out"))
        velocity, force = velocity[~zero], force[~zero]
    if velocity.size == 0:
        raise source.refuse("needs points with a speed", "every speed is zero or missing")
    notes += _doubts(source, velocity, force)
    used = _used(source, sided)
    notes += sweep_doubts.stated_speed(source, table) + mixed_rows(source, table, used)
    notes += sweep_doubts.swapped(source, table, used, plausible.steep(velocity, force))
    source.left_over(*used)
    history = (*source.decided, f"{velocity.size} points read")
    return SweepRecord(
        velocity,
        force,
        Provenance(source.name, source.sha256, source.sheet.rows, source.uses(*used), None, history),
        conditions_of(source.options),
        Quality(
            dropouts=lost + source.sheet.left_out, notes=(*(Note(*n) for n in source.sheet.notes), *notes)
        ),
    )


def _used(source: Source, sided: bool) -> tuple[str, ...]:
    """Give the roles whose columns went into the record."""
    sides = [side for side in SIDE_SIGN if source.has(f"{side}_force")] if sided else [""]
    roles = [f"{side}_force" for side in sides] if sided else ["force", "side"]
    for side in sides:
        role = next((r for r in (f"{side}_velocity", "velocity") if source.has(r)), "")
        roles += [role] if role else ["stroke", "crank_speed"]
    return tuple(r for r in ROLES if r in roles)
