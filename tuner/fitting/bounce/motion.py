"""Free motion of a corner with tyre, exactly: closed form between events, many corners at once.

Takes families of motions, starting states and sample times; gives body acceleration or travel at these times.
Uses: families, stretches, numpy.

Between two events (the shaft turns round, friction holds or slips, the shaft passes a knee, the wheel leaves or meets
the ground)
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
    REST,
    SCAN_POINTS,
    STATES,
    Complex,
    Corners,
    Families,
    Flags,
    Index,
    holds,
)
from tuner.fitting.bounce.stretches import ABOVE, BELOW, GROUND, NOTHING, SLIPS_IN, SLIPS_OUT, Stretches

Quantity = Literal["acceleration", "travel"]

SLIP_OUT, HELD_OUT, SLIP_IN, HELD_IN = 2, 3, 4, 5  # zones of rebound and compression, see `families`
MOST_EVENTS = 400  # a motion with more events than that is cut off (it is chattering)


@dataclass(frozen=True, slots=True, eq=False)
class Located:
    """Samples in their stretches: index of the stretch and time since it began, (lanes, n) each."""

    stretch: Index
    since: Array


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """The motions of all lanes, stretch by stretch; arrays (lanes, stretches), further axes as named."""

    families: Families
    begin: Array  # time at which the stretch begins, infinite where there is none
    lasts: Array
    kind: Index  # what ended it
    family: Index
    state: Array  # (lanes, stretches, 5) at the beginning
    amplitude: Complex  # (lanes, stretches, j)
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
        for k in range(int(self.begin.shape[1])):
            marks[every, first[:, k]] += 1
        stretch = np.cumsum(marks[:, :n], axis=1) - 1
        return Located(stretch, time[row] - self.begin[every[:, None], stretch])

    def sample(self, time: Array, row: Index, quantity: Quantity) -> Array:
        """Give body acceleration [m/s**2] or compression at the wheel [m] of every lane, (lanes, n)."""
        return self.at(self.locate(time, row), quantity)[0]

    def at(self, located: Located, quantity: Quantity) -> tuple[Array, Complex]:
        """Values (lanes, n) and e^(rate t) (lanes, n, j)."""
        shapes, stretch = self.families.shapes, located.stretch
        every = np.arange(len(stretch))[:, None]
        family = self.family[every, stretch]
        grown = np.exp(shapes.rate[family] * located.since[:, :, None])
        part = ((shapes.out if quantity == "acceleration" else shapes.shown)[self.family] * self.amplitude)[
            every, stretch
        ]
        total = (part.real * grown.real - part.imag * grown.imag).sum(axis=2)
        if quantity == "travel":
            return total + shapes.centre[family], grown
        if self.families.grounds == 2:
            total -= np.where(self.families.air[family], GRAVITY, 0.0)
        return total, grown

    def shaft_speed(self, located: Located) -> Array:
        """Give the shaft speed at the wheel [m/s], + = compression, (lanes, n)."""
        shapes, stretch = self.families.shapes, located.stretch
        every = np.arange(len(stretch))[:, None]
        family = self.family[every, stretch]
        rate = shapes.rate[family]
        part = shapes.p[family] * self.amplitude[every, stretch] * rate
        return np.asarray((part * np.exp(rate * located.since[:, :, None])).real.sum(axis=2))


def move(families: Families, which: Index, start: Array, duration: Array) -> Motion:
    """Follow every lane from its start to its duration.

    which : (lanes,) corner of each lane; start : (lanes, 5) w, w', u, u' and friction over its limit at time 0;
    duration : (lanes,) [s].
    """
    f, corners = families, families.corners
    lanes = len(which)
    state = np.array(start, dtype=float)
    state[:, 4] *= corners.phi[which]
    clock = np.zeros(lanes)
    may_lift = f.grounds == 2
    in_air = state[:, 2] > corners.lift_height[which] if may_lift else np.zeros(lanes, dtype=bool)
    zone = _first_zone(corners, which, state)
    left = in_air.copy()
    peaks = np.stack([np.maximum(state[:, 1], 0.0), np.maximum(-state[:, 1], 0.0)])
    active = np.arange(lanes)
    width = f.weight.shape[1]
    log: list[tuple[Any, ...]] = []
    for _ in range(MOST_EVENTS):
        own = which[active]
        x = state[active]
        family = f.index(zone[active], in_air[active], own)
        piece = Stretches.begin(f, family, x)
        resting = _rest(piece, corners, zone[active], in_air[active], own, x)
        if resting.any():
            zone[active[resting]] = REST
            family = f.index(zone[active], in_air[active], own)
            piece = Stretches.begin(f, family, x)
        when, kind, value = piece.next_event()
        when[resting], kind[resting] = np.inf, NOTHING
        new = piece.state_at(np.where(resting, 0.0, when))
        entry = (
            np.full(lanes, np.inf),
            np.zeros(lanes),
            np.zeros(lanes, dtype=np.intp),
            np.zeros(lanes, dtype=np.intp),
            np.zeros((lanes, STATES)),
            np.zeros((lanes, width), dtype=complex),
        )
        for column, values in zip(
            entry, (clock[active], when, kind, family, x, piece.amplitude), strict=True
        ):
            column[active] = values
        log.append(entry)
        seen = np.where(np.arange(1, SCAN_POINTS + 1) * f.step[family, None] <= when[:, None], value, 0.0)
        peaks[0, active] = np.maximum(peaks[0, active], seen.max(axis=1))
        peaks[1, active] = np.maximum(peaks[1, active], -seen.min(axis=1))
        clock[active] += when
        old = zone[active]
        zone[active] = np.select(
            [kind == BELOW, kind == ABOVE, (kind == SLIPS_IN) | (kind == SLIPS_OUT)],
            [_slower(old), _faster(old), old - 1],
            old,
        )
        turned = ((old == HELD_IN) & (kind == BELOW)) | ((old == HELD_OUT) & (kind == ABOVE))
        new[turned, 1] = 0.0
        lifted = kind == GROUND
        if lifted.any():
            flying = in_air[active] ^ lifted
            in_air[active] = flying
            left[active] |= flying
        state[active] = new
        active = active[clock[active] < duration[active]]
        if active.size == 0:
            break
    complete = np.ones(lanes, dtype=bool)
    complete[active] = False
    begin, lasts, kinds, family_log, states, amplitude = (
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
        left_ground=left,
        peak_compression=peaks[0],
        peak_rebound=peaks[1],
        complete=complete,
    )


def _first_zone(corners: Corners, which: Index, state: Array) -> Index:
    speed = state[:, 1]
    level = np.where(speed < 0.0, 1, 2)
    level = np.where(speed > corners.knee_c[which], 3, np.where(speed < -corners.knee_r[which], 0, level))
    full = np.abs(state[:, 4]) >= corners.phi[which]
    slips = full & (state[:, 4] * speed > 0.0) & (np.abs(speed) > corners.creep[which])
    return np.asarray(2 * level + 1 - slips, dtype=np.intp)


def _slower(zone: Index) -> Index:
    """Zone after the shaft speed fell below its zone: compression slows down, rebound speeds up."""
    return np.asarray(np.where(zone == SLIP_IN, HELD_IN, zone - 2), dtype=np.intp)


def _faster(zone: Index) -> Index:
    """Zone after the shaft speed rose above its zone."""
    return np.asarray(np.where(zone == SLIP_OUT, HELD_OUT, zone + 2), dtype=np.intp)


def _rest(piece: Stretches, corners: Corners, zone: Index, in_air: Flags, own: Index, state: Array) -> Flags:
    """Lanes whose friction holds until the motion is over."""
    resting = np.zeros(len(own), dtype=bool)
    near = holds(zone) & ~in_air & piece.holds_for_good(2.0 * corners.phi[own])
    rows = np.flatnonzero(near)
    if rows.size:
        f = piece.families
        rest = Stretches.begin(f, f.index(np.full(len(rows), REST), in_air[rows], own[rows]), state[rows])
        resting[rows] = rest.holds_for_good(corners.phi[own[rows]])
    return resting


def in_dimensions(
    frequency: Array,
    zeta_c: Array,
    zeta_r: Array,
    phi: Array,
    mu: Array,
    tyre_ratio: Array,
    tyre_zeta: Array | float = 0.0,
    creep: Array | float = 1e-3,
    wind: Array | float = 2e-4,
) -> Corners:
    """Give the corners of plain numbers: natural frequency [Hz] of the sprung mass on its spring, handbook ratios.

    tyre_ratio : tyre rate over wheel rate; tyre_zeta : fraction of critical of the whole corner on its tyre; creep
    [m/s] and wind [m] of the friction.
    """
    omega = 2.0 * np.pi * np.asarray(frequency, dtype=float)
    tau = tyre_ratio * omega**2
    return Corners.of(
        kappa=omega**2,
        gamma_c=2.0 * zeta_c * omega,
        gamma_r=2.0 * zeta_r * omega,
        phi=phi,
        creep=creep,
        wind=wind,
        mu=mu,
        tau=tau,
        beta=2.0 * np.asarray(tyre_zeta) * np.sqrt(tau * (1.0 + mu)),
    )
