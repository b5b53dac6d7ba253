"""Are these two dampers alike? One test of each, the verdict first."""

from __future__ import annotations

from dataclasses import replace
from pathlib import PurePath

import streamlit as st

from dashboard import cache, messages, state
from dashboard.session import Run, Session, Setup
from dashboard.theme import look
from dashboard.widgets import cards, downloads, figures, folding, inputs, pages, verdict
from tuner import exchange, wording
from tuner.comparing import TOLERANCE
from tuner.jobs import MatchJob
from tuner.wording import layout

UNNAMED = tuple(run.label for run in Session().pair)


def show() -> None:
    """Take the tests, give the verdict."""
    st.title("Are these two dampers alike?", anchor=False)
    first_screen = st.container()
    ready = inputs.show("pair", 2, _names)
    if ready is None:
        return
    setup, corner = ready
    one, other = setup.runs
    tolerance = st.number_input(
        "Alike within, in per cent", 1, 50, round(100 * TOLERANCE), key="w_tolerance", persist_state="session"
    )
    with messages.explained():
        job = cache.match_job(one, other, setup.machine, corner, tolerance / 100)
    names = (_called(one), _called(other))
    system = state.current().system
    answer = cards.of_pair(job.match, names, wording.check_points(wording.notes_of(job), system), system)
    pictures = figures.of_pair((one, other), setup.machine, corner, job, look(), names)
    with first_screen:
        verdict.show(answer)
        figures.show_lead(pictures)
    with folding.fold(verdict.WHY, "why_pair", "default") as unfolded:
        if unfolded:
            _why(job, names, answer, pictures)
    _take(job, names)


def _called(run: Run) -> str:
    """Give what a damper is called: what was typed, else the name of its first file."""
    if run.label in UNNAMED and run.recordings:
        return PurePath(run.recordings[0].held.name).stem[:30]
    return run.label


def _names(setup: Setup) -> None:
    """Ask what the two are called."""
    for position, (column, run) in enumerate(zip(st.columns(2), setup.runs, strict=True)):
        key = f"w_called_{position}"
        column.text_input(
            "Called", _called(run), max_chars=30, key=key, on_change=_call, args=(position, key)
        )


def _call(position: int, key: str) -> None:
    run = state.current().runs("pair")[position]
    state.put_run("pair", position, replace(run, label=str(state.value(key)).strip() or run.label))


def _why(job: MatchJob, names: tuple[str, str], answer: cards.Answer, pictures: figures.FigureSet) -> None:
    """Show everything that the first screen leaves out."""
    system = state.current().system
    sections = wording.pair_sections(
        job.match, names, system, notes=wording.notes_of(job), decided=job.decided
    )
    pages.show_answer(answer)
    pages.show_sections(sections, (layout.ONWARD, layout.CONFOUNDERS))
    figures.show_rest(pictures)
    pages.folded(sections, (layout.NUMBERS, layout.WHY, layout.DOUBTS, layout.RECORDINGS))


def _take(job: MatchJob, names: tuple[str, str]) -> None:
    match, system = job.match, state.current().system
    kinds = [fit.kind for fit in (*job.one.fits, *job.other.fits)]
    summary = wording.pair_summary(match, names, system)
    downloads.show(
        job,
        "pair",
        system,
        lambda: exchange.to_json(exchange.match_value(match, summary, wording.notes_of(job))),
        {
            names[0]: lambda: exchange.fit_csv(match.one),
            names[1]: lambda: exchange.fit_csv(match.other),
        },
    )
    pages.show_cautions(wording.cautions_for(kinds))


show()
