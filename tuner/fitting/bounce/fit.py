"""From bounce records to the fit: find the ring-downs, search, weigh, put intervals on, say what was not seen.

Takes records and a corner or None; gives `DampingFit`. Uses: the other rooms of this package, signals.bounces.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from tuner.errors import FitError
from tuner.estimates import Array, Estimate, Note
from tuner.fitting.bounce.descent import Bottom, descend
from tuner.fitting.bounce.known import knowledge_of
from tuner.fitting.bounce.problem import (
    FRICTION,
    OMEGA,
    SHARED,
    TYRE,
    ZETA_C,
    ZETA_R,
    Problem,
    residuals,
)
from tuner.fitting.bounce.search import LAST_STEPS, lowest
from tuner.fitting.results import DampingFit, SideFit
from tuner.records import BounceRecord, Side
from tuner.signals.bounces import Bounce, find_bounces

if TYPE_CHECKING:
    from tuner.machine import Corner


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """The ring-downs of all files."""

    bounces: tuple[Bounce, ...]
    file: tuple[int, ...]
    notes: tuple[Note, ...]


def fit_bounce(records: Sequence[BounceRecord] | BounceRecord, corner: Corner | None = None) -> DampingFit:
    """Fit compression and rebound damping from every bounce of one setting.

    Raises
    ------
    FitError
        When no usable bounce is found, the recording is a fall, or its rate is too low.
    """
    several = (records,) if isinstance(records, BounceRecord) else tuple(records)
    if not several:
        raise FitError("at least one bounce record is needed; got none")
    if len({record.quantity for record in several}) > 1:
        raise FitError(
            "all records of one setting must measure the same; got acceleration and travel",
            hint="Fit the phone's files and the travel sensor's files apart.",
        )
    ratio = 1.0
    if corner is not None and several[0].quantity == "travel":
        from tuner.machine import motion_ratio_at

        ratio = motion_ratio_at(corner).value
    found = _find(several)
    known, notes = knowledge_of(corner)
    problem = _problem(several, found, ratio, known)
    problem, bottom = lowest(problem, found.bounces)
    for _ in range(2):
        problem = _reweighted(problem, bottom.x[0])
        bottom = descend(problem, bottom.x[:1], LAST_STEPS)
    return _result(several, found, problem, bottom, corner, notes)


def _find(records: Sequence[BounceRecord]) -> Found:
    bounces: list[Bounce] = []
    files: list[int] = []
    notes: list[Note] = []
    for k, record in enumerate(records):
        seen = find_bounces(record.time, record.signal, record.quantity)
        bounces += seen.used
        files += [k] * len(seen.used)
        notes += [
            Note("bounce-left-out", f"bounce at {gone.time:.1f} s: {gone.reason}") for gone in seen.left_out
        ]
    if not bounces:
        raise FitError(
            "the recording must hold at least one bounce that rings down freely; none was found",
            hint="Quiet, push the end down, let go, keep hands off until it is still; three to six times.",
        )
    return Found(tuple(bounces), tuple(files), tuple(notes))


def _problem(records: Sequence[BounceRecord], found: Found, ratio: float, known: object) -> Problem:
    longest = max(b.last - b.first for b in found.bounces)
    shape = (len(found.bounces), longest)
    time, value, weight = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    for k, (bounce, file) in enumerate(zip(found.bounces, found.file, strict=True)):
        record, n = records[file], bounce.last - bounce.first
        part = slice(bounce.first, bounce.last)
        time[k, :n] = record.time[part] - record.time[bounce.first]
        time[k, n:] = time[k, n - 1]
        value[k, :n] = record.signal[part] / (ratio if record.quantity == "travel" else 1.0)
        bends = np.diff(value[k, :n], 2)
        rough = 1.4826 * float(np.median(np.abs(bends - np.median(bends)))) / math.sqrt(6.0)
        weight[k, :n] = 1.0 / max(rough, 0.01 * float(np.ptp(value[k, :n]))) ** 2
    return Problem(time, value, weight, np.array(found.file), records[0].quantity, known)  # type: ignore[arg-type]


def _reweighted(problem: Problem, x: Array) -> Problem:
    """The same problem with each file's variance taken from its residuals."""
    rest = residuals(problem, x[None])[0]
    weight = problem.weight.copy()
    for f in range(problem.files):
        mine = (problem.file == f)[:, None] & (problem.weight > 0)
        free = len(SHARED) + 4 * int((problem.file == f).sum())
        variance = float((rest[mine] ** 2).sum()) / max(int(mine.sum()) - free, 1)
        weight[mine] = 1.0 / variance
    return replace(problem, weight=weight)


def _log_estimate(x: Array, covariance: Array, place: int, unit: str, *, scale: float = 1.0) -> Estimate:
    sd = min(math.sqrt(max(float(covariance[place, place]), 0.0)), 5.0)
    return Estimate.from_log_sd(math.exp(float(x[place])) * scale, sd, unit)


def _result(
    records: Sequence[BounceRecord],
    found: Found,
    problem: Problem,
    bottom: Bottom,
    corner: Corner | None,
    notes: tuple[Note, ...],
) -> DampingFit:
    x, covariance = bottom.x[0], np.linalg.inv(bottom.curvature[0])
    sides: dict[Side, SideFit] = {}
    for side, place in (("compression", ZETA_C), ("rebound", ZETA_R)):
        zeta = _log_estimate(x, covariance, place, "1")
        seen = zeta.log_sd < 0.5
        sides[side] = SideFit(side, seen, zeta=zeta if seen else None)  # type: ignore[index,arg-type]
    measured = {
        "frequency": _log_estimate(x, covariance, OMEGA, "Hz", scale=1.0 / (2.0 * math.pi)),
    }
    friction = None
    if corner is not None:
        mass = corner.sprung_mass.value
        measured["tyre_rate"] = _log_estimate(x, covariance, TYRE, "N/m", scale=mass)
        friction = _log_estimate(x, covariance, FRICTION, "N", scale=mass)
        measured["friction"] = friction
    return DampingFit(
        kind="bounce",
        compression=sides["compression"],
        rebound=sides["rebound"],
        friction=friction,
        corner_measured=measured,
        runs=len(records),
        inputs=tuple(r.provenance for r in records),
        conditions=tuple(r.conditions for r in records),
        quality=tuple(r.quality for r in records),
        notes=(*found.notes, *notes),
    )
