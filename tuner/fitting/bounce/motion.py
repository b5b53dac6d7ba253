"""Free motion of a corner with tyre, exactly: closed form between events, many corners at once.

Takes families of motions, starting states and sample times; gives body acceleration or travel at these times.
Uses: families, numpy.

Between two events (the shaft turns round, sticks, breaks loose, passes a knee, the wheel leaves or meets the ground)
the motion is a sum of exponentials; only the instants of the events are found numerically, by Newton's method on that
closed form. Nothing is integrated step by step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

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

Quantity = Literal["acceleration", "travel"]

MOST_EVENTS = 400  # a motion with more events than that is cut off (it is chattering)
MOST_NEWTON_STEPS = 30
NOTHING, BELOW, ABOVE, GROUND = 0, 1, 2, 3  # what ends a stretch


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Pieces of motion between events, one per lane; all (lanes,) or (lanes, j)."""

    families: Families
    family: Index
    rate: Complex
    amplitude: Complex
    centre: Array
    watch: Complex  # watched value = watch0 + Re(sum watch e^(rate t))
    watch0: Array
    height: Complex  # wheel height = parabola + Re(sum height e^(rate t))
    parabola: Array  # (lanes, 3) constant, linear, quadratic

    @classmethod
    def begin(cls, families: Families, family: Index, state: Array) -> Stretches:
        """Start at `state` (lanes, 4): w, w', u, u'; a stuck shaft must come with w' = 0."""
        s, stuck, air = families.shapes, families.stuck[family], families.air[family]
        centre = np.where(stuck, state[:, 0], s.centre[family])
        offset = state.copy()
        offset[:, 0] -= centre
        rate = s.rate[family]
        amplitude = (s.solve[family] @ offset[:, :, None])[:, :, 0]
        height = s.q[family] * amplitude
        parabola = np.zeros((len(family), 3))
        if families.grounds == 2 and air.any():
            parabola[:, 0] = np.where(air, state[:, 2] - height.real.sum(axis=1), 0.0)
            parabola[:, 1] = np.where(air, state[:, 3] - (height * rate).real.sum(axis=1), 0.0)
            parabola[:, 2] = np.where(air, -0.5 * GRAVITY, 0.0)
        together = np.where(air, -GRAVITY, 0.0)
        watch0 = np.where(stuck, together - s.kappa[family] * centre, 0.0)
        return cls(
            families, family, rate, amplitude, centre, s.watch[family] * amplitude, watch0, height, parabola
        )

    def rests_for_good(self) -> Flags:
        """Stuck on the ground, and the swing on the tyre can never break it loose again."""
        f, fam = self.families, self.family
        held = np.abs(self.watch0) + np.abs(self.watch).sum(axis=1) <= f.shapes.high[fam]
        low = np.abs(self.height).sum(axis=1) < f.shapes.lift[fam]
        return np.asarray(f.stuck[fam] & ~f.air[fam] & held & low)

    def watched(self, t: Array, rows: Index | slice = slice(None)) -> tuple[Array, Array]:
        """Value and slope of the watched quantity of `rows` at `t` (rows,)."""
        terms = self.watch[rows] * np.exp(self.rate[rows] * t[:, None])
        return self.watch0[rows] + terms.real.sum(axis=1), (terms * self.rate[rows]).real.sum(axis=1)

    def wheel(self, t: Array, rows: Index | slice = slice(None)) -> tuple[Array, Array]:
        """Wheel height and speed of `rows` at `t` (rows,)."""
        terms = self.height[rows] * np.exp(self.rate[rows] * t[:, None])
        c0, c1, c2 = self.parabola[rows].T
        value = c0 + (c1 + c2 * t) * t + terms.real.sum(axis=1)
        return value, c1 + 2.0 * c2 * t + (terms * self.rate[rows]).real.sum(axis=1)

    def state_at(self, t: Array) -> Array:
        """w, w', u, u' at `t` (lanes,)."""
        grown = self.amplitude * np.exp(self.rate * t[:, None])
        terms = self.families.shapes.p[self.family] * grown
        c0, c1, c2 = self.parabola.T
        high = self.families.shapes.q[self.family] * grown
        columns = (
            self.centre + terms.real.sum(axis=1),
            (terms * self.rate).real.sum(axis=1),
            c0 + (c1 + c2 * t) * t + high.real.sum(axis=1),
            c1 + 2.0 * c2 * t + (high * self.rate).real.sum(axis=1),
        )
        return np.stack(columns, axis=1)

    def next_event(self) -> tuple[Array, Index, Array]:
        """Time to the next event, its kind, and the watched value at the looks before it (lanes, looks)."""
        f, fam = self.families, self.family
        s = f.shapes
        table = f.table[fam]
        value = self.watch0[:, None] + (table @ self.watch[:, :, None])[:, :, 0].real
        below, above = value < s.low[fam, None], value > s.high[fam, None]
        outside = below | above
        first = np.where(outside.any(axis=1), outside.argmax(axis=1), SCAN_POINTS)
        when = f.step[fam] * SCAN_POINTS
        kind = np.zeros(len(fam), dtype=np.intp)
        rows = np.flatnonzero(first < SCAN_POINTS)
        if rows.size:
            at = first[rows]
            up = above[rows, at]
            border = np.where(up, s.high[fam[rows]], s.low[fam[rows]])
            when[rows] = self._root(rows, at, border, wheel=False)
            kind[rows] = np.where(up, ABOVE, BELOW)
        if f.grounds == 2:
            self._meet_ground(table, first, when, kind)
        return np.maximum(when, 1e-9), kind, value

    def _meet_ground(self, table: Complex, first: Index, when: Array, kind: Index) -> None:
        """Put the wheel's leaving or meeting the ground into `when` and `kind` where it comes sooner."""
        f, fam = self.families, self.family
        lift, air = f.shapes.lift[fam], f.air[fam]
        near = air | (np.abs(self.height).sum(axis=1) > lift)
        rows = np.flatnonzero(near)
        if rows.size == 0:
            return
        looks = f.step[fam[rows], None] * np.arange(1, SCAN_POINTS + 1)
        c0, c1, c2 = (self.parabola[rows, k, None] for k in range(3))
        height = c0 + (c1 + c2 * looks) * looks + (table[rows] @ self.height[rows, :, None])[:, :, 0].real
        across = (height > lift[rows, None]) ^ air[rows, None]
        at = np.where(across.any(axis=1), across.argmax(axis=1), SCAN_POINTS)
        sooner = (at < SCAN_POINTS) & (at <= first[rows])
        rows, at = rows[sooner], at[sooner]
        if rows.size == 0:
            return
        root = self._root(rows, at, lift[rows], wheel=True)
        really = root < when[rows]
        when[rows[really]] = root[really]
        kind[rows[really]] = GROUND

    def _root(self, rows: Index, at: Index, border: Array, *, wheel: bool) -> Array:
        """Newton's method between two looks, kept inside the bracket."""
        function = self.wheel if wheel else self.watched
        step = self.families.step[self.family[rows]]
        right, left = step * (at + 1), step * at
        far = function(right, rows)[0] - border
        near = function(left, rows)[0] - border
        # a stretch may begin on the border itself: then only the far end brackets the way out
        crossing = (at > 0) & (near * far < 0)
        share = near / np.where(crossing, near - far, 1.0)
        t = np.where(crossing, left + share * (right - left), right)
        for _ in range(MOST_NEWTON_STEPS):
            value, slope = function(t, rows)
            value = value - border
            same = value * far > 0
            right = np.where(same, np.minimum(right, t), right)
            left = np.where(same, left, np.maximum(left, t))
            change = -value / np.where(slope == 0.0, np.inf, slope)
            slack = 1e-12 * right
            newton = t + change
            inside = (newton >= left - slack) & (newton <= right + slack)
            t = np.where(inside, newton, 0.5 * (left + right))
            if bool(((inside & (np.abs(change) <= slack)) | (right - left <= slack)).all()):
                break
        return np.asarray(t)


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

    def stretch_of(self, time: Array, row: Index) -> tuple[Index, Array]:
        """Which stretch each sample lies in and the time since it began, both (lanes, n).

        time : (b, n) rows of sample times, rising; row : (lanes,) which row each lane uses.
        """
        lanes, n = len(row), time.shape[1]
        first = np.empty(self.begin.shape, dtype=np.intp)
        for b in np.unique(row):
            mine = row == b
            first[mine] = np.searchsorted(time[b], self.begin[mine], side="left")
        first[:, 0] = 0
        marks = np.zeros((lanes, n + 1), dtype=np.int32)
        every = np.arange(lanes)
        for k in range(first.shape[1]):
            marks[every, first[:, k]] += 1
        stretch = np.cumsum(marks[:, :n], axis=1) - 1
        return stretch, time[row] - self.begin[every[:, None], stretch]

    def sample(self, time: Array, row: Index, quantity: Quantity) -> Array:
        """Give body acceleration [m/s**2] or compression at the wheel [m] of every lane, (lanes, n).

        time : (b, n) rows of sample times, rising, not before 0; row : (lanes,) which row each lane uses.
        """
        stretch, since = self.stretch_of(time, row)
        return self.at(stretch, since, quantity)[0]

    def at(self, stretch: Index, since: Array, quantity: Quantity) -> tuple[Array, Complex]:
        """Values (lanes, n) and e^(rate t) (lanes, n, j) at samples located by `stretch_of`."""
        f = self.families
        every = np.arange(len(stretch))[:, None]
        family = self.family[every, stretch]
        grown = np.exp(f.shapes.rate[family] * since[:, :, None])
        weights = (f.shapes.out if quantity == "acceleration" else f.shapes.p)[self.family] * self.amplitude
        part = weights[every, stretch]
        total = (part.real * grown.real - part.imag * grown.imag).sum(axis=2)
        if quantity == "travel":
            return total + self.centre[every, stretch], grown
        return (total - np.where(f.air[family], GRAVITY, 0.0) if f.grounds == 2 else total), grown


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
    log: list[tuple[Array, Array, Index, Index, Array, Complex, Array]] = []
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
        f, begin, lasts, kinds, family_log, states, amplitude, centre, left, peaks[0], peaks[1], complete
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
