"""The theme of the pages: light or dark as this visitor has it, and its colours for the style sheet."""

from __future__ import annotations

import streamlit as st

from tuner.charts import Look, look_named

SERIF = "Rockwell, 'Roboto Slab', 'Bitstream Charter', 'DejaVu Serif', Georgia, serif"


def look() -> Look:
    """Give the look of the page as this visitor sees it."""
    return look_named(st.context.theme.type or "light")


def variables() -> str:
    """Give the colours of the look as style variables."""
    here = look()
    named = {
        "desk": here.hover,
        "paper": here.paper,
        "ink": here.ink,
        "soft": here.soft,
        "rule": here.grid,
        "axis": here.axis,
        "run0": here.runs[0],
        "run1": here.runs[1],
        "target-fill": here.target_fill,
        "target-edge": here.target_edge,
        "serif": SERIF,
    }
    return " ".join(f"--{name}: {text};" for name, text in named.items())
