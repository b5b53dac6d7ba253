"""Loops of force over travel at one test speed: one closed line per run; the area is the energy taken out.

Takes runs of continuous cycles; gives one figure per speed, so that a page can set them side by side.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from tuner.charts.runs import Run
from tuner.charts.theme import (
    HEAD,
    LEGEND_RIGHT,
    LIGHT,
    Look,
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
from tuner.fitting.results import DampingFit, Loop
from tuner.units import System

SAME_SPEED = 0.15  # loops whose peak speeds differ by less than this share are drawn together
MOST_BESIDE = 24  # letters of all names that fit beside the speed in a narrow picture
MOST_SAMPLES = 240


def _loops(run: Run) -> tuple[Loop, ...]:
    return run.fit.loops if isinstance(run.fit, DampingFit) else ()


def loop_speeds(runs: Sequence[Run]) -> tuple[float, ...]:
    """Give the peak speeds [m/s] at which any run has a loop, rising; speeds of one test step count once."""
    found: list[list[float]] = []
    for peak in sorted(loop.peak_speed for run in runs for loop in _loops(run)):
        if found and peak <= found[-1][0] * (1.0 + SAME_SPEED):
            found[-1].append(peak)
        else:
            found.append([peak])
    return tuple(float(np.mean(group)) for group in found)


def _loop_at(run: Run, peak: float) -> Loop | None:
    near = [loop for loop in _loops(run) if abs(loop.peak_speed - peak) <= SAME_SPEED * peak]
    return min(near, key=lambda loop: abs(loop.peak_speed - peak), default=None)


def _legend(runs: Sequence[Run]) -> dict[str, object]:
    """Put long names, such as those of files, into the loop, which is empty; short ones beside the speed."""
    if sum(len(shown_label(run.label)) for run in runs) <= MOST_BESIDE:
        return dict(LEGEND_RIGHT)
    return {"x": 0.5, "xanchor": "center", "y": 0.5, "yanchor": "middle", "bgcolor": "rgba(0,0,0,0)"}


def loop_figure(runs: Sequence[Run], peak: float, system: System = "metric", look: Look = LIGHT) -> go.Figure:
    """Draw total force over travel at the peak speed nearest to `peak` [m/s] for every run that has it.

    Travel is counted from the middle of the stroke, so that remounting the damper does not shift the loops.
    """
    travel, force, speed = scale("length", system), scale("force", system), scale("speed", system)
    digits = 0 if system == "metric" else 2
    figure = blank_drawing(
        look,
        height=330,
        words=f"Total force over shaft travel at {speed.text(peak)} peak speed: "
        + ", ".join(run.label for run in runs if _loop_at(run, peak))
        + ". The upper half of each loop is the shaft going in, the lower half coming out.",
    )
    for position, run in enumerate(runs):
        loop = _loop_at(run, peak)
        if loop is None:
            continue
        label = shown_label(run.label)
        style = run_style(position, look, len(runs))
        keep = np.unique(np.linspace(0, len(loop.travel) - 1, MOST_SAMPLES).astype(int))
        middle = 0.5 * (float(loop.travel.min()) + float(loop.travel.max()))
        x, y = travel.show(loop.travel[keep] - middle), force.show(loop.force[keep])
        going = np.where(loop.velocity[keep] >= 0, "going in", "coming out")
        x, y = np.append(x, x[0]), np.append(y, y[0])
        figure.add_scatter(
            x=plain(x),
            y=plain(y),
            mode="lines",
            cliponaxis=False,
            name=label,
            line={"color": style.colour, "dash": style.dash, "width": style.width},
            customdata=[*going.tolist(), str(going[0])],
            hovertemplate=f"<b>{label}</b>, shaft %{{customdata}}<br>travel %{{x:.{digits}f}} {travel.label}"
            f" from the middle<br>total force %{{y:.{force.digits}f}} {force.label}<extra></extra>",
        )
    figure.update_layout(
        xaxis=axis_style(look, f"travel from the middle ({travel.label}), in →", nticks=6),
        yaxis=axis_style(look, f"total force ({force.label})", nticks=7),
        legend=_legend(runs),
    )
    settle(figure, room_for_numbers(*(trace["y"] for trace in figure.traces)), top=HEAD)
    note(
        figure,
        f"<b>{speed.text(peak)}</b>",
        xref="paper",
        yref="paper",
        x=0.0,
        y=1.0,
        xanchor="left",
        yanchor="bottom",
        yshift=6,
        font={"size": 14},
    )
    return figure.finished()
