"""The recordings of a run: what each was read as, what it is worth, or why it is refused."""

from __future__ import annotations

import streamlit as st

from dashboard import cache, messages, state
from dashboard.markdown import plain
from dashboard.session import Question, Run
from dashboard.widgets import adding, folding
from dashboard.widgets.pages import escaped, points_html
from tuner.errors import TunerError
from tuner.kinds import kind_of
from tuner.reading import Reading
from tuner.wording.fits import note_points, quality_points, sentence

TITLES = {
    "before": "Test before the change",
    "after": "Test after the change",
    "record": "The recording",
}
KIND_WORDS = {
    "sweep": "bench sweep",
    "cycle": "bench cycles",
    "weights": "hung weights",
    "bounce": "bounce",
    "travel": "driving trace",
    "flight": "jump",
}


def show(question: Question, position: int, run: Run, *, fixed: bool = False) -> None:
    """List the recordings of a run and offer to add more; `fixed` runs are those of an example."""
    title = TITLES.get(run.label, run.label)
    st.html(f'<h3 class="step" aria-level="2">{escaped(title[:1].upper() + title[1:])}</h3>')
    for number, found in enumerate(cache.readings(run)):
        with st.container(key=f"recording_{question}_{position}_{number}", gap="xsmall"):
            _show_recording(question, position, run, number, found, fixed=fixed)
    if not fixed:
        adding.show(question, position, run)


def _show_recording(
    question: Question, position: int, run: Run, number: int, found: Reading | TunerError, *, fixed: bool
) -> None:
    name, place = run.recordings[number].held.name, f"{question}_{position}_{number}"
    refused = isinstance(found, TunerError)
    # in an empty file or a picture there are no rows about which anything could be said
    held = cache.holds(run.recordings[number].held)
    nothing = refused and not (held and cache.preview(run, run.recordings[number]).rows)
    open_ = "cannot be read" if nothing else "cannot be read yet"
    kind = open_ if isinstance(found, TunerError) else KIND_WORDS[kind_of(found.record)]
    with st.container(horizontal=True, vertical_alignment="center", key=f"file_{place}"):
        st.html(
            f'<p class="file"><b>{escaped(name)}</b> <span class="soft">{kind}</span></p>', width="stretch"
        )
        if not fixed:
            st.button(
                "Take away",
                key=f"w_drop_{place}",
                help=plain(name),
                on_click=_take_away,
                args=(question, position, number),
                type="tertiary",
            )
    if isinstance(found, TunerError):
        messages.refuse(found, name)
    if nothing or (fixed and refused):
        return
    words = "Say what it is" if refused else "How it was read"
    with folding.fold(words, f"read_{place}") as unfolded:
        if not unfolded:
            return
        if not isinstance(found, TunerError):
            st.html(f'<div class="words">{points_html(_read_as(found))}</div>')
        if not fixed:
            adding.correct(question, position, run, number)


def _read_as(reading: Reading) -> tuple[str, ...]:
    system, quality = state.current().system, reading.record.quality
    return (
        *quality_points([quality]),
        *note_points(quality.notes, system),
        *(sentence(text, system) for text in reading.decided),
    )


def _take_away(question: Question, position: int, number: int) -> None:
    state.put_run(question, position, state.current().runs(question)[position].without(number))
