"""The measures of drives and jumps as JSON, and their changes.

Takes fits and `MeasureChange`s; gives plain values.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from tuner.comparing import MeasureChange
from tuner.estimates import Estimate
from tuner.exchange.values import Value, estimate_value
from tuner.fitting.counts import rate_per_minute
from tuner.fitting.results import DampingFit, DriveFit, Fit, JumpFit, SpeedShare, StopContact
from tuner.records import SIDES
from tuner.wording.doubts import note_text

STOPS = ("bottomed", "topped_out")

# what each type gives instead of damping, or beside it, in the order in which it is written
MEASURES: Mapping[type[Fit], tuple[str, ...]] = {
    DampingFit: ("bounces", "decrement_zeta"),
    DriveFit: (
        "time_share",
        "peak_speed",
        "highest_speed",
        "mean_position",
        "mean_below_static",
        *STOPS,
        "packing",
        "bump_rows",
        "main_frequencies",
        "duration",
    ),
    JumpFit: ("airtime", "pitch_rate", "rotation", "landing_peak", "jumps"),
}


def measures_of(fit: Fit) -> dict[str, object]:
    """Give the measures of a fit by name; of a bounce only those that it has, of a bench test none."""
    found = {name: getattr(fit, name) for name in MEASURES[type(fit)]}
    if isinstance(fit, DampingFit):
        return {name: item for name, item in found.items() if item is not None}
    return found


def measure_values(fit: Fit) -> Value:
    """Give every measure of a fit; nested per side, and per speed, where it has several parts."""
    value: Value = {name: plain_value(item) for name, item in measures_of(fit).items()}
    if isinstance(fit, DriveFit):
        value["time_share"] = _time_share(fit.time_share)
        value |= _stop_values("bottomed", fit.bottomed, fit.duration)
        value |= _stop_values("topped_out", fit.topped_out, fit.duration)
    return value


def plain_value(item: object) -> Any:
    """Give anything a fit holds as a plain value: estimates as such, frozen values by their fields."""
    if isinstance(item, Estimate):
        return estimate_value(item)
    if isinstance(item, Mapping):
        return {str(name): plain_value(part) for name, part in item.items()}
    if isinstance(item, np.ndarray):
        return plain_value(item.tolist())
    if isinstance(item, (list, tuple)):
        return [plain_value(part) for part in item]
    if isinstance(item, np.generic):
        return plain_value(item.item())
    if isinstance(item, float) and not math.isfinite(item):
        return None
    if is_dataclass(item) and not isinstance(item, type):
        return {field.name: plain_value(getattr(item, field.name)) for field in fields(item)}
    return item


def _time_share(shares: Sequence[SpeedShare]) -> Value:
    """Share of time per side, rising speed; the fastest class has no upper end (null)."""
    return {
        side: [
            {"low": one.low, "high": plain_value(one.high), "share": estimate_value(one.share)}
            for one in shares
            if one.side == side
        ]
        for side in SIDES
    }


def _stop_values(name: str, contacts: tuple[StopContact, ...] | None, duration: float) -> Value:
    """Count, rate per minute and the single contacts; null where stops could not be counted."""
    if contacts is None:
        return {name: None, f"{name}_per_minute": None, f"{name}_contacts": None}
    return {
        name: len(contacts),
        f"{name}_per_minute": estimate_value(rate_per_minute(len(contacts), duration)),
        f"{name}_contacts": plain_value(contacts),
    }


def change_measure_values(changes: Sequence[MeasureChange]) -> Value:
    """Give before, after and the difference of every measure, nested as in a fit; stops per minute."""
    value: Value = {}
    for change in changes:
        item = {
            "before": estimate_value(change.before),
            "after": estimate_value(change.after),
            "difference": estimate_value(change.difference),
            "changed": change.changed,
            "reasons": [note_text(reason) for reason in change.reasons],
        }
        if change.side is None:
            value[change.name] = item
        elif change.speeds is None:
            value.setdefault(change.name, {})[change.side] = item
        else:
            low, high = change.speeds
            at = {"low": low, "high": plain_value(high)}
            value.setdefault(change.name, {}).setdefault(change.side, []).append({**at, **item})
    return value
