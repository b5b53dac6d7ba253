"""Lines into tables, one by one: the patient way, which knows blocks, labels, comments and cut-off ends.

Takes the lines of a text and its dialect; gives the blocks.
"""

from __future__ import annotations

import re
from array import array
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from tuner.errors import ReadError
from tuner.estimates import Note
from tuner.reading.text.cells import number, stamp, tidy
from tuner.reading.text.dialect import DELIMITER_NAMES, Dialect
from tuner.reading.text.encoding import LONGEST_LINE
from tuner.reading.text.header import Header, Words, find_header
from tuner.reading.text.lines import is_blank, is_comment, split, trimmed, without_remark
from tuner.reading.text.tables import Column, Table


@dataclass(slots=True)
class _Block:
    """A block that is being filled."""

    header: Header
    label: str
    cells: list[array[float] | list[str]]
    lines: array[int] = field(default_factory=lambda: array("q"))
    grouped: set[int] = field(default_factory=set)  # columns with thousands separators
    long: set[int] = field(default_factory=set)  # columns with four digits in a row before the decimal sign
    unread: dict[int, ReadError] = field(
        default_factory=dict
    )  # columns with a cell that is no number: its refusal


class RowReader:
    """Reads lines of one dialect into blocks."""

    def __init__(self, dialect: Dialect, words: Words, name: str, last: int, spaced: bool = False) -> None:
        """Begin; `last` is the last line of the file, counted from 0: only that one may be cut off.

        `spaced` says that empty lines part nothing, as there is one between any two rows.
        """
        self.dialect, self.words, self.name = dialect, words, name
        self.first_day: dict[int, int] = {}
        self.blocks: list[_Block] = []
        self.decided: list[str] = []
        self.notes: list[Note] = []
        self.text: list[tuple[int, str]] = []  # comments and text after the data
        self.left_out = 0
        self.remarked = 0  # rows with a remark behind them
        self.last = last
        self.pending: list[tuple[int, str]] = []  # text that may head the next block
        self.blank = False
        self.spaced = spaced
        self.block = self._open(dialect.header, "")

    def _open(self, header: Header, label: str) -> _Block:
        cells: list[array[float] | list[str]] = [
            [] if wanted == "word" else array("d") for wanted in self.dialect.pattern
        ]
        block = _Block(header, label, cells)
        self.blocks.append(block)
        return block

    def _column(self, j: int) -> str:
        return repr(self.dialect.header.names[j] or f"column {j + 1}")

    def _refuse(self, i: int, needed: str, found: str, hint: str = "") -> ReadError:
        return ReadError(f"{self.name}, line {i + 1}: {needed}; found {found}", hint=hint)

    def _unread(self, block: _Block, cell: str, j: int, i: int, needed: str, hint: str = "") -> float:
        """Put NaN where a cell cannot be read: only a column that is used must be read whole."""
        refusal = self._refuse(i, f"column {self._column(j)} needs {needed}", repr(cell[:40]), hint)
        block.unread.setdefault(j, refusal)
        return np.nan

    def _stamp(self, cell: str, j: int, i: int, block: _Block) -> float:
        found = stamp(cell)
        if found is None:
            return self._unread(block, cell, j, i, "a time stamp")
        first = self.first_day.setdefault(j, found.day)
        return (found.day - first) * 86400.0 + found.seconds

    def _number(self, cell: str, j: int, i: int, block: _Block) -> float:
        found = number(cell, self.dialect.decimal)
        if found is None:
            other = number(cell, "," if self.dialect.decimal == "." else ".")
            hint = "Correct or empty that cell; empty cells are left out and counted."
            if other is not None and not other[1]:
                hint = "The other rows use the other decimal sign; use one in the whole file."
            return self._unread(block, cell, j, i, "a number", hint)
        value, grouped = found
        if value in (np.inf, -np.inf):
            return self._unread(block, cell, j, i, "a number of this world")
        if grouped:
            block.grouped.add(j)
        elif abs(value) >= 1000.0 and "e" not in cell.lower():
            block.long.add(j)
        if block.grouped:
            self._one_grouping(block, j, i, repr(cell[:40]))
        return value

    def _one_grouping(self, block: _Block, j: int, i: int, found: str) -> None:
        if j in block.grouped and j in block.long:
            raise self._refuse(
                i,
                f"column {self._column(j)} must use thousands separators in every number from 1000 up or in none",
                found,
                "Remove the thousands separators, or correct that cell.",
            )

    def _fill(self, block: _Block, cells: Sequence[str], i: int) -> None:
        for j, (cell, wanted) in enumerate(zip(cells, self.dialect.pattern, strict=True)):
            target = block.cells[j]
            if isinstance(target, list):
                target.append(cell)
            elif wanted == "stamp":
                target.append(self._stamp(cell, j, i, block) if cell else np.nan)
            else:
                target.append(self._number(cell, j, i, block))
        block.lines.append(i)

    def _is_text(self, cells: Sequence[str], filled: Sequence[str]) -> bool:
        """Say whether the line stands between blocks: a label, or a header again."""
        if any(number(c, self.dialect.decimal) is not None or stamp(c) for c in filled):
            return False
        letters = re.compile(r"[^\W\d_]{3}")
        if len(filled) == 1:
            return letters.search(filled[0]) is not None
        return sum(letters.search(c) is not None or self.words.name(c) for c in filled) * 2 >= len(
            filled
        ) or (sum(self.words.unit(c.strip("[](){}<>")) for c in filled) == len(filled))

    def _next_block(self, pending: list[tuple[int, str]], blank: bool, i: int) -> _Block:
        """Open the block that begins at line `i`, with the text that stands above it."""
        last = self.blocks[-1]
        if not pending:
            return self._open(last.header, "") if blank else last
        lines = [text for _, text in pending]
        dialect = self.dialect
        count = len(dialect.pattern)
        header = find_header(
            lines, len(lines), dialect.delimiter, count, self.words, self.name, dialect.spare
        )
        if header.line < 0:
            return self._open(last.header, " ".join(tidy(t.strip(self.dialect.delimiter)) for t in lines))
        label = " ".join(tidy(t.strip(self.dialect.delimiter)) for t in lines[: header.line])
        placed = Header(header.names, header.units, pending[header.line][0])
        if placed.names != last.header.names or (any(placed.units) and placed.units != last.header.units):
            raise self._refuse(
                placed.line,
                f"every block needs the columns of line {last.header.line + 1}",
                f"{', '.join(repr(n) for n in placed.names)}",
                "Put tables with other columns into files of their own.",
            )
        return self._open(Header(placed.names, last.header.units, placed.line), label)

    def read(self, lines: Iterable[str], first: int) -> None:
        """Read the data lines from line `first` on (counted from 0)."""
        for i, line in enumerate(lines, first):
            self.feed(line, i)

    def feed(self, line: str, i: int) -> None:
        """Read one line."""
        delimiter, count = self.dialect.delimiter, len(self.dialect.pattern)
        if is_blank(line, delimiter):
            self.blank = not self.spaced
            return
        if is_comment(line):
            self.text.append((i + 1, line.strip().lstrip("#%/ ")))
            return
        if len(line) > LONGEST_LINE:
            raise self._refuse(i, f"needs a line of at most {LONGEST_LINE} characters", str(len(line)))
        bare = without_remark(line)
        self.remarked += bare != line
        cells = trimmed(split(bare, delimiter), count)
        filled = [c for c in cells if c]
        if self._is_text(cells, filled):
            self.pending.append((i, line))
            return
        if len(cells) != count:
            if i >= self.last and len(cells) < count and len(self.block.lines) > 2:
                self.left_out += 1
                self.notes.append(Note("cut-off", line=i + 1))
                return
            raise self._refuse(
                i,
                f"needs {count} cells like the other rows",
                str(len(cells)),
                f"Cells are told apart by a {DELIMITER_NAMES.get(delimiter, delimiter)}; check that line.",
            )
        if (self.pending or self.blank) and len(self.block.lines):
            self.block = self._next_block(self.pending, self.blank, i)
        elif self.pending:
            raise self._refuse(self.pending[0][0], "needs a row of numbers", repr(self.pending[0][1][:60]))
        self.pending, self.blank = [], False
        self._fill(self.block, cells, i)

    def add(self, columns: Sequence[Column], first: int) -> None:
        """Add rows that were read at full speed, the first of them from line `first`; they belong to the open block."""
        for j, column in enumerate(columns):
            target = self.block.cells[j]
            if isinstance(target, list):
                target.extend(column.word(r) for r in range(len(column)))
                continue
            target.frombytes(column.numbers.tobytes())
            if len(column) and float(np.nanmax(np.abs(column.numbers), initial=0.0)) >= 1000.0:
                self.block.long.add(j)
                self._one_grouping(self.block, j, first, "a number without separators")
        self.block.lines.frombytes(np.arange(first, first + len(columns[0]), dtype=np.int64).tobytes())

    def finish(self) -> None:
        """Say what stands behind rows and after the last one."""
        if self.remarked:
            rows = "one row" if self.remarked == 1 else f"{self.remarked} rows"
            self.decided.append(f"what stands behind # or // in {rows} is a remark and not used")
        if self.pending:
            line = self.pending[0][0] + 1
            self.decided.append(f"the text after the data, from line {line} on, is not used")
            self.text.extend((i + 1, text) for i, text in self.pending)

    def tables(self) -> tuple[Table, ...]:
        """Give the blocks that were read."""
        return tuple(_table(b, self.dialect, self.words) for b in self.blocks if len(b.lines))


def _table(block: _Block, dialect: Dialect, words: Words) -> Table:
    columns = []
    for j, (values, wanted) in enumerate(zip(block.cells, dialect.pattern, strict=True)):
        if isinstance(values, list):
            columns.append(Column.of_words(values))
        else:
            numbers = np.frombuffer(values, dtype=float)
            columns.append(Column(numbers, stamps=wanted == "stamp", unread=block.unread.get(j)))
    lines = np.frombuffer(block.lines, dtype=np.int64) + 1
    return Table(
        block.header.names,
        block.header.units,
        tuple(columns),
        block.label,
        block.header.line + 1,
        int(lines[0]),
        lines,
        block.header.line >= 0,
    )
