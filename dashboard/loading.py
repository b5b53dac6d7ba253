"""Modules loaded one after the other, whoever asks for them.

Takes names; loads them. Uses: gc, importlib.

Two threads that enter a package from different ends at once get it half made: a page then met an ImportError. So a
page loads what it needs here before it runs, and so does whatever works in the background.
"""

from __future__ import annotations

import gc
import importlib
import threading
from collections.abc import Sequence

# all that reading, fitting, comparing, drawing and wording load on the way, the quick way to a first result first
FOR_A_RESULT = (
    "tuner.reading.door",
    "tuner.fitting.cycle",
    "tuner.fitting.sweep",
    "tuner.comparing",
    "tuner.jobs",
    "plotly.io",
    "plotly.graph_objects",
    "plotly.tools",
    "scipy.special",
    "tuner.charts",
    "tuner.charts.moving",
    "tuner.exchange",
    "tuner.wording",
    "tuner.wording.corners",
    "tuner.report",
    "tuner.cli.samples",
    "tuner.reading.table.typed",
    "tuner.fitting.weights",
    "tuner.fitting.travel",
    "tuner.fitting.flight",
    "tuner.fitting.bounce",
    "tuner.signals.bounces",
    "pyarrow.csv",
    "pandas",
    "tuner.reading.text.bulk",
)

FIRST_SCREEN = ("dashboard.app", "dashboard.beforehand", "dashboard.widgets.pictures", "tuner.cli.samples")

_ONE_AT_A_TIME = threading.RLock()
_settled = threading.Lock()


def load(names: Sequence[str] = FOR_A_RESULT) -> None:
    """Load modules that are not loaded yet; gives control back when all are."""
    for name in names:
        with _ONE_AT_A_TIME:
            importlib.import_module(name)
    if names is FOR_A_RESULT and _settled.acquire(blocking=False):
        _settle()


def _settle() -> None:
    """Take what is loaded, which stays for good, out of every later search for garbage.

    Such a search follows every run of a page and stops all threads: 70 to 140 ms in which the last of the page
    did not leave for the browser.
    """
    gc.collect()
    gc.freeze()
