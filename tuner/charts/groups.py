"""The pictures that belong to a result, grouped under titles with captions, for the report and the dashboard alike.

Takes judged runs and changes; gives `FigureGroup`s.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING

from tuner.charts.change import change_figure
from tuner.charts.figure_group import FigureGroup, Judged, NamedFigure
from tuner.charts.force_speed import force_speed_figure
from tuner.charts.loops import loop_figure, loop_speeds
from tuner.charts.moving import moving_groups
from tuner.charts.ratio_band import ratio_band_figure
from tuner.charts.runs import Run
from tuner.charts.theme import LIGHT, Look, scale
from tuner.records import SIDES, Side
from tuner.units import System

if TYPE_CHECKING:
    from tuner.comparing import ChangeAt, Comparison

MOST_LOOPS = 6


def figure_groups(
    judged: Judged,
    changes: Mapping[Side, Sequence[ChangeAt]] | None,
    system: System = "metric",
    target_speed: float | None = None,
    look: Look = LIGHT,
    comparison: Comparison | None = None,
) -> tuple[FigureGroup, ...]:
    """Give all that belongs to a result, to be drawn when it is looked at; what has no data is left out.

    Force over speed, ratio against band, change and loops; of bounces, drives and jumps what was recorded, and, with
    their `comparison`, measures before and after and the ground that drives share.
    """
    groups = (
        _force_speed(judged, system, look),
        _ratios(judged, system, look),
        None
        if changes is None
        else _changes(judged, changes, system, target_speed, look, pair=comparison is None),
        _loops(judged, system, look),
        *moving_groups(judged, comparison, system, look),
    )
    return tuple(group for group in groups if group is not None)


def _force_speed(judged: Judged, system: System, look: Look) -> FigureGroup | None:
    runs = [Run(label, judgement.fit) for label, judgement in judged]
    if all(run.fit.kind == "bounce" for run in runs):  # its force is a consequence of the ratio
        return None
    if not any(
        run.fit.side(side).curve or len(run.fit.side(side).point_speed) for run in runs for side in SIDES
    ):
        return None
    return FigureGroup(
        "Damping force over shaft speed",
        "To the upper right the shaft goes in, to the lower left it comes out. Marks are measured points, lines "
        "are the fitted law with its 95 % band; gas force and dry friction are taken off. The further a line runs "
        "from zero force, the harder the damper works against that motion.",
        (NamedFigure("force-speed", "", partial(force_speed_figure, runs, system, look)),),
    )


def _ratios(judged: Judged, system: System, look: Look) -> FigureGroup | None:
    if not any(judgement.side(side).zeta for _, judgement in judged for side in SIDES):
        return None
    banded = any(judgement.side(side).band for _, judgement in judged for side in SIDES)
    bounced = all(judgement.fit.kind == "bounce" for _, judgement in judged)
    rows = "A bounce gives one ratio for each side" if bounced else "One row per shaft speed"
    field = (
        "The field is the target band. "
        if bounced
        else ("The field is the target band, which is meant at the row marked as target. ")
    )
    return FigureGroup(
        "Damping ratio against the target" if banded else "Damping ratio",
        f"{rows}; bars are 95 % intervals. "
        + (field if banded else "")
        + "1 is critical damping: the mass comes back without swinging.",
        (NamedFigure("ratio-band", "", partial(ratio_band_figure, judged, system, look)),),
    )


def _changes(
    judged: Judged,
    changes: Mapping[Side, Sequence[ChangeAt]],
    system: System,
    target_speed: float | None,
    look: Look,
    *,
    pair: bool,
) -> FigureGroup | None:
    if not any(changes[side] for side in SIDES):
        return None
    labels = (judged[0][0], judged[1][0])
    what, even = ("difference", "alike") if pair else ("change", "no change")
    draw = partial(change_figure, changes, system, look, labels=labels, target_speed=target_speed, even=even)
    return FigureGroup(
        f"Damping {labels[1]}, against {labels[0]}",
        f"A filled mark is a clear {what}: its 95 % interval leaves '{even}' out. An open mark is not.",
        (NamedFigure("change", "", draw),),
    )


def _loops(judged: Judged, system: System, look: Look) -> FigureGroup | None:
    runs = [Run(label, judgement.fit) for label, judgement in judged]
    speeds = loop_speeds(runs)[-MOST_LOOPS:]
    if not speeds:
        return None
    speed = scale("speed", system)
    return FigureGroup(
        "Loops: force over travel",
        "One cycle of the bench at each peak speed: the upper line is the shaft going in, the lower one coming "
        "out; the area is the energy taken out. A flat piece right after a turn, before the force builds up, is "
        "dead stroke: air in the oil or too little of it.",
        tuple(
            NamedFigure(f"loop-{i}", speed.text(peak), partial(loop_figure, runs, peak, system, look))
            for i, peak in enumerate(speeds)
        ),
    )
