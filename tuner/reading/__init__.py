"""Files into records: dialect, columns, units, signs, and a report of what the recording is worth.

Takes bytes, files, arrays or a DataFrame; gives a `Reading` with a frozen record and what was decided.
Uses: errors, units, estimates, records, numpy, pyarrow. The names below are loaded when first used.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tuner.reading.door import Reading, read_bytes, read_file, read_values
    from tuner.reading.look import Preview, PreviewColumn, preview
    from tuner.reading.options import SETTINGS, ReadOptions, Setting
    from tuner.reading.registry import REGISTRY
    from tuner.reading.words import ROLES

_HOME = {
    "Reading": "door",
    "read_bytes": "door",
    "read_file": "door",
    "read_values": "door",
    "ReadOptions": "options",
    "SETTINGS": "options",
    "Setting": "options",
    "Preview": "look",
    "PreviewColumn": "look",
    "preview": "look",
    "REGISTRY": "registry",
    "ROLES": "words",
}

__all__ = [
    "REGISTRY",
    "ROLES",
    "SETTINGS",
    "Preview",
    "PreviewColumn",
    "ReadOptions",
    "Reading",
    "Setting",
    "preview",
    "read_bytes",
    "read_file",
    "read_values",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'tuner.reading' has no attribute {name!r}")
    value = getattr(importlib.import_module(f"tuner.reading.{_HOME[name]}"), name)
    globals()[name] = value
    return value
