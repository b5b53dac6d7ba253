"""``tuner match``: are two dampers alike."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

import click

from tuner.cli import options, screen
from tuner.cli.streams import Progress
from tuner.errors import UsageError

if TYPE_CHECKING:
    from tuner.units import System

SIDES = ("one", "other")


@click.command(
    cls=options.Example,
    greedy=("--one", "--other"),
    example=(
        "tuner match --one sample_data/pair_rear_left.csv \\",
        "    --other sample_data/pair_rear_right.csv.gz",
    ),
)
@click.option("--one", multiple=True, required=True, metavar="FILE...", help="Test of one damper.")
@click.option("--other", multiple=True, required=True, metavar="FILE...", help="Test of the other damper.")
@click.option("--tolerance", metavar="SHARE", help="Alike within this share.  [default: 10%]")
@options.reading_options
@options.machine_options
@options.report_option
@options.output_options
def match(
    one: tuple[str, ...],
    other: tuple[str, ...],
    tolerance: str | None,
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
    """Say whether two dampers (shocks) are alike, such as left and right.

    Several FILEs of one damper are repeats of one setting; '-' reads standard input.
    For one side alone write --set other.stroke='80 mm'; so with --kind, --column, --unit.
    """
    taken: set[str] = set()
    report = None if report_file is None else screen.check_report_place(report_file)
    share = None if tolerance is None else share_of(tolerance)
    with Progress() as progress:
        from tuner.jobs import match_job

        machine = options.machine_of(machine_file, taken)
        one_options, other_options = (
            options.read_options(kinds, columns, units_of, settings, side, SIDES) for side in SIDES
        )
        job = match_job(
            options.sources_of(one, taken),
            options.sources_of(other, taken),
            one_options,
            other_options,
            machine,
            corner,
            tolerance=share,
            command=options.command_words(),
            progress=progress,
        )
        if report is not None:
            progress("writing the report")
            screen.write_job_report(job, system, report)
    names = name_of(one), name_of(other)
    if as_json:
        from tuner.exchange import match_value
        from tuner.wording import notes_of, pair_summary

        screen.show_json(match_value(job.match, pair_summary(job.match, names), notes_of(job)))
        return
    from tuner.wording import cautions_for, notes_of, pair_headline, pair_sections, short_pair

    tested = [fit.kind for fit in (*job.one.fits, *job.other.fits)]
    closing = () if report is None else (f"Report: {report}",)
    if not full:
        notes = notes_of(job, likeliest=True)
        screen.show_brief(short_pair(job.match, names, system, notes=notes, kinds=tested), closing=closing)
        return
    screen.show(
        pair_sections(
            job.match,
            names,
            system,
            notes=notes_of(job),
            decided=job.decided,
            cautions=cautions_for(tested),
        ),
        pair_headline(job.match),
        closing=closing,
    )


def share_of(text: str) -> float:
    """Read ``10%``, ``10 %`` or ``0.10``; a bare number of 1 or more is refused, because it may mean either."""
    number = text.strip().removesuffix("%").strip().replace(",", ".")
    try:
        share = float(number)
    except ValueError:
        share = float("nan")
    share = share / 100.0 if text.strip().endswith("%") else share
    if not 0.0 < share < 1.0:
        raise UsageError(
            f"--tolerance must be a share above 0 % and below 100 %; got {text!r}",
            hint="Write it like 10% or 0.10.",
        )
    return share


def name_of(files: tuple[str, ...]) -> str:
    """Give a short name for the damper behind some files."""
    first = "standard input" if files[0] == "-" else PurePath(files[0]).name
    return first if len(files) == 1 else f"{first} (and {len(files) - 1} more)"
