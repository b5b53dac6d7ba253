"""What a command prints when it has succeeded, and where a report may be written.

Takes sections, JSON values and report text; prints and writes.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tuner.errors import InputRefused, UsageError

if TYPE_CHECKING:
    from tuner.jobs import CompareJob, DamperJob, FitJob, MatchJob
    from tuner.units import System
    from tuner.wording import Headline, Part, Section

# the line by which a report of ours is known; whatever lacks it is never overwritten
REPORT_MARK = '<meta name="generator" content="tuner'


def show_brief(parts: Sequence[Part], *, intro: str = "", closing: Sequence[str] = ()) -> None:
    """Print the short page, as wide as the terminal up to 100 columns, of 25 lines with `intro` and `closing`."""
    from tuner.wording import brief_page
    from tuner.wording.brief import part

    above = (part(intro), replace(parts[0], apart=True)) if intro else parts[:1]
    click.echo(brief_page((*above, *parts[1:]), _width(), closing=closing), nl=False)


def _width() -> int:
    return min(max(shutil.get_terminal_size((96, 24)).columns, 40), 100)


def show(
    sections: Sequence[Section],
    headline: Headline | None = None,
    *,
    intro: str = "",
    closing: Sequence[str] = (),
) -> None:
    """Print a page, as wide as the terminal up to 100 columns; its answer again at the end, where the eye lands."""
    from tuner.wording import page

    if intro:
        click.echo(f"{intro}\n")

    again = () if headline is None else (_in_short(sections, headline),)
    click.echo(page((*sections, *again), _width()), nl=False)
    if closing:
        click.echo("\n" + "\n".join(closing))


def _in_short(sections: Sequence[Section], headline: Headline) -> Section:
    from tuner.wording import Section, provided
    from tuner.wording.layout import FIRST, points_of

    checks = points_of(sections, FIRST)
    headline = provided(headline, checks)
    answer = f"{headline.answer}. " if headline.answer else ""
    said = (f"But check first: {text}" for text in checks)
    return Section("In short", points=(f"{answer}{headline.sentence}", *said))


def show_json(value: dict[str, Any]) -> None:
    """Print strict JSON."""
    from tuner.exchange import to_json

    click.echo(to_json(value), nl=False)


def is_ours(path: Path) -> bool:
    """Say whether that file is a report of ours, by the mark in its head."""
    with path.open("rb") as file:
        return REPORT_MARK.encode() in file.read(4096)


def check_report_place(name: str) -> Path:
    """Refuse, before any work is done, a report that could not or must not be written there."""
    try:
        return _report_place(Path(name), name)
    except (OSError, ValueError) as error:  # a name too long, a file that may not be read, a NUL in the name
        reason = (getattr(error, "strerror", None) or "not a path").lower()
        raise InputRefused(
            f"the report cannot be written to {name!r}: {reason}", hint="Choose another place."
        ) from None


def _report_place(path: Path, name: str) -> Path:
    if path.suffix.lower() not in {".html", ".htm"}:
        raise UsageError(f"the report must be a .html file; got {name!r}", hint="For example report.html.")
    if path.is_dir() or not path.parent.is_dir():
        raise UsageError(
            f"the report cannot be written to {name!r}: there is no folder {str(path.parent)!r}"
            if not path.is_dir()
            else f"the report cannot be written to {name!r}: that is a folder",
            hint="Name a file in a folder that exists.",
        )
    if path.exists() and not is_ours(path):
        raise UsageError(
            f"{name!r} exists and is no report of tuner, so it was left alone",
            hint="Choose another name, or move that file away.",
        )
    if not os.access(path if path.exists() else path.parent, os.W_OK):
        raise InputRefused(
            f"the report cannot be written to {name!r}: no permission",
            hint="Choose a folder in which you may write.",
        )
    return path


def write_drawing(name: str, text: str) -> Path:
    """Write a line drawing; whatever else stands there already is left alone."""
    path = Path(name)
    if path.suffix.lower() != ".svg":
        raise UsageError(f"the drawing must be a .svg file; got {name!r}", hint="For example bounce.svg.")
    if path.is_dir() or not path.parent.is_dir():
        raise UsageError(
            f"the drawing cannot be written to {name!r}: there is no such folder",
            hint="Name a folder that exists.",
        )
    if path.exists() and path.read_bytes() != text.encode():
        raise UsageError(
            f"{name!r} exists and is another drawing, so it was left alone", hint="Choose another name."
        )
    write_whole(path, text, "drawing")
    return path


def free_report_place(folder: Path, stem: str) -> Path:
    """Find a name for a report in that folder that overwrites nothing but a report of ours."""
    for number in range(1, 1000):
        path = folder / (f"{stem}.html" if number == 1 else f"{stem}-{number}.html")
        if not path.exists() or (path.is_file() and is_ours(path)):
            return check_report_place(str(path))
    raise UsageError(
        f"there is no free name for {stem}.html in {str(folder)!r}", hint="Name one with --report."
    )


def write_report(path: Path, text: str) -> None:
    """Write the report whole or not at all."""
    write_whole(path, text, "report")


def write_job_report(job: CompareJob | MatchJob | FitJob | DamperJob, system: System, path: Path) -> None:
    """Render the report of a job and write it."""
    from tuner.report import render_report

    write_report(path, render_report(job, system))


def write_whole(path: Path, text: str, what: str) -> None:
    """Write a file whole or not at all."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise InputRefused(
            f"the {what} cannot be written to {str(path)!r}: {reason}", hint="Choose another place."
        ) from None
    finally:
        with contextlib.suppress(OSError):  # a place that cannot be written has nothing to take away
            part.unlink(missing_ok=True)
