"""Thinned traces that a fit keeps: to line two drives up, to draw a bounce under its fit, to draw a flight.

Takes arrays; gives frozen values. They stand in a fit's ``traces``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuner.estimates import Array
from tuner.signals.thin import thin_extremes

DRIVE_RATE = 200.0  # [Hz] kept of a drive; the speed is smoothed over 20 ms before
FLIGHT_POINTS = 800  # kept of one flight with its surroundings
AROUND_FLIGHT = 1.0  # kept before take-off and after landing [s]


@dataclass(frozen=True, slots=True, eq=False)
class DriveTrace:
    """A drive at 200 Hz at most: start and step [s], (n,) travel [m] and velocity [m/s], + = compression.

    bottomed, topped_out : (k,) times of the arrivals at the stops [s], None where they could not be counted.
    """

    start: float
    step: float
    travel: Array
    velocity: Array
    bottomed: Array | None = None
    topped_out: Array | None = None

    @property
    def time(self) -> Array:
        """(n,) [s], as in the recording."""
        return np.asarray(self.start + self.step * np.arange(len(self.travel)))

    @property
    def duration(self) -> float:
        """Length of the drive [s]."""
        return self.step * len(self.travel)


@dataclass(frozen=True, slots=True, eq=False)
class BounceTrace:
    """One bounce that was used: (n,) time since it rings freely [s], what was measured and what the fit gives.

    file : which recording; start : when in it [s]; quantity "acceleration" [m/s**2] or "travel" [m] of the shaft.
    """

    file: str
    start: float
    quantity: str
    time: Array
    measured: Array
    fitted: Array


@dataclass(frozen=True, slots=True, eq=False)
class FlightTrace:
    """One flight: (n,) time since take-off [s], size of the specific force [m/s**2], pitch rate [rad/s] or None.

    airtime : [s]. The pitch rate is positive nose up; None without a gyroscope or a known direction.
    """

    time: Array
    force: Array
    pitch: Array | None
    airtime: float


def drive_trace(time: Array, travel: Array, velocity: Array, step: float) -> DriveTrace:
    """Thin an even drive: (n,) time [s], travel [m], velocity [m/s].

    Travel is averaged over what is left out, so that its noise does not fold into slow motion.
    """
    every = max(1, round(1.0 / (DRIVE_RATE * step)))
    cells = len(travel) // every
    if every == 1 or cells < 2:
        return DriveTrace(float(time[0]), step, np.asarray(travel), np.asarray(velocity))
    mean = travel[: cells * every].reshape(cells, every).mean(axis=1)
    middle = every // 2
    return DriveTrace(
        float(time[0]) + 0.5 * (every - 1) * step,
        every * step,
        mean,
        np.array(velocity[middle : cells * every : every]),
    )


def flight_trace(time: Array, force: Array, pitch: Array | None, start: float, end: float) -> FlightTrace:
    """Cut one flight out of a recording, with a second on either side: (n,) time, size of the force, pitch rate."""
    inside = np.flatnonzero((time >= start - AROUND_FLIGHT) & (time <= end + AROUND_FLIGHT))
    kept = inside[thin_extremes(force[inside], FLIGHT_POINTS)]
    return FlightTrace(time[kept] - start, force[kept], None if pitch is None else pitch[kept], end - start)
