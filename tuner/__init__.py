"""What did that change do to the damper? Damping fitted, judged, compared.

The public names are loaded when first used, so that ``import tuner`` costs nothing.
"""

from __future__ import annotations

import importlib
from typing import Any

_HOME: dict[str, str] = {
    "Estimate": "tuner.estimates",
    "Note": "tuner.estimates",
    "TunerError": "tuner.errors",
}

__all__ = sorted(_HOME)
__version__ = "0.1.0"


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'tuner' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
