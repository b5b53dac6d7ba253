"""A column of time made usable: its unit, its order, rows with one stamp, and what is missing.

Takes the time and the channels of one stream; gives a `Stream` with strictly rising seconds, and what was repaired.

The unit comes from the header or the options. A bare counter is settled by its size (seconds since 1970 and their
thousandths, millionths ...) or by its step: only one of s, ms, us, ns gives a rate that a logger can have.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from tuner.estimates import Array, Estimate, Note
from tuner.reading.table.columns import Source
from tuner.reading.text.tables import Table, stacked
from tuner.records import Quality
from tuner.signals.thin import every_so_many
from tuner.units import to_si

SLOWEST, FASTEST = 4.0, 50_000.0  # samples per second that a logger can have
FEW = 20  # samples over which the rate is taken
USUAL = (15.0, 5000.0)  # rates among which a bare counter's unit is looked for
EPOCH = (1.0e9, 2.6e9)  # seconds since 1970, for the years 2001 to 2052
SPREAD_FROM = 0.3  # share of equal stamps from which they are too coarse to average
OUT_OF_ORDER = 0.05  # share of rows that may come a little late
DAY = 86_400.0
LONGEST_GAP = 600.0  # s without a sample that one recording can have
FAR = 1000.0  # s: a file that begins later than this is counted from its first row
UNEVEN = 0.2  # jitter above which the time between samples is called uneven
_COUNTERS = (("s", 1.0), ("ms", 1e-3), ("us", 1e-6), ("ns", 1e-9))


class Timing(NamedTuple):
    """Rate [Hz], jitter (robust sd of the step over its median), places with more than 3 steps missing."""

    rate: float
    jitter: float
    gaps: int


def timing(time: Array) -> Timing:
    """Give the figures of a strictly rising time, (n,) [s], n >= 2."""
    steps = np.diff(time)
    sample = every_so_many(steps)
    middle = float(np.median(sample))
    spread = 1.4826 * float(np.median(np.abs(sample - middle)))
    return Timing(1.0 / middle, spread / middle, int(np.count_nonzero(steps > 4.0 * middle)))


@dataclass(frozen=True, slots=True, eq=False)
class Stream:
    """Samples of one sensor: time (n,) [s] strictly rising, values (n, k), and what the clock was worth.

    lost : rows left out because a part of them was missing; duplicates : rows that had the time of another one.
    """

    time: Array
    values: Array
    rate: float
    jitter: float
    gaps: int
    lost: int
    duplicates: int
    notes: tuple[Note, ...]

    def with_values(self, values: Array) -> Stream:
        """Give the same samples with other values."""
        return replace(self, values=values)

    def quality(self, clipped_share: float, notes: Sequence[Note]) -> Quality:
        """Give the quality report of a record made from this stream."""
        return Quality(
            rate_hz=self.rate,
            jitter=self.jitter,
            gaps=self.gaps,
            duplicates=self.duplicates,
            dropouts=self.lost,
            clipped_share=clipped_share,
            notes=(*self.notes, *notes),
        )


def whole_table(source: Source) -> Table:
    """Give the rows of all blocks as one table: a phone or a logger records in one piece."""
    table = stacked(source.sheet.blocks)
    if len(source.sheet.blocks) > 1:
        source.decided.append(f"{len(source.sheet.blocks)} blocks of rows were read as one recording")
    return table


def stream_of(
    source: Source, table: Table, role: str, channels: Array, rows: np.ndarray, lost: int = 0
) -> Stream:
    """Make the stream of one sensor.

    role : "time", or the role of a time column of the sensor's own. channels : (n, k) in SI, finite. rows : (n,) the
    rows of `table` they stand in. lost : rows that were left out before. Raises ReadError for a time that does not
    rise, holds several recordings, or has a rate that no logger has.
    """
    column = source.column(role, table)
    raw = source.values(role, table) if column.is_words else column.numbers[rows]  # words are refused there
    known = np.isfinite(raw)
    if not known.all():
        lost += int((~known).sum())
        raw, channels, rows = raw[known], channels[known], rows[known]
    if raw.size < 8:
        raise source.refuse(
            "must hold at least 8 whole rows",
            f"{raw.size} of {table.rows} rows have a time and a value",
            "Check the columns (--column ROLE=NAME).",
        )
    time = _seconds(source, table, role, raw, column.stamps)
    notes: list[Note] = []
    time, channels, rows, late = _in_order(source, table, role, time, channels, rows)
    if late:
        notes.append(Note("out-of-order", rows=late))
    _one_piece(source, table, time, rows)
    time, channels, equal, note = _one_row_per_time(source, role, time, channels)
    if note:
        notes.append(note)
    figures = _figures(time)
    if not SLOWEST <= figures.rate <= FASTEST:
        use = source.use(role) if _unit(source, role) else None
        rate = f"{figures.rate:.0f}" if figures.rate >= 1000 else f"{figures.rate:.3g}"
        raise source.refuse(
            f"must have between {SLOWEST:g} and {FASTEST:g} samples a second",
            f"column {source.sheet.table.names[source.index(role)]!r}"
            + (f", read in {use.unit}," if use else "")
            + f" gives {rate}",
            f"Check its unit: --unit {role}=s, ms, us or ns.",
        )
    notes += _timing_notes(time, figures)
    if lost:
        notes.append(Note("missing-rows", lost=lost))
    return Stream(time, channels, figures.rate, figures.jitter, figures.gaps, lost, equal, tuple(notes))


def _unit(source: Source, role: str) -> str:
    """Give the unit that options, header or an earlier look name, "" when none does."""
    found = source.matched.headings[source.index(role)]
    if found.unit_text and not found.unit("time") and role not in source.options.units:
        source.use(role)  # a unit of another kind: refused there
    return source.options.units.get(role, "") or found.unit("time") or source.settled.get(role, "")


def _seconds(source: Source, table: Table, role: str, raw: Array, stamps: bool) -> Array:
    """Turn a time column into seconds; a clock that passes midnight runs on."""
    origin = _origin(source, table, role)
    if stamps:
        falls = np.diff(raw) < -0.5 * DAY
        if falls.any():
            source.decided.append("the clock passes midnight")
            raw = raw + DAY * np.concatenate(([0], np.cumsum(falls)))
        return raw - origin
    unit = _unit(source, role)
    if not unit:
        unit = _counter(source, role, raw)
        source.settled[role] = unit
    scale = float(to_si(1.0, "time", unit, name=f"column {source.use(role).name!r}"))
    if abs(origin * scale) < FAR:
        origin = 0.0
    return (raw - origin) * scale


def _origin(source: Source, table: Table, role: str) -> float:
    """First time in the file: all sensors count from it."""
    column = source.column(role, table)
    if role != "time" and source.has("time") and source.column("time", table).stamps == column.stamps:
        column = source.column("time", table)
    first = np.flatnonzero(np.isfinite(column.numbers[:100_000]))
    return float(column.numbers[first[0]]) if first.size else 0.0


def _counter(source: Source, role: str, raw: Array) -> str:
    """Settle the unit of a bare counter by its size or its step; refuses when neither does."""
    name = source.sheet.table.names[source.index(role)]
    for counter, scale in _COUNTERS:
        if EPOCH[0] <= float(np.median(raw)) * scale <= EPOCH[1]:
            source.decided.append(f"column {name!r} counts {counter} since 1970, by its size")
            return counter
    steps = np.diff(raw)
    step = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    for counter, scale in _COUNTERS:
        if step > 0 and USUAL[0] <= 1.0 / (step * scale) <= USUAL[1]:
            source.decided.append(
                f"column {name!r} counts {counter}: with its step of {step:.4g} any other unit gives a rate that "
                "no logger has"
            )
            return counter
    return source.use(role).unit  # refuses, or gives s for values from Python


def _in_order(
    source: Source, table: Table, role: str, time: Array, channels: Array, rows: np.ndarray
) -> tuple[Array, Array, np.ndarray, int]:
    """Put rows that came a little late in their place; refuse a time that starts again or jumps about."""
    steps = np.diff(time)
    falls = np.flatnonzero(steps < 0)
    if not falls.size:
        return time, channels, rows, 0
    usual = float(np.median(np.abs(steps)))
    worst = int(falls[np.argmin(steps[falls])])
    line = table.line(int(rows[worst + 1]))
    name = source.sheet.table.names[source.index(role)]
    if falls.size > OUT_OF_ORDER * time.size:
        raise source.refuse(
            "must have a time that rises",
            f"column {name!r} falls {falls.size} times in {steps.size} steps",
            f"Check that the columns are not swapped (--column {role}=NAME).",
        )
    if -steps[worst] > max(12.0 * usual, 0.1) or falls.size == time.size - 1:
        again = time[worst + 1] <= time[0] + 5.0 * usual
        raise source.refuse(
            "must hold one recording" if again else "must have a time that rises",
            f"the time starts again in line {line}"
            if again
            else f"line {line} is earlier than the one before",
            "Split the file there; several files of one side count as repeats."
            if again
            else "Correct that line, or split the file there.",
        )
    order = np.argsort(time, kind="stable")
    return time[order], channels[order], rows[order], int(falls.size)


def _one_piece(source: Source, table: Table, time: Array, rows: np.ndarray) -> None:
    """Refuse a recording that pauses for long: it is two, or one of its times is wrong."""
    steps = np.diff(time)
    worst = int(np.argmax(steps))
    if steps[worst] > LONGEST_GAP:
        raise source.refuse(
            "must hold one recording",
            f"before line {table.line(int(rows[worst + 1]))} there is nothing for {steps[worst]:.4g} s",
            "Split the file there, or correct that time; several files of one side count as repeats.",
        )


def _one_row_per_time(
    source: Source, role: str, time: Array, channels: Array
) -> tuple[Array, Array, int, Note | None]:
    """Average rows of one time, or spread them when the stamps are coarser than the samples."""
    same = np.diff(time) == 0.0
    equal = int(same.sum())
    if not equal:
        return time, channels, 0, None
    starts = np.flatnonzero(np.concatenate(([True], ~same)))
    counts = np.diff(np.append(starts, time.size))
    if equal <= SPREAD_FROM * time.size:
        mean = np.add.reduceat(channels, starts, axis=0) / counts[:, None]
        return time[starts], mean, equal, Note("equal-times", rows=equal)
    name = source.sheet.table.names[source.index(role)]
    inner = counts[1:-1]
    spacing = np.diff(time[starts])
    if inner.size < 4 or float(np.std(inner / spacing[1:])) > 0.25 * float(np.mean(inner / spacing[1:])):
        raise source.refuse(
            "must have a time that rises",
            f"{equal} of {time.size} rows have the time of the row before, in column {name!r}, in uneven groups",
            "The time stamps are too coarse; export them with more digits, or give --set rate=RATE without them.",
        )
    # within a stamp the samples follow each other evenly; the first and the last stamp may be cut
    step = float(np.median(spacing[1:] / inner))
    place = np.arange(time.size) - np.repeat(starts, counts)
    span = np.append(spacing, counts[-1] * step)
    share = place / np.repeat(counts, counts)
    share[: counts[0]] = 1.0 - (counts[0] - place[: counts[0]]) * step / span[0]
    spread = np.repeat(time[starts], counts) + share * np.repeat(span, counts)
    return spread, channels, equal, Note("coarse-stamps", column=name, rows=float(np.median(counts)))


def _figures(time: Array) -> Timing:
    """Rate, jitter and gaps of a rising time (n,) [s], n >= 2; stamps may be rounded to more than a sample's share.

    The rate is the median over twenty samples' time, so that rounded stamps do not bend it; the jitter is the standard
    deviation of the steps over their mean, gaps and the widest hundredth left out.
    """
    steps = np.diff(time)
    wide = time[FEW:] - time[:-FEW] if time.size > 2 * FEW else steps
    usual = float(np.median(every_so_many(wide))) / (FEW if time.size > 2 * FEW else 1)
    gaps = int(np.count_nonzero(steps > 4.0 * usual))
    off = np.abs(every_so_many(steps[steps <= 4.0 * usual]) - usual)
    inner = off[off <= np.quantile(off, 0.99)] if off.size else off
    spread = float(np.sqrt(np.mean(inner**2))) if inner.size else 0.0
    return Timing(1.0 / usual, spread / usual, gaps)


def _timing_notes(time: Array, figures: Timing) -> list[Note]:
    notes, gaps, jitter = [], figures.gaps, figures.jitter
    if gaps:
        steps, usual = np.diff(time), 1.0 / figures.rate
        worst = int(np.argmax(steps))
        missing = float(steps[steps > 4.0 * usual].sum()) - gaps * usual
        lost, longest, at = (
            Estimate.exact(float(seconds), "s") for seconds in (missing, steps[worst], time[worst])
        )
        notes.append(Note("gaps", places=gaps, missing=lost, longest=longest, at=at))
    if jitter > UNEVEN:
        notes.append(Note("jitter", share=jitter))
    return notes
