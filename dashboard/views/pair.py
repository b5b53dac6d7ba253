"""Are these two dampers alike? One test of each, the verdict first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import PurePath

import streamlit as st

from dashboard import cache, messages, state
from dashboard.session import Run, Session, Setup
from dashboard.theme import look
from dashboard.widgets import downloads, figures, inputs, pages, verdict
from tuner import exchange, wording
from tuner.comparing import TOLERANCE
from tuner.jobs import MatchJob
from tuner.records import SIDES
from tuner.report.tags import match_tags
from tuner.wording import layout

UNNAMED = tuple(run.label for run in Session().pair)
SIGNS = {True: "alike", False: "not alike", None: "cannot tell"}


def show() -> None:
    """Take the tests, give the verdict."""
    st.title("Are these two dampers alike?", anchor=False)
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
    sections = wording.pair_sections(
        job.match, names, system, notes=wording.notes_of(job), decided=job.decided
    )
    _verdict(job, names)
    pages.show_sections(sections, (layout.ONWARD,))
    figures.show_groups(figures.of_pair((one, other), setup.machine, corner, job, look(), names))
    _words(job, names, sections)


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


def _verdict(job: MatchJob, names: tuple[str, str]) -> None:
    match, system = job.match, state.current().system
    signs = [SIGNS[match.side(side).matched] for side in SIDES]
    checks = wording.check_points(wording.notes_of(job), system)
    verdict.show(wording.pair_headline(match), checks, match_tags(match, names, system), signs)


def _words(job: MatchJob, names: tuple[str, str], sections: Sequence[wording.Section]) -> None:
    match, system = job.match, state.current().system
    kinds = [fit.kind for fit in (*job.one.fits, *job.other.fits)]
    pages.show_sections(sections, (layout.CONFOUNDERS,))
    pages.folded(sections, (layout.NUMBERS, layout.WHY, layout.DOUBTS, layout.RECORDINGS))
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
