"""The pictures of the report, with their titles and captions.

Takes comparisons and judgements; gives groups of frames with the figures as JSON.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from markupsafe import Markup

from tuner.comparing import ChangeAt
from tuner.judging import Judgement
from tuner.records import Side
from tuner.report.sheet import Frame, PictureGroup
from tuner.units import System

if TYPE_CHECKING:
    import plotly.graph_objects as go

    from tuner.charts.figure_group import FigureGroup
    from tuner.comparing import Comparison

WHOLE_PAGE, HALF_PAGE = 850, 420  # pixels that a picture across the printed page is drawn in
WIDE = ("drive",)  # pictures that go across the page even where there are several
PAPER_HEIGHT = {"force-speed": 0.6}  # of the height on the screen


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
    comparison: Comparison | None = None,
) -> tuple[PictureGroup, ...]:
    """Set the pictures of a result; several of one group stand side by side on paper."""
    from tuner.charts.groups import figure_groups

    groups = figure_groups(judged, changes, system, target_speed, comparison=comparison)
    return tuple(_set(group) for group in groups)


def _set(group: FigureGroup) -> PictureGroup:
    several = len(group.figures) > 1 and not group.figures[0].name.startswith(WIDE)
    width = HALF_PAGE if several else WHOLE_PAGE
    frames = tuple(
        _frame(each.name, each.figure, width, PAPER_HEIGHT.get(each.name, 0.95)) for each in group.figures
    )
    return PictureGroup(group.title, group.caption, frames, several)
