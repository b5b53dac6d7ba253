"""What did that change do to the damper? Damping fitted, judged, compared.

The public names are loaded when first used, so that ``import tuner`` costs nothing:

    from tuner import compare, fit, read_file, read_machine_file

    machine = read_machine_file("buggy.toml")
    corner = machine.corner("rear left")
    before, after = (fit(read_file(name).record, corner) for name in ("before.csv", "after.csv"))
    result = compare([before], [after], corner, machine.target)
    print(result.rebound.verdict, result.rebound.at_target)
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tuner.comparing import compare, match
    from tuner.errors import InputRefused, TunerError
    from tuner.estimates import Estimate, Note
    from tuner.fitting import combine, fit
    from tuner.judging import judge
    from tuner.machine import read_machine, read_machine_file
    from tuner.reading import ReadOptions, read_file, read_values

_HOME: dict[str, str] = {
    "Estimate": "tuner.estimates",
    "InputRefused": "tuner.errors",
    "Note": "tuner.estimates",
    "ReadOptions": "tuner.reading",
    "TunerError": "tuner.errors",
    "combine": "tuner.fitting",
    "compare": "tuner.comparing",
    "fit": "tuner.fitting",
    "judge": "tuner.judging",
    "match": "tuner.comparing",
    "read_file": "tuner.reading",
    "read_machine": "tuner.machine",
    "read_machine_file": "tuner.machine",
    "read_values": "tuner.reading",
}

__all__ = [
    "Estimate",
    "InputRefused",
    "Note",
    "ReadOptions",
    "TunerError",
    "combine",
    "compare",
    "fit",
    "judge",
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
