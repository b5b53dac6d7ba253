"""The router: the pages, the bar over all of them, and their theme."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard import messages, state, theme
from dashboard.routes import PAGES, START
from dashboard.widgets import bar

HOME = Path(__file__).parent


def show() -> None:
    """Show the page of the address."""
    st.set_page_config(page_title="tuner", page_icon=str(HOME / "icon.png"), layout="centered")
    pages = {
        path: st.Page(f"views/{file}", title=title, url_path=path, default=path == START)
        for path, (file, title) in PAGES.items()
    }
    page = st.navigation(list(pages.values()), position="hidden")
    state.follow_page(pages)
    here = page.url_path or START
    state.follow_address(here)
    st.html(f"<style>:root {{ {theme.variables()} }}</style>")
    st.html(HOME / "theme.css")
    bar.show(here)
    messages.show_dead_link()
    page.run()
