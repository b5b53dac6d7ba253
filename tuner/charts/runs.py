"""The runs that a picture shows, with the label people know them by.

Takes fits and judgements; gives `Run` and the speed of the target.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from tuner.fitting.results import Fit
from tuner.records import SIDES, Side

if TYPE_CHECKING:
    from tuner.judging import Judgement

# the trade's word for each side, always together with what the shaft does
SIDE_WORDS: dict[Side, str] = {
    "compression": "compression (shaft going in)",
    "rebound": "rebound (shaft coming out)",
}
SIDE_MOTION: dict[Side, str] = {"compression": "going in", "rebound": "coming out"}


class Run(NamedTuple):
    """One setting of one damper: what to call it, and its fit (repeats already combined)."""

    label: str
    fit: Fit


def target_speed(judged: Sequence[tuple[str, Judgement]]) -> float | None:
    """Give the reference speed [m/s] that the target is judged at, None without a target or a damping ratio."""
    for _, judgement in judged:
        for side in SIDES if judgement.target is not None else ():
            at = judgement.side(side).at_target
            if at is not None:
                return at.speed
    return None
