"""The machine: described corner by corner, or taken from its file; saved as the same file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import streamlit as st

from dashboard import cache, examples, messages, state
from dashboard.markdown import plain
from dashboard.widgets import machine_body, machine_form, machine_steps, pages
from tuner.errors import TunerError
from tuner.machine.form import MachineForm

USUAL_NAMES = ("rear left", "rear right", "front left", "front right")
STYLE = Path(__file__).resolve().parent.parent / "machine.css"


def show() -> None:
    """Ask for the machine, one corner at a time."""
    st.html(STYLE)
    st.title("The machine", anchor=False)
    form = machine_form.form()
    if not form.corners:
        _begin()
        return
    corner = _corner(form)
    machine_steps.show(corner)
    machine_steps.show_findings(corner)
    with st.expander("The target of the damping", key="machine_target"):
        machine_body.show_target()
    with st.expander("The body and its axles (for jumps)", key="machine_body"):
        machine_body.show_body()
    _save()
    st.page_link("views/start.py", label="Back to the questions")


def _begin() -> None:
    machine_form.asked(
        "Three numbers of one corner are enough: the mass on the spring, the spring rate, the motion ratio. "
        "Which corner first?"
    )
    with st.container(horizontal=True, key="first_corner"):
        for name in USUAL_NAMES:
            st.button(name, key=f"w_begin_{name}", on_click=_add, args=(name, None))
    pages.show_heading("Or")
    _load()


def _load() -> None:
    file = st.file_uploader("A machine file (TOML)", type=["toml"], key=state.fresh("machine"))
    if file is not None:
        held = cache.hold(file.name, file.getvalue())
        with messages.explained():
            cache.machine(held)
        state.update(machine=held, corner=None, draft=None)
        state.empty()
        st.rerun()
    st.button("Use the invented buggy", key="w_sample_machine", on_click=_sample)


def _sample() -> None:
    state.update(machine=examples.sample_machine(), corner=None, draft=None)
    state.empty()


def _corner(form: MachineForm) -> str:
    """Choose the corner; add one, or take one away."""
    key = state.fresh("machine_corner")
    chosen = state.current().corner
    chosen = chosen if chosen in form.corners else form.corners[0]
    st.pills(
        f"Corner of {plain(form.name or 'my machine')}",
        form.corners,
        default=chosen,
        required=True,
        format_func=plain,
        key=key,
        on_change=_choose,
        args=(key,),
    )
    with st.expander("Name it, add a corner or take one away", key="corners_of_machine", type="compact"):
        _name(form)
        _add_corner(form, chosen)
        st.button(
            f"Take {plain(chosen)} away",
            key="w_drop_corner",
            on_click=_drop,
            args=(chosen,),
            type="tertiary",
        )
    return chosen


def _choose(key: str) -> None:
    state.update(corner=state.value(key))


def _name(form: MachineForm) -> None:
    key = state.fresh("machine_name")
    st.text_input(
        "Name of the machine", value=form.name, key=key, on_change=_rename, args=(key,), max_chars=80
    )
    machine_form.show_problem("", "name")


def _rename(key: str) -> None:
    machine_form.keep(replace(machine_form.form(), name=str(state.value(key) or "")))


def _add_corner(form: MachineForm, like: str) -> None:
    free = [name for name in USUAL_NAMES if name not in form.corners]
    with st.form(state.fresh("add_corner"), border=False):
        name = st.selectbox("Another corner", free, index=0 if free else None, accept_new_options=True)
        alike = st.checkbox(f"as {plain(like)} is", value=True)
        if st.form_submit_button("Add this corner"):
            try:
                added = form.with_corner(str(name or ""), like if alike else None)
            except TunerError as refusal:
                machine_form.show_refusal(refusal)
                return
            machine_form.rewrite(added)
            state.update(corner=str(name).strip())
            st.rerun()


def _add(name: str, like: str | None) -> None:
    machine_form.rewrite(machine_form.form().with_corner(name, like))
    state.update(corner=name)


def _drop(name: str) -> None:
    machine_form.rewrite(machine_form.form().without_corner(name))
    state.update(corner=None)


def _save() -> None:
    form = machine_form.form()
    found, held = machine_form.read(form), state.current().machine
    st.subheader("Save it", anchor=False)
    left = [name for name in form.corners if name not in found.corners]
    if left:
        machine_form.asked(
            f"Not in the file yet, as something is missing or wrong: {', '.join(left)}. What you typed is kept."
        )
    if held is not None:
        with messages.explained():
            data = cache.data_of(held)
        st.download_button(
            "Save the machine file",
            data,
            held.name,
            "application/toml",
            key="w_save_machine",
            on_click="ignore",
            type="primary",
        )
    with st.expander("Take another machine", key="machine_load", type="compact"):
        _load()
        st.button("Start from nothing", key="w_no_machine", on_click=_start_anew)


def _start_anew() -> None:
    state.update(machine=None, corner=None, draft=None)
    state.empty()


show()
