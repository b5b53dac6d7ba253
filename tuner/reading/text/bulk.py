"""Plain rows into columns at full speed.

Takes UTF-8 bytes of rows; gives columns, or None when a row is not plain (the patient way then says why).
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from tuner.estimates import Array
from tuner.reading.text.cells import MISSING
from tuner.reading.text.dialect import Dialect
from tuner.reading.text.lines import COMMENTS, without_remark
from tuner.reading.text.tables import Column

_STREAM = 600_000_000  # bytes from which on the file is read in pieces, for memory's sake
_SPELLINGS = sorted({*MISSING, *(m.upper() for m in MISSING), *(m.capitalize() for m in MISSING), "NaN"})


def _values(chunks: list[Any], rows: int) -> Array:
    """Copy arrow's buffers by hand: its own way imports pandas."""
    out = np.empty(rows)
    at = 0
    for chunk in chunks:
        size = len(chunk)
        validity, data = chunk.buffers()
        part = np.frombuffer(data, dtype=np.float64, count=chunk.offset + size)[chunk.offset :]
        out[at : at + size] = part
        _blank(out[at : at + size], chunk, validity)
        at += size
    return out


def _blank(out: Array, chunk: Any, validity: Any) -> None:
    """Write NaN where the chunk has nothing."""
    if chunk.null_count and validity is not None:
        bits = np.unpackbits(np.frombuffer(validity, dtype=np.uint8), bitorder="little")
        out[bits[chunk.offset : chunk.offset + len(chunk)] == 0] = np.nan


def _words(chunks: list[Any]) -> Column:
    index: dict[str, int] = {}
    parts = []
    for chunk in chunks:
        words = [str(w).strip() for w in chunk.dictionary.to_pylist()]
        places = np.array(
            [index.setdefault(w, len(index)) if w else -1 for w in words] or [-1], dtype=np.int32
        )
        validity, data = chunk.indices.buffers()
        size = chunk.offset + len(chunk)
        codes = np.frombuffer(data, dtype=np.int32, count=size)[chunk.offset :]
        part = places[np.clip(codes, 0, len(places) - 1)]
        if chunk.null_count and validity is not None:
            bits = np.unpackbits(np.frombuffer(validity, dtype=np.uint8), bitorder="little")
            part[bits[chunk.offset : size] == 0] = -1
        parts.append(part)
    return Column(np.empty(0), np.concatenate(parts) if parts else np.empty(0, np.int32), tuple(index))


def _stamps(chunks: Any, rows: int) -> Column | None:
    """Read ISO time stamps of one kind; None for those that only the patient way knows."""
    import pyarrow as pa  # type: ignore[import-untyped]
    from pyarrow import compute as pc

    text = pc.utf8_trim_whitespace(pc.replace_substring(chunks, ",", "."))
    first = next((t for t in (text[i].as_py() for i in range(min(rows, 100))) if t), "")
    clock = r"[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,9})?"
    dated = re.fullmatch(
        rf"[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}[T ]{clock}(Z|[+-][0-9]{{2}}:?[0-9]{{2}})?", first
    )
    if dated:
        kind = pa.timestamp("ns", tz="UTC") if dated[1] else pa.timestamp("ns")
    elif re.fullmatch(clock, first):
        kind = pa.timestamp("ns")
        text = pc.binary_join_element_wise("1970-01-01T", text, "")
    else:
        return None
    ticks = pc.cast(pc.cast(text, kind), pa.int64())
    if ticks.null_count:
        return None
    counted = np.concatenate(
        [np.frombuffer(c.buffers()[1], np.int64, c.offset + len(c))[c.offset :] for c in ticks.chunks]
    )
    day = 86_400_000_000_000
    base = int(counted[0]) // day * day if dated else 0
    return Column((counted - base) * 1e-9, stamps=True)


def _even_spaces(body: bytes) -> bytes:
    """Leave one space between columns."""
    single = re.sub(rb"[ \t]+", b" ", body)
    return single.replace(b"\n ", b"\n").replace(b" \n", b"\n").strip(b" ")


