"""``tuner demo``: the main job on the sample files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tuner.cli import options, screen
from tuner.cli.compare import show_change
from tuner.cli.samples import MACHINE, sample_folder
from tuner.cli.streams import Progress

if TYPE_CHECKING:
    from tuner.units import System

BEFORE = ("rear_left_before_run1.csv", "rear_left_before_run2.csv")
AFTER = ("rear_left_after_draining_run1.csv", "rear_left_after_draining_run2.csv")
CORNER = "rear left"
REPORT = "tuner-demo-report"


@click.command(cls=options.Example, example=("tuner demo",))
@click.option(
    "--report",
    "report_file",
    metavar="FILE.html",
    help=f"Where the report goes.  [default: {REPORT}.html in this folder]",
)
@options.full_option
@options.units_option
def demo(report_file: str | None, full: bool, system: System) -> None:
    """See the main job done on the sample files.

    The rear left damper (shock) of the invented buggy "Dune Hopper No. 4" before and after some of its oil was let out:
    two bench files each, and the machine file. Nothing that is yours is read; one report is written.
    """
    folder = sample_folder()
    report = (
        screen.free_report_place(Path.cwd(), REPORT)
        if report_file is None
        else screen.check_report_place(report_file)
    )
    with Progress() as progress:
        from tuner.jobs import Source, compare_job, machine_from

        before, after = ([Source(name, path=folder / name) for name in names] for names in (BEFORE, AFTER))
        job = compare_job(
            before,
            after,
            machine=machine_from(Source(MACHINE, path=folder / MACHINE)),
            corner_name=CORNER,
            command=options.command_words(),
            progress=progress,
        )
        progress("writing the report")
        screen.write_job_report(job, system, report)
    show_change(
        job,
        system,
        full=full,
        intro='Rear left damper (shock) of the invented "Dune Hopper No. 4", before and after oil was let out.',
        closing=(f"Report with pictures: {report}", f"The sample files: {folder}"),
    )
