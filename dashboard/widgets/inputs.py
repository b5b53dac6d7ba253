"""What a page works on: its runs side by side, the corner they sit on, and the banner of an example.

Takes a setup; gives the corner once everything is there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import streamlit as st

from dashboard import cache, examples, state
from dashboard.markdown import plain
from dashboard.session import Question, Setup
from dashboard.widgets import corners, figures, folding, runs
from tuner.errors import TunerError

REPEATS = (
    "Several files of one setting are repeats: they show how far two runs differ. A file may have up to 1 GB; the "
    "browser refuses a larger one, and <code>tuner fit FILE</code> reads it from the disk."
)


class Ready(NamedTuple):
    """Everything is there: the setup with the runs that have recordings, and the corner (None without a machine)."""

    setup: Setup
    corner: str | None


def show(
    question: Question, needed: int, more: Callable[[Setup], None] | None = None, invites: str = ""
) -> Ready | None:
    """Take the tests of a page, at least the `needed` first ones; None as long as one is missing or refused.

    Once all is there, it folds up so that the verdict stands first. `more` adds to the foot of it, and
    `invites` says in the title what can be done there with files of one's own.
    """
    state.remember(question)
    setup = state.setup(question)
    _banner(setup)
    missing = [run for run in setup.runs if not run.recordings]
    refused = any(isinstance(found, TunerError) for run in setup.runs for found in cache.readings(run))
    ready = not refused and all(run.recordings for run in setup.runs[:needed])
    if not ready:
        with st.container(key=f"missing_{question}"):
            _tests(question, setup, more)
        figures.preload()
        return None
    unfold = bool(missing)
    with folding.fold(
        _summary(setup, invites), f"tests_{question}_{unfold}", "default", begin_open=unfold
    ) as unfolded:
        if unfolded:
            _tests(question, setup, more)
    there = tuple(run for run in setup.runs if run.recordings)
    return Ready(replace(setup, runs=there), corners.corner(setup))


def _tests(question: Question, setup: Setup, more: Callable[[Setup], None] | None) -> None:
    """Take the tests side by side, and the corner that they belong to."""
    for first in range(0, len(setup.runs), 2):
        pair = setup.runs[first : first + 2]
        columns = st.columns(2, gap="medium") if len(setup.runs) > 1 else (st.container(),)
        for column, position, run in zip(columns, range(first, first + 2), pair, strict=False):
            with column:
                runs.show(question, position, run, fixed=setup.example is not None)
    if setup.example is None:
        st.html(f'<p class="soft">{REPEATS}</p>')
        st.page_link("views/how.py", label="No test yet? How to make one")
        if more is not None:
            more(setup)
    corners.show(setup)


def _banner(setup: Setup) -> None:
    if setup.example is None:
        return
    words = examples.EXAMPLES[setup.example].words
    with st.container(key="banner", horizontal=True, vertical_alignment="center"):
        st.markdown(f'Sample files of the invented buggy "Dune Hopper No. 4": {words}.')
        st.button("Use my own files", key="w_own", on_click=_leave_example)


def _leave_example() -> None:
    state.update(example=None, corner=None)


def _summary(setup: Setup, invites: str) -> str:
    counts = [f"{plain(run.label)}: {_files(len(run.recordings))}" for run in setup.runs]
    title = f"The tests and the corner ({', '.join(counts)})"
    return f"{title}; {invites}" if invites and setup.example is None else title


def _files(count: int) -> str:
    return "1 file" if count == 1 else f"{count} files"
