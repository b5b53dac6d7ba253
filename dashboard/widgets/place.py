"""Where the damper sits: the machine and its corner, asked where the verdict needs it.

Takes a setup; gives the name of the corner, None without a machine. Uses: streamlit; bench, state, cache, messages.
"""

from __future__ import annotations

import streamlit as st

from dashboard import cache, messages, state
from dashboard.bench import Setup


def show(setup: Setup) -> str | None:
    """Ask for the corner; without a machine say what it would add and lead to it."""
    with messages.explained():
        given = cache.machine(setup.machine)
    st.html('<h3 class="step">The corner it sits on</h3>')
    if given is None:
        st.markdown(
            "Without the machine the damping is measured, but not held against a target. Mass, spring and motion "
            "ratio of the corner make the difference."
        )
        lead_to_machine()
        return None
    corners = list(given.machine.corners)
    corner = str(cache.first_corner(setup))
    st.selectbox(
        f"Corner of {messages.plain(given.machine.name)}",
        corners,
        index=corners.index(corner),
        key="w_corner",
        on_change=_choose,
    )
    return corner


def lead_to_machine() -> None:
    """Lead to the page on which the machine is described."""
    st.page_link("views/machine.py", label="Describe the machine")


def _choose() -> None:
    state.update(corner=state.value("w_corner"))
