"""The header of a table: names of the columns, and units in a row of their own.

Takes the lines above the first row of data; gives a `Header`. What a name or a unit looks like is asked of the caller.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tuner.errors import ReadError
from tuner.reading.text.cells import classify, tidy
from tuner.reading.text.lines import is_blank, is_comment, split, trimmed

_UNIT_CELL = re.compile(r"^[\[(<{].{0,15}[\])>}]$")


@dataclass(frozen=True, slots=True)
class Words:
    """What the trade knows about text in a header: whether it names a column, whether it is a unit."""

    name: Callable[[str], bool]
    unit: Callable[[str], bool]


@dataclass(frozen=True, slots=True)
class Header:
    """Names and units of the columns; `line` is counted from 0, -1 when the file has no header."""

    names: tuple[str, ...]
    units: tuple[str, ...]
    line: int


def regroup(line: str, count: int, words: Words) -> list[str] | None:
    """Split a header of a space-separated file into `count` names, when it can be done in one way."""
    wide = [tidy(c.strip('"')) for c in re.split(r"\t+|\s{2,}", line.strip())]
    if len(wide) == count:
        return wide
    cells = split(line, " ")
    merged: list[str] = []
    for cell in cells:
        if merged and (_UNIT_CELL.match(cell) or (words.unit(cell) and not words.name(cell))):
            merged[-1] = f"{merged[-1]} {cell}"
        else:
            merged.append(cell)
    return merged if len(merged) == count else None


def header_cells(line: str, delimiter: str, count: int, words: Words, spare: int = 0) -> list[str] | None:
    """Give the names in a line of text, when it can be the header of `count` columns; None otherwise."""
    cells = split(line, delimiter)
    filled = trimmed(cells, 0)
    if len(filled) > count and delimiter == " ":
        regrouped = regroup(line, count, words)
        if regrouped is None:
            return None
        cells = filled = regrouped
    if not filled or len(filled) > count:
        return None
    if any(classify(c) in ("number", "stamp") for c in filled):
        return None
    if len(filled) < count and (len(filled) < 2 or len(cells) not in (count, count - spare)):
        return None
    return filled + [""] * (count - len(filled))


def is_units_row(cells: Sequence[str], words: Words) -> bool:
    """Say whether every filled cell is a unit, at least one of them certainly."""
    filled = [c for c in cells if c and c != "-"]
    if not filled:
        return False
    return all(words.unit(c.strip("[](){}<>")) for c in filled)


def find_header(
    lines: Sequence[str],
    start: int,
    delimiter: str,
    count: int,
    words: Words,
    name: str,
    spare: int = 0,
) -> Header:
    """Look upward from the first row of data for a header, with or without a row of units between.

    Raises ReadError when a line of names stands there that does not have one name per column.
    """
    above = [
        i for i in range(start - 1, -1, -1) if not is_blank(lines[i], delimiter) and not is_comment(lines[i])
    ][:2]
    units: tuple[str, ...] = ("",) * count
    found = [header_cells(lines[i], delimiter, count, words, spare) for i in above]
    if len(found) == 2 and found[0] and found[1] and is_units_row(found[0], words):
        return Header(tuple(found[1]), tuple(c.strip("[](){}<>") for c in found[0]), above[1])
    if found and found[0]:
        over = found[1] if len(found) == 2 else None  # a row of units may also stand above the names
        if over and is_units_row(over, words) and not is_units_row(found[0], words):
            units = tuple(c.strip("[](){}<>") for c in over)
        return Header(tuple(found[0]), units, above[0])
    _mismatched(lines, start, above[:1], delimiter, count, words, name)
    return _commented(lines, start, delimiter, count, words, spare) or Header(
        tuple(f"column {i + 1}" for i in range(count)), units, -1
    )


def _mismatched(
    lines: Sequence[str],
    start: int,
    above: Sequence[int],
    delimiter: str,
    count: int,
    words: Words,
    name: str,
) -> None:
    """Refuse a line of names above the data that does not have one name per column."""
    for i in above:
        cells = [c for c in split(lines[i], delimiter) if c]
        if len(cells) >= 2 and sum(words.name(c) for c in cells) >= 2:
            raise ReadError(
                f"{name} must have one name per column; line {i + 1} has {len(cells)} names, "
                f"line {start + 1} has {count} cells",
                hint="Check the delimiter, and whether the decimal sign is also the delimiter.",
            )


def _commented(
    lines: Sequence[str], start: int, delimiter: str, count: int, words: Words, spare: int
) -> Header | None:
    """Give the header that stands in a comment right above the data, None where there is none."""
    for i in range(start - 1, -1, -1):
        if is_comment(lines[i]):
            text = lines[i].lstrip().lstrip("#%/").strip()
            names = header_cells(text, delimiter, count, words, spare)
            if names and sum(words.name(c) for c in names) >= 2:
                return Header(tuple(names), ("",) * count, i)
        elif not is_blank(lines[i], delimiter):
            break
    return None
