"""What does this one recording say? Where the damper stands, and the recording itself, closer."""

from __future__ import annotations

import streamlit as st

from dashboard import cache, messages, state
from dashboard.theme import look
from dashboard.widgets import cards, corners, downloads, explore, figures, folding, inputs, pages, verdict
from tuner import charts, exchange, wording
from tuner.charts import runs
from tuner.jobs import FitJob
from tuner.wording import layout


def show() -> None:
    """Take the recording, say what it shows."""
    st.title("What does this one recording say?", anchor=False)
    first_screen = st.container()
    ready = inputs.show("one", 1)
    if ready is None:
        return
    setup, corner = ready
    run = setup.runs[0]
    with first_screen:
        with messages.explained():
            job = cache.fit_job(run, setup.machine, corner)
        system = state.current().system
        answer = cards.of_fit(job.judgement, wording.check_points(wording.notes_of(job), system), system)
        verdict.show(answer)
        if job.machine is None:
            corners.lead_to_machine()
        pictures = figures.of_one(run, setup.machine, corner, job, look())
        figures.show_lead(pictures)
    with folding.fold(verdict.WHY, "why_one", "default") as unfolded:
        if unfolded:
            _why(job, answer, pictures)
            explore.show(run)
    _take(job)


def _why(job: FitJob, answer: cards.Answer, pictures: figures.FigureSet) -> None:
    """Show everything that the first screen leaves out."""
    judgement, system = job.judgement, state.current().system
    sections = wording.fit_sections(judgement, system, notes=wording.notes_of(job), decided=job.decided)
    over_cards = wording.fit_headline(judgement, system, over_cards=True).sentence
    pages.show_answer(answer, () if over_cards == answer.headline.sentence else (over_cards,))
    pages.show_sections(sections, (layout.ONWARD,))
    _figures(job, pictures)
    pages.show_sections(sections, (layout.NUMBERS,))
    pages.folded(sections, (layout.LAWS, layout.CORNER, layout.DOUBTS, layout.USED, layout.RECORDINGS))


def _figures(job: FitJob, those: figures.FigureSet) -> None:
    figures.show_rest(those)
    system, here = state.current().system, look()
    left = cache.figure(
        ("residuals", those.key, system),
        lambda: charts.residual_figure([runs.Run("now", job.fit)], system, here),
    )
    if left is not None:
        with folding.fold("What the fitted law leaves over", "w_left", "default") as unfolded:
            if unfolded:
                figures.show(left, "residuals")


def _take(job: FitJob) -> None:
    judgement, system = job.judgement, state.current().system
    downloads.show(
        job,
        "recording",
        system,
        lambda: exchange.to_json(exchange.fit_value(judgement, wording.notes_of(job))),
        {"The table": lambda: exchange.fit_csv(judgement)},
    )
    pages.show_cautions(wording.cautions_for([fit.kind for fit in job.fits]))


show()
