"""Hung weights: rows of direction, mass, distance and time; slow push and slow return on a scale.

Takes a `Source`; gives a `WeightsRecord`.

The table has one row per drop. A row whose direction says push or return holds the reading of a scale for the
slow push in and the slow return, in the column of masses (or of scale forces), with distance and time empty.
The time may also be given as frames of a camera whose frame rate the settings say.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from tuner.errors import ReadError
from tuner.estimates import Array, Note
from tuner.reading.bench import plausible
from tuner.reading.table.columns import Matched, Source, mixed_rows
from tuner.reading.table.gaps import MOST_MISSING
from tuner.reading.table.heading import tokens_of
from tuner.reading.table.options import conditions_of
from tuner.reading.table.sides import DOWN, PULL, PUSH, RETURN, UP, UP_OR_DOWN, meanings_in, stroke_of
from tuner.reading.table.signs import SIDE_SIGN
from tuner.reading.text.tables import Table, stacked
from tuner.records import Quality, Side, WeightsRecord
from tuner.units import GRAVITY

HEAVIEST = 20e3  # N, that a scale can show
ROLES = (
    "direction",
    "mass",
    "distance",
    "duration",
    "frames",
    "first_frame",
    "last_frame",
    "scale_force",
)
NEEDS = "mass, distance, time (or camera frames) and direction"


def recognises(matched: Matched) -> str:
    """Say why the columns are those of hung weights, "" when they are not."""
    timed = matched.has("duration") or matched.has("frames") or matched.has("first_frame", "last_frame")
    return "mass, distance and time" if matched.has("mass", "distance") and timed else ""


class _Row(NamedTuple):
    """One row of the table: direction as read and as written, numbers in SI (NaN where empty), line in the file."""

    what: str  # compression, rebound, push or return
    word: str
    mass: float
    distance: float
    duration: float
    scale: float
    line: int

    @property
    def timed(self) -> bool:
        """Say whether the row has a distance or a time."""
        return math.isfinite(self.distance) or math.isfinite(self.duration)

    @property
    def whole(self) -> bool:
        """Say whether the row has all that a drop needs."""
        return all(math.isfinite(v) for v in (self.mass, self.distance, self.duration))


class _Rows(NamedTuple):
    """The rows sorted: weights that sank, readings of the scale [N] by direction, drops that lack a number."""

    drops: list[_Row]
    readings: dict[str, list[float]]
    torn: list[_Row]


def _what(word: str, timed: bool, pulled: bool, meanings: Mapping[str, Side]) -> str:
    """Read a direction: compression, rebound, push, return, or "".

    timed : the row has a distance or a time. pulled : other rows say pull, so that a timed push is a weight that sank.
    """
    text, tokens = " ".join(tokens_of(word)), set(tokens_of(word))
    if text in PUSH:
        return "compression" if timed and pulled else "push"
    if text in RETURN:
        return "return"
    if tokens & PULL and not timed:  # on a scale, or a row torn: unknown
        return ""
    return stroke_of(word, meanings) or ""


def _durations(source: Source, table: Table) -> tuple[Array, float | None]:
    """Durations [s] and the frame rate when a camera timed them."""
    rate = source.options.amount("frame_rate")
    if source.has("duration"):
        return source.values("duration", table), rate
    if rate is None:
        raise source.refuse(
            "needs the camera's frame rate to turn frames into time",
            "found frames only",
            "Say it with --set frame_rate='240 Hz'.",
        )
    if source.has("frames"):
        return source.values("frames", table) / rate, rate
    return (source.values("last_frame", table) - source.values("first_frame", table)) / rate, rate


def _words(source: Source, table: Table) -> list[str]:
    """Give the direction of every row as it is written, or as the settings say it."""
    given = source.options.choice("side")
    if source.has("direction"):
        column = source.column("direction", table)
        if not column.is_words:
            raise source.refuse(
                f"needs words in column {source.use('direction').name!r}",
                "found numbers",
                "Write compression, rebound, push or return.",
            )
        return [column.word(r) for r in range(table.rows)]
    if not given:
        raise source.refuse(
            "needs the direction in which the weight sank",
            f"found the columns {', '.join(repr(n) for n in table.names)}",
            "Add a column direction with compression or rebound, or say --set side=compression.",
        )
    source.decided.append(f"the setting side says that this is {given}")
    return [given] * table.rows


def _refuse(source: Source, row: _Row, needed: str, found: str, hint: str = "") -> ReadError:
    return ReadError(f"{source.name}, line {row.line}: {needed}; {found}", hint=hint)


def _reading(source: Source, row: _Row) -> float:
    """Give what the scale shows in a slow push or return [N]."""
    if row.timed:
        raise _refuse(
            source,
            row,
            f"{row.what!r} is the slow {row.what} on a scale and has no distance and no time",
            "found some",
            "Write compression or rebound when a weight sank.",
        )
    if math.isfinite(row.scale) and math.isfinite(row.mass):
        raise _refuse(
            source, row, f"a slow {row.what} needs one reading of the scale", "found a mass and a force"
        )
    reading = row.scale if math.isfinite(row.scale) else row.mass * GRAVITY
    if not math.isfinite(reading):
        raise _refuse(source, row, f"a slow {row.what} needs the reading of the scale", "found none")
    return reading


def _drop(source: Source, row: _Row) -> _Row:
    """Give the row of a weight that sank; raises ReadError for a scale reading in it, or a value not above zero."""
    if math.isfinite(row.scale) and row.scale != 0.0:
        raise _refuse(
            source,
            row,
            "a scale reading belongs to a slow push or return",
            f"found {row.word!r}",
            "Write push or return, or empty that cell.",
        )
    for name, value in (("mass", row.mass), ("distance", row.distance), ("time", row.duration)):
        if value <= 0:
            raise _refuse(source, row, f"{name} must be positive", f"got {value:g}")
    return row


def _rows(source: Source, table: Table, duration: Array) -> _Rows:
    """Sort the rows of the table; raises ReadError for the first that is neither a drop nor a reading."""
    mass, distance = source.values("mass", table), source.values("distance", table)
    scale = source.values("scale_force", table) if source.has("scale_force") else np.full(table.rows, np.nan)
    rows = _Rows([], {"push": [], "return": []}, [])
    words = _words(source, table)
    pulled = any(set(tokens_of(word)) & PULL for word in words)
    meanings = meanings_in(text for _, text in source.sheet.title)
    for r, word in enumerate(words):
        timed = math.isfinite(distance[r]) or math.isfinite(duration[r])
        what = _what(word, timed, pulled, meanings)
        row = _Row(what, word, mass[r], distance[r], duration[r], scale[r], table.line(r))
        if not row.what:
            raise _refuse(
                source,
                row,
                "direction must be compression, rebound, push or return",
                f"got {word[:40]!r}",
                UP_OR_DOWN if set(tokens_of(word)) & (UP | DOWN) else "",
            )
        if row.what in rows.readings:
            rows.readings[row.what].append(float(_reading(source, row)))
        elif row.whole:
            rows.drops.append(_drop(source, row))
        else:
            rows.torn.append(row)
    return rows


def _torn(source: Source, rows: _Rows) -> list[Note]:
    """Note drops that lack a number; raises ReadError when more than a fifth do, or none is left."""
    lost, drops = len(rows.torn), len(rows.torn) + len(rows.drops)
    if lost > MOST_MISSING * drops:
        raise source.refuse(
            "must have mass, distance and time in at least 80 % of its rows",
            f"{lost} of {drops} rows lack one, the first in line {rows.torn[0].line}",
        )
    if not rows.drops:
        raise source.refuse("needs at least one row with a weight that sank", "found none")
    return [Note("missing-rows", lost=lost, rows=drops)] if lost else []


def _readings(source: Source, table: dict[str, list[float]]) -> dict[str, list[float]]:
    """Give the readings of the scale from the table or the settings [N]; raises ReadError when both have some."""
    readings = {name: list(values) for name, values in table.items()}
    for name, values in readings.items():
        amount = source.options.amount(name)
        if amount is not None and values:
            raise source.refuse(
                f"must give the slow {name} once", "found it in the table and in the settings"
            )
        if amount is not None:
            values.append(amount)
    return readings


def _drop_doubts(source: Source, table: Table, drops: Array) -> list[Note]:
    """Refuse drops that cannot be, and note those that hardly can; `drops` (n, 3): mass, distance, time."""
    mass, distance, duration = drops.T
    speed = distance / duration
    plausible.limit(
        source, "distance", "longest distance", float(distance.max()), plausible.SHORTEST, 2.0, "m"
    )
    plausible.limit(source, "mass", "largest mass", float(mass.max()), 0.01, 2000.0, "kg")
    time_role = "duration" if source.has("duration") else "frames"
    plausible.limit(source, time_role, "highest speed", float(speed.max()), 1e-6, 5.0, "m/s")
    notes: list[Note] = []
    for row in (int(np.argmax(speed)), int(np.argmin(speed))):
        found = plausible.secant(source, "distance", float(speed[row]), float(mass[row]) * GRAVITY)
        notes += [n for n in found if n.code not in {x.code for x in notes}]
    if source.has("duration"):
        notes += plausible.swapped(source, table, "mass", "duration")
    return notes


def _scale_doubts(source: Source, readings: dict[str, list[float]]) -> list[Note]:
    """Refuse readings of a scale that cannot be; note what is missing or looks swapped."""
    for name, values in readings.items():
        if values and max(abs(v) for v in values) > HEAVIEST:
            raise source.refuse(
                f"must have a scale reading below {HEAVIEST:.0f} N for the slow {name}",
                f"got {max(values):.4g} N",
            )
    if not readings["push"] or not readings["return"]:
        return [Note("no-scale")]
    if np.mean(readings["push"]) < np.mean(readings["return"]):
        return [Note("scale-order")]
    return []


def read(source: Source) -> WeightsRecord:
    """Read a table of hung weights; raises ReadError or UnitError when the file leaves something open."""
    table = stacked(source.sheet.blocks)
    duration, rate = _durations(source, table)
    rows = _rows(source, table, duration)
    notes = [*source.sheet.notes, *_torn(source, rows)]
    readings = _readings(source, rows.readings)
    drops = np.array([(d.mass, d.distance, d.duration) for d in rows.drops])
    notes += _drop_doubts(source, table, drops)
    notes += _scale_doubts(source, readings)
    notes += mixed_rows(source, table, ROLES)
    read = f"{len(drops)} weights, {len(readings['push'])} push, {len(readings['return'])} return"
    return WeightsRecord(
        drops[:, 0],
        drops[:, 1],
        drops[:, 2],
        np.array([SIDE_SIGN[d.what] for d in rows.drops], dtype=float),
        np.array(readings["push"]),
        np.array(readings["return"]),
        rate,
        source.options.amount("moving_mass") or 0.0,
        source.provenance(ROLES, read),
        conditions_of(source.options),
        Quality(dropouts=len(rows.torn) + source.sheet.left_out, notes=tuple(notes)),
    )
