"""A recording over time, the whole of it and any part closer: mark a stretch, and it is drawn in full.

Takes a run; gives nothing. Only the part that is looked at is drawn anew; every picture is thinned so that no peak
is lost.
"""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import cache, state
from dashboard.session import Run
from dashboard.theme import look
from dashboard.widgets import figures
from tuner.charts import Channel, channels, recording_figure
from tuner.errors import TunerError

WHOLE, WINDOW, CHANNEL, FILE = "w_whole", "w_window", "w_channel", "w_file"
STEPS = 1000  # of the slider over the whole recording


def show(run: Run) -> None:
    """Show the recordings of a run over time, those that have a time."""
    found = cache.readings(run)
    held = {
        recording.held.name: channels(reading.record)
        for recording, reading in zip(run.recordings, found, strict=True)
        if not isinstance(reading, TunerError)
    }
    shown = {name: each for name, each in held.items() if each}
    if not shown:
        return
    st.subheader("The recording over time", anchor=False)
    _look_closer(shown)


@st.fragment
def _look_closer(held: dict[str, tuple[Channel, ...]]) -> None:
    file = next(iter(held)) if len(held) == 1 else st.selectbox("File", list(held), key=FILE)
    names = [channel.name for channel in held[file]]
    name = names[0] if len(names) == 1 else st.selectbox("What", names, key=CHANNEL)
    channel = next(each for each in held[file] if each.name == name)
    system, here = state.current().system, look()
    first, last = channel.span
    window = f"{WINDOW}_{file}"
    whole = recording_figure(channel, None, system, here, selectable=True)
    st.html('<p class="caption">Drag over the picture, or move the ends below, to see a part closer.</p>')
    st.plotly_chart(
        whole,
        key=WHOLE,
        theme=None,
        config=figures.CONFIG,
        on_select=lambda: _marked(window, (first, last)),
        selection_mode="box",
        alt=f"{channel.name} over time",
    )
    if state.value(window) is None:
        state.put(window, (first, last))
    step = (last - first) / STEPS
    st.slider("From and to, in seconds", first, last, step=step, key=window)
    part = state.value(window)
    if part != (first, last):
        figures.show(recording_figure(channel, part, system, here), "part")


def _marked(window: str, span: tuple[float, float]) -> None:
    """Take over the stretch that was marked in the picture."""
    event: Any = state.value(WHOLE)
    boxes = event["selection"]["box"] if event else []
    if boxes:
        ends = sorted(min(max(float(x), span[0]), span[1]) for x in boxes[0]["x"])
        state.put(window, (ends[0], ends[-1]))
