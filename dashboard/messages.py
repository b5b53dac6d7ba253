"""Refusals as the library words them, shown where they belong; defects of ours stay loud.

Takes TunerErrors; gives a box with the sentence and its hint.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

import streamlit as st

from dashboard import state
from dashboard.markdown import plain
from tuner.errors import TunerError
from tuner.wording.fits import sentence

MENUS = "the menus are under 'Say what it is'"
_OPTION = re.compile(r"--(kind|column|unit|set) (?:([\w.]+)=)?('[^']*'|[^\s,;()]*[^\s,;().])")


def refuse(error: TunerError, name: str = "") -> None:
    """Show the sentence and the hint of a refusal; a sentence that begins with the `name` of a file keeps it."""
    system = state.current().system
    text = sentence(error.message, system)
    if name and error.message.startswith(name):
        text = name + text[len(name) :]
    hint = f"  \n{plain(sentence(in_menus(error.hint), system))}" if error.hint else ""
    st.error(plain(text) + hint)


def in_menus(hint: str) -> str:
    """Say a hint that is meant for the command line in terms of the menus under the file."""
    found = _OPTION.sub(_menu, hint)
    return f"{found.rstrip('.')}; {MENUS}." if found != hint else hint


def _menu(option: re.Match[str]) -> str:
    """Name the menu behind an option of the command line."""
    from tuner.reading.table.words import ROLES

    what, name, value = option.groups()
    if what == "kind":
        return "the kind of test" if value.isupper() else f"that it is a {value}"
    role = ROLES.get(name or "")
    meaning = f"'{role.meaning}'" if role is not None and role.meaning else "each column"
    if what == "column":
        return f"the column of {meaning}" if role is not None else "what each column is"
    if what == "unit":
        return f"the unit of {meaning}" if value.isupper() else f"{value} as the unit of {meaning}"
    return f"{str(name).replace('_', ' ')} = {value}"


@contextmanager
def explained() -> Iterator[None]:
    """Show a refusal of the library and stop the page there."""
    try:
        yield
    except TunerError as error:
        refuse(error)
        st.stop()


def show_dead_link() -> None:
    """Say it where the visitor came by a link that leads to nothing any more."""
    if state.link_is_dead():
        st.warning(
            "What this link led to is no longer held here: the program was started anew, or needed the room. "
            "Please add the files again."
        )
