"""A whole drive as lines of recorder paper: where the shaft was, where it rode on average, where it met its stops.

Takes the trace that a drive's fit keeps; gives a figure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from tuner.charts.drawing import Drawing
from tuner.charts.theme import (
    FOOT,
    HEAD,
    LEGEND_LEFT,
    LIGHT,
    Look,
    RunStyle,
    axis_style,
    blank_drawing,
    note,
    plain,
    room_left,
    run_style,
    scale,
    settle,
)
from tuner.estimates import Array
from tuner.fitting.traces import DriveTrace
from tuner.units import System

LINE_SECONDS = 40.0  # of a drive on one line of paper, more when it would take too many lines
MOST_LINES = 6
PER_LINE = 96  # pixels
CELLS = 420  # columns of the envelope on one line
GAP = 0.22  # white between two lines, over the height of a line


def drive_figure(
    label: str,
    trace: DriveTrace,
    system: System = "metric",
    look: Look = LIGHT,
    *,
    full: float | None = None,
    static: float | None = None,
    shared: Sequence[tuple[float, float]] = (),
    position: int = 1,
    of: int = 1,
) -> go.Figure:
    """Draw travel over time, cut into lines below each other like writing; up is in.

    full, static : the damper's travel and its travel at rest [m], None where unknown. shared : stretches [s] of ground
    that another drive passed too, marked under the line.
    """
    travel = scale("length", system)
    style = run_style(position, look, of)
    seconds = max(LINE_SECONDS, math.ceil(trace.duration / MOST_LINES / 5.0) * 5.0)
    lines = max(1, math.ceil(trace.duration / seconds - 1e-6))
    low = min(0.0, float(trace.travel.min()))
    high = max(float(trace.travel.max()), 0.0 if full is None else full)
    height = (high - low) * (1.0 + GAP)
    end = high if full is None else full
    figure = blank_drawing(
        look,
        height=HEAD + FOOT + PER_LINE * lines,
        words=f"Shaft travel over the whole drive {label}, {trace.duration:.0f} s on {lines} lines: envelope of the "
        "motion, mean position and arrivals at the stops.",
    )
    for line in range(lines):
        _line(figure, trace, line, seconds, (low, high, height), travel.show, travel.label, style, look)
        _limits(figure, line, seconds, height, full, static, look)
    _stops(figure, trace, seconds, height, full, look)
    _shared(figure, shared, trace.start, seconds, height, low, look)
    names = ["0", f"{float(travel.show(end)):.3g}"]
    figure.update_layout(
        xaxis=axis_style(look, "seconds along the line", range=[-0.01 * seconds, 1.01 * seconds]),
        yaxis=axis_style(
            look,
            f"travel ({travel.label}), in ↑",
            range=[-(lines - 1) * height + low - 0.1 * height, high + 0.12 * height],
            showgrid=False,
            tickvals=_flat([[-line * height, -line * height + end] for line in range(lines)]),
            ticktext=names * lines,
        ),
        legend=LEGEND_LEFT,
    )
    settle(figure, room_left(names, titled=True), top=HEAD)
    return figure.finished()


def _flat(pairs: Sequence[Sequence[float]]) -> list[float]:
    return [value for pair in pairs for value in pair]


def _line(
    figure: Drawing,
    trace: DriveTrace,
    line: int,
    seconds: float,
    frame: tuple[float, float, float],
    show: object,
    unit: str,
    style: RunStyle,
    look: Look,
) -> None:
    """Draw the envelope and the mean of one line of paper."""
    per = round(seconds / trace.step)
    part = trace.travel[line * per : (line + 1) * per]
    if len(part) < 4:
        return
    cells = min(CELLS, len(part))
    edges = np.linspace(0, len(part), cells + 1).astype(int)
    lowest = np.minimum.reduceat(part, edges[:-1])
    highest = np.maximum.reduceat(part, edges[:-1])
    mean = np.add.reduceat(part, edges[:-1]) / np.diff(edges)
    time = (edges[:-1] + 0.5 * np.diff(edges)) * trace.step
    shift = -line * frame[2]
    first = line == 0
    around = np.concatenate([time, time[::-1]])
    figure.add_scatter(
        x=plain(around),
        y=plain(np.concatenate([highest, lowest[::-1]]) + shift),
        mode="lines",
        fill="toself",
        fillcolor=style.fill,
        line={"color": style.colour, "width": 0.8},
        name="motion",
        legendgroup="motion",
        showlegend=first,
        hoverinfo="skip",
    )
    slow = _smoothed(mean, max(1, round(2.0 / (time[1] - time[0]))))
    shown = np.asarray(show(slow))  # type: ignore[operator]
    figure.add_scatter(
        x=plain(time),
        y=plain(slow + shift),
        mode="lines",
        name="mean over 2 s",
        legendgroup="mean",
        showlegend=first,
        line={"color": look.ink, "width": 1.8},
        customdata=[
            [float(f"{line * seconds + t:.1f}"), float(f"{x:.4g}")] for t, x in zip(time, shown, strict=True)
        ],
        hovertemplate=f"at %{{customdata[0]}} s<br>mean position %{{customdata[1]}} {unit}<extra></extra>",
    )


def _smoothed(values: Array, width: int) -> Array:
    """Mean over `width` neighbours, shorter at the ends."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    index = np.arange(len(values))
    first, last = np.maximum(index - width // 2, 0), np.minimum(index + width - width // 2, len(values))
    return np.asarray((total[last] - total[first]) / (last - first))


def _limits(
    figure: Drawing,
    line: int,
    seconds: float,
    height: float,
    full: float | None,
    static: float | None,
    look: Look,
) -> None:
    """Rule the ends of the travel and the position at rest on one line of paper."""
    shift = -line * height
    rules = [(0.0, look.axis, "solid"), (full, look.axis, "solid"), (static, look.target_edge, "dot")]
    for level, colour, dash in rules:
        if level is not None:
            figure.add_shape(
                type="line",
                x0=0.0,
                x1=seconds,
                y0=level + shift,
                y1=level + shift,
                line={"color": colour, "width": 1.2, "dash": dash},
                layer="below",
            )
    if static is not None and line == 0:
        note(
            figure,
            "at rest",
            x=seconds,
            y=static,
            xanchor="right",
            yanchor="bottom",
            font={"size": 11, "color": look.target_edge},
        )


def _stops(
    figure: Drawing, trace: DriveTrace, seconds: float, height: float, full: float | None, look: Look
) -> None:
    """Mark the arrivals at both ends of the travel."""
    ends = (
        ("all the way in", trace.bottomed, full, "triangle-down", 1.0),
        ("all the way out", trace.topped_out, 0.0, "triangle-up", -1.0),
    )
    for name, times, level, symbol, away in ends:
        if times is None or level is None or not len(times):
            continue
        since = times - trace.start
        line = np.floor(since / seconds)
        figure.add_scatter(
            x=plain(since - line * seconds),
            y=plain(level - line * height + away * 0.06 * height),
            mode="markers",
            name=name,
            marker={"symbol": symbol, "size": 9, "color": look.ink},
            customdata=plain(times),
            hovertemplate=f"{name} at %{{customdata:.1f}} s<extra></extra>",
        )


def _shared(
    figure: Drawing,
    shared: Sequence[tuple[float, float]],
    start: float,
    seconds: float,
    height: float,
    low: float,
    look: Look,
) -> None:
    """Underline the ground that another drive passed too."""
    x: list[float | None] = []
    y: list[float | None] = []
    for first, last in shared:
        at = first - start
        while at < last - start - 1e-6:
            line = math.floor(at / seconds + 1e-9)
            end = min(last - start, (line + 1) * seconds)
            level = low - line * height - 0.05 * height
            x += [at - line * seconds, end - line * seconds, None]
            y += [level, level, None]
            at = end
    if x:
        figure.add_scatter(
            x=x,
            y=y,
            mode="lines",
            name="same ground as the other drive",
            line={"color": look.target_edge, "width": 3},
            hoverinfo="skip",
        )
