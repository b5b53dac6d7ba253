"""The group of commands, and what every ending of a command means.

Takes the arguments, gives the exit status.
"""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple, NoReturn

import click

from tuner import __version__
from tuner.cli.failures import status_of
from tuner.cli.streams import prepare_streams


class Entry(NamedTuple):
    """One command: where it lives, and its line in the list of commands."""

    module: str
    summary: str


# name -> entry, in the order in which they are listed; the module has a click command of the same name
COMMANDS: Mapping[str, Entry] = {
    "demo": Entry("tuner.cli.demo", "See the main job done on the sample files."),
    "fit": Entry("tuner.cli.fit", "What one test says about one damper."),
    "compare": Entry("tuner.cli.compare", "What a change did: before against after."),
    "match": Entry("tuner.cli.match", "Are two dampers alike?"),
    "how": Entry("tuner.cli.how", "How to make a test: steps, what spoils it, cautions."),
}


class LazyGroup(click.Group):
    """A group that loads the module of a command only when that command is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Give the names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load the command, None for an unknown name."""
        if cmd_name not in COMMANDS:
            return None
        command = getattr(importlib.import_module(COMMANDS[cmd_name].module), cmd_name)
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command, or refuse with the nearest name."""
        name = args[0]
        if name not in COMMANDS:
            from difflib import get_close_matches

            near = get_close_matches(name, COMMANDS, n=1)
            hint = f"Did you mean '{near[0]}'?" if near else "Commands: " + ", ".join(COMMANDS) + "."
            error = click.UsageError(f"there is no command '{name}'", ctx)
            error.hint = hint  # type: ignore[attr-defined]
            raise error
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without loading them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, entry.summary) for name, entry in COMMANDS.items()])


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    invoke_without_command=True,
    epilog="Start with 'tuner demo'. 'tuner COMMAND --help' shows an example of each.",
)
@click.version_option(__version__, message="%(prog)s %(version)s")
@click.pass_context
def cli(ctx: click.Context) -> None:
    """Say what a change did to a damper (shock).

    Reads test files of a damper, gives its compression and rebound damping with their uncertainty,
    judges them against the corner they sit on, and says what a change of oil, clicks or shims did.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command and give its exit status; nothing is raised."""
    # the matrices here are small: a second thread of the linear algebra costs more than it brings
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    prepare_streams()
    words = None if arguments is None else list(arguments)
    typed = sys.argv[1:] if words is None else words
    try:
        result: Any = cli.main(words, prog_name="tuner", standalone_mode=False, obj=tuple(typed))
        sys.stdout.flush()
    except BaseException as failure:  # every ending has a status and one sentence
        return status_of(failure)
    return result if isinstance(result, int) else 0


def main() -> NoReturn:
    """Run the command line of this process and leave it with the exit status."""
    sys.exit(run())
