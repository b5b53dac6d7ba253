"""How do I test without a bench? Step by step, with a drawing."""

from __future__ import annotations

import streamlit as st

from dashboard.widgets import pages
from dashboard.widgets.drawings import NARROW, image_html
from dashboard.widgets.runs import KIND_WORDS
from tuner.instructions import drawing, instruction
from tuner.kinds import KINDS

# the tests that need no bench first
ORDER = ("bounce", "weights", "travel", "flight", "cycle", "sweep")


def show() -> None:
    """Show the instruction of one test."""
    st.title("How do I test without a bench?", anchor=False)
    kind = st.pills(
        "Which test?",
        [*ORDER, *(kind for kind in KINDS if kind not in ORDER)],
        default=ORDER[0],
        required=True,
        format_func=lambda kind: KIND_WORDS[kind],
        key="kind",
        bind="query-params",
    )
    text = instruction(kind or ORDER[0])
    pages.show_heading(text.title)
    drawn = image_html(drawing(text.kind), text.title, "drawing", NARROW)
    st.html(f'<p class="lead">{pages.escaped(text.answers)}</p>{drawn}')
    pages.show_cautions(text.cautions)
    for title, points in (
        ("You need", text.need),
        ("Note down", text.note_down),
        ("What spoils it", text.spoils),
    ):
        if title == "Note down":
            pages.show_steps("Do this", text.steps)
            st.html(f'<p class="words"><b>How often:</b> {pages.escaped(text.repeats)}</p>')
        pages.show_points(title, points)
    st.html(f'<p class="words"><b>The file:</b> {pages.escaped(text.file)}</p>')
    st.page_link("views/one.py", label="I have the recording: what does it say?")
    st.page_link("views/change.py", label="I have one before and one after: did my change help?")


show()
