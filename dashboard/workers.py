"""Long fits in processes of their own, so that two at once, or two visitors, do not slow each other and the pages down.

Takes a function and what it needs; gives its answer. Uses: multiprocessing.

Threads share one interpreter: two fits of bounces beside each other took 24 s that take 7 s each alone. Only a server
has such processes, begun when they are needed; elsewhere, and where one is lost, the work is done on the spot. A
process ends as soon as its server is gone.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import queue
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

AT_ONCE = 2

Answer = TypeVar("Answer")

_serving = threading.Event()
# lines to processes, None for one that is yet to be begun
_free: queue.Queue[Connection | None] = queue.Queue()
for _ in range(AT_ONCE):
    _free.put(None)


def serve() -> None:
    """Say that this process serves visitors."""
    _serving.set()


def serving() -> bool:
    """Whether this process serves visitors; the tests of single pages do not."""
    return _serving.is_set()


def run(function: Callable[..., Answer], *given: Any) -> Answer:
    """Work out `function(*given)`, all of which must pickle; raises what it raises."""
    if not serving():
        return function(*given)
    line = _free.get()
    try:
        line = begin() if line is None else line
        done, answer = ask(line, function, *given)
    except (EOFError, OSError):  # the process was killed, or there is no room for one
        line = None
        return function(*given)
    finally:
        _free.put(line)
    if not done:
        raise answer
    return answer  # type: ignore[no-any-return]


def begin(*, last: bool = False) -> Connection:
    """Begin a process and give the line to it; the `last` gives way to all others. It ends when that is closed."""
    context = multiprocessing.get_context("spawn")
    mine, theirs = context.Pipe()
    context.Process(target=work, args=(theirs, last), daemon=True).start()
    theirs.close()
    return mine


def ask(line: Connection, function: Callable[..., Any], *given: Any) -> tuple[bool, Any]:
    """Have a process work something out: (True, answer) or (False, what was raised). EOFError, OSError: it is gone."""
    line.send((function, given))
    done, answer = line.recv()
    return bool(done), answer


def work(line: Connection, last: bool = False) -> None:
    """Work out what comes along the line, one after the other, until nobody is at its other end."""
    if last:
        _give_way()
    with line, contextlib.suppress(EOFError, OSError, KeyboardInterrupt):
        while True:
            function, given = line.recv()
            line.send(_outcome(function, given))


def _give_way() -> None:
    """Run only when nobody else wants to, as far as this system knows of that."""
    if hasattr(os, "nice"):
        os.nice(19)
    if hasattr(os, "sched_setscheduler"):
        with contextlib.suppress(OSError):
            os.sched_setscheduler(0, os.SCHED_IDLE, os.sched_param(0))


def _outcome(function: Callable[..., Any], given: tuple[Any, ...]) -> tuple[bool, Any]:
    try:
        return True, function(*given)
    except Exception as failure:  # it goes back to who asked, whatever it is
        return False, failure
