"""The one owner of the session and of the address: `current`, `update`, and what the address restores.

Takes changes; gives the `Workbench` of this visitor and the `Setup` of a page. Uses: streamlit; bench, cache,
examples. Only this file and `app` touch the session.

The address carries `units`, `corner`, `example` and, once something was added, `bench`, under which the server
holds the visitor's workbench: a reload or the link on another device shows the same.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import streamlit as st

from dashboard import cache, examples
from dashboard.bench import QUESTIONS, Question, Run, Setup, Workbench

KEY = "workbench"
ADDRESS = "address"  # the parameters as they were last written
LAST = "last question"  # the page of the question that was looked at last
CAME = "came"  # when the visitor came
ROUND = "round"  # how often the adders were emptied: a new key empties a widget
PAGE = "page"  # a link to a page comes in as ?page=..., see `launch`
PARAMETERS = ("units", "corner", "example", "bench")


def current() -> Workbench:
    """Give this visitor's workbench."""
    bench = st.session_state.get(KEY)
    return bench if isinstance(bench, Workbench) else Workbench()


def update(**changes: Any) -> None:
    """Change fields of the workbench, and the address with it."""
    st.session_state[KEY] = replace(current(), **changes)


def setup(question: Question) -> Setup:
    """Give what the page of a question works on: the example that is open, else the visitor's own."""
    bench = current()
    if bench.example in examples.of_question(question):
        return examples.setup_of(str(bench.example), bench.corner)
    return Setup(question, bench.runs(question), bench.machine, bench.corner)


def put_run(question: Question, position: int, run: Run) -> None:
    """Put a run into its place; one place past the last adds it. Leaves the example, if one is open."""
    runs = list(current().runs(question))
    runs[position : position + 1] = [run]
    update(**{question: tuple(runs)}, example=None)


def drop_run(question: Question, position: int) -> None:
    """Take a run away."""
    runs = current().runs(question)
    update(**{question: tuple(run for i, run in enumerate(runs) if i != position)})


def value(key: str) -> Any:
    """Give the value of a widget, for callbacks; None when it is not there."""
    return st.session_state.get(key)


def put(key: str, given: Any) -> None:
    """Give a widget a value, before it is drawn."""
    st.session_state[key] = given


def here_since() -> float:
    """Give the seconds since this visitor's first page."""
    now = time.monotonic()
    return float(now - st.session_state.setdefault(CAME, now))


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
    if "bench" in asked:
        known = cache.kept(asked["bench"])
        if known is not None:
            update(**{name: getattr(known, name) for name in known.__slots__})
        else:
            update(example=None)
    if "units" in asked:
        update(system="us" if asked["units"] == "us" else "metric")
    if "example" in asked and asked["example"] in examples.EXAMPLES:
        update(example=asked["example"], corner=None)
    if "corner" in asked:
        update(corner=asked["corner"])
    _write_address(page, found)


def _write_address(page: str, found: dict[str, str]) -> None:
    bench = current()
    wanted: dict[str, str] = {}
    if bench.system != "metric":
        wanted["units"] = bench.system
    own = any(run.recordings for question in QUESTIONS for run in bench.runs(question))
    if bench.example is not None and examples.EXAMPLES[bench.example].question == page:
        wanted["example"] = bench.example
    elif own or bench.machine is not None:
        wanted["bench"] = cache.keep(replace(bench, system="metric", corner=None, example=None))
    if bench.corner is not None and page in QUESTIONS:
        wanted["corner"] = bench.corner
    for name in PARAMETERS:
        if name in wanted and found.get(name) != wanted[name]:
            st.query_params[name] = wanted[name]
        elif name not in wanted and name in found:
            del st.query_params[name]
    st.session_state[ADDRESS] = wanted
