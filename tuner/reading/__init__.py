"""Files into records: dialect, columns, units, signs, and a report of what the recording is worth.

Takes bytes, files, arrays or a DataFrame; gives a `Reading` with a frozen record and what was decided.
One way through: door -> text -> table -> the kind's reader (bench, phone, sensor) -> record.
The names below are loaded when first used.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tuner.reading.door import Reading, read_bytes, read_file, read_values
    from tuner.reading.look import Preview, PreviewColumn, preview
    from tuner.reading.registry import REGISTRY
    from tuner.reading.table.options import SETTINGS, ReadOptions, Setting
    from tuner.reading.table.words import ROLES

_HOME = {
    "Reading": "tuner.reading.door",
    "read_bytes": "tuner.reading.door",
    "read_file": "tuner.reading.door",
    "read_values": "tuner.reading.door",
    "ReadOptions": "tuner.reading.table.options",
    "SETTINGS": "tuner.reading.table.options",
    "Setting": "tuner.reading.table.options",
    "Preview": "tuner.reading.look",
    "PreviewColumn": "tuner.reading.look",
    "preview": "tuner.reading.look",
    "REGISTRY": "tuner.reading.registry",
    "ROLES": "tuner.reading.table.words",
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
    value = getattr(importlib.import_module(_HOME[name]), name)
    globals()[name] = value
    return value
