"""What the text around a table says about damper and test: temperature, stroke, oil, camera ...

Takes lines of text; gives settings with the lines they came from.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

from tuner.errors import TunerError
from tuner.reading.table import calibration
from tuner.reading.table.heading import plain
from tuner.reading.table.options import ReadOptions, settled


class Remark(NamedTuple):
    """A setting found in the text of a file, and where."""

    setting: str
    value: str
    line: int


class _Pattern(NamedTuple):
    setting: str
    unit: str  # what must follow the number
    words: str  # what must stand in the line, any of them; "" for nothing
    others: str = ""  # what must not stand in the line
    write: str = ""  # the unit as it is written, where it is not the one found


_AMOUNT = r"(?<![\w.-])(?<![0-9],)(-?[0-9]+(?:[.,][0-9]+)?)\s*"
_CELSIUS = r"(?:°\s*c|deg\s*c|degrees c|grad c|celsius)\b"
_FAHRENHEIT = r"(?:°\s*f|deg\s*f|degrees f|fahrenheit)\b"
_OIL_TEMPERATURE = r"\w*temp"  # a bare letter is a unit only where the line speaks of a temperature
_ROOM = r"room|ambient|air|raum|umgebung|ambiante|ambiente|cst|mm2/s|limit|max|min"
_VISCOSITY = r"(?:cst|mm2/s)"
_RATE = r"sampl|abtast|messrate|echantillon|muestreo|data rate|logging"
_PATTERNS = (
    _Pattern("temperature", _CELSIUS, "", _ROOM, "degC"),
    _Pattern("temperature", _FAHRENHEIT, "", _ROOM, "degF"),
    _Pattern("temperature", r"c\b", _OIL_TEMPERATURE, _ROOM, "degC"),
    _Pattern("temperature", r"f\b", _OIL_TEMPERATURE, _ROOM, "degF"),
    _Pattern("viscosity", _VISCOSITY, "", r"(?<![0-9.,])(?!40\b)[0-9.,]+\s*(?:°|deg)", "cSt"),
    _Pattern("stroke", r"(?:mm|cm|m|in|inch)\b", r"stroke|hub|course|carrera", "dead|tot|mort"),
    _Pattern("gas_pressure", r"(?:bar|psi|kpa|mpa)\b", r"gas|pressure|druck|pression|presion"),
    _Pattern("oil_volume", r"(?:ml|cc|cm3|l)\b", r"oil|ol|oel|huile|aceite"),
    _Pattern(
        "frame_rate",
        r"(?:frames per second|frames/s|frames per s|fps|bilder/s|bilder pro sekunde|images/s|images par seconde|"
        r"fotogramas por segundo|hz)\b",
        r"camera|frame|kamera|bild|image|camara|fotograma|video|phone|fps",
        "",
        "Hz",
    ),
    _Pattern("rate", r"hz\b", _RATE, "", "Hz"),
    _Pattern("rate", r"khz\b", _RATE, "", "kHz"),
    _Pattern("rpm", r"(?:rpm|1/min|u/min|tr/min|cycles/min|strokes/min)", "", "", "rpm"),
    _Pattern(
        "moving_mass",
        r"(?:kg|g|lb|lbs)\b",
        r"hanger|rod and|moving mass|gehange|haken|stange|tige|crochet|vastago|gancho",
    ),
    _Pattern("clicks", r"(?:clicks?|klicks?|clics?)\b", "", "", " "),
)


def remarks(title: Iterable[tuple[int, str]]) -> tuple[Remark, ...]:
    """Find settings in lines of text; one that is said twice with different values is left out."""
    found: dict[str, list[Remark]] = {}
    for line, text in title:
        points = [m[0] for m in calibration.POINT.finditer(text)]
        if len(points) == 2:
            found.setdefault("calibration", []).append(Remark("calibration", ", ".join(points), line))
        low = plain(text.lower().replace("²", "2").replace("³", "3"))
        for pattern in _PATTERNS:
            if pattern.words and not re.search(rf"\b(?:{pattern.words})", low):
                continue
            if pattern.others and re.search(pattern.others, low):
                continue
            matches = re.findall(_AMOUNT + rf"({pattern.unit})", low)
            if len(matches) != 1:
                continue
            number, unit = matches[0]
            value = f"{number.replace(',', '.')} {pattern.write or unit}".strip()
            remark = Remark(pattern.setting, value, line)
            try:
                settled(ReadOptions(settings={remark.setting: remark.value}))
            except TunerError:
                continue
            found.setdefault(pattern.setting, []).append(remark)
    return tuple(r[0] for r in found.values() if len({x.value for x in r}) == 1)


def with_remarks(options: ReadOptions, found: Iterable[Remark]) -> ReadOptions:
    """Give the options with what the file itself says; what the user says rules."""
    settings = {r.setting: r.value for r in found} | dict(options.settings)
    return ReadOptions(options.kind, options.columns, options.units, settings)
