"""The recordings of a run: what each was read as, what it is worth, or why it is refused.

Takes a question, the position of a run and the run; gives whether all of it can be read. Uses: wording, streamlit;
bench, state, cache, messages, adding.
"""

from __future__ import annotations

import streamlit as st

from dashboard import cache, messages, state
from dashboard.bench import Question, Run
from dashboard.widgets import adding
from dashboard.widgets.pages import points_html
from tuner.errors import TunerError
from tuner.records import kind_of
from tuner.wording.fits import note_points, quality_points, sentence

KIND_WORDS = {
    "sweep": "bench sweep",
    "cycle": "bench cycles",
    "weights": "hung weights",
    "bounce": "bounce",
    "travel": "driving trace",
    "flight": "jump",
}


def show(question: Question, position: int, run: Run, *, fixed: bool = False) -> bool:
    """List the recordings of a run and offer to add more; `fixed` runs are those of an example."""
    ready = bool(run.recordings)
    system = state.current().system
    for number, (recording, found) in enumerate(zip(run.recordings, cache.readings(run), strict=True)):
        refused = isinstance(found, TunerError)
        ready = ready and not refused
        name = messages.plain(recording.held.name)
        if isinstance(found, TunerError):
            st.markdown(f"**{name}**")
            messages.refuse(found)
        else:
            st.markdown(f"**{name}**  \n{KIND_WORDS[kind_of(found.record)]}")
        with st.expander("How it was read" if not refused else "Say what it is", expanded=False):
            if not isinstance(found, TunerError):
                quality = found.record.quality
                st.html(
                    points_html(
                        (
                            *quality_points([quality], system),
                            *note_points(quality.notes, system),
                            *(sentence(text, system) for text in found.decided),
                        )
                    )
                )
            if not fixed:
                adding.correct(question, position, run, number)
        if not fixed:
            st.button(
                "Take it away",
                key=f"w_drop_{question}_{position}_{number}",
                on_click=_take_away,
                args=(question, position, number),
                type="tertiary",
            )
    if not fixed:
        adding.show(question, position, run)
    return ready


def _take_away(question: Question, position: int, number: int) -> None:
    state.put_run(question, position, state.current().runs(question)[position].without(number))
