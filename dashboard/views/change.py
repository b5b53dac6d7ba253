"""Did my change help? Several settings of one damper, the verdict first."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import streamlit as st

from dashboard import cache, messages, state
from dashboard.session import Run, Setup
from dashboard.theme import look
from dashboard.widgets import cards, corners, downloads, figures, folding, inputs, pages, verdict
from tuner import charts, exchange, wording
from tuner.jobs import CompareJob
from tuner.wording import layout
from tuner.wording.changes import dead_stroke_points


def show() -> None:
    """Take the tests, give the verdict."""
    st.title("Did my change help?", anchor=False)
    first_screen = st.container()
    ready = inputs.show("change", 2, _steps, "add a further test")
    if ready is None:
        return
    setup, corner = ready
    with first_screen:
        before, after = _chosen(setup.runs)
        with messages.explained():
            job = cache.compare_job(before, after, setup.machine, corner)
        system = state.current().system
        checks = wording.check_points(wording.notes_of(job), system)
        answer = cards.of_change(job.comparison, checks, system)
        verdict.show(answer)
        if job.machine is None:
            corners.lead_to_machine()
        pictures = figures.of_change((before, after), setup.machine, corner, job, look())
        figures.show_lead(pictures)
    if len(setup.runs) > len((before, after)):
        _path(setup, corner)
    with folding.fold(verdict.WHY, "why_change", "default") as unfolded:
        if unfolded:
            _why(job, answer, pictures)
    _take(job)


def _steps(setup: Setup) -> None:
    """Of more than two tests, ask what the later ones are called, let them be dropped, and offer a further one."""
    for position, run in enumerate(setup.runs[2:], start=2):
        key = f"w_called_change_{position}"
        with st.container(horizontal=True, vertical_alignment="bottom"):
            st.text_input(
                f"Test {position + 1} is called",
                run.label,
                max_chars=40,
                key=key,
                on_change=_call,
                args=(position, key),
            )
            st.button(
                "Drop this test",
                key=f"w_drop_run_{position}",
                on_click=state.drop_run,
                args=("change", position),
            )
    if all(run.recordings for run in setup.runs):
        st.button(
            "Add the test after a further change",
            key="w_further",
            on_click=state.put_run,
            args=("change", len(setup.runs), Run(f"after change {len(setup.runs)}")),
        )


def _call(position: int, key: str) -> None:
    run = state.current().change[position]
    state.put_run("change", position, replace(run, label=str(state.value(key)).strip() or run.label))


def _chosen(runs: tuple[Run, ...]) -> tuple[Run, Run]:
    """Of more than two runs, choose the two that are compared: the newest two unless the visitor says otherwise."""
    newest = f"{len(runs) - 1}-{len(runs)}"
    steps = {f"{i}-{i + 1}": (runs[i - 1], runs[i]) for i in range(1, len(runs))}
    if len(steps) == 1:
        return steps[newest]
    steps[f"1-{len(runs)}"] = (runs[0], runs[-1])
    chosen = state.current().step
    state.put("w_step", chosen if chosen in steps else newest)
    return steps[
        st.selectbox(
            "Which change?",
            list(steps),
            format_func=partial(_step_words, runs),
            key="w_step",
            on_change=_choose,
        )
    ]


def _step_words(runs: tuple[Run, ...], step: str) -> str:
    first, last = (int(number) for number in step.split("-"))
    together = ", all together" if last - first > 1 else ""
    return f"{runs[first - 1].label} → {runs[last - 1].label}{together}"


def _choose() -> None:
    state.update(step=state.value("w_step"))


def _path(setup: Setup, corner: str | None) -> None:
    """Show where every run stood."""
    system = state.current().system
    with messages.explained():
        path = cache.path(setup.runs, setup.machine, corner)
    st.subheader("The path so far", anchor=False)
    here, labels = look(), tuple(run.label for run in setup.runs)
    key = ("path", cache.asked(setup.runs), labels, setup.machine, corner, here.name, system)
    figure = cache.figure(key, lambda: charts.path_figure(path, system, here))
    figures.show(figure, "path")
    with st.expander("The path in numbers"):
        for table in wording.path_tables(path, system):
            st.html(pages.table_html(table))


def _why(job: CompareJob, answer: cards.Answer, pictures: figures.FigureSet) -> None:
    """Show everything that the first screen leaves out."""
    comparison, system = job.comparison, state.current().system
    sections = wording.change_sections(comparison, system, notes=wording.notes_of(job), decided=job.decided)
    pages.show_answer(answer, dead_stroke_points(comparison, system))
    pages.show_sections(sections, (layout.ONWARD, layout.CONFOUNDERS, layout.GOES_WITH))
    figures.show_rest(pictures)
    pages.folded(
        sections, (layout.NUMBERS, layout.CORNER, layout.WHY, layout.DOUBTS, layout.USED, layout.RECORDINGS)
    )


def _take(job: CompareJob) -> None:
    comparison, system = job.comparison, state.current().system
    kinds = [fit.kind for fit in (*job.before.fits, *job.after.fits)]
    summary = wording.change_summary(comparison, system)
    downloads.show(
        job,
        "change",
        system,
        lambda: exchange.to_json(exchange.compare_value(comparison, summary, wording.notes_of(job))),
        {"The change": lambda: exchange.compare_csv(comparison)},
    )
    pages.show_cautions(wording.cautions_for(kinds, after_change=True))


show()
