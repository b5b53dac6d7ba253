"""Single values as JSON: estimates, notes, inputs, ratios; and the strict text.

Takes results' parts; gives plain values.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from typing import Any

from tuner.comparing import ChangeAt
from tuner.comparing.verdict import excludes_one
from tuner.estimates import Estimate, Note
from tuner.judging import JudgedSide
from tuner.records import Provenance
from tuner.wording.doubts import told

SCHEMA = 1

Value = dict[str, Any]

OPEN = Note("open-interval")


def estimate_value(estimate: Estimate | None) -> Value | None:
    """Give an estimate as JSON; a bound that the record does not set is null."""
    if estimate is None:
        return None
    low, high = (x if math.isfinite(x) else None for x in (estimate.low, estimate.high))
    return {"value": estimate.value, "low": low, "high": high, "unit": estimate.unit}


def told_value(estimate: Estimate | None) -> Value | None:
    """Give the estimate of a positive quantity, null where nothing is known of it."""
    return estimate_value(estimate) if estimate is not None and estimate.tells else None


def note_values(notes: Iterable[Note]) -> list[Value]:
    """Give every note once."""
    return [{"code": note.code, "text": text} for note, text in told(notes, sides=False)]


def input_value(provenance: Provenance) -> Value:
    """Say which input that was, and what was done to it."""
    return {
        "file": provenance.file,
        "sha256": provenance.sha256,
        "rows": provenance.rows,
        "columns": {use.role: {"name": use.name, "unit": use.unit} for use in provenance.columns},
        "rate_hz": provenance.rate_hz,
        "history": list(provenance.history),
    }


def zeta_values(judged: JudgedSide) -> list[Value]:
    """Give damping ratios per reference speed; null of a bounce, with the speed it shows where its band has another.

    A ratio that nothing is known of is null; a note says what is missing.
    """
    shown = {} if judged.judged_at is None else {"judged_at": judged.judged_at}
    return [
        {"speed": at.speed, "zeta": told_value(at.zeta), **(shown if at.speed is None else {})}
        for at in judged.zeta
    ]


def change_values(changes: Sequence[ChangeAt]) -> list[Value]:
    """Give ratios per reference speed; null where nothing is known of a change."""
    return [
        {
            "speed": at.speed,
            "ratio": estimate_value(at.ratio) if excludes_one(at.ratio) else told_value(at.ratio),
        }
        for at in changes
    ]


def with_notes(value: Value, notes: Sequence[Note]) -> Value:
    """Put the notes last, with one more when an interval is open."""
    return {**value, "notes": note_values((*notes, *((OPEN,) if is_open(value) else ())))}


def is_open(value: Any) -> bool:
    """Say whether an interval in there lacks a bound."""
    if isinstance(value, dict):
        if value.keys() == {"value", "low", "high", "unit"}:
            return value["low"] is None or value["high"] is None
        return any(is_open(item) for item in value.values())
    return isinstance(value, list) and any(is_open(item) for item in value)


def to_json(value: Value) -> str:
    """Write a value as strict JSON text, two spaces deep, with a line end."""
    return json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
