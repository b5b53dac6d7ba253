"""What a text says about signs: "+ = compression", "measured from fully extended", "rebound negative".

Takes text; gives the side that it calls positive.
"""

from __future__ import annotations

import re

from tuner.reading.table.heading import plain, tokens_of
from tuner.reading.table.words import COMPRESSION, NEGATIVE, POSITIVE, REBOUND

_OTHER = {"compression": "rebound", "rebound": "compression"}
_FROM = re.compile(
    r"(?:\bfrom|\bab|\bvon|\bdepuis|\bdesde|\bafter|\b0 =|\bzero =|\bzero at|\b0 at|\bnull =)\s+"
    r"(?:the\s+)?(?:full(?:y)?|max|voll|ganz|position)?\s*(extended|extension|ausgefahren|rebound|droop|detente|"
    r"compressed|compression|bump|eingefahren)\b"
)
# a bare sign counts where it cannot be a dash or belong to a number
_PLUS = re.compile(r"(?:^|[(\[,;:=]\s*)\+(?!\s*[0-9])|\+\s*[=)\]]")
_MINUS = re.compile(r"[(\[]\s*[-\u2212]\s*[)\]]|[-\u2212]\s*=|=\s*[-\u2212](?!\s*[0-9])")
_EXTENDED = ("extended", "extension", "ausgefahren", "rebound", "droop", "detente")


def _clause(text: str) -> str:
    """Give the side that one clause calls positive, "" when it says nothing of the kind."""
    measured = _FROM.search(plain(text))
    if measured:  # what is counted from one end grows towards the other
        return "compression" if measured[1] in _EXTENDED else "rebound"
    tokens = set(tokens_of(text))
    sides = {"compression"} if tokens & COMPRESSION else set()
    if tokens & REBOUND:
        sides.add("rebound")
    plus = bool(tokens & POSITIVE) or bool(_PLUS.search(text))
    minus = bool(tokens & NEGATIVE) or bool(_MINUS.search(text))
    if len(sides) != 1 or plus == minus:
        return ""
    side = sides.pop()
    return side if plus else _OTHER[side]


def positive_side(text: str) -> str:
    """Give the side that a text calls positive, "" when it says nothing of the kind or contradicts itself."""
    sides = {s for s in (_clause(c) for c in re.split(r"[,;/]|\band\b|\bund\b|\bet\b|\by\b", text)) if s}
    whole = _clause(text)
    if whole:
        sides.add(whole)
    return sides.pop() if len(sides) == 1 else ""
