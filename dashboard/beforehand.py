"""The examples measured beforehand, in a process of its own, so that one click shows their result at once.

Takes nothing; puts readings and fits on the shelf. Uses: tuner.jobs; cache, examples, workers.

It begins when the first screen has been seen, gives way to everything else on the computer, and ends by itself. What
a visitor opens before it is ready is measured for them as their own files are.
"""

from __future__ import annotations

import contextlib
import threading
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from dashboard import cache, examples, workers
from dashboard.bench import QUESTIONS, Run

if TYPE_CHECKING:
    from tuner.jobs import Tested

# what people open first goes first; the other examples are made of the same recordings
ORDER = ("drained", "twins", "weights", "drained-bounce", "thinner", "drives", "jumps")

_begun = threading.Lock()


class Task(NamedTuple):
    """The files of one run, and the machine and corner that its fit may need."""

    files: tuple[Path, ...]
    machine: Path
    corner: str | None


def begin() -> None:
    """Begin once, in a server only; gives control back at once."""
    if workers.serving() and _begun.acquire(blocking=False):
        threading.Thread(target=_fetch, daemon=True, name="examples beforehand").start()


def runs() -> list[tuple[Run, str | None, Task]]:
    """Give every run of the examples once, with its corner and its files."""
    from tuner.cli.samples import sample_folder

    folder = sample_folder()
    found: dict[Task, tuple[Run, str | None, Task]] = {}
    known = {name for question in QUESTIONS for name in examples.of_question(question)}
    for name in (name for name in ORDER if name in known):
        setup = examples.setup_of(name, None)
        for run in setup.runs:
            files = tuple(folder / recording.held.name for recording in run.recordings)
            task = Task(files, folder / examples.MACHINE, setup.corner)
            found.setdefault(task, (run, setup.corner, task))
    return list(found.values())


def _fetch() -> None:
    """Let a process that gives way measure one run after the other, and put on the shelf what it sends."""
    machine = examples.sample_machine()
    # where it ends early, visitors wait as for files of their own
    with contextlib.suppress(EOFError, OSError), workers.begin(niceness=15) as line:
        for run, corner, task in runs():
            done, answer = workers.ask(line, measure, task)
            if done and answer is not None:
                cache.put_tested(run, answer, machine, corner)


def measure(task: Task) -> Tested | None:
    """Read and fit one run; None where it is refused."""
    from tuner.errors import TunerError
    from tuner.jobs import Source, Tested, corner_of, fit_readings, machine_from, read_source
    from tuner.reading import ReadOptions

    try:
        machine = machine_from(Source(task.machine.name, path=task.machine)).machine
        corner = None if task.corner is None else corner_of(machine, task.corner)
        readings = tuple(read_source(Source(file.name, path=file)) for file in task.files)
        return Tested(readings, fit_readings(readings, corner), tuple(ReadOptions() for _ in readings))
    except TunerError:
        return None
