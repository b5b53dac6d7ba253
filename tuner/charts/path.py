"""The path of several runs: where compression and rebound stood after every change, from the top down.

Takes a `Path`; gives a figure with one panel per side, over the target band.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import plotly.graph_objects as go

from tuner.charts.drawing import Drawing
from tuner.charts.runs import SIDE_WORDS
from tuner.charts.theme import (
    FOOT,
    LIGHT,
    Look,
    axis_style,
    blank_drawing,
    note,
    plain,
    room_left,
    scale,
    settle,
    shown_label,
)
from tuner.estimates import Estimate
from tuner.records import SIDES, Side
from tuner.units import System

if TYPE_CHECKING:
    from tuner.comparing import Path, PathStep

PER_ROW, HEADING, TICKS = 40, 34, 22  # pixels; under the upper panel stand its own ticks
LONGEST = 18  # letters of a run's label


def path_figure(path: Path, system: System = "metric", look: Look = LIGHT) -> go.Figure:
    """Draw the value of each run with its 95 % interval, joined in the order of the runs.

    A filled mark is a clear change from the run before it, an open one is not.
    """
    steps = {side: path.side(side) for side in SIDES}
    plot = sum(HEADING + PER_ROW * len(steps[side]) for side in SIDES) + TICKS
    ratio = path.quantity == "zeta"
    figure = blank_drawing(
        look,
        height=plot + FOOT + 8,
        words=("Damping ratio" if ratio else "Damping")
        + " of compression and rebound, run by run in the order of the changes, with 95 % intervals"
        + (" and the target band." if path.target is not None and ratio else "."),
    )
    figure.update_layout(showlegend=False)
    damping = scale("damping", system)
    at = "" if path.speed is None else f" at {scale('speed', system).text(path.speed)}"
    title = f"damping ratio{at}" if ratio else f"damping{at} ({damping.label})"
    bands = {
        side: getattr(path.target, side) if path.target is not None and ratio else None for side in SIDES
    }
    every = {side: [_shown(step.value, ratio, system) for step in steps[side]] for side in SIDES}
    reached = [high for shown in every.values() for _, _, high in filter(None, shown)]
    highest = (
        max(reached + [band[1] for band in bands.values() if band], default=1.0) or 1.0
    )  # one scale for both
    top = 1.0
    for number, side in enumerate(SIDES):
        suffix = "" if number == 0 else "2"
        upper = top - HEADING / plot
        lower = max(upper - PER_ROW * len(steps[side]) / plot, 0.0)
        last = number == len(SIDES) - 1
        band, shown = bands[side], every[side]
        figure.update_layout(
            {
                f"xaxis{suffix}": axis_style(
                    look, title if last else None, anchor=f"y{suffix}", range=[0.0, 1.08 * highest], nticks=7
                ),
                f"yaxis{suffix}": axis_style(
                    look,
                    anchor=f"x{suffix}",
                    domain=[lower, upper],
                    range=[len(shown) - 0.5, -0.5],
                    tickvals=list(range(len(shown))),
                    ticktext=[_short(step.label) for step in steps[side]],
                    showgrid=False,
                    ticks="",
                ),
            }
        )
        if band is not None:
            _draw_band(figure, band, suffix, look)
        _draw(figure, side, steps[side], shown, suffix, look)
        words = f"<b>{SIDE_WORDS[side].split(' (')[0]}</b> ({SIDE_WORDS[side].split(' (')[1]}"
        if band is not None:
            words += f", <span style='color:{look.target_edge}'>target {band[0]:.2f} to {band[1]:.2f}</span>"
        note(
            figure,
            words,
            xref="paper",
            x=0.0,
            xanchor="left",
            yref="paper",
            y=upper,
            yanchor="bottom",
            yshift=3,
        )
        top = lower - TICKS / plot
    names = [_short(step.label) for side in SIDES for step in steps[side]]
    settle(figure, room_left(names, titled=False), top=8)
    return figure.finished()


def _short(label: str) -> str:
    text = label if len(label) <= LONGEST else f"{label[: LONGEST - 1]}…"
    return shown_label(text)


def _shown(value: Estimate | None, ratio: bool, system: System) -> tuple[float, float, float] | None:
    if value is None:
        return None
    ends = (value.value, max(value.low, 0.0), min(value.high, 1.6 * value.value))
    if ratio:
        return ends
    return tuple(plain(scale("damping", system).show(end))[0] for end in ends)  # type: ignore[return-value]


def _draw_band(figure: Drawing, band: tuple[float, float], suffix: str, look: Look) -> None:
    place = {"xref": f"x{suffix}", "yref": f"y{suffix} domain", "y0": 0, "y1": 1, "layer": "below"}
    figure.add_shape(
        type="rect", x0=band[0], x1=band[1], fillcolor=look.target_fill, line={"width": 0}, **place
    )
    for edge in band:
        line = {"color": look.target_edge, "width": 1.5, "dash": "dot"}
        figure.add_shape(type="line", x0=edge, x1=edge, line=line, **place)


def _draw(
    figure: Drawing,
    side: Side,
    steps: tuple[PathStep, ...],
    shown: list[tuple[float, float, float] | None],
    suffix: str,
    look: Look,
) -> None:
    known = [(row, step, ends) for row, (step, ends) in enumerate(zip(steps, shown, strict=True)) if ends]
    colour = look.runs[1]
    figure.add_scatter(
        x=plain([ends[0] for _, _, ends in known]),  # type: ignore[arg-type]
        y=[row for row, _, _ in known],
        error_x={
            "type": "data",
            "symmetric": False,
            "array": [ends[2] - ends[0] for _, _, ends in known],
            "arrayminus": [ends[0] - ends[1] for _, _, ends in known],
            "color": colour,
            "thickness": 2,
            "width": 4,
        },
        mode="lines+markers",
        line={"color": look.axis, "width": 1.5},
        marker={
            "symbol": ["diamond" if step.changed else "diamond-open" for _, step, _ in known],
            "size": 12,
            "color": colour,
            "line": {"width": 2, "color": colour},
        },
        xaxis=f"x{suffix}",
        yaxis=f"y{suffix}",
        customdata=[[shown_label(step.label), step.place] for _, step, _ in known],
        hovertemplate=f"<b>%{{customdata[0]}}</b>, {side}<br>%{{x:.3g}}<br>place: %{{customdata[1]}}<extra></extra>",
    )
