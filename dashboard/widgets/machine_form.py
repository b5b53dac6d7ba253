"""The machine as it is typed: one field at a time, kept at once, with its refusal right below it.

Takes places of `tuner.machine.form`; gives nothing, the session changes.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import streamlit as st

from dashboard import cache, state
from dashboard.widgets.drawings import image_html
from dashboard.widgets.pages import escaped
from tuner.errors import TunerError
from tuner.machine import write_machine
from tuner.machine.form import (
    KINDS,
    TAPE,
    Entry,
    FormRead,
    MachineForm,
    form_of,
    with_unit,
    without_unit,
)
from tuner.units import SHOWN
from tuner.wording.fits import sentence

DRAWINGS = Path(__file__).resolve().parent.parent / "drawings"
# how well something is known, in words; what is kept is the half width of the 95 % interval
SURE = {
    "": "exactly",
    "1 %": "very well, ± 1 %",
    "2 %": "well, ± 2 %",
    "5 %": "fairly, ± 5 %",
    "10 %": "roughly, ± 10 %",
    "25 %": "a guess, ± 25 %",
}
USUAL = "5 %"


def form() -> MachineForm:
    """Give what is typed: the draft, else the machine that is there, else an empty form."""
    session = state.current()
    if session.draft is not None:
        return session.draft
    given = cache.machine(session.machine)
    return MachineForm() if given is None else form_of(given.machine)


def read(given: MachineForm) -> FormRead:
    """Read a form."""
    return cache.form_read(given)


def keep(given: MachineForm) -> None:
    """Keep a form, and the machine of all that is complete in it for the other pages."""
    machine = read(given).machine
    held = None
    if machine is not None:
        stem = re.sub(r"[^a-z0-9]+", "_", machine.name.lower()).strip("_") or "machine"
        held = cache.hold(f"{stem}.toml", write_machine(machine).encode())
    state.update(draft=given, machine=held)


def rewrite(given: MachineForm) -> None:
    """Keep a form that did not come from its fields, which are drawn anew."""
    keep(given)
    state.empty()


def _widget(corner: str, key: str, part: str) -> str:
    return state.fresh(f"machine_{corner}_{key}_{part}_{state.current().system}")


def fill(corner: str, key: str, entry: Entry) -> None:
    """Write an entry into a field."""
    rewrite(form().with_entry(corner, key, entry))


def _typed(corner: str, key: str) -> None:
    text = str(state.value(_widget(corner, key, "text")) or "")
    how_well = state.value(_widget(corner, key, "spread"))
    spread = form().entry(corner, key).spread if how_well is None else str(how_well)
    entry = Entry(with_unit(text, KINDS[key], state.current().system), spread)
    keep(form().with_entry(corner, key, entry))


def _known(corner: str, key: str) -> None:
    spread = str(state.value(_widget(corner, key, "spread")) or "")
    keep(form().with_entry(corner, key, replace(form().entry(corner, key), spread=spread)))


def field(corner: str, key: str, label: str, *, how_well: bool = True, usual: str = USUAL) -> None:
    """Ask for one number and how well it is known; what is wrong with it stands right below."""
    given, system = form(), state.current().system
    entry, kind = given.entry(corner, key), KINDS[key]
    unit = SHOWN[system][kind].label
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small", key=f"field_{corner}_{key}"):
        st.text_input(
            f"{label} ({unit})" if unit else label,
            value=without_unit(entry.text, kind, system) if entry.text else "",
            key=_widget(corner, key, "text"),
            on_change=_typed,
            args=(corner, key),
            autocomplete="off",
        )
        if how_well:
            sureness(corner, key, entry, usual)
    show_problem(corner, key)


def sureness(corner: str, key: str, entry: Entry, usual: str = USUAL) -> None:
    """Ask how well something is known; words of one's own such as "3 kg" are taken too."""
    spread = entry.spread if entry.text or entry.spread else usual
    _ask_how_well(corner, key, spread, list(SURE), "How well do you know it?")


def tape(corner: str) -> None:
    """Ask how well the rows of a table were read."""
    spread = form().entry(corner, "tape").spread
    _ask_how_well(
        corner, "tape", spread, ["", *TAPE[state.current().system]], "How well do you read the tape?"
    )


def _ask_how_well(corner: str, key: str, spread: str, options: list[str], label: str) -> None:
    options = options if spread in options else [*options, spread]
    st.selectbox(
        label,
        options,
        index=options.index(spread),
        format_func=lambda text: SURE.get(text, f"± {text}"),
        key=_widget(corner, key, "spread"),
        on_change=_known,
        args=(corner, key),
        accept_new_options=True,
    )


def show_problem(corner: str, key: str) -> None:
    """Show what is wrong at a place, if something is."""
    problem = read(form()).problems.get((corner, key))
    if problem is not None:
        show_refusal(problem)


def show_refusal(problem: TunerError) -> None:
    """Show one refusal as one quiet line."""
    st.html(f'<p class="wrong" role="alert"><b>Not yet:</b> {escaped(refusal_words(problem))}</p>')


def refusal_words(problem: TunerError) -> str:
    """Give a refusal and its hint in the units of the visitor."""
    words = sentence(re.sub(r"(?<=[a-z])_(?=[a-z])", " ", problem.message), state.current().system)
    hint = f" {sentence(problem.hint, state.current().system)}" if problem.hint else ""
    return f"{words}{hint}"


def drawing(name: str) -> None:
    """Show a drawing of what is meant."""
    svg = (DRAWINGS / f"machine_{name}.svg").read_text(encoding="utf-8")
    words = re.search(r"<title[^>]*>(.*?)</title>", svg)
    st.html(image_html(svg, words[1] if words else name, "plan"))


def asked(text: str) -> None:
    """Say in one or two sentences what is asked."""
    st.html(f'<p class="asked">{escaped(text)}</p>')
