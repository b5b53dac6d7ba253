"""Damping ratio of each side against its target band, before and after, one row per reference speed.

Takes judgements with the label of their run; gives a figure.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import plotly.graph_objects as go

from tuner.charts.drawing import Drawing
from tuner.charts.rows import Panel, Speed, lay_panels, speeds_of
from tuner.charts.runs import target_speed
from tuner.charts.theme import (
    LEGEND_LEFT,
    LIGHT,
    Look,
    RunStyle,
    Scale,
    blank_drawing,
    plain,
    run_style,
    scale,
    shown_label,
)
from tuner.records import SIDES, Side
from tuner.units import System

if TYPE_CHECKING:
    from tuner.judging import Judgement, ZetaAt

PER_ROW = 36


def ratio_band_figure(
    judged: Sequence[tuple[str, Judgement]], system: System = "metric", look: Look = LIGHT
) -> go.Figure:
    """Draw zeta with its 95 % interval for every run, in rows of speed, over the target band of each side.

    Runs without a corner have no damping ratio and leave their rows empty.
    """
    speed = scale("speed", system)
    names = ", then ".join(label for label, _ in judged)
    figure = blank_drawing(
        look,
        height=100,
        words=f"Damping ratio of compression and rebound at each reference speed, {names}, with 95 % "
        "intervals and the target band.",
    )
    rows = {side: speeds_of(*([z.speed for z in j.side(side).zeta] for _, j in judged)) for side in SIDES}
    top = _top_of_axis(judged)
    bands = {side: _band_of(judged, side) for side in SIDES}
    panels = lay_panels(
        figure,
        rows,
        speed,
        look,
        per_row=PER_ROW,
        title="damping ratio (1 = critical damping)",
        xaxis={"range": [0.0, top], "nticks": 7},
        remarks={
            side: f"<span style='color:{look.target_edge}'>target {band[0]:.2f} to {band[1]:.2f}</span>"
            for side, band in bands.items()
            if band is not None
        },
        emphasised=target_speed(judged),
        legend=26,
        empty="no damping ratio: not seen in the test, or no corner given",
    )
    for side, panel in panels.items():
        band = bands[side]
        if band is not None:
            _draw_band(figure, panel, band, look)
        _join(figure, judged, panel, look)
        for position, (label, judgement) in enumerate(judged):
            style = run_style(position, look, len(judged))
            shift = 0.0 if len(judged) == 1 else (-0.17 + 0.34 * position / (len(judged) - 1))
            _draw_run(figure, panel, shown_label(label), judgement.side(side).zeta, shift, style, speed)
    figure.update_layout(legend=LEGEND_LEFT | {"traceorder": "normal"})
    return figure.finished()


def _band_of(judged: Sequence[tuple[str, Judgement]], side: Side) -> tuple[float, float] | None:
    return next((j.side(side).band for _, j in judged if j.side(side).band is not None), None)


def _top_of_axis(judged: Sequence[tuple[str, Judgement]]) -> float:
    """Room for every value and band, and for an interval up to half as much again as the largest value."""
    sides = [j.side(side) for _, j in judged for side in SIDES]
    values = [z.zeta for s in sides for z in s.zeta]
    bands = [s.band[1] for s in sides if s.band is not None]
    largest = max([z.value for z in values] + bands, default=1.0)
    return max([min(z.high, 1.5 * largest) for z in values] + bands + [0.1]) * 1.08


def _draw_band(figure: Drawing, panel: Panel, band: tuple[float, float], look: Look) -> None:
    figure.add_shape(
        type="rect",
        xref=panel.xaxis,
        yref=f"{panel.yaxis} domain",
        x0=band[0],
        x1=band[1],
        y0=0,
        y1=1,
        fillcolor=look.target_fill,
        line={"color": look.target_edge, "width": 1, "dash": "dot"},
        layer="below",
    )


def _join(figure: Drawing, judged: Sequence[tuple[str, Judgement]], panel: Panel, look: Look) -> None:
    """Join the values of one row by a thin line, so that the eye finds the pair."""
    if len(judged) != 2:
        return
    one, other = ({z.speed: z.zeta.value for z in judgement.side(panel.side).zeta} for _, judgement in judged)
    for value in (v for v in panel.place if v in one and v in other):
        figure.add_scatter(
            x=plain([one[value], other[value]]),  # type: ignore[arg-type]
            y=[panel.place[value] - 0.17, panel.place[value] + 0.17],
            mode="lines",
            line={"color": look.axis, "width": 1},
            xaxis=panel.xaxis,
            yaxis=panel.yaxis,
            hoverinfo="skip",
            showlegend=False,
        )


def _draw_run(
    figure: Drawing,
    panel: Panel,
    label: str,
    values: Sequence[ZetaAt],
    shift: float,
    style: RunStyle,
    speed: Scale,
) -> None:
    def at(value: Speed) -> str:
        return "from the bounce" if value is None else f"at {speed.text(value)}"

    figure.add_scatter(
        x=[round(z.zeta.value, 4) for z in values],
        y=[panel.place[z.speed] + shift for z in values],
        error_x={
            "type": "data",
            "symmetric": False,
            "array": [min(z.zeta.high, 1e3) - z.zeta.value for z in values],
            "arrayminus": [z.zeta.value - max(z.zeta.low, 0.0) for z in values],
            "color": style.colour,
            "thickness": 2,
            "width": 4,
        },
        mode="markers",
        marker={
            "symbol": style.symbol,
            "size": 11,
            "color": style.colour,
            "line": {"width": 2, "color": style.colour},
        },
        name=label,
        legendgroup=label,
        showlegend=panel.side == "compression",
        xaxis=panel.xaxis,
        yaxis=panel.yaxis,
        customdata=[
            [at(z.speed), f"{z.zeta.value:.2f}", f"{z.zeta.low:.2f} to {z.zeta.high:.2f}"] for z in values
        ],
        hovertemplate=f"<b>{label}</b>, {panel.side} %{{customdata[0]}}<br>damping ratio %{{customdata[1]}}"
        "<br>95 % interval %{customdata[2]}<extra></extra>",
    )
