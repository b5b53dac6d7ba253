"""``tuner compare``: what a change did to a damper."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from tuner.cli import options, screen
from tuner.cli.streams import Progress

if TYPE_CHECKING:
    from tuner.jobs import CompareJob
    from tuner.units import System

SIDES = ("before", "after")


@click.command(
    cls=options.Example,
    greedy=("--before", "--after"),
    example=(
        "tuner compare --before sample_data/front_left_thick_oil.csv \\",
        "    --after sample_data/front_left_thin_oil.csv --report report.html \\",
        "    --machine sample_data/dune_hopper.toml --corner 'front left'",
    ),
)
@click.option("--before", multiple=True, required=True, metavar="FILE...", help="Test before the change.")
@click.option("--after", multiple=True, required=True, metavar="FILE...", help="Test after the change.")
@options.reading_options
@options.machine_options
@options.report_option
@options.output_options
def compare(
    before: tuple[str, ...],
    after: tuple[str, ...],
    kinds: tuple[str, ...],
    columns: tuple[str, ...],
    units_of: tuple[str, ...],
    settings: tuple[str, ...],
    machine_file: str | None,
    corner: str | None,
    report_file: str | None,
    full: bool,
    system: System,
    as_json: bool,
) -> None:
    """Say what a change did: before against after.

    Several FILEs of one side are repeats of one setting; '-' reads standard input.
    For one side alone write --set after.stroke='80 mm'; so with --kind, --column, --unit.
    """
    taken: set[str] = set()
    report = None if report_file is None else screen.check_report_place(report_file)
    with Progress() as progress:
        from tuner.jobs import compare_job

        machine = options.machine_of(machine_file, taken)
        before_options, after_options = (
            options.read_options(kinds, columns, units_of, settings, side, SIDES) for side in SIDES
        )
        job = compare_job(
            options.sources_of(before, taken),
            options.sources_of(after, taken),
            before_options,
            after_options,
            machine,
            corner,
            command=options.command_words(),
            progress=progress,
        )
        if report is not None:
            progress("writing the report")
            screen.write_job_report(job, system, report)
    if as_json:
        from tuner.exchange import compare_value
        from tuner.wording import change_summary, notes_of

        screen.show_json(compare_value(job.comparison, change_summary(job.comparison), notes_of(job)))
        return
    where = () if report is None else (f"Report: {report}",)
    show_change(job, system, full=full, closing=where)


def show_change(
    job: CompareJob, system: System, *, full: bool, intro: str = "", closing: Sequence[str] = ()
) -> None:
    """Print the page of a change."""
    from tuner.wording import cautions_for, change_headline, change_sections, notes_of, short_change

    kinds = [fit.kind for fit in (*job.before.fits, *job.after.fits)]
    if not full:
        notes = notes_of(job, likeliest=True)
        parts = short_change(job.comparison, system, notes=notes, kinds=kinds)
        screen.show_brief(parts, intro=intro, closing=closing)
        return
    screen.show(
        change_sections(
            job.comparison,
            system,
            notes=notes_of(job),
            decided=job.decided,
            cautions=cautions_for(kinds, after_change=True),
        ),
        change_headline(job.comparison),
        intro=intro,
        closing=closing,
    )
