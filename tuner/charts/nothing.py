"""A picture of nothing, with one of everything: whoever has drawn it has loaded all that pictures need.

Takes nothing; gives a figure.
"""

from __future__ import annotations

import functools

import plotly.graph_objects as go

from tuner.charts.theme import LIGHT, axis_style, blank_drawing, note, run_style, settle


@functools.cache
def nothing_figure() -> go.Figure:
    """Draw a band, a line, marks with intervals, a field, words and a legend of nothing."""
    figure = blank_drawing(LIGHT, height=120, words="")
    style = run_style(0, LIGHT)
    line = {"color": style.colour, "dash": style.dash, "width": style.width}
    figure.add_scatter(
        x=[0.0, 1.0, 1.0, 0.0],
        y=[0.0, 0.9, 1.1, 0.2],
        mode="lines",
        fill="toself",
        fillcolor=style.fill,
        line={"width": 0},
        showlegend=False,
    )
    figure.add_scatter(x=[0.0, 1.0], y=[0.1, 1.0], mode="lines", name="line", line=line)
    figure.add_scatter(
        x=[0.25, 0.75],
        y=[0.25, 0.75],
        mode="markers",
        name="marks",
        marker={"symbol": style.symbol, "size": 9, "line": {"width": 1.6}},
        error_x={"type": "data", "array": [0.1, 0.1], "arrayminus": [0.1, 0.2], "symmetric": False},
    )
    figure.add_shape(type="rect", x0=0.2, x1=0.4, y0=0.0, y1=1.0, fillcolor=LIGHT.target_fill, layer="below")
    note(figure, "<b>words</b><br>below", x=0.5, y=0.5)
    figure.update_layout(xaxis=axis_style(LIGHT, "across"), yaxis=axis_style(LIGHT, "up", zeroline=True))
    settle(figure, 60, top=20)
    return figure.finished()
