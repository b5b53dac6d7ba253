"""What the fitted law leaves over: measured force minus fitted force, over shaft speed.

Takes runs; gives a figure. A law that fits leaves points scattered about zero without a shape of their own.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from tuner.charts.force_speed import MOST_POINTS, thinned
from tuner.charts.runs import Run
from tuner.charts.theme import (
    LEGEND_RIGHT,
    LIGHT,
    Look,
    axis_style,
    blank_drawing,
    plain,
    room_for_numbers,
    run_style,
    scale,
    settle,
    shown_label,
)
from tuner.records import SIDES
from tuner.units import System


def residual_figure(runs: Sequence[Run], system: System = "metric", look: Look = LIGHT) -> go.Figure | None:
    """Draw measured minus fitted damping force over signed speed; None where no side has points and a law."""
    speed, force = scale("speed", system), scale("force", system)
    figure = blank_drawing(
        look,
        height=300,
        words="Measured minus fitted damping force over shaft speed for "
        f"{' and '.join(run.label for run in runs)}: what the fitted law leaves over.",
    )
    drawn = False
    for position, run in enumerate(runs):
        style = run_style(position, look, len(runs))
        for side in SIDES:
            fit = run.fit.side(side)
            if fit.law is None or not len(fit.point_speed):
                continue
            sign = 1.0 if side == "compression" else -1.0
            left = fit.point_force - np.asarray(fit.law.force(fit.point_speed))
            kept = thinned(fit.point_speed, left, MOST_POINTS)
            label = shown_label(run.label)
            figure.add_scatter(
                x=plain(sign * speed.show(fit.point_speed[kept])),
                y=plain(force.show(left[kept])),
                mode="markers",
                name=label,
                legendgroup=label,
                showlegend=len(runs) > 1 and not any(trace["name"] == label for trace in figure.traces),
                marker={
                    "symbol": style.symbol,
                    "size": 6,
                    "color": style.colour,
                    "opacity": 0.7,
                    "line": {"width": 1.2, "color": style.colour},
                },
                hovertemplate=f"<b>{label}</b>, {side}<br>speed %{{x:.{speed.digits}f}} {speed.label}"
                f"<br>measured minus fitted %{{y:.{force.digits + 1}f}} {force.label}<extra></extra>",
            )
            drawn = True
    if not drawn:
        return None
    zero = {"zeroline": True, "zerolinecolor": look.axis, "zerolinewidth": 1.5}
    figure.update_layout(
        xaxis=axis_style(look, f"← out   shaft speed ({speed.label})   in →", **zero),
        yaxis=axis_style(look, f"measured − fitted ({force.label})", **zero),
        legend=LEGEND_RIGHT,
    )
    settle(figure, room_for_numbers(*(trace["y"] for trace in figure.traces)), top=30)
    return figure.finished()
