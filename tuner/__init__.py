"""What did that change do to the damper? Damping fitted, judged, compared.

The public names are loaded when first used, so that ``import tuner`` costs nothing:

    import tuner

    machine = tuner.read_machine_file("buggy.toml")
    before, after = (tuner.fit(name, machine=machine, corner="rear left") for name in ("before.csv", "after.csv"))
    result = tuner.compare(before, after)
    print(result.rebound.verdict, result.rebound.at_target.ratio)
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tuner.api import CompareResult, FitResult, MatchResult, compare, fit, match
    from tuner.errors import InputRefused, TunerError
    from tuner.estimates import Estimate, Note
    from tuner.machine import read_machine, read_machine_file
    from tuner.reading import ReadOptions, read_file, read_values

_HOME: dict[str, str] = {
    "CompareResult": "tuner.api",
    "Estimate": "tuner.estimates",
    "FitResult": "tuner.api",
    "InputRefused": "tuner.errors",
    "MatchResult": "tuner.api",
    "Note": "tuner.estimates",
    "ReadOptions": "tuner.reading",
    "TunerError": "tuner.errors",
    "compare": "tuner.api",
    "fit": "tuner.api",
    "match": "tuner.api",
    "read_file": "tuner.reading",
    "read_machine": "tuner.machine",
    "read_machine_file": "tuner.machine",
    "read_values": "tuner.reading",
}

__all__ = [
    "CompareResult",
    "Estimate",
    "FitResult",
    "InputRefused",
    "MatchResult",
    "Note",
    "ReadOptions",
    "TunerError",
    "compare",
    "fit",
    "match",
    "read_file",
    "read_machine",
    "read_machine_file",
    "read_values",
]
__version__ = "0.1.0"


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'tuner' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
