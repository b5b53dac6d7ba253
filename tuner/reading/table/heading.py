"""A header cell taken apart: which words, which unit, which side.

Takes the text of a header cell (and its cell in a row of units); gives words and unit.
"""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

from tuner.reading.table.words import COMPRESSION, FILLERS, REBOUND, ROLES
from tuner.units import SI_UNIT, known_unit

# spellings with "_" or "per", and words, as the rest of the program writes them
_SPELLED: dict[str, str] = {
    "m_s": "m/s",
    "mm_s": "mm/s",
    "cm_s": "cm/s",
    "in_s": "in/s",
    "ft_s": "ft/s",
    "m_per_s": "m/s",
    "mm_per_s": "mm/s",
    "in_per_s": "in/s",
    "mps": "m/s",
    "mmps": "mm/s",
    "mm/sec": "mm/s",
    "m/sec": "m/s",
    "in/sec": "in/s",
    "ft/sec": "ft/s",
    "m.s-1": "m/s",
    "mm.s-1": "mm/s",
    "m s-1": "m/s",
    "mm s-1": "mm/s",
    "m s^-1": "m/s",
    "mm s^-1": "mm/s",
    "m/sek": "m/s",
    "mm/sek": "mm/s",
    "m_s2": "m/s**2",
    "m/s/s": "m/s**2",
    "rad_s": "rad/s",
    "deg_s": "deg/s",
    "newton": "N",
    "newtons": "N",
    "kilonewton": "kN",
    "pounds": "lb",
    "pound": "lb",
    "millis": "ms",
    "micros": "us",
    "milliseconds": "ms",
    "millisekunden": "ms",
    "microseconds": "us",
    "seconds": "s",
    "sekunden": "s",
    "secondes": "s",
    "segundos": "s",
    "second": "s",
    "min-1": "1/min",
    "tr/min": "1/min",
    "rev/min": "1/min",
    "cycles/min": "1/min",
    "strokes/min": "1/min",
    "cyc/min": "1/min",
    "hz": "Hz",
}
# units that count without brackets: short enough lists to leave no room for words
_LOOSE: dict[str, tuple[str, ...]] = {
    "time": ("s", "ms", "us", "µs", "μs", "ns", "sec", "sek", "msec", "usec", "min"),
    "length": ("m", "mm", "cm", "in", "inch", "inches", "ft", "um", "µm"),
    "speed": ("m/s", "mm/s", "cm/s", "in/s", "inch/s", "ft/s", "ips", "km/h", "mph"),
    "force": ("N", "kN", "daN", "lbf", "lb", "lbs", "kgf", "kp", "kg", "mN"),
    "mass": ("kg", "g", "lb", "lbs"),
    "frequency": ("Hz", "rpm", "1/min", "cpm", "u/min", "U/min", "1/s"),
    "acceleration": ("m/s2", "m/s^2", "m/s²", "m/s**2", "g", "mm/s2", "mm/s²"),
    "angular rate": ("rad/s", "deg/s", "°/s", "dps"),
    "angle": ("rad", "deg", "°"),
    "temperature": ("degC", "°C", "C", "degF", "°F", "K"),
    "pressure": ("bar", "Pa", "kPa", "MPa", "psi"),
    "voltage": ("V", "mV"),
}
_BRACKETS = re.compile(r"[\[({<]\s*([^\[\](){}<>]*?)\s*[\])}>]")
KINDS_OF_UNIT = tuple(k for k in SI_UNIT if k not in ("ratio", "temperature difference"))


@dataclass(frozen=True, slots=True)
class Heading:
    """A header cell: its words (lower case, no accents), the unit text found in it, the side it names.

    `units` maps each kind of unit to the spelling under which the text is a unit of that kind.
    """

    text: str
    tokens: frozenset[str]
    order: tuple[str, ...]
    side: str
    units: Mapping[str, str]
    unit_text: str
    other_unit: str = ""  # a unit in the name that contradicts the row of units

    def unit(self, kind: str) -> str:
        """Give the unit of that kind, "" when the header has none."""
        return self.units.get(kind, "")


def plain(text: str) -> str:
    """Give text in lower case without accents; words in one (shaftSpeed) come apart."""
    text = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", text)
    text = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("ø", "o"))
    return "".join(c for c in text if not unicodedata.combining(c)).lower()


def tokens_of(text: str) -> tuple[str, ...]:
    """Give the words of a text, plain."""
    return tuple(re.findall(r"[a-z]+|[0-9]+", plain(text)))


def _spell(unit: str) -> str:
    short = re.sub(r"\s+", " ", unit.strip())
    return _SPELLED.get(short.lower(), short)


