"""Single cells: numbers with their decimal sign and thousands separators, time stamps, empty cells, words.

Takes text of cells; gives what they are and what they are worth.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from datetime import date
from typing import Literal, NamedTuple

from tuner.errors import ReadError

CellClass = Literal["number", "stamp", "missing", "word"]
Decimal = Literal[".", ","]

# cells that say "nothing was measured here"
_EMPTY_WORDS = (
    ",nan,-nan,+nan,na,n/a,#n/a,#na,null,none,nil,-,--,---,?,*,#nv,#n/v,#value!,#div/0!,#null!,inf,-inf,+inf,"
    "infinity,-infinity,ol,over,overload,overflow,overrange,err,error,invalid,k.a.,n.v.,s/d,n/d,nd,1.#inf,"
    "-1.#inf,1.#qnan,-1.#qnan,1.#ind,-1.#ind"
)
MISSING = frozenset(_EMPTY_WORDS.split(","))

_EXPONENT = r"(?:[eE][+-]?[0-9]{1,3})?"
PLAIN: dict[Decimal, re.Pattern[str]] = {
    ".": re.compile(rf"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+){_EXPONENT}"),
    ",": re.compile(rf"[+-]?(?:[0-9]+(?:,[0-9]*)?|,[0-9]+){_EXPONENT}"),
}
_SPACES = "' \u00a0\u202f\u2009\u2019"
_GROUPED: dict[Decimal, re.Pattern[str]] = {
    ".": re.compile(
        rf"[+-]?[1-9][0-9]{{0,2}}(?:(?P<sep>[,{_SPACES}])[0-9]{{3}})(?:(?P=sep)[0-9]{{3}})*(?:\.[0-9]+)?"
    ),
    ",": re.compile(
        rf"[+-]?[1-9][0-9]{{0,2}}(?:(?P<sep>[.{_SPACES}])[0-9]{{3}})(?:(?P=sep)[0-9]{{3}})*(?:,[0-9]+)?"
    ),
}
_STAMP = re.compile(
    r"(?:(?P<date>[0-9]{4}[-/][0-9]{1,2}[-/][0-9]{1,2}|[0-9]{1,2}\.[0-9]{1,2}\.[0-9]{4})[T ]+)?"
    r"(?P<h>[0-9]{1,2}):(?P<m>[0-9]{2}):(?P<s>[0-9]{2}(?:[.,][0-9]{1,9})?)"
    r"(?P<zone>Z|[+-][0-9]{2}:?[0-9]{2})?"
)
_EITHER = re.compile(rf"[+-]?(?:[0-9]+(?:\.[0-9]*|,[0-9]+)?|[.,][0-9]+){_EXPONENT}")


def tidy(cell: str) -> str:
    """Strip a cell of spaces, and turn a typographic minus into a plain one."""
    cell = cell.strip(" \t\u00a0\u202f\ufeff")
    return cell.replace("\u2212", "-") if "\u2212" in cell else cell


def classify(cell: str) -> CellClass:
    """Say what a tidy cell is, whichever decimal sign the file uses."""
    if _EITHER.fullmatch(cell):
        return "number"
    if cell.lower() in MISSING:
        return "missing"
    if _GROUPED["."].fullmatch(cell) or _GROUPED[","].fullmatch(cell):
        return "number"
    if ":" in cell and _STAMP.fullmatch(cell):
        return "stamp"
    return "word"


def number(cell: str, decimal: Decimal) -> tuple[float, bool] | None:
    """Read a tidy cell: (value, had thousands separators); NaN where missing, None when it is no number."""
    if PLAIN[decimal].fullmatch(cell):
        return float(cell if decimal == "." else cell.replace(",", ".")), False
    if cell.lower() in MISSING:
        return math.nan, False
    match = _GROUPED[decimal].fullmatch(cell)
    if match is None:
        return None
    plain = cell.replace(match["sep"], "")
    return float(plain if decimal == "." else plain.replace(",", ".")), True


class Stamp(NamedTuple):
    """A time stamp: day number (0 for a clock time) and seconds of that day."""

    day: int
    seconds: float


def stamp(cell: str) -> Stamp | None:
    """Read an ISO time stamp or a clock time; None when it is neither."""
    match = _STAMP.fullmatch(cell)
    if match is None:
        return None
    hours, minutes = int(match["h"]), int(match["m"])
    seconds = float(match["s"].replace(",", "."))
    if hours > 23 or minutes > 59 or seconds >= 61.0:
        return None
    day = 0
    if match["date"]:
        parts = [int(p) for p in re.split(r"[-/.]", match["date"])]
        year, month, number_of_day = parts if "." not in match["date"] else parts[::-1]
        try:
            day = date(year, month, number_of_day).toordinal()
        except ValueError:
            return None
    total = hours * 3600 + minutes * 60 + seconds
    zone = match["zone"]
    if zone and zone != "Z":
        shift = (int(zone[1:3]) * 60 + int(zone[-2:])) * 60
        total -= shift if zone[0] == "+" else -shift
    return Stamp(day, total)


_SHAPE = re.compile(r"[+-]?(?P<before>[0-9]*)(?P<sep>[.,])(?P<after>[0-9]*)(?P<exponent>[eE].*)?")


def _says(cell: str) -> str:
    """Say what one number tells about the decimal sign: ".", ",", "?." or "?," (ambiguous), "" (nothing)."""
    if "." in cell and "," in cell:
        return "." if cell.rfind(".") > cell.rfind(",") else ","
    for sep, other in ((".", ","), (",", ".")):
        if cell.count(sep) > 1:
            return other  # 1.234.567
    match = _SHAPE.fullmatch(cell)
    if match is None:
        return ""
    before, sep = match["before"], match["sep"]
    grouped = (
        len(match["after"]) == 3 and 1 <= len(before) <= 3 and before[0] != "0" and not match["exponent"]
    )
    return f"?{sep}" if grouped else sep


def _signs_seen(columns: Iterable[Iterable[str]]) -> tuple[dict[str, str], str]:
    """Give the first cell for each thing that cells say, and a doubtful one from a column with whole numbers."""
    seen: dict[str, str] = {}
    mixed = ""
    for column in columns:
        said = [(_says(cell), cell) for cell in column]
        for says, cell in said:
            if says:
                seen.setdefault(says, cell)
        doubtful = [cell for says, cell in said if says.startswith("?")]
        if doubtful and any(not says for says, _ in said):
            mixed = doubtful[-1]
    return seen, mixed


def settle_decimal(columns: Iterable[Iterable[str]], delimiter: str, name: str) -> tuple[Decimal, str]:
    """Settle the decimal sign of a file from its number cells, column by column; give it with the reason.

    Raises ReadError when the cells contradict each other, or when groups of three digits leave it open.
    """
    seen, mixed = _signs_seen(columns)
    hint = "Say it with --set decimal=point or --set decimal=comma."
    if "." in seen and "," in seen:
        raise ReadError(
            f"{name} must use one decimal sign; found {seen['.']!r} and {seen[',']!r}",
            hint="Correct the cells, or export the file again.",
        )
    if "." in seen or "," in seen:
        sign: Decimal = "." if "." in seen else ","
        return sign, f"decimal {'point' if sign == '.' else 'comma'}, as in {seen[sign]!r}"
    if "?." in seen and "?," in seen:
        raise ReadError(
            f"{name} must show which sign is the decimal sign; found only {seen['?.']!r} and {seen['?,']!r}",
            hint=hint,
        )
    doubtful = seen.get("?.") or seen.get("?,") or ""
    if doubtful and (mixed or ("?," in seen and delimiter == ",")):
        raise ReadError(
            f"{name} must show which sign is the decimal sign; {mixed or doubtful!r} can be read both ways",
            hint=hint,
        )
    if "?," in seen:
        return ",", f"decimal comma, as in {doubtful!r}"
    return ".", "decimal point" + (f", as in {doubtful!r}" if doubtful else "")
