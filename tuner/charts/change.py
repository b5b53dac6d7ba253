"""What the change did to the damping, in per cent, one row per reference speed, with intervals.

Takes the ratios of each side (after over before, or one damper over the other); gives a figure on a
logarithmic axis, where half and double are equally far from "no change".
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import plotly.graph_objects as go

from tuner.charts.rows import lay_panels, speeds_of
from tuner.charts.theme import LIGHT, Look, blank_drawing, note, scale, shown_label
from tuner.records import SIDES, Side
from tuner.units import System

if TYPE_CHECKING:
    from tuner.comparing import ChangeAt

MOST_NAMED = 28  # letters of both names that fit below a picture on a phone
PER_ROW = 30
VALUES = 58  # pixels at the right for the changes in numbers
_TICKS = (0.1, 0.2, 0.3, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0, 1.05, 1.1, 1.2, 1.3, 1.5, 2.0, 3.0, 5.0, 10.0)


def change_figure(
    changes: Mapping[Side, Sequence[ChangeAt]],
    system: System = "metric",
    look: Look = LIGHT,
    *,
    labels: tuple[str, str] = ("before", "after"),
    target_speed: float | None = None,
    even: str = "no change",
) -> go.Figure:
    """Draw the change of the damping from the first label to the second at each speed.

    A filled mark stands where the 95 % interval leaves the ratio of one out, an open one where it does not; `even` is
    what that ratio is called.
    """
    speed = scale("speed", system)
    first, second = (shown_label(label) for label in labels)
    named = len(first) + len(second) <= MOST_NAMED
    against = f"damping {second}, against {first}" if named else "damping, the second against the first"
    figure = blank_drawing(
        look,
        height=100,
        words=f"Change of the damping from {first} to {second} at each reference speed, in per cent, "
        "with 95 % intervals.",
    )
    low, high = _reach(changes)
    ticks = ticks_between(low, high)
    panels = lay_panels(
        figure,
        {side: speeds_of(c.speed for c in changes[side]) for side in SIDES},
        speed,
        look,
        per_row=PER_ROW,
        title=f"{against}<br>← weaker    stronger →",
        xaxis={
            "type": "log",
            "range": [math.log10(low), math.log10(high)],
            "tickvals": list(ticks),
            "ticktext": [even if tick == 1.0 else percent(tick) for tick in ticks],
        },
        emphasised=target_speed,
        empty="no speed at which both runs were measured",
        right=VALUES,
    )
    for side, panel in panels.items():
        figure.add_scatter(  # the ratio of one
            x=[1.0, 1.0],
            y=[-0.5, max(len(panel.place), 1) - 0.5],
            mode="lines",
            line={"color": look.ink, "width": 1.4},
            xaxis=panel.xaxis,
            yaxis=panel.yaxis,
            hoverinfo="skip",
            showlegend=False,
        )
        rows = changes[side]
        clear = [not c.ratio.contains(1.0) for c in rows]
        at = ["from the bounce" if c.speed is None else f"at {speed.text(c.speed)}" for c in rows]
        figure.add_scatter(
            x=[float(f"{c.ratio.value:.5g}") for c in rows],
            y=[panel.place[c.speed] for c in rows],
            error_x={
                "type": "data",
                "symmetric": False,
                "array": [min(c.ratio.high, 1e3) - c.ratio.value for c in rows],
                "arrayminus": [c.ratio.value - max(c.ratio.low, 1e-3) for c in rows],
                "color": look.runs[1],
                "thickness": 2,
                "width": 4,
            },
            mode="markers",
            marker={
                "symbol": ["diamond" if sure else "diamond-open" for sure in clear],
                "size": 11,
                "color": look.runs[1],
                "line": {"width": 2, "color": look.runs[1]},
            },
            showlegend=False,
            xaxis=panel.xaxis,
            yaxis=panel.yaxis,
            customdata=[
                [
                    where,
                    percent(c.ratio.value),
                    f"{percent(c.ratio.low)} to {percent(c.ratio.high)}",
                    f"the interval leaves '{even}' out" if sure else f"'{even}' lies inside the interval",
                ]
                for c, where, sure in zip(rows, at, clear, strict=True)
            ],
            hovertemplate=f"<b>{side}</b> %{{customdata[0]}}<br>damping {second}: %{{customdata[1]}} "
            f"against {first}<br>95 % interval %{{customdata[2]}}<br>%{{customdata[3]}}<extra></extra>",
        )
        for c, sure in zip(rows, clear, strict=True):
            value = percent(c.ratio.value)
            note(
                figure,
                f"<b>{value}</b>" if sure else value,
                xref="paper",
                x=1.0,
                xanchor="right",
                xshift=VALUES - 6,
                yref=panel.yaxis,
                y=panel.place[c.speed],
                font={"size": 12, "color": look.ink if sure else look.soft},
            )
    return figure.finished()


def percent(ratio: float) -> str:
    """Write a ratio as a signed change in per cent, ``"no change"`` for exactly one."""
    if ratio == 1.0:
        return "no change"
    if not math.isfinite(ratio):
        return "no limit"
    change = 100.0 * (ratio - 1.0)
    return f"{change:+.0f} %".replace("-", "−") if round(change) else "±0 %"


def _reach(changes: Mapping[Side, Sequence[ChangeAt]]) -> tuple[float, float]:
    """Room for every value and its interval, at least -20 to +25 %, at most a tenth to ten times."""
    ratios = [c.ratio for side in SIDES for c in changes[side]]
    low = min([0.82] + [min(r.value, max(r.low, 0.6 * r.value)) for r in ratios])
    high = max([1.22] + [max(r.value, min(r.high, 1.7 * r.value)) for r in ratios])
    return max(low / 1.06, 0.05), min(high * 1.06, 20.0)


def ticks_between(low: float, high: float, most: float = 3.8) -> tuple[float, ...]:
    """Give round ratios between the ends, "no change" first and then those that keep clear of each other."""
    width = math.log(high / low)
    kept: list[float] = [1.0]
    for tick in sorted((t for t in _TICKS if low <= t <= high), key=lambda t: abs(math.log(t))):
        if all(abs(math.log(tick / other)) >= width / most for other in kept):
            kept.append(tick)
    return tuple(sorted(kept))
