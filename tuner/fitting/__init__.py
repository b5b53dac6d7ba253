"""Records into fits: one module per record kind, one choice of law, honest intervals.

Takes records; gives `results` values. Uses: errors, estimates, records, laws, signals, scipy.optimize.
"""

from __future__ import annotations

import importlib
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tuner.errors import FitError
from tuner.records import Record, kind_of

if TYPE_CHECKING:
    from tuner.fitting.results import DampingFit

__all__ = ["FITTERS", "combine", "fit"]

# record kind -> (module, function); loaded when first needed
FITTERS: dict[str, tuple[str, str]] = {
    "sweep": ("tuner.fitting.sweep", "fit_sweep"),
    "cycle": ("tuner.fitting.cycle", "fit_cycle"),
    "weights": ("tuner.fitting.weights", "fit_weights"),
}


def fit(record: Record) -> DampingFit:
    """Fit a record of any kind.

    Raises
    ------
    FitError
        When the record allows no sensible fit, or its kind has no fit.
    """
    kind = kind_of(record)
    if kind not in FITTERS:
        raise FitError(
            f"a {kind} record cannot be fitted; kinds that can: {', '.join(FITTERS)}",
            hint="Use a record of the damper on a bench or of the hung-weight test.",
        )
    module, function = FITTERS[kind]
    result: DampingFit = getattr(importlib.import_module(module), function)(record)
    return result


def combine(fits: Sequence[DampingFit]) -> DampingFit:
    """Put repeats of one setting together; see `tuner.fitting.repeats`."""
    from tuner.fitting import repeats

    return repeats.combine(fits)
