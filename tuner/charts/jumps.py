"""Jumps laid over each other from take-off on: what the frame felt, and how fast the nose turned.

Takes runs of flights; gives a figure.
"""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go

from tuner.charts.drawing import Drawing
from tuner.charts.runs import Run
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
    room_for_numbers,
    run_style,
    scale,
    settle,
    shown_label,
)
from tuner.fitting.results import JumpFit, as_a
from tuner.fitting.traces import FlightTrace
from tuner.units import GRAVITY, System

MOST_JUMPS = 8  # of one run
PANEL, BETWEEN = 210, 0.12


def jump_figure(runs: Sequence[Run], system: System = "metric", look: Look = LIGHT) -> go.Figure:
    """Draw every jump of every run over the time since take-off; the landing is marked on each line.

    The lower panel, the rate at which the nose rises, is there when a recording knows which way is up.
    """
    turning = any(trace.pitch is not None for run in runs for trace in _traces(run))
    names = " and ".join(run.label for run in runs)
    figure = blank_drawing(
        look,
        height=HEAD + FOOT + PANEL * (2 if turning else 1),
        words=f"Jumps of {names} over the time since take-off: the force that the frame felt in multiples of gravity"
        + (", and the rate at which the nose turned." if turning else "."),
    )
    lower = 0.5 + 0.5 * BETWEEN if turning else 0.0
    longest = max((trace.airtime for run in runs for trace in _traces(run)), default=1.0)
    figure.update_layout(
        xaxis=axis_style(look, "time since take-off (s)", range=[-0.5, longest + 0.8]),
        yaxis=axis_style(look, "felt by the frame (g)", domain=[lower, 1.0], rangemode="tozero"),
        legend=LEGEND_LEFT,
    )
    if turning:
        rate = scale("angular rate", system)
        figure.update_layout(
            xaxis={"anchor": "y2"},
            yaxis2=axis_style(
                look,
                f"nose up ({rate.label})",
                domain=[0.0, 0.5 - 0.5 * BETWEEN],
                zeroline=True,
                zerolinecolor=look.axis,
            ),
        )
    longest_run = max(runs, key=lambda run: max(_airtimes(run)))
    for position, run in enumerate(runs):
        style = run_style(position, look, len(runs))
        _airtime(figure, run, style, look, shaded=run is longest_run)
        for number, trace in enumerate(_traces(run)[:MOST_JUMPS]):
            _force(figure, run.label, trace, style, number)
            if trace.pitch is not None:
                _pitch(figure, run.label, trace, style, number, system)
    note(
        figure,
        "in the air",
        x=0.0,
        y=1.0,
        xref="x",
        yref="paper",
        xanchor="left",
        yanchor="top",
        xshift=4,
        yshift=-4,
    )
    settle(figure, room_for_numbers(*(trace["y"] for trace in figure.traces)), top=HEAD)
    return figure.finished()


def _traces(run: Run) -> tuple[FlightTrace, ...]:
    return as_a(JumpFit, run.fit).traces


def _airtimes(run: Run) -> tuple[float, ...]:
    """Give the mean time in the air [s]; of jumps that are unlike each other, every single one."""
    mean = as_a(JumpFit, run.fit).airtime
    return tuple(trace.airtime for trace in _traces(run)[:MOST_JUMPS]) if mean is None else (mean.value,)


def _airtime(figure: Drawing, run: Run, style: RunStyle, look: Look, *, shaded: bool) -> None:
    """Mark the time in the air of a run: a field from take-off on, and a line at the landing."""
    common = {"xref": "x", "yref": "paper", "y0": 0.0, "y1": 1.0, "layer": "below"}
    lengths = _airtimes(run)
    if shaded:
        figure.add_shape(
            type="rect", x0=0.0, x1=max(lengths), fillcolor=look.hover, line={"width": 0}, **common
        )
    line = {"color": style.colour, "width": 1.4, "dash": style.dash}
    for length in lengths:
        figure.add_shape(type="line", x0=length, x1=length, line=line, **common)


def _force(figure: Drawing, label: str, trace: FlightTrace, style: RunStyle, number: int) -> None:
    name = shown_label(label)
    figure.add_scatter(
        x=plain(trace.time),
        y=plain(trace.force / GRAVITY),
        mode="lines",
        name=name,
        legendgroup=label,
        showlegend=number == 0,
        line={"color": style.colour, "width": 1.5, "dash": style.dash},
        hovertemplate=f"<b>{name}</b>, jump {number + 1}<br>%{{x:.2f}} s, %{{y:.1f}} g<extra></extra>",
    )
    after = trace.time >= trace.airtime
    top = float(trace.force[after].max()) / GRAVITY if after.any() else 0.0
    figure.add_scatter(
        x=[round(trace.airtime, 4)],
        y=[0.0],
        mode="markers",
        cliponaxis=False,
        legendgroup=label,
        showlegend=False,
        marker={
            "symbol": style.symbol,
            "size": 10,
            "color": style.colour,
            "line": {"width": 2, "color": style.colour},
        },
        hovertemplate=f"<b>{name}</b>, jump {number + 1}<br>lands after {trace.airtime:.2f} s<br>"
        f"at most {top:.1f} g<extra></extra>",
    )


def _pitch(
    figure: Drawing, label: str, trace: FlightTrace, style: RunStyle, number: int, system: System
) -> None:
    assert trace.pitch is not None
    rate = scale("angular rate", system)
    name = shown_label(label)
    figure.add_scatter(
        x=plain(trace.time),
        y=plain(rate.show(trace.pitch)),
        mode="lines",
        yaxis="y2",
        legendgroup=label,
        showlegend=False,
        line={"color": style.colour, "width": 1.5, "dash": style.dash},
        hovertemplate=f"<b>{name}</b>, jump {number + 1}<br>%{{x:.2f}} s, %{{y:.0f}} {rate.label}<extra></extra>",
    )
