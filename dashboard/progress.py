"""Waiting for work of the pool: how far it is, and a button that stops it."""

from __future__ import annotations

import time
from collections.abc import Mapping
from concurrent.futures import Future, wait
from typing import Any

import streamlit as st

from dashboard.markdown import plain

PATIENCE = 0.3  # seconds before a page says that it is working


def wait_for(work: Mapping[str, Future[Any]]) -> None:
    """Wait until all is done, each named by what it does; stops the page where the visitor does."""
    begun = time.monotonic()
    if not wait(work.values(), PATIENCE).not_done:
        return
    # two pieces of work of one name may be waited for in one run
    own = "_".join(str(id(each)) for each in work.values())
    place = st.empty()
    with place.container(key=f"work_{own}"):
        line, button = st.empty(), st.empty()
        if button.button("Stop", key=f"w_stop_{own}"):
            for each in work.values():
                each.cancel()
            line.info("Stopped. A step that is under way ends in the background; what is finished is kept.")
            button.button("Go on", key="w_go_on", type="primary")
            st.stop()
        while left := [name for name, each in work.items() if not each.done()]:
            done, seconds = len(work) - len(left), time.monotonic() - begun
            line.progress(done / len(work), plain(f"{left[0]} … {done} of {len(work)} done, {seconds:.0f} s"))
            time.sleep(0.1)
    place.empty()
