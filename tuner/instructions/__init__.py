"""How to make each test: what it needs, the steps, what to note, what spoils it, with a drawing.

Takes a kind of record; gives an `Instruction`, its page and its drawing.
"""

from __future__ import annotations

from importlib.resources import files

from tuner.errors import UsageError
from tuner.instructions.pages import contents_sections, instruction_sections
from tuner.instructions.texts import INSTRUCTIONS, Instruction
from tuner.kinds import KINDS
from tuner.records import Kind

__all__ = [
    "INSTRUCTIONS",
    "Instruction",
    "contents_sections",
    "drawing",
    "instruction",
    "instruction_sections",
]

# what people call a test -> its kind
_CALLED: dict[str, Kind] = {
    "jump": "flight",
    "jumps": "flight",
    "drive": "travel",
    "driving": "travel",
    "ride": "travel",
    "bench": "sweep",
    "dyno": "sweep",
    "hung": "weights",
    "weight": "weights",
    "push": "bounce",
    "drop": "bounce",
    "phone": "bounce",
}


def instruction(kind: str) -> Instruction:
    """Give the instruction for that kind of test; raises UsageError, naming the kinds, for an unknown one."""
    for known, text in INSTRUCTIONS.items():
        if known == kind:
            return text
    from difflib import get_close_matches

    meant = _CALLED.get(kind.lower())
    near = [meant] if meant else get_close_matches(kind, KINDS, n=1)
    hint = f"Did you mean '{near[0]}'?" if near else "Kinds: " + ", ".join(KINDS) + "."
    raise UsageError(f"there is no test called {kind!r}", hint=hint)


def drawing(kind: str) -> str:
    """Give the line drawing of that test as SVG text; lines take the colour of the surrounding text."""
    return (files("tuner.instructions") / "drawings" / f"{instruction(kind).kind}.svg").read_text(
        encoding="utf-8"
    )
