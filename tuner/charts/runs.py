"""The runs that a picture shows, with the label people know them by.

Takes fits and comparisons; gives `Run`. Uses: fitting results, comparing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from tuner.fitting.results import DampingFit
from tuner.records import Side

if TYPE_CHECKING:
    from tuner.comparing import Comparison

# the trade's word for each side, always together with what the shaft does
SIDE_WORDS: dict[Side, str] = {
    "compression": "compression (shaft going in)",
    "rebound": "rebound (shaft coming out)",
}
SIDE_MOTION: dict[Side, str] = {"compression": "going in", "rebound": "coming out"}


class Run(NamedTuple):
    """One setting of one damper: what to call it, and its fit (repeats already combined)."""

    label: str
    fit: DampingFit


def runs_of(comparison: Comparison, labels: tuple[str, str] = ("before", "after")) -> tuple[Run, Run]:
    """Give the two runs of a comparison."""
    return Run(labels[0], comparison.before.fit), Run(labels[1], comparison.after.fit)
