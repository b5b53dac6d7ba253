"""Two panels of rows, compression above rebound, one row per test speed: the frame of two pictures.

Takes the rows of each side; gives panels with their axes and headings.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from tuner.charts.drawing import Drawing
from tuner.charts.runs import SIDE_WORDS
from tuner.charts.theme import FOOT, LINE, Look, Scale, axis_style, note, room_left, settle
from tuner.records import SIDES, Side

HEADING = 30  # pixels for each line over a panel
FOOT_LINE = 18  # pixels for every line of the title of the lower axis after the first
TOP = 8

Speed = float | None  # None: the record gives one value without a test speed, as a bounce does


class Panel(NamedTuple):
    """One side's panel: plotly's names of its axes, and the place of every speed."""

    side: Side
    xaxis: str
    yaxis: str
    place: Mapping[Speed, float]


def speeds_of(*lists: Iterable[Speed]) -> tuple[Speed, ...]:
    """Give every speed of the lists once, rising, the one without a speed last."""
    every = {speed for each in lists for speed in each}
    return tuple(sorted(every, key=lambda speed: float("inf") if speed is None else speed))


def lay_panels(
    figure: Drawing,
    rows: Mapping[Side, Sequence[Speed]],
    speed: Scale,
    look: Look,
    *,
    per_row: int,
    title: str,
    xaxis: Mapping[str, Any],
    remarks: Mapping[Side, str] | None = None,
    emphasised: Speed = None,
    legend: int = 0,
    empty: str = "not measured at any reference speed",
    right: int = 16,
) -> dict[Side, Panel]:
    """Give the figure two panels with a common x axis; `remarks` stand as a second line over them."""
    remarks = {} if remarks is None else remarks
    foot = FOOT + FOOT_LINE * title.count("<br>")
    heading = {side: HEADING + (LINE if remarks.get(side) else 0) for side in SIDES}
    plot = sum(heading[side] + per_row * max(len(rows[side]), 1) for side in SIDES)
    figure.update_layout(height=TOP + legend + plot + foot)
    panels: dict[Side, Panel] = {}
    top = 1.0
    for number, side in enumerate(SIDES):
        suffix = "" if number == 0 else "2"
        tall = per_row * max(len(rows[side]), 1) / plot
        upper = top - heading[side] / plot
        lower = max(upper - tall, 0.0)
        last = number == len(SIDES) - 1
        place = {value: float(i) for i, value in enumerate(rows[side])}
        axis_x = axis_style(
            look,
            title if last else None,
            anchor=f"y{suffix}",
            showticklabels=last,
            ticks="outside" if last else "",
            **xaxis,
        )
        axis_y = axis_style(
            look,
            anchor=f"x{suffix}",
            domain=[lower, upper],
            range=[max(len(place), 1) - 0.5, -0.5],
            tickvals=list(place.values()),
            ticktext=[_row_label(value, speed, value == emphasised) for value in place],
            showgrid=False,
            ticks="",
        )
        figure.update_layout({f"xaxis{suffix}": axis_x, f"yaxis{suffix}": axis_y})
        panels[side] = Panel(side, f"x{suffix}", f"y{suffix}", place)
        head, tail = SIDE_WORDS[side].split(" (")
        note(
            figure,
            f"<b>{head}</b> ({tail}" + (f"<br>{remarks[side]}" if remarks.get(side) else ""),
            align="left",
            xref="paper",
            x=0.0,
            xanchor="left",
            yref="paper",
            y=upper,
            yanchor="bottom",
            yshift=3,
            font={"size": 13},
        )
        for between in range(1, len(place)):
            figure.add_shape(
                type="line",
                xref=f"x{suffix} domain",
                yref=f"y{suffix}",
                x0=0,
                x1=1,
                y0=between - 0.5,
                y1=between - 0.5,
                line={"color": look.grid, "width": 1},
                layer="below",
            )
        if not place:
            note(
                figure,
                empty,
                xref=f"x{suffix} domain",
                yref=f"y{suffix}",
                x=0.5,
                y=0.0,
                font={"size": 12, "color": look.soft},
            )
            figure.add_scatter(x=[], y=[], xaxis=f"x{suffix}", yaxis=f"y{suffix}", showlegend=False)
        top = lower
    every = [_row_label(value, speed, value == emphasised) for side in SIDES for value in rows[side]]
    settle(figure, room_left(every or ["0"], titled=False), top=TOP + legend, bottom=foot, right=right)
    return panels


def _row_label(value: Speed, speed: Scale, emphasised: bool) -> str:
    text = "from the<br>bounce" if value is None else speed.text(value)
    return f"<b>{text}</b><br>target" if emphasised and value is not None else text
