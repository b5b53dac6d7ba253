"""The bar over every page: the way back to the questions, the machine, metric or US.

Takes the path of the page; gives nothing. Uses: streamlit; state, cache, examples.
"""

from __future__ import annotations

import streamlit as st

from dashboard import state
from dashboard.messages import plain

UNITS = {"metric": "metric", "us": "US"}


def show(page: str) -> None:
    """Draw the bar; the first screen needs no way back."""
    st.html('<div class="steel" aria-hidden="true"></div>')
    with st.container(key="bar", horizontal=True, vertical_alignment="center", gap="small"):
        if page == "start":
            st.html('<p class="name">tuner</p>', width="content")
        else:
            st.page_link("views/start.py", label="← Questions")
        st.space("stretch")
        if page != "machine":
            machine = state.current().machine
            st.page_link("views/machine.py", label=plain(machine.name) if machine else "The machine")
        st.segmented_control(
            "Units",
            list(UNITS),
            default=state.current().system,
            required=True,
            format_func=lambda system: UNITS[system],
            key="w_units",
            on_change=_choose_units,
            label_visibility="collapsed",
        )


def _choose_units() -> None:
    state.update(system=state.value("w_units") or "metric")
