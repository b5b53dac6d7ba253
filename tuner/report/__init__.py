"""The report: one HTML file that opens without a network, prints on A4 or Letter and reads on a phone.

Takes a job (compare, match or fit) and the system of units; gives the text of the file. The verdict stands
first, then the pictures, the tables, what is uncertain, the cautions, and everything that is needed to repeat it.

Modules: `sheet` (what stands on it), `tags` and `strips` (the verdict), `pictures`, `sections` (text and tables),
`how` (how the test is made), `sources` (what went in); `sheet.html`, `sheet.css`, `draw.js` and `fold.js` set it.
Texts from files are data: the template escapes every one.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date
from importlib import metadata, resources
from typing import TYPE_CHECKING

from markupsafe import Markup

from tuner import __version__
from tuner.charts.runs import target_speed
from tuner.judging import JudgedSide, Judgement
from tuner.records import SIDES, Kind, Side
from tuner.report.how import how_made
from tuner.report.pictures import pictures, safe_json
from tuner.report.sections import sections_below, sections_beside
from tuner.report.sheet import Sheet
from tuner.report.sources import machine_source, run_sources
from tuner.report.tags import change_tags, fit_tags, match_tags
from tuner.units import System
from tuner.wording import (
    bounces,
    cautions_for,
    change_headline,
    change_sections,
    damper_headline,
    damper_sections,
    fit_headline,
    fit_sections,
    notes_of,
    outcomes,
    pair_headline,
    pair_sections,
    provided,
)
from tuner.wording import changes as change_words
from tuner.wording.cautions import caution_line
from tuner.wording.damper import label_of
from tuner.wording.headlines import DAMPER_QUESTION, PAIR_QUESTION, change_question, fit_question
from tuner.wording.layout import FIRST, ONWARD, OPENING, points_of, tied
from tuner.wording.short import RATIO_MEANS, needed_points

if TYPE_CHECKING:
    from tuner.charts import Look
    from tuner.jobs import CompareJob, DamperJob, FitJob, MatchJob

__all__ = ["render_report"]


_FIT_TITLES = {
    "bounce": "How the corner stands",
    "travel": "What the drive says",
    "flight": "What the jumps say",
}


def render_report(
    job: CompareJob | MatchJob | FitJob | DamperJob, system: System = "metric", made_on: date | None = None
) -> str:
    """Give the report of a job as the text of one HTML file, dated `made_on` (None: today)."""
    from tuner.jobs import CompareJob, DamperJob, MatchJob

    if isinstance(job, CompareJob):
        sheet = _compare_sheet(job, system)
    elif isinstance(job, MatchJob):
        sheet = _match_sheet(job, system)
    elif isinstance(job, DamperJob):
        sheet = _damper_sheet(job, system)
    else:
        sheet = _fit_sheet(job, system)
    return _set(sheet, made_on or date.today())


def _compare_sheet(job: CompareJob, system: System) -> Sheet:
    comparison = job.comparison
    judged = (("before", comparison.before), ("after", comparison.after))
    page = change_sections(comparison, system, notes=notes_of(job))
    return Sheet(
        title="What the change did",
        facts=_facts(("before", job.before), ("after", job.after)),
        headline=provided(change_headline(comparison), points_of(page, FIRST)),
        summary=(
            outcomes.closing_points(comparison)
            if comparison.measures
            else (
                *change_words.dead_stroke_points(comparison, system),
                *_about_ratios((side, comparison.side(side).after) for side in SIDES),
            )
        ),
        question=change_question(comparison),
        beside=sections_beside(page),
        caution=caution_line(_kinds(judged), after_change=True),
        tags=change_tags(comparison, system),
        pictures=pictures(
            judged,
            {side: comparison.side(side).change for side in SIDES},
            system,
            target_speed(judged),
            comparison,
        ),
        checks=points_of(page, FIRST),
        onward=points_of(page, ONWARD),
        sections=sections_below(page, judged, system),
        cautions=cautions_for(_kinds(judged), after_change=True),
        command=job.command,
        sources=(
            *run_sources("before", job.before, system, "run0"),
            *run_sources("after", job.after, system, "run1"),
            *machine_source(job.machine_input, job.corner_name),
        ),
        made_by=_made_by(),
        how=how_made(_kinds(judged)),
    )


def _match_sheet(job: MatchJob, system: System) -> Sheet:
    match, names = job.match, _names(job)
    judged = ((names[0], match.one), (names[1], match.other))
    page = pair_sections(match, names, system, notes=notes_of(job))
    return Sheet(
        title="Are the two dampers alike?",
        facts=_facts(("one", job.one), ("other", job.other)),
        headline=provided(pair_headline(match), points_of(page, FIRST)),
        summary=(),
        question=PAIR_QUESTION,
        beside=sections_beside(page),
        caution=caution_line(_kinds(judged)),
        tags=match_tags(match, names, system),
        pictures=pictures(
            judged, {side: match.side(side).ratio for side in SIDES}, system, target_speed(judged)
        ),
        checks=points_of(page, FIRST),
        onward=points_of(page, ONWARD),
        sections=sections_below(page, judged, system),
        cautions=cautions_for(_kinds(judged)),
        command=job.command,
        sources=(
            *run_sources("one", job.one, system, "run0"),
            *run_sources("other", job.other, system, "run1"),
            *machine_source(job.machine_input, job.corner_name),
        ),
        made_by=_made_by(),
        how=how_made(_kinds(judged)),
    )


def _fit_sheet(job: FitJob, system: System) -> Sheet:
    judged = (("now", job.judgement),)
    page = fit_sections(job.judgement, system, notes=notes_of(job))
    return Sheet(
        title=_FIT_TITLES.get(job.fit.kind, "How the damper stands"),
        facts=_facts(("", job)),
        headline=provided(fit_headline(job.judgement, system, over_cards=True), points_of(page, FIRST)),
        summary=_beside_the_sides(job.judgement, system),
        question=fit_question(job.judgement),
        caution=caution_line(_kinds(judged)),
        tags=fit_tags(job.judgement, system),
        pictures=pictures(judged, None, system, target_speed(judged)),
        checks=points_of(page, FIRST),
        onward=points_of(page, ONWARD),
        sections=sections_below(page, judged, system),
        cautions=cautions_for(_kinds(judged)),
        command=job.command,
        sources=(
            *run_sources("record", job, system, "run0"),
            *machine_source(job.machine_input, job.corner_name),
        ),
        made_by=_made_by(),
        how=how_made(_kinds(judged)),
    )


def _damper_sheet(tests: DamperJob, system: System) -> Sheet:
    """Give the sheet of unlike tests of one damper: whether they agree, and their curves in one picture."""
    judged = tuple((label_of(judgement), judgement) for judgement in tests.judgements)
    page = damper_sections(
        tests.judgements, tests.agreement, system, notes=[notes_of(job) for job in tests.jobs]
    )
    first = tests.jobs[0]
    apart = {label_of(judgement) for judgement in tests.judgements}
    return Sheet(
        title="What the tests of this damper say",
        facts=_facts(*((label_of(job.judgement), job) for job in tests.jobs)),
        headline=provided(damper_headline(tests.judgements, tests.agreement), points_of(page, FIRST)),
        summary=points_of(page, OPENING),
        question=DAMPER_QUESTION,
        caution=caution_line(_kinds(judged)),
        tags=tuple(
            replace(tag, name=f"{tag.name}, {label}")
            for label, each in judged
            for tag in fit_tags(each, system)
        ),
        pictures=pictures(judged, None, system, target_speed(judged)),
        checks=points_of(page, FIRST),
        onward=points_of(page, ONWARD),
        sections=tuple(
            section
            for section in page
            if section.title not in (OPENING, FIRST, ONWARD) and section.title.lower() not in apart
        ),
        cautions=cautions_for(_kinds(judged)),
        command=first.command,
        sources=(
            *(
                source
                for i, job in enumerate(tests.jobs)
                for source in run_sources(label_of(job.judgement), job, system, f"run{min(i, 1)}")
            ),
            *machine_source(first.machine_input, first.corner_name),
        ),
        made_by=_made_by(),
        how=how_made(_kinds(judged)),
    )


def _beside_the_sides(judgement: Judgement, system: System) -> tuple[str, ...]:
    """Give what one test says beside its tags."""
    corner = bounces.corner_points(judgement, system) if judgement.fit.kind == "bounce" else ()
    return (*_about_ratios((side, judgement.side(side)) for side in SIDES), *corner)


def _about_ratios(sides: Iterable[tuple[Side, JudgedSide]]) -> tuple[str, ...]:
    """Say what brings a side into its band, and once what a damping ratio is."""
    known = tuple(sides)
    means = (RATIO_MEANS,) if any(judged.zeta for _, judged in known) else ()
    return (*needed_points(known), *means)


def _names(job: MatchJob) -> tuple[str, str]:
    """Call two dampers by their files; by "one" and "other" as well where these have the same name."""
    one, other = (
        f"{files[0]} (and {len(files) - 1} more)" if len(files) > 1 else files[0]
        for files in ([file for file, _ in each.decided] for each in (job.one, job.other))
    )
    return (one, other) if one != other else (f"{one} (one)", f"{other} (other)")


def _facts(*jobs: tuple[str, FitJob]) -> tuple[str, ...]:
    """Say on which machine and from which files, under the title."""
    first = jobs[0][1]
    machine = "" if first.machine is None else first.machine.name
    place = ", ".join(
        text for text in (machine, f"corner {first.corner_name}" if first.corner_name else "") if text
    )
    files = [
        f"{label}: {', '.join(file for file, _ in job.decided)}"
        if label
        else ", ".join(f for f, _ in job.decided)
        for label, job in jobs
    ]
    return tuple(text for text in (place, *files) if text)


def _kinds(judged: Sequence[tuple[str, Judgement]]) -> tuple[Kind, ...]:
    return tuple(judgement.fit.kind for _, judgement in judged)


def _made_by() -> str:
    parts = ", ".join(f"{name} {metadata.version(name)}" for name in ("numpy", "scipy", "pandas"))
    return f"Made by tuner {__version__} ({parts})."


def _variables(look: Look, ground: str) -> Markup:
    """Give the colours of a look as style variables."""
    named = {
        "ground": ground,
        "desk": look.hover,
        "paper": look.paper,
        "ink": look.ink,
        "soft": look.soft,
        "rule": look.grid,
        "axis": look.axis,
        "run0": look.runs[0],
        "run1": look.runs[1],
        "target-fill": look.target_fill,
        "target-edge": look.target_edge,
    }
    return Markup(" ".join(f"--{name}: {colour};" for name, colour in named.items()))


def _packaged(package: str, name: str) -> str:
    return resources.files(package).joinpath(name).read_text(encoding="utf-8")


def _set(sheet: Sheet, made_on: date) -> str:
    """Lay the sheet out."""
    from jinja2 import Environment, StrictUndefined

    from tuner.charts import DARK, LIGHT, colour_swaps

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    environment.filters["tied"] = tied
    template = environment.from_string(_packaged("tuner.report", "sheet.html"))
    return template.render(
        sheet=sheet,
        made_on=f"{made_on.day} {made_on:%B %Y}",
        first=FIRST,
        onward=ONWARD,
        swaps=safe_json(json.dumps(colour_swaps())),
        light=_variables(LIGHT, "#ece8dc"),
        dark=_variables(DARK, "#12171b"),
        css=Markup(_packaged("tuner.report", "sheet.css")),
        draw=Markup(_packaged("tuner.report", "draw.js")),
        fold=Markup(_packaged("tuner.report", "fold.js")),
        plotly=Markup(_packaged("tuner.charts", "plotly-basic.min.js")),
        licence=Markup(_packaged("tuner.charts", "plotly-basic.LICENSE.txt")),
    )
