"""How the tests on the sheet are made, for whoever repeats them.

Takes the kinds of the records; gives `HowTo`s.
"""

from __future__ import annotations

from collections.abc import Iterable

from markupsafe import Markup

from tuner.instructions import drawing, instruction
from tuner.records import Kind
from tuner.report.sheet import HowTo

BY_HAND: tuple[Kind, ...] = ("bounce", "travel", "flight")  # tests that the reader makes without a shop


def how_made(kinds: Iterable[Kind]) -> tuple[HowTo, ...]:
    """Give the instruction of each kind that is made by hand, once."""
    found = []
    for kind in dict.fromkeys(kinds):
        if kind in BY_HAND:
            text = instruction(kind)
            drawn = Markup(drawing(kind))  # ours, not from a file of the user
            found.append(HowTo(text.title, drawn, text.steps, text.repeats, text.spoils))
    return tuple(found)
