"""Rows of plain numbers into columns at full speed.

Takes UTF-8 bytes from the first row of data on; gives columns, or None when the rows are not plain.
Uses: dialect, tables, pyarrow.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from tuner.estimates import Array
from tuner.reading.cells import MISSING
from tuner.reading.dialect import Dialect
from tuner.reading.tables import Column

_STREAM = 200_000_000  # bytes from which on the file is read in pieces, for memory's sake


def _values(chunks: list[Any], rows: int) -> Array:
    """Copy arrow's buffers by hand: its own way imports pandas."""
    out = np.empty(rows)
    at = 0
    for chunk in chunks:
        size = len(chunk)
        validity, data = chunk.buffers()
        part = np.frombuffer(data, dtype=np.float64, count=chunk.offset + size)[chunk.offset :]
        out[at : at + size] = part
        if chunk.null_count and validity is not None:
            bits = np.unpackbits(np.frombuffer(validity, dtype=np.uint8), bitorder="little")
            out[at : at + size][bits[chunk.offset : chunk.offset + size] == 0] = np.nan
        at += size
    return out


def _words(chunks: list[Any]) -> Column:
    index: dict[str, int] = {}
    parts = []
    for chunk in chunks:
        words = [str(w).strip() for w in chunk.dictionary.to_pylist()]
        places = np.array(
            [index.setdefault(w, len(index)) if w else -1 for w in words] or [-1], dtype=np.int32
        )
        codes = np.frombuffer(chunk.indices.buffers()[1], dtype=np.int32, count=chunk.offset + len(chunk))
        parts.append(places[codes[chunk.offset :]])
    return Column(np.empty(0), np.concatenate(parts) if parts else np.empty(0, np.int32), tuple(index))


def columns_of(body: bytes, start: int, dialect: Dialect) -> tuple[Column, ...] | None:
    """Read all rows from byte `start` on; None when a row is not plain (the patient way then says why).

    An empty line comes back as a row that is missing everywhere.
    """
    if dialect.delimiter == " " or "stamp" in dialect.pattern or "word" in dialect.pattern:
        return None
    import pyarrow as pa  # type: ignore[import-untyped]
    from pyarrow import csv

    names = [str(i) for i in range(len(dialect.pattern))]
    spellings = sorted({*MISSING, *(m.upper() for m in MISSING), *(m.capitalize() for m in MISSING), "NaN"})
    options = {
        "read_options": csv.ReadOptions(column_names=names),
        "parse_options": csv.ParseOptions(delimiter=dialect.delimiter, ignore_empty_lines=False),
        "convert_options": csv.ConvertOptions(
            column_types={n: pa.float64() for n in names},
            decimal_point=dialect.decimal,
            null_values=spellings,
            strings_can_be_null=True,
            check_utf8=False,
        ),
    }
    source = pa.BufferReader(pa.py_buffer(memoryview(body)[start:]))
    try:
        if len(body) - start < _STREAM:
            table = csv.read_csv(source, **options)
            columns = [_values(table.column(i).chunks, table.num_rows) for i in range(len(names))]
        else:
            columns = _streamed(csv.open_csv(source, **options), len(names))
    except pa.ArrowInvalid:
        return None
    if any(bool(np.isinf(c).any()) for c in columns):
        return None
    return tuple(Column(c) for c in columns)


def _streamed(reader: Any, count: int) -> list[Array]:
    pieces: list[list[Array]] = [[] for _ in range(count)]
    for batch in reader:
        for i in range(count):
            pieces[i].append(_values([batch.column(i)], batch.num_rows))
    columns = []
    for i in range(count):
        columns.append(np.concatenate(pieces[i]))
        pieces[i] = []
    return columns
