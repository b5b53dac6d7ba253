"""Pieces of motion between two events, one per lane, and the search for the event that ends each.

Takes families and the states at which the pieces begin; gives their closed form and the next event.

An event is the shaft speed leaving its zone, friction beginning to slip, or the wheel leaving or meeting the ground.
Events are looked for at points a fraction of the fastest period apart and then found by Newton's method on the closed
form.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.exponentials import Complex, parts, waves
from tuner.fitting.bounce.families import GRAVITY, SCAN_POINTS, Families, Flags, Index

MOST_NEWTON_STEPS = 30
# what ends a stretch: the speed below or above its zone, friction slipping out or in, the wheel on or off the ground
NOTHING, BELOW, ABOVE, SLIPS_OUT, SLIPS_IN, GROUND = range(6)
SPEED, HEIGHT, WHEEL_SPEED, HOLD = 1, 2, 3, 4  # places in a state


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Pieces of motion between events, one per lane; arrays (lanes, ...)."""

    families: Families
    family: Index
    amplitude: Complex  # (lanes, j)
    terms: Complex  # (lanes, 5, j) what w, w', u, u', s have of each exponential now
    level: Array  # (lanes, 5) what they have besides
    drift: Array  # (lanes, 2) of the wheel in the air: its speed besides [m/s], gravity [m/s**2]

    @classmethod
    def begin(cls, families: Families, family: Index, state: Array) -> Stretches:
        """Start at `state` (lanes, 5): w, w', u, u', s."""
        s, air = families.shapes, families.air[family]
        level, drift = np.zeros_like(state), np.zeros((len(family), 2))
        level[:, 0], level[:, HOLD] = s.centre[family], s.slip[family]
        offset = state.copy()
        offset[:, 0] -= level[:, 0]
        amplitude = (offset[:, None, :] @ s.solve[family])[:, 0]
        terms = s.state[family] * amplitude[:, None]
        if families.grounds == 2 and air.any():
            rest = state[air] - terms[air].real.sum(axis=2)
            level[air, HEIGHT], level[air, WHEEL_SPEED] = rest[:, HEIGHT], rest[:, WHEEL_SPEED]
            drift[air, 0], drift[air, 1] = rest[:, WHEEL_SPEED], -GRAVITY
        return cls(families, family, amplitude, terms, level, drift)

    def replace(self, rows: Index, other: Stretches, chosen: Flags) -> None:
        """Put the `chosen` pieces of `other` in the place of `rows`."""
        for name in ("family", "amplitude", "terms", "level", "drift"):
            getattr(self, name)[rows] = getattr(other, name)[chosen]

    def holds_for_good(self, limit: Array) -> Flags:
        """Whether friction stays below `limit` (lanes,) and the wheel on the ground as long as the motion decays."""
        size = np.abs(self.terms[:, HEIGHT::2]).sum(axis=2)
        low = size[:, 0] < self.families.shapes.lift[self.family]
        return np.asarray(~self.families.air[self.family] & low & (size[:, 1] <= limit))

    def state_at(self, t: Array) -> Array:
        """w, w', u, u', s at `t` (lanes,), (lanes, 5)."""
        f = self.families
        grown = waves(f.shapes.rate[self.family], t, f.pairs)
        state = self.level + (parts(self.terms, f.pairs) @ grown[:, :, None])[:, :, 0]
        state[:, HEIGHT] += (self.drift[:, 0] + 0.5 * self.drift[:, 1] * t) * t
        state[:, WHEEL_SPEED] += self.drift[:, 1] * t
        return np.asarray(state)

    def next_event(self) -> tuple[Array, Index, Array]:
        """Time to the next event, its kind, and the shaft speed at the looks before it (lanes, looks)."""
        f, fam = self.families, self.family
        s = f.shapes
        seen = parts(self.terms[:, [SPEED, HOLD]], f.pairs)
        both = f.table[fam] @ seen.swapaxes(1, 2)
        value, held = both[:, :, 0], both[:, :, 1]
        fast, slides = value > s.high[fam, None], np.abs(held) > s.limit[fam, None]
        turns = fast | (value < s.low[fam, None])
        crossed = turns | slides
        first = np.where(crossed.any(axis=1), crossed.argmax(axis=1), SCAN_POINTS)
        when = f.step[fam] * SCAN_POINTS
        kind = np.zeros(len(fam), dtype=np.intp)
        # between the same two looks the speed may leave its zone and friction begin to slip: what comes sooner counts
        seen_at = np.minimum(first, SCAN_POINTS - 1)
        every = np.arange(len(fam))
        turning, sliding = (np.flatnonzero(flags[every, seen_at]) for flags in (turns, slides))
        rows = np.concatenate([turning, sliding])
        if rows.size:
            own, at, slips = fam[rows], first[rows], np.arange(len(rows)) >= len(turning)
            up = np.where(slips, held[rows, at] > 0.0, fast[rows, at])
            speed, limit = np.where(up, s.high[own], s.low[own]), s.limit[own]
            border = np.where(slips, np.where(up, limit, -limit), speed)
            root = self._root(rows, at, border, np.where(slips, HOLD, SPEED))
            kinds = np.where(slips, np.where(up, SLIPS_IN, SLIPS_OUT), np.where(up, ABOVE, BELOW))
            for part in (~slips, slips):
                sooner = part & (root <= when[rows])
                when[rows[sooner]], kind[rows[sooner]] = root[sooner], kinds[sooner]
        if f.grounds == 2:
            self._meet_ground(first, when, kind)
        return np.maximum(when, 1e-9), kind, value

    def _meet_ground(self, first: Index, when: Array, kind: Index) -> None:
        """Put the wheel's leaving or meeting the ground into `when` and `kind` where it comes sooner."""
        f, fam = self.families, self.family
        lift, air = f.shapes.lift[fam], f.air[fam]
        near = air | (np.abs(self.terms[:, HEIGHT]).sum(axis=1) > lift)
        rows = np.flatnonzero(near)
        if rows.size == 0:
            return
        looks = f.looks[fam[rows]]
        seen = parts(self.terms[rows, HEIGHT], f.pairs)
        fall = (self.drift[rows, 0, None] + 0.5 * self.drift[rows, 1, None] * looks) * looks
        height = self.level[rows, HEIGHT, None] + fall + (f.table[fam[rows]] @ seen[:, :, None])[:, :, 0]
        across = (height > lift[rows, None]) ^ air[rows, None]
        at = np.where(across.any(axis=1), across.argmax(axis=1), SCAN_POINTS)
        sooner = (at < SCAN_POINTS) & (at <= first[rows])
        rows, at = rows[sooner], at[sooner]
        if rows.size == 0:
            return
        root = self._root(rows, at, lift[rows], np.full(len(rows), HEIGHT))
        really = root < when[rows]
        when[rows[really]] = root[really]
        kind[rows[really]] = GROUND

    def _root(self, rows: Index, at: Index, border: Array, place: Index) -> Array:
        """When `place` of the state of `rows` passes `border`: Newton's method, kept between two looks."""
        f, fam = self.families, self.family[rows]
        rate, terms = f.shapes.rate[fam], self.terms[rows, place]
        both = parts(np.stack([terms, terms * rate], axis=1), f.pairs)
        level = self.level[rows, place] - border
        flies = f.grounds == 2 and place[0] == HEIGHT
        drift = self.drift[rows]

        def beyond(t: Array) -> tuple[Array, Array]:
            value, slope = (both @ waves(rate, t, f.pairs)[:, :, None])[:, :, 0].T
            if flies:
                value = value + (drift[:, 0] + 0.5 * drift[:, 1] * t) * t
                slope = slope + drift[:, 0] + drift[:, 1] * t
            return value + level, slope

        step = f.step[fam]
        right, left = step * (at + 1), step * at
        far, near = beyond(right)[0], beyond(left)[0]
        # a stretch may begin on the border itself: then only the far end brackets the way out
        crossing = (at > 0) & (near * far < 0)
        share = near / np.where(crossing, near - far, 1.0)
        t = np.where(crossing, left + share * (right - left), right)
        for _ in range(MOST_NEWTON_STEPS):
            value, slope = beyond(t)
            same = value * far > 0
            right = np.where(same, np.minimum(right, t), right)
            left = np.where(same, left, np.maximum(left, t))
            change = -value / np.where(slope == 0.0, np.inf, slope)
            slack = 1e-12 * right
            newton = t + change
            inside = (newton >= left - slack) & (newton <= right + slack)
            t = np.where(inside, newton, 0.5 * (left + right))
            # the step after one so small would be lost in rounding
            if bool(((inside & (np.abs(change) <= 1e-8 * t)) | (right - left <= slack)).all()):
                break
        return np.asarray(t)
