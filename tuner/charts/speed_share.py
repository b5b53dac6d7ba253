"""How much of a drive the shaft spends at which speed: strips of paper cut to the share of the time.

Takes runs of drives; gives a figure, going in above, coming out below, one row per class of speed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import plotly.graph_objects as go

from tuner.charts.drawing import Drawing
from tuner.charts.rows import lay_panels
from tuner.charts.runs import Run
from tuner.charts.theme import (
    LEGEND_LEFT,
    LIGHT,
    Look,
    RunStyle,
    blank_drawing,
    room_left,
    run_style,
    scale,
    shown_label,
)
from tuner.fitting.results import DriveFit, SpeedShare, as_a
from tuner.records import SIDES, Side
from tuner.units import System

PER_ROW = 34
THIN = 0.3  # height of a strip, rows are 1 apart


def speed_share_figure(runs: Sequence[Run], system: System = "metric", look: Look = LIGHT) -> go.Figure:
    """Draw the share of the time at each speed with its 95 % interval; classes no run reached are left out."""
    speed = scale("speed", system)
    names = " and ".join(run.label for run in runs)
    figure = blank_drawing(
        look,
        height=100,
        words=f"Share of the time that the shaft moves at each speed, going in and coming out, for {names}.",
    )
    classes = {side: _classes(runs, side) for side in SIDES}
    most = max(
        [min(share.share.high, 1.4 * share.share.value) for run in runs for share in _of(run)] + [0.05]
    )
    panels = lay_panels(
        figure,
        {side: tuple(low for low, _ in classes[side]) for side in SIDES},
        speed,
        look,
        per_row=PER_ROW,
        title="share of the time (%)",
        xaxis={"range": [0.0, 108.0 * most], "nticks": 7},
        remarks=dict.fromkeys(SIDES, f"rows: speed of the shaft in {speed.label}"),
        legend=26,
        empty="the shaft did not move",
    )
    for side, panel in panels.items():
        axis = panel.yaxis.replace("y", "yaxis")
        ticks = [_class_name(low, high, system) for low, high in classes[side]]
        figure.update_layout({axis: {"ticktext": ticks}})
        for position, run in enumerate(runs):
            style = run_style(position, look, len(runs))
            shift = 0.0 if len(runs) == 1 else -0.2 + 0.4 * position / (len(runs) - 1)
            rows = [
                (panel.place[one.low] + shift, one)
                for one in _of(run)
                if one.side == side and one.low in panel.place
            ]
            _strips(figure, run.label, rows, style, panel.xaxis, panel.yaxis, legend=side == SIDES[0])
    class_names = [_class_name(low, high, system) for side in SIDES for low, high in classes[side]]
    figure.update_layout(margin={"l": room_left(class_names or ["0"], titled=False)})
    figure.update_layout(legend=LEGEND_LEFT | {"traceorder": "normal"})
    return figure.finished()


def _of(run: Run) -> tuple[SpeedShare, ...]:
    return as_a(DriveFit, run.fit).time_share


def _classes(runs: Sequence[Run], side: Side) -> list[tuple[float, float]]:
    found = {
        (one.low, one.high) for run in runs for one in _of(run) if one.side == side and one.share.value > 0
    }
    return sorted(found)


def _class_name(low: float, high: float, system: System) -> str:
    speed = scale("speed", system)
    first = f"{float(speed.show(low)):.3g}"
    return f"over {first}" if math.isinf(high) else f"{first} to {float(speed.show(high)):.3g}"


def _strips(
    figure: Drawing,
    label: str,
    rows: Sequence[tuple[float, Any]],
    style: RunStyle,
    xaxis: str,
    yaxis: str,
    *,
    legend: bool,
) -> None:
    """Draw one run's strips: a see-through strip with a firm end, the interval across the end."""
    outline_x: list[float | None] = []
    outline_y: list[float | None] = []
    for place, one in rows:
        end, half = 100.0 * one.share.value, 0.5 * THIN
        outline_x += [0.0, end, end, 0.0, None]
        outline_y += [place - half, place - half, place + half, place + half, None]
    figure.add_scatter(
        x=outline_x,
        y=outline_y,
        mode="lines",
        fill="toself",
        fillcolor=style.fill,
        line={"color": style.colour, "width": 1.2, "dash": style.dash},
        name=shown_label(label),
        legendgroup=label,
        showlegend=legend,
        hoverinfo="skip",
        xaxis=xaxis,
        yaxis=yaxis,
    )
    shares = [one.share for _, one in rows]
    figure.add_scatter(
        x=[100.0 * s.value for s in shares],
        y=[place for place, _ in rows],
        error_x={
            "type": "data",
            "symmetric": False,
            "array": [100.0 * (s.high - s.value) for s in shares],
            "arrayminus": [100.0 * (s.value - s.low) for s in shares],
            "color": style.colour,
            "thickness": 1.6,
            "width": 3,
        },
        mode="markers",
        marker={
            "symbol": style.symbol,
            "size": 8,
            "color": style.colour,
            "line": {"width": 1.6, "color": style.colour},
        },
        legendgroup=label,
        showlegend=False,
        customdata=[[100.0 * s.low, 100.0 * s.high] for s in shares],
        hovertemplate=f"<b>{shown_label(label)}</b><br>%{{x:.2f}} % of the time<br>"
        "95 % interval %{customdata[0]:.2f} to %{customdata[1]:.2f} %<extra></extra>",
        xaxis=xaxis,
        yaxis=yaxis,
    )
