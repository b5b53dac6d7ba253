"""A picture while it is being drawn: plain values that are checked once, when it is finished.

Takes traces, shapes, words and settings as plotly names them; gives the figure.

A plotly figure checks all of itself at every step of drawing: the same picture took five times as long.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import plotly.graph_objects as go


class Drawing:
    """Traces and a layout, gathered; finishing it raises ValueError for what plotly does not know."""

    def __init__(self, **layout: Any) -> None:
        self.traces: list[dict[str, Any]] = []
        self._layout: dict[str, Any] = {"shapes": [], "annotations": []}
        self.update_layout(layout)

    def add_scatter(self, **trace: Any) -> None:
        """Add a trace of points and lines."""
        self.traces.append(trace)

    def add_shape(self, **shape: Any) -> None:
        """Add a line or a field."""
        self._layout["shapes"].append(shape)

    def add_annotation(self, note: Mapping[str, Any]) -> None:
        """Add words."""
        self._layout["annotations"].append(dict(note))

    def update_layout(self, settings: Mapping[str, Any] | None = None, **more: Any) -> None:
        """Lay settings over those that are there, at every depth."""
        _lay_over(self._layout, {**(settings or {}), **more})

    def finished(self) -> go.Figure:
        """Give the figure; a browser that gets the same one again sees that nothing is to be redrawn."""
        revision = hashlib.sha256(repr(list(_lists(self.traces))).encode()).hexdigest()[:16]
        figure = go.Figure({"data": self.traces, "layout": self._layout | {"datarevision": revision}})
        figure.layout.template = None  # browsers take any object here for a change of the whole picture
        return figure


def _lay_over(under: dict[str, Any], over: Mapping[str, Any]) -> None:
    for name, value in over.items():
        if isinstance(value, Mapping):
            within = under.setdefault(name, {})
            _lay_over(within, value)
        else:
            under[name] = value


def _lists(traces: Iterable[Mapping[str, Any]]) -> Iterator[Any]:
    """Give what the traces hold in lists: what a browser does not compare by itself."""
    for trace in traces:
        for name, value in trace.items():
            if isinstance(value, Mapping):
                yield from _lists([value])
            elif isinstance(value, list | tuple):
                yield name, value
