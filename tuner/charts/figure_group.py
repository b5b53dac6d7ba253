"""Figures that stand together under one title: what report and dashboard draw.

Takes nothing; gives `NamedFigure`, `FigureGroup`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import plotly.graph_objects as go

    from tuner.judging import Judgement

Judged = Sequence[tuple[str, "Judgement"]]  # (label, judgement) of each run


class NamedFigure(NamedTuple):
    """A name that is unique on its page, a label that tells it from others of its group, and how it is drawn."""

    name: str
    label: str
    draw: Callable[[], go.Figure]

    @property
    def figure(self) -> go.Figure:
        """The figure, drawn anew every time."""
        return self.draw()


@dataclass(frozen=True, slots=True, eq=False)
class FigureGroup:
    """One or more figures under a title and a caption."""

    title: str
    caption: str
    figures: tuple[NamedFigure, ...]
