"""A page of a few lines: what matters most stands, and what finds no room is left out by rank and counted.

Takes `Part`s; gives lines of plain text.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tuner.wording.layout import NO_BREAK, WIDTH, wrapped

MOST_LINES = 25
NARROW = 92  # columns below which a part may take a line more

WITH_FULL = "with --full"


@dataclass(frozen=True, slots=True)
class Clause:
    """A sentence, or a piece of one (begun with a comma or colon); rank 0 stays, the highest rank goes first."""

    text: str
    rank: int = 0


@dataclass(frozen=True, slots=True)
class Part:
    """One thing that a short page says.

    clauses : stand one behind the other, as many of them as `lines` hold. rank : of the whole part, 0 stays. apart :
    a blank line stands above it. more : how much more there is of it, said at its end.
    """

    clauses: tuple[Clause, ...]
    rank: int = 0
    lines: int = 3
    apart: bool = False
    more: int = 0


def part(text: str, rank: int = 0, *, lines: int = 4, apart: bool = False, more: int = 0) -> Part:
    """Give a part of one sentence."""
    return Part((Clause(text),), rank, lines, apart, more)


def told(parts: Sequence[Part]) -> tuple[Part, ...]:
    """Leave out the parts without words."""
    return tuple(each for each in parts if any(clause.text for clause in each.clauses))


def _text(each: Part) -> str:
    more = f"({each.more} more {WITH_FULL})".replace(" ", NO_BREAK) if each.more else ""
    said = [clause.text for clause in each.clauses if clause.text]
    text = "".join(f"{'' if clause[0] in ',:' else ' '}{clause}" for clause in said)
    return f"{text} {more}".strip()


def _lines_of(each: Part, width: int) -> list[str]:
    return wrapped(_text(each), width, "", "  ")


def fitted(each: Part, width: int) -> tuple[Part, int]:
    """Leave out clauses, the highest rank first, until a part has no more lines than it may; say how many went."""
    gone = 0
    most = each.lines + (1 if width < NARROW else 0)
    while len(_lines_of(each, width)) > most:
        worst = max(range(len(each.clauses)), key=lambda i: (each.clauses[i].rank, i))
        if each.clauses[worst].rank == 0:
            break
        kept = tuple(clause for i, clause in enumerate(each.clauses) if i != worst)
        each, gone = replace(each, clauses=kept), gone + 1
    return each, gone


def brief_page(
    parts: Sequence[Part], width: int = WIDTH, *, most: int = MOST_LINES, closing: Sequence[str] = ()
) -> str:
    """Render parts in at most `most` lines of `width` columns; the last line says how much was left out.

    `closing` : lines that stand below it as they are, such as the place of a report.
    """
    kept: list[Part] = []
    gone = 0
    for each in told(parts):
        short, left = fitted(each, width)
        kept.append(short)
        gone += left

    def laid(gone: int) -> list[str]:
        lines: list[str] = []
        for each in kept:
            lines += [""] if each.apart and lines else []
            lines += _lines_of(each, width)
        return [*lines, "", *wrapped(_rest(gone), width, "", "  "), *closing]

    while len(laid(gone)) > most and any(each.rank for each in kept):
        worst = max(range(len(kept)), key=lambda i: (kept[i].rank, i))
        if kept[worst].apart and worst + 1 < len(kept):
            kept[worst + 1] = replace(kept[worst + 1], apart=True)
        del kept[worst]
        gone += 1
    return "\n".join(laid(gone)) + "\n"


def _rest(gone: int) -> str:
    left = f", {gone} more {'sentence' if gone == 1 else 'sentences'}" if gone else ""
    return f"More {WITH_FULL}: tables, reasons, what is uncertain, what was read{left}."
