"""``tuner fit``: what one test says about one damper."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from tuner.cli import options, screen
from tuner.cli.streams import Progress

if TYPE_CHECKING:
    from tuner.units import System


@click.command(
    cls=options.Example,
    example=(
        "tuner fit sample_data/front_left_hung_weights.csv",
        "tuner fit sample_data/front_left_thick_oil.csv \\",
        "    --machine sample_data/dune_hopper.toml --corner 'front left' --json",
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

    Several FILEs are repeats of the same setting; '-' reads standard input. With --machine and --corner the
    damping ratio and its place against the target band come with it.
    """
    taken: set[str] = set()
    report = None if report_file is None else screen.check_report_place(report_file)
    with Progress() as progress:
        from tuner.jobs import fit_job

        machine = options.machine_of(machine_file, taken)
        reading = options.read_options(kinds, columns, units_of, settings)
        sources = options.sources_of(files, taken)
        job = fit_job(sources, reading, machine, corner, command=options.command_words(), progress=progress)
        if report is not None:
            progress("writing the report")
            screen.write_job_report(job, system, report)
    if as_json:
        from tuner.exchange import fit_value
        from tuner.wording import notes_of

        screen.show_json(fit_value(job.judgement, notes_of(job)))
        return
    from tuner.wording import cautions_for, fit_headline, fit_sections, notes_of

    screen.show(
        fit_sections(
            job.judgement,
            system,
            notes=notes_of(job, system),
            decided=job.decided,
            cautions=cautions_for([one.kind for one in job.fits]),
        ),
        fit_headline(job.judgement, system),
    )
    if report is not None:
        click.echo(f"\nReport: {report}")
