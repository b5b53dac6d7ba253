"""Folds that are filled only while they are open, so that a page does not carry what nobody looks at.

Takes a title and a key; gives whether it is open.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Literal

import streamlit as st


@contextmanager
def fold(
    title: str, key: str, look: Literal["default", "compact"] = "compact", *, begin_open: bool = False
) -> Iterator[bool]:
    """Give a place under a title, and whether the visitor has opened it: what is within is made only then.

    It goes back to how it began where its title changes.
    """
    with st.expander(title, begin_open, key=key, type=look, on_change="rerun") as place:
        yield bool(place.open)
