"""What a page works on: its runs side by side, the corner they sit on, and the banner of an example.

Takes a setup; gives the corner once everything is there. Uses: streamlit; bench, state, cache, runs, place.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import streamlit as st

from dashboard import cache, examples, state
from dashboard.bench import Question, Setup
from dashboard.widgets import place, runs
from tuner.errors import TunerError


class Ready(NamedTuple):
    """Everything is there: the setup, and the corner (None without a machine)."""

    setup: Setup
    corner: str | None


def show(question: Question, more: Callable[[Setup], None] | None = None) -> Ready | None:
    """Take the tests of a page; None as long as something is missing or refused.

    Once all is there, it folds up so that the verdict stands first. `more` adds to the foot of it.
    """
    setup = state.setup(question)
    _banner(setup)
    complete = all(run.recordings for run in setup.runs)
    refused = any(isinstance(found, TunerError) for run in setup.runs for found in cache.readings(run))
    ready = complete and not refused
    with st.expander(
        _summary(setup), key=f"tests_{question}_{'ready' if ready else 'open'}", expanded=not ready
    ):
        for first in range(0, len(setup.runs), 2):
            pair = setup.runs[first : first + 2]
            columns = st.columns(2) if len(setup.runs) > 1 else (st.container(),)
            for column, position, run in zip(columns, range(first, first + 2), pair, strict=False):
                with column:
                    runs.show(question, position, run, fixed=setup.example is not None)
        corner = place.show(setup)
        if more is not None:
            more(setup)
    return Ready(setup, corner) if ready else None


def _banner(setup: Setup) -> None:
    if setup.example is None:
        return
    words = examples.EXAMPLES[setup.example].words
    with st.container(key="banner", horizontal=True, vertical_alignment="center"):
        st.markdown(f'Sample files of the invented buggy "Dune Hopper No. 4": {words}.')
        st.button("Use my own files", key="w_own", on_click=_leave_example)


def _leave_example() -> None:
    state.update(example=None, corner=None)


def _summary(setup: Setup) -> str:
    if not any(run.recordings for run in setup.runs):
        return "Add the tests"
    counts = [f"{run.label}: {_files(len(run.recordings))}" for run in setup.runs]
    return f"The tests and the corner ({', '.join(counts)})"


def _files(count: int) -> str:
    return "1 file" if count == 1 else f"{count} files" if count else "missing"
