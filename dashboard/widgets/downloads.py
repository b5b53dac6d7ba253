"""What can be taken away: the report, every number as JSON, the tables as CSV.

Takes a job and what makes its files; gives nothing. Files are made when they are asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import streamlit as st

from dashboard.markdown import plain
from tuner.jobs import CompareJob, FitJob, MatchJob
from tuner.units import System


def show(
    job: CompareJob | MatchJob | FitJob,
    name: str,
    system: System,
    json: Callable[[], str],
    tables: Mapping[str, Callable[[], str]],
) -> None:
    """Offer the report, the JSON and the tables (by their names) of a job."""

    def report() -> str:
        from tuner.report import render_report

        return render_report(job, system)

    st.subheader("Take it with you", anchor=False)
    with st.container(key="downloads", horizontal=True):
        _offer("Report, one file that opens anywhere", report, f"{name}-report.html", "text/html")
        for title, make in tables.items():
            _offer(f"{plain(title)} (CSV)", make, f"{name}-{title}.csv".replace(" ", "-").lower(), "text/csv")
        _offer("All numbers (JSON)", json, f"{name}.json", "application/json")
    st.html('<p class="soft">The address of this page restores it as long as the program runs.</p>')


def _offer(label: str, make: Callable[[], str], file: str, mime: str) -> None:
    st.download_button(label, make, file, mime, key=f"w_take_{file}", on_click="ignore")
