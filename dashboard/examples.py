"""The built-in examples: sample files of the invented buggy, one click away from every question.

Takes the name of an example; gives the `Setup` of a page.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from dashboard import cache
from dashboard.session import Held, Question, Recording, Run, Setup

MACHINE = "dune_hopper.toml"


class Example(NamedTuple):
    """What an example shows: the question it answers, words for its link, its runs (label, files), the corner."""

    question: Question
    words: str
    runs: tuple[tuple[str, tuple[str, ...]], ...]
    corner: str | None = None


EXAMPLES: Mapping[str, Example] = {
    "drained": Example(
        "change",
        "oil let out, on a bench",
        (
            ("before", ("rear_left_before_run1.csv", "rear_left_before_run2.csv")),
            ("after", ("rear_left_after_draining_run1.csv", "rear_left_after_draining_run2.csv")),
        ),
        "rear left",
    ),
    "drained-bounce": Example(
        "change",
        "oil let out, by phone",
        (("before", ("bounce_rear_before.csv",)), ("after", ("bounce_rear_after_draining.csv",))),
        "rear left",
    ),
    "thinner": Example(
        "change",
        "thinner oil, peak forces",
        (("before", ("front_left_thick_oil.csv",)), ("after", ("front_left_thin_oil.csv",))),
        "front left",
    ),
    "drives": Example(
        "change",
        "two drives",
        (("before", ("drive_rear_before.csv",)), ("after", ("drive_rear_after.csv",))),
        "rear left",
    ),
    "jumps": Example(
        "change",
        "jumps",
        (("before", ("jump_before.csv",)), ("after", ("jump_after.csv",))),
        "rear left",
    ),
    "twins": Example(
        "pair",
        "rear left against rear right",
        (("rear left", ("pair_rear_left.csv",)), ("rear right", ("pair_rear_right.csv.gz",))),
    ),
    "cycles": Example("one", "a bench trace", (("record", ("rear_left_before_run1.csv",)),), "rear left"),
    "weights": Example("one", "hung weights", (("record", ("front_left_hung_weights.csv",)),), "front left"),
    "bounce": Example("one", "a bounce", (("record", ("bounce_rear_before.csv",)),), "rear left"),
    "drive": Example("one", "a drive", (("record", ("drive_rear_before.csv",)),), "rear left"),
    "jump": Example("one", "jumps", (("record", ("jump_before.csv",)),), "rear left"),
}


def of_question(question: Question) -> dict[str, Example]:
    """Give the examples of a question whose files came with this installation."""
    from tuner.cli.samples import sample_folder

    folder = sample_folder()
    return {
        name: example
        for name, example in EXAMPLES.items()
        if example.question == question
        and all((folder / file).is_file() for _, files in example.runs for file in files)
    }


def sample_machine() -> Held:
    """Give the machine of the examples."""
    from tuner.cli.samples import sample_folder

    return cache.hold(MACHINE, (sample_folder() / MACHINE).read_bytes())


def setup_of(name: str, corner: str | None) -> Setup:
    """Give the setup of an example, at `corner` when the visitor chose another one."""
    from tuner.cli.samples import sample_folder

    folder, example = sample_folder(), EXAMPLES[name]

    def held(file: str) -> Recording:
        return Recording(cache.hold(file, (folder / file).read_bytes()))

    return Setup(
        example.question,
        tuple(Run(label, tuple(held(file) for file in files)) for label, files in example.runs),
        sample_machine(),
        corner or example.corner,
        name,
    )
