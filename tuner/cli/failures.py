"""How a command ends: one sentence and one hint on standard error, and the exit status.

Takes an exception, gives the status.
"""

from __future__ import annotations

import os
import sys

import click

from tuner.errors import TunerError, UsageError

DONE, DEFECT, WRONG_COMMAND, REFUSED, STOPPED = 0, 1, 2, 3, 130


def complain(sentence: str, hint: str = "") -> None:
    """Write one sentence and one line of hint to standard error."""
    lines = [f"tuner: {_sentence(sentence)}"]
    if hint:
        lines.append(f"Hint: {' '.join(hint.split())}")
    click.echo("\n".join(lines), err=True)


def _sentence(text: str) -> str:
    """Put a message on one line, ending in a full stop."""
    line = " ".join(text.split()).replace("m/s**2", "m/s²").replace("N*s/m", "N·s/m")
    return line if line.endswith((".", "?", "!")) else f"{line}."


def _click_words(failure: click.ClickException) -> tuple[str, str]:
    """Put click's own refusals into the same shape."""
    context = getattr(failure, "ctx", None)
    path = context.command_path if context is not None else "tuner"
    name = path.partition(" ")[2]
    hint: str = getattr(failure, "hint", "") or f"'{path} --help' shows how it is called, with an example."
    if isinstance(failure, click.NoSuchOption) and not name:
        example = f"tuner fit FILE {failure.option_name}"
        return (
            f"there is no option '{failure.option_name}' before the command",
            f"Options of a command stand behind it, as in '{example}'.",
        )
    if isinstance(failure, click.NoSuchOption):
        near = failure.possibilities
        return f"{name} has no option '{failure.option_name}'", (
            f"Did you mean '{sorted(near)[0]}'?" if near else hint
        )
    if isinstance(failure, click.MissingParameter):
        what = failure.param.get_error_hint(context) if failure.param is not None else "something"
        return f"{name} needs {what.strip(chr(39))}", hint
    if isinstance(failure, click.BadParameter) and failure.param is not None:
        what = failure.param.get_error_hint(context)
        return f"{what.strip(chr(39))}: {failure.message}", hint
    message = failure.format_message()
    return message[:1].lower() + message[1:], hint


def _no_more_output() -> None:
    """Keep Python from complaining again when a closed pipe is flushed at the end."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        try:
            os.dup2(nowhere, stream.fileno())
        except (OSError, ValueError):  # no real file behind it, as under a test runner
            continue


def status_of(failure: BaseException) -> int:
    """Say what went wrong on standard error, and give the exit status."""
    try:
        return _status_of(failure)
    except BrokenPipeError:
        _no_more_output()
        return DONE


def _status_of(failure: BaseException) -> int:
    if isinstance(failure, click.exceptions.Exit):
        return failure.exit_code
    if isinstance(failure, BrokenPipeError):  # whoever read our output has seen enough
        _no_more_output()
        return DONE
    if isinstance(failure, (KeyboardInterrupt, click.Abort)):
        complain("stopped before it was done")
        return STOPPED
    if isinstance(failure, click.ClickException):
        complain(*_click_words(failure))
        return WRONG_COMMAND
    if isinstance(failure, TunerError):
        complain(failure.message, failure.hint)
        return WRONG_COMMAND if isinstance(failure, UsageError) else REFUSED
    if isinstance(failure, MemoryError):
        complain("there is not enough memory for this input", "Cut the recording into shorter pieces.")
        return REFUSED
    if isinstance(failure, SystemExit):
        return failure.code if isinstance(failure.code, int) else DEFECT
    complain(
        f"this is a defect of tuner, not of your input: {type(failure).__name__}: {failure}",
        "Please report it with the command and, if you can, the file; "
        "TUNER_TRACEBACK=1 shows where it happened.",
    )
    if os.environ.get("TUNER_TRACEBACK"):
        import traceback

        traceback.print_exception(failure)
    return DEFECT
