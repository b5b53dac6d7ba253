"""A table that somebody types in: its columns for each kind of test, and its rows as the bytes of a file.

Takes rows of text; gives bytes that are read like any other file.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from tuner.errors import ReadError
from tuner.records import Kind
from tuner.units import SHOWN, System


class TypedColumn(NamedTuple):
    """One column: its title, the kind of its unit ("" for none), the words it may hold (() for numbers)."""

    title: str
    kind: str = ""
    words: tuple[str, ...] = ()

    def heading(self, system: System) -> str:
        """Give the title with the unit that people of `system` read."""
        return f"{self.title} ({SHOWN[system][self.kind].label})" if self.kind else self.title


TYPED: Mapping[Kind, tuple[TypedColumn, ...]] = {
    "sweep": (
        TypedColumn("Speed", "speed"),
        TypedColumn("Compression force", "force"),
        TypedColumn("Rebound force", "force"),
    ),
    "weights": (
        TypedColumn("Direction", words=("compression", "rebound")),
        TypedColumn("Mass", "mass"),
        TypedColumn("Distance", "length"),
        TypedColumn("Time", "time"),
    ),
}


def typed_table(kind: Kind, rows: Sequence[Sequence[object]], system: System) -> bytes:
    """Write typed rows as a file; rows without anything in them are dropped.

    Raises ReadError when nothing was typed.
    """
    cells = [[_cell(value) for value in row] for row in rows]
    full = [row for row in cells if any(row)]
    if not full:
        raise ReadError("the table must have at least one row; got none", hint="Type into its first row.")
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([column.heading(system) for column in TYPED[kind]])
    writer.writerows(full)
    return text.getvalue().encode()


def _cell(value: object) -> str:
    text = "" if value is None else str(value).strip()
    return re.sub(r"^([+-]?\d*),(\d+)$", r"\1.\2", text)  # a decimal comma