def columns_of(body: bytes | memoryview, dialect: Dialect) -> tuple[Column, ...] | None:
    """Read rows at full speed; None when one of them is not plain.

    An empty line comes back as a row that is missing everywhere.
    """
    import pyarrow as pa
    from pyarrow import csv

    if dialect.delimiter == " ":
        body = _even_spaces(bytes(body))
    names = [str(i) for i in range(len(dialect.pattern))]
    kinds = {"number": pa.float64(), "word": pa.dictionary(pa.int32(), pa.string()), "stamp": pa.string()}
    options = {
        "read_options": csv.ReadOptions(column_names=names),
        "parse_options": csv.ParseOptions(delimiter=dialect.delimiter, ignore_empty_lines=False),
        "convert_options": csv.ConvertOptions(
            column_types={n: kinds[p] for n, p in zip(names, dialect.pattern, strict=True)},
            decimal_point=dialect.decimal,
            null_values=_SPELLINGS,
            strings_can_be_null=True,
            check_utf8=False,
        ),
    }
    source = pa.BufferReader(pa.py_buffer(body))
    plain = set(dialect.pattern) == {"number"}
    try:
        if len(body) >= _STREAM and plain:
            columns = [Column(c) for c in _streamed(csv.open_csv(source, **options), len(names))]
        else:
            table = csv.read_csv(source, **options)
            columns = []
            for i, pattern in enumerate(dialect.pattern):
                chunks = table.column(i)
                if pattern == "number":
                    columns.append(Column(_values(chunks.chunks, table.num_rows)))
                elif pattern == "word":
                    columns.append(_words(chunks.chunks))
                else:
                    stamps = _stamps(chunks, table.num_rows)
                    if stamps is None:
                        return None
                    columns.append(stamps)
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        return None
    if any(bool(np.isinf(c.numbers).any()) for c in columns):
        return None
    if any(word.startswith(COMMENTS) for word in columns[0].words):  # a row that is commented out
        return None
    if any(
        without_remark(word) != word for column in columns for word in column.words
    ):  # a remark behind a row
        return None
    if len(columns[0]) != _count(body):  # a quote that is never closed swallows rows
        return None
    return tuple(columns)


def _count(body: bytes | memoryview) -> int:
    """Count the lines."""
    ends = int(np.count_nonzero(np.frombuffer(body, dtype=np.uint8) == 10))
    return ends + (len(body) > 0 and body[-1] != 10)


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


_ODD = np.zeros(256, dtype=np.uint8)  # letters other than e, and signs of comments, make a line odd
for _code in (*range(65, 91), *range(97, 123), *range(128, 256), *b'#%/?*"'):
    _ODD[_code] = 1
for _code in b"eE":
    _ODD[_code] = 0
_DIGIT = np.zeros(256, dtype=np.uint8)
for _code in range(48, 58):
    _DIGIT[_code] = 1


def plain_runs(body: bytes, start: int) -> list[tuple[int, int, bool]]:
    """Cut rows from byte `start` on into runs (first byte, end, plain): plain ones hold digits and no words."""
    data = np.frombuffer(body, dtype=np.uint8)[start:]
    ends = np.flatnonzero(data == 10) + 1
    if not ends.size or ends[-1] != data.size:
        ends = np.append(ends, data.size)
    starts = np.concatenate(([0], ends[:-1]))
    odd = np.add.reduceat(_ODD[data], starts, dtype=np.int64) > 0
    odd |= np.add.reduceat(_DIGIT[data], starts, dtype=np.int64) == 0
    change = np.flatnonzero(np.diff(odd)) + 1
    first = np.concatenate(([0], change))
    last = np.concatenate((change, [odd.size]))
    return [
        (start + int(starts[a]), start + int(ends[b - 1]), not bool(odd[a]))
        for a, b in zip(first, last, strict=True)
    ]
