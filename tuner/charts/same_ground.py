"""The same ground before and after: the liveliest stretches that both drives passed, laid over each other.

Takes the drives' traces and the ground they share; gives a figure.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import plotly.graph_objects as go

from tuner.charts.theme import (
    FOOT,
    HEAD,
    LEGEND_LEFT,
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
from tuner.estimates import Array
from tuner.fitting.traces import DriveTrace
from tuner.signals.thin import thin_extremes
from tuner.units import System

if TYPE_CHECKING:
    from tuner.comparing.ground import Piece, SharedGround

STRETCHES = 3  # drawn, of those that move most
PER_STRETCH = 120  # pixels
MOST_SAMPLES = 500
GAP = 0.16


def same_ground_figure(
    before: Sequence[DriveTrace],
    after: Sequence[DriveTrace],
    ground: SharedGround,
    system: System = "metric",
    look: Look = LIGHT,
    *,
    labels: tuple[str, str] = ("before", "after"),
) -> go.Figure:
    """Draw the first drive of either side over the same ground; the one after is stretched to the pace before."""
    travel = scale("length", system)
    one, other = _first(before, ground.before), _first(after, ground.after)
    lively = [float(_part(one[0], piece).std()) for piece in one[1]]
    chosen = sorted(np.argsort(lively)[::-1][:STRETCHES].tolist())
    figure = blank_drawing(
        look,
        height=HEAD + FOOT + PER_STRETCH * len(chosen),
        words=f"Shaft travel over {len(chosen)} stretches of ground that both drives passed, {labels[0]} and "
        f"{labels[1]} laid over each other.",
    )
    tall = (1.0 - GAP * (len(chosen) - 1) / len(chosen)) / max(len(chosen), 1)
    for row, place in enumerate(chosen):
        suffix = "" if row == 0 else f"{row + 1}"
        top = 1.0 - row * (tall + GAP / len(chosen))
        bottom = max(top - tall, 0.0)
        last = row == len(chosen) - 1
        figure.update_layout(
            {
                f"yaxis{suffix}": axis_style(
                    look, f"travel ({travel.label})", domain=[bottom, top], nticks=4, anchor="x"
                )
            }
        )
        for position, ((trace, pieces), label) in enumerate(zip((one, other), labels, strict=True)):
            style = run_style(position, look, 2)
            values = travel.show(_part(trace, pieces[place]))
            length = one[1][place].end - one[1][place].start
            kept = thin_extremes(values, MOST_SAMPLES)
            figure.add_scatter(
                x=plain(np.linspace(0.0, length, len(values))[kept]),
                y=plain(values[kept]),
                yaxis=f"y{suffix}",
                mode="lines",
                name=shown_label(label),
                legendgroup=label,
                showlegend=row == 0,
                line={"color": style.colour, "width": 1.6, "dash": style.dash},
                hovertemplate=f"<b>{shown_label(label)}</b><br>%{{y:.3g}} {travel.label}<extra></extra>",
            )
        note(
            figure,
            f"from {one[1][place].start:.0f} s on",
            xref="paper",
            yref="paper",
            x=1.0,
            y=top,
            xanchor="right",
            yanchor="bottom",
            font={"size": 12, "color": look.soft},
        )
        if last:
            figure.update_layout(
                xaxis=axis_style(look, f"seconds along the stretch ({labels[0]})", anchor=f"y{suffix}")
            )
    figure.update_layout(
        legend=LEGEND_LEFT,
    )
    settle(figure, room_for_numbers(*(trace["y"] for trace in figure.traces)), top=HEAD)
    return figure.finished()


def _first(
    traces: Sequence[DriveTrace], rows: Sequence[tuple[Piece, ...]]
) -> tuple[DriveTrace, tuple[Piece, ...]]:
    """Give the first drive that passed the shared ground, and its pieces."""
    return next((trace, row) for trace, row in zip(traces, rows, strict=True) if row)


def _part(trace: DriveTrace, piece: Piece) -> Array:
    first = max(round((piece.start - trace.start) / trace.step), 0)
    return trace.travel[first : max(round((piece.end - trace.start) / trace.step), first + 2)]
