"""A file as tables: named columns of numbers or words, in the blocks in which the file holds them.

Takes nothing; gives `Column`, `Table`, `Sheet`. Knows no trade: no roles, no units.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from tuner.errors import ReadError
from tuner.estimates import Array, Note

Codes = NDArray[np.int32]


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One column of one block.

    numbers : (n,) float64, NaN where the cell is empty or says that nothing was measured; all NaN for words.
    codes, words : (n,) index into the distinct `words`, -1 where empty; only where the column holds words.
    stamps : the numbers are seconds, read from ISO time stamps or clock times.
    unread : the refusal of its first cell that is no number; NaN stands there, and whoever uses the column refuses.
    """

    numbers: Array
    codes: Codes | None = None
    words: tuple[str, ...] = ()
    stamps: bool = False
    unread: ReadError | None = None

    def __post_init__(self) -> None:
        self.numbers.setflags(write=False)

    def __len__(self) -> int:
        return len(self.numbers if self.codes is None else self.codes)

    @property
    def is_words(self) -> bool:
        """Say whether the column holds words."""
        return self.codes is not None

    @classmethod
    def of_words(cls, cells: Iterable[str]) -> Column:
        """Make a column of words."""
        index: dict[str, int] = {}
        codes = [index.setdefault(c, len(index)) if c else -1 for c in cells]
        return cls(np.empty(0), np.array(codes, dtype=np.int32), tuple(index))

    def word(self, row: int) -> str:
        """Give the word in that row, "" where empty."""
        if self.codes is None:
            number = self.numbers[row]
            return "" if np.isnan(number) else f"{number:g}"
        code = int(self.codes[row])
        return "" if code < 0 else self.words[code]

    def part(self, rows: slice) -> Column:
        """Cut out `rows`."""
        if self.codes is None:
            return Column(self.numbers[rows], stamps=self.stamps, unread=self.unread)
        return Column(np.empty(0), self.codes[rows], self.words)


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """One block of a file.

    names, units : one per column, as they stand (units are "" where the file has no row of units).
    header_line, first_line : line numbers in the file, counted from 1; 0 where there is no such line.
    lines : (n,) line number of each row, or None when the rows follow each other without a break.
    """

    names: tuple[str, ...]
    units: tuple[str, ...]
    columns: tuple[Column, ...]
    label: str = ""
    header_line: int = 0
    first_line: int = 1
    lines: NDArray[np.int64] | None = None
    named: bool = True  # False: the names are "column 1" ... because the file has none

    @property
    def rows(self) -> int:
        """Number of rows."""
        return len(self.columns[0]) if self.columns else 0

    def line(self, row: int) -> int:
        """Give the line in the file on which `row` stands."""
        return int(self.lines[row]) if self.lines is not None else self.first_line + int(row)

    def part(self, rows: slice, label: str | None = None) -> Table:
        """Cut out `rows` as a block of its own."""
        start = rows.start or 0
        return Table(
            self.names,
            self.units,
            tuple(c.part(rows) for c in self.columns),
            self.label if label is None else label,
            self.header_line,
            self.first_line + start,
            None if self.lines is None else self.lines[rows],
            self.named,
        )


def _stacked_column(parts: Sequence[Column]) -> Column:
    if not parts[0].is_words:
        unread = next((p.unread for p in parts if p.unread is not None), None)
        return Column(np.concatenate([p.numbers for p in parts]), stamps=parts[0].stamps, unread=unread)
    index: dict[str, int] = {}
    codes = []
    for part in parts:
        places = np.array([*(index.setdefault(w, len(index)) for w in part.words), -1], dtype=np.int32)
        codes.append(places[part.codes])  # -1, the empty cell, takes the last place
    return Column(np.empty(0), np.concatenate(codes), tuple(index))


def stacked(blocks: Sequence[Table]) -> Table:
    """Put blocks with the same columns below each other; the first one gives label and header."""
    if len(blocks) == 1:
        return blocks[0]
    first = blocks[0]
    lines = [
        b.lines if b.lines is not None else np.arange(b.first_line, b.first_line + b.rows) for b in blocks
    ]
    columns = tuple(_stacked_column(parts) for parts in zip(*(b.columns for b in blocks), strict=True))
    return replace(first, columns=columns, lines=np.concatenate(lines))


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """A whole file: its blocks, the text around them, and what was decided while it was taken apart."""

    blocks: tuple[Table, ...]
    title: tuple[tuple[int, str], ...] = ()  # (line number, text) of title lines and comments
    decided: tuple[str, ...] = ()
    notes: tuple[Note, ...] = ()  # for the quality report
    left_out: int = 0  # rows left out because they were cut off
    assume_si: bool = field(default=False)  # values from Python: SI where no unit is given

    @property
    def table(self) -> Table:
        """The first block, which names the columns."""
        return self.blocks[0]

    @property
    def rows(self) -> int:
        """Number of rows in all blocks."""
        return sum(b.rows for b in self.blocks)
