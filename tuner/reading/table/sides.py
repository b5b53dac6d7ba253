"""Words that say a side: in a title, above a block of rows, in a column of directions.

Takes text; gives the side, None where it names none or both.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from tuner.reading.table.heading import plain, tokens_of
from tuner.reading.table.words import COMPRESSION, REBOUND, phrases
from tuner.records import Side

PUSH = phrases(
    "push, slow push, push in, scale push, drucken, langsam drucken, langsames drucken, hineindrucken, waage drucken,"
    " pousser, poussee, poussee lente, empujar, empuje, empuje lento"
)
RETURN = phrases(
    "return, slow return, scale return, ruckweg, zuruck, langsam zuruck, langsames zuruck, rucklauf, ruckkehr,"
    " retour, retour lent, retorno, retorno lento, vuelta, vuelta lenta"
)
IN = frozenset(
    phrases(
        "in, ein, rein, hinein, einwarts, inward, inwards, dedans, rentrant, rentree, entrant, adentro, dentro"
    )
)
OUT = frozenset(
    phrases("out, aus, raus, heraus, auswarts, outward, outwards, dehors, sortant, sortie, afuera, fuera")
)
# how a column of directions may call the strokes, where a header would mean something else by it
STROKE_IN = frozenset(
    phrases(
        "compress, compressing, compressed, compresses, kompression, komprimieren, comprimer, comprimir, pushing, "
        "closing, shortening, einfedernd, zusammendrucken"
    )
)
STROKE_OUT = frozenset(
    phrases(
        "extend, extends, extended, rebounding, lengthening, ausfedernd, auseinanderziehen, etendre, extender"
    )
)
PULL = frozenset(
    phrases("pull, pulls, pulling, pulled, ziehen, herausziehen, tirer, tire, tirant, tirar, tirando, jalar")
)
UP = frozenset(phrases("up, upward, upwards, oben, hoch, aufwarts, haut, monte, arriba, sube"))
DOWN = frozenset(phrases("down, downward, downwards, unten, runter, abwarts, bas, descend, abajo, baja"))
WHEEL = frozenset(phrases("wheel, axle, hub, rad, achse, roue, essieu, rueda, eje"))
BODY = frozenset(
    phrases("body, chassis, frame, karosserie, rahmen, aufbau, caisse, cadre, chasis, carroceria")
)
UP_OR_DOWN = (
    "Up and down do not say what moves: write compression or rebound, or 'up = compression' above the table."
)
_OTHER: Mapping[Side, Side] = {"compression": "rebound", "rebound": "compression"}
_MEANS = re.compile(r"\b([a-z]+)\s*(?:=|:|\bis\b|\bmeans\b|\bist\b|\best\b|\bes\b)\s*([a-z]+)")


def side_of(word: str) -> Side | None:
    """Read words as a side; None when they name none or both."""
    tokens = set(tokens_of(word))
    compression = bool(tokens & (COMPRESSION | IN)) or word.lower().startswith(("druckst", "einfed"))
    rebound = bool(tokens & (REBOUND | OUT)) or word.lower().startswith(("zugst", "ausfed"))
    if len(word) == 1:
        compression, rebound = word.lower() == "c", word.lower() == "r"
    return _one(compression, rebound)


def _one(compression: bool, rebound: bool) -> Side | None:
    if compression == rebound:
        return None
    return "compression" if compression else "rebound"


def stroke_of(word: str, meanings: Mapping[str, Side]) -> Side | None:
    """Read a cell of a column of directions: sides, and how a stroke is called ("extending", "pull", "wheel up").

    meanings : what the text around the table says that up and down mean, see `meanings_in`.
    """
    tokens = set(tokens_of(word))
    text = " ".join(tokens_of(word))
    up, down = bool(tokens & UP), bool(tokens & DOWN)
    compression = bool(tokens & STROKE_IN) or text in PUSH
    rebound = bool(tokens & (STROKE_OUT | PULL)) or text in RETURN
    if up != down and not tokens & (COMPRESSION | REBOUND):
        said = {meanings["up" if up else "down"]} if meanings else set()
        if tokens & WHEEL or tokens & BODY:
            said.add("compression" if bool(tokens & WHEEL) == up else "rebound")
        compression, rebound = compression or "compression" in said, rebound or "rebound" in said
    return side_of(word) or _one(compression, rebound)


def meanings_in(texts: Iterable[str]) -> dict[str, Side]:
    """Find what "up" and "down" mean, as in "up = compression": one says the other; empty where texts differ."""
    ups: set[Side] = set()
    for text in texts:
        for name, meant in _MEANS.findall(plain(text)):
            side = side_of(meant)
            if side and name in UP | DOWN:
                ups.add(side if name in UP else _OTHER[side])
    if len(ups) != 1:
        return {}
    up = ups.pop()
    return {"up": up, "down": _OTHER[up]}
