"""Where on a machine a text says something is: which axle, which side.

Takes the name of a corner or a text written by hand; gives a `Position`.

English, German, French and Spanish. A word that often means something else (right, left, back, and the French avant,
which also is "before") counts only beside a word that settles it.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from typing import NamedTuple

_FRONT = re.compile(r"front|vorne?|vordere[rsnm]?|vorder(?:achse|rad|rader)|delanter[oa]s?")
_REAR = re.compile(r"rear|hinten|hintere[rsnm]?|hinter(?:achse|rad|rader)|arriere|traser[oa]s?")
_LEFT = re.compile(r"left|links|linke[rsnm]?|gauche|izquierd[oa]")
_RIGHT = re.compile(r"right|rechts|rechte[rsnm]?|droite?|derech[oa]")
_AXLE_OF = re.compile(r"train|essieu|roue|axle|eje|rueda")  # what makes "avant" a place
_BESIDE = 2  # words that may stand between an axle and its side


class Position(NamedTuple):
    """Axle "front" or "rear", side "left" or "right"; "" where nothing or both are said."""

    axle: str = ""
    side: str = ""

    def __bool__(self) -> bool:
        return bool(self.axle)

    def excludes(self, other: Position) -> bool:
        """Say whether the two cannot be one place."""
        pairs = zip(self, other, strict=True)
        return any(bool(one) and bool(another) and one != another for one, another in pairs)


def _tokens(text: str) -> list[str]:
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
    plain = unicodedata.normalize("NFKD", text.replace("\ufffd", "e"))
    return re.findall(r"[a-z]+", "".join(c for c in plain if not unicodedata.combining(c)).lower())


def _named(texts: Iterable[str]) -> tuple[set[str], set[str]]:
    axles: set[str] = set()
    sides: set[str] = set()
    for text in texts:
        words = _tokens(text)
        side_at = {i: "left" if _LEFT.fullmatch(w) else "right" for i, w in enumerate(words) if _side(w)}
        axle_at = {}
        for i, word in enumerate(words):
            beside = words[max(i - 1, 0) : i + 2]
            if _FRONT.fullmatch(word) and words[max(i - 1, 0)] != "in":
                axle_at[i] = "front"
            elif _REAR.fullmatch(word):
                axle_at[i] = "rear"
            elif word == "avant" and any(_side(w) or _AXLE_OF.fullmatch(w) for w in beside):
                axle_at[i] = "front"
        axles |= set(axle_at.values())
        sides |= {s for i, s in side_at.items() if any(abs(i - at) <= _BESIDE for at in axle_at)}
    return axles, sides


def _side(word: str) -> bool:
    return bool(_LEFT.fullmatch(word) or _RIGHT.fullmatch(word))


def position_of(*texts: str) -> Position:
    """Give the one place that these texts name; nothing where they name none, or several."""
    axles, sides = _named(texts)
    if len(axles) != 1:
        return Position()
    return Position(axles.pop(), sides.pop() if len(sides) == 1 else "")
