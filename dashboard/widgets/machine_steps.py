"""One corner in five steps: mass, spring, motion ratio, travel, tyre; one step is open at a time.

Takes the name of a corner; gives nothing, the session changes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import streamlit as st

from dashboard import cache, state
from dashboard.theme import look
from dashboard.widgets import figures, machine_form, machine_sums, pages
from dashboard.widgets.machine_form import field
from tuner.charts import linkage_figure
from tuner.machine.form import BY_TABLE, TAPE, Entry, Row, called, with_unit, without_unit
from tuner.units import SHOWN
from tuner.wording.corners import corner_doubts, corner_lacks, corner_values_table

STEP = "w_machine_step"
EMPTY_ROWS = 6


def show(corner: str) -> None:
    """Ask for one step of a corner, then say what follows from all that is there."""
    names = list(STEPS)
    chosen = st.segmented_control(
        "What do you want to fill in?",
        names,
        default=None if state.value(STEP) else names[0],
        required=True,
        key=STEP,
        label_visibility="collapsed",
    )
    name = chosen or names[0]
    with st.container(key=f"step_{name}"):
        STEPS[name](corner)
        if name != names[-1]:
            following = names[names.index(name) + 1]
            st.button(f"Next: {following}", key=f"w_next_{name}", on_click=state.put, args=(STEP, following))


def _mass(corner: str) -> None:
    machine_form.asked("How heavy is what rides on this one spring, with driver and fuel?")
    machine_form.drawing("mass")
    field(corner, "sprung_mass", "Sprung mass of this corner")
    machine_sums.show(corner, machine_sums.SCALE)
    field(corner, "unsprung_mass", "Unsprung mass (may stay empty)")


def _spring(corner: str) -> None:
    machine_form.asked("How stiff is the spring itself, not seen from the wheel? Often it is printed on it.")
    machine_form.drawing("spring")
    field(corner, "spring_rate", "Spring rate")
    machine_sums.show(corner, machine_sums.COIL)
    machine_sums.show(corner, machine_sums.STACK)


def _linkage(corner: str) -> None:
    machine_form.asked(
        "How far does the damper shaft move for each length that the wheel moves? Usually less than 1."
    )
    machine_form.drawing("ratio")
    by_table = machine_form.form().by_table(corner)
    key = state.fresh(f"ratio_by_{corner}")
    st.segmented_control(
        "Motion ratio",
        ["one number", "a tape-measure table"],
        default="a tape-measure table" if by_table else "one number",
        required=True,
        key=key,
        on_change=_choose_table,
        args=(corner, key),
    )
    if by_table:
        _table(corner)
    else:
        field(corner, "motion_ratio", "Damper travel / wheel travel")


def _choose_table(corner: str, key: str) -> None:
    text = "table" if str(state.value(key)).endswith("table") else ""
    form = machine_form.form().with_entry(corner, BY_TABLE, Entry(text))
    if text and not form.rows(corner):
        form = form.with_entry(corner, "tape", Entry("", TAPE[state.current().system][0]))
    machine_form.keep(form)


def _table(corner: str) -> None:
    machine_form.asked(
        "Spring off. From full droop to full bump in five to ten steps, both counted from full droop."
    )
    form, system = machine_form.form(), state.current().system
    unit = SHOWN[system]["length"]
    names = (f"wheel ({unit.label})", f"damper ({unit.label})")
    key = state.fresh(f"ratio_{corner}_{system}")
    # the editor keeps its own changes, so it must be given the same rows as long as it stands
    first = state.value(f"{key}_rows") if state.value(key) is not None else None
    if first is None:
        rows = [tuple(without_unit(cell, "length", system) for cell in row) for row in form.rows(corner)]
        rows = rows or [("0", "0")]  # both are counted from full droop
        first = rows + [("", "")] * max(EMPTY_ROWS - len(rows), 0)
        state.put(f"{key}_rows", first)
    edited = st.data_editor(
        {name: [row[i] for row in first] for i, name in enumerate(names)},
        num_rows="dynamic",
        hide_index=True,
        width="stretch",
        column_config={name: st.column_config.TextColumn(name) for name in names},
        key=key,
    )
    rows = list(zip(*(edited[name] for name in names), strict=True))
    typed: list[Row] = [(_cell(wheel, system), _cell(damper, system)) for wheel, damper in rows]
    after = form.with_rows(corner, typed)
    if after.rows(corner) != form.rows(corner):
        machine_form.keep(after)
    machine_form.tape(corner)
    machine_form.show_problem(corner, "motion_ratio")
    known = machine_form.read(machine_form.form()).corners.get(corner)
    if known is not None and known.motion_ratio.constant is None:
        here = look()
        figure = cache.figure(
            ("linkage", known.motion_ratio, system, here.name),
            lambda: linkage_figure(known.motion_ratio, system, here),
        )
        figures.show(figure, f"linkage_{corner}")


def _cell(value: Any, system: Any) -> str:
    text = "" if value is None else str(value).strip()
    return with_unit(text, "length", system) if text else ""


def _travel(corner: str) -> None:
    machine_form.asked(
        "How far can the damper go, and where does it stand when the machine rests on its wheels?"
    )
    machine_form.drawing("travel")
    field(corner, "damper_travel", "Damper travel (may stay empty)")
    field(corner, "static_travel", "Travel at rest (may stay empty)")
    machine_sums.show(corner, machine_sums.SAG)


def _tyre(corner: str) -> None:
    machine_form.asked(
        "For the wheel hop only. Tyre rate: the load on the wheel over how far it squashes the tyre."
    )
    field(corner, "tyre_rate", "Tyre rate (may stay empty)")
    with st.expander("Stops and tyre damping", key=f"stops_{corner}", type="compact"):
        machine_form.asked("Empty means the usual values; they matter only at the ends of the travel.")
        field(corner, "bump_stop_rate", "Bump stop, at the wheel")
        field(corner, "droop_stop_rate", "Droop stop, at the wheel")
        field(corner, "tyre_damping", "Damping of the tyre")


STEPS: Mapping[str, Callable[[str], None]] = {
    "Mass": _mass,
    "Spring": _spring,
    "Motion ratio": _linkage,
    "Travel": _travel,
    "Tyre": _tyre,
}


def show_findings(corner: str) -> None:
    """Say what follows from a corner and what does not fit together, or what is still needed."""
    system, found = state.current().system, machine_form.read(machine_form.form())
    st.subheader("Does it fit together?", anchor=False)
    known = found.corners.get(corner)
    if known is None:
        missing = [called(key) for at, key in found.missing if at == corner]
        said = [f"Still needed: {', '.join(missing)}."] if missing else []
        said += [
            f"To put right: {machine_form.refusal_words(problem)}"
            for (at, _), problem in found.problems.items()
            if at == corner
        ]
        st.html(f'<div class="words">{pages.points_html(said)}</div>')
        return
    doubts = corner_doubts(known, system)
    words = "Something does not fit" if doubts else "✓ All of it fits together"
    points = pages.points_html((*doubts, *corner_lacks(known)))
    table = pages.table_html(corner_values_table(known, system))
    st.html(f'<p class="fits" role="status">{words}</p><div class="words">{points}{table}</div>')
