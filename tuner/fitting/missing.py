"""What is missing where single points do not tell a side: how many rows, at which speeds or masses, which readings.

Takes a balance and a way to solve it with more; gives a `Note`.

Each remedy is tried: its rows or readings are put to the points as the fitted curve foretells them, and the balance is
solved again. The first that makes the side tell is named, the cheapest first.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from tuner.estimates import Array, Estimate, Note
from tuner.fitting.points import PointBalance, ScaleReading
from tuner.fitting.results import Secant
from tuner.records import Side

FEW = 4  # fewer different speeds than this are called few
FEW_FACTOR = (
    2.0  # few points show nothing of their own scatter: the error is doubled; common practice, no source
)
SCALE_SD = 2.0  # error of a force read on a scale [N]; common practice, no source


class Remedy(NamedTuple):
    """Something that can be done: what it takes, and what it adds as foretold.

    needs : one note for each thing; speeds, forces : further points of the side [m/s, N]; readings : forces read at
    rest.
    """

    needs: tuple[Note, ...] = ()
    speeds: tuple[float, ...] = ()
    forces: tuple[float, ...] = ()
    readings: tuple[ScaleReading, ...] = ()

    def __and__(self, other: Remedy) -> Remedy:
        """Give both together."""
        return Remedy(
            self.needs + other.needs,
            self.speeds + other.speeds,
            self.forces + other.forces,
            self.readings + other.readings,
        )


def scale_readings(balance: PointBalance) -> tuple[ScaleReading, ...]:
    """Give what a slow push and a slow return would read, as far as it is foretold [N]."""
    gas, friction = (e.value for e in balance.offsets())
    return tuple(ScaleReading(1.0, sign, gas + sign * friction, SCALE_SD) for sign in (1.0, -1.0))


def missing_note(
    side: Side,
    secants: Sequence[Secant],
    points: int,
    speeds: Array,
    remedies: Sequence[Remedy],
    solved: Callable[[Remedy], PointBalance],
) -> Note | None:
    """Say that points do not tell a side, at which speeds, and what would; None where they tell it.

    `speeds` (n,) are those that were tested; `remedies` come cheapest first.
    """
    untold = [s for s in secants if not s.c.tells]
    if not untold:
        return None
    direction = 1.0 if side == "compression" else -1.0
    enough = next(
        (r for r in remedies if all(_tells(solved(r), direction, s.speed, speeds, r) for s in untold)), None
    )
    at = tuple(Estimate.exact(s.speed, "m/s") for s in untold)
    return Note("not-enough", side=side, speeds=at, rows=points, needs=() if enough is None else enough.needs)


def _tells(balance: PointBalance, direction: float, speed: float, tested: Array, remedy: Remedy) -> bool:
    """Say whether a side would be told with that remedy."""
    force, width = (float(x[0]) for x in balance.force(direction, np.array([speed])))
    half = width * error_factor(np.concatenate((tested, remedy.speeds)))
    return force > 0.0 and Estimate(force, force - half, force + half, "N").not_negative().tells


def different_speeds(speeds: Array) -> int:
    """Count the speeds that differ."""
    return int(np.unique(np.round(speeds, 6)).size)


def error_factor(speeds: Array) -> float:
    """Give what the error of points at few different speeds is multiplied by."""
    return FEW_FACTOR if 1 < different_speeds(speeds) < FEW else 1.0
