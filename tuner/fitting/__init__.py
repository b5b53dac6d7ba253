"""Records into fits: one module per record kind, one choice of law, intervals of 95 %.

Takes records; gives `results` values.
"""

from __future__ import annotations

import importlib
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from tuner.errors import FitError, require
from tuner.kinds import TOGETHER, WITH_CORNER, kind_of
from tuner.records import Kind, Record

if TYPE_CHECKING:
    from tuner.fitting.results import Fit
    from tuner.machine import Corner

__all__ = ["FITTERS", "combine", "fit", "fit_setting", "fitted_together"]

# record kind -> (module, function); loaded when first needed
FITTERS: dict[Kind, tuple[str, str]] = {
    "sweep": ("tuner.fitting.sweep", "fit_sweep"),
    "cycle": ("tuner.fitting.cycle", "fit_cycle"),
    "weights": ("tuner.fitting.weights", "fit_weights"),
    "bounce": ("tuner.fitting.bounce", "fit_bounce"),
    "travel": ("tuner.fitting.travel", "fit_travel"),
    "flight": ("tuner.fitting.flight", "fit_flight"),
}


def _fitter(kind: Kind) -> Any:
    module, function = FITTERS[kind]
    return getattr(importlib.import_module(module), function)


def fit(record: Record, corner: Corner | None = None) -> Fit:
    """Fit a record of any kind.

    `corner` is used by the kinds that need it for the fit itself: a bounce (masses, tyre) and a drive (full travel).
    The fit keeps it, and such a fit is judged and compared with that corner only: give it here, as in
    ``fit(record, machine.corner("rear left"))``. Bench tests (sweep, cycle, weights) need none here, and may be judged
    with any.

    Raises
    ------
    FitError
        When the record allows no sensible fit.
    """
    kind = kind_of(record)
    result: Fit = _fitter(kind)(record, corner=corner) if kind in WITH_CORNER else _fitter(kind)(record)
    return result


def fitted_together(records: Sequence[Record]) -> bool:
    """Say whether these recordings of one setting share one fit."""
    kinds = {kind_of(record) for record in records}
    return len(kinds) == 1 and kinds <= TOGETHER


def fit_setting(records: Sequence[Record], corner: Corner | None = None) -> tuple[Fit, ...]:
    """Fit every recording of one setting: bounces into one fit of all, other kinds one fit each.

    `combine` makes one fit of what comes out. Raises FitError for no record at all, or as `fit` does.
    """
    require(len(records) > 0, "the recordings of one setting", "at least one", "none", error=FitError)
    if not fitted_together(records):
        return tuple(fit(record, corner) for record in records)
    result: Fit = _fitter(kind_of(records[0]))(tuple(records), corner=corner)
    return (result,)


def combine(fits: Sequence[Fit]) -> Fit:
    """Put repeats of one setting together; see `tuner.fitting.repeats`."""
    from tuner.fitting import repeats

    return repeats.combine(fits)
