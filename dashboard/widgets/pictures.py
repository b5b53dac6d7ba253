"""Pictures in the look of the page, with their words for people who cannot see them.

Takes figures and groups of `tuner.charts`; gives nothing. Uses: charts, streamlit.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any

import streamlit as st

from dashboard.widgets.pages import escaped
from tuner.charts import FigureGroup, picture_words

CONFIG = {"displayModeBar": False, "responsive": True}


def get_ready() -> None:
    """Let the browser fetch and start what draws pictures while the visitor looks for files: a picture of nothing.

    Nothing is done while this program itself has not loaded it yet: that would keep the page waiting.
    """
    if "plotly.graph_objs" in sys.modules:
        with st.container(key="nothing"):
            nothing = {"data": [{"type": "scatter", "x": [], "y": []}], "layout": {"height": 10}}
            st.plotly_chart(nothing, key="w_nothing", theme=None, config=CONFIG)


def show(figure: Any, key: str) -> None:
    """Show a figure."""
    st.plotly_chart(figure, key=f"w_{key}", theme=None, config=CONFIG, alt=picture_words(figure))


def show_groups(groups: Sequence[FigureGroup], key: str) -> None:
    """Show groups of pictures; of several in one group the visitor chooses one."""
    for group in groups:
        st.subheader(group.title, anchor=False)
        st.html(f'<p class="caption">{escaped(group.caption)}</p>')
        if len(group.figures) == 1:
            show(group.figures[0].figure, f"{key}_{group.figures[0].name}")
            continue
        labels = [each.label for each in group.figures]
        chosen = st.segmented_control(
            group.title,
            labels,
            default=labels[-1],
            required=True,
            key=f"w_{key}_{group.figures[0].name}",
            label_visibility="collapsed",
        )
        figure = next(each for each in group.figures if each.label == (chosen or labels[-1]))
        show(figure.figure, f"{key}_{figure.name}_shown")
