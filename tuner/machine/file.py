"""The machine file: TOML text into a `Machine`, each value in SI with its uncertainty.

Takes text (or bytes, a path, or a mapping of the same shape); gives a checked `Machine`, or refuses with one
sentence that says where.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from tuner.errors import MachineError
from tuner.estimates import Note
from tuner.machine.checks import check_body, check_corner
from tuner.machine.entries import read_axles, read_body, read_corner, read_target
from tuner.machine.parts import Machine
from tuner.machine.tables import TomlTable

_LIMIT = 1_000_000  # characters; a machine file has a few thousand
_MOST_CORNERS = 100
_NUMBER = r"[-+]?[0-9][0-9.,]*(?:[eE][-+]?[0-9]+)?"
_US = re.compile(r"[0-9]\s*(?:lbf|lbs?|in|inch|inches|ft|psi)\b|/\s*in\b")
_START = "Start with [corners.rear] and give sprung_mass, spring_rate and motion_ratio."


def read_machine_file(path: str | Path) -> Machine:
    """Read the machine file at `path`; raises MachineError or UnitError."""
    place = Path(path)
    try:
        with place.open("rb") as stream:
            data = stream.read(_LIMIT + 1)
    except (OSError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or "not a path"
        raise MachineError(
            f"{place} must be a file that can be opened; got {reason.lower()!r}",
            hint="Give the path of a machine file (TOML).",
        ) from None
    return read_machine(data, str(place))


def read_machine(text: str | bytes, where: str = "machine file") -> Machine:
    """Read the TOML `text` of a machine file; `where` is its name in refusals.

    Raises MachineError (not TOML, unknown or missing keys, impossible values) or UnitError (a unit of the
    wrong kind).
    """
    content = _decoded(text, where)
    _no_recording(content, where)
    return _machine(TomlTable(_parsed(content, where), where, (), content), where)


def machine_from_values(values: Mapping[str, Any], where: str = "the form") -> Machine:
    """Build a machine from a mapping that has the shape of a machine file, such as a form's fields.

    Raises as `read_machine` does.
    """
    return _machine(TomlTable(values, where), where)


def _machine(root: TomlTable, where: str) -> Machine:
    root.only(("name", "corners", "body", "axles", "target"), "a machine file")
    name = root.text("name", default=Path(where).stem or "machine")
    corner_tables = root.table("corners")
    if corner_tables is None or not corner_tables.names():
        raise MachineError(f"{where} must have at least one corner; got none", hint=_START)
    if len(corner_tables.names()) > _MOST_CORNERS:
        raise MachineError(
            f"{where} must have at most {_MOST_CORNERS} corners; got {len(corner_tables.names())}",
            hint="One corner per axle is enough; give another machine a file of its own.",
        )
    speaking = (root.raw("corners"), root.raw("body"))
    pounds = next((text for value in speaking for text in _texts(value) if _US.search(text)), "")
    corners = {}
    for key in corner_tables.names():
        table = corner_tables.table(key)
        if table is not None:
            if pounds:
                _no_bare_mass(table, pounds)
            corners[key] = read_corner(key, table)
    notes: list[Note] = []
    body = axles = None
    body_table, axles_table = root.table("body"), root.table("axles")
    if body_table is not None:
        body, body_notes = read_body(body_table)
        notes.extend(body_notes)
    if axles_table is not None:
        axles = read_axles(axles_table, list(corners))
    target, target_notes = read_target(root.table("target"))
    notes.extend(target_notes)
    for corner in corners.values():
        notes.extend(check_corner(corner))
    if body is not None:
        notes.extend(check_body(body, axles, corners))
    return Machine(name, corners, body, axles, target, tuple(notes))


def _texts(value: Any) -> Iterator[str]:
    """Give every text in a parsed file, tables and lists within included."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for each in value.values():
            yield from _texts(each)
    elif isinstance(value, list):
        for each in value:
            yield from _texts(each)


def _no_bare_mass(table: TomlTable, pounds: str) -> None:
    """Refuse a mass without a unit in a corner, where another value, `pounds`, speaks of pounds or inches."""
    for key in ("sprung_mass", "unsprung_mass"):
        number = re.split(r"\+/?-|±", str(table.raw(key)))[0].strip()
        if re.fullmatch(_NUMBER, number):
            raise MachineError(
                f"{table.at(key)} must say its unit, as another value is {pounds!r}: is {number} in kg or lb?",
                hint=f'Write {key} = "{number} lb" or {key} = "{number} kg".',
            )


def _decoded(text: str | bytes, where: str) -> str:
    if len(text) > _LIMIT:
        raise MachineError(
            f"{where} must be a machine file of a few thousand characters; got more than a million",
            hint="Is it a record instead of the machine file?",
        )
    if isinstance(text, bytes) and text.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"\x1f\x8b")):
        raise MachineError(
            f"{where} must be a machine file (TOML text); got a packed file, such as a spreadsheet or a recording",
            hint=_START,
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
        raise MachineError(f"{where} must be a machine file; got an empty one", hint=_START)
    return text


def _no_recording(content: str, where: str) -> None:
    """Refuse a table of numbers, a recording, that was given in place of the machine file."""
    lines = [line for line in content.splitlines() if line.strip() and not line.lstrip().startswith("#")][
        :100
    ]
    rows = sum(not set("=[]") & set(line) and len(re.findall("[0-9]+", line)) >= 2 for line in lines)
    if rows >= 3 and 2 * rows > len(lines):
        raise MachineError(
            f"{where} must be a machine file; it looks like a recording, a table of numbers",
            hint="Give it as the recording, and the machine file (TOML) as the machine.",
        )


def _parsed(content: str, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(content)
    except RecursionError:
        raise MachineError(f"{where} must be a plain machine file; got lists nested too deep") from None
    except tomllib.TOMLDecodeError as problem:
        message = str(problem)
    except ValueError:  # a whole number of thousands of digits
        raise MachineError(
            f"{where} must have numbers of a sensible length; got thousands of digits"
        ) from None
    at = re.search(r"\(at line (\d+)", message)
    number = int(at[1]) if at else None
    lines = content.split("\n")
    line = lines[number - 1].strip()[:60] if number is not None and number <= len(lines) else ""
    place = where if number is None else f"{where}, line {number}"
    reason = re.sub(r"\s*\(at .*", "", message, flags=re.DOTALL)
    if re.search("overwrite|twice|already|mutate", reason, re.IGNORECASE):
        raise MachineError(
            f"{place}: every key and table must be given only once; got {line!r} again",
            hint="Remove one of the two.",
        )
    raise MachineError(
        f"{place} must be valid TOML; got {line!r} ({reason[:80].lower()})",
        hint="Values with a unit stand in quotes and numbers have a decimal point: "
        'sprung_mass = "92 kg", front_share = 0.47.',
    )
