"""Bytes of a file into a `Sheet`: text, dialect, then rows at full speed or one by one.

Takes bytes; gives a `Sheet`. Uses: errors, text, dialect, bulk, rows, tables.
"""

from __future__ import annotations

import numpy as np

from tuner.errors import ReadError
from tuner.reading.cells import Decimal
from tuner.reading.dialect import Dialect, Words, is_comment, sniff
from tuner.reading.rows import RowReader
from tuner.reading.tables import Column, Sheet, Table
from tuner.reading.text import HEAD, LONGEST_LINE, text_of

PATIENT = 150_000  # bytes up to which rows are read one by one without trying the fast way
MOST_PATIENT = 300_000_000  # bytes above which rows are not read one by one


def _head(body: bytes, name: str) -> list[str]:
    """Give the whole lines within the first 64 kB."""
    end = len(body)
    if len(body) > HEAD:
        end = body.rfind(b"\n", 0, HEAD)
        if end < 0:
            raise _too_long(name, 1)
    return body[:end].decode("utf-8", "replace").split("\n")


def _too_long(name: str, line: int) -> ReadError:
    return ReadError(
        f"{name} must have lines of at most {LONGEST_LINE} characters; line {line} is longer",
        hint="One row per sample is wanted; check the line ends and the number of columns.",
    )


def _title(lines: list[str], dialect: Dialect) -> tuple[tuple[int, str], ...]:
    """Text above the data that is not the header."""
    found = []
    for i, line in enumerate(lines[: dialect.start]):
        text = line.strip().strip(dialect.delimiter + '"').strip()
        if text and i != dialect.header.line:
            found.append((i + 1, text.lstrip("#%/ ") if is_comment(text) else text))
    return tuple(found)


def _blocks(columns: tuple[Column, ...], dialect: Dialect) -> tuple[Table, ...]:
    """Cut fast-read columns at their empty lines."""
    header = dialect.header
    whole = Table(
        header.names,
        header.units,
        columns,
        "",
        header.line + 1,
        dialect.start + 1,
        None,
        header.line >= 0,
    )
    empty = np.isnan(columns[0].numbers)
    for column in columns[1:]:
        empty &= np.isnan(column.numbers)
    if not empty.any():
        return (whole,)
    edges = np.flatnonzero(np.diff(np.concatenate(([True], empty, [True])).astype(np.int8)))
    return tuple(whole.part(slice(int(a), int(b))) for a, b in edges.reshape(-1, 2))


def _read_rows(body: bytes, dialect: Dialect, words: Words, name: str) -> RowReader:
    lines = body.decode("utf-8", "replace").split("\n")
    while lines and not lines[-1].strip():
        lines.pop()
    for i, line in enumerate(lines):
        if len(line) > LONGEST_LINE:
            raise _too_long(name, i + 1)
    reader = RowReader(dialect, words, name)
    reader.read(lines[dialect.start :], dialect.start, len(lines) - 1)
    return reader


def _offset(body: bytes, line: int) -> int:
    at = 0
    for _ in range(line):
        at = body.index(b"\n", at) + 1
    return at


def read_sheet(data: bytes, name: str, words: Words, decimal: Decimal | None = None) -> Sheet:
    """Read a whole file into its blocks.

    Raises ReadError, naming the line and the column, for whatever is not a table of numbers.
    """
    text = text_of(data, name)
    lines = _head(text.body, name)
    dialect = sniff(lines, words, name, decimal)
    title = _title(lines, dialect)
    decided = (*text.decided, *dialect.decided)
    if len(text.body) > PATIENT:
        from tuner.reading.bulk import columns_of

        columns = columns_of(text.body, _offset(text.body, dialect.start), dialect)
        if columns is not None:
            blocks = _blocks(columns, dialect)
            return Sheet(blocks, title, decided)
    if len(text.body) > MOST_PATIENT:
        raise ReadError(
            f"{name} must hold nothing but plain rows of numbers below its header, as it is larger than "
            f"{MOST_PATIENT // 1_000_000} MB; some rows are not",
            hint="Split the file, or export only the columns that are needed.",
        )
    reader = _read_rows(text.body, dialect, words, name)
    return Sheet(
        reader.tables(),
        (*title, *reader.text),
        (*decided, *reader.decided),
        tuple(reader.notes),
        reader.left_out,
    )


def read_head(data: bytes, name: str, words: Words, decimal: Decimal | None = None) -> Sheet:
    """Read only the first lines of a file, for a preview; raises as `read_sheet` does."""
    text = text_of(data, name)
    lines = _head(text.body, name)
    dialect = sniff(lines, words, name, decimal)
    reader = RowReader(dialect, words, name)
    reader.read(lines[dialect.start : dialect.start + 20], dialect.start, -1)
    return Sheet(reader.tables(), _title(lines, dialect), (*text.decided, *dialect.decided))
