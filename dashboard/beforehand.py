"""The examples measured and drawn beforehand, so that one click shows their result at once.

Takes nothing; puts readings, fits and pictures on the shelf. Uses: tuner.jobs; cache, examples, gallery, loading,
look, state, workers.

It begins when the first screen has been seen. What takes long is done in a process of its own that gives way to
everything else on the computer and ends by itself. What a visitor opens before it is ready is measured for them as
their own files are.
"""

from __future__ import annotations

import contextlib
import threading
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from dashboard import cache, examples, gallery, loading, state, workers
from dashboard.bench import QUESTIONS, Run, Setup
from dashboard.look import look
from tuner.errors import TunerError

if TYPE_CHECKING:
    from tuner.charts import Look
    from tuner.jobs import Tested
    from tuner.units import System

# what people open first goes first; the other examples are made of the same recordings
ORDER = ("drained", "twins", "weights", "drained-bounce", "thinner", "drives", "jumps")

_begun = threading.Lock()


class Task(NamedTuple):
    """The files of one run, and the machine and corner that its fit may need."""

    files: tuple[Path, ...]
    machine: Path
    corner: str | None


def begin() -> None:
    """Begin once, in a server only, for the look and the units of this visitor; gives control back at once."""
    if workers.serving() and _begun.acquire(blocking=False):
        seen = (look(), state.current().system)
        threading.Thread(target=_fetch, args=seen, daemon=True, name="examples beforehand").start()


def setups() -> list[Setup]:
    """Give every example, in the order in which they are got ready."""
    known = {name for question in QUESTIONS for name in examples.of_question(question)}
    names = [*ORDER, *sorted(known - set(ORDER))]
    return [examples.setup_of(name, None) for name in names if name in known]


def tasks(setup: Setup) -> list[tuple[Run, Task]]:
    """Give every run of an example with what is to be measured for it."""
    from tuner.cli.samples import sample_folder

    folder = sample_folder()
    return [
        (
            run,
            Task(
                tuple(folder / each.held.name for each in run.recordings),
                folder / examples.MACHINE,
                setup.corner,
            ),
        )
        for run in setup.runs
    ]


def _fetch(here: Look, system: System) -> None:
    """Let a process that gives way measure one run after the other; put what it sends, and pictures of it, there."""
    loading.load()
    machine, done = examples.sample_machine(), set[Task]()
    # where it ends early, visitors wait as for files of their own
    with contextlib.suppress(EOFError, OSError, TunerError), workers.begin(last=True) as line:
        for setup in setups():
            for run, task in tasks(setup):
                if task not in done:
                    done.add(task)
                    worked, answer = workers.ask(line, measure, task)
                    if worked and answer is not None:
                        cache.put_tested(run, answer, machine, task.corner)
            those = gallery.of_setup(setup, here)
            for group in those.groups(system):
                those.drawn(gallery.seen_first(group).name, system)


def measure(task: Task) -> Tested | None:
    """Read and fit one run; None where it is refused."""
    from tuner.jobs import Source, Tested, corner_of, fit_readings, machine_from, read_source
    from tuner.reading import ReadOptions

    try:
        machine = machine_from(Source(task.machine.name, path=task.machine)).machine
        corner = None if task.corner is None else corner_of(machine, task.corner)
        readings = tuple(read_source(Source(file.name, path=file)) for file in task.files)
        return Tested(readings, fit_readings(readings, corner), tuple(ReadOptions() for _ in readings))
    except TunerError:
        return None
