"""Pictures in the look of the page, with their words for people who cannot see them.

Takes figures of `tuner.charts`; gives nothing. Uses: charts, streamlit.
"""

from __future__ import annotations

from typing import Any

import streamlit as st

from tuner.charts import Look, look_named, picture_words

CONFIG = {"displayModeBar": False, "responsive": True}


def look() -> Look:
    """Give the look of the page as this visitor sees it."""
    return look_named(st.context.theme.type or "light")


def show(figure: Any, key: str) -> None:
    """Show a figure."""
    st.plotly_chart(figure, key=f"w_{key}", theme=None, config=CONFIG, alt=picture_words(figure))
