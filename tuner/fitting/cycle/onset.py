"""Which parts of each stroke carry the law: not the turn itself, not the dead stroke after it.

Takes `StrokeTable` and a first `Balance`; gives masks of parts.
"""

from __future__ import annotations

import numpy as np

from tuner.fitting.cycle.balance import Balance, Mask
from tuner.fitting.cycle.strokes import StrokeTable

SLOWEST = 0.005  # parts below this speed hold breakaway friction, not damping [m/s]
ENGAGED = 0.85  # share of the law's force from which a stroke counts as engaged
MARGIN = 2  # parts left out behind the place where the force comes up
STEADY = 0.15  # change of speed over one part, as a share of the peak: a sine makes 0.05, a corner much more
CLEAR_SPEED = 0.03  # peak speed from which a test shows a dead stroke against friction [m/s]
CORNER = 4  # parts left out on both sides of a corner, where the speed is a blur of both sides


def late_half(table: StrokeTable) -> Mask:
    """Mark the second half of every stroke, where no dead stroke reaches, down to a slow speed."""
    return np.asarray((table.phase[None, :] > 0.5) & _moving(table))


def _moving(table: StrokeTable) -> Mask:
    """Mark parts that move fast enough and not through a corner of the motion."""
    speed = table.velocity * table.direction[:, None]
    fast = speed > np.maximum(SLOWEST, 0.06 * table.peak[:, None])
    corner = np.abs(np.diff(speed, axis=1)) > STEADY * table.peak[:, None]
    turned = np.abs(speed[:, [0, -1]]) > 0.5 * table.peak[:, None]  # no gentle turn at an end of the stroke
    beside = np.zeros(speed.shape, dtype=bool)
    for shift in range(-CORNER, CORNER + 1):
        low, high = max(0, shift), min(speed.shape[1], corner.shape[1] + shift)
        beside[:, low:high] |= corner[:, low - shift : high - shift]
    beside[:, :CORNER] |= turned[:, :1]
    beside[:, -CORNER:] |= turned[:, 1:]
    return np.asarray(fast & ~beside & ~table.overloaded)


def engaged(table: StrokeTable, balance: Balance) -> Mask:
    """Mark every part from where the force has come up to what the free curve asks for.

    The place is found on the mean of a test's strokes in one direction, since one stroke alone is noisy. Tests
    too slow to show it against friction are cut at the distance that the faster ones show.
    """
    out = _moving(table)
    since = np.abs(table.travel - table.travel[:, :1])
    for d in (1.0, -1.0):
        distances = []
        slow = []
        for number in np.unique(table.test):
            mine = (table.test == number) & (table.direction == d)
            if not mine.any():
                continue
            if float(np.median(table.peak[mine])) < CLEAR_SPEED:
                slow.append(mine)
                continue
            first = _first_part(table, balance, mine, d)
            out[np.ix_(mine, np.arange(first))] = False
            distances.append(float(since[mine][:, min(first, since.shape[1] - 1)].mean()) if first else 0.0)
        for mine in slow:
            reach = float(np.median(distances)) if distances else 0.0
            out[mine] &= since[mine] >= reach
    return np.asarray(out)


def _first_part(table: StrokeTable, balance: Balance, mine: Mask, d: float) -> int:
    """Give the first part of the strokes `mine` that carries the law."""
    measured = balance.damping[mine].mean(axis=0)
    effective = balance.effective[mine].mean(axis=0)
    wanted = balance.force_at(d, np.maximum(effective, 0.0))
    slack = 3.0 * float(table.noise[mine].mean()) / np.sqrt(mine.sum()) + 0.5 + 0.1 * abs(balance.friction)
    early = np.flatnonzero((measured < ENGAGED * wanted - slack) & (table.phase < 0.6))
    return min(int(early[-1]) + 1 + MARGIN, table.phase.size) if early.size else 0
