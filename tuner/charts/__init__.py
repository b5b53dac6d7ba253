"""One picture per function: a result in, a plotly figure out, for the report and the dashboard alike.

Takes fits, judgements and comparisons; gives figures that are drawn by whoever asks. Every picture says its units on
the axes, tells the runs apart by shape, dash and words as well as by colour, and reads the same in light and dark, on a
phone and on paper.
"""

from __future__ import annotations

from tuner.charts.change import change_figure
from tuner.charts.figure_group import FigureGroup, NamedFigure
from tuner.charts.force_speed import force_speed_figure
from tuner.charts.groups import figure_groups
from tuner.charts.linkage import linkage_figure
from tuner.charts.loops import loop_figure, loop_speeds
from tuner.charts.nothing import nothing_figure
from tuner.charts.path import path_figure
from tuner.charts.ratio_band import ratio_band_figure
from tuner.charts.recording import Channel, channels, recording_figure
from tuner.charts.residuals import residual_figure
from tuner.charts.runs import Run
from tuner.charts.theme import DARK, LIGHT, Look, colour_swaps, look_named, picture_words

__all__ = [
    "DARK",
    "LIGHT",
    "Channel",
    "FigureGroup",
    "Look",
    "NamedFigure",
    "Run",
    "change_figure",
    "channels",
    "colour_swaps",
    "figure_groups",
    "force_speed_figure",
    "linkage_figure",
    "look_named",
    "loop_figure",
    "loop_speeds",
    "nothing_figure",
    "path_figure",
    "picture_words",
    "ratio_band_figure",
    "recording_figure",
    "residual_figure",
]
