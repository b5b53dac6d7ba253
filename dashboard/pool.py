"""The one process pool: reading and fitting, which can take seconds, beside the pages.

As threads of the server two fits of bounces took 24 s that take 7 s each alone. Only a server has the pool; without
one, as in the tests of single pages, the work is done on the spot.
"""

from __future__ import annotations

import importlib
import multiprocessing
import os
import pkgutil
import signal
import threading
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any, TypeVar

PROCESSES = 2
# what functions of `tuner` import when they are called
IMPORTED_LATE = (
    "pandas",
    "plotly.graph_objects",
    "plotly.io._json",
    "plotly.offline",
    "plotly.tools",
    "pyarrow.csv",
    "pyarrow.pandas_compat",
    "scipy.ndimage",
    "scipy.special",
)

Answer = TypeVar("Answer")

_lock = threading.Lock()
_pool: ProcessPoolExecutor | None = None


def start() -> None:
    """Start the pool; its processes start with the first work for them."""
    global _pool
    _pool = ProcessPoolExecutor(PROCESSES, multiprocessing.get_context("spawn"), initializer=_prepare)


def stop() -> None:
    """End the pool and what it is working on."""
    global _pool
    if _pool is not None:
        _pool.shutdown(wait=False, cancel_futures=True)
        for process in multiprocessing.active_children():
            process.terminate()
    _pool = None


def running() -> bool:
    """Whether there is a pool."""
    return _pool is not None


def submit(function: Callable[..., Answer], *given: Any) -> Future[Answer]:
    """Have `function(*given)` worked out; all of it must pickle. A pool that lost a process is started anew."""
    if _pool is None:
        return _done_here(function, *given)
    with _lock:
        try:
            return _pool.submit(function, *given)
        except BrokenProcessPool:
            start()
            return _pool.submit(function, *given)


def failed(reason: Exception) -> Future[Any]:
    """Give work that failed before it began."""
    done: Future[Any] = Future()
    done.set_exception(reason)
    return done


def import_all() -> None:
    """Import all of the library and what it imports late, into the server.

    Threads that enter a package from different ends at once can meet a half-made module; so nothing is left to them.
    """
    library = importlib.import_module("tuner")
    modules = [module.name for module in pkgutil.walk_packages(library.__path__, "tuner.")]
    for name in (*modules, *IMPORTED_LATE):
        if not name.endswith("__main__"):
            importlib.import_module(name)


def _prepare() -> None:
    """Make a process leave Ctrl-C to the server and end with it; what it works out imports what it needs."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "nice"):
        os.nice(
            10
        )  # pages go first: 0.6 s less to the first example, opened 3 s after the start, on two busy cores
    threading.Thread(target=_end_with_server, daemon=True).start()


def _end_with_server() -> None:
    server = multiprocessing.parent_process()
    if server is not None:
        server.join()
        os._exit(0)


def _done_here(function: Callable[..., Answer], *given: Any) -> Future[Answer]:
    done: Future[Answer] = Future()
    try:
        done.set_result(function(*given))
    except Exception as failure:  # it goes to who asked, whatever it is
        return failed(failure)
    return done
