"""What was on the damper at a test: oil, clicks, shims, spring, temperature; folded, each with its refusal below.

Takes a question and the position of a run; gives nothing, the session changes.
"""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from dashboard import state
from dashboard.session import Question, Run
from dashboard.widgets import folding, machine_form
from tuner.errors import TunerError
from tuner.machine.form import with_unit, without_unit
from tuner.units import SHOWN

TITLE = "What was on the damper (oil, clicks, shims …)"

# what a builder changes, in the order of asking
ASKED = {
    "oil": "Oil",
    "viscosity": "Viscosity at 40 °C",
    "oil_volume": "Quantity of oil",
    "clicks": "Clicks",
    "shims": "Shims",
    "spring": "Spring",
    "temperature": "Temperature of oil or body",
    "note": "Anything else",
}


def show(question: Question, position: int, run: Run) -> None:
    """Ask what was on the damper."""
    said = dict(run.noted)
    with folding.fold(TITLE, f"noted_{question}_{position}") as unfolded:
        if unfolded:
            for name, label in ASKED.items():
                _field(question, position, name, label, said.get(name, ""))
    known = [label[:1].lower() + label[1:] for name, label in ASKED.items() if said.get(name)]
    if known and not unfolded:
        st.html(f'<p class="soft">Noted: {", ".join(known)}.</p>')


def _kind(name: str) -> str:
    """Give the kind of unit of a setting, "" for words and bare numbers."""
    from tuner.reading import SETTINGS

    kind = SETTINGS[name].kind
    return kind if kind in SHOWN["metric"] else ""


def _field(question: Question, position: int, name: str, label: str, text: str) -> None:
    from tuner.reading.table.options import ReadOptions, settled

    system, kind = state.current().system, _kind(name)
    key = state.fresh(f"noted_{question}_{position}_{name}_{system}")
    st.text_input(
        f"{label} ({SHOWN[system][kind].label})" if kind else label,
        value=without_unit(text, kind, system) if kind else text,
        key=key,
        on_change=_noted,
        args=(question, position, name, key),
        autocomplete="off",
        max_chars=200,
    )
    if text:
        try:
            settled(ReadOptions(settings={name: text}))
        except TunerError as refusal:
            machine_form.show_refusal(refusal)


def _noted(question: Question, position: int, name: str, key: str) -> None:
    run, kind = state.current().runs(question)[position], _kind(name)
    text = str(state.value(key) or "").strip()
    text = with_unit(text, kind, state.current().system) if kind and text else text
    noted = {each: words for each, words in run.noted if each != name} | ({name: text} if text else {})
    state.put_run(question, position, replace(run, noted=tuple(sorted(noted.items()))))
