"""The figures of a result, and one figure as it stands on a page, with words for people who cannot see it."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import streamlit as st

from dashboard import cache, state
from dashboard.markdown import plain
from dashboard.session import Held, Question, Run
from dashboard.widgets.pages import escaped
from tuner import charts
from tuner.charts import nothing_figure, picture_words
from tuner.charts.runs import target_speed
from tuner.records import SIDES
from tuner.units import System

if TYPE_CHECKING:
    from tuner.jobs import CompareJob, FitJob, MatchJob

CONFIG = {"displayModeBar": False, "responsive": True}
AS_CARDS = ("ratio-band", "change")  # figures that say again what the cards say


class FigureSet(NamedTuple):
    """The figures of a page: `groups` makes them in metric or US, `key` holds all that they depend on."""

    page: Question
    groups: Callable[[System], Sequence[charts.FigureGroup]]
    key: Hashable

    def figure(self, name: str, system: System) -> Any:
        """Give the figure of that name."""

        def draw() -> Any:
            return next(
                each.figure for group in self.groups(system) for each in group.figures if each.name == name
            )

        return cache.figure(("figure", name, self.key, system), draw)


def of_change(
    runs: tuple[Run, Run], machine: Held | None, corner: str | None, job: CompareJob, look: charts.Look
) -> FigureSet:
    """Give the figures of two settings."""
    comparison = job.comparison
    before, after = (run.label for run in runs)
    judged = ((before, comparison.before), (after, comparison.after))
    changes = {side: comparison.side(side).change for side in SIDES}
    return FigureSet(
        "change",
        lambda units: charts.figure_groups(judged, changes, units, target_speed(judged), look, comparison),
        (cache.asked(runs), machine, corner, before, after, look.name),
    )


def of_pair(
    runs: tuple[Run, Run],
    machine: Held | None,
    corner: str | None,
    job: MatchJob,
    look: charts.Look,
    names: tuple[str, str],
) -> FigureSet:
    """Give the figures of two dampers of those names."""
    match = job.match
    judged = ((names[0], match.one), (names[1], match.other))
    ratios = {side: match.side(side).ratio for side in SIDES}
    return FigureSet(
        "pair",
        lambda units: charts.figure_groups(judged, ratios, units, target_speed(judged), look),
        (cache.asked(runs), machine, corner, names, look.name),
    )


def of_one(run: Run, machine: Held | None, corner: str | None, job: FitJob, look: charts.Look) -> FigureSet:
    """Give the figures of one setting."""
    judged = (("now", job.judgement),)
    return FigureSet(
        "one",
        lambda units: charts.figure_groups(judged, None, units, target_speed(judged), look),
        (cache.asked((run,)), machine, corner, look.name),
    )


def show(figure: Any, key: str) -> None:
    """Show a figure."""
    st.plotly_chart(figure, key=f"w_{key}", theme=None, config=CONFIG, alt=picture_words(figure))


def show_lead(those: FigureSet) -> None:
    """Show the one figure of the first screen, its caption below it."""
    system = state.current().system
    lead = _lead(those.groups(system))
    if lead is not None:
        st.html(f'<h3 class="pictured">{escaped(lead.title)}</h3>')
        _show_group(those, lead)
        st.html(f'<p class="caption">{escaped(lead.caption)}</p>')


def show_rest(those: FigureSet) -> None:
    """Show the groups of figures without the one of the first screen."""
    groups = those.groups(state.current().system)
    lead = _lead(groups)
    for group in groups:
        if group is not lead:
            st.subheader(plain(group.title), anchor=False)
            st.html(f'<p class="caption">{escaped(group.caption)}</p>')
            _show_group(those, group)


def _lead(groups: Sequence[charts.FigureGroup]) -> charts.FigureGroup | None:
    """Choose the figure of the first screen: the first that does not repeat the cards."""
    return next(
        (each for each in groups if each.figures[0].name not in AS_CARDS), groups[0] if groups else None
    )


def _show_group(those: FigureSet, group: charts.FigureGroup) -> None:
    """Show a group; of several figures the visitor chooses one, and only that is drawn."""
    system, first = state.current().system, group.figures[-1]
    if len(group.figures) == 1:
        show(those.figure(first.name, system), f"{those.page}_{first.name}")
        return
    chosen = st.segmented_control(
        group.title,
        [each.label for each in group.figures],
        default=first.label,
        required=True,
        format_func=plain,
        key=f"w_{those.page}_{group.figures[0].name}",
        label_visibility="collapsed",
    )
    shown = next((each for each in group.figures if each.label == chosen), first)
    show(those.figure(shown.name, system), f"{those.page}_{shown.name}_shown")


def preload() -> None:
    """Let the browser fetch the figure library while the visitor reads.

    Measured on two busy cores: the first figures stand 2 to 3 s sooner.
    """
    with st.container(key="preload"):
        st.plotly_chart(nothing_figure(), key="w_preload", theme=None, config=CONFIG)
