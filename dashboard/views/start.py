"""The first screen: the questions, in the visitor's words."""

from __future__ import annotations

import streamlit as st

from dashboard import examples, prefetch, state
from dashboard.markdown import plain
from dashboard.session import Question
from dashboard.widgets import figures

QUESTIONS: tuple[tuple[Question, str, str], ...] = (
    ("change", "Did my change help?", "One test before the change, one after it."),
    ("pair", "Are these two dampers alike?", "One test of each."),
    ("one", "What does this one recording say?", "One test, of the damper, of a corner or while driving."),
)


def show() -> None:
    """Ask the question that the visitor came with."""
    st.title("What do you want to know?", anchor=False)
    for question, words, needs in QUESTIONS:
        with st.container(key=f"question_{question}", border=True):
            st.page_link(f"views/{question}.py", label=words)
            st.markdown(f"{needs} {_there(question)}")
            with st.container(horizontal=True, key=f"examples_{question}", gap="small"):
                st.html('<span class="soft">Examples:</span>', width="content")
                for name, example in examples.of_question(question).items():
                    st.page_link(
                        f"views/{question}.py",
                        label=example.words,
                        query_params={"example": name},
                    )
    with st.container(key="question_how", border=True):
        st.page_link("views/how.py", label="How do I test without a bench?")
        st.markdown("A phone, a bathroom scale, a tape: what to do, step by step.")
    st.html('<p class="soft">The files you add stay on the computer that runs this program.</p>')
    figures.preload()
    prefetch.begin()


def _there(question: Question) -> str:
    """Say which files of the visitor's own are there for a question, "" without any."""
    names = [each.held.name for run in state.current().runs(question) for each in run.recordings]
    if not names:
        return ""
    more = f" and {len(names) - 2} more" if len(names) > 2 else ""
    return f"**There is already: {plain(', '.join(names[:2]) + more)}.**"


show()
