"""Which rows and columns of a file belong to which sensor of a phone.

Takes a `Source`; gives per sensor its columns, rows and numbers.

Layouts: one row per sample with all sensors; sensors with rates of their own in one table with blanks; long form, one
row per sample and sensor with the sensor's name in a column.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from tuner.errors import ReadError
from tuner.estimates import Array
from tuner.reading.table.columns import Matched, Source
from tuner.reading.table.gaps import MOST_MISSING, blank_rows
from tuner.reading.table.heading import heading, tokens_of
from tuner.reading.text.tables import Table

AXES = ("x", "y", "z")
SENSORS = ("acceleration", "linear", "gravity", "rotation")
QUATERNION = ("w", "x", "y", "z")
ROLES = (
    "time",
    *(f"{sensor}_{axis}" for sensor in SENSORS for axis in AXES),
    "rotation_time",
    "vertical",
    "magnitude",
    "sensor",
    *(f"orientation_{part}" for part in QUATERNION),
)
_SENSOR_WORDS = (
    ("", ("uncalibrated", "orientation", "vector", "magnetic", "step")),
    ("linear", ("linear", "user", "lineare", "lineaire", "lineal")),
    ("gravity", ("gravity", "grav", "schwerkraft", "gravite", "gravedad")),
    (
        "rotation",
        ("gyroscope", "gyro", "gyr", "rotation", "rotationrate", "gyroskop", "giroscopio", "angular"),
    ),
    (
        "acceleration",
        ("acceleration", "accelerometer", "accel", "acc", "beschleunigung", "acelerometro", "accelerometre"),
    ),
)


class Part(NamedTuple):
    """One sensor: roles of its columns (() where another sensor has them too), rows, numbers, rows lost, its unit."""

    roles: tuple[str, ...]
    rows: np.ndarray
    values: Array
    lost: int
    unit: str = ""


def three_axes(matched: Matched, sensor: str) -> bool:
    """Say whether the columns of all three axes of a sensor are there."""
    return matched.has(*(f"{sensor}_{axis}" for axis in AXES))


def phone_columns(matched: Matched) -> str:
    """Say why the columns are those of a phone, "" when they are not."""
    if not matched.has("time"):
        return ""
    if three_axes(matched, "acceleration") or three_axes(matched, "linear"):
        return "time and acceleration along three axes"
    return ""


def parts_of(source: Source, table: Table) -> dict[str, Part]:
    """Give the sensors by name; raises ReadError when an accelerometer is not among them, or is torn."""
    return _long_form(source, table) if is_long(source, table) else _wide(source, table)


def is_long(source: Source, table: Table) -> bool:
    """Say whether a column names the sensor of each row."""
    if not source.has("sensor"):
        return False
    column = source.column("sensor", table)
    return "sensor" in source.options.columns or any(sensor_of(word) for word in column.words)


def _numbers(source: Source, role: str, table: Table) -> Array:
    column = source.column(role, table)
    if column.is_words or column.stamps:
        return source.values(role, table)  # refused there
    return column.numbers


def _groups(source: Source) -> dict[str, tuple[str, ...]]:
    """Give the roles of the columns of each sensor; raises ReadError without an accelerometer."""
    groups = {s: tuple(f"{s}_{a}" for a in AXES) for s in SENSORS if three_axes(source.matched, s)}
    if not ({"acceleration", "linear"} & set(groups)):
        single = next((r for r in ("vertical", "acceleration_z") if source.has(r)), "")
        if not single:
            raise _no_axes(source)
        groups = {"vertical": (single,)}
    if all(source.has(f"orientation_{part}") for part in QUATERNION):
        groups["orientation"] = tuple(f"orientation_{part}" for part in QUATERNION)
    return groups


def _wide(source: Source, table: Table) -> dict[str, Part]:
    """Sensors side by side; a row in which a sensor has nothing at all belongs to another sensor."""
    groups = _groups(source)
    columns = {s: np.column_stack([_numbers(source, r, table) for r in roles]) for s, roles in groups.items()}
    for sensor in [s for s in columns if s in ("gravity", "rotation", "orientation")]:
        if not np.isfinite(columns[sensor]).any():
            source.decided.append(f"the columns of the {sensor} are empty")
            del columns[sensor], groups[sensor]
    something = {s: np.isfinite(c).any(axis=1) for s, c in columns.items()}
    anything = np.logical_or.reduce(list(something.values()))
    used = {source.index(r) for roles in groups.values() for r in roles}
    empty = blank_rows(source, table, anything, used)
    parts = {
        sensor: _part(source, table, sensor, roles, columns[sensor], empty)
        for sensor, roles in groups.items()
    }
    shared = sum(int(something[s].sum()) for s in columns)
    if len(columns) > 1 and shared < 0.9 * len(columns) * int(anything.sum()):
        source.decided.append("the sensors have rates of their own: a blank is a row of another sensor")
    return parts


def _part(
    source: Source, table: Table, sensor: str, roles: tuple[str, ...], values: Array, empty: int
) -> Part:
    """Give the whole rows of one sensor; raises ReadError when more than a fifth of its rows are torn."""
    finite = np.isfinite(values)
    whole = finite.all(axis=1)
    torn = int((finite.any(axis=1) & ~whole).sum()) + empty
    if torn > MOST_MISSING * (int(whole.sum()) + torn):
        row = int(np.flatnonzero(~whole)[0])
        raise source.refuse(
            f"must have numbers in the columns of the {sensor} in at least 80 % of its rows",
            f"{torn} of {int(whole.sum()) + torn} rows lack one, the first in line {table.line(row)}",
            "Export the recording again, or leave the broken column out.",
        )
    return Part(roles, np.flatnonzero(whole), values[whole], torn)


def _no_axes(source: Source) -> ReadError:
    if source.has("magnitude"):
        name = source.use("magnitude").name
        return source.refuse(
            "needs acceleration along the phone's axes x, y and z",
            f"column {name!r} holds only its size, which does not say up from down",
            "Export the three axes too.",
        )
    for axis in AXES:  # the missing one says its name
        source.index(f"acceleration_{axis}")
    raise AssertionError("unreachable")


def sensor_of(word: str) -> str:
    """Read a sensor's name: acceleration, linear, gravity, rotation, or "" for any other."""
    tokens = set(tokens_of(word))
    for sensor, names in _SENSOR_WORDS:
        if tokens & set(names):
            return sensor
    glued = "".join(tokens_of(word))
    for sensor, names in _SENSOR_WORDS:
        if any(len(n) > 4 and n in glued for n in names):
            return sensor
    return ""


