"""Adding records to a run: files, a pasted table, one typed in; and what was done to the damper.

Takes a question and the position of a run; gives nothing, the session changes.

`show` is called by every page that takes records, `correct` under every recording in the list of a run.
"""

from __future__ import annotations

import streamlit as st

from dashboard import cache, messages, state
from dashboard.markdown import plain
from dashboard.session import Question, Recording, Run
from dashboard.widgets import adding_menus, adding_settings, folding
from tuner.errors import TunerError
from tuner.reading.table.typed import TYPED, typed_table
from tuner.records import Kind

WAYS = {"paste": "paste a table", "sweep": "type in a bench sweep", "weights": "type in hung weights"}
EMPTY_ROWS = 6


def show(question: Question, position: int, run: Run) -> None:
    """Offer to add recordings to a run."""
    key = state.fresh(f"add_{question}_{position}")
    st.file_uploader(
        f"Files of the test: {plain(run.label)}",
        type=None,  # a browser that turns a spreadsheet away shows no words; the reader says what to do with it
        accept_multiple_files=True,
        key=key,
        on_change=_add_files,
        args=(question, position, key),
        label_visibility="collapsed",
    )
    with folding.fold("No file? Paste or type a table", f"table_{question}_{position}") as unfolded:
        if unfolded:
            _table(question, position)
    adding_settings.show(question, position, run)


def correct(question: Question, position: int, run: Run, number: int) -> None:
    """Offer to look at one recording and to say what it is."""
    adding_menus.show(question, position, run, number)


def _add_files(question: Question, position: int, key: str) -> None:
    files = state.value(key) or ()
    added = (Recording(cache.hold(file.name, file.getvalue())) for file in files)
    state.put_run(question, position, state.current().runs(question)[position].with_recordings(*added))
    state.empty()


def _table(question: Question, position: int) -> None:
    way = st.segmented_control(
        "How?",
        list(WAYS),
        default="paste",
        required=True,
        format_func=lambda name: WAYS[name],
        key=f"w_way_{question}_{position}",
        label_visibility="collapsed",
    )
    kind = next((each for each in TYPED if each == way), None)
    if kind is None:
        _paste(question, position)
    else:
        _type(question, position, kind)


def _paste(question: Question, position: int) -> None:
    key = state.fresh(f"paste_{question}_{position}")
    st.text_area(
        "The table with its header, as copied from a spreadsheet or a text file",
        key=key,
        height=150,
        placeholder="Speed (m/s)\tCompression force (N)\tRebound force (N)\n0.13\t120\t380",
    )
    st.button(
        "Add this table",
        key=f"w_paste_{question}_{position}",
        on_click=_add_pasted,
        args=(question, position, key),
    )


def _add_pasted(question: Question, position: int, key: str) -> None:
    text = str(state.value(key) or "")
    if text.strip():
        _add(question, position, "pasted table", text.encode())


def _type(question: Question, position: int, kind: Kind) -> None:
    system = state.current().system
    headings = [column.heading(system) for column in TYPED[kind]]
    config = {
        heading: st.column_config.SelectboxColumn(heading, options=list(column.words))
        if column.words
        else st.column_config.TextColumn(heading)
        for heading, column in zip(headings, TYPED[kind], strict=True)
    }
    filled = st.data_editor(
        {heading: [None] * EMPTY_ROWS for heading in headings},
        num_rows="dynamic",
        hide_index=True,
        width="stretch",
        column_config=config,
        placeholder="",  # an empty cell looks empty
        key=state.fresh(f"type_{kind}_{question}_{position}_{system}"),
    )
    # seen with 40 ms from key to key on a busy computer, not with 110 ms: the first key of a cell can be dropped
    st.html('<p class="soft">Look over the numbers before you add them.</p>')
    if st.button("Add this table", key=f"w_type_{question}_{position}"):
        rows = list(zip(*(filled[heading] for heading in headings), strict=True))
        try:
            data = typed_table(kind, rows, system)
        except TunerError as refusal:
            messages.refuse(refusal)
            return
        _add(question, position, "typed table", data)
        st.rerun()


def _add(question: Question, position: int, name: str, data: bytes) -> None:
    run = state.current().runs(question)[position]
    taken = {recording.held.name for recording in run.recordings}
    number = next(i for i in range(1, len(taken) + 2) if f"{name} {i}.csv" not in taken)
    state.put_run(
        question, position, run.with_recordings(Recording(cache.hold(f"{name} {number}.csv", data)))
    )
    state.empty()
