"""Pictures in the look of the page, with their words for people who cannot see them.

Takes figures and groups of `tuner.charts`; gives nothing. Uses: charts, streamlit; cache, state.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Hashable, Sequence
from typing import Any

import streamlit as st

from dashboard import cache, state
from dashboard.widgets.pages import escaped
from tuner.charts import FigureGroup, nothing_figure, picture_words
from tuner.units import System

CONFIG = {"displayModeBar": False, "responsive": True}


def get_ready() -> None:
    """Let the browser fetch and start what draws pictures while the visitor looks for files: a picture of nothing.

    While this program itself has not loaded it yet, the page does not wait for it: it looks again every second.
    """
    if not _loaded():
        _look_again()
        return
    with st.container(key="nothing"):
        st.plotly_chart(nothing_figure(), key="w_nothing", theme=None, config=CONFIG)


def _loaded() -> bool:
    return "plotly.graph_objs" in sys.modules


@st.fragment(run_every=1.0)
def _look_again() -> None:
    if _loaded():
        st.rerun()


def show(figure: Any, key: str) -> None:
    """Show a figure."""
    st.plotly_chart(figure, key=f"w_{key}", theme=None, config=CONFIG, alt=picture_words(figure))


def show_groups(make: Callable[[System], Sequence[FigureGroup]], key: Hashable, page: str) -> None:
    """Show groups of pictures; of several in one group the visitor chooses one, and only that is drawn.

    `make` gives the groups in metric or US, `key` holds all that they depend on, `page` names the page.
    """
    system = state.current().system

    def drawn(name: str) -> Any:
        def draw(units: System) -> Any:
            return next(each.figure for group in make(units) for each in group.figures if each.name == name)

        return cache.drawn_in(system, ("picture", name, key), draw)

    for group in make(system):
        st.subheader(group.title, anchor=False)
        st.html(f'<p class="caption">{escaped(group.caption)}</p>')
        if len(group.figures) == 1:
            show(drawn(group.figures[0].name), f"{page}_{group.figures[0].name}")
            continue
        labels = [each.label for each in group.figures]
        chosen = st.segmented_control(
            group.title,
            labels,
            default=labels[-1],
            required=True,
            key=f"w_{page}_{group.figures[0].name}",
            label_visibility="collapsed",
        )
        name = next(each.name for each in group.figures if each.label == (chosen or labels[-1]))
        show(drawn(name), f"{page}_{name}_shown")
