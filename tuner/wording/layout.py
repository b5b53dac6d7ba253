"""Pages of words: sections, paragraphs and tables, and their rendering for a terminal.

Takes text; gives `Section`, `Table` and lines of plain text.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

NO_BREAK = "\u00a0"
WIDTH = 96  # columns of a page where nobody says otherwise

# titles of the sections; the opening with the verdict has none
OPENING = ""
FIRST = "Check this first"
NUMBERS = "Numbers (± and brackets: 95 % interval)"
LAWS = "How the force grows with speed"
CORNER = "The corner and its target"
WHY = "Why"
CONFOUNDERS = "What else could explain it"
GOES_WITH = "What goes with it"
DOUBTS = "What is uncertain, and why"
USED = "What was used of the recordings"
RECORDINGS = "The recordings"
ONWARD = "What now"
CAREFUL = "Careful"


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells under a header; every row is as long as the header. The first column is text."""

    title: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a page: title ("" for the opening), paragraphs, numbered steps, points, tables, lines to be typed."""

    title: str
    paragraphs: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    steps: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()

    @property
    def empty(self) -> bool:
        """Whether there is nothing to read."""
        return not (self.paragraphs or self.steps or self.points or self.tables or self.lines)


def filled(sections: Sequence[Section]) -> tuple[Section, ...]:
    """Leave out the sections without content."""
    return tuple(section for section in sections if not section.empty)


def points_of(sections: Sequence[Section], title: str) -> tuple[str, ...]:
    """Give the points of the section of that title, none where it is not there."""
    return next((section.points for section in sections if section.title == title), ())


def table_lines(table: Table) -> list[str]:
    """Lay a table out in aligned columns: the first to the left, the others to the right."""
    cells = (table.header, *table.rows)
    widths = [max(len(row[i]) for row in cells) for i in range(len(table.header))]
    lines = [
        "  ".join(
            cell.ljust(width) if i == 0 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in cells
    ]
    return [lines[0], "-" * max(len(line) for line in lines), *lines[1:]]


def upper(text: str) -> str:
    """Begin a text with a capital letter."""
    return f"{text[:1].upper()}{text[1:]}"


def tied(text: str) -> str:
    """Keep a value, its ± and its unit on one line, with spaces that do not break."""
    return re.sub(
        r" (?=± )|(?<=±) |(?<=[0-9]) (?=(?:%|[kmN]?m/s|in/s|N·s/m|N/mm|kg|mm|Hz|N|s|g|°)(?![A-Za-z]))",
        NO_BREAK,
        text,
    )


def page(sections: Sequence[Section], width: int = WIDTH) -> str:
    """Render sections as plain text of at most `width` columns (a table may need more, a word too)."""
    blocks: list[str] = []
    for section in filled(sections):
        indent = "  " if section.title else ""
        block: list[str] = [section.title] if section.title else []
        for number, paragraph in enumerate(section.paragraphs):
            if number:
                block.append("")
            block += wrapped(paragraph, width, indent, indent)
        for number, step in enumerate(section.steps, start=1):
            block += wrapped(step, width, f"{indent}{number}. ", f"{indent}   ")
        for point in section.points:
            block += wrapped(point, width, f"{indent}- ", f"{indent}  ")
        for table in section.tables:
            if len(block) > (1 if section.title else 0):
                block.append("")
            lines = [table.title, *table_lines(table)] if table.title else table_lines(table)
            fits = max(map(len, lines)) + len(indent) <= width
            block += [f"{indent if fits else ''}{line}" for line in lines]
        block += [f"{indent}{line}" for line in section.lines]
        blocks.append("\n".join(block))
    return "\n\n".join(blocks) + "\n"


def wrapped(text: str, width: int, first: str, rest: str) -> list[str]:
    """Break a text into lines of at most `width` columns (a long word keeps whole), with what stands before each."""
    lines = textwrap.wrap(
        tied(text),
        width,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(NO_BREAK, " ") for line in lines]