@functools.lru_cache(maxsize=4096)
def _kinds(unit: str, loose: bool) -> tuple[tuple[str, str], ...]:
    """Give the kinds that `unit` can be a unit of, each with its spelling."""
    spelled = _spell(unit)
    if not spelled or len(spelled) > 20:
        return ()
    if loose:
        return tuple(
            (kind, spelled)
            for kind, names in _LOOSE.items()
            if spelled in names or spelled.lower() in (n.lower() for n in names if len(n) > 1)
        )
    if not re.search(r"[a-zA-Zµμ°\"#%]", spelled):
        return ()
    return tuple((kind, spelled) for kind in KINDS_OF_UNIT if known_unit(spelled, kind))


def is_unit(text: str) -> bool:
    """Say whether a cell of text is a unit."""
    return len(text) <= 20 and bool(_kinds(text, True) or _kinds(text, False))


def _sides(tokens: tuple[str, ...]) -> str:
    found = set()
    for token in tokens:
        if token in COMPRESSION or re.match(r"(?:druck(?:kraft|stufen|geschw)|einfeder)", token):
            found.add("compression")
        if token in REBOUND or re.match(r"(?:zug(?:kraft|stufen|geschw)|ausfeder)", token):
            found.add("rebound")
    return found.pop() if len(found) == 1 else ""


def _split_compounds(tokens: tuple[str, ...]) -> tuple[str, ...]:
    out: list[str] = []
    for token in tokens:
        match = re.fullmatch(r"(druck|zug)(?:stufen|stufe)?(kraft|geschwindigkeit)", token)
        out.extend(match.groups() if match else (token,))
    return tuple(out)


def _loose_unit(text: str) -> tuple[str, str]:
    """Find a unit at the end of a name without brackets: (name, unit).

    The longest unit counts ("Velocity in/s" is not in s), unless only a shorter one suits the name ("time_in_s").
    """
    found: list[tuple[str, str]] = []
    for match in re.finditer(r"[\s/_,:;-]+", text):
        name, unit = text[: match.start()].strip(" ,:;-_/"), text[match.end() :].strip()
        name = re.sub(r"[\s_]+(?:in|en)$", "", name)
        if name and unit and _kinds(unit, True):
            found.append((name, unit))
    suiting = (
        each for each in found if any(kind in _kinds_named(each[0]) for kind, _ in _kinds(each[1], True))
    )
    return next(suiting, found[0] if found else (text, ""))


@functools.cache
def _words_of_kinds() -> tuple[tuple[str, frozenset[str]], ...]:
    """Words that name a column of each kind of unit."""
    kinds = dict.fromkeys(role.kind for role in ROLES.values())
    return tuple(
        (kind, frozenset(t for r in ROLES.values() if r.kind == kind for p in r.words for t in p.split()))
        for kind in kinds
    )


def _kinds_named(name: str) -> set[str]:
    tokens = set(_split_compounds(tokens_of(name))) - FILLERS
    return {kind for kind, words in _words_of_kinds() if tokens & words}


def _is_speed_unit(text: str) -> bool:
    """Say whether a name is nothing but a unit of speed, such as "in/s"."""
    return dict(_kinds(text, True)).keys() == {"speed"}


@functools.lru_cache(maxsize=4096)
def heading(text: str, units_row: str = "") -> Heading:
    """Take a header cell apart; a unit from the row of units rules over none in the cell itself."""
    name, unit, other = text, "", ""
    kinds: tuple[tuple[str, str], ...] = ()
    for match in reversed(list(_BRACKETS.finditer(text))):
        first, *rest = re.split(r"[,;]", match[1])  # (mm, + = compression)
        kinds = _kinds(first, False)
        if kinds:
            unit = first.strip()
            name = f"{text[: match.start()]} {' '.join(rest)} {text[match.end() :]}"
            break
    if _is_speed_unit(text):
        name, unit, kinds = "speed", text.strip(), _kinds(text, True)
    if not kinds:
        loose, found = _loose_unit(_BRACKETS.sub(" ", text).strip())  # force, N (rebound negative)
        if found:
            said = " ".join(match[1] for match in _BRACKETS.finditer(text))
            name, unit, kinds = f"{loose} {said}", found, _kinds(found, True)
    if units_row.strip("- "):
        row_kinds = _kinds(units_row, False)
        if kinds and dict(row_kinds) != dict(kinds):
            other = unit
        unit, kinds = units_row, row_kinds
    tokens = _split_compounds(tokens_of(name))
    if not kinds and len(tokens) == 1 and tokens[0] in ("millis", "micros", "milliseconds", "rpm", "seconds"):
        unit = tokens[0]
        kinds = _kinds(unit, False)
    return Heading(text, frozenset(tokens), tokens, _sides(tokens), dict(kinds), unit, other)


def is_name(text: str) -> bool:
    """Say whether a cell of text holds a word that names a column."""
    if _is_speed_unit(text):
        return False
    found = heading(text)
    words = found.tokens - FILLERS
    return any(words & named for _, named in _words_of_kinds()) or bool(found.side)
