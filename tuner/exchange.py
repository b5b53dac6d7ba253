"""Results into the JSON of the outer face, and into tables for a spreadsheet (CSV).

Takes judgements, comparisons and matches; gives plain values (dict, list, str, float, None) for `to_json`,
and CSV text. Uses: estimates, records, fitting.results, judging, comparing.

SI units, angles in rad. ``"schema": 1`` stands first; a change of shape needs a new number. What could not be
estimated is null, and a note says why. Strict JSON: no NaN, no infinity.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from tuner.comparing import ChangeAt, Comparison, PairMatch, SideComparison, SideMatch
from tuner.estimates import Estimate, Note
from tuner.fitting.results import DampingFit
from tuner.judging import JudgedSide, Judgement, ZetaAt
from tuner.records import SIDES, Provenance, Side

SCHEMA = 1

Value = dict[str, Any]

OPEN = Note(
    "open-interval",
    "the record sets no limit to an interval on one end; that end is null here",
)


def estimate_value(estimate: Estimate | None) -> Value | None:
    """Give an estimate as JSON; a bound that the record does not set is null."""
    if estimate is None:
        return None
    low, high = (x if math.isfinite(x) else None for x in (estimate.low, estimate.high))
    return {"value": estimate.value, "low": low, "high": high, "unit": estimate.unit}


def note_values(notes: Iterable[Note]) -> list[Value]:
    """Give every note once."""
    return [{"code": note.code, "text": note.text} for note in dict.fromkeys(notes)]


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


def zeta_values(zetas: Sequence[ZetaAt]) -> list[Value]:
    """Give damping ratios per reference speed; the speed is null where the record has none."""
    return [{"speed": at.speed, "zeta": estimate_value(at.zeta)} for at in zetas]


def change_values(changes: Sequence[ChangeAt]) -> list[Value]:
    """Give ratios per reference speed."""
    return [{"speed": at.speed, "ratio": estimate_value(at.ratio)} for at in changes]


def fit_side_value(judgement: Judgement, side: Side) -> Value:
    """Give one side of a fit."""
    fit = judgement.fit.side(side)
    return {
        "law": None if fit.law is None else fit.law.name,
        "parameters": {name: estimate_value(value) for name, value in fit.parameters.items()},
        "secant": [{"speed": at.speed, "c": estimate_value(at.c)} for at in fit.secant],
        "zeta": zeta_values(judgement.side(side).zeta),
        "dead_stroke": estimate_value(fit.dead_stroke),
        "seen": fit.seen,
    }


def _measure(value: object) -> Any:
    if isinstance(value, Estimate):
        return estimate_value(value)
    if isinstance(value, Mapping):
        return {str(name): _measure(item) for name, item in value.items()}
    if isinstance(value, np.ndarray):
        return _measure(value.tolist())
    if isinstance(value, (list, tuple)):
        return [_measure(item) for item in value]
    if isinstance(value, np.generic):
        return _measure(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _corner_value(judgement: Judgement) -> Value | None:
    measured = judgement.fit.corner_measured
    if judgement.corner is None and not measured:
        return None
    return {
        "wheel_rate": estimate_value(judgement.wheel_rate),
        "frequency": estimate_value(measured.get("frequency", judgement.frequency)),
        "critical_damping": estimate_value(judgement.critical_damping),
        "body_mode_zeta": estimate_value(judgement.body_mode_zeta),
        "wheel_hop_zeta": estimate_value(judgement.wheel_hop_zeta),
    }


def fit_value(judgement: Judgement, notes: Sequence[Note]) -> Value:
    """Give the JSON of ``tuner fit``; `notes` are all notes of the job."""
    fit = judgement.fit
    value: Value = {
        "schema": SCHEMA,
        "kind": fit.kind,
        "inputs": [input_value(provenance) for provenance in fit.inputs],
        "sides": {side: fit_side_value(judgement, side) for side in SIDES},
        "gas_force": estimate_value(fit.gas_force),
        "friction": estimate_value(fit.friction),
        "lag": estimate_value(fit.lag),
        "energy_per_cycle": estimate_value(fit.energy_per_cycle),
        "corner": _corner_value(judgement),
    }
    if "tyre_rate" in fit.corner_measured:
        value["tyre_rate"] = estimate_value(fit.corner_measured["tyre_rate"])
    if fit.measures:
        value["measures"] = _measure(fit.measures)
    return _with_notes(value, notes)


def _with_notes(value: Value, notes: Sequence[Note]) -> Value:
    """Put the notes last, with one more when an interval is open."""
    return {**value, "notes": note_values((*notes, *((OPEN,) if _open(value) else ())))}


def _open(value: Any) -> bool:
    if isinstance(value, dict):
        if value.keys() == {"value", "low", "high", "unit"}:
            return value["low"] is None or value["high"] is None
        return any(_open(item) for item in value.values())
    return isinstance(value, list) and any(_open(item) for item in value)


def _compared_side(side: SideComparison) -> Value:
    return {
        "change": change_values(side.change),
        "before": zeta_values(side.before.zeta),
        "after": zeta_values(side.after.zeta),
        "verdict": side.verdict,
        "probability": side.probability,
        "reasons": list(side.reasons),
    }


def compare_value(comparison: Comparison, summary: str, notes: Sequence[Note]) -> Value:
    """Give the JSON of ``tuner compare``; `summary` is for a person, `notes` are all notes of the job."""
    before, after = comparison.before, comparison.after
    value: Value = {
        "schema": SCHEMA,
        "sides": {side: _compared_side(comparison.side(side)) for side in SIDES},
        "dead_stroke": {
            side: {
                "before": estimate_value(before.fit.side(side).dead_stroke),
                "after": estimate_value(after.fit.side(side).dead_stroke),
            }
            for side in SIDES
        },
        "confounders": note_values(comparison.confounders),
        "summary": summary,
        "inputs": {
            "before": [input_value(provenance) for provenance in before.fit.inputs],
            "after": [input_value(provenance) for provenance in after.fit.inputs],
        },
    }
    return _with_notes(value, notes)


def _matched_side(side: SideMatch) -> Value:
    return {
        "ratio": change_values(side.ratio),
        "matched": side.matched,
        "probability": side.probability,
        "reasons": list(side.reasons),
    }


def match_value(pair: PairMatch, summary: str, notes: Sequence[Note]) -> Value:
    """Give the JSON of ``tuner match``; `summary` is for a person, `notes` are all notes of the job."""
    value: Value = {
        "schema": SCHEMA,
        "sides": {side: _matched_side(pair.side(side)) for side in SIDES},
        "matched": pair.matched,
        "tolerance": pair.tolerance,
        "confounders": note_values(pair.confounders),
        "summary": summary,
        "inputs": {
            "one": [input_value(provenance) for provenance in pair.one.fit.inputs],
            "other": [input_value(provenance) for provenance in pair.other.fit.inputs],
        },
    }
    return _with_notes(value, notes)


def to_json(value: Value) -> str:
    """Write a value as strict JSON text, two spaces deep, with a line end."""
    return json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows(["" if cell is None else cell for cell in row] for row in rows)
    return out.getvalue()


def _three(estimate: Estimate | None) -> tuple[float | None, float | None, float | None]:
    if estimate is None:
        return None, None, None
    return estimate.value, *(x if math.isfinite(x) else None for x in (estimate.low, estimate.high))  # type: ignore[return-value]


def _zeta_at(judged: JudgedSide, speed: float | None) -> Estimate | None:
    return next((at.zeta for at in judged.zeta if at.speed == speed), None)


def _speeds(fits: Iterable[DampingFit], side: Side) -> list[float]:
    return sorted({at.speed for fit in fits for at in fit.side(side).secant})


def fit_csv(judgement: Judgement) -> str:
    """Give secants and ratios of a fit as CSV: one row per side and reference speed, SI, 95 % intervals."""
    header = ["side", "speed_m_per_s", "c_N_s_per_m", "c_low", "c_high", "zeta", "zeta_low", "zeta_high"]
    rows = [
        (
            side,
            speed,
            *_three(judgement.fit.side(side).secant_at(speed)),
            *_three(_zeta_at(judgement.side(side), speed)),
        )
        for side in SIDES
        for speed in _speeds([judgement.fit], side)
    ]
    return _csv(header, rows)


def compare_csv(comparison: Comparison) -> str:
    """Give a comparison as CSV: one row per side and reference speed, SI, 95 % intervals."""
    names = ["c_before_N_s_per_m", "c_after_N_s_per_m", "ratio", "zeta_before", "zeta_after"]
    header = ["side", "speed_m_per_s"] + [f"{name}{end}" for name in names for end in ("", "_low", "_high")]
    before, after = comparison.before, comparison.after
    rows = []
    for side in SIDES:
        ratios = {at.speed: at.ratio for at in comparison.side(side).change}
        for speed in _speeds([before.fit, after.fit], side):
            estimates = (
                before.fit.side(side).secant_at(speed),
                after.fit.side(side).secant_at(speed),
                ratios.get(speed),
                _zeta_at(before.side(side), speed),
                _zeta_at(after.side(side), speed),
            )
            rows.append((side, speed, *(cell for estimate in estimates for cell in _three(estimate))))
    return _csv(header, rows)
