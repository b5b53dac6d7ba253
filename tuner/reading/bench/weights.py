"""Hung weights: rows of direction, mass, distance and time; slow push and slow return on a scale.

Takes a `Source`; gives a `WeightsRecord`.

The table has one row per drop. A row whose direction says push or return holds the reading of a scale for the
slow push in and the slow return, in the column of masses (or of scale forces), with distance and time empty.
The time may also be given as frames of a camera whose frame rate the settings say.
"""

from __future__ import annotations

import numpy as np

from tuner.errors import ReadError
from tuner.estimates import Array, Note
from tuner.reading.bench import plausible
from tuner.reading.table.columns import Matched, Source, mixed_rows
from tuner.reading.table.header import side_of, tokens_of
from tuner.reading.table.options import conditions_of
from tuner.reading.table.words import PUSH, RETURN
from tuner.reading.text.tables import Table, stacked
from tuner.records import Provenance, Quality, WeightsRecord

GRAVITY = 9.80665  # m/s**2, standard gravity (CGPM 1901)
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


def _what(word: str) -> str:
    """Read a direction: compression, rebound, push, return, or ""."""
    text = " ".join(tokens_of(word))
    if text in PUSH:
        return "push"
    if text in RETURN:
        return "return"
    return side_of(word) or ""


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


def _row(source: Source, table: Table, row: int, needed: str, found: str, hint: str = "") -> ReadError:
    return ReadError(f"{source.name}, line {table.line(row)}: {needed}; {found}", hint=hint)


def read(source: Source) -> WeightsRecord:
    """Read a table of hung weights; raises ReadError or UnitError when the file leaves something open."""
    table = stacked(source.sheet.blocks)
    mass, distance = source.values("mass", table), source.values("distance", table)
    duration, rate = _durations(source, table)
    scale = source.values("scale_force", table) if source.has("scale_force") else np.full(table.rows, np.nan)
    given = source.options.choice("side")
    if source.has("direction"):
        column = source.column("direction", table)
        if not column.is_words:
            raise source.refuse(
                f"needs words in column {source.use('direction').name!r}",
                "found numbers",
                "Write compression, rebound, push or return.",
            )
        words = [column.word(r) for r in range(table.rows)]
    elif given:
        words = [given] * table.rows
        source.decided.append(f"the setting side says that this is {given}")
    else:
        raise source.refuse(
            "needs the direction in which the weight sank",
            f"found the columns {', '.join(repr(n) for n in table.names)}",
            "Add a column direction with compression or rebound, or say --set side=compression.",
        )
    rows: list[tuple[float, float, float, float]] = []
    readings: dict[str, list[float]] = {"push": [], "return": []}
    lost, first = 0, 0
    for r, word in enumerate(words):
        what = _what(word)
        if not what:
            raise _row(
                source,
                table,
                r,
                "direction must be compression, rebound, push or return",
                f"got {word[:40]!r}",
            )
        timed = np.isfinite(distance[r]) or np.isfinite(duration[r])
        if what in readings:
            if timed:
                raise _row(
                    source,
                    table,
                    r,
                    f"{what!r} is the slow {what} on a scale and has no distance and no time",
                    "found some",
                    "Write compression or rebound when a weight sank.",
                )
            if np.isfinite(scale[r]) and np.isfinite(mass[r]):
                raise _row(
                    source,
                    table,
                    r,
                    f"a slow {what} needs one reading of the scale",
                    "found a mass and a force",
                )
            reading = scale[r] if np.isfinite(scale[r]) else mass[r] * GRAVITY
            if not np.isfinite(reading):
                raise _row(source, table, r, f"a slow {what} needs the reading of the scale", "found none")
            readings[what].append(float(reading))
            continue
        if not (np.isfinite(mass[r]) and np.isfinite(distance[r]) and np.isfinite(duration[r])):
            lost, first = lost + 1, first or table.line(r)
            continue
        if np.isfinite(scale[r]) and scale[r] != 0.0:
            raise _row(
                source,
                table,
                r,
                "a scale reading belongs to a slow push or return",
                f"found {word!r}",
                "Write push or return, or empty that cell.",
            )
        for name, value in (("mass", mass[r]), ("distance", distance[r]), ("time", duration[r])):
            if value <= 0:
                raise _row(source, table, r, f"{name} must be positive", f"got {value:g}")
        rows.append((mass[r], distance[r], duration[r], 1.0 if what == "compression" else -1.0))
    notes: list[Note] = [Note(*n) for n in source.sheet.notes]
    drops = lost + len(rows)
    if lost:
        if lost > 0.2 * drops:
            raise source.refuse(
                "must have mass, distance and time in at least 80 % of its rows",
                f"{lost} of {drops} rows lack one, the first in line {first}",
            )
        notes.append(Note("missing-rows", f"{lost} of {drops} rows lack a number and were left out"))
    if not rows:
        raise source.refuse("needs at least one row with a weight that sank", "found none")
    for name in ("push", "return"):
        amount = source.options.amount(name)
        if amount is not None:
            if readings[name]:
                raise source.refuse(
                    f"must give the slow {name} once", "found it in the table and in the settings"
                )
            readings[name].append(amount)
    data = np.array(rows)
    speed = data[:, 1] / data[:, 2]
    plausible.limit(
        source, "distance", "longest distance", float(data[:, 1].max()), plausible.SHORTEST, 2.0, "m"
    )
    plausible.limit(source, "mass", "largest mass", float(data[:, 0].max()), 0.01, 2000.0, "kg")
    time_role = "duration" if source.has("duration") else "frames"
    plausible.limit(source, time_role, "highest speed", float(speed.max()), 1e-6, 5.0, "m/s")
    for row in (int(np.argmax(speed)), int(np.argmin(speed))):
        found = plausible.secant(source, "distance", float(speed[row]), float(data[row, 0]) * GRAVITY)
        notes += [n for n in found if n.code not in {x.code for x in notes}]
    if source.has("duration"):
        notes += plausible.swapped(source, table, "mass", "duration")
    for name, values in readings.items():
        if values and max(abs(v) for v in values) > 20e3:
            raise source.refuse(
                f"must have a scale reading below 20000 N for the slow {name}", f"got {max(values):.4g} N"
            )
    if not readings["push"] or not readings["return"]:
        notes.append(
            Note(
                "no-scale",
                "slow push and slow return on a scale are not both given: gas force and friction stay in",
            )
        )
    elif np.mean(readings["push"]) < np.mean(readings["return"]):
        notes.append(
            Note("scale-order", "the slow push reads less than the slow return; they may be swapped")
        )
    notes += mixed_rows(source, table, ROLES)
    source.left_over(*ROLES)
    history = (
        *source.decided,
        f"{len(rows)} weights, {len(readings['push'])} push, {len(readings['return'])} return",
    )
    return WeightsRecord(
        data[:, 0],
        data[:, 1],
        data[:, 2],
        data[:, 3],
        np.array(readings["push"]),
        np.array(readings["return"]),
        rate,
        source.options.amount("moving_mass") or 0.0,
        Provenance(source.name, source.sha256, source.sheet.rows, source.uses(*ROLES), None, history),
        conditions_of(source.options),
        Quality(dropouts=lost + source.sheet.left_out, notes=tuple(notes)),
    )
