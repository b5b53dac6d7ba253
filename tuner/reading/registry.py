"""The record kinds that files can hold, in the order in which they are tried.

Takes a table; gives the kind that recognises its columns.
A new kind is one file with ROLES, NEEDS, `recognises` and `read`, and one row here; its words go into table/words.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

from tuner.errors import ReadError, UsageError
from tuner.names import nearest_hint
from tuner.reading.bench import cycle, sweep, weights
from tuner.reading.phone import bounce, flight, motion
from tuner.reading.sensor import travel
from tuner.reading.table.columns import Matched, Source, match
from tuner.reading.table.options import ReadOptions
from tuner.reading.table.words import ROLES
from tuner.reading.text.tables import Sheet
from tuner.records import Kind, Record


class Reader(NamedTuple):
    """One record kind: roles of its columns, what it needs in words, whether it knows a table, how it reads.

    tells : where other kinds have the same columns, gives the kind that the content shows, and why; or refuses.
    """

    kind: Kind
    roles: tuple[str, ...]
    needs: str
    recognises: Callable[[Matched], str]
    read: Callable[[Source], Record]
    tells: Callable[[Source], tuple[Kind, str]] | None = None


REGISTRY: tuple[Reader, ...] = (
    Reader("cycle", cycle.ROLES, cycle.NEEDS, cycle.recognises, cycle.read),
    Reader("weights", weights.ROLES, weights.NEEDS, weights.recognises, weights.read),
    Reader("sweep", sweep.ROLES, sweep.NEEDS, sweep.recognises, sweep.read),
    Reader("flight", flight.ROLES, flight.NEEDS, flight.recognises, flight.read, motion.kind_by_phone),
    Reader("travel", travel.ROLES, travel.NEEDS, travel.recognises, travel.read, motion.kind_by_sensor),
    Reader("bounce", bounce.ROLES, bounce.NEEDS, bounce.recognises, bounce.read),
)


def reader_of(kind: Kind) -> Reader:
    """Give the reader of that kind; raises ReadError when files of it cannot be read."""
    for reader in REGISTRY:
        if reader.kind == kind:
            return reader
    raise ReadError(f"records of the kind {kind!r} cannot be read from files")


def choose(
    sheet: Sheet, options: ReadOptions, name: str, *, content: bool = True
) -> tuple[Reader, Matched, str]:
    """Choose the kind: as the options say, else the first that recognises the columns; give the reason with it.

    Kinds with the same columns are told apart by their content, unless `content` is False (the head of a file only).

    Raises ReadError, listing the columns and what each kind needs, when none does.
    """
    table = sheet.table
    if options.kind is not None:
        reader = reader_of(options.kind)
        for role in options.columns:
            if role not in reader.roles:
                raise UsageError(
                    f"--column: a {reader.kind} record has no {role!r}",
                    hint=nearest_hint(role, list(reader.roles)),
                )
        return reader, match(table, reader.roles, options), f"kind {reader.kind}, as asked for"
    for reader in REGISTRY:
        if not set(options.columns) <= set(reader.roles):
            continue  # the user named a column that this kind has no use for
        matched = match(table, reader.roles, options)
        why = reader.recognises(matched)
        if why and reader.tells and content:
            _nearly(sheet, options, name, before=reader)
            kind, why = reader.tells(Source(name, "", sheet, matched, options))
            reader = reader_of(kind)
            matched = match(table, reader.roles, options)
        if why:
            return reader, matched, f"kind {reader.kind}: {why}"
    columns = ", ".join(repr(n) for n in table.names)
    if not table.named:
        raise ReadError(
            f"{name} must have a header that names its columns; found {len(table.names)} columns without names",
            hint="Name them with --kind KIND and --column ROLE=NAME, where the names are "
            f"'column 1' ... 'column {len(table.names)}', and --unit ROLE=UNIT.",
        )
    _nearly(sheet, options, name)
    needs = "; ".join(f"{r.kind}: {r.needs}" for r in REGISTRY)
    raise ReadError(
        f"{name} must have the columns of one record kind; found {columns}",
        hint=f"Name them with --column ROLE=NAME. Needed are, {needs}.",
    )


def _nearly(sheet: Sheet, options: ReadOptions, name: str, *, before: Reader | None = None) -> None:
    """Refuse with the one thing that is missing, when a kind lacks only one column, or the right unit of one.

    before : look only at the kinds tried before this one, and only where a column left over has a unit of the kind
    that the missing one needs.
    """
    tried = REGISTRY if before is None else REGISTRY[: REGISTRY.index(before)]
    for reader in tried:
        _other_unit(Source(name, "", sheet, match(sheet.table, reader.roles, options), options), reader)
    for reader in tried:
        matched = match(sheet.table, reader.roles, options)
        if len(matched.roles) >= 2 and not reader.recognises(matched):
            _one_missing(sheet, name, reader, matched, sure=before is not None)


def _other_unit(source: Source, reader: Reader) -> None:
    """Refuse a column that would make the kind, were it not for its unit."""
    matched = source.matched
    for role, column in matched.other_unit.items():
        more = replace(matched, roles={**matched.roles, role: column})
        if reader.recognises(more) and not reader.recognises(matched):
            source.index(role)


def _one_missing(sheet: Sheet, name: str, reader: Reader, matched: Matched, *, sure: bool) -> None:
    """Refuse where one more column would make the kind; `sure`: only where one left over has the right unit."""
    free = sorted(set(range(len(sheet.table.names))) - set(matched.roles.values()))
    if sure and not free:
        return
    for role in (r for r in reader.roles if not matched.has(r)):
        where = free or list(matched.roles.values())
        fits = [i for i in where if not sure or matched.headings[i].unit(ROLES[role].kind)]
        if fits and reader.recognises(replace(matched, roles={**matched.roles, role: fits[0]})):
            raise ReadError(
                f"{name} needs a column with the {ROLES[role].meaning} to be a {reader.kind} record; "
                f"{'left' if free else 'found'} are {', '.join(repr(sheet.table.names[i]) for i in fits)}",
                hint=f"Choose it with --column {role}=NAME.",
            )
