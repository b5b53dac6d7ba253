"""The machine: a file of it, and its corners."""

from __future__ import annotations

import streamlit as st

from dashboard import cache, examples, messages, state

# the forms, the helper sums and the drawings of the machine belong here


def show() -> None:
    """Take a machine file and say what is in it."""
    st.title("The machine", anchor=False)
    file = st.file_uploader("Machine file (TOML)", type=["toml"], key=state.fresh("machine"))
    if file is not None:
        held = cache.hold(file.name, file.getvalue())
        with messages.explained():
            cache.machine(held)
        state.update(machine=held, corner=None)
        state.empty()
        st.rerun()
    st.button("Use the invented buggy", key="w_sample_machine", on_click=_sample)
    with messages.explained():
        given = cache.machine(state.current().machine)
    if given is not None:
        st.markdown(
            f"**{messages.plain(given.machine.name)}**: {', '.join(map(messages.plain, given.machine.corners))}"
        )
    st.page_link("views/start.py", label="Back to the questions")


def _sample() -> None:
    state.update(machine=examples.sample_machine(), corner=None)


show()
