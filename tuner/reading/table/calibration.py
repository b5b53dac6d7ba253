"""Two readings of a travel sensor and the travels they stand for, as text: "0.50 V = 0 mm, 4.50 V = 100 mm".

Takes the setting's text; gives the line through both points.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from tuner.errors import UnitError, UsageError
from tuner.estimates import Array
from tuner.reading.table.columns import Source
from tuner.units import amount_to_si

_NUMBER = r"[+-]?[0-9]+(?:[.,][0-9]+)?"
POINT = re.compile(
    rf"(?P<reading>{_NUMBER})\s*(?P<unit>[a-zA-Zµμ]*)\s*(?:=|->|is|at)\s*(?P<travel>{_NUMBER})\s*(?P<length>[a-zA-Z\"]+)"
)
COUNTS = ("", "counts", "count", "ticks", "digits", "points", "lsb", "adc", "raw")
_HINT = "Write it like '0.50 V = 0 mm, 4.50 V = 100 mm', 0 mm with the shaft all the way out."


@dataclass(frozen=True, slots=True)
class Calibration:
    """The line travel [m] = offset + slope * reading, reading in V or counts; `unit` is "V" or "" for counts."""

    slope: float
    offset: float
    unit: str

    def travel(self, reading: Array) -> Array:
        """Give the travel [m] of readings (n,)."""
        return self.offset + self.slope * reading


def parse(text: str) -> Calibration:
    """Read the setting; raises UsageError when it is not two different readings with two different travels."""
    points = list(POINT.finditer(text))
    rest = POINT.sub("", text)
    if len(points) != 2 or re.search(r"[^\s,;./|]", re.sub(r"\b(?:and|und|et|y)\b", "", rest)):
        raise UsageError(f"setting calibration must be two points; got {text!r}", hint=_HINT)
    readings, travels, units = [], [], []
    for point in points:
        number, unit = point["reading"].replace(",", "."), point["unit"]
        if unit.lower() in COUNTS:
            readings.append(float(number))
            units.append("")
        else:
            try:
                readings.append(amount_to_si(f"{number} {unit}", "voltage", name="setting calibration"))
            except UnitError as error:
                raise UsageError(error.message, hint=_HINT) from None
            units.append("V")
        try:
            length = f"{point['travel'].replace(',', '.')} {point['length']}"
            travels.append(amount_to_si(length, "length", name="setting calibration"))
        except UnitError as error:
            raise UsageError(error.message, hint=_HINT) from None
    if units[0] != units[1]:
        raise UsageError(f"setting calibration must use one unit for both readings; got {text!r}", hint=_HINT)
    if readings[0] == readings[1] or travels[0] == travels[1]:
        raise UsageError(
            f"setting calibration must have two different readings and two different travels; got {text!r}",
            hint=_HINT,
        )
    slope = (travels[1] - travels[0]) / (readings[1] - readings[0])
    return Calibration(slope, travels[0] - slope * readings[0], units[0])


def calibration_of(source: Source, role: str) -> Calibration | None:
    """Give the calibration for the column's own unit, None when there is none.

    Raises UnitError when the column is in volts and the calibration in counts, or the other way round.
    """
    text = str(source.options.settings.get("calibration", "")).strip()
    if not text:
        return None
    line = parse(text)
    name = source.sheet.table.names[source.index(role)]
    head = source.matched.headings[source.index(role)]
    unit = source.options.units.get(role, "") or head.unit("voltage")
    if role == "travel" and (source.options.units.get(role) or head.unit("length")):
        source.decided.append(f"the calibration is not used: column {name!r} is a length already")
        return None
    if line.unit == "V" and role == "travel_counts":
        raise UnitError(
            f"{source.name}: column {name!r} holds counts, and the calibration is in volts; got {text!r}",
            hint="Give the readings of the calibration as the file counts them.",
        )
    if line.unit == "" and unit:
        raise UnitError(
            f"{source.name}: column {name!r} is in {unit}, and the calibration names no unit; got {text!r}",
            hint=_HINT,
        )
    source.decided.append(f"travel from column {name!r} by the calibration {text}")
    source.settled[role] = line.unit or "counts"
    if line.unit == "V" and unit:
        volts = amount_to_si(f"1 {unit}", "voltage", name=f"column {name!r}")
        return Calibration(line.slope * volts, line.offset, line.unit)
    return line
