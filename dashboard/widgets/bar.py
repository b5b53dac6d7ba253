"""The bar over every page: the way back to the questions, the machine, metric or US."""

from __future__ import annotations

import streamlit as st

from dashboard import cache, state
from dashboard.markdown import plain
from dashboard.routes import PAGES
from dashboard.session import QUESTIONS, Held
from tuner.errors import TunerError

UNITS = {"metric": "metric", "us": "US"}


def show(page: str) -> None:
    """Draw the bar; the first screen needs no way back."""
    st.html('<div class="steel" aria-hidden="true"></div>')
    with st.container(key="bar", horizontal=True, vertical_alignment="center", gap="small"):
        if page == "start":
            st.html('<p class="name">tuner</p>', width="content")
        else:
            st.page_link("views/start.py", label="← Questions")
            _back_to_question(page)
        st.space("stretch")
        if page != "machine":
            machine = state.current().machine
            st.page_link("views/machine.py", label=plain(_name(machine)) if machine else "The machine")
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


def _back_to_question(page: str) -> None:
    """Lead from another page straight back to the question that was being looked at."""
    question = state.remembered()
    if question is not None and page not in QUESTIONS:
        file, title = PAGES[question]
        st.page_link(f"views/{file}", label=title)


def _name(held: Held) -> str:
    """Give the name that a machine file gives its machine; the file's own where it cannot be read any more."""
    try:
        machine = cache.machine(held)
    except TunerError:
        return held.name
    return held.name if machine is None else machine.machine.name


def _choose_units() -> None:
    state.update(system=state.value("w_units") or "metric")
