"""Did my change help? Two settings of one damper, the verdict first."""

from __future__ import annotations

import streamlit as st

from dashboard import cache, messages, state
from dashboard.widgets import downloads, place, runs, verdict
from tuner import exchange
from tuner.records import SIDES
from tuner.report.tags import change_tags
from tuner.wording import change_summary


def show() -> None:
    """Take the tests, give the verdict."""
    st.title("Did my change help?", anchor=False)
    setup, system = state.setup("change"), state.current().system
    ready = True
    for position, (column, run) in enumerate(zip(st.columns(2), setup.runs, strict=False)):
        with column:
            st.subheader(run.label, anchor=False)
            ready = runs.show("change", position, run, fixed=setup.example is not None) and ready
    corner = place.show(setup)
    if not ready:
        return
    with messages.explained():
        job = cache.compare_job(setup.runs[0], setup.runs[1], setup.machine, corner)
    comparison = job.comparison
    summary = change_summary(comparison, system)
    verdict.show(
        "", summary, change_tags(comparison, system), [comparison.side(side).verdict for side in SIDES]
    )
    downloads.show(
        job,
        "change",
        system,
        lambda: exchange.to_json(exchange.compare_value(comparison, summary, job.notes)),
        {"change": lambda: exchange.compare_csv(comparison)},
    )


show()
