"""To which side the points of a sweep belong: by words in the rows or above the blocks, by signs, by the settings.

Takes a `Source`, speeds and forces as they stand; gives velocity and force in the house's signs, or refuses.
"""

from __future__ import annotations

import numpy as np

from tuner.estimates import Array
from tuner.reading.table.columns import Source
from tuner.reading.table.heading import tokens_of
from tuner.reading.table.sides import DOWN, UP, UP_OR_DOWN, meanings_in, side_of, stroke_of
from tuner.reading.table.signs import SIDE_SIGN, relative_sign, sayings, settle
from tuner.reading.text.tables import Table
from tuner.records import Side


def one_sign(source: Source, table: Table, speed: Array, rows: np.ndarray, what: str) -> None:
    """Refuse speeds of one side, in these rows of the table, that have both signs."""
    if (speed > 0).any() and (speed < 0).any():
        row = int(np.flatnonzero(speed < 0 if (speed > 0).sum() > (speed < 0).sum() else speed > 0)[0])
        raise source.refuse(
            f"must count the speed of {what} with one sign",
            f"line {table.line(int(rows[row]))} has the other one",
        )


def row_sides(source: Source, table: Table, speed: Array) -> list[Side] | None:
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


def by_sides(
    source: Source, table: Table, rows: np.ndarray, speed: Array, force: Array, sign: Array
) -> tuple[Array, Array]:
    """Give velocity and force where each of these rows of the table names its side, by its sign +1 or -1."""
    velocity = sign * np.abs(speed)
    for side, value in SIDE_SIGN.items():
        part = sign == value
        if not part.any():
            continue
        one_sign(source, table, speed[part], rows[part], side)
        relative = relative_sign((force[part] * velocity[part]).tolist())
        if not relative:
            raise source.refuse(
                f"must have a force in {side} that mostly has one sign", "it has both", "Check the sides."
            )
        force = np.where(part, relative * force, force)
    return velocity, force


def by_signs(source: Source, speed: Array, force: Array) -> tuple[Array, Array]:
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
