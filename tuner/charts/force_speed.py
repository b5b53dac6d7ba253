"""Damping force over shaft speed: measured points, fitted curve and its 95 % band, several runs at once.

Takes runs; gives a figure with compression to the upper right, rebound to the lower left.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from tuner.charts.drawing import Drawing
from tuner.charts.runs import SIDE_MOTION, SIDE_WORDS, Run
from tuner.charts.theme import (
    LIGHT,
    Look,
    RunStyle,
    Scale,
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
from tuner.estimates import Array
from tuner.fitting.results import Curve, SideFit
from tuner.records import SIDES
from tuner.units import System

CURVE_POINTS = 61  # of a fitted line and its band: steps that no eye sees
MOST_POINTS = 80  # drawn per run and side; a phone draws every one as a shape of its own


def force_speed_figure(runs: Sequence[Run], system: System = "metric", look: Look = LIGHT) -> go.Figure:
    """Draw signed damping force over signed shaft speed, gas force and friction taken off.

    A side that a run does not show is left out; a picture without any side still has its axes.
    """
    speed, force = scale("speed", system), scale("force", system)
    names = " and ".join(run.label for run in runs)
    figure = blank_drawing(
        look,
        height=440,
        words=f"Damping force over shaft speed for {names}: measured points, fitted curves and 95 % bands. "
        "Compression stands in the upper right, rebound in the lower left.",
    )
    for position, run in enumerate(Run(shown_label(label), fit) for label, fit in runs):
        style = run_style(position, look, len(runs))
        first = True
        for side in SIDES:
            fit = run.fit.side(side)
            if fit.seen:
                _draw_side(figure, run.label, fit, style, speed, force, legend=first)
                first = False
    _axes(figure, speed, force, look)
    _place_legend(figure, runs)
    return figure.finished()


def _place_legend(figure: Drawing, runs: Sequence[Run]) -> None:
    """Put the legend into the larger of the two quarters that are always empty."""
    reach = {
        side: max((float(run.fit.side(side).point_force.max(initial=0.0)) for run in runs), default=0.0)
        for side in SIDES
    }
    for run in runs:
        for side in SIDES:
            curve = run.fit.side(side).curve
            if curve is not None:
                reach[side] = max(reach[side], float(np.max(curve.force, initial=0.0)))
    if reach["rebound"] > reach["compression"]:
        place = {"x": 0.985, "y": 0.02, "xanchor": "right", "yanchor": "bottom"}
    else:
        place = {"x": 0.015, "y": 0.985, "xanchor": "left", "yanchor": "top"}
    figure.update_layout(legend=place | {"tracegroupgap": 2})


def _draw_side(
    figure: Drawing, label: str, fit: SideFit, style: RunStyle, speed: Scale, force: Scale, *, legend: bool
) -> None:
    sign = 1.0 if fit.side == "compression" else -1.0
    motion = SIDE_MOTION[fit.side]
    about = f"<b>{label}</b>, shaft {motion} at %{{customdata[0]:.{speed.digits}f}} {speed.label}"
    size = f"%{{customdata[1]:.{force.digits}f}} {force.label}"
    common = {"legendgroup": label, "showlegend": legend}
    fitted = fit.curve is not None and len(fit.curve.speed) > 0
    if fit.curve is not None and fitted:
        _draw_curve(figure, label, fit.curve, sign, style, speed, force, about, size, common)
    if len(fit.point_speed):
        kept = thinned(fit.point_speed, fit.point_force, MOST_POINTS)
        x, y = speed.show(fit.point_speed[kept]), force.show(fit.point_force[kept])
        few = len(kept) <= 40
        figure.add_scatter(
            x=plain(sign * x),
            y=plain(sign * y),
            mode="markers",
            name=f"{label}: measured",
            marker={
                "symbol": style.symbol,
                "size": 9 if few else 5,
                "color": style.colour,
                "opacity": 1.0 if few else 0.55,
                "line": {"width": 1.6 if few else 1.0, "color": style.colour},
            },
            customdata=list(zip(plain(x), plain(y), strict=True)),
            hovertemplate=f"{about}<br>measured damping force {size}<extra></extra>",
            legendgroup=label,
            showlegend=legend and not fitted,  # the caption says that marks are measured
        )


def _draw_curve(
    figure: Drawing,
    label: str,
    curve: Curve,
    sign: float,
    style: RunStyle,
    speed: Scale,
    force: Scale,
    about: str,
    size: str,
    common: dict[str, object],
) -> None:
    kept = np.unique(np.linspace(0, len(curve.speed) - 1, CURVE_POINTS).round().astype(int))
    x, y = speed.show(curve.speed[kept]), force.show(curve.force[kept])
    low, high = force.show(curve.low[kept]), force.show(curve.high[kept])
    around = np.concatenate([x, x[::-1]])
    band = np.concatenate([high, low[::-1]])
    finite = np.isfinite(band)
    figure.add_scatter(
        x=plain(sign * around[finite]),
        y=plain(sign * band[finite]),
        mode="lines",
        line={"width": 0, "color": style.colour},
        fill="toself",
        fillcolor=style.fill,
        name=f"{label}: 95 % band",
        hoverinfo="skip",
        legendgroup=label,
        showlegend=False,
    )
    limits = f"%{{customdata[2]:.{force.digits}f}} to %{{customdata[3]:.{force.digits}f}} {force.label}"
    figure.add_scatter(
        x=plain(sign * x),
        y=plain(sign * y),
        mode="lines",
        line={"color": style.colour, "dash": style.dash, "width": style.width},
        name=f"{label}: fitted",
        customdata=list(zip(plain(x), plain(y), plain(low), plain(high), strict=True)),
        hovertemplate=f"{about}<br>fitted damping force {size}<br>95 % interval {limits}<extra></extra>",
        **common,
    )


def thinned(speed: Array, force: Array, most: int) -> NDArray[np.intp]:
    """Give the indices of at most `most` points to draw: the lowest and highest of each slice of speed.

    Extremes are never lost; the order is that of rising speed.
    """
    order = np.argsort(speed, kind="stable")
    if len(order) <= most:
        return order
    kept: list[int] = []
    for slice_ in np.array_split(order, most // 2):
        kept.extend(sorted({int(slice_[np.argmin(force[slice_])]), int(slice_[np.argmax(force[slice_])])}))
    return np.array(kept)


def _axes(figure: Drawing, speed: Scale, force: Scale, look: Look) -> None:
    zero = {"zeroline": True, "zerolinecolor": look.axis, "zerolinewidth": 1.5}
    figure.update_layout(
        xaxis=axis_style(look, f"← out   shaft speed ({speed.label})   in →", **zero),
        yaxis=axis_style(look, f"damping force ({force.label})", **zero),
    )
    settle(figure, room_for_numbers(*(trace["y"] for trace in figure.traces)), top=48)
    for side, x, anchor in (("rebound", 0.0, "left"), ("compression", 1.0, "right")):
        words = SIDE_WORDS["rebound" if side == "rebound" else "compression"].replace(" (", "<br>(")
        head, tail = words.split("<br>")
        note(
            figure,
            f"<b>{head}</b><br>{tail}",
            xref="paper",
            yref="paper",
            x=x,
            y=1.0,
            xanchor=anchor,
            yanchor="bottom",
            align=anchor,
            yshift=6,
        )
