"""Measures of drives and jumps before and after, each on a scale of its own, with 95 % intervals.

Takes the changed measures with their names; gives a figure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import plotly.graph_objects as go

from tuner.charts.drawing import Drawing
from tuner.charts.theme import (
    LABELS,
    LEGEND_LEFT,
    LIGHT,
    Look,
    axis_style,
    blank_drawing,
    note,
    run_style,
    scale,
    settle,
)
from tuner.estimates import Estimate
from tuner.units import System

if TYPE_CHECKING:
    from tuner.comparing import MeasureChange

PER_ROW, HEAD = 74, 30  # pixels

# measure -> words, kind of quantity ("" shown as it is)
_NAMES: dict[str, tuple[str, str]] = {
    "pitch_rate": ("pitch rate, + nose up", "angular rate"),
    "rotation": ("turned in the air, + nose up", "angle"),
    "airtime": ("time in the air", "time"),
    "landing_peak": ("landing peak", "acceleration"),
    "mean_position": ("mean position of the shaft", "length"),
    "bottomed": ("all the way in, a minute", ""),
    "topped_out": ("all the way out, a minute", ""),
    "packing": ("settles over a row of bumps", "length"),
    "peak_speed": ("peak speed", "speed"),
}
_WAY = {"compression": " going in", "rebound": " coming out"}


class _Shown(NamedTuple):
    """One estimate in the units of the picture."""

    value: float
    low: float
    high: float


def drawn_measures(changes: Sequence[MeasureChange]) -> tuple[MeasureChange, ...]:
    """Give the measures that this picture shows: with a value on both sides, without the shares of time."""
    order = list(_NAMES)
    chosen = [c for c in changes if c.name in _NAMES and c.before is not None and c.after is not None]
    return tuple(sorted(chosen, key=lambda change: order.index(change.name)))


def outcome_figure(
    changes: Sequence[MeasureChange],
    system: System = "metric",
    look: Look = LIGHT,
    *,
    labels: tuple[str, str] = ("before", "after"),
) -> go.Figure:
    """Draw before above after for every measure; a heavy name marks a change whose interval leaves "none" out."""
    rows = drawn_measures(changes)
    figure = blank_drawing(
        look,
        height=HEAD + LABELS + PER_ROW * max(len(rows), 1),
        words=f"Measures {labels[0]} and {labels[1]}, one row each, with 95 % intervals.",
    )
    count = max(len(rows), 1)
    for i, change in enumerate(rows):
        top = 1.0 - i / count
        _row(
            figure,
            change,
            i,
            (top - 0.56 / count, top - 0.20 / count),
            top - 0.19 / count,
            system,
            look,
            labels,
        )
    figure.update_layout(legend=LEGEND_LEFT | {"traceorder": "normal"})
    settle(figure, LABELS, top=HEAD, bottom=LABELS)
    return figure.finished()


def _row(
    figure: Drawing,
    change: MeasureChange,
    number: int,
    domain: tuple[float, float],
    head: float,
    system: System,
    look: Look,
    labels: tuple[str, str],
) -> None:
    words, kind = _NAMES[change.name]
    words += _WAY.get(change.side or "", "")
    unit = scale(kind, system).label if kind else ""
    both = [_in_units(e, kind, system) for e in (change.before, change.after)]
    suffix = "" if number == 0 else f"{number + 1}"
    figure.update_layout(
        {
            f"xaxis{suffix}": axis_style(look, anchor=f"y{suffix}", range=_reach(both), nticks=6),
            f"yaxis{suffix}": axis_style(
                look,
                anchor=f"x{suffix}",
                domain=list(domain),
                range=[1.6, -0.6],
                showgrid=False,
                showticklabels=False,
                ticks="",
            ),
        }
    )
    name = f"{words} ({unit})" if unit else words
    verdict = {True: "changed", False: "no clear change", None: "cannot tell"}[change.changed]
    note(
        figure,
        f"{f'<b>{name}</b>' if change.changed else name}: {verdict}",
        xref="paper",
        yref="paper",
        x=0.0,
        y=head,
        xanchor="left",
        yanchor="bottom",
        font={"size": 13},
    )
    for position, (label, shown) in enumerate(zip(labels, both, strict=True)):
        style = run_style(position, look, 2)
        high = shown.high if math.isfinite(shown.high) else _reach(both)[1]
        figure.add_scatter(
            x=[float(f"{shown.value:.5g}")],
            y=[float(position)],
            xaxis=f"x{suffix}",
            yaxis=f"y{suffix}",
            mode="markers",
            name=label,
            legendgroup=label,
            showlegend=number == 0,
            error_x={
                "type": "data",
                "symmetric": False,
                "array": [high - shown.value],
                "arrayminus": [shown.value - shown.low],
                "color": style.colour,
                "thickness": 2,
                "width": 4,
            },
            marker={
                "symbol": style.symbol,
                "size": 11,
                "color": style.colour,
                "line": {"width": 2, "color": style.colour},
            },
            hovertemplate=f"<b>{label}</b>, {words}<br>{shown.value:.4g} {unit}<br>"
            f"95 % interval {shown.low:.4g} to {shown.high:.4g}<extra></extra>",
        )


def _in_units(estimate: Estimate | None, kind: str, system: System) -> _Shown:
    assert estimate is not None
    values = (estimate.value, estimate.low, estimate.high)
    if not kind:
        return _Shown(*values)
    unit = scale(kind, system)
    return _Shown(*(float(unit.show(x)) if math.isfinite(x) else x for x in values))


def _reach(both: Sequence[_Shown]) -> list[float]:
    """Room for both intervals, and zero where it is near."""
    low, high = (
        min(s.low for s in both),
        max(s.high if math.isfinite(s.high) else 1.3 * s.value for s in both),
    )
    span = max(high - low, 1e-9 + 0.05 * max(abs(low), abs(high)))
    if 0.0 < low < 1.2 * span:
        low = 0.0
    if -1.2 * span < high < 0.0:
        high = 0.0
    return [low - 0.06 * span, high + 0.06 * span]
