"""Where the damper sits: the machine and its corner, asked where the verdict needs it.

Takes a setup; gives the corner, None without a machine.
"""

from __future__ import annotations

import streamlit as st

from dashboard import cache, messages, state
from dashboard.markdown import plain
from dashboard.session import Setup


def corner(setup: Setup) -> str | None:
    """Give the corner that is chosen; None without a machine."""
    with messages.explained():
        return cache.first_corner(setup)


def show(setup: Setup) -> None:
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
        return
    corners = list(given.machine.corners)
    st.selectbox(
        f"Corner of {plain(given.machine.name)}",
        corners,
        index=corners.index(str(corner(setup))),
        key="w_corner",
        on_change=_choose,
    )


def lead_to_machine() -> None:
    """Lead to the page on which the machine is described."""
    st.page_link("views/machine.py", label="Describe the machine")


def _choose() -> None:
    state.update(corner=state.value("w_corner"))
