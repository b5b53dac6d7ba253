"""Single lines: cells, comments, remarks behind a row, blanks.

Takes a line and its delimiter; gives tidy cells, or what the line is.
"""

from __future__ import annotations

import csv
import re

from tuner.reading.text.cells import tidy

COMMENTS = ("#", "%", "//")

_SPACED = re.compile(r'"[^"]*"|\S+')
# behind a number, in a cell of its own, or set off by spaces; not "#3", nor what spreadsheets write for no number
_REMARK = re.compile(
    r"(?:(?<=[0-9.])\s+(?:#(?!\d|n/?[av]\b|value!|div/0!|null!)|//)|(?<=[;,\t|])\s*(?:#|//)(?=\s)"
    r"|\s(?:#|//)\s+(?=\D)).*$",
    re.IGNORECASE,
)


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
