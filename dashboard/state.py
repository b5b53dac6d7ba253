"""The one owner of the session and of the address: `current`, `update`, and what the address restores.

Only this file touches what the framework keeps of a visitor.

The address carries `units`, `corner`, `example`, `step` and, once something was added, `session`, under which the
server holds the visitor's session: a reload or the link on another device shows the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import streamlit as st

from dashboard import cache, examples
from dashboard.session import QUESTIONS, Question, Run, Session, Setup

KEY = "session"
ADDRESS = "address"  # the parameters as they were last written
LAST = "last question"  # the page of the question that was looked at last
ROUND = "round"  # how often the adders were emptied: a new key empties a widget
PAGE = "page"  # a link to a page comes in as ?page=..., see `launch`
DEAD = "dead link"  # the address asked for a session that is no longer held
PARAMETERS = ("units", "corner", "example", "step", "session")


def current() -> Session:
    """Give this visitor's session."""
    session = st.session_state.get(KEY)
    return session if isinstance(session, Session) else Session()


def update(**changes: Any) -> None:
    """Change fields of the session, and the address with it."""
    st.session_state[KEY] = replace(current(), **changes)
    if changes.keys() & {"machine", *QUESTIONS}:
        st.session_state.pop(DEAD, None)


def setup(question: Question) -> Setup:
    """Give what the page of a question works on: the example that is open, else the visitor's own."""
    session = current()
    if session.example in examples.of_question(question):
        return examples.setup_of(str(session.example), session.corner)
    return Setup(question, session.runs(question), session.machine, session.corner)


def put_run(question: Question, position: int, run: Run) -> None:
    """Put a run into its place; one place past the last adds it. Leaves the example, if one is open.

    With other recordings the newest two runs are compared again.
    """
    runs = list(current().runs(question))
    same = [each.recordings for each in runs[position : position + 1]] == [run.recordings]
    runs[position : position + 1] = [run]
    update(**{question: tuple(runs)}, example=None, step=current().step if same else None)


def drop_run(question: Question, position: int) -> None:
    """Take a run away."""
    runs = current().runs(question)
    update(**{question: tuple(run for i, run in enumerate(runs) if i != position)}, step=None)


def value(key: str) -> Any:
    """Give the value of a widget, for callbacks; None when it is not there."""
    return st.session_state.get(key)


def put(key: str, given: Any) -> None:
    """Give a widget a value, before it is drawn."""
    st.session_state[key] = given


def link_is_dead() -> bool:
    """Whether the visitor came by a link whose session is no longer held, and has added nothing since."""
    return DEAD in st.session_state


def remember(question: Question) -> None:
    """Keep which question is being looked at, for the way back from other pages."""
    st.session_state[LAST] = question


def remembered() -> Question | None:
    """Give the question that was looked at last, None before any."""
    found: Question | None = st.session_state.get(LAST)
    return found


def fresh(name: str) -> str:
    """Give the widget key of an adder that can be emptied with `empty`."""
    return f"w_{name}_{st.session_state.get(ROUND, 0)}"


def empty() -> None:
    """Empty all adders: their keys change."""
    st.session_state[ROUND] = st.session_state.get(ROUND, 0) + 1


# --- the address -------------------------------------------------------------------------------------------------


def follow_page(pages: Mapping[str, Any]) -> None:
    """Go to the page that the address asks for by name, with the rest of the address."""
    if PAGE not in st.query_params:
        return
    rest = st.query_params.to_dict()
    asked = rest.pop(PAGE)
    if asked in pages:
        st.switch_page(pages[asked], query_params=rest)
    del st.query_params[PAGE]


def follow_address(page: str) -> None:
    """Take over what somebody wrote into the address since it was last written here, then write it anew."""
    found = {name: st.query_params[name] for name in PARAMETERS if name in st.query_params}
    written = st.session_state.get(ADDRESS, {})
    asked = {name: text for name, text in found.items() if written.get(name) != text}
    if "session" in asked:
        known = cache.kept(asked["session"])
        if known is not None:
            update(**{name: getattr(known, name) for name in known.__slots__})
        else:
            update(example=None)
            put(DEAD, True)
    if "units" in asked:
        update(system="us" if asked["units"] == "us" else "metric")
    if "example" in asked and asked["example"] in examples.EXAMPLES:
        update(example=asked["example"], corner=None)
    if "corner" in asked:
        update(corner=asked["corner"])
    if "step" in asked:
        update(step=asked["step"])
    _write_address(page, found)


def _write_address(page: str, found: dict[str, str]) -> None:
    session = current()
    wanted: dict[str, str] = {}
    if session.system != "metric":
        wanted["units"] = session.system
    own = any(run.recordings for question in QUESTIONS for run in session.runs(question))
    if session.example is not None and examples.EXAMPLES[session.example].question == page:
        wanted["example"] = session.example
    elif own or session.machine is not None:
        wanted["session"] = cache.keep(
            replace(session, system="metric", corner=None, example=None, step=None)
        )
    if session.corner is not None and page in QUESTIONS:
        wanted["corner"] = session.corner
    if session.step is not None and page == "change":
        wanted["step"] = session.step
    for name in PARAMETERS:
        if name in wanted and found.get(name) != wanted[name]:
            st.query_params[name] = wanted[name]
        elif name not in wanted and name in found:
            del st.query_params[name]
    st.session_state[ADDRESS] = wanted
