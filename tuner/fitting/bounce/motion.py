"""Free motion of a corner with tyre, exactly: closed form between events, many corners at once.

Takes families of motions, starting states and sample times; gives body acceleration or travel at these times.
Uses: families, stretches, numpy.

Between two events (the shaft turns round, sticks, breaks loose, passes a knee, the wheel leaves or meets the ground)
the motion is a sum of exponentials; only the instants of the events are found numerically, by Newton's method on that
closed form. Nothing is integrated step by step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.families import (
    GRAVITY,
    SCAN_POINTS,
    STUCK,
    Complex,
    Corners,
    Families,
    Flags,
    Index,
)
from tuner.fitting.bounce.stretches import ABOVE, BELOW, GROUND, Stretches

Quantity = Literal["acceleration", "travel"]

MOST_EVENTS = 400  # a motion with more events than that is cut off (it is chattering)


@dataclass(frozen=True, slots=True, eq=False)
class Located:
    """Samples in their stretches, and the events between them.

    stretch, since : (lanes, n) index of the stretch and time since it began; then per event (e,): its lane and stretch,
    the nearest sample, how far that sample lies behind the event in sample intervals (-0.5 to 0.5), the interval.
    """

    stretch: Index
    since: Array
    lane: Index
    place: Index
    nearest: Index
    offset: Array
    spacing: Array


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """The motions of all lanes, stretch by stretch; arrays (lanes, stretches), further axes as named."""

    families: Families
    begin: Array  # time at which the stretch begins, infinite where there is none
    lasts: Array
    kind: Index  # what ended it
    family: Index
    state: Array  # (lanes, stretches, 4) at the beginning
    amplitude: Complex  # (lanes, stretches, j)
    centre: Array
    left_ground: Flags  # (lanes,) the tyre left the ground at least once
    peak_compression: Array  # (lanes,) highest shaft speed at the looks, at the wheel [m/s]
    peak_rebound: Array
    complete: Flags  # (lanes,) False where the motion was cut off as chattering

    def locate(self, time: Array, row: Index) -> Located:
        """Find the stretch of every sample.

        time : (b, n) rows of sample times, rising, not before 0; row : (lanes,) which row each lane uses.
        """
        lanes, n = len(row), time.shape[1]
        first = np.empty(self.begin.shape, dtype=np.intp)
        for b in np.unique(row):
            mine = row == b
            first[mine] = np.searchsorted(time[b], self.begin[mine], side="left")
        first[:, 0] = 0
        marks = np.zeros((lanes, n + 1), dtype=np.int32)
        every = np.arange(lanes)
        stretches = int(self.begin.shape[1])
        for k in range(stretches):
            marks[every, first[:, k]] += 1
        stretch = np.cumsum(marks[:, :n], axis=1) - 1
        since = time[row] - self.begin[every[:, None], stretch]
        lane, place = np.nonzero(first[:, 1:] < n)
        place = place + 1
        at = first[lane, place]
        instant = self.begin[lane, place]
        after = time[row[lane], at]
        before = time[row[lane], np.maximum(at - 1, 0)]
        nearest = np.where((after - instant <= instant - before) | (at == 0), at, at - 1)
        spacing = np.maximum(after - before, 1e-9)
        offset = np.clip((time[row[lane], nearest] - instant) / spacing, -0.5, 0.5)
        return Located(stretch, since, lane, place, nearest, offset, spacing)

    def sample(self, time: Array, row: Index, quantity: Quantity) -> Array:
        """Give body acceleration [m/s**2] or compression at the wheel [m] of every lane, (lanes, n).

        A step in the acceleration (friction turns round) is spread over one sample interval, as a sensor does.
        """
        return self.at(self.locate(time, row), quantity)[0]

    def at(self, located: Located, quantity: Quantity) -> tuple[Array, Complex, Array]:
        """Values (lanes, n), e^(rate t) (lanes, n, j) and the steps in the value at the located events."""
        f = self.families
        stretch = located.stretch
        every = np.arange(len(stretch))[:, None]
        family = self.family[every, stretch]
        grown = np.exp(f.shapes.rate[family] * located.since[:, :, None])
        weights = (f.shapes.out if quantity == "acceleration" else f.shapes.shown)[
            self.family
        ] * self.amplitude
        part = weights[every, stretch]
        total = (part.real * grown.real - part.imag * grown.imag).sum(axis=2)
        if quantity == "travel":
            return total + self.centre[every, stretch], grown, np.zeros(len(located.lane))
        if f.grounds == 2:
            total -= np.where(f.air[family], GRAVITY, 0.0)
        lane, place = located.lane, located.place
        old = self.family[lane, place - 1]
        end = np.exp(f.shapes.rate[old] * self.lasts[lane, place - 1, None])
        jump = weights[lane, place].real.sum(axis=1) - (weights[lane, place - 1] * end).real.sum(axis=1)
        if f.grounds == 2:
            new = self.family[lane, place]
            jump -= GRAVITY * (f.air[new].astype(float) - f.air[old].astype(float))
        spread = jump * (located.offset + 0.5 - (located.offset >= 0.0))
        np.add.at(total, (lane, located.nearest), spread)
        return total, grown, jump


def move(families: Families, which: Index, start: Array, duration: Array) -> Motion:
    """Follow every lane from its start to its duration.

    which : (lanes,) corner of each lane; start : (lanes, 4) w, w', u, u' at time 0; duration : (lanes,) [s].
    """
    f, corners = families, families.corners
    lanes = len(which)
    state = np.array(start, dtype=float)
    clock = np.zeros(lanes)
    may_lift = f.grounds == 2
    in_air = state[:, 2] > corners.lift_height[which] if may_lift else np.zeros(lanes, dtype=bool)
    still = np.abs(state[:, 1]) < 1e-12
    zone = np.where(
        still, _zone_at_rest(corners, which, state, in_air), _zone_of_speed(corners, which, state[:, 1])
    )
    left = in_air.copy()
    peaks = np.stack([np.maximum(state[:, 1], 0.0), np.maximum(-state[:, 1], 0.0)])
    active = np.arange(lanes)
    width = f.weight.shape[1]
    log: list[tuple[Any, ...]] = []
    for _ in range(MOST_EVENTS):
        own = which[active]
        family = f.index(zone[active], in_air[active], own)
        stuck = f.stuck[family]
        x = state[active]
        x[stuck, 1] = 0.0
        piece = Stretches.begin(f, family, x)
        when, kind, value = piece.next_event()
        new = piece.state_at(when)
        entry = (
            np.full(lanes, np.inf),
            np.zeros(lanes),
            np.zeros(lanes, dtype=np.intp),
            np.zeros(lanes, dtype=np.intp),
            np.zeros((lanes, 4)),
            np.zeros((lanes, width), dtype=complex),
            np.zeros(lanes),
        )
        for column, values in zip(
            entry, (clock[active], when, kind, family, x, piece.amplitude, piece.centre), strict=True
        ):
            column[active] = values
        log.append(entry)
        before = np.arange(1, SCAN_POINTS + 1) * f.step[family, None] <= when[:, None]
        seen = np.where(before & ~stuck[:, None], value, 0.0)
        peaks[0, active] = np.maximum(peaks[0, active], seen.max(axis=1))
        peaks[1, active] = np.maximum(peaks[1, active], -seen.min(axis=1))
        rest = piece.rests_for_good()
        clock[active] += when
        own_zone = zone[active]
        next_zone = own_zone + np.where(kind == ABOVE, 1, np.where(kind == BELOW, -1, 0))
        at_zero = ((own_zone == STUCK + 1) & (kind == BELOW)) | ((own_zone == STUCK - 1) & (kind == ABOVE))
        new[at_zero | stuck, 1] = 0.0
        lifted = kind == GROUND
        if lifted.any():
            flying = in_air[active] ^ lifted
            in_air[active] = flying
            left[active] |= flying
        decide = at_zero | (lifted & stuck)
        if decide.any():
            next_zone[decide] = _zone_at_rest(corners, own[decide], new[decide], in_air[active][decide])
        zone[active] = next_zone
        state[active] = new
        active = active[(clock[active] < duration[active]) & ~rest]
        if active.size == 0:
            break
    complete = np.ones(lanes, dtype=bool)
    complete[active] = False
    begin, lasts, kinds, family_log, states, amplitude, centre = (
        np.stack(column, axis=1) for column in zip(*log, strict=True)
    )
    return Motion(
        families=f,
        begin=begin,
        lasts=lasts,
        kind=kinds,
        family=family_log,
        state=states,
        amplitude=amplitude,
        centre=centre,
        left_ground=left,
        peak_compression=peaks[0],
        peak_rebound=peaks[1],
        complete=complete,
    )


def _zone_of_speed(corners: Corners, which: Index, speed: Array) -> Index:
    zone = np.where(speed > 0, STUCK + 1, STUCK - 1)
    zone = np.where(speed > corners.knee_c[which], STUCK + 2, zone)
    return np.asarray(np.where(speed < -corners.knee_r[which], STUCK - 2, zone), dtype=np.intp)


def _zone_at_rest(corners: Corners, which: Index, state: Array, in_air: Flags) -> Index:
    """Where a shaft that stands still goes: held by friction, or off into compression or rebound."""
    tau, beta, mu = corners.tau[which], corners.beta[which], corners.mu[which]
    together = -(tau * state[:, 2] + beta * state[:, 3]) / (1.0 + mu)
    together = np.where(in_air, -GRAVITY, together)
    holding = together - corners.kappa[which] * state[:, 0]
    phi = corners.phi[which]
    off = np.where(holding > phi, STUCK + 1, np.where(holding < -phi, STUCK - 1, STUCK))
    return np.asarray(off, dtype=np.intp)


def in_dimensions(
    frequency: Array,
    zeta_c: Array,
    zeta_r: Array,
    phi: Array,
    mu: Array,
    tyre_ratio: Array,
    tyre_zeta: Array | float = 0.0,
) -> Corners:
    """Give the corners of plain numbers: natural frequency [Hz] of the sprung mass on its spring, handbook ratios.

    tyre_ratio : tyre rate over wheel rate; tyre_zeta : fraction of critical of the whole corner on its tyre.
    """
    omega = 2.0 * np.pi * np.asarray(frequency, dtype=float)
    tau = tyre_ratio * omega**2
    return Corners.of(
        kappa=omega**2,
        gamma_c=2.0 * zeta_c * omega,
        gamma_r=2.0 * zeta_r * omega,
        phi=phi,
        mu=mu,
        tau=tau,
        beta=2.0 * np.asarray(tyre_zeta) * np.sqrt(tau * (1.0 + mu)),
    )
