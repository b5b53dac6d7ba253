"""``tuner fit``: what one test says about one damper."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from tuner.cli import options, screen
from tuner.cli.streams import Progress

if TYPE_CHECKING:
    from tuner.jobs import DamperJob, FitJob
    from tuner.units import System


@click.command(
    cls=options.Example,
    example=(
        "tuner fit sample_data/front_left_hung_weights.csv \\",
        "    --machine sample_data/dune_hopper.toml --corner 'front left'",
    ),
)
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@options.reading_options
@options.machine_options
@options.report_option
@options.output_options
def fit(
    files: tuple[str, ...],
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
    """Say how strong the damper (shock) is on the way in and on the way out.

    Several FILEs of one kind are repeats; a bench test and a bounce of one damper are held against each other.
    '-' reads standard input.
    """
    taken: set[str] = set()
    report = None if report_file is None else screen.check_report_place(report_file)
    with Progress() as progress:
        from tuner.jobs import damper_job

        machine = options.machine_of(machine_file, taken)
        reading = options.read_options(kinds, columns, units_of, settings)
        sources = options.sources_of(files, taken)
        tests = damper_job(
            sources, reading, machine, corner, command=options.command_words(), progress=progress
        )
        job: FitJob | DamperJob = tests.jobs[0] if len(tests.jobs) == 1 else tests
        if report is not None:
            progress("writing the report")
            screen.write_job_report(job, system, report)
    if as_json:
        from tuner.exchange import damper_value, fit_value
        from tuner.wording import notes_of

        values = [fit_value(one.judgement, notes_of(one)) for one in tests.jobs]
        screen.show_json(values[0] if len(values) == 1 else damper_value(values, tests.agreement))
        return
    closing = () if report is None else (f"Report: {report}",)
    if len(tests.jobs) == 1:
        _show_one(tests.jobs[0], system, full, closing)
    else:
        _show_several(tests, system, full, closing)


def _show_one(job: FitJob, system: System, full: bool, closing: Sequence[str]) -> None:
    from tuner.wording import cautions_for, fit_headline, fit_sections, notes_of, short_fit

    kinds = [one.kind for one in job.fits]
    if not full:
        notes = notes_of(job, likeliest=True)
        screen.show_brief(short_fit(job.judgement, system, notes=notes, kinds=kinds), closing=closing)
        return
    screen.show(
        fit_sections(
            job.judgement,
            system,
            notes=notes_of(job),
            decided=job.decided,
            cautions=cautions_for(kinds),
        ),
        fit_headline(job.judgement, system),
        closing=closing,
    )


def _show_several(tests: DamperJob, system: System, full: bool, closing: Sequence[str]) -> None:
    from tuner.wording import cautions_for, damper_headline, damper_sections, notes_of, short_damper

    kinds = [job.fit.kind for job in tests.jobs]
    if not full:
        notes = [notes_of(job, likeliest=True) for job in tests.jobs]
        parts = short_damper(tests.judgements, tests.agreement, system, notes=notes, kinds=kinds)
        screen.show_brief(parts, closing=closing)
        return
    screen.show(
        damper_sections(
            tests.judgements,
            tests.agreement,
            system,
            notes=[notes_of(job) for job in tests.jobs],
            decided=[job.decided for job in tests.jobs],
            cautions=cautions_for(kinds),
        ),
        damper_headline(tests.judgements, tests.agreement),
        closing=closing,
    )
