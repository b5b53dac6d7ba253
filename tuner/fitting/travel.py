"""What the shaft did while driving: time by speed, ride position, stops, packing, main frequencies.

Takes TravelRecord (and the corner, for its travel limits); gives a `DriveFit`.

A drive shows what damper and ground did together, not the damping: the sides are not seen. Intervals come from
blocks of about two seconds, since neighbouring samples are not independent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tuner.errors import FitError
from tuner.estimates import Array, Estimate, Note
from tuner.fitting.measures import Bounded, mean_over, packing_of
from tuner.fitting.results import REFERENCE_SPEEDS, BumpRow, DriveFit, SideFit, SpeedShare, StopContact
from tuner.fitting.traces import drive_trace
from tuner.machine import Corner
from tuner.records import SIDES, Side, TravelRecord
from tuner.signals.differentiate import even_derivative, noise_of
from tuner.signals.thin import runs_of

BLOCK = 2.0  # length of the blocks that count as independent [s]
SPEED_EDGES: tuple[float, ...] = (0.0, *REFERENCE_SPEEDS, 2.08, math.inf)  # [m/s], per side
STILL = 0.002  # the shaft stands still while it moves less than this within half a second [m]
SWING = 0.25  # time of one stroke on rough ground [s], 1 to 3 Hz; common practice, no source
STOP_ZONE = 0.015  # share of the full travel that counts as being on a stop (common practice, no source)
BUMP_BAND = (0.4, 15.0)  # frequencies searched for the main ones [Hz]


@dataclass(frozen=True, slots=True, eq=False)
class _Even:
    """The record on an even grid: (n,) time, travel, velocity, and the step [s]."""

    time: Array
    travel: Array
    velocity: Array
    step: float


def _even(record: TravelRecord) -> _Even:
    time, travel = record.time, record.travel
    steps = np.diff(time)
    step = float(np.median(steps))
    if float(np.max(np.abs(steps - step))) > 0.05 * step:
        time = np.arange(record.time[0], record.time[-1], step)
        travel = np.interp(time, record.time, record.travel)
    # a window of about 20 ms follows the wheel hop (10-15 Hz) and calms the sensor
    points = max(5, round(0.02 / step) | 1)
    return _Even(time, travel, even_derivative(travel, step, points, order=2), step)


def _over_blocks(values: Array, unit: str, bounded: Bounded = "plain") -> Estimate | None:
    """Mean over blocks, its interval from their scatter; None with fewer than three blocks."""
    clean = values[np.isfinite(values)]
    if clean.size < 3:
        return None
    return mean_over([Estimate.exact(float(value), unit) for value in clean], bounded)


def _blocks(even: _Even) -> list[slice]:
    width = max(2, round(BLOCK / even.step))
    count = max(1, len(even.time) // width)
    return [slice(i * width, (i + 1) * width if i < count - 1 else len(even.time)) for i in range(count)]


def _time_shares(even: _Even) -> tuple[SpeedShare, ...]:
    """Share of time per side and speed; both sides together make 1."""
    edges = np.concatenate([-np.array(SPEED_EDGES[::-1]), np.array(SPEED_EDGES[1:])])
    counts = np.array([np.histogram(even.velocity[b], edges)[0] for b in _blocks(even)], dtype=float)
    shares = counts / counts.sum(axis=1, keepdims=True)
    half = len(SPEED_EDGES) - 1
    found = []
    for side in SIDES:
        for i in range(half):
            column = half + i if side == "compression" else half - 1 - i
            share = _over_blocks(shares[:, column], "1", "within one")
            if share is None:
                share = Estimate(float(shares[:, column].mean()), 0.0, 1.0, "1")
            elif share.value == 0.0:
                # the rule of three: nothing in n swings says that less than 3/n of them reach it, 19 times in 20
                share = Estimate(0.0, 0.0, min(3.0 * SWING / (even.step * len(even.time)), 1.0), "1")
            found.append(SpeedShare(side, SPEED_EDGES[i], SPEED_EDGES[i + 1], share))
    return tuple(found)


def _driving(even: _Even) -> tuple[_Even, tuple[Note, ...]]:
    """Leave out standing still at either end, half a second kept; the note says how much."""
    width = max(2, round(0.5 / even.step))
    count = len(even.travel) // width
    cells = even.travel[: count * width].reshape(count, width)
    moving = np.flatnonzero(np.ptp(cells, axis=1) > max(STILL, 8.0 * noise_of(even.travel)))
    if moving.size == 0:
        return even, ()
    first = max(0, (int(moving[0]) - 1) * width)
    last = min(len(even.travel), (int(moving[-1]) + 2) * width)
    left_out = (len(even.travel) - (last - first)) * even.step
    if left_out < 1.0:
        return even, ()
    kept = slice(first, last)
    trimmed = _Even(even.time[kept], even.travel[kept], even.velocity[kept], even.step)
    return trimmed, (Note("standing-left-out", time=Estimate.exact(left_out, "s")),)


def _peak_speed(even: _Even, side: Side) -> Estimate | None:
    """Mean of the highest speeds of every block."""
    signed = even.velocity if side == "compression" else -even.velocity
    return _over_blocks(
        np.array([max(float(signed[b].max()), 0.0) for b in _blocks(even)]), "m/s", "above zero"
    )


def _contacts(
    even: _Even, resting: np.ndarray[tuple[int], np.dtype[np.bool_]], sign: float
) -> tuple[StopContact, ...]:
    """Arrivals at a stop: each run of `resting`, runs closer than 0.1 s joined; closing speed within 30 ms before."""
    found: list[StopContact] = []
    last_end = -math.inf
    before = max(1, round(0.03 / even.step))
    for first, end in runs_of(resting):
        if first > 0 and even.time[first] - last_end > 0.1:
            window = even.velocity[max(0, first - before) : first + 1] * sign
            found.append(StopContact(float(even.time[first]), float(max(window.max(), 0.0))))
        last_end = float(even.time[min(end, len(even.time) - 1)])
    return tuple(found)


def _bump_rows(even: _Even) -> tuple[BumpRow, ...]:
    """Stretches with at least five bumps, none farther than 1.5 s from the next."""
    slow_width = max(2, round(1.0 / even.step))
    total = np.concatenate([[0.0], np.cumsum(even.travel)])
    index = np.arange(len(even.travel))
    low, high = np.maximum(index - slow_width // 2, 0), np.minimum(index + slow_width // 2 + 1, len(index))
    mean = (total[high] - total[low]) / (high - low)
    lively = even.travel - mean
    size = float(np.sqrt(np.mean(lively**2)))
    noise = noise_of(even.travel)
    gate = max(0.5 * size, 5.0 * noise, 1e-4)
    above = lively > gate
    starts = np.flatnonzero(np.diff(above.astype(np.int8)) == 1)
    rows: list[BumpRow] = []
    if starts.size < 5:
        return ()
    for group in np.split(starts, np.flatnonzero(np.diff(even.time[starts]) > 1.5) + 1):
        if group.size < 5:
            continue
        # mean over whole bumps, so that the phase of the row's ends does not count as sinking
        third = group.size // 3
        first = float(even.travel[group[0] : group[max(third, 1)]].mean())
        last = float(even.travel[group[-1 - max(third, 1)] : group[-1]].mean())
        rows.append(
            BumpRow(float(even.time[group[0]]), float(even.time[group[-1]]), int(group.size), last - first)
        )
    return tuple(rows)


def _main_frequencies(even: _Even, wanted: int = 2) -> tuple[float, ...]:
    """Frequencies of the highest peaks of the averaged spectrum (Welch's method, half-overlapping Hann windows).

    scipy.signal.welch would take 0.7 s to import.
    """
    width = round(8.0 / even.step)
    if len(even.travel) < width:
        return ()
    window = np.hanning(width)
    frequency = np.fft.rfftfreq(width, even.step)
    inside = (frequency >= BUMP_BAND[0]) & (frequency <= BUMP_BAND[1])
    power = np.zeros(int(inside.sum()))
    for start in range(0, len(even.travel) - width + 1, width // 2):
        part = even.travel[start : start + width]
        power += np.abs(np.fft.rfft((part - part.mean()) * window))[inside] ** 2
    found = frequency[inside]
    power = power * found**2  # as speed, which is what a damper sees
    peaks = np.flatnonzero((power[1:-1] > power[:-2]) & (power[1:-1] >= power[2:])) + 1
    return tuple(float(found[i]) for i in sorted(peaks, key=lambda i: -power[i])[:wanted])


def _times(contacts: tuple[StopContact, ...] | None) -> Array | None:
    return None if contacts is None else np.array([contact.time for contact in contacts])


def fit_travel(record: TravelRecord, corner: Corner | None = None) -> DriveFit:
    """Measure one drive.

    What cannot be known is None, and a note says why. Standing still at either end is
    left out. Raises FitError for a shaft that does not move.
    """
    even = _even(record)
    span = float(np.ptp(even.travel))
    if span < 10.0 * noise_of(even.travel) or span < 1e-3:
        raise FitError(
            f"{record.provenance.file}: the shaft hardly moves ({span * 1e3:.1f} mm in all); needed a drive over bumps",
            hint="Check that the sensor was fixed at both ends and that the unit of the travel column is right.",
        )
    even, standing = _driving(even)
    notes: list[Note] = list(standing)
    means = np.array([even.travel[b].mean() for b in _blocks(even)])
    # below zero only where the sensor's zero is wrong, which is said
    mean = _over_blocks(means, "m", "above zero" if means.min() > 0.0 else "plain")
    if mean is None:
        notes.append(Note("short-drive", time=Estimate.exact(float(even.time[-1] - even.time[0]), "s")))
    static = None if corner is None else corner.static_travel
    below = None
    if mean is not None and static is not None:
        below = Estimate.from_sd(mean.value - static.value, math.hypot(mean.sd, static.sd), "m")
    elif static is None:
        notes.append(Note("static-unknown"))
    full = None if corner is None or corner.damper_travel is None else corner.damper_travel.value
    bottomed: tuple[StopContact, ...] | None = None
    topped: tuple[StopContact, ...] | None = None
    if full is None:
        notes.append(Note("full-travel-unknown"))
    else:
        if float(even.travel.max()) > 1.05 * full or float(even.travel.min()) < -0.05 * full:
            low, high = (Estimate.exact(float(x), "m") for x in (even.travel.min(), even.travel.max()))
            notes.append(Note("beyond-travel", low=low, high=high, full=Estimate.exact(full, "m")))
        bottomed = _contacts(even, even.travel >= full * (1.0 - STOP_ZONE), 1.0)
        topped = _contacts(even, even.travel <= full * STOP_ZONE, -1.0)
    rows = _bump_rows(even)
    packing = packing_of([row.sink for row in rows])
    if packing is None:
        notes.append(Note("packing-unknown", rows=len(rows)))
    trace = drive_trace(even.time, even.travel, even.velocity, even.step)
    unseen = Note("not-seen", case="drive")
    return DriveFit(
        compression=SideFit("compression", seen=False, notes=(unseen,)),
        rebound=SideFit("rebound", seen=False, notes=(unseen,)),
        time_share=_time_shares(even),
        peak_speed={side: _peak_speed(even, side) for side in SIDES},
        highest_speed={
            "compression": float(max(even.velocity.max(), 0.0)),
            "rebound": float(max(-even.velocity.min(), 0.0)),
        },
        mean_position=mean,
        mean_below_static=below,
        bottomed=bottomed,
        topped_out=topped,
        packing=packing,
        bump_rows=rows,
        main_frequencies=_main_frequencies(even),
        duration=even.step * len(even.time),
        traces=(replace(trace, bottomed=_times(bottomed), topped_out=_times(topped)),),
        inputs=(record.provenance,),
        conditions=(record.conditions,),
        quality=(record.quality,),
        notes=tuple(notes),
        corner=corner,
    )
