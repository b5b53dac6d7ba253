"""Bounces as strips of recorder paper: what was measured, the fit over it, what is left on demand.

Takes the traces that a bounce fit keeps; gives a figure.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

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
from tuner.fitting.traces import BounceTrace
from tuner.signals.thin import thin_extremes
from tuner.units import System

MOST_STRIPS = 12
PER_STRIP = 58  # pixels
MOST_SAMPLES = 260  # drawn of one strip
APART = 0.55  # distance of two strips over the largest swing of all


def bounce_figure(
    label: str,
    traces: Sequence[BounceTrace],
    system: System = "metric",
    look: Look = LIGHT,
    *,
    position: int = 1,
    of: int = 1,
) -> go.Figure:
    """Draw every bounce over the time since it rings freely, one strip below the other, all to one scale.

    The differences between measured and fitted are there and shown when their name in the legend is chosen.
    `position` of `of` runs sets the colour.
    """
    shown = traces[:MOST_STRIPS]
    quantity = "acceleration" if shown[0].quantity == "acceleration" else "length"
    unit = scale(quantity, system)
    style = run_style(position, look, of)
    what = "acceleration of the body" if quantity == "acceleration" else "shaft travel"
    figure = blank_drawing(
        look,
        height=HEAD + FOOT + PER_STRIP * (len(shown) + 1),
        words=f"{len(shown)} bounces of {label}, one strip each: measured {what} dotted, the fit as a line over it.",
    )
    swing = max(float(np.ptp(unit.show(trace.measured))) for trace in shown)
    step = APART * swing
    above, below = (_beyond(trace, unit.show) for trace in (shown[0], shown[-1]))
    _strips(figure, shown, step, unit.show, unit.label, style, look)
    _marks(figure, shown, step, look)
    _scale_bar(figure, swing, unit.label, step, look)
    names = [_strip_name(trace, row) for row, trace in enumerate(shown)]
    figure.update_layout(
        xaxis=axis_style(look, "time since it rings freely (s)", zeroline=True, zerolinecolor=look.axis),
        yaxis=axis_style(
            look,
            range=[-(len(shown) - 1) * step - below[1], above[0]],
            showgrid=False,
            ticks="",
            tickvals=[-row * step for row in range(len(shown))],
            ticktext=names,
        ),
        legend=LEGEND_LEFT,
    )
    settle(figure, room_left(names, titled=False), top=HEAD)
    return figure.finished()


def _beyond(trace: BounceTrace, show: Callable[[Array], Array]) -> tuple[float, float]:
    """Room that a strip needs above and below its level, with a margin."""
    values = show(trace.measured)
    middle = _rest(show(trace.fitted))
    reach = float(np.ptp(values))
    return float(values.max()) - middle + 0.08 * reach, middle - float(values.min()) + 0.08 * reach


def _rest(fitted: Array) -> float:
    """Where a strip comes to rest: the mean of its last tenth."""
    return float(fitted[-max(len(fitted) // 10, 1) :].mean())


def _strip_name(trace: BounceTrace, row: int) -> str:
    return f"<b>{row + 1}</b>  at {trace.start:.1f} s"


def _strips(
    figure: Drawing,
    shown: Sequence[BounceTrace],
    step: float,
    show: Callable[[Array], Array],
    unit: str,
    style: RunStyle,
    look: Look,
) -> None:
    """Draw every strip about its level: all in one trace of each kind, with gaps between them."""
    columns: dict[str, list[float | None]] = {
        name: [] for name in ("time", "measured", "fitted", "left", "m", "f")
    }
    for row, trace in enumerate(shown):
        kept = thin_extremes(trace.measured, MOST_SAMPLES)
        measured, fitted = show(trace.measured)[kept], show(trace.fitted)[kept]
        away = -_rest(show(trace.fitted)) - row * step
        drawn = {
            "time": trace.time[kept],
            "measured": measured + away,
            "fitted": fitted + away,
            "left": measured - fitted - row * step,
            "m": measured,
            "f": fitted,
        }
        for name, values in drawn.items():
            columns[name] += [*plain(values), None]
    figure.add_scatter(
        x=columns["time"],
        y=columns["measured"],
        mode="lines",
        name="measured",
        line={"color": look.soft, "width": 3, "dash": "1.5px,2.5px"},
        customdata=columns["m"],
        hovertemplate=f"%{{x:.2f}} s<br>measured %{{customdata:.2f}} {unit}<extra></extra>",
    )
    figure.add_scatter(
        x=columns["time"],
        y=columns["fitted"],
        mode="lines",
        name="fitted",
        line={"color": style.colour, "width": 1.9},
        customdata=columns["f"],
        hovertemplate=f"%{{x:.2f}} s<br>fitted %{{customdata:.2f}} {unit}<extra></extra>",
    )
    figure.add_scatter(
        x=columns["time"],
        y=columns["left"],
        mode="lines",
        name="left over",
        visible="legendonly",
        line={"color": look.target_edge, "width": 1},
        hoverinfo="skip",
    )


def _marks(figure: Drawing, shown: Sequence[BounceTrace], step: float, look: Look) -> None:
    """Rule a line under every strip, as recorder paper has."""
    for row in range(len(shown)):
        figure.add_shape(
            type="line",
            xref="x domain",
            x0=0,
            x1=1,
            yref="y",
            y0=-row * step,
            y1=-row * step,
            line={"color": look.grid, "width": 1},
            layer="below",
        )


def _scale_bar(figure: Drawing, swing: float, unit: str, step: float, look: Look) -> None:
    """Draw a bar of a round length at the right, since the strips share one axis without numbers."""
    length = _round(0.4 * swing)
    figure.add_shape(
        type="line",
        xref="paper",
        x0=0.995,
        x1=0.995,
        yref="y",
        y0=0.0,
        y1=length,
        line={"color": look.ink, "width": 3},
    )
    text = f"{length:g} {unit}"
    note(figure, text, xref="paper", yref="y", x=0.985, y=0.5 * length, xanchor="right", bgcolor=look.paper)


def _round(value: float) -> float:
    """Give the largest of 1, 2, 5 times a power of ten that is not above `value` > 0."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(max(m * power for m in (1.0, 2.0, 5.0) if m * power <= value * (1 + 1e-9)))
