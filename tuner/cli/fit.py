"""``tuner fit``: what one test says about one damper."""

from __future__ import annotations

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
        "tuner fit sample_data/front_left_hung_weights.csv",
        "tuner fit sample_data/front_left_thick_oil.csv \\",
        "    --machine sample_data/dune_hopper.toml --corner 'front left' --json",
        "tuner fit sample_data/rear_left_before_run1.csv sample_data/bounce_rear_before.csv \\",
        "    --machine sample_data/dune_hopper.toml --corner 'rear left'",
    ),
)
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@options.reading_options()
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
    system: System,
    as_json: bool,
) -> None:
    """Say how strong the damper is on the way in and on the way out.

    Several FILEs of one kind are repeats of the same setting; of unlike kinds, as a bench test and a bounce of one
    damper in the same state, they are held against each other. '-' reads standard input. With --machine and
    --corner the damping ratio and its place against the target band come with it.
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
    if len(tests.jobs) == 1:
        _show_one(tests.jobs[0], system)
    else:
        _show_several(tests, system)
    if report is not None:
        click.echo(f"\nReport: {report}")


def _show_one(job: FitJob, system: System) -> None:
    from tuner.wording import cautions_for, fit_headline, fit_sections, notes_of

    screen.show(
        fit_sections(
            job.judgement,
            system,
            notes=notes_of(job),
            decided=job.decided,
            cautions=cautions_for([one.kind for one in job.fits]),
        ),
        fit_headline(job.judgement, system),
    )


def _show_several(tests: DamperJob, system: System) -> None:
    from tuner.wording import cautions_for, damper_headline, damper_sections, notes_of

    screen.show(
        damper_sections(
            tests.judgements,
            tests.agreement,
            system,
            notes=[notes_of(job) for job in tests.jobs],
            decided=[job.decided for job in tests.jobs],
            cautions=cautions_for([job.fit.kind for job in tests.jobs]),
        ),
        damper_headline(tests.judgements, tests.agreement),
    )
