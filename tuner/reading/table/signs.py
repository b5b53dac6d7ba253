"""Which way the file counts: settled by physics and by words, or refused; never guessed.

Takes the work that the record shows, what words and settings say, and the static force; gives the factors that
turn the file's signs into the house's.

Two questions. (1) How do force and travel go together? A damper takes energy out, so in house signs the work
(the integral of force over travel) over whole cycles is positive. (2) Which way is compression? The settings say
it, or words in the file, or the gas force, which pushes the ends apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from tuner.reading.table.columns import Source
from tuner.reading.table.heading import tokens_of
from tuner.reading.table.positive import positive_side
from tuner.reading.table.words import ROLES

SIDE_SIGN = {"compression": 1, "rebound": -1}


class Saying(NamedTuple):
    """Somebody says which side the file counts positive for "travel" (and velocity) or "force"."""

    quantity: str
    side: str
    who: str


class Signs(NamedTuple):
    """Factors (+1 or -1) by which the file's travel, velocity and force become the house's."""

    travel: int
    force: int
    decided: str


_QUANTITY = {
    "force": {w for phrase in ROLES["force"].words for w in phrase.split() if len(w) > 1},
    "travel": {w for r in ("travel", "velocity") for p in ROLES[r].words for w in p.split() if len(w) > 1},
}


def sayings(source: Source) -> list[Saying]:
    """Collect what the settings and the words of the file say about signs, the strongest first."""
    found = []
    for quantity in ("travel", "force"):
        side = source.options.choice(f"positive_{quantity}")
        if side:
            found.append(Saying(quantity, side, f"the setting positive_{quantity}"))
    for role, quantity in (("travel", "travel"), ("velocity", "travel"), ("force", "force")):
        if role in source.matched.roles:
            head = source.matched.headings[source.matched.roles[role]]
            said = positive_side(head.text) or head.side
            if said:
                found.append(Saying(quantity, said, f"the column name {head.text!r}"))
    for line, text in source.sheet.title:
        said = positive_side(text)
        if said:
            tokens = set(tokens_of(text))
            for quantity, names in _QUANTITY.items():
                if tokens & names or not any(tokens & n for n in _QUANTITY.values()):
                    found.append(Saying(quantity, said, f"line {line} ({text[:60]!r})"))
    return found


def settle(source: Source, relative: int, static: int = 0, static_text: str = "") -> Signs:
    """Settle both signs.

    relative : sign of the work that the file shows with its own signs. static : sign, in the file, of a force
    that pushes in both directions of slow motion (gas), 0 when there is none. Raises ReadError when the sayings
    contradict each other or the work, and when nothing says which way is compression.
    """
    together = "have the same sign" if relative > 0 else "have opposite signs"
    why = f"force and velocity {together} (a damper takes energy out)"
    travel, who = 0, ""
    for saying in sayings(source):
        sign = SIDE_SIGN[saying.side] * (1 if saying.quantity == "travel" else relative)
        if travel and sign != travel:
            if "setting" in who and "setting" not in saying.who:
                source.decided.append(f"{who} overrules {saying.who}")
                continue
            raise source.refuse(
                "must count travel and force in one way",
                f"{who} and {saying.who} contradict each other, as a damper takes energy out",
                "Say --set positive_travel=compression or --set positive_travel=rebound, and nothing else.",
            )
        if not travel:
            travel, who = sign, saying.who
    if not travel and static:
        travel, who = static * relative, static_text
    if not travel and source.sheet.assume_si:
        travel, who = 1, "values from Python count compression positive"
        if relative < 0:
            raise source.refuse(
                "must count force positive where it pushes the ends apart and travel positive in compression",
                "the damper would put energy in",
                "Say --set positive_travel=... or positive_force=... when they are counted otherwise.",
            )
    if not travel:
        raise source.refuse(
            "must say which way is compression",
            f"{why}, but no word in it and no gas force tells the sides apart",
            "Say --set positive_travel=compression or --set positive_travel=rebound.",
        )
    side = "compression" if travel > 0 else "rebound"
    push = "apart" if travel * relative > 0 else "together"
    decided = (
        f"positive travel is {side} and positive force pushes the ends {push}: {why}; {who} says the side"
    )
    return Signs(travel, travel * relative, decided)


def relative_sign(works: Sequence[float]) -> int:
    """Give the sign of the work when nine tenths of it agree, 0 otherwise."""
    total = sum(works)
    size = sum(abs(w) for w in works)
    if size == 0 or abs(total) < 0.8 * size:
        return 0
    return 1 if total > 0 else -1
