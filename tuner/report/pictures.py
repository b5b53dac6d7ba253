"""The pictures of the report, with their titles and captions.

Takes comparisons and judgements; gives groups of frames with the figures as JSON. Uses: charts, sheet.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from markupsafe import Markup

from tuner.comparing import ChangeAt
from tuner.judging import Judgement
from tuner.records import SIDES, Side
from tuner.report.sheet import Frame, PictureGroup
from tuner.units import System

if TYPE_CHECKING:
    import plotly.graph_objects as go

WHOLE_PAGE, HALF_PAGE = 850, 420  # pixels that a picture across the printed page is drawn in
MOST_LOOPS = 6


def safe_json(text: str) -> Markup:
    """Make JSON text safe inside a script element: no ``<``, ``>`` or ``&`` is left, the meaning stays."""
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)


def _frame(name: str, figure: go.Figure, paper_width: int = WHOLE_PAGE, paper_height: float = 0.95) -> Frame:
    import plotly.io

    from tuner.charts import picture_words

    text = plotly.io.to_json(figure, validate=False, remove_uids=True, engine="json")
    return Frame(name, safe_json(str(text)), picture_words(figure), paper_width, paper_height)


def pictures(
    judged: Sequence[tuple[str, Judgement]],
    changes: Mapping[Side, Sequence[ChangeAt]] | None,
    system: System,
    target_speed: float | None,
) -> tuple[PictureGroup, ...]:
    """Draw force over speed, ratio against band, change and loops; what has no data is left out."""
    groups = (
        _force_speed(judged, system),
        _ratios(judged, system),
        None if changes is None else _changes(judged, changes, system, target_speed),
        _loops(judged, system),
    )
    return tuple(group for group in groups if group is not None)


def _force_speed(judged: Sequence[tuple[str, Judgement]], system: System) -> PictureGroup | None:
    from tuner.charts import Run, force_speed_figure

    runs = [Run(label, judgement.fit) for label, judgement in judged]
    if not any(
        run.fit.side(side).curve or len(run.fit.side(side).point_speed) for run in runs for side in SIDES
    ):
        return None
    figure = force_speed_figure(runs, system)
    return PictureGroup(
        "Damping force over shaft speed",
        "To the upper right the shaft goes in, to the lower left it comes out. Marks are measured points, lines "
        "are the fitted law with its 95 % band; gas force and dry friction are taken off. The further a line runs "
        "from zero force, the harder the damper works against that motion.",
        (_frame("force-speed", figure, paper_height=0.68),),
    )


def _ratios(judged: Sequence[tuple[str, Judgement]], system: System) -> PictureGroup | None:
    from tuner.charts import ratio_band_figure

    if not any(judgement.side(side).zeta for _, judgement in judged for side in SIDES):
        return None
    banded = any(judgement.side(side).band for _, judgement in judged for side in SIDES)
    return PictureGroup(
        "Damping ratio against the target" if banded else "Damping ratio",
        "One row per shaft speed; bars are 95 % intervals. "
        + ("The field is the target band, which is meant at the row marked as target. " if banded else "")
        + "1 is critical damping: the mass comes back without swinging.",
        (_frame("ratio-band", ratio_band_figure(judged, system)),),
    )


def _changes(
    judged: Sequence[tuple[str, Judgement]],
    changes: Mapping[Side, Sequence[ChangeAt]],
    system: System,
    target_speed: float | None,
) -> PictureGroup | None:
    from tuner.charts import change_figure

    if not any(changes[side] for side in SIDES):
        return None
    labels = (judged[0][0], judged[1][0])
    figure = change_figure(changes, system, labels=labels, target_speed=target_speed)
    return PictureGroup(
        f"Damping {labels[1]}, against {labels[0]}",
        "A filled mark is a clear change: its 95 % interval leaves 'no change' out. An open mark is not.",
        (_frame("change", figure),),
    )


def _loops(judged: Sequence[tuple[str, Judgement]], system: System) -> PictureGroup | None:
    from tuner.charts import Run, loop_figure, loop_speeds

    runs = [Run(label, judgement.fit) for label, judgement in judged]
    speeds = loop_speeds(runs)[-MOST_LOOPS:]
    if not speeds:
        return None
    draw: Callable[[float], go.Figure] = lambda peak: loop_figure(runs, peak, system)  # noqa: E731
    width = HALF_PAGE if len(speeds) > 1 else WHOLE_PAGE
    return PictureGroup(
        "Loops: force over travel",
        "One cycle of the bench at each peak speed: the upper line is the shaft going in, the lower one coming "
        "out; the area is the energy taken out. A flat piece right after a turn, before the force builds up, is "
        "dead stroke: air in the oil or too little of it.",
        tuple(_frame(f"loop-{i}", draw(peak), width) for i, peak in enumerate(speeds)),
    )
