"""Bytes of a file into a `Sheet`: text, dialect, then rows at full speed or one by one.

Takes bytes; gives a `Sheet`.
"""

from __future__ import annotations

import numpy as np

from tuner.errors import ReadError
from tuner.reading.text.bulk import columns_of, plain_runs
from tuner.reading.text.cells import Decimal
from tuner.reading.text.dialect import Dialect, sniff
from tuner.reading.text.encoding import HEAD, LONGEST_LINE, text_of
from tuner.reading.text.header import Words
from tuner.reading.text.lines import is_comment
from tuner.reading.text.rows import RowReader
from tuner.reading.text.tables import Column, Sheet, Table

PATIENT = 150_000  # bytes up to which rows are read one by one without trying the fast way
SHORTEST_RUN = 10_000  # bytes of plain rows from which on the fast way pays
MOST_PATIENT = 100_000_000  # bytes of rows that are read one by one at most


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


def _whole(columns: tuple[Column, ...], dialect: Dialect) -> Table:
    header = dialect.header
    return Table(
        header.names,
        header.units,
        columns,
        "",
        header.line + 1,
        dialect.start + 1,
        None,
        header.line >= 0,
    )


def _holes(columns: tuple[Column, ...]) -> bool:
    """Say whether some row has nothing at all, as an empty line has."""
    empty = np.ones(len(columns[0]), dtype=bool)
    for column in columns:
        empty &= np.isnan(column.numbers) if column.codes is None else column.codes < 0
        if not empty.any():
            return False
    return True


def _lines(body: bytes | memoryview) -> list[str]:
    lines = bytes(body).decode("utf-8", "replace").split("\n")
    if lines and not lines[-1]:
        lines.pop()
    return lines


def _patient(body: bytes, dialect: Dialect, words: Words, name: str) -> RowReader:
    lines = _lines(body.rstrip())
    data = lines[dialect.start :]
    spaced = 5 * sum(not line.strip() for line in data) > 2 * len(data)
    reader = RowReader(dialect, words, name, len(lines) - 1, spaced)
    reader.read(data, dialect.start)
    reader.finish()
    return reader


def _mixed(body: bytes, dialect: Dialect, words: Words, name: str) -> RowReader:
    """Read runs of plain rows at full speed and what stands between them one by one."""
    body = body.rstrip()
    spaced = 5 * body[: 4 * HEAD].count(b"\n\n") > 2 * body[: 4 * HEAD].count(b"\n")
    reader = RowReader(dialect, words, name, body.count(b"\n"), spaced)
    line = dialect.start
    view = memoryview(body)
    for start, end, plain in plain_runs(body, _offset(body, dialect.start)):
        part = view[start:end]
        if plain and end - start > SHORTEST_RUN:
            cut = start + body[start:end].index(b"\n") + 1  # the first row opens the block
            reader.feed(_lines(view[start:cut])[0], line)
            columns = columns_of(view[cut:end], dialect)
            if columns is not None:
                reader.add(columns, line + 1)
                line += 1 + len(columns[0])
                continue
            part, line = view[cut:end], line + 1
        if end - start > MOST_PATIENT:
            raise ReadError(
                f"{name} must hold plain rows of numbers, as it is large; "
                f"those from line {line + 1} on are not all plain",
                hint="Split the file, or export only the columns that are needed.",
            )
        lines = _lines(part)
        reader.read(lines, line)
        line += len(lines)
    reader.finish()
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
        start = _offset(text.body, dialect.start)
        columns = columns_of(memoryview(text.body)[start:], dialect)
        if columns is not None and not _holes(columns):
            return Sheet((_whole(columns, dialect),), title, decided)
        reader = _mixed(text.body, dialect, words, name)
    else:
        reader = _patient(text.body, dialect, words, name)
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
    whole = len(text.body) <= HEAD
    while whole and not lines[-1].strip():
        lines.pop()
    reader = RowReader(dialect, words, name, len(lines) - 1 if whole else len(text.body))
    reader.read(lines[dialect.start : dialect.start + 20], dialect.start)
    return Sheet(reader.tables(), _title(lines, dialect), (*text.decided, *dialect.decided))
