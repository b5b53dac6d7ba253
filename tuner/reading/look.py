"""A look at a file before it is read: kind, columns with guessed role and unit, choices, first rows.

Takes bytes and options; gives a `Preview`, never an exception for bad input. Uses: errors and the room.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tuner.errors import ReadError, TunerError
from tuner.reading.columns import Matched, match
from tuner.reading.door import WORDS, decimal_of, read_bytes
from tuner.reading.options import ReadOptions, check
from tuner.reading.registry import REGISTRY, choose, reader_of
from tuner.reading.sheet import read_head
from tuner.reading.tables import Sheet, Table
from tuner.reading.words import ROLES
from tuner.records import Kind, kind_of
from tuner.units import SI_UNIT


@dataclass(frozen=True, slots=True)
class PreviewColumn:
    """A column as it would be read: `role` and `unit` are None where open; `kind` is the kind of unit it needs."""

    name: str
    role: str | None
    unit: str | None
    kind: str | None


@dataclass(frozen=True, slots=True)
class Preview:
    """What a file looks like.

    choices : role -> what it means, for the kind guessed (or every kind, when none was). rows : the first rows as
    text. problem : why the file is refused as it is, None when it can be read. decided : one sentence each.
    """

    kind: Kind | None
    columns: tuple[PreviewColumn, ...] = ()
    choices: Mapping[str, str] = field(default_factory=dict)
    rows: tuple[tuple[str, ...], ...] = ()
    decided: tuple[str, ...] = ()
    problem: TunerError | None = None


def _columns(table: Table, matched: Matched | None, options: ReadOptions) -> tuple[PreviewColumn, ...]:
    found = []
    roles = {} if matched is None else {i: r for r, i in matched.roles.items()}
    for i, name in enumerate(table.names):
        role = roles.get(i)
        kind = ROLES[role].kind if role else None
        unit = None
        if role and matched is not None and kind in SI_UNIT:
            unit = options.units.get(role) or matched.headings[i].unit(str(kind)) or None
            if unit is None and table.columns[i].stamps:
                unit = "s"
        found.append(PreviewColumn(name, role, unit, kind if kind in SI_UNIT else None))
    return tuple(found)


def _rows(sheet: Sheet, count: int) -> tuple[tuple[str, ...], ...]:
    table = sheet.table
    return tuple(tuple(c.word(r) for c in table.columns) for r in range(min(count, table.rows)))


def preview(data: bytes, name: str, options: ReadOptions | None = None, *, rows: int = 10) -> Preview:
    """Look at a file: what it seems to be, what is open, and why it would be refused. Never raises for bad input."""
    options = ReadOptions() if options is None else options
    try:
        check(options)
        sheet = read_head(data, name, WORDS, decimal_of(options))
    except TunerError as error:
        return Preview(options.kind, problem=error)
    kind: Kind | None = options.kind
    matched: Matched | None = None
    problem: TunerError | None = None
    decided = sheet.decided
    try:
        reader, matched, why = choose(sheet, options, name, content=False)
        kind = reader.kind
        decided = (*decided, why)
        reading = read_bytes(data, name, options)
        if kind_of(reading.record) != kind:  # the content showed another kind than the columns alone
            kind, decided = kind_of(reading.record), reading.decided
            matched = match(sheet.table, reader_of(kind).roles, options)
    except TunerError as error:
        problem = error
        if matched is None and kind is not None:
            try:
                matched = match(sheet.table, reader_of(kind).roles, options)
            except TunerError:
                matched = None
    readers = [r for r in REGISTRY if kind in (None, r.kind)]
    choices = {role: ROLES[role].meaning for r in readers for role in r.roles}
    return Preview(
        kind, _columns(sheet.table, matched, options), choices, _rows(sheet, rows), decided, problem
    )


__all__ = ["Preview", "PreviewColumn", "ReadError", "preview"]
