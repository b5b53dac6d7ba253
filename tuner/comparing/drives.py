"""Drives before and after held against each other, figure by figure.

Takes the fits of both settings and the ground they share; gives `MeasureChange`s.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from tuner.comparing.ground import Piece, SharedGround
from tuner.comparing.results import MeasureChange
from tuner.comparing.scatter import apart, clear, difference_of, mean_difference, unseen, wider
from tuner.estimates import Array, Estimate, Note
from tuner.fitting.counts import rate_difference, rate_per_minute
from tuner.fitting.measures import Bounded, mean_over
from tuner.fitting.results import DriveFit
from tuner.fitting.traces import DriveTrace
from tuner.records import SIDES, Side

QUARTERS = 4  # a stretch of 8 s has its peaks taken every 2 s, as a whole drive has

GROUND_OPEN = Note("ground-open")

Figure = Callable[[Array, Array], float]  # travel and velocity of a stretch -> its figure


class _Pair(NamedTuple):
    """Both settings: their fits, and the drives with the pieces that are compared (empty: other ground)."""

    before: DriveFit
    after: DriveFit
    drives: tuple[
        tuple[tuple[DriveTrace, tuple[Piece, ...]], ...], tuple[tuple[DriveTrace, tuple[Piece, ...]], ...]
    ]
    found: bool


def drive_changes(before: DriveFit, after: DriveFit, ground: SharedGround) -> tuple[MeasureChange, ...]:
    """Compare position, peak speeds, stops, packing and the share of time at every speed."""
    pair = _Pair(before, after, (_drives(before, ground.before), _drives(after, ground.after)), ground.found)
    changes = [_by_stretch("mean_position", "m", pair, _mean_position, lambda fit: fit.mean_position)]
    for side in SIDES:
        changes.append(_by_stretch("peak_speed", "m/s", pair, _peaks(side), _peak_speed(side), side=side))
    changes += [_hits(name, pair) for name in ("bottomed", "topped_out")]
    changes.append(_packing(pair))
    return (*changes, *_shares(pair))


def _drives(
    fit: DriveFit, pieces: Sequence[tuple[Piece, ...]]
) -> tuple[tuple[DriveTrace, tuple[Piece, ...]], ...]:
    rows = pieces if pieces else [()] * len(fit.traces)
    return tuple((trace, row) for trace, row in zip(fit.traces, rows, strict=True) if row or not pieces)


def _mean_position(travel: Array, _: Array) -> float:
    return float(travel.mean())


def _peaks(side: Side) -> Figure:
    sign = 1.0 if side == "compression" else -1.0
    return lambda _, velocity: float(
        np.mean([(sign * part).max() for part in np.array_split(velocity, QUARTERS)])
    )


def _peak_speed(side: Side) -> Callable[[DriveFit], Estimate | None]:
    return lambda fit: fit.peak_speed[side]


def _by_stretch(
    name: str,
    unit: str,
    pair: _Pair,
    figure: Figure,
    kept: Callable[[DriveFit], Estimate | None],
    *,
    side: Side | None = None,
    speeds: tuple[float, float] | None = None,
) -> MeasureChange:
    """Compare a figure of every shared stretch; of the whole drives, openly, where the ground is not shared."""
    if not pair.found:
        before, after = kept(pair.before), kept(pair.after)
        if before is None or after is None:
            missing = tuple(w for w, e in (("before", before), ("after", after)) if e is None)
            unknown = Note("not-known", when=missing)
            return MeasureChange(name, before, after, None, None, (unknown,), side, speeds)
        return MeasureChange(name, before, after, apart(before, after), None, (GROUND_OPEN,), side, speeds)
    tables = [_table(drives, figure) for drives in pair.drives]
    difference = mean_difference(tables[1].mean(axis=0) - tables[0].mean(axis=0), unit)
    runs = [[Estimate.exact(float(x), unit) for x in table.mean(axis=1)] for table in tables]
    if any(len(each) > 1 for each in runs):
        difference = wider(difference, difference_of(runs[0], runs[1], unit))
    bounded = _bounded(name, tables)
    before, after = (_over_stretches(table, unit, bounded) for table in tables)
    changed = clear(difference, before)
    why = (*(() if difference is None else unseen(changed)), _run_reason(pair))
    return MeasureChange(name, before, after, difference, changed, why, side, speeds)


def _bounded(name: str, tables: Sequence[Array]) -> Bounded:
    """Say which values of that figure are possible; a position below zero only comes from a sensor's wrong zero."""
    if name == "time_share":
        return "within one"
    return "above zero" if all(bool((table >= 0.0).all()) for table in tables) else "plain"


