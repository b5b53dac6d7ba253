"""Long fits in processes of their own: the same answers and refusals, and no answer is lost with a process."""

from __future__ import annotations

import os
import queue
import signal
import sys

import pytest

from dashboard import workers
from tuner.errors import FitError


def refuse(words: str) -> None:
    raise FitError(words, hint="Test again.")


def die(first: int) -> int:
    """End the process that runs this, unless it is the one that asked."""
    if os.getpid() != first:
        os.kill(os.getpid(), signal.SIGKILL)
    return 7


@pytest.fixture
def serving(monkeypatch):
    """Serve, with lines of our own that are closed at the end: the processes end with them."""
    lines: queue.Queue = queue.Queue()
    for _ in range(workers.AT_ONCE):
        lines.put(None)
    monkeypatch.setattr(workers, "_free", lines)
    workers.serve()
    yield lines
    workers._serving.clear()
    for _ in range(workers.AT_ONCE):
        line = lines.get()
        if line is not None:
            line.close()


def test_without_a_server_the_work_is_done_here():
    assert workers.run(os.getpid) == os.getpid()


def test_a_server_has_it_done_elsewhere_and_keeps_the_process(serving):
    first = workers.run(os.getpid)
    others = {workers.run(os.getpid) for _ in range(4)}

    assert os.getpid() not in {first, *others}
    assert first in others
    assert len(others) <= workers.AT_ONCE


def test_a_refusal_comes_back_whole(serving):
    with pytest.raises(FitError, match="nothing rings") as refused:
        workers.run(refuse, "nothing rings")

    assert refused.value.hint == "Test again."


@pytest.mark.skipif(sys.platform == "win32", reason="this system has no such signal")
def test_with_a_process_that_is_killed_no_answer_is_lost(serving):
    assert workers.run(die, os.getpid()) == 7
    assert workers.run(os.getpid) != os.getpid()


def test_a_process_ends_with_its_server(serving):
    number = workers.run(os.getpid)
    line = next(line for line in list(serving.queue) if line is not None)
    line.close()

    for child in workers.multiprocessing.active_children():
        if child.pid == number:
            child.join(timeout=20)
            assert child.exitcode == 0
            break
    else:
        pytest.fail("the process was not among the children")
