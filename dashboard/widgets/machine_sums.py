"""Sums of the workshop for a number that a builder does not know: folded until it is asked for.

Takes the place of the number; gives nothing, the answer goes into its field on demand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

import streamlit as st

from dashboard import state
from dashboard.widgets import machine_form
from dashboard.widgets.pages import escaped
from tuner.errors import TunerError
from tuner.estimates import Estimate
from tuner.machine import (
    cg_height_by_raising,
    coil_rate,
    frequency_from_sag,
    front_share_of,
    pitch_inertia_by_swing,
    pitch_inertia_from_factor,
    sprung_from_scale,
    stacked_rate,
)
from tuner.machine.form import KINDS, MachineForm, suggestion, typed
from tuner.wording import figures

Given = Mapping[str, Estimate]


class Sum(NamedTuple):
    """One sum: title, its drawing, what to do, fields (key, label), the sum, what it gives, where that goes."""

    title: str
    drawing: str
    words: str
    fields: tuple[tuple[str, str], ...]
    work: Callable[[Given], Estimate]
    answer: str
    kind: str
    target: str = ""
    spare: tuple[str, ...] = ()  # fields that may stay empty
    usual: str = machine_form.USUAL  # how well its fields are known, as first shown
    beside: tuple[str, ...] = ()  # fields that stand on the page already


SCALE = Sum(
    "I have the reading of a scale under the wheel",
    "",
    "Stand the whole machine on its wheels with driver and fuel, a scale under each wheel and all of them level. "
    "What does not ride on the spring goes off: wheel, hub, brake, about half of arm and damper. That is the "
    "unsprung mass; fill it in below.",
    (("scale_reading", "The scale shows"),),
    lambda given: sprung_from_scale(given["scale_reading"], given["unsprung_mass"]),
    "Sprung mass",
    "mass",
    "sprung_mass",
    beside=("unsprung_mass",),
)
COIL = Sum(
    "I can measure the wire and count the coils",
    "",
    "Calipers on the wire; the mean diameter is the outside diameter less one wire. Count only coils that move: "
    "those that lie on their neighbour or on the seat do not.",
    (("wire", "Wire"), ("mean_diameter", "Mean diameter"), ("active_coils", "Active coils")),
    lambda given: coil_rate(given["wire"], given["mean_diameter"], given["active_coils"]),
    "Spring rate, if it is spring steel",
    "stiffness",
    "spring_rate",
    usual="1 %",
)
STACK = Sum(
    "Two or three springs stand on top of each other",
    "",
    "Each with its own rate, none of them coil bound.",
    (("spring_1", "First spring"), ("spring_2", "Second spring"), ("spring_3", "Third spring, if any")),
    lambda given: stacked_rate(tuple(given.values())),
    "Together",
    "stiffness",
    "spring_rate",
    ("spring_3",),
)
SAG = Sum(
    "What frequency does my sag mean?",
    "sag",
    "From hanging free to standing on its wheels, at the wheel. Right for one plain spring without preload.",
    (("sag", "Sag at the wheel"),),
    lambda given: frequency_from_sag(given["sag"]),
    "Natural frequency",
    "frequency",
)
HEIGHT = Sum(
    "How high is my centre of gravity? (by raising one end)",
    "raise",
    "Lock the suspension. Both wheels of one axle on scales: read them level, then with the other axle raised, at "
    "least 600 mm, or the difference drowns in the scales' error.",
    (
        ("total_mass", "Whole machine"),
        ("level_mass", "Scales, level"),
        ("raised_mass", "Scales, other axle raised"),
        ("lift", "Lift"),
        ("axle_height", "Axle height, if from the ground"),
    ),
    lambda given: cg_height_by_raising(**given),
    "Height of the centre of gravity",
    "length",
    spare=("axle_height",),
    usual="1 %",
    beside=("wheelbase",),
)
SWING = Sum(
    "I can swing the body about a bar",
    "swing",
    "Hang it by two points of one crossways bar, push it a hand's width, time ten full swings and divide by ten.",
    (
        ("swinging_mass", "Mass that swings"),
        ("pivot_to_cg", "Bar to centre of gravity"),
        ("period", "One full swing"),
    ),
    lambda given: pitch_inertia_by_swing(given["swinging_mass"], given["pivot_to_cg"], given["period"]),
    "Pitch inertia about the centre of gravity",
    "inertia",
    "pitch_inertia",
    usual="1 %",
)
FACTOR = Sum(
    "I only know masses and lengths",
    "",
    "The factor for an ordinary buggy is about 0.8 to 1.0 (common practice, no source).",
    (
        ("body_mass", "Sprung mass, all corners"),
        ("to_front", "Centre of gravity to front axle"),
        ("to_rear", "Centre of gravity to rear axle"),
    ),
    lambda given: pitch_inertia_from_factor(given["body_mass"], given["to_front"], given["to_rear"]),
    "Pitch inertia about the centre of gravity",
    "inertia",
    "pitch_inertia",
)


def show(corner: str, asked: Sum) -> None:
    """Offer a sum, folded."""
    with st.expander(asked.title, key=f"sum_{corner}_{asked.title[:24]}", type="compact"):
        machine_form.asked(asked.words)
        if asked.drawing:
            machine_form.drawing(asked.drawing)
        for key, label in asked.fields:
            machine_form.field(corner, key, label, usual=asked.usual)
        _answer(corner, asked)


def _answer(corner: str, asked: Sum) -> None:
    form, system = machine_form.form(), state.current().system
    keys = (*(key for key, _ in asked.fields), *asked.beside)
    given: dict[str, Estimate] = {}
    try:
        for key in keys:
            value = typed(form, corner, key)
            if value is not None:
                given[key] = value
    except TunerError:  # said at its field already
        return
    missing = [key for key in keys if key not in given and key not in asked.spare]
    if missing:
        if given and set(missing) <= set(asked.beside):
            machine_form.asked(f"Still needed for this: {' and '.join(missing).replace('_', ' ')}.")
        return
    try:
        answer = asked.work(given)
    except TunerError as refusal:
        machine_form.show_refusal(refusal)
        return
    show_answer(asked.answer, answer, asked.kind)
    if asked.target:
        st.button(
            "Use this",
            key=f"w_use_{corner}_{asked.title[:24]}",
            on_click=machine_form.fill,
            args=(corner, asked.target, suggestion(answer, KINDS[asked.target], system)),
        )


def show_answer(words: str, answer: Estimate, kind: str) -> None:
    """Say what a sum gives."""
    text = figures.amount(answer, kind, system=state.current().system)
    st.html(f'<p class="answered" role="status">{escaped(words)}: {escaped(text)}</p>')


def front_share(form: MachineForm) -> Estimate | None:
    """Give the front's share from the corners that stand for the axles, None when they are not complete."""
    corners = machine_form.read(form).corners
    if form.front not in corners or form.rear not in corners:
        return None
    return front_share_of(corners[form.front].sprung_mass, corners[form.rear].sprung_mass)
