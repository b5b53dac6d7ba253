"""How a file is laid out: delimiter, decimal sign, comments, title block, header, row of units, first row of data.

Takes the first lines of a text; gives a `Dialect`. Knows no trade: what a name or a unit
looks like is asked of the caller.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from tuner.errors import ReadError
from tuner.reading.text.cells import CellClass, Decimal, classify, settle_decimal, tidy
from tuner.reading.text.header import Header, Words, find_header
from tuner.reading.text.lines import is_blank, is_comment, split, trimmed, without_remark

DELIMITERS = (";", "\t", "|", ",", " ")
DELIMITER_NAMES = {";": "semicolon", "\t": "tab", "|": "bar", ",": "comma", " ": "space"}
MOST_COLUMNS = 1000

_NUMBERS = ("number", "stamp")


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
