"""Where the bounces are in a recording: release, free ring-down, quiet; and why a stretch was left out.

Takes time and body acceleration (gravity out, + up) or shaft travel (+ compressed); gives `Bounces`.

A bounce is: quiet, a push or a lift by hand (perhaps held), the hands come off, the body rings down freely, quiet.
Only the free part may be fitted. Acceleration: hands push and lift slowly, so the first strong swing is the release.
Travel: the first strong swing is where the hands hold the shaft, and the release is where it leaves that place.
Thresholds are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tuner.estimates import Array
from tuner.signals.thin import runs_of
from tuner.units import GRAVITY

Direction = Literal["push", "lift"]

SMOOTHING = 0.012  # standard deviation of the Gaussian that hides engine and sensor noise from the search [s]
STANDS_OUT = 3.5  # times the noise, before a swing counts as one
STRONG = 0.4  # swings above this share of the strongest belong to bounces
HANDS_OFF = 0.025  # from the first move of the shaft [s]
LEAVING = 0.4  # of the first swing's highest speed: the shaft is on its way
WEAK = 0.05  # swings below this share are quiet
FIRST = 0.55  # a first swing below this share of the bounce's strongest is still the hands
SAME_BOUNCE = 1.2  # strong swings closer than this belong together [s]
QUIET_TAIL = 0.3  # kept behind the moment at which a bounce has died down [s]
LONGEST = 3.0  # of one bounce [s]
USEFUL = 0.8  # kept at least, if nothing disturbs it [s]
SHORTEST = 0.4
FALL = 0.25  # a specific force of nearly zero for longer than this is a fall, not a bounce [s]


@dataclass(frozen=True, slots=True)
class Bounce:
    """One free ring-down: samples [first, last), from behind the release until it is quiet again.

    release : time at which the hands came off [s]; quarter : time from there until the pull of the spring is used up
    [s]; strength : of the first strong swing, acceleration [m/s**2] or travel from rest [m], with its sign.
    """

    first: int
    last: int
    release: float
    quarter: float
    strength: float
    direction: Direction
    cut_off: bool = False  # the recording began after the release


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A stretch that looks like a bounce but was not used, and why."""

    time: float
    reason: str


@dataclass(frozen=True, slots=True)
class Bounces:
    """What was found. falls : longest time with a specific force near zero [s] (0 for travel)."""

    used: tuple[Bounce, ...]
    left_out: tuple[LeftOut, ...]
    fall: float


@dataclass(frozen=True, slots=True, eq=False)
class _Trace:
    """The searched signal on an even grid, smoothed."""

    time: Array
    value: Array
    step: float

    def at(self, t: float) -> int:
        return int(np.clip(round((t - self.time[0]) / self.step), 0, len(self.time) - 1))


def _even(time: Array, signal: Array) -> tuple[Array, Array, float]:
    step = float(np.median(np.diff(time)))
    step = max(step, 1.0 / 250.0)
    edges = np.arange(time[0] - 0.5 * step, time[-1] + step, step)
    place = np.clip(((time - edges[0]) / step).astype(np.intp), 0, len(edges) - 1)
    count = np.bincount(place, minlength=len(edges))
    total = np.bincount(place, weights=signal, minlength=len(edges))
    grid = edges + 0.5 * step
    filled = count > 0
    value = np.interp(grid, grid[filled], total[filled] / count[filled])
    inside = grid <= time[-1] + 0.5 * step
    return grid[inside], value[inside], step


def swings(value: Array, gate: float) -> list[int]:
    """Give the places of alternating extrema whose neighbours differ by more than `gate`."""
    found: list[int] = []
    values = value.tolist()
    high = low = 0
    rising: bool | None = None
    for i, x in enumerate(values):
        high = i if x > values[high] else high
        low = i if x < values[low] else low
        if rising is not False and values[high] - x > gate:
            found.append(high)
            rising, low = False, i
        elif rising is not True and x - values[low] > gate:
            found.append(low)
            rising, high = True, i
        if rising is True:
            low = i
        elif rising is False:
            high = i
    return found


def _fall_time(value: Array, step: float) -> float:
    """Longest time within 1.5 m/s**2 of free fall."""
    return int(np.diff(runs_of(np.abs(value + GRAVITY) < 1.5)).max(initial=0)) * step


