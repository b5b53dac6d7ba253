"""What belongs to the whole machine: its body for jumps, its axles, the target of its damping.

Takes nothing; gives nothing, the session changes.
"""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from dashboard import state
from dashboard.widgets import machine_form, machine_sums
from dashboard.widgets.machine_form import field
from tuner.machine import TARGETS
from tuner.machine.form import OWN_BANDS, Entry, suggestion
from tuner.wording.corners import target_words

PLACES = {
    "front_share": "the front axle's share of the weight",
    "cg_to_front": "its distance behind the front axle",
}
INERTIAS = {"pitch_factor": "a factor, about 0.9", "pitch_inertia": "measured or worked out"}


def show_target() -> None:
    """Ask which band the damping ratio should lie in."""
    form, system = machine_form.form(), state.current().system
    options = [*TARGETS, OWN_BANDS]
    key = state.fresh("machine_use")
    st.selectbox(
        "Where do you drive?",
        options,
        index=options.index(form.use),
        format_func=lambda name: "my own bands" if name == OWN_BANDS else name,
        key=key,
        on_change=_choose_use,
        args=(key,),
    )
    if form.use == OWN_BANDS:
        machine_form.asked("Parts of critical damping, from and to.")
        for side in ("compression", "rebound"):
            with st.container(horizontal=True, gap="small", key=f"band_{side}"):
                _bound(f"{side}_low", f"{side}, from")
                _bound(f"{side}_high", "to")
            machine_form.show_problem("", f"{side}_low")
    field("", "speed", "At a shaft speed of", how_well=False)
    machine = machine_form.read(form).machine
    if machine is not None:
        machine_form.asked(target_words(machine.target, system))


def _choose_use(key: str) -> None:
    machine_form.keep(replace(machine_form.form(), use=str(state.value(key))))


def _bound(key: str, label: str) -> None:
    widget = state.fresh(f"machine_{key}")
    st.text_input(
        label,
        value=machine_form.form().entry("", key).text,
        key=widget,
        on_change=_typed_bound,
        args=(key, widget),
    )


def _typed_bound(key: str, widget: str) -> None:
    machine_form.keep(machine_form.form().with_entry("", key, Entry(str(state.value(widget) or ""))))


def show_body() -> None:
    """Ask for axles and body, which only jumps need."""
    form = machine_form.form()
    machine_form.asked("Only for jumps. Lengths from axle to axle, with driver and fuel.")
    machine_form.drawing("body")
    with st.container(horizontal=True, gap="small", key="field_axles"):
        for axle in ("front", "rear"):
            _axle(axle, getattr(form, axle))
    machine_form.show_problem("", "axles")
    field("", "wheelbase", "Wheelbase")
    _either(
        "Where is the centre of gravity?", PLACES, "Front's share of the weight", "Centre of gravity to front"
    )
    share = machine_sums.front_share(form)
    if share is not None and not form.entry("", "cg_to_front").text:
        machine_sums.show_answer("The masses of the corners give a front share of", share, "ratio")
        st.button(
            "Use this",
            key="w_use_share",
            on_click=machine_form.fill,
            args=("", "front_share", suggestion(share, "ratio", state.current().system)),
        )
    _either("How hard is it to pitch?", INERTIAS, "Pitch factor", "Pitch inertia")
    if "pitch_inertia" in _chosen(INERTIAS):
        machine_sums.show("", machine_sums.SWING)
        machine_sums.show("", machine_sums.FACTOR)
    machine_sums.show("", machine_sums.HEIGHT)


def _axle(axle: str, chosen: str) -> None:
    options = ["", *machine_form.form().corners]
    key = state.fresh(f"machine_{axle}")
    st.selectbox(
        f"Corner that stands for the {axle}",
        options,
        index=options.index(chosen) if chosen in options else 0,
        format_func=lambda name: name or "none yet",
        key=key,
        on_change=_choose_axle,
        args=(axle, key),
    )


def _choose_axle(axle: str, key: str) -> None:
    name = str(state.value(key) or "")
    form = machine_form.form()
    machine_form.keep(replace(form, front=name) if axle == "front" else replace(form, rear=name))


def _chosen(pair: dict[str, str]) -> str:
    """Give which of two ways is filled in; the first one when neither is."""
    one, other = pair
    form = machine_form.form()
    asked = state.value(state.fresh(f"machine_{one}_or"))
    if asked in pair:
        return str(asked)
    return other if form.entry("", other).text and not form.entry("", one).text else one


def _either(question: str, pair: dict[str, str], *labels: str) -> None:
    one, _ = pair
    chosen = _chosen(pair)
    key = state.fresh(f"machine_{one}_or")
    st.segmented_control(
        question,
        list(pair),
        default=chosen,
        required=True,
        format_func=lambda name: pair[name],
        key=key,
        on_change=_choose_either,
        args=(key, tuple(pair)),
    )
    field("", chosen, dict(zip(pair, labels, strict=True))[chosen])


def _choose_either(key: str, pair: tuple[str, str]) -> None:
    """Empty the way that was not chosen, as a machine has one of the two."""
    other = pair[0] if state.value(key) == pair[1] else pair[1]
    form = machine_form.form()
    if form.entry("", other).text:
        machine_form.keep(form.with_entry("", other, Entry()))
