"""Pictures in the look of the page, with their words for people who cannot see them.

Takes figures and groups of `tuner.charts`; gives nothing. Uses: charts, streamlit; gallery, state.
"""

from __future__ import annotations

import sys
from typing import Any

import streamlit as st

from dashboard import state
from dashboard.gallery import Gallery, seen_first
from dashboard.widgets.pages import escaped
from tuner.charts import nothing_figure, picture_words

FIRST_LOOK = 0.6  # seconds in which a visitor's first page is left alone
CONFIG = {"displayModeBar": False, "responsive": True}


def get_ready() -> None:
    """Let the browser fetch what pictures and results are made of while the visitor looks for files: one of each.

    It works on that for most of a second and answers nothing meanwhile, so the first page of a visitor stands first.
    While this program itself has not loaded it yet, no page waits for it. It looks again soon.
    """
    if not _may_get_ready():
        _look_again()
        return
    with st.container(key="nothing"):
        st.plotly_chart(nothing_figure(), key="w_nothing", theme=None, config=CONFIG)
        st.button("nothing", key="w_nothing_button", disabled=True)
        st.download_button("nothing", bytes, key="w_nothing_download", disabled=True)
        st.selectbox("nothing", ["nothing"], key="w_nothing_menu", disabled=True)
        st.checkbox("nothing", key="w_nothing_box", disabled=True)
        st.text_input("nothing", key="w_nothing_words", disabled=True)
        st.number_input("nothing", key="w_nothing_number", disabled=True)


def _may_get_ready() -> bool:
    return state.here_since() > FIRST_LOOK and "plotly.graph_objs" in sys.modules


@st.fragment(run_every=FIRST_LOOK)
def _look_again() -> None:
    if _may_get_ready():
        st.rerun()


def show(figure: Any, key: str) -> None:
    """Show a figure."""
    st.plotly_chart(figure, key=f"w_{key}", theme=None, config=CONFIG, alt=picture_words(figure))


def show_groups(those: Gallery) -> None:
    """Show groups of pictures; of several in one group the visitor chooses one, and only that is drawn."""
    system = state.current().system
    for group in those.groups(system):
        st.subheader(group.title, anchor=False)
        st.html(f'<p class="caption">{escaped(group.caption)}</p>')
        first = seen_first(group)
        if len(group.figures) == 1:
            show(those.drawn(first.name, system), f"{those.page}_{first.name}")
            continue
        chosen = st.segmented_control(
            group.title,
            [each.label for each in group.figures],
            default=first.label,
            required=True,
            key=f"w_{those.page}_{group.figures[0].name}",
            label_visibility="collapsed",
        )
        shown = next((each for each in group.figures if each.label == chosen), first)
        show(those.drawn(shown.name, system), f"{those.page}_{shown.name}_shown")