def find_bounces(time: Array, signal: Array, quantity: Literal["acceleration", "travel"]) -> Bounces:
    """Find every bounce in a recording.

    time : (n,) [s] rising; signal : (n,) body acceleration without gravity, + up [m/s**2], or travel, + compressed [m].
    """
    from scipy import ndimage

    grid, raw, step = _even(time, signal)
    sigma = max(SMOOTHING / step, 0.6)  # samples
    value = ndimage.gaussian_filter1d(raw, sigma, mode="nearest", radius=math.ceil(4.0 * sigma))
    fall = _fall_time(value, step) if quantity == "acceleration" else 0.0
    value = value - np.median(value)
    trace = _Trace(grid, value, step)
    calm = ndimage.maximum_filter1d(np.abs(value), 2 * max(1, round(0.15 / step)) + 1, mode="nearest")
    noise = float(np.quantile(calm, 0.1))
    peak = float(np.abs(value).max()) if len(value) else 0.0
    if peak <= 0 or len(value) < 8:
        return Bounces((), (), fall)
    if peak < STANDS_OUT * noise:
        return Bounces((), (LeftOut(float(time[0]), "no swing stands out of the noise"),), fall)
    extrema = swings(value, max(WEAK * peak, min(2.0 * noise, 0.25 * peak)))
    strong = np.array([i for i in extrema if abs(value[i]) >= STRONG * peak])
    cuts = np.flatnonzero(np.diff(strong) * step >= SAME_BOUNCE) + 1
    groups = [group.tolist() for group in np.split(strong, cuts)] if strong.size else []
    used: list[Bounce] = []
    left: list[LeftOut] = []
    quiet_level = max(WEAK * peak, 1.5 * noise)
    for k, group in enumerate(groups):
        horizon = groups[k + 1][0] if k + 1 < len(groups) else len(value)
        bounce = _one(trace, calm, group, horizon, quiet_level, time, quantity)
        if isinstance(bounce, LeftOut):
            left.append(bounce)
        else:
            used.append(bounce)
    whole = [b for b in used if not b.cut_off]
    if whole and len(whole) < len(used):
        left += [
            LeftOut(b.release, "the recording begins in the middle of this bounce") for b in used if b.cut_off
        ]
        used = whole
    return Bounces(tuple(used), tuple(sorted(left, key=lambda gone: gone.time)), fall)


def _one(
    trace: _Trace,
    calm: Array,
    group: list[int],
    horizon: int,
    quiet_level: float,
    time: Array,
    quantity: str,
) -> Bounce | LeftOut:
    """Cut one bounce out: from behind its release until it is quiet or the next one is prepared."""
    value, step = trace.value, trace.step
    biggest = max(abs(value[i]) for i in group)
    swing = next(i for i in group if abs(value[i]) >= FIRST * biggest)
    sign = np.sign(value[swing])
    direction: Direction = "push" if sign > 0 else "lift"
    begin = swing
    floor = 0.15 * abs(value[swing])
    while begin > 0 and sign * value[begin - 1] > floor:
        begin -= 1
    after = swing
    while after < horizon - 1 and sign * value[after] > 0:
        after += 1
    release = swing
    if quantity == "travel":
        speed = -sign * np.gradient(value[swing : after + 2]) if after > swing else np.zeros(2)
        fastest = int(np.argmax(speed))
        slow = np.flatnonzero(speed[:fastest] < LEAVING * speed[fastest])
        release = swing + (int(slow[-1]) if slow.size else 0)
    quarter = (after - release) * step
    start = float(trace.time[release]) + (0.5 * step if quantity == "acceleration" else HANDS_OFF)
    last_swing = group[-1]
    silent = np.flatnonzero(calm[last_swing:horizon] < quiet_level)
    if silent.size:
        died = last_swing + int(silent[0])
        end = max(died + round(QUIET_TAIL / step), trace.at(start + USEFUL))
        woke = np.flatnonzero(calm[died:horizon] >= quiet_level)
        if woke.size:
            end = min(end, died + int(woke[0]))
    elif horizon < len(value):
        end = last_swing + int(np.argmin(calm[last_swing:horizon]))
    else:
        end = horizon
    end = min(end, horizon, swing + round(LONGEST / step))
    stop_time = trace.time[min(end, len(trace.time) - 1)]
    when = float(trace.time[release])
    if stop_time - start < SHORTEST:
        return LeftOut(
            when, f"less than {SHORTEST:g} s of free motion before the recording or the bounce ends"
        )
    first, last = int(np.searchsorted(time, start)), int(np.searchsorted(time, stop_time))
    cut_off = bool((begin - 1) * step < 0.03)
    return Bounce(first, last, when, float(quarter), float(value[swing]), direction, cut_off)
