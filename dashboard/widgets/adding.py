"""Adding a record to a run: an upload, and what the file does not say.

Takes a question and the position of a run; gives nothing, the workbench changes. Uses: reading, streamlit;
bench, state, cache.

This is where pasted and typed-in tables, the preview and its correction belong: `show` is called by every page
that takes records, `correct` under every recording in the list of a run.
"""

from __future__ import annotations

import streamlit as st

from dashboard import cache, state
from dashboard.bench import Question, Recording, Run, Said
from tuner.records import KINDS

KINDS_OF_FILE = ["csv", "txt", "tsv", "dat", "gz", "log"]


def show(question: Question, position: int, run: Run) -> None:
    """Offer to add recordings to a run."""
    key = state.fresh(f"add_{question}_{position}")
    files = st.file_uploader(
        f"Files of the test: {run.label}",
        type=KINDS_OF_FILE,
        accept_multiple_files=True,
        key=key,
        label_visibility="collapsed",
    )
    if files:
        added = [Recording(cache.hold(file.name, file.getvalue())) for file in files]
        state.put_run(question, position, run.with_recordings(*added))
        state.empty()
        st.rerun()


def correct(question: Question, position: int, run: Run, number: int) -> None:
    """Offer to say what one recording is and what it does not say by itself."""
    from tuner.reading import ROLES, SETTINGS

    said = run.recordings[number].said
    key = f"w_said_{question}_{position}_{number}"
    with st.form(key, border=False):
        kind = st.selectbox(
            "Kind of test",
            [None, *KINDS],
            _place(KINDS, said.kind),
            format_func=lambda k: k or "as the file says",
            key=f"{key}_kind",
        )
        columns = _pair_inputs(f"{key}_column", "Column", "is called", sorted(ROLES), said.columns)
        units = _pair_inputs(f"{key}_unit", "Unit of", "is", sorted(ROLES), said.units)
        settings = _pair_inputs(f"{key}_setting", "Setting", "is", list(SETTINGS), said.settings)
        if st.form_submit_button("Use this"):
            new = Said(kind, columns, units, settings)
            state.put_run(question, position, run.with_said(number, new))
            st.rerun()


def _place(names: tuple[str, ...], name: str | None) -> int:
    return 0 if name is None else names.index(name) + 1


def _pair_inputs(
    key: str, what: str, between: str, names: list[str], given: tuple[tuple[str, str], ...]
) -> tuple[tuple[str, str], ...]:
    """One row to say a name and a value, with what was said before kept."""
    left, right = st.columns(2)
    name = left.selectbox(what, ["", *names], format_func=lambda n: n.replace("_", " "), key=f"{key}_name")
    text = right.text_input(
        between, placeholder=", ".join(f"{n} = {v}" for n, v in given), key=f"{key}_value"
    )
    kept = dict(given) | ({name: text} if name and text else {})
    return tuple(sorted(kept.items()))
