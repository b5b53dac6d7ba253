"""The options that commands share, and the words behind them turned into what `tuner.jobs` takes.

Takes option text, gives sources, read options and a machine.
"""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from tuner.errors import UsageError

if TYPE_CHECKING:
    from tuner.jobs import MachineInput, Source
    from tuner.reading import ReadOptions

# the kinds of test that can be read so far; a test holds this line to the readers
KINDS = ("sweep", "cycle", "weights", "bounce", "travel", "flight")

Command = TypeVar("Command", bound=Callable[..., Any])


class Example(click.Command):
    """A command whose help ends with an example that runs, and whose `greedy` options take several words.

    ``--before A B C`` means ``--before A --before B --before C``, so that a shell's ``*.csv`` works.
    """

    def __init__(self, *args: Any, example: Sequence[str], greedy: Sequence[str] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.example = tuple(example)
        self.greedy = tuple(greedy)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Spread the words behind a greedy option over as many options."""
        return super().parse_args(ctx, spread(args, self.greedy))

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the example, one command a line; with --full the roles and the names of --set before it."""
        listed = any(parameter.name == "settings" for parameter in self.params)
        if listed and "--full" in (ctx.find_root().obj or ()):
            from tuner.reading import SETTINGS
            from tuner.reading.table.words import ROLES

            with formatter.section("Every ROLE of --column and --unit"):
                formatter.write_text(", ".join(ROLES))
            with formatter.section("Every NAME of --set"):
                formatter.write_dl(
                    [
                        (name, f"{setting.meaning}{_choices(setting.choices)}")
                        for name, setting in SETTINGS.items()
                    ]
                )
        elif listed:
            formatter.write_paragraph()
            formatter.write_text(f"Every ROLE and NAME: {ctx.command_path} --help --full")
        with formatter.section("Example (in a folder that has sample_data)"):
            for line in self.example:
                formatter.write(f"{' ' * formatter.current_indent}{line}\n")


def _choices(choices: Sequence[str]) -> str:
    return f" ({' or '.join(choices)})" if choices else ""


def spread(words: Sequence[str], greedy: Sequence[str]) -> list[str]:
    """Repeat a greedy option before each of its words, up to the next option."""
    given: list[str] = []
    current: str | None = None
    fresh = False
    for word in words:
        if word in greedy:
            current, fresh = word, True
            given.append(word)
        elif word.startswith("-") and word != "-":
            current = None
            given.append(word)
        elif current is not None:
            given.extend([word] if fresh else [current, word])
            fresh = False
        else:
            given.append(word)
    return given


def reading_options(command: Command) -> Command:
    """Add --kind, --column, --unit and --set; with two sides each may be given for one side only."""
    options = (
        click.option(
            "--kind",
            "kinds",
            multiple=True,
            metavar="KIND",
            help=f"{', '.join(KINDS[:-1])} or {KINDS[-1]}.",
        ),
        click.option(
            "--column",
            "columns",
            multiple=True,
            metavar="ROLE=NAME",
            help="Which column is what: force='Load cell'.",
        ),
        click.option(
            "--unit",
            "units_of",
            multiple=True,
            metavar="ROLE=UNIT",
            help="In which unit a column, or all of a quantity, stands: force=lbf.",
        ),
        click.option(
            "--set",
            "settings",
            multiple=True,
            metavar="NAME=VALUE",
            help="What the file does not say: stroke='80 mm'.",
        ),
    )
    return _stack(options)(command)


def machine_options(command: Command) -> Command:
    """Add --machine and --corner."""
    options = (
        click.option(
            "--machine",
            "machine_file",
            metavar="FILE",
            help="Machine file: mass, spring, motion ratio, target.",
        ),
        click.option(
            "--corner",
            metavar="NAME",
            help="Which of its corners, when it has several.",
        ),
    )
    return _stack(options)(command)


def units_option(command: Command) -> Command:
    """Add --units."""
    return click.option(
        "--units",
        "system",
        type=click.Choice(["metric", "us"]),
        default="metric",
        show_default=True,
        help="Units of the text.",
    )(command)


def report_option(command: Command) -> Command:
    """Add --report."""
    text = "Write a page with pictures as well."
    return click.option("--report", "report_file", metavar="FILE.html", help=text)(command)


def full_option(command: Command) -> Command:
    """Add --full."""
    return click.option("--full", is_flag=True, help="Print everything, not the short answer alone.")(command)


def output_options(command: Command) -> Command:
    """Add --full, --units and --json."""
    json = click.option("--json", "as_json", is_flag=True, help="Print JSON (always SI) instead of text.")
    return _stack((full_option, units_option, json))(command)


def _stack(options: Sequence[Callable[[Any], Any]]) -> Callable[[Command], Command]:
    def add(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return add


def command_words() -> str:
    """Give this command as it was typed, for the record of where a result came from."""
    return shlex.join(["tuner", *click.get_current_context().find_root().obj])


def sources_of(files: Sequence[str], taken: set[str] | None = None) -> tuple[Source, ...]:
    """Turn file names into sources; ``-`` is read from standard input, which can be read only once."""
    from tuner.jobs import Source

    seen = set() if taken is None else taken
    sources = []
    for name in files:
        if name != "-":
            sources.append(Source(name, path=Path(name)))
            continue
        if "-" in seen:
            raise UsageError(
                "standard input ('-') can be read only once", hint="Put the other input in a file."
            )
        seen.add("-")
        sources.append(Source("standard input", data=sys.stdin.buffer.read()))
    return tuple(sources)


def machine_of(machine_file: str | None, taken: set[str] | None = None) -> MachineInput | None:
    """Read the machine file when there is one."""
    if machine_file is None:
        return None
    from tuner.jobs import machine_from

    return machine_from(sources_of([machine_file], taken)[0])


def read_options(
    kinds: Sequence[str],
    columns: Sequence[str],
    units_of: Sequence[str],
    settings: Sequence[str],
    side: str | None = None,
    sides: tuple[str, str] | None = None,
) -> ReadOptions:
    """Collect what was said about reading for one side; what was said for that side alone wins."""
    from tuner.reading import ReadOptions

    def mine(words: Sequence[str], option: str) -> dict[str, str]:
        return _pairs(words, option, side, sides)

    return ReadOptions(
        kind=_kind(kinds, side, sides),  # type: ignore[arg-type]
        columns=mine(columns, "--column"),
        units=mine(units_of, "--unit"),
        settings=mine(settings, "--set"),
    )


def _split_side(name: str, side: str | None, sides: tuple[str, str] | None) -> tuple[str, bool] | None:
    """Give the bare name and whether it was meant for this side alone; None when it is for the other side."""
    if sides is not None:
        for candidate in sides:
            if name.startswith(f"{candidate}."):
                return (name[len(candidate) + 1 :], True) if candidate == side else None
    return name, False


def _pairs(
    words: Sequence[str], option: str, side: str | None, sides: tuple[str, str] | None
) -> dict[str, str]:
    both: dict[str, str] = {}
    alone: dict[str, str] = {}
    for word in words:
        name, equals, value = word.partition("=")
        if not equals or not name.strip() or not value.strip():
            raise UsageError(
                f"{option} needs NAME=VALUE; got {word!r}", hint=f"Write it like {_SHAPES[option]}."
            )
        split = _split_side(name.strip(), side, sides)
        if split is None:
            continue
        place = alone if split[1] else both
        if split[0] in place and place[split[0]] != value.strip():
            raise UsageError(
                f"{option} was given twice for {split[0]!r}: {place[split[0]]!r} and {value.strip()!r}",
                hint="Give it once.",
            )
        place[split[0]] = value.strip()
    return {**both, **alone}


_SHAPES: Mapping[str, str] = {
    "--column": "--column force='Load cell'",
    "--unit": "--unit force=lbf",
    "--set": "--set temperature='20 degC'",
}


def _kind(kinds: Sequence[str], side: str | None, sides: tuple[str, str] | None) -> str | None:
    both: set[str] = set()
    alone: set[str] = set()
    for word in kinds:
        split = _split_side(word, side, sides)
        name = word.partition(".")[2] if split is None else split[0]
        if name not in KINDS:
            raise UsageError(
                f"--kind must be one of {', '.join(KINDS)}; got {word!r}", hint=_kind_hint(sides)
            )
        if split is not None:
            (alone if split[1] else both).add(name)
    chosen = alone or both
    if len(chosen) > 1:
        raise UsageError(f"--kind was given twice: {' and '.join(sorted(chosen))}", hint=_kind_hint(sides))
    return next(iter(chosen), None)


def _kind_hint(sides: tuple[str, str] | None) -> str:
    if sides is None:
        return "Leave it out and the file decides."
    return f"Leave it out and the file decides, or say it for one side: --kind {sides[0]}.{KINDS[0]}."
