"""The motion ratio of a corner over the travel of its wheel, with the rows it was read from.

Takes a `MotionRatio`; gives a figure.
"""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go

from tuner.charts.theme import (
    LIGHT,
    Look,
    axis_style,
    blank_drawing,
    plain,
    room_for_numbers,
    run_style,
    scale,
    settle,
)
from tuner.machine import MotionRatio, ratio_over_travel
from tuner.units import System

_POINTS = 81


def linkage_figure(ratio: MotionRatio, system: System = "metric", look: Look = LIGHT) -> go.Figure:
    """Draw the damper travel over the wheel travel as read, and the smooth ratio below it.

    `ratio` must have a table; raises MachineError when no curve that rises all the way goes near its rows.
    """
    wheel = np.linspace(ratio.wheel[0], ratio.wheel[-1], _POINTS)
    damper, slope = ratio_over_travel(ratio, wheel)
    length, style = scale("length", system), run_style(1, look)
    figure = blank_drawing(
        look,
        height=330,
        words=f"Motion ratio from {slope[0]:.2f} at full droop to {slope[-1]:.2f} at full bump, "
        f"through {ratio.wheel.size} rows of the table.",
    )
    figure.add_scatter(
        x=plain(length.show(wheel)),
        y=plain(length.show(damper)),
        mode="lines",
        line={"color": style.colour, "width": style.width},
        hovertemplate=f"wheel %{{x}} {length.label}<br>damper %{{y}} {length.label}<extra>curve</extra>",
        showlegend=False,
    )
    figure.add_scatter(
        x=plain(length.show(ratio.wheel)),
        y=plain(length.show(ratio.damper)),
        mode="markers",
        marker={"symbol": style.symbol, "size": 8, "color": style.colour},
        hovertemplate=f"wheel %{{x}} {length.label}<br>damper %{{y}} {length.label}<extra>read</extra>",
        showlegend=False,
    )
    figure.add_scatter(
        x=plain(length.show(wheel)),
        y=plain(slope),
        yaxis="y2",
        mode="lines",
        line={"color": style.colour, "width": style.width},
        hovertemplate=f"wheel %{{x}} {length.label}<br>ratio %{{y:.3f}}<extra></extra>",
        showlegend=False,
    )
    middle, half = float(slope.min() + slope.max()) / 2.0, max(float(np.ptp(slope)) * 0.6, 0.05)
    figure.update_layout(
        xaxis=axis_style(look, f"wheel travel from full droop ({length.label})", anchor="y2"),
        yaxis=axis_style(look, f"damper ({length.label})", domain=[0.52, 1.0], nticks=5),
        yaxis2=axis_style(
            look, "motion ratio", domain=[0.0, 0.42], range=[middle - half, middle + half], nticks=5
        ),
    )
    settle(figure, room_for_numbers(length.show(damper)), top=12)
    return figure.finished()
