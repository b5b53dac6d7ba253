"""Files, bytes and plain values into records: the doors of the room.

Takes a path, bytes or values with the options; gives a `Reading`.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from tuner.errors import ReadError, RecordError
from tuner.reading.registry import choose
from tuner.reading.table.columns import Source, match
from tuner.reading.table.heading import is_name, is_unit
from tuner.reading.table.options import ReadOptions, settled
from tuner.reading.table.remarks import remarks, with_remarks
from tuner.reading.text.cells import Decimal
from tuner.reading.text.encoding import HEAD
from tuner.reading.text.header import Words
from tuner.reading.text.sheet import read_sheet
from tuner.reading.text.tables import Column, Sheet, Table
from tuner.records import Kind, Record

if TYPE_CHECKING:
    import pandas as pd

FEWEST_TIMED = 200  # rows from which on a table without time can be a recording at a rate
_MACHINE_FILE = re.compile(
    rb"^\s*\[\s*(?:corners\s*[.\]]|body\s*\]|axles\s*\]|target\s*\])"
    rb"|^\s*(?:sprung_mass|spring_rate|motion_ratio)\s*=",
    re.MULTILINE,
)
WORDS = Words(name=is_name, unit=is_unit)


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """A record, and what was decided about the file and why, one sentence each."""

    record: Record
    decided: tuple[str, ...]

    def __repr__(self) -> str:
        return f"<Reading: {self.record!r}>"


def read_file(path: str | Path, options: ReadOptions | None = None) -> Reading:
    """Read a file into a record.

    Raises ReadError or UnitError with one sentence and a hint when the file is refused, UsageError when the
    options are wrong.
    """
    where = Path(path)
    try:
        data = where.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        reason = getattr(error, "strerror", None) or "not a path"
        raise ReadError(
            f"{where} must be a file that can be read; {reason}", hint="Check the path."
        ) from None
    options = settled(ReadOptions() if options is None else options)
    no_machine_file(data, where.name)
    sheet = read_sheet(data, where.name, WORDS, decimal_of(options))
    sha256 = hashlib.sha256(data).hexdigest()
    del data  # a large file need not stay in memory
    return read_source(sheet, where.name, sha256, options)


def no_machine_file(data: bytes, name: str) -> None:
    """Refuse a machine file that was given in place of a recording."""
    if _MACHINE_FILE.search(data[:HEAD]):
        raise ReadError(
            f"{name} must be a recording; it looks like a machine file",
            hint="Give it as the machine, beside a recording.",
        )


def decimal_of(options: ReadOptions) -> Decimal | None:
    """Give the decimal sign that the settings say, None when they say nothing."""
    said = options.choice("decimal")
    return None if not said else "." if said == "point" else ","


def read_bytes(data: bytes, name: str, options: ReadOptions | None = None) -> Reading:
    """Read the bytes of a file called `name` into a record; see `read_file`."""
    options = settled(ReadOptions() if options is None else options)
    no_machine_file(data, name)
    sheet = read_sheet(data, name, WORDS, decimal_of(options))
    return read_source(sheet, name, hashlib.sha256(data).hexdigest(), options)


def prepared(sheet: Sheet, options: ReadOptions) -> tuple[Sheet, ReadOptions, tuple[str, ...]]:
    """Add what the text around the table says to the options, and a time where there is only a rate."""
    found = [r for r in remarks(sheet.title) if not options.has(r.setting)]
    said = tuple(f"line {r.line} says {r.setting} {r.value}" for r in found)
    if sheet.rows < FEWEST_TIMED and not options.has("rate"):
        found = [
            r for r in found if r.setting != "rate"
        ]  # a short table is a sweep, whatever the bench's rate
    sheet, options = timed(sheet, with_remarks(options, found))
    return sheet, options, said


def read_source(sheet: Sheet, name: str, sha256: str, options: ReadOptions) -> Reading:
    """Read a sheet into a record."""
    sheet, options, said = prepared(sheet, options)
    reader, matched, why = choose(sheet, options, name)
    decided = [*sheet.decided, why, *said]
    source = Source(name, sha256, sheet, matched, options, decided)
    try:
        record = reader.read(source)
    except RecordError as error:
        raise ReadError(f"{name}: {error.message}", hint=error.hint) from None
    return Reading(record, tuple(decided))


def timed(sheet: Sheet, options: ReadOptions) -> tuple[Sheet, ReadOptions]:
    """Add a column of time made from the rate, when the rate is given and the file has no time."""
    rate = options.amount("rate")
    matched = match(sheet.table, ("time",), options)
    if rate is None or matched.has("time") or "time" in matched.other_unit:
        return sheet, options
    name = "time from rate"
    blocks = tuple(
        replace(
            table,
            names=(*table.names, name),
            units=(*table.units, "s"),
            columns=(*table.columns, Column(np.arange(table.rows) / rate)),
        )
        for table in sheet.blocks
    )
    decided = f"time is the number of the row over the rate, {rate:g} Hz"
    columns = {**options.columns, "time": name}
    return (
        replace(sheet, blocks=blocks, decided=(*sheet.decided, decided)),
        ReadOptions(options.kind, columns, options.units, options.settings),
    )


def read_values(
    values: Mapping[str, Sequence[Any] | np.ndarray] | pd.DataFrame,
    kind: Kind | None = None,
    options: ReadOptions | None = None,
) -> Reading:
    """Read plain arrays, or the columns of a DataFrame, into a record.

    values : columns (n,) by name; names are roles ("time", "travel", "force" ...) or whatever a file could have.
    Units are SI where neither the name nor the options say another; signs are the house's unless the options or
    the names say otherwise. Raises as `read_file` does.
    """
    options = ReadOptions() if options is None else options
    options = settled(options if kind is None else options.opened(kind))
    columns: list[Column] = []
    names: list[str] = []
    digest = hashlib.sha256()
    for key in values:
        names.append(str(key))
        columns.append(_column(str(key), values[key]))  # type: ignore[index]
        digest.update(f"{key}:{len(columns[-1])}:".encode())
        last = columns[-1]
        words = "\0".join(last.words).encode()
        digest.update(last.numbers.tobytes() if last.codes is None else last.codes.tobytes() + words)
    lengths = {len(c) for c in columns}
    if len(lengths) != 1 or lengths == {0}:
        found = ", ".join(f"{n}: {len(c)}" for n, c in zip(names, columns, strict=True)) or "none"
        raise ReadError(f"the values must be columns of one length, at least one row long; found {found}")
    table = Table(tuple(names), ("",) * len(names), tuple(columns))
    return read_source(Sheet((table,), assume_si=True), "(values)", digest.hexdigest(), options)


def _column(name: str, given: Any) -> Column:
    array = np.asarray(given)
    if array.ndim != 1:
        raise ReadError(f"values {name!r} must be one-dimensional; got the shape {array.shape}")
    if array.dtype.kind == "M":
        seconds = (array - array[:1]).astype("timedelta64[ns]").astype(float) * 1e-9
        return Column(np.where(np.isnat(array), np.nan, seconds), stamps=True)
    if array.dtype.kind in "biuf":
        numbers = array.astype(float)
        return Column(np.where(np.isinf(numbers), np.nan, numbers))
    try:
        if any(isinstance(v, str) for v in cast(Any, array)):
            return Column.of_words(str(v).strip() for v in array)
        return Column(np.array([np.nan if v is None else float(v) for v in array], dtype=float))
    except (TypeError, ValueError):
        raise ReadError(f"values {name!r} must be numbers or words; got {array.dtype}") from None
