"""A travel sensor's column: mm, in, volts or counts into shaft travel that counts compression positive.

Takes a `Source`; gives a stream of travel [m].

Which way it counts: a calibration says it (two readings and the travels they stand for), else the settings, else words
in the file, else the word travel itself, which in the trade is what the shaft has gone in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuner.estimates import Array, Note
from tuner.reading.sensor.clipping import flat_share
from tuner.reading.sensor.clock import Stream, stream_of, whole_table
from tuner.reading.table.calibration import Calibration, calibration_of
from tuner.reading.table.columns import Matched, Source
from tuner.reading.table.gaps import blank_rows
from tuner.reading.table.heading import tokens_of
from tuner.reading.table.signs import SIDE_SIGN, sayings
from tuner.signals.rests import Rest, find_rests
from tuner.units import to_si

ROLES = ("time", "travel", "travel_voltage", "travel_counts")
READINGS = ("travel", "travel_voltage", "travel_counts")
LONGEST, SHORTEST = 1.0, 1e-3  # span of a shaft's travel [m]
STILL = 0.0008  # spread of tenth-of-a-second means that counts as rest [m]
# names that count what the shaft has gone in, by the trade's use
_GONE_IN = frozenset(
    ("travel", "federweg", "enfoncement", "debattement", "hundimiento", "recorrido", "jounce", "einfederung")
)


@dataclass(frozen=True, slots=True, eq=False)
class SensorTrace:
    """Shaft travel (n,) [m], + compressed, with the clock's figures, the rests, and what was doubtful."""

    stream: Stream
    travel: Array
    rests: tuple[Rest, ...]
    clipped_share: float
    notes: tuple[Note, ...]


def travel_columns(matched: Matched) -> str:
    """Say why the columns are those of a travel sensor, "" when they are not."""
    if matched.has("time") and any(matched.has(r) for r in READINGS):
        return "time and a travel sensor"
    return ""


def role_of(source: Source) -> str:
    """Choose the column: what the user named, else the best; refuses several."""
    named = [r for r in READINGS if r in source.options.columns]
    there = named or [r for r in READINGS if source.has(r)]
    if not there:
        source.index("travel")
    for role in there:
        if role in source.matched.ambiguous:
            source.index(role)
    if len(there) > 1:
        names = " or ".join(repr(source.sheet.table.names[source.index(r)]) for r in there)
        raise source.refuse(
            "must say which column is the travel sensor",
            f"it can be {names}",
            "Choose with --column travel=NAME.",
        )
    return there[0]


def read_sensor(source: Source) -> SensorTrace:
    """Read the travel sensor; raises ReadError or UnitError when unit, calibration or direction stay open."""
    role = role_of(source)
    table = whole_table(source)
    column = source.column(role, table)
    if column.is_words or column.stamps:
        source.values(role, table)  # refused there
    good = np.isfinite(column.numbers)
    lost = blank_rows(source, table, good, {source.index(role)})
    if lost > 0.2 * (int(good.sum()) + lost):
        raise source.refuse(
            "must have numbers in at least 80 % of its rows",
            f"{lost} of {table.rows} rows lack one in column {source.sheet.table.names[source.index(role)]!r}, "
            f"the first in line {table.line(int(np.argmin(good)))}",
            "Check the logger, or choose another column with --column travel=NAME.",
        )
    raw = column.numbers if good.all() else column.numbers[good]
    rows = np.arange(table.rows) if good.all() else np.flatnonzero(good)
    stream = stream_of(source, table, "time", raw[:, None], rows, lost)
    calibration = calibration_of(source, role)
    travel = (
        calibration.travel(stream.values[:, 0])
        if calibration
        else _as_length(source, role, stream.values[:, 0])
    )
    span = float(np.ptp(travel))
    if not SHORTEST <= span <= LONGEST:
        raise source.refuse(
            f"must have a travel that spans between {SHORTEST * 1e3:g} mm and {LONGEST * 1e3:g} mm",
            f"column {source.sheet.table.names[source.index(role)]!r} spans {span * 1e3:.4g} mm",
            "Check its unit (--unit travel=UNIT) or the calibration, and that it is the right column.",
        )
    notes: list[Note] = []
    share, note = _limits(stream.values[:, 0])
    if note:
        notes.append(note)
    travel = _signed(source, role, calibration, travel)
    return SensorTrace(stream, travel, find_rests(stream.time, travel, STILL), share, tuple(notes))


def _as_length(source: Source, role: str, raw: Array) -> Array:
    """Turn a column in a unit of length into m; a voltage or a count without calibration is refused."""
    name = source.sheet.table.names[source.index(role)]
    if role != "travel":
        what = "volts" if role == "travel_voltage" else "counts"
        example = "0.50 V = 0 mm, 4.50 V = 100 mm" if what == "volts" else "102 = 0 mm, 921 = 100 mm"
        raise source.refuse(
            f"needs a calibration to turn {what} into travel",
            f"column {name!r} has none",
            f"Say the readings at two travels, 0 mm with the shaft all the way out: --set calibration='{example}'.",
        )
    use = source.use(role)
    return to_si(raw, "length", use.unit, name=f"column {name!r}")


def _signed(source: Source, role: str, calibration: Calibration | None, travel: Array) -> Array:
    """Turn the travel so that compression counts positive, from the reading at full extension on."""
    sign, who = 0, ""
    asked = source.options.choice("positive_travel")
    head = source.matched.headings[source.index(role)]
    if asked:
        sign, who = SIDE_SIGN[asked], "the setting positive_travel"
    elif calibration:
        sign, who = 1, "the calibration, which counts from full extension,"
    if not sign:
        said = [s for s in sayings(source) if s.quantity == "travel"]
        sides = {s.side for s in said}
        if len(sides) > 1:
            raise source.refuse(
                "must count travel in one way",
                f"{said[0].who} and {next(s for s in said if s.side != said[0].side).who} contradict each other",
                "Say --set positive_travel=compression or --set positive_travel=rebound.",
            )
        if said:
            sign, who = SIDE_SIGN[said[0].side], said[0].who
        elif source.sheet.assume_si:
            sign, who = 1, "values from Python count compression positive"
        elif set(tokens_of(head.text)) & _GONE_IN:
            sign, who = 1, f"the column name {head.text!r}, as travel is what the shaft has gone in,"
    if not sign:
        raise source.refuse(
            "must say which way is compression",
            f"column {head.text!r} can count either way",
            "Say --set positive_travel=compression or --set positive_travel=rebound.",
        )
    source.decided.append(f"positive travel is {'compression' if sign > 0 else 'rebound'}: {who} says so")
    zero = source.options.amount("extended_reading")
    if zero is not None:
        source.decided.append(f"the reading at full extension is {zero * 1e3:g} mm, as the settings say")
    return sign * (travel - (zero or 0.0))


def _limits(raw: Array) -> tuple[float, Note | None]:
    """Share of samples resting on the sensor's highest or lowest reading in flat runs."""
    share = flat_share(raw)
    if not share:
        return 0.0, None
    return share, Note("at-limit", share=share)
