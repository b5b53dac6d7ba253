"""The machine file: TOML text into a `Machine`, each value in SI with its uncertainty.

Takes text (or bytes, or a path); gives a checked `Machine`, or refuses with one sentence that says where.
Uses: errors, units, estimates, and the rooms parts, sums, checks. Keys and shapes: `tables`.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from tuner.errors import MachineError
from tuner.estimates import Note
from tuner.machine.checks import check_body, check_corner
from tuner.machine.parts import DEFAULT_TARGET, DEFAULT_TARGET_SPEED, TARGETS, Axles, Machine, Target
from tuner.machine.tables import Table, read_body, read_corner

_LIMIT = 1_000_000  # characters; a machine file has a few thousand


def read_machine_file(path: str | Path) -> Machine:
    """Read the machine file at `path`; raises MachineError or UnitError."""
    place = Path(path)
    try:
        with place.open("rb") as stream:
            data = stream.read(_LIMIT + 1)
    except OSError as problem:
        raise MachineError(
            f"{place} could not be opened: {(problem.strerror or 'unknown reason').lower()}",
            hint="Give the path of a machine file (TOML).",
        ) from None
    return read_machine(data, str(place))


def read_machine(text: str | bytes, where: str = "machine file") -> Machine:
    """Read the TOML `text` of a machine file; `where` is its name in refusals.

    Raises MachineError (not TOML, unknown or missing keys, impossible values) or UnitError (wrong kind of unit).
    """
    content = _decoded(text, where)
    root = Table(_parsed(content, where), where, (), content)
    root.only(("name", "corners", "body", "axles", "target"), "a machine file")
    name = root.text("name", default=Path(where).stem or "machine")
    corner_tables = root.table("corners")
    if corner_tables is None or not corner_tables.keys():
        raise MachineError(
            f"{where} must have at least one corner; got none",
            hint="Start one with [corners.rear] and give sprung_mass, spring_rate and motion_ratio.",
        )
    corners = {}
    notes: list[Note] = []
    for key in corner_tables.keys():
        table = corner_tables.table(key, needed=True)
        assert table is not None
        corners[key] = read_corner(key, table)
    body_table, axles_table = root.table("body"), root.table("axles")
    body = None
    if body_table is not None:
        body, body_notes = read_body(body_table)
        notes.extend(body_notes)
    axles = None
    if axles_table is not None:
        axles_table.only(("front", "rear"), "[axles]")
        axles = Axles(*(axles_table.name_of(key, list(corners), "corner") for key in ("front", "rear")))
    target, target_notes = _target(root.table("target"))
    notes.extend(target_notes)
    for corner in corners.values():
        notes.extend(check_corner(corner))
    if body is not None:
        notes.extend(check_body(body, axles, corners))
    return Machine(name, corners, body, axles, target, tuple(notes))


def _decoded(text: str | bytes, where: str) -> str:
    if len(text) > _LIMIT:
        raise MachineError(
            f"{where} must be a machine file of a few thousand characters; got more than a million",
            hint="Is it a record instead of the machine file?",
        )
    if isinstance(text, bytes):
        encoding = "utf-16" if text[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
        try:
            text = text.decode(encoding)
        except UnicodeDecodeError:
            raise MachineError(
                f"{where} must be a text file in UTF-8; got bytes that are not text",
                hint="Save it as plain text, encoding UTF-8.",
            ) from None
    text = text.removeprefix("\ufeff")
    if "\x00" in text:
        raise MachineError(
            f"{where} must be a text file; got a binary one", hint="Give the machine file (TOML)."
        )
    if not text.strip():
        raise MachineError(
            f"{where} must be a machine file; got an empty one",
            hint="Start with [corners.rear] and give sprung_mass, spring_rate and motion_ratio.",
        )
    return text


def _parsed(content: str, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(content)
    except RecursionError:
        raise MachineError(f"{where} must be a plain machine file; got lists nested too deep") from None
    except ValueError as problem:  # TOMLDecodeError, and numbers too long for Python
        message = str(problem)
    at = re.search(r"\(at line (\d+)", message)
    number = int(at[1]) if at else None
    lines = content.splitlines()
    line = lines[number - 1].strip() if number is not None and number <= len(lines) else ""
    place = where if number is None else f"{where}, line {number}"
    if "overwrite" in message or "twice" in message:
        raise MachineError(
            f"{place}: every key and table may be given once; got {line[:60]!r} again",
            hint="Remove one of the two.",
        )
    hint = 'Values with a unit stand in quotes, numbers use a decimal point: sprung_mass = "92 kg", front_share = 0.47.'
    raise MachineError(
        f"{place} must be valid TOML; got {line[:60]!r} ({re.sub(r' [(]at .*', '', message).lower()[:80]})",
        hint=hint,
    )


def _target(table: Table | None) -> tuple[Target, list[Note]]:
    if table is None:
        note = Note(
            "default-target",
            f"the machine file has no [target]; the band for {DEFAULT_TARGET!r} at {DEFAULT_TARGET_SPEED:g} m/s was taken "
            f"({TARGETS[DEFAULT_TARGET].source})",
        )
        return TARGETS[DEFAULT_TARGET], [note]
    table.only(("use", "compression", "rebound", "speed"), "[target]")
    speed_given = table.estimate("speed", "speed")
    speed = DEFAULT_TARGET_SPEED if speed_given is None else speed_given.value
    if table.has("use"):
        if table.has("compression") or table.has("rebound"):
            raise MachineError(
                f"{table.at('use')}: [target] must have either use or its own compression and rebound; got both",
                hint="Remove one of the two.",
            )
        band = TARGETS[table.name_of("use", list(TARGETS), "built-in band")]
        with table.blame("speed"):
            return Target(band.compression, band.rebound, speed, band.source, band.name), []
    compression, rebound = table.band("compression"), table.band("rebound")
    notes = []
    if speed_given is None:
        notes.append(
            Note("default-target-speed", f"[target] gives no speed; {DEFAULT_TARGET_SPEED:g} m/s was taken")
        )
    with table.blame("compression"):
        return Target(compression, rebound, speed, "the machine file"), notes
