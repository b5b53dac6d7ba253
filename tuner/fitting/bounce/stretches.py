"""Pieces of motion between two events, one per lane, and the search for the event that ends each.

Takes families and the states at which the pieces begin; gives their closed form and the next event.
Uses: families, numpy.

An event is the shaft speed leaving its zone, friction beginning to slip, or the wheel leaving or meeting the ground.
Events are looked for at points a fraction of the fastest period apart and then found by Newton's method on the closed
form.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.families import GRAVITY, SCAN_POINTS, Complex, Families, Flags, Index

MOST_NEWTON_STEPS = 30
# what ends a stretch: the speed below or above its zone, friction slipping out or in, the wheel on or off the ground
NOTHING, BELOW, ABOVE, SLIPS_OUT, SLIPS_IN, GROUND = range(6)


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Pieces of motion between events, one per lane; all (lanes,) or (lanes, j)."""

    families: Families
    family: Index
    rate: Complex
    amplitude: Complex
    centre: Array
    speed: (
        Complex  # shaft speed = Re(sum speed e^(rate t)), friction while it holds = Re(sum hold e^(rate t))
    )
    hold: Complex
    height: Complex  # wheel height = parabola + Re(sum height e^(rate t))
    parabola: Array  # (lanes, 3) constant, linear, quadratic

    @classmethod
    def begin(cls, families: Families, family: Index, state: Array) -> Stretches:
        """Start at `state` (lanes, 5): w, w', u, u', s."""
        s, air = families.shapes, families.air[family]
        centre = s.centre[family]
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
        speed = s.p[family] * amplitude * rate
        hold = s.hold[family] * amplitude
        return cls(families, family, rate, amplitude, centre, speed, hold, height, parabola)

    def holds_for_good(self, limit: Array) -> Flags:
        """Whether friction stays below `limit` (lanes,) and the wheel on the ground as long as the motion decays."""
        low = np.abs(self.height).sum(axis=1) < self.families.shapes.lift[self.family]
        return np.asarray(~self.families.air[self.family] & low & (np.abs(self.hold).sum(axis=1) <= limit))

    def wheel(self, t: Array, rows: Index) -> tuple[Array, Array]:
        """Wheel height and speed of `rows` at `t` (rows,)."""
        value, slope = _sum(self.height[rows], self.rate[rows], t)
        c0, c1, c2 = self.parabola[rows].T
        return c0 + (c1 + c2 * t) * t + value, c1 + 2.0 * c2 * t + slope

    def state_at(self, t: Array) -> Array:
        """w, w', u, u', s at `t` (lanes,)."""
        grown = self.amplitude * np.exp(self.rate * t[:, None])
        shapes, family = self.families.shapes, self.family
        terms = shapes.p[family] * grown
        c0, c1, c2 = self.parabola.T
        high = shapes.q[family] * grown
        columns = (
            self.centre + terms.real.sum(axis=1),
            (terms * self.rate).real.sum(axis=1),
            c0 + (c1 + c2 * t) * t + high.real.sum(axis=1),
            c1 + 2.0 * c2 * t + (high * self.rate).real.sum(axis=1),
            shapes.slip[family] + (shapes.hold[family] * grown).real.sum(axis=1),
        )
        return np.stack(columns, axis=1)

    def next_event(self) -> tuple[Array, Index, Array]:
        """Time to the next event, its kind, and the shaft speed at the looks before it (lanes, looks)."""
        f, fam = self.families, self.family
        s = f.shapes
        table = f.table[fam]
        both = (table @ np.stack([self.speed, self.hold], axis=2)).real
        value, held = both[:, :, 0], both[:, :, 1]
        slow, fast = value < s.low[fam, None], value > s.high[fam, None]
        out, in_ = held < -s.limit[fam, None], held > s.limit[fam, None]
        crossed = slow | fast | out | in_
        first = np.where(crossed.any(axis=1), crossed.argmax(axis=1), SCAN_POINTS)
        when = f.step[fam] * SCAN_POINTS
        kind = np.zeros(len(fam), dtype=np.intp)
        rows = np.flatnonzero(first < SCAN_POINTS)
        if rows.size:
            at = first[rows]
            slips = ~(slow | fast)[rows, at]
            up = np.where(slips, in_[rows, at], fast[rows, at])
            own = fam[rows]
            border = np.where(
                slips,
                np.where(up, s.limit[own], -s.limit[own]),
                np.where(up, s.high[own], s.low[own]),
            )
            parts = np.where(slips[:, None], self.hold[rows], self.speed[rows])
            when[rows] = self._root(rows, at, border, lambda t: _sum(parts, self.rate[rows], t))
            kind[rows] = np.where(slips, np.where(up, SLIPS_IN, SLIPS_OUT), np.where(up, ABOVE, BELOW))
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
        root = self._root(rows, at, lift[rows], lambda t: self.wheel(t, rows))
        really = root < when[rows]
        when[rows[really]] = root[really]
        kind[rows[really]] = GROUND

    def _root(
        self, rows: Index, at: Index, border: Array, function: Callable[[Array], tuple[Array, Array]]
    ) -> Array:
        """Newton's method between two looks, kept inside the bracket."""
        step = self.families.step[self.family[rows]]
        right, left = step * (at + 1), step * at
        far = function(right)[0] - border
        near = function(left)[0] - border
        # a stretch may begin on the border itself: then only the far end brackets the way out
        crossing = (at > 0) & (near * far < 0)
        share = near / np.where(crossing, near - far, 1.0)
        t = np.where(crossing, left + share * (right - left), right)
        for _ in range(MOST_NEWTON_STEPS):
            value, slope = function(t)
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


def _sum(parts: Complex, rate: Complex, t: Array) -> tuple[Array, Array]:
    """Re(sum parts e^(rate t)) and its slope, each (rows,), from (rows, j) and (rows,)."""
    terms = parts * np.exp(rate * t[:, None])
    return terms.real.sum(axis=1), (terms * rate).real.sum(axis=1)
