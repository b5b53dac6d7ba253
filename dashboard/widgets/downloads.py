"""What can be taken away: the report, every number as JSON, the tables as CSV.

Takes a job; gives nothing. Uses: report, exchange, streamlit. Files are made when they are asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import streamlit as st

from tuner.jobs import CompareJob, FitJob, MatchJob
from tuner.units import System


def show(
    job: CompareJob | MatchJob | FitJob,
    name: str,
    system: System,
    json: Callable[[], str],
    tables: Mapping[str, Callable[[], str]],
) -> None:
    """Offer the report, the JSON and the tables of a job."""
    from tuner.report import render_report

    with st.container(key="downloads", horizontal=True):
        st.download_button(
            "The report (one file, opens anywhere)",
            lambda: render_report(job, system),
            f"{name}-report.html",
            "text/html",
            key="w_report",
            on_click="ignore",
            type="primary",
        )
        st.download_button(
            "All numbers (JSON)", json, f"{name}.json", "application/json", key="w_json", on_click="ignore"
        )
        for title, make in tables.items():
            st.download_button(
                f"{title} (CSV)",
                make,
                f"{name}-{title}.csv".replace(" ", "-"),
                "text/csv",
                key=f"w_csv_{title}",
                on_click="ignore",
            )
