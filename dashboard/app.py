"""The router: which pages there are, the bar over all of them, and their look.

Takes nothing; gives the application. Uses: streamlit; state, widgets.
A new page is one file in `views` and one row of PAGES.
"""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard import look, state
from dashboard.widgets import bar

HOME = Path(__file__).parent

# url path -> (file in views, title); the first is the first screen
PAGES = {
    "start": ("start.py", "What do you want to know?"),
    "change": ("change.py", "Did my change help?"),
    "pair": ("pair.py", "Are these two dampers alike?"),
    "one": ("one.py", "What does this one recording say?"),
    "how": ("how.py", "How do I test without a bench?"),
    "machine": ("machine.py", "The machine"),
}

st.set_page_config(page_title="tuner", page_icon=str(HOME / "icon.png"), layout="centered")
st.html(f"<style>:root {{ {look.variables()} }}</style>")
st.html(HOME / "look.css")
pages = {
    path: st.Page(f"views/{file}", title=title, url_path=path, default=path == "start")
    for path, (file, title) in PAGES.items()
}
page = st.navigation(list(pages.values()), position="hidden")
state.follow_address(page.url_path or "start")
bar.show(page.url_path or "start")
page.run()
