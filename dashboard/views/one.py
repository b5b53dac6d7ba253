"""What does this one recording say? Where the damper stands, and the recording itself, closer."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from dashboard import cache, messages, state
from dashboard.theme import look
from dashboard.widgets import corners, downloads, explore, figures, folding, inputs, pages, verdict
from tuner import charts, exchange, wording
from tuner.charts import runs
from tuner.jobs import FitJob
from tuner.records import SIDES
from tuner.report.tags import fit_tags
from tuner.wording import layout


def show() -> None:
    """Take the recording, say what it shows."""
    st.title("What does this one recording say?", anchor=False)
    ready = inputs.show("one", 1)
    if ready is None:
        return
    setup, corner = ready
    run = setup.runs[0]
    closer = st.container()
    with messages.explained():
        job = cache.fit_job(run, setup.machine, corner)
    system = state.current().system
    sections = wording.fit_sections(job.judgement, system, notes=wording.notes_of(job), decided=job.decided)
    with closer:
        _verdict(job)
        pages.show_sections(sections, (layout.ONWARD,))
        if job.machine is None:
            corners.lead_to_machine()
        _figures(job, figures.of_one(run, setup.machine, corner, job, look()))
    explore.show(run)
    _words(job, sections)


def _verdict(job: FitJob) -> None:
    judgement, system = job.judgement, state.current().system
    seen = any(judgement.fit.side(side).seen for side in SIDES)
    signs = [judgement.side(side).place for side in SIDES] if seen else []
    checks = wording.check_points(wording.notes_of(job), system)
    verdict.show(
        wording.fit_headline(judgement, system, over_cards=True), checks, fit_tags(judgement, system), signs
    )


def _figures(job: FitJob, those: figures.FigureSet) -> None:
    figures.show_groups(those)
    system, here = state.current().system, look()
    left = cache.figure(
        ("residuals", those.key, system),
        lambda: charts.residual_figure([runs.Run("now", job.fit)], system, here),
    )
    if left is not None:
        with folding.fold("What the fitted law leaves over", "w_left", "default") as unfolded:
            if unfolded:
                figures.show(left, "residuals")


def _words(job: FitJob, sections: Sequence[wording.Section]) -> None:
    judgement, system = job.judgement, state.current().system
    pages.show_sections(sections, (layout.NUMBERS,))
    pages.folded(sections, (layout.LAWS, layout.CORNER, layout.DOUBTS, layout.USED, layout.RECORDINGS))
    downloads.show(
        job,
        "recording",
        system,
        lambda: exchange.to_json(exchange.fit_value(judgement, wording.notes_of(job))),
        {"The table": lambda: exchange.fit_csv(judgement)},
    )
    pages.show_cautions(wording.cautions_for([fit.kind for fit in job.fits]))


show()
