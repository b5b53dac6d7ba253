"""The one style of all pictures: colours in light and dark, the marks of each run, axes, hover boxes.

Takes nothing; gives `Look` (the colours), `RunStyle` (how the n-th run is drawn) and an empty styled drawing.

The first run is drawn as if in pencil (slate blue, dashed, open marks), the second as if with a marker pen
(rust, solid, filled marks): they differ in dash, shape and lightness as well as in hue, and blue against
orange stays apart in every common form of colour blindness. The target is a khaki field with dotted edges.
"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Any, Literal, NamedTuple

import numpy as np
import plotly.graph_objects as go

from tuner.charts.drawing import Drawing
from tuner.estimates import Array
from tuner.units import SHOWN, System, from_si

# pixels: of a character of a tick label, of ticks with their gaps, of the title of an axis
WIDE, TICK, TITLE = 7.7, 9, 27
LABELS = TICK + 15  # below an axis with numbers
FOOT = LABELS + TITLE  # below one that has a title too
HEAD = 34  # above, for a line of the legend
LINE = 17  # for one more line of words

# over the picture, from its left or from its right end on
LEGEND_LEFT = {"orientation": "h", "x": 0.0, "xanchor": "left", "y": 1.0, "yanchor": "bottom"}
LEGEND_RIGHT = LEGEND_LEFT | {"x": 1.0, "xanchor": "right"}

FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Liberation Sans', sans-serif"


@dataclass(frozen=True, slots=True)
class Look:
    """The colours of one mode; within a look every colour is a different text, so that looks can be swapped."""

    name: Literal["light", "dark"]
    paper: str
    ink: str
    soft: str  # secondary text
    grid: str
    axis: str
    hover: str
    runs: tuple[str, ...]
    fills: tuple[str, ...]  # see-through, for 95 % bands
    target_fill: str
    target_edge: str


LIGHT = Look(
    name="light",
    paper="#fffefb",
    ink="#1f2a30",
    soft="#526069",
    grid="#e7e3d9",
    axis="#8d8a80",
    hover="#f4f1e8",
    runs=("#3a5f86", "#b04c08", "#6a4a91", "#26734a"),
    fills=("rgba(58,95,134,0.17)", "rgba(176,76,8,0.17)", "rgba(106,74,145,0.17)", "rgba(38,115,74,0.17)"),
    target_fill="#ece6c6",
    target_edge="#746a2b",
)
DARK = Look(
    name="dark",
    paper="#1b2227",
    ink="#ebe7dc",
    soft="#b3b9b6",
    grid="#313a40",
    axis="#7d868a",
    hover="#2a333a",
    runs=("#93b8de", "#f2a25c", "#c4a6ea", "#7fcf9f"),
    fills=(
        "rgba(147,184,222,0.20)",
        "rgba(242,162,92,0.20)",
        "rgba(196,166,234,0.20)",
        "rgba(127,207,159,0.20)",
    ),
    target_fill="#3d3b26",
    target_edge="#b9ac66",
)


def look_named(name: str) -> Look:
    """Give the look called ``"dark"``, the light one for any other name."""
    return DARK if name == "dark" else LIGHT


def _colours(look: Look) -> list[str]:
    found: list[str] = []
    for each in fields(look):
        value = getattr(look, each.name)
        if each.name != "name":
            found.extend(value if isinstance(value, tuple) else (value,))
    return found


def colour_swaps() -> tuple[tuple[str, str], ...]:
    """Pairs (light, dark): exchanging these texts in a light figure gives the dark one."""
    return tuple(zip(_colours(LIGHT), _colours(DARK), strict=True))


class RunStyle(NamedTuple):
    """How one run is drawn."""

    colour: str
    fill: str
    dash: str
    symbol: str
    width: float


_DASHES = ("6px,4px", "solid", "1px,3px", "10px,3px,2px,3px")
_SYMBOLS = ("circle-open", "diamond", "square-open", "triangle-up")


def run_style(position: int, look: Look, of: int = 2) -> RunStyle:
    """Give the style of the run at `position` of `of` runs (0 = first or before); a single run is drawn solid."""
    i = 1 if of == 1 else position % len(look.runs)
    return RunStyle(look.runs[i], look.fills[i], _DASHES[i], _SYMBOLS[i], 2.0 if i % 2 == 0 else 2.4)


class Scale(NamedTuple):
    """One kind of quantity as people of a system read it: label of the unit, digits, and the conversion."""

    kind: str
    unit: str
    label: str
    digits: int

    def show(self, values: Array | float) -> Array:
        """Convert SI values, any shape."""
        return from_si(values, self.kind, self.unit)

    def text(self, value: float) -> str:
        """Write one SI value with its unit."""
        return f"{float(self.show(value)):.{self.digits}f} {self.label}".rstrip().replace("-", "−")


def scale(kind: str, system: System) -> Scale:
    """Give the scale of a kind of quantity in that system."""
    style = SHOWN[system][kind]
    return Scale(kind, style.unit, style.label, style.digits)


def shown_label(label: str) -> str:
    """Make a label from outside plain text for a picture, in which a few tags would otherwise work."""
    return html.escape(label, quote=False)


def plain(values: Array) -> list[float]:
    """Numbers for the figure: finite, five significant digits, so that the file stays small."""
    return [float(f"{float(v):.5g}") for v in np.asarray(values, dtype=float).ravel()]


def blank_drawing(look: Look, *, height: int, words: str) -> Drawing:
    """Begin a picture in the house style; `words` describes it for people who cannot see it."""
    return Drawing(
        autosize=True,
        height=height,
        paper_bgcolor=look.paper,
        plot_bgcolor=look.paper,
        font={"family": FONT, "size": 13, "color": look.ink},
        hoverlabel={
            "bgcolor": look.hover,
            "bordercolor": look.axis,
            "font": {"family": FONT, "size": 13, "color": look.ink},
            "align": "left",
        },
        hovermode="closest",
        dragmode=False,
        legend={"bgcolor": "rgba(0,0,0,0)", "font": {"size": 12, "color": look.ink}, "itemsizing": "trace"},
        meta=words,
    )


def axis_style(look: Look, title: str | None = None, **more: Any) -> dict[str, Any]:
    """Give the settings of one axis; `more` overrides them."""
    style: dict[str, Any] = {
        "showgrid": True,
        "gridcolor": look.grid,
        "gridwidth": 1,
        "zeroline": False,
        "linecolor": look.axis,
        "showline": True,
        "ticks": "outside",
        "ticklen": 4,
        "tickcolor": look.axis,
        "tickangle": 0,
        "tickfont": {"size": 12, "color": look.soft},
        "fixedrange": True,
    }
    if title is not None:
        style["title"] = {"text": title, "font": {"size": 13, "color": look.ink}, "standoff": 8}
    return style | more


def room_left(labels: Iterable[str], *, titled: bool) -> int:
    """Give the pixels that an axis at the left takes for its tick labels, and for its title where it has one."""
    longest = max(
        (len(re.sub("<.*?>", "", line)) for label in labels for line in label.split("<br>")), default=1
    )
    return math.ceil(WIDE * longest) + TICK + (TITLE if titled else 0)


def room_for_numbers(*traces: Iterable[float]) -> int:
    """Give the pixels that a titled axis at the left takes for round numbers up to those of the traces."""
    reach = [abs(value) for values in traces for value in values]
    most = max(reach, default=1.0)
    return room_left([f"−{most:.0f}" if most >= 10.0 else "−0.00"], titled=True)


def settle(figure: Drawing, left: int, *, top: int, bottom: int = FOOT, right: int = 16) -> None:
    """Fix the margins; a browser that finds them itself draws the picture twice."""
    figure.update_layout(margin={"l": left, "r": right, "t": top, "b": bottom})


def note(figure: Drawing, text: str, **place: Any) -> None:
    """Write `text` into the picture, without an arrow; `place` as plotly's annotations take it."""
    figure.add_annotation({"text": text, "showarrow": False, "font": {"size": 12}} | place)


def picture_words(figure: go.Figure) -> str:
    """Give the description of a picture in words, for screen readers."""
    return str(figure.layout.meta or "")
