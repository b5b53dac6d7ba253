"""How a file is laid out: delimiter, decimal sign, comments, title block, header, row of units, first row of data.

Takes the first lines of a text; gives a `Dialect`. Knows no trade: what a name or a unit
looks like is asked of the caller.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tuner.errors import ReadError
from tuner.reading.text.cells import CellClass, Decimal, classify, settle_decimal, tidy

DELIMITERS = (";", "\t", "|", ",", " ")
DELIMITER_NAMES = {";": "semicolon", "\t": "tab", "|": "bar", ",": "comma", " ": "space"}
MOST_COLUMNS = 1000
COMMENTS = ("#", "%", "//")

_NUMBERS = ("number", "stamp")
_SPACED = re.compile(r'"[^"]*"|\S+')
# behind a number, in a cell of its own, or set off by spaces; not "#3", nor what spreadsheets write for no number
_REMARK = re.compile(
    r"(?:(?<=[0-9.])\s+(?:#(?!\d|n/?[av]\b|value!|div/0!|null!)|//)|(?<=[;,\t|])\s*(?:#|//)(?=\s)"
    r"|\s(?:#|//)\s+(?=\D)).*$",
    re.IGNORECASE,
)
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


@dataclass(frozen=True, slots=True)
class Dialect:
    """How the file is laid out; `start` is the first line of data, counted from 0."""

    delimiter: str
    decimal: Decimal
    pattern: tuple[CellClass, ...]
    header: Header
    start: int
    decided: tuple[str, ...]
    spare: int = 0  # empty columns at the end, which need no name


def split(line: str, delimiter: str) -> list[str]:
    """Split a line into tidy cells, quotes respected."""
    if delimiter == " ":
        cells = _SPACED.findall(line) if '"' in line else line.split()
        return [tidy(c.strip('"')) for c in cells]
    if '"' in line:
        try:
            return [tidy(c) for c in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))]
        except (csv.Error, StopIteration):
            return [line]
    return [tidy(c) for c in line.split(delimiter)]


def trimmed(cells: list[str], count: int) -> list[str]:
    """Give the cells without empty ones behind the first `count`."""
    while len(cells) > count and not cells[-1]:
        cells = cells[:-1]
    return cells


def without_remark(line: str) -> str:
    """Give a row without a remark behind it: ``12.5, 300 # bumped the bench``."""
    if "#" not in line and "//" not in line:
        return line
    found = _REMARK.search(line)
    return line if found is None or line.count('"', 0, found.start()) % 2 else line[: found.start()]


def is_comment(line: str) -> bool:
    """Say whether the line is a comment."""
    return line.lstrip().startswith(COMMENTS)


def is_blank(line: str, delimiter: str) -> bool:
    """Say whether the line holds nothing, or nothing but delimiters."""
    return not line.strip(f' \t\u00a0"{delimiter}')


def fits(classes: Sequence[CellClass], pattern: Sequence[CellClass]) -> bool:
    """Say whether a row has the cells that the pattern asks for, and at least one number."""
    if len(classes) != len(pattern):
        return False
    for found, wanted in zip(classes, pattern, strict=True):
        if wanted != "word" and found not in (wanted, "missing"):
            return False
    return any(f in ("number", "stamp") for f, w in zip(classes, pattern, strict=True) if w != "word")


def _score(rows: list[list[str]]) -> float:
    """Score one delimiter: cells that are numbers, in rows of one length, spoiled by cells that read as neither."""
    lengths: Counter[int] = Counter()
    scored: list[tuple[int, float]] = []
    for cells in rows:
        if len(cells) < 2:
            continue
        numbers = readable = 0.0
        for cell in cells:
            kind = classify(cell)
            if kind in ("number", "stamp"):
                numbers += 1
                readable += 1
            elif kind == "missing":
                readable += 0.9
            elif not re.search(r"[;|\t,]|[0-9][.,][0-9]", cell):
                readable += 0.5
        if numbers:
            lengths[len(cells)] += int(numbers)
            scored.append((len(cells), numbers * (readable / len(cells)) ** 3))
    if not lengths:
        return 0.0
    usual = lengths.most_common(1)[0][0]
    return sum(score for length, score in scored if length == usual)


def _delimiter(lines: Sequence[str], name: str) -> str:
    first = lines[0].strip().lower() if lines else ""
    if first.startswith("sep=") and len(first) == 5:
        return first[4]
    sample = [without_remark(line) for line in lines if line.strip() and not is_comment(line)][:400]
    tabbed = 2 * sum("\t" in line for line in sample) > len(sample)  # two tabs then hold an empty cell
    tried = [d for d in DELIMITERS if not (d == " " and tabbed)]
    scores = {d: _score([split(line, d) for line in sample]) for d in tried}
    best = max(tried, key=lambda d: scores[d])
    if scores[best] > 0:
        return best
    if any(classify(tidy(line)) == "number" for line in sample):
        raise ReadError(
            f"{name} must hold at least two columns; found one column of numbers",
            hint="Columns are told apart by comma, semicolon, tab, bar or space.",
        )
    found = "only text" if sample else "only blank lines and comments"
    raise ReadError(
        f"{name} must hold rows of numbers; found {found}",
        hint="A header alone is not enough: export the measured rows too.",
    )


