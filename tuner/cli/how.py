"""``tuner how``: how to make a test."""

from __future__ import annotations

import click

from tuner.cli import options, screen
from tuner.errors import UsageError


@click.command(
    cls=options.Example,
    example=("tuner how bounce", "tuner how bounce --drawing bounce.svg"),
)
@click.argument("kind", metavar="KIND", required=False)
@click.option(
    "--drawing", "drawing_file", metavar="FILE.svg", help="Write the line drawing of the test there."
)
def how(kind: str | None, drawing_file: str | None) -> None:
    """Say how to make a test: what to do, how often, what to note, what spoils it.

    Without KIND, list the tests.

    KIND is one of sweep, cycle, weights (the damper alone), bounce (a corner), travel and flight (the machine).
    """
    from tuner.instructions import contents_sections, drawing, instruction, instruction_sections

    if kind is None:
        if drawing_file is not None:
            raise UsageError(
                "--drawing needs the KIND of a test",
                hint="For example: tuner how bounce --drawing bounce.svg",
            )
        screen.show(contents_sections())
        return
    chosen = instruction(kind)
    drawn = None if drawing_file is None else screen.write_drawing(drawing_file, drawing(kind))
    screen.show(instruction_sections(chosen))
    if drawn is not None:
        click.echo(f"\nDrawing: {drawn}")
