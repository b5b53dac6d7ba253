"""``tuner how``: how to make a test."""

from __future__ import annotations

import click

from tuner.cli import options, screen


@click.command(
    cls=options.Example,
    example=("tuner how bounce", "tuner how bounce --drawing bounce.svg"),
)
@click.argument("kind", metavar="KIND")
@click.option(
    "--drawing", "drawing_file", metavar="FILE.svg", help="Write the line drawing of the test there."
)
def how(kind: str, drawing_file: str | None) -> None:
    """Say how to make a test: what to do, how often, what to note, what spoils it.

    KIND is one of sweep, cycle, weights (the damper alone), bounce (a corner), travel and flight (the machine).
    """
    from tuner.instructions import drawing, instruction, instruction_sections

    chosen = instruction(kind)
    drawn = None if drawing_file is None else screen.write_drawing(drawing_file, drawing(kind))
    screen.show(instruction_sections(chosen))
    if drawn is not None:
        click.echo(f"\nDrawing: {drawn}")
