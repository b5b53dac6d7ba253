"""A fit, a comparison, a match as the JSON of the outer face.

Takes judgements, comparisons and matches; gives plain values.
"""

from __future__ import annotations

from collections.abc import Sequence

from tuner.comparing import Comparison, PairMatch, SideComparison, SideMatch
from tuner.comparing.agreement import Agreement
from tuner.comparing.needed import Needed, needed_of
from tuner.estimates import Note
from tuner.exchange.measures import change_measure_values, measure_values
from tuner.exchange.values import (
    SCHEMA,
    Value,
    change_values,
    estimate_value,
    input_value,
    note_values,
    told_value,
    with_notes,
    zeta_values,
)
from tuner.fitting.results import DampingFit, measured_of_corner
from tuner.judging import Judgement
from tuner.records import SIDES, Side
from tuner.wording.doubts import note_text


def fit_side_value(judgement: Judgement, side: Side) -> Value:
    """Give one side of a fit."""
    fit = judgement.fit.side(side)
    return {
        "law": None if fit.law is None else fit.law.name,
        "parameters": {name: estimate_value(value) for name, value in fit.parameters.items()},
        "secant": [{"speed": at.speed, "c": told_value(at.c)} for at in fit.secant],
        "zeta": zeta_values(judgement.side(side)),
        "dead_stroke": estimate_value(fit.dead_stroke),
        "seen": fit.seen,
    }


def _corner_value(judgement: Judgement) -> Value | None:
    measured = measured_of_corner(judgement.fit)
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
    damping = fit if isinstance(fit, DampingFit) else None
    value: Value = {
        "schema": SCHEMA,
        "kind": fit.kind,
        "inputs": [input_value(provenance) for provenance in fit.inputs],
        "sides": {side: fit_side_value(judgement, side) for side in SIDES},
        "gas_force": estimate_value(None if damping is None else damping.gas_force),
        "friction": estimate_value(None if damping is None else damping.friction),
        "lag": estimate_value(None if damping is None else damping.lag),
        "energy_per_cycle": estimate_value(None if damping is None else damping.energy_per_cycle),
        "corner": _corner_value(judgement),
    }
    measured = measured_of_corner(fit)
    if "tyre_rate" in measured:
        value["tyre_rate"] = estimate_value(measured["tyre_rate"])
    measures = measure_values(fit)
    if measures:
        value["measures"] = measures
    return with_notes(value, notes)


def damper_value(fits: Sequence[Value], agreement: Sequence[Agreement]) -> Value:
    """Give the JSON of ``tuner fit`` for tests of unlike kinds: every fit as it is, then where they agree."""
    return {
        "schema": SCHEMA,
        "fits": list(fits),
        "agreement": {side: [_agreement(each) for each in agreement if each.side == side] for side in SIDES},
    }


def _agreement(agreement: Agreement) -> Value:
    return {
        "kinds": list(agreement.kinds),
        "speed": agreement.speed,
        "values": [estimate_value(value) for value in agreement.values],
        "ratio": estimate_value(agreement.ratio),
        "agree": agreement.agree,
    }


def _needed(needed: Needed | None) -> Value | None:
    """Give the factors on the damping to both edges of the band; null without one."""
    if needed is None:
        return None
    return {"to_low": estimate_value(needed.to_low), "to_high": estimate_value(needed.to_high)}


def _compared_side(side: SideComparison) -> Value:
    leaning = side.leaning
    return {
        "change": change_values(side.change),
        "before": zeta_values(side.before),
        "after": zeta_values(side.after),
        "verdict": side.verdict,
        "probability": side.probability,
        "leaning": None if leaning is None else {"toward": leaning[0], "probability": leaning[1]},
        **({} if side.judged_at is None else {"judged_at": side.judged_at}),
        "needed": _needed(needed_of(side.after)),
        "reasons": [note_text(reason) for reason in side.reasons],
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
        **({"measures": change_measure_values(comparison.measures)} if comparison.measures else {}),
        "confounders": note_values(comparison.confounders),
        "summary": summary,
        "inputs": {
            "before": [input_value(provenance) for provenance in before.fit.inputs],
            "after": [input_value(provenance) for provenance in after.fit.inputs],
        },
    }
    return with_notes(value, notes)


def _matched_side(side: SideMatch) -> Value:
    return {
        "ratio": change_values(side.ratio),
        "matched": side.matched,
        "probability": side.probability,
        "reasons": [note_text(reason) for reason in side.reasons],
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
    return with_notes(value, notes)
