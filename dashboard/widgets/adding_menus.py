"""How one recording was read, and menus to put it right: kind, columns, units, signs; its trace above them.

Takes the place of a recording; gives nothing, what is said of it changes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from dashboard import cache, messages, state
from dashboard.markdown import plain
from dashboard.session import Pairs, Question, Recording, Run, Said
from dashboard.theme import look
from dashboard.widgets import figures
from dashboard.widgets.pages import escaped
from tuner.charts import channels, recording_figure
from tuner.errors import TunerError
from tuner.kinds import KINDS
from tuner.reading.table.words import ROLES
from tuner.records import Kind
from tuner.units import SHOWN

if TYPE_CHECKING:
    from tuner.reading import Preview, PreviewColumn

KIND_NAMES: dict[Kind, str] = {
    "sweep": "bench sweep: peak forces at several speeds",
    "cycle": "bench cycles: force and travel over time",
    "weights": "hung weights",
    "bounce": "bounce of a corner",
    "travel": "driving trace",
    "flight": "jump",
}
SIGNS = {
    "positive_travel": ("Travel and speed count up when the damper goes", ("travel", "velocity")),
    "positive_force": ("The force counts up when the damper resists going", ("force",)),
}
WAYS = {"": "as the file says", "compression": "in (compression)", "rebound": "out (rebound)"}
EXAMPLES = 3  # first values of a column that are shown
OPEN = ("positive_travel", "positive_force")  # settings that have a menu of their own


class _Place:
    """One recording in the list of a run."""

    def __init__(self, question: Question, position: int, number: int) -> None:
        self.question, self.position, self.number = question, position, number

    def key(self, part: str) -> str:
        return f"w_menu_{self.question}_{self.position}_{self.number}_{part}"

    @property
    def recording(self) -> Recording:
        return state.current().runs(self.question)[self.position].recordings[self.number]

    def say(self, change: Callable[[Said], Said]) -> None:
        """Change what is said of the recording."""
        run = state.current().runs(self.question)[self.position]
        state.put_run(self.question, self.position, run.with_said(self.number, change(self.recording.said)))


def show(question: Question, position: int, run: Run, number: int) -> None:
    """Show a recording and the menus on demand; at once when it cannot be read."""
    place, recording = _Place(question, position, number), run.recordings[number]
    refused = isinstance(cache.readings(run)[number], TunerError)
    wanted = st.toggle("Look at it and put it right", value=refused, key=place.key("open"))
    if not wanted:
        return
    try:
        found = cache.preview(run, recording)
    except TunerError as gone:
        messages.refuse(gone)
        return
    if not refused:
        _trace(place, run, number)
    _kind(place, found)
    _columns(place, found)
    _signs(place, found)
    _settings(place)


def _trace(place: _Place, run: Run, number: int) -> None:
    reading = cache.readings(run)[number]
    if isinstance(reading, TunerError):
        return
    found = channels(reading.record)
    if not found:
        return
    names = [channel.name for channel in found]
    name = names[0]
    if len(names) > 1:
        name = str(st.selectbox("Trace", names, key=place.key("trace")))
    channel = found[names.index(name)]
    system, here = state.current().system, look()
    figure = cache.figure(
        ("trace", run.recordings[number], run.noted, name, system, here.name),
        lambda: recording_figure(channel, None, system, here),
    )
    figures.show(figure, place.key("figure"))


def _kind(place: _Place, found: Preview) -> None:
    said = place.recording.said.kind
    options: list[Kind | None] = [None, *KINDS]
    guess = f"{KIND_NAMES[found.kind]} (as guessed)" if found.kind else "as the file says"
    st.selectbox(
        "Kind of test",
        options,
        index=options.index(said),
        format_func=lambda kind: KIND_NAMES[kind] if kind else guess,
        key=place.key("kind"),
        on_change=_say_kind,
        args=(place,),
    )


def _say_kind(place: _Place) -> None:
    kind = state.value(place.key("kind"))
    # columns and units were said for the other kind
    place.say(lambda said: replace(said, kind=kind, columns=(), units=()))


def _columns(place: _Place, found: Preview) -> None:
    if not found.columns:
        return
    st.html('<p class="asked">Each column of the file: what it is, and in which unit.</p>')
    for number, column in enumerate(found.columns):
        values = [row[number] for row in found.rows[:EXAMPLES] if number < len(row)]
        words = f"<b>{escaped(column.name or f'column {number + 1}')}</b>"
        st.html(f'<p class="file">{words} <span class="soft">{escaped(", ".join(values))} …</span></p>')
        with st.container(horizontal=True, gap="small", key=f"field_{place.key(str(number))}"):
            _role(place, found, number, column)
            if column.role is not None and column.kind is not None:
                _unit(place, column.role, column.unit or "", column.kind)


def _role(place: _Place, found: Preview, number: int, column: PreviewColumn) -> None:
    options: list[str | None] = [None, *found.choices]
    if column.role is not None and column.role not in options:
        options.append(column.role)
    key = place.key(f"role_{number}_{found.kind}_{column.role}")
    st.selectbox(
        f"{plain(column.name)} is",
        options,
        index=options.index(column.role),
        format_func=lambda role: (
            "not used" if role is None else found.choices.get(role, role.replace("_", " "))
        ),
        key=key,
        on_change=_say_role,
        args=(place, key, column.name, column.role),
        label_visibility="collapsed",
    )


def _say_role(place: _Place, key: str, name: str, before: str | None) -> None:
    role = state.value(key)

    def change(said: Said) -> Said:
        columns = {each: text for each, text in said.columns if text != name and each != role}
        units = tuple(pair for pair in said.units if pair[0] not in (role, before))
        return replace(said, columns=_pairs(columns | ({role: name} if role else {})), units=units)

    place.say(change)


def _unit(place: _Place, role: str, unit: str, kind: str) -> None:
    known = dict.fromkeys([unit, *(SHOWN[system][kind].label for system in SHOWN)])
    options = [text for text in known if text or not unit]
    key = place.key(f"unit_{role}_{unit}")
    st.selectbox(
        f"The unit of the {ROLES[role].meaning}",
        options,
        index=options.index(unit),
        format_func=lambda text: f"in {text}" if text else "unit not known",
        key=key,
        on_change=_say_unit,
        args=(place, key, role),
        accept_new_options=True,
        label_visibility="collapsed",
    )


def _say_unit(place: _Place, key: str, role: str) -> None:
    unit = str(state.value(key) or "").removeprefix("in ").strip()
    place.say(
        lambda said: replace(said, units=_pairs({**dict(said.units), **({role: unit} if unit else {})}))
    )


def _signs(place: _Place, found: Preview) -> None:
    used = {column.role for column in found.columns}
    settings = dict(place.recording.said.settings)
    for name, (label, roles) in SIGNS.items():
        if not used & set(roles):
            continue
        st.selectbox(
            label,
            list(WAYS),
            index=list(WAYS).index(settings.get(name, "")),
            format_func=lambda way: WAYS[way],
            key=place.key(name),
            on_change=_say_setting,
            args=(place, name, place.key(name)),
        )


def _say_setting(place: _Place, name: str, key: str) -> None:
    text = str(state.value(key) or "").strip()

    def change(said: Said) -> Said:
        kept = {each: words for each, words in said.settings if each != name}
        return replace(said, settings=_pairs(kept | ({name: text} if text else {})))

    place.say(change)


def _settings(place: _Place) -> None:
    """Ask for what the file does not say; what was said stands in fields of its own."""
    from tuner.reading import SETTINGS

    said = dict(place.recording.said.settings)
    more = st.selectbox(
        "Something else the file does not say",
        [name for name in SETTINGS if name not in OPEN],
        index=None,
        placeholder="choose",
        format_func=lambda name: f"{name.replace('_', ' ')}: {SETTINGS[name].meaning}",
        key=place.key("more"),
    )
    for name in dict.fromkeys([*(each for each in said if each not in OPEN), *([more] if more else [])]):
        key = place.key(f"setting_{name}")
        st.text_input(
            name.replace("_", " "),
            value=said.get(name, ""),
            key=key,
            on_change=_say_setting,
            args=(place, name, key),
            placeholder=" or ".join(SETTINGS[name].choices),
        )


def _pairs(given: dict[str, str]) -> Pairs:
    return tuple(sorted(given.items()))