def _pattern(rows: list[list[CellClass]]) -> tuple[CellClass, ...]:
    """Find the signature that carries most of the numbers; empty cells count as what they usually are."""
    weight: Counter[tuple[CellClass, ...]] = Counter()
    for classes in rows:
        numbers = sum(c in _NUMBERS for c in classes)
        if numbers and len(classes) >= 2:
            weight[tuple(classes)] += numbers
    best = weight.most_common(1)[0][0]
    alike = [signature for signature in weight.elements() if len(signature) == len(best)]
    return tuple(_usual(kind, [s[i] for s in alike]) for i, kind in enumerate(best))


def _usual(kind: CellClass, column: list[CellClass]) -> CellClass:
    """Give what a column holds where its cell in the best row is of this kind."""
    if kind != "missing":
        return kind
    numbers = Counter(c for c in column if c in _NUMBERS)
    if numbers:
        return numbers.most_common(1)[0][0]
    return "word" if "word" in column else "number"  # mostly empty, with words here and there: remarks


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


@dataclass(frozen=True, slots=True)
class _Line:
    """One line that is neither blank nor a comment: its place from 0, its cells and what they are."""

    place: int
    cells: list[str]
    classes: list[CellClass]

    def numbers(self, pattern: Sequence[CellClass]) -> int:
        """Count the cells that are numbers where the pattern wants one."""
        pairs = zip(self.classes, pattern, strict=False)
        return sum(found in _NUMBERS and wanted in _NUMBERS for found, wanted in pairs)


def _classified(lines: Sequence[str], delimiter: str, name: str) -> list[_Line]:
    """Take the lines apart; raises ReadError for one of too many columns."""
    rows = []
    for i, line in enumerate(lines):
        if is_blank(line, delimiter) or is_comment(line):
            continue
        cells = split(without_remark(line), delimiter)
        if len(cells) > MOST_COLUMNS:
            raise ReadError(
                f"{name} must have at most {MOST_COLUMNS} columns; line {i + 1} has {len(cells)}",
                hint="One row per sample and one column per channel is wanted.",
            )
        rows.append(_Line(i, cells, [classify(c) for c in cells]))
    return rows


def _cut(row: _Line, count: int) -> _Line:
    cells = trimmed(row.cells, count)
    return row if len(cells) == len(row.cells) else _Line(row.place, cells, row.classes[: len(cells)])


def _first_row(rows: Sequence[_Line], good: Sequence[int], pattern: Sequence[CellClass]) -> int:
    """Find the first row of data: one that fits and is half full, or one above it whose cells nearly all fit."""
    full = [k for k in good if 2 * sum(c in _NUMBERS for c in rows[k].classes) >= len(pattern)]
    first = (full or list(good))[0]
    while first > 0:
        above = rows[first - 1]
        if len(above.cells) != len(pattern) or 2 * above.numbers(pattern) < len(pattern):
            break
        first -= 1  # words in a column of numbers: a remark, or a cell that is refused where it is used
    return first


def sniff(lines: Sequence[str], words: Words, name: str, decimal: Decimal | None = None) -> Dialect:
    """Find out how a file is laid out from its first lines.

    Raises ReadError when there are no rows of numbers, too many columns, a decimal sign that stays open, or a
    header that does not match the rows.
    """
    delimiter = _delimiter(lines, name)
    rows = _classified(lines, delimiter, name)
    pattern = _pattern([row.classes for row in rows])
    rows = [_cut(row, len(pattern)) for row in rows]
    good = [k for k, row in enumerate(rows) if fits(row.classes, pattern)]
    first = _first_row(rows, good, pattern)
    spare = 0
    while spare < len(pattern) - 2 and not any(rows[k].cells[-1 - spare] for k in good):
        spare += 1
    header = find_header(lines, rows[first].place, delimiter, len(pattern), words, name, spare)
    while first > 0 and rows[first - 1].place > header.line >= 0 and first - 1 in good:
        first -= 1  # sparse rows between the header and the first full row are data too
    data = [rows[k] for k in good if k >= first]
    decimal, why = _decimal(data, pattern, delimiter, name, decimal)
    if delimiter == "," and decimal == "," and not any('"' in line for line in lines):
        raise ReadError(
            f"{name} uses the comma both between columns and in numbers",
            hint="Export it with semicolons or tabs between the columns.",
        )
    where = "no header row" if header.line < 0 else f"header in line {header.line + 1}"
    if any(header.units):
        where += " with a row of units below it"
    decided = (f"{DELIMITER_NAMES.get(delimiter, delimiter)} between columns, {why}", where)
    return Dialect(delimiter, decimal, pattern, header, rows[first].place, decided, spare)


def _decimal(
    data: Sequence[_Line], pattern: Sequence[CellClass], delimiter: str, name: str, said: Decimal | None
) -> tuple[Decimal, str]:
    """Give the decimal sign and why: as the settings say, else as the cells of numbers show."""
    if said is not None:
        return said, f"decimal {'point' if said == '.' else 'comma'}, as the settings say"
    columns = (
        [row.cells[j] for row in data if row.classes[j] == "number"]
        for j, wanted in enumerate(pattern)
        if wanted == "number"
    )
    return settle_decimal(columns, delimiter, name)
