"""The pictures of bounces, drives and jumps, grouped under titles with captions.

Takes judged runs and their comparison; gives `FigureGroup`s.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Generic, NamedTuple

from tuner.charts.bounces import MOST_STRIPS, bounce_figure
from tuner.charts.drive import drive_figure
from tuner.charts.figure_group import FigureGroup, Judged, NamedFigure
from tuner.charts.jumps import jump_figure
from tuner.charts.outcomes import drawn_measures, outcome_figure
from tuner.charts.runs import Run
from tuner.charts.same_ground import same_ground_figure
from tuner.charts.speed_share import speed_share_figure
from tuner.charts.theme import Look
from tuner.fitting.results import DampingFit, DriveFit, JumpFit, OneFit, as_a
from tuner.units import System

if TYPE_CHECKING:
    from tuner.comparing import Comparison
    from tuner.machine import Corner

MOST_DRIVES = 2  # drawn whole of each run; all of them are in the figures


def moving_groups(
    judged: Judged, comparison: Comparison | None, system: System, look: Look
) -> tuple[FigureGroup | None, ...]:
    """Draw what was recorded while the corner or the machine moved; None for what is not there."""
    return (
        None if comparison is None else _outcomes(judged, comparison, system, look),
        _bounces(judged, system, look),
        None if comparison is None else _ground(judged, comparison, system, look),
        _shares(judged, system, look),
        _drives(judged, system, look),
        _jumps(judged, system, look),
    )


class _Shown(NamedTuple, Generic[OneFit]):
    """A run that has something to draw: its place among the runs, its label, its fit and its corner."""

    position: int
    label: str
    fit: OneFit
    corner: Corner | None


def _of_type(judged: Judged, wanted: type[OneFit]) -> list[_Shown[OneFit]]:
    """Give the runs whose fit is of that type and kept traces."""
    return [
        _Shown(position, label, judgement.fit, judgement.corner)
        for position, (label, judgement) in enumerate(judged)
        if isinstance(judgement.fit, wanted) and judgement.fit.traces
    ]


def _outcomes(judged: Judged, comparison: Comparison, system: System, look: Look) -> FigureGroup | None:
    measures = comparison.measures
    if not drawn_measures(measures):
        return None
    labels = (judged[0][0], judged[1][0])
    return FigureGroup(
        "Before and after",
        "Every measure on a scale of its own; bars are 95 % intervals of each side. Whether a change is clear is "
        "judged on the difference, over the same ground where there is any, and that is surer than the bars.",
        (NamedFigure("outcomes", "", partial(outcome_figure, measures, system, look, labels=labels)),),
    )


def _ground(judged: Judged, comparison: Comparison, system: System, look: Look) -> FigureGroup | None:
    ground = comparison.ground
    if ground is None or not ground.found:
        return None
    labels = (judged[0][0], judged[1][0])
    traces = [as_a(DriveFit, judged.fit).traces for judged in (comparison.before, comparison.after)]
    draw = partial(same_ground_figure, traces[0], traces[1], ground, system, look, labels=labels)
    return FigureGroup(
        "The same ground, before and after",
        "The stretches that move the shaft most, of those that were found in both recordings; the drive after is "
        "stretched to the pace of the one before, so that bump stands over bump.",
        (NamedFigure("same-ground", "", draw),),
    )


def _bounces(judged: Judged, system: System, look: Look) -> FigureGroup | None:
    runs = _of_type(judged, DampingFit)
    if not runs:
        return None
    more = max(len(run.fit.traces) for run in runs) > MOST_STRIPS
    return FigureGroup(
        "The bounces, and the fit over them",
        "One strip for every bounce that was used, from the instant at which the corner swings freely. The "
        "dotted line is measured, the full one is one fit of all bounces together. Choose 'left over' to see where "
        "they part: it should look like noise." + (f" Drawn are the first {MOST_STRIPS}." if more else ""),
        tuple(
            NamedFigure(
                f"bounces-{run.position}",
                run.label,
                partial(
                    bounce_figure,
                    run.label,
                    run.fit.traces,
                    system,
                    look,
                    position=run.position,
                    of=len(judged),
                )
                if len(judged) > 1
                else partial(bounce_figure, run.label, run.fit.traces, system, look),
            )
            for run in runs
        ),
    )


def _shares(judged: Judged, system: System, look: Look) -> FigureGroup | None:
    runs = _of_type(judged, DriveFit)
    if not runs:
        return None
    draw = partial(speed_share_figure, [Run(run.label, run.fit) for run in runs], system, look)
    return FigureGroup(
        "How long the shaft moves how fast",
        "Each strip is cut to the share of the whole time that the shaft spends at that speed; the bar across its end "
        "is the 95 % interval. Damping at low speed works in the upper rows of each side, sharp bumps in the lower.",
        (NamedFigure("speed-share", "", draw),),
    )


def _drives(judged: Judged, system: System, look: Look) -> FigureGroup | None:
    figures = []
    several = len(judged) > 1
    for position, label, fit, corner in _of_type(judged, DriveFit):
        full = None if corner is None or corner.damper_travel is None else corner.damper_travel.value
        static = None if corner is None or corner.static_travel is None else corner.static_travel.value
        traces = fit.traces[:MOST_DRIVES]
        for number, trace in enumerate(traces, start=1):
            name = label if len(traces) == 1 else f"{label}, drive {number}"
            draw = partial(
                drive_figure,
                name,
                trace,
                system,
                look,
                full=full,
                static=static,
                position=position if several else 1,
                of=len(judged),
            )
            figures.append(NamedFigure(f"drive-{position}-{number}", name, draw))
    if not figures:
        return None
    return FigureGroup(
        "The drive, line by line",
        "Read it like writing: the next line goes on where the last one ends. The field is how far the shaft moved, "
        "the dark line its mean over two seconds; the rules are the ends of the travel, the dotted one where it "
        "stands at rest. Triangles are arrivals at a stop.",
        tuple(figures),
    )


def _jumps(judged: Judged, system: System, look: Look) -> FigureGroup | None:
    runs = _of_type(judged, JumpFit)
    if not runs:
        return None
    draw = partial(jump_figure, [Run(run.label, run.fit) for run in runs], system, look)
    return FigureGroup(
        "The jumps, laid over each other",
        "Every line begins at take-off. In the air the frame feels next to nothing and turns at a steady rate; the "
        "upright lines are the mean landings, the marks at the foot the single ones.",
        (NamedFigure("jumps", "", draw),),
    )
