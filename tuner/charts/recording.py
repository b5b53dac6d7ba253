"""A recording as it was measured, over time: the whole of it, and any part of it closer.

Takes a record; gives its `Channel`s and a figure of one of them, thinned so that no peak is lost.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go

from tuner.charts.theme import (
    FOOT,
    LIGHT,
    LINE,
    Look,
    axis_style,
    blank_drawing,
    plain,
    room_for_numbers,
    scale,
    settle,
)
from tuner.estimates import Array
from tuner.records import BounceRecord, CycleRecord, FlightRecord, Record, TravelRecord
from tuner.signals.thin import DRAWN, thin_extremes, thin_indices
from tuner.units import System

HELD = 400  # unseen marks that a drag over the picture takes hold of; each costs the browser time
LONGEST = 24  # characters of a line of the title at the left


@dataclass(frozen=True, slots=True, eq=False)
class Channel:
    """One quantity of a recording: its name, its kind of unit, (n,) time [s] and (n,) values in SI."""

    name: str
    kind: str
    time: Array
    values: Array

    @property
    def span(self) -> tuple[float, float]:
        """First and last time [s]."""
        return float(self.time[0]), float(self.time[-1])


def channels(record: Record) -> tuple[Channel, ...]:
    """Give what a record holds over time; nothing for tables of single points."""
    if isinstance(record, CycleRecord):
        return _cycle_channels(record)
    if isinstance(record, BounceRecord):
        kind, name = (
            ("acceleration", "acceleration of the body, up")
            if record.quantity == "acceleration"
            else ("length", "shaft travel, in")
        )
        return (Channel(name, kind, record.time, record.signal),)
    if isinstance(record, TravelRecord):
        return (Channel("shaft travel, in", "length", record.time, record.travel),)
    if isinstance(record, FlightRecord):
        return _flight_channels(record)
    return ()


def _cycle_channels(record: CycleRecord) -> tuple[Channel, ...]:
    """Lay the tests of a bench one after the other."""
    tests = record.tests
    starts: list[float] = []
    end = 0.0
    for test in tests:
        starts.append(end - float(test.time[0]))
        end += float(test.time[-1] - test.time[0]) + float(test.time[1] - test.time[0])
    time = _joined([test.time + start for test, start in zip(tests, starts, strict=True)])
    found = [
        Channel("force", "force", time, _joined([test.force for test in tests])),
        Channel("shaft travel, in", "length", time, _joined([test.travel for test in tests])),
    ]
    velocities = [test.velocity for test in tests if test.velocity is not None]
    if len(velocities) == len(tests):
        found.append(Channel("shaft velocity, in", "speed", time, _joined(velocities)))
    return tuple(found)


def _joined(parts: list[Array]) -> Array:
    return parts[0] if len(parts) == 1 else np.concatenate(parts)


def _flight_channels(record: FlightRecord) -> tuple[Channel, ...]:
    size = np.sqrt(np.einsum("ij,ij->i", record.acceleration, record.acceleration))
    found = [Channel("acceleration, size", "acceleration", record.time, size)]
    found += [
        Channel(f"acceleration, phone axis {axis}", "acceleration", record.time, record.acceleration[:, i])
        for i, axis in enumerate("xyz")
    ]
    if record.rotation is not None:
        found += [
            Channel(f"rotation rate, phone axis {axis}", "angular rate", record.time, record.rotation[:, i])
            for i, axis in enumerate("xyz")
        ]
    return tuple(found)


def recording_figure(
    channel: Channel,
    window: tuple[float, float] | None = None,
    system: System = "metric",
    look: Look = LIGHT,
    *,
    selectable: bool = False,
    most: int = DRAWN,
) -> go.Figure:
    """Draw a channel, or the part of it between two times [s], with at most `most` points.

    The lowest and the highest sample of every stretch are kept. `selectable` makes a drag over the picture mark a
    stretch of time.
    """
    first, last = channel.span if window is None else (min(window), max(window))
    start = int(np.searchsorted(channel.time, first, side="left"))
    stop = int(np.searchsorted(channel.time, last, side="right"))
    values, time = channel.values[start:stop], channel.time[start:stop]
    kept = thin_extremes(values, most)
    shown = scale(channel.kind, system)
    drawn = (
        "every sample" if len(kept) == len(values) else f"{len(kept)} of {len(values)} samples, peaks kept"
    )
    figure = blank_drawing(
        look,
        height=247 if selectable else 317,
        words=f"{channel.name} over time from {first:.4g} to {last:.4g} s: {drawn}.",
    )
    title = textwrap.wrap(f"{channel.name} ({shown.label})", LONGEST)
    decimals = _decimals(last - first)
    x, y = [round(float(t), decimals + 3) for t in time[kept]], plain(shown.show(values[kept]))
    figure.add_scatter(
        x=x,
        y=y,
        mode="lines",
        line={"color": look.runs[1], "width": 1.3},
        showlegend=False,
        hovertemplate=f"%{{x:.{decimals}f}} s<br>{channel.name} %{{y}} {shown.label}<extra></extra>",
    )
    figure.update_layout(
        xaxis=axis_style(look, f"time (s)<br>{drawn}", range=[first, last]),
        yaxis=axis_style(look, "<br>".join(title), nticks=6),
    )
    left = room_for_numbers(*(trace["y"] for trace in figure.traces)) + LINE * (len(title) - 1)
    settle(figure, left, top=12, bottom=FOOT + LINE)
    if selectable:
        figure.update_layout(dragmode="select", selectdirection="h")
        held = thin_indices(len(x), HELD)
        figure.add_scatter(
            x=[x[i] for i in held],
            y=[y[i] for i in held],
            mode="markers",
            marker={"size": 1, "opacity": 0.01, "color": look.runs[1]},
            showlegend=False,
            hoverinfo="skip",
        )
    return figure.finished()


def _decimals(span: float) -> int:
    """Digits after the point so that a picture of that many seconds tells its samples apart."""
    return int(np.clip(3 - np.floor(np.log10(max(span, 1e-9))), 1, 7))
