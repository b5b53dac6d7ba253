"""Did my change help? Several settings of one damper, the verdict first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import streamlit as st

from dashboard import cache, messages, state
from dashboard.session import Run, Setup
from dashboard.theme import look
from dashboard.widgets import corners, downloads, figures, inputs, pages, verdict
from tuner import charts, exchange, wording
from tuner.comparing import Comparison, SideComparison
from tuner.jobs import CompareJob
from tuner.records import SIDES
from tuner.report.tags import change_tags
from tuner.wording import layout, outcomes
from tuner.wording.changes import dead_stroke_points

CHANGED = {True: "changed", False: "no clear change", None: "cannot tell"}


def show() -> None:
    """Take the tests, give the verdict."""
    st.title("Did my change help?", anchor=False)
    ready = inputs.show("change", 2, _steps, "add a further test")
    if ready is None:
        return
    setup, corner = ready
    before, after = _chosen(setup.runs)
    with messages.explained():
        job = cache.compare_job(before, after, setup.machine, corner)
    system = state.current().system
    sections = wording.change_sections(
        job.comparison, system, notes=wording.notes_of(job), decided=job.decided
    )
    _verdict(job)
    pages.show_sections(sections, (layout.ONWARD,))
    if job.machine is None:
        corners.lead_to_machine()
    if len(setup.runs) > len((before, after)):
        _path(setup, corner)
    figures.show_groups(figures.of_change((before, after), setup.machine, corner, job, look()))
    _words(job, sections)


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


def _verdict(job: CompareJob) -> None:
    comparison, system = job.comparison, state.current().system
    headline = wording.change_headline(comparison)
    checks = wording.check_points(wording.notes_of(job), system)
    verdict.show(headline, checks, change_tags(comparison, system), _signs(comparison))
    for text in dead_stroke_points(comparison, system):
        st.html(f'<p class="lead">{pages.escaped(text)}</p>')


def _signs(comparison: Comparison) -> list[str]:
    """Name the sign of each tag: the verdict of a side, or what became of a measure."""
    if not comparison.measures:
        return [_sign(comparison.side(side)) for side in SIDES]
    known = [c for c in outcomes.headline(comparison) if outcomes.shown(c)]
    return [CHANGED[change.changed] for change in known]


def _sign(side: SideComparison) -> str:
    """Name the sign of a side; a clear change that no target judges is a change, not a doubt."""
    unjudged = side.before.band is None and side.changed
    return CHANGED[True] if unjudged else side.verdict


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


def _words(job: CompareJob, sections: Sequence[wording.Section]) -> None:
    comparison, system = job.comparison, state.current().system
    kinds = [fit.kind for fit in (*job.before.fits, *job.after.fits)]
    pages.show_sections(sections, (layout.CONFOUNDERS, layout.GOES_WITH))
    pages.folded(
        sections, (layout.NUMBERS, layout.CORNER, layout.WHY, layout.DOUBTS, layout.USED, layout.RECORDINGS)
    )
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
