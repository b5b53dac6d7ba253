"""Refusals as the library words them, shown where they belong; defects of ours stay loud.

Takes TunerErrors; gives a box with the sentence and its hint. Uses: errors, streamlit.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import streamlit as st

from tuner.errors import TunerError

_MARKDOWN = str.maketrans({sign: f"\\{sign}" for sign in "\\`*_{}[]()<>#+-.!|~$:"})


def plain(text: str) -> str:
    """Make text from outside safe where markdown is read: every sign stands for itself."""
    return text.translate(_MARKDOWN)


def refuse(error: TunerError) -> None:
    """Show the sentence and the hint of a refusal."""
    text = f"{error.message[:1].upper()}{error.message[1:]}."
    st.error(plain(text) + (f"  \n{plain(error.hint)}" if error.hint else ""))


@contextmanager
def explained() -> Iterator[None]:
    """Show a refusal of the library and stop the page there."""
    try:
        yield
    except TunerError as error:
        refuse(error)
        st.stop()
