"""The ground that drives before and after have in common, found in the recordings themselves.

Takes the traces of the drives of both settings; gives `SharedGround`.

The first drive before is the map: each other drive is lined up with it, and what every drive passed is shared.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tuner.estimates import Estimate, Note
from tuner.fitting.traces import DriveTrace
from tuner.signals.ground import STRETCH, SameGround, line_up

ENOUGH_STRETCHES = 3  # fewer may look alike by chance
OTHER_PACE = 0.03  # share by which the pace may differ unnamed (common practice, no source)


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of one drive [s], as in its recording."""

    start: float
    end: float


@dataclass(frozen=True, slots=True, eq=False)
class SharedGround:
    """What the drives share: per drive one `Piece` for every shared stretch, all in the same order.

    A drive over other ground has none. shared : share of the first drive's length that all drives passed.
    pace : how much faster the drives after went than those before (1.06 = 6 % faster). Without any pieces the ground
    is not the same, or none that can be recognised.
    """

    before: tuple[tuple[Piece, ...], ...] = ()
    after: tuple[tuple[Piece, ...], ...] = ()
    shared: float = 0.0
    pace: float = 1.0
    notes: tuple[Note, ...] = ()

    @property
    def found(self) -> bool:
        """Whether the drives share ground."""
        return bool(self.before)


def shared_ground(before: Sequence[DriveTrace], after: Sequence[DriveTrace]) -> SharedGround:
    """Line every drive up with the first one before; at least one drive on either side."""
    first = before[0]
    if first.duration < ENOUGH_STRETCHES * STRETCH:
        short = Note("other-ground", case="short", time=Estimate.exact(first.duration, "s"))
        return SharedGround(notes=(short,))
    others = [_passed(first, other) for other in (*before[1:], *after)]
    whole = {key: Piece(key, key + STRETCH) for pieces in others for key in pieces}
    passed = [whole, *others]
    alike = [True, *(len(pieces) >= ENOUGH_STRETCHES for pieces in others)]
    if not any(alike[len(before) :]):
        return SharedGround(notes=(Note("other-ground", case="nowhere"),))
    known = [pieces for pieces, good in zip(passed, alike, strict=True) if good]
    common = sorted(set.intersection(*(set(pieces) for pieces in known)))
    if len(common) < ENOUGH_STRETCHES:
        return SharedGround(notes=(Note("other-ground", case="little"),))
    rows = [
        tuple(pieces[key] for key in common) if good else ()
        for pieces, good in zip(passed, alike, strict=True)
    ]
    count, strangers = len(before), alike.count(False)
    length = sum(piece.end - piece.start for piece in rows[0])
    share = min(length / first.duration, 1.0)
    stretch = Estimate.exact(STRETCH, "s")
    notes = [Note("same-ground", share=share, stretches=len(common), stretch=stretch)]
    if strangers:
        notes.append(Note("other-ground", drives=strangers, of_drives=len(passed)))
    return SharedGround(tuple(rows[:count]), tuple(rows[count:]), share, _pace(rows, count), tuple(notes))


def pace_notes(ground: SharedGround) -> tuple[Note, ...]:
    """Name another pace as something that changes every measure of a drive."""
    if abs(ground.pace - 1.0) <= OTHER_PACE:
        return ()
    return (Note("other-pace", pace=ground.pace - 1.0),)


def _passed(first: DriveTrace, other: DriveTrace) -> dict[float, Piece]:
    found = line_up(first.time, first.travel, other.time, other.travel)
    return {_key(one): Piece(one.start_b, one.end_b) for one in found}


def _key(one: SameGround) -> float:
    return round(one.start_a, 3)


def _pace(rows: Sequence[Sequence[Piece]], count: int) -> float:
    lengths = [sum(piece.end - piece.start for piece in row) for row in rows]
    one, other = ([x for x in part if x > 0] for part in (lengths[:count], lengths[count:]))
    return (sum(one) / len(one)) / (sum(other) / len(other))