def _long_form(source: Source, table: Table) -> dict[str, Part]:
    """One row per sample and sensor."""
    column = source.column("sensor", table)
    name = source.use("sensor").name
    if not column.is_words or column.codes is None:
        raise source.refuse(f"needs names of sensors in column {name!r}", "found numbers")
    found: dict[str, int] = {}
    for code, word in enumerate(column.words):
        sensor = sensor_of(word)
        if sensor in found:
            raise source.refuse(
                "must hold each sensor once",
                f"{column.words[found[sensor]]!r} and {word!r} both are {sensor}",
                "Leave the rows of one of them out.",
            )
        if sensor:
            found[sensor] = code
    if not {"acceleration", "linear"} & set(found):
        raise source.refuse(
            "needs rows of an accelerometer",
            f"column {name!r} names {', '.join(repr(w) for w in column.words[:8])}",
            "Export the accelerometer too, or choose the column of names with --column sensor=NAME.",
        )
    roles = tuple(f"acceleration_{a}" for a in AXES)
    values = np.column_stack([_numbers(source, r, table) for r in roles])
    said = ", ".join(f"{column.words[c]} ({s})" for s, c in found.items())
    source.decided.append(f"column {name!r} names the sensor of each row: {said}")
    parts: dict[str, Part] = {}
    for sensor, code in found.items():
        mine = column.codes == code
        whole = mine & np.isfinite(values).all(axis=1)
        torn = int(mine.sum()) - int(whole.sum())
        own = roles if sensor in ("acceleration", "linear", "gravity") else ()
        kind = "angular rate" if sensor == "rotation" else "acceleration"
        unit = heading(column.words[code]).unit(kind)
        parts[sensor] = Part(own, np.flatnonzero(whole), values[whole], torn, unit)
    return parts


def given_units(source: Source, sensor: str, part: Part, kind: str) -> list[str]:
    """Units of the axes as options, sensor's name or header say them; one that is said holds for its neighbours too."""
    roles = part.roles
    asked = roles or tuple(f"{sensor}_{a}" for a in AXES)
    units = []
    for role in asked:
        unit = source.options.units.get(role, "")
        if not unit and role in source.matched.roles and roles:
            found = source.matched.headings[source.matched.roles[role]]
            if found.unit_text and not found.unit(kind):
                source.use(role)  # a unit of another kind: refused there
            unit = part.unit or found.unit(kind)
        unit = unit or part.unit
        units.append(unit)
    first = next((u for u in units if u), "")
    return [u or first for u in units]


def roles_used(source: Source, *sensors: str) -> tuple[str, ...]:
    """Give the roles of the columns that these sensors used, with the time's and the names'."""
    roles = ["time"]
    for sensor in sensors:
        roles += [r for r in ROLES if r.startswith(f"{sensor}_") or r == sensor]
    if "vertical" in sensors and not source.has("vertical"):
        roles.append("acceleration_z")
    if source.has("sensor") and is_long(source, source.sheet.table):
        roles += ["sensor", *(f"acceleration_{a}" for a in AXES)]
    if "rotation" not in sensors and "rotation_time" in roles:
        roles.remove("rotation_time")
    return tuple(dict.fromkeys(roles))
