"""Free motion of a corner with tyre, exactly: closed form between events, many corners at once.

Takes families of motions, starting states and sample times; gives body acceleration or travel at these times.

Between two events (the shaft turns round, friction holds or slips, the shaft passes a knee, the wheel leaves or meets
the ground) the motion is a sum of exponentials; only the instants of the events are found numerically, by Newton's
method on that closed form. Nothing is integrated step by step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.exponentials import Complex, parts, waves
from tuner.fitting.bounce.families import GRAVITY, REST, STATES, Corners, Families, Flags, Index, holds
from tuner.fitting.bounce.stretches import (
    ABOVE,
    BELOW,
    GROUND,
    NOTHING,
    SLIPS_IN,
    SLIPS_OUT,
    SPEED,
    Stretches,
)

Quantity = Literal["acceleration", "travel"]

SLIP_OUT, HELD_OUT, SLIP_IN, HELD_IN = 2, 3, 4, 5  # zones of rebound and compression, see `families`
RUNS = sorted({0, *(round(2 ** (k / 2)) for k in range(60))})  # longest runs of those handled together
BLOCK = 4000  # samples in one go: what they need stays in the processor's cache
MOST_EVENTS = 400  # a motion with more events than that is cut off (it is chattering)


@dataclass(frozen=True, slots=True, eq=False)
class Located:
    """Samples in their stretches: index of the stretch and time since it began, (lanes, n) each.

    runs : samples that share a stretch, sorted by how many they are: pairs of lane * stretches + stretch (m,) and of
    lane * n + sample (m, samples), the last of which may stand there more than once.
    """

    stretch: Index
    since: Array
    runs: tuple[tuple[Index, Index], ...]


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
        first = np.full((lanes, self.begin.shape[1] + 1), n)
        for b in np.unique(row):
            mine = row == b
            first[mine, :-1] = np.searchsorted(time[b], self.begin[mine], side="left")
        first[:, 0] = 0
        count = np.diff(first, axis=1).reshape(-1)
        stretch = np.repeat(np.tile(np.arange(self.begin.shape[1]), lanes), count).reshape(lanes, n)
        start = (first[:, :-1] + n * np.arange(lanes)[:, None]).reshape(-1)
        runs = []
        size = np.searchsorted(RUNS, count)
        for k in np.unique(size[size > 0]):
            members = np.flatnonzero(size == k)
            own = np.arange(min(RUNS[k], n))
            block = max(1, BLOCK // len(own))
            for some in (members[i : i + block] for i in range(0, len(members), block)):
                runs.append((some, start[some, None] + np.minimum(own, count[some, None] - 1)))
        since = time[row] - np.take_along_axis(self.begin, stretch, axis=1)
        return Located(stretch, since, tuple(runs))

    def sample(self, time: Array, row: Index, quantity: Quantity) -> Array:
        """Give body acceleration [m/s**2] or compression at the wheel [m] of every lane, (lanes, n)."""
        return self.added_up(self.locate(time, row), *self.shown(quantity))[:, :, 0]

    def shown(self, quantity: Quantity) -> tuple[Complex, Array]:
        """Say what samples have of each exponential, (m, 1, j), and besides, (m, 1), for all m = lanes * stretches."""
        shapes, family = self.families.shapes, self.family.reshape(-1)
        if quantity == "travel":
            part, level = shapes.shown, shapes.centre
        else:
            part, level = shapes.out, np.where(self.families.air, -GRAVITY, 0.0)
        return (part[family] * self.amplitude.reshape(len(family), -1))[:, None], level[family, None]

    def added_up(
        self, located: Located, steady: Complex, level: Array, rising: Complex | None = None
    ) -> Array:
        """Add up samples (lanes, n, k): level + Re(sum (steady + rising t) e^(rate t)).

        level : (m, k) for all m = lanes * stretches; steady : (m, k, j); rising : (m, i, j) of the first i of k.
        """
        f, family, since = self.families, self.family.reshape(-1), located.since.reshape(-1)
        still = parts(steady, f.pairs).swapaxes(1, 2)
        growing = None if rising is None else parts(rising, f.pairs).swapaxes(1, 2)
        total = np.empty((len(since), level.shape[1]))
        for members, samples in located.runs:
            t = since[samples]
            grown = waves(f.shapes.rate[family[members], None], t, f.pairs)
            value = grown @ still[members] + level[members, None]
            if growing is not None:
                value[:, :, : growing.shape[2]] += (grown * t[:, :, None]) @ growing[members]
            total[samples] = value
        return total.reshape(*located.since.shape, -1)

    def shaft_speed(self, located: Located) -> Array:
        """Give the shaft speed at the wheel [m/s], + = compression, (lanes, n)."""
        shapes, family = self.families.shapes, self.family.reshape(-1)
        speed = shapes.state[family, SPEED] * self.amplitude.reshape(len(family), -1)
        return self.added_up(located, speed[:, None], np.zeros((len(family), 1)))[:, :, 0]


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
    log: list[tuple[Any, ...]] = []
    for _ in range(MOST_EVENTS):
        own, x, old = which[active], state[active], zone[active]
        piece = Stretches.begin(f, f.index(old, in_air[active], own), x)
        resting = _rest(piece, old, own, x)
        when, kind, value = piece.next_event()
        when[resting], kind[resting] = np.inf, NOTHING
        log.append((active, clock[active], when, kind, piece.family, x, piece.amplitude))
        seen = np.where(f.looks[piece.family] <= when[:, None], value, 0.0)
        peaks[0, active] = np.maximum(peaks[0, active], seen.max(axis=1))
        peaks[1, active] = np.maximum(peaks[1, active], -seen.min(axis=1))
        clock[active] += when
        on = clock[active] < duration[active]
        new = piece.state_at(np.where(on, when, 0.0))
        # what turns round while friction holds passes from one side's damping to the other's
        new[((old == HELD_IN) & (kind == BELOW)) | ((old == HELD_OUT) & (kind == ABOVE)), 1] = 0.0
        zone[active] = NEXT_ZONE[kind, old]
        lifted = kind == GROUND
        if lifted.any():
            flying = in_air[active] ^ lifted
            in_air[active] = flying
            left[active] |= flying
        state[active] = new
        active = active[on]
        if active.size == 0:
            break
    complete = np.ones(lanes, dtype=bool)
    complete[active] = False
    begin = np.full((lanes, len(log)), np.inf)
    lasts = np.zeros((lanes, len(log)))
    kinds, family_log = (np.zeros((lanes, len(log)), dtype=np.intp) for _ in range(2))
    states = np.zeros((lanes, len(log), STATES))
    amplitude = np.zeros((lanes, len(log), f.weight.shape[1]), dtype=complex)
    for r, (rows, *entry) in enumerate(log):
        for column, values in zip((begin, lasts, kinds, family_log, states, amplitude), entry, strict=True):
            column[rows, r] = values
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


def _zones_after() -> Index:
    """Zone after an event, (kinds, zones)."""
    after = np.tile(np.arange(REST + 1), (GROUND + 1, 1))
    after[BELOW, 2:REST] -= 2  # compression slows down, rebound speeds up
    after[ABOVE, : REST - 2] += 2
    after[BELOW, SLIP_IN], after[ABOVE, SLIP_OUT] = HELD_IN, HELD_OUT
    after[SLIPS_OUT : SLIPS_IN + 1] -= 1
    return after


NEXT_ZONE = _zones_after()


def _rest(piece: Stretches, zone: Index, own: Index, state: Array) -> Index:
    """Lanes whose friction holds until the motion is over; their piece is put in its place."""
    f, phi = piece.families, piece.families.corners.phi[own]
    rows = np.flatnonzero(holds(zone) & piece.holds_for_good(2.0 * phi))
    if rows.size == 0:
        return rows
    on_ground = np.zeros(len(rows), dtype=bool)
    rest = Stretches.begin(f, f.index(np.full(len(rows), REST), on_ground, own[rows]), state[rows])
    chosen = rest.holds_for_good(phi[rows])
    piece.replace(rows[chosen], rest, chosen)
    return rows[chosen]


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