def _table(drives: Sequence[tuple[DriveTrace, tuple[Piece, ...]]], figure: Figure) -> Array:
    """Give one figure of every run and stretch, (runs, stretches)."""
    rows = []
    for trace, pieces in drives:
        cuts = [_cut(trace, piece) for piece in pieces]
        rows.append([figure(trace.travel[cut], trace.velocity[cut]) for cut in cuts])
    return np.array(rows)


def _cut(trace: DriveTrace, piece: Piece) -> slice:
    first = min(max(round((piece.start - trace.start) / trace.step), 0), len(trace.travel) - QUARTERS)
    return slice(first, max(round((piece.end - trace.start) / trace.step), first + QUARTERS))


def _over_stretches(table: Array, unit: str, bounded: Bounded) -> Estimate:
    """Mean over runs and stretches; the interval is that of the stretches, which the ground makes differ."""
    return mean_over([Estimate.exact(float(x), unit) for x in table.mean(axis=0)], bounded)


def _run_reason(pair: _Pair) -> Note:
    one, other = map(len, pair.drives)
    return Note("over-same-ground", before=one, after=other)


def _hits(name: str, pair: _Pair) -> MeasureChange:
    """Compare arrivals at a stop as rates per minute."""
    rates = [_rate(name, drives, pair.found) for drives in pair.drives]
    one, other = rates
    if one is None or other is None:
        return MeasureChange(name, one, other, None, None, (Note("stops-uncounted"),))
    difference = rate_difference(one, other)
    why = Note("stops-as-events")
    if not pair.found:
        return MeasureChange(name, one, other, difference, None, (why, GROUND_OPEN))
    never = one.value == other.value == 0.0
    changed = False if never else clear(difference, one)
    return MeasureChange(name, one, other, difference, changed, (*unseen(changed), why))


def _rate(name: str, drives: Sequence[tuple[DriveTrace, tuple[Piece, ...]]], found: bool) -> Estimate | None:
    count, duration = 0, 0.0
    for trace, pieces in drives:
        times: Array | None = trace.bottomed if name == "bottomed" else trace.topped_out
        if times is None:
            return None
        for piece in pieces if found else (Piece(-math.inf, math.inf),):
            count += int(((times >= piece.start) & (times < piece.end)).sum())
            duration += piece.end - piece.start if found else trace.duration
    return rate_per_minute(count, duration)


def _packing(pair: _Pair) -> MeasureChange:
    """Compare how far the mean position sinks over the rows of bumps."""
    sinks = [[Estimate.exact(row.sink, "m") for row in fit.bump_rows] for fit in (pair.before, pair.after)]
    one, other = pair.before.packing, pair.after.packing
    if one is None or other is None:
        few = Note("bump-rows", case="few", before=len(sinks[0]), after=len(sinks[1]))
        return MeasureChange("packing", one, other, None, None, (few,))
    difference = difference_of(sinks[0], sinks[1], "m")
    why = Note("bump-rows", before=len(sinks[0]), after=len(sinks[1]))
    if not pair.found:
        return MeasureChange("packing", one, other, difference, None, (why, GROUND_OPEN))
    changed = clear(difference, one)
    reasons = (*(() if difference is None else unseen(changed)), why)
    return MeasureChange("packing", one, other, difference, changed, reasons)


def _shares(pair: _Pair) -> list[MeasureChange]:
    """Compare the share of time that each side spends between two speeds."""
    return [
        _by_stretch(
            "time_share",
            "1",
            pair,
            _share(one.side, one.low, one.high),
            _share_of(i),
            side=one.side,
            speeds=(one.low, one.high),
        )
        for i, one in enumerate(pair.before.time_share)
    ]


def _share_of(place: int) -> Callable[[DriveFit], Estimate | None]:
    return lambda fit: fit.time_share[place].share


def _share(side: Side, low: float, high: float) -> Figure:
    sign = 1.0 if side == "compression" else -1.0
    return lambda _, velocity: float(((sign * velocity >= low) & (sign * velocity < high)).mean())
