"""A look at a file before it is read: kind, columns with guessed role and unit, choices, first rows.

Takes bytes and options; gives a `Preview`, never an exception for bad input.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tuner.errors import TunerError
from tuner.kinds import kind_of
from tuner.reading.door import WORDS, decimal_of, no_machine_file, read_bytes
from tuner.reading.registry import REGISTRY, choose, reader_of
from tuner.reading.table.columns import Matched, match
from tuner.reading.table.options import ReadOptions, settled
from tuner.reading.table.words import ROLES
from tuner.reading.text.sheet import read_head
from tuner.reading.text.tables import Sheet, Table
from tuner.records import Kind, Record
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


def _as_read(table: Table, record: Record) -> tuple[PreviewColumn, ...]:
    """Give the columns as the record used them."""
    uses = {use.name: use for use in record.provenance.columns}
    found = []
    for name in table.names:
        use = uses.pop(name, None)
        kind = ROLES[use.role].kind if use and use.role in ROLES else None
        found.append(
            PreviewColumn(
                name, use.role if use else None, (use.unit or None) if use else None, _unit_kind(kind)
            )
        )
    return tuple(found)


def _unit_kind(kind: str | None) -> str | None:
    return kind if kind in SI_UNIT else None


def _as_matched(table: Table, matched: Matched | None, options: ReadOptions) -> tuple[PreviewColumn, ...]:
    """Give the columns as their names alone say."""
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
        found.append(PreviewColumn(name, role, unit, _unit_kind(kind)))
    return tuple(found)


def _rows(table: Table, count: int) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(c.word(r) for c in table.columns) for r in range(min(count, table.rows)))


def _choices(kind: Kind | None) -> dict[str, str]:
    readers = [r for r in REGISTRY if kind in (None, r.kind)]
    return {role: ROLES[role].meaning for r in readers for role in r.roles}


def preview(data: bytes, name: str, options: ReadOptions | None = None, *, rows: int = 10) -> Preview:
    """Look at a file: what it seems to be, what is open, and why it would be refused. Never raises for bad input."""
    options = ReadOptions() if options is None else options
    try:
        options = settled(options)
        no_machine_file(data, name)
        sheet = read_head(data, name, WORDS, decimal_of(options))
    except TunerError as error:
        return Preview(options.kind, choices=_choices(options.kind), problem=error)
    table = sheet.table
    try:
        reading = read_bytes(data, name, options)
    except TunerError as error:
        kind, matched, why = _guess(sheet, options, name)
        columns = _as_matched(table, matched, options)
        return Preview(kind, columns, _choices(kind), _rows(table, rows), (*sheet.decided, *why), error)
    kind = kind_of(reading.record)
    columns = _as_read(table, reading.record)
    return Preview(kind, columns, _choices(kind), _rows(table, rows), reading.decided)


def _guess(
    sheet: Sheet, options: ReadOptions, name: str
) -> tuple[Kind | None, Matched | None, tuple[str, ...]]:
    """Guess kind and columns of a file that is refused as it is."""
    try:
        reader, matched, why = choose(sheet, options, name, content=False)
    except TunerError:
        if options.kind is None:
            return None, None, ()
        try:
            return options.kind, match(sheet.table, reader_of(options.kind).roles, options), ()
        except TunerError:
            return options.kind, None, ()
    return reader.kind, matched, (why,)
