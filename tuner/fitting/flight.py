"""What a jump did, from a phone strapped to the frame: airtime, pitch rate, rotation, landing peak.

Takes FlightRecord; gives a `JumpFit`.

In flight no moment acts (air apart), so the rotation rate is constant and its mean over the airtime is precise
(angular momentum is conserved; any mechanics book). The vertical comes from gravity at rest. Which rotation is
pitch, and which sign lifts the nose, comes from the user or from a quick lift of the nose before the ride; without
either the size is given and its direction is said to be unknown.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tuner.errors import FitError
from tuner.estimates import Array, Estimate, Note
from tuner.fitting.measures import flight_means, jump_notes
from tuner.fitting.results import Jump, JumpFit, SideFit
from tuner.fitting.traces import FlightTrace, flight_trace
from tuner.records import FlightRecord
from tuner.signals.airtimes import Airtime, find_airtimes
from tuner.units import GRAVITY

LANDING_WINDOW = 0.4  # the landing peak is looked for this long after touching down [s]
GESTURE_ANGLE = math.radians(4.0)  # smallest tilt that counts as lifting the nose


@dataclass(frozen=True, slots=True)
class _Attitude:
    """What the quiet part of a recording tells: gyroscope bias, vertical, and the axis that lifts the nose."""

    bias: Array
    bias_sd: float
    vertical: Array | None
    nose_up: Array | None


def _quiet(record: FlightRecord) -> Array:
    """Give the indices of the half second that moves least, empty when nothing is at rest."""
    step = float(np.median(np.diff(record.time)))
    width = max(8, round(0.5 / step))
    if len(record.time) < 2 * width:
        return np.empty(0)
    starts = np.arange(0, len(record.time) - width, max(1, width // 4))
    spread = np.array([record.acceleration[i : i + width].std(axis=0).max() for i in starts])
    means = np.array([np.linalg.norm(record.acceleration[i : i + width].mean(axis=0)) for i in starts])
    spread[np.abs(means / GRAVITY - 1.0) > 0.05] = math.inf
    best = int(np.argmin(spread))
    if not spread[best] < 0.6:
        return np.empty(0)
    return np.arange(starts[best], starts[best] + width, dtype=float)


def _gesture(record: FlightRecord, bias: Array, vertical: Array, before: float) -> Array | None:
    """Axis of the first tilt and return before the ride: (3,) unit vector, None when there is none.

    The gesture is a rotation about a level axis of at least 4 degrees that comes back, while the mean specific
    force stays near gravity.
    """
    assert record.rotation is not None
    inside = record.time < before
    if inside.sum() < 20:
        return None
    time = record.time[inside]
    rate = record.rotation[inside] - bias
    level = rate - np.outer(rate @ vertical, vertical)
    step = np.diff(time, prepend=time[0])
    angle = np.cumsum(level * step[:, None], axis=0)
    size = np.linalg.norm(angle, axis=1)
    out = np.flatnonzero(size > GESTURE_ANGLE)
    if out.size == 0:
        return None
    back = np.flatnonzero((np.arange(size.size) > out[0]) & (size < 0.35 * size[out[0] :].max()))
    end = int(back[0]) if back.size else size.size
    peak = int(out[0] + np.argmax(size[out[0] : end])) if end > out[0] else int(out[0])
    calm = np.linalg.norm(record.acceleration[inside][: peak + 1].mean(axis=0))
    if not back.size or abs(calm / GRAVITY - 1.0) > 0.1 or time[peak] - time[0] > 20.0:
        return None
    return np.asarray(angle[peak] / size[peak])


def _attitude(record: FlightRecord, before: float) -> _Attitude:
    quiet = _quiet(record).astype(int)
    if quiet.size == 0:
        return _Attitude(np.zeros(3), math.radians(1.0), None, _user_axis(record))
    gravity = record.acceleration[quiet].mean(axis=0)
    vertical = gravity / np.linalg.norm(gravity)
    if record.rotation is None:
        return _Attitude(np.zeros(3), 0.0, vertical, None)
    bias = record.rotation[quiet].mean(axis=0)
    if np.linalg.norm(bias) > math.radians(20.0):  # no gyroscope is that far off: the machine was turning
        bias = np.zeros(3)
    bias_sd = float(record.rotation[quiet].std(axis=0).max() / math.sqrt(quiet.size)) + math.radians(0.05)
    axis = _user_axis(record)
    if axis is None:
        axis = _gesture(record, bias, vertical, before)
    return _Attitude(bias, bias_sd, vertical, axis)


def _user_axis(record: FlightRecord) -> Array | None:
    if record.nose_up_axis is None:
        return None
    axis: Array = np.array(record.nose_up_axis, dtype=float)
    return np.asarray(axis / float(np.linalg.norm(axis)))


def _pitch(record: FlightRecord, air: Airtime, attitude: _Attitude) -> Estimate | None:
    """Mean pitch rate over the middle 80 % of a flight, interval from the scatter of its quarters."""
    if record.rotation is None:
        return None
    margin = 0.1 * air.duration
    inside = (record.time > air.start + margin) & (record.time < air.end - margin)
    rate = record.rotation[inside] - attitude.bias
    if len(rate) < 8:
        return None
    if attitude.nose_up is not None:
        along = rate @ attitude.nose_up
    else:
        mean = rate.mean(axis=0)
        if attitude.vertical is not None:
            mean = mean - (mean @ attitude.vertical) * attitude.vertical
        size = float(np.linalg.norm(mean))
        along = rate @ (mean / size) if size > 0 else np.linalg.norm(rate, axis=1)
    quarters = np.array([part.mean() for part in np.array_split(along, 4)])
    sd = math.hypot(float(quarters.std(ddof=1)) / 2.0, attitude.bias_sd)
    return Estimate.from_sd(float(along.mean()), sd, "rad/s", df=3)


def _nose_rate(record: FlightRecord, attitude: _Attitude) -> Array | None:
    """Rotation rate about the axis that lifts the nose (n,) [rad/s], for drawing; None where either is unknown."""
    if record.rotation is None or attitude.nose_up is None:
        return None
    return np.asarray((record.rotation - attitude.bias) @ attitude.nose_up)


def _landing(record: FlightRecord, air: Airtime) -> Estimate:
    size = np.linalg.norm(record.acceleration, axis=1)
    inside = np.flatnonzero((record.time >= air.end - 0.02) & (record.time <= air.end + LANDING_WINDOW))
    at = int(inside[np.argmax(size[inside])])
    peak = float(size[at])
    beside = [float(size[j]) for j in (at - 1, at + 1) if 0 <= j < len(size)]
    # the true peak lies between two samples: as much higher as the peak stands above its better neighbour
    missed = peak - max(beside) if beside else peak
    limit = float(np.abs(record.acceleration).max())
    resting = int((np.abs(record.acceleration[inside]) >= limit * 0.999).sum())
    return Estimate(peak, peak - 0.02 * peak, math.inf if resting >= 3 else peak + missed, "m/s**2")


def _jump(record: FlightRecord, air: Airtime, attitude: _Attitude) -> Jump:
    airtime = Estimate.from_log_sd(air.duration, math.hypot(air.start_sd, air.end_sd) / air.duration, "s")
    rate = _pitch(record, air, attitude)
    rotation = None
    if rate is not None:
        sd = math.hypot(rate.sd * air.duration, rate.value * airtime.sd)
        rotation = Estimate.from_sd(rate.value * air.duration, sd, "rad")
    return Jump(air.start, airtime, rate, rotation, _landing(record, air), attitude.nose_up is not None)


def _notes(jumps: Sequence[Jump], attitude: Sequence[_Attitude], rotation: bool) -> tuple[Note, ...]:
    notes = []
    if not rotation:
        notes.append(Note("no-gyroscope"))
    elif not all(j.sign_known for j in jumps):
        notes.append(Note("nose-direction-unknown"))
    if any(a.vertical is None for a in attitude):
        notes.append(Note("no-rest", case="jump"))
    if any(math.isinf(j.landing_peak.high) for j in jumps):
        notes.append(Note("landing-clipped"))
    if len(jumps) == 1:
        notes.append(Note("one-jump"))
    return (*notes, *jump_notes(jumps))


def fit_flight(record: FlightRecord) -> JumpFit:
    """Measure every jump of one recording.

    Raises FitError when the recording holds no flight.
    """
    airs = find_airtimes(record.time, record.acceleration, record.rotation)
    if not airs:
        raise FitError(
            f"{record.provenance.file}: no jump in the recording; needed a stretch of at least 0.15 s in which the "
            "specific force falls to about zero",
            hint="Check that gravity is in the acceleration columns and that the recording covers the whole jump.",
        )
    attitude = _attitude(record, airs[0].start)
    jumps = tuple(_jump(record, air, attitude) for air in airs)
    size = np.linalg.norm(record.acceleration, axis=1)
    along = _nose_rate(record, attitude)
    traces: tuple[FlightTrace, ...] = tuple(
        flight_trace(record.time, size, along, air.start, air.end) for air in airs
    )
    unseen = Note("not-seen", case="jump")
    return JumpFit(
        compression=SideFit("compression", seen=False, notes=(unseen,)),
        rebound=SideFit("rebound", seen=False, notes=(unseen,)),
        **flight_means(jumps),
        traces=traces,
        inputs=(record.provenance,),
        conditions=(record.conditions,),
        quality=(record.quality,),
        notes=_notes(jumps, [attitude], record.rotation is not None),
    )
