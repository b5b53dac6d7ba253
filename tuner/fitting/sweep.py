"""Bench sweep: one peak force per test speed and side into a fit.

Takes `SweepRecord`; gives `DampingFit`.

A peak force holds damping, friction and gas force together. Where both sides have enough different speeds, what is
left at speed zero tells them: compression keeps friction + gas there, rebound friction - gas. Else they stay inside
the damping, and a note says so.
"""

from __future__ import annotations

from functools import partial

import numpy as np

from tuner.errors import FitError, require
from tuner.estimates import Array, Estimate, Note
from tuner.fitting.missing import FEW, SCALE_SD, Remedy, different_speeds, scale_readings
from tuner.fitting.point_side import point_side
from tuner.fitting.points import PointBalance, ScaleReading, balance_points
from tuner.fitting.results import REFERENCE_SPEEDS, DampingFit, SideFit
from tuner.fitting.side import gas_notes, unseen
from tuner.records import SIDES, Side, SweepRecord

FALLEN = 0.8  # share of the slowest force that the fastest holds at least; common practice, no source


def fit_sweep(record: SweepRecord) -> DampingFit:
    """Fit a bench sweep.

    Raises
    ------
    FitError
        When a side pushes along instead of braking, or its force falls as speed grows.
    """
    direction = np.sign(record.velocity)
    speed, force = np.abs(record.velocity), direction * record.force
    for side, d in (("compression", 1.0), ("rebound", -1.0)):
        mine = direction == d
        if not mine.any():
            continue
        fastest = int(np.flatnonzero(mine)[np.argmax(speed[mine])])
        # gas force may push the slow points of the return over zero, but not the fastest
        require(
            bool(force[fastest] > 0),
            f"the {side} force",
            "against the motion, since a damper takes energy out",
            f"{d * force[fastest]:.3g} N at {d * speed[fastest]:.3g} m/s",
            error=FitError,
            hint="Check which direction the file counts positive (positive_force, positive_travel).",
        )
        slowest = int(np.flatnonzero(mine)[np.argmin(speed[mine])])
        require(
            bool(force[fastest] >= FALLEN * force[slowest]),
            f"the {side} force",
            "no smaller at high speed than at low",
            f"{force[slowest]:.3g} N at {speed[slowest]:.3g} m/s and {force[fastest]:.3g} N at "
            f"{speed[fastest]:.3g} m/s",
            error=FitError,
            hint="Check that each force stands beside its speed, and which columns were read as speed and force.",
        )
    readings = _readings(record)

    def solved(remedy: Remedy, towards: float) -> PointBalance:
        """Balance the points, and with them what a remedy for one side adds."""
        return balance_points(
            np.concatenate((direction, np.full(len(remedy.speeds), towards))),
            np.concatenate((speed, remedy.speeds)),
            np.concatenate((force, remedy.forces)),
            extra_speeds=REFERENCE_SPEEDS,
            readings=(*readings, *remedy.readings),
            zeroed=True,
        )

    balance = solved(Remedy(), 1.0)
    sides: dict[Side, SideFit] = {}
    for side in SIDES:
        d = 1.0 if side == "compression" else -1.0
        mine = direction == d
        if not mine.any():
            sides[side] = unseen(side)
            continue
        sides[side] = point_side(
            side,
            balance,
            speed[mine],
            force[mine],
            remedies=_remedies(speed[mine], balance, d, read=bool(readings)),
            solved=partial(solved, towards=d),
        )
    gas, friction = offsets_of(balance)
    friction = balance.offsets()[1] if readings else friction
    return DampingFit(
        kind="sweep",
        compression=sides["compression"],
        rebound=sides["rebound"],
        gas_force=gas,
        friction=friction,
        inputs=(record.provenance,),
        conditions=(record.conditions,),
        quality=(record.quality,),
        notes=(*_notes(balance, read=bool(readings)), *gas_notes(gas)),
    )


def _readings(record: SweepRecord) -> tuple[ScaleReading, ...]:
    """Friction from a slow push and a slow return on a scale: half their difference.

    Their half sum is the gas force, but a load cell may have been zeroed with it on, and then shows none of it.
    """
    push, back = record.push_force, record.return_force
    if push is None or back is None:
        return ()
    require(
        push >= back,
        "the slow push on the scale",
        "no less than the slow return",
        f"{push:.0f} N against {back:.0f} N",
        error=FitError,
        hint="Friction adds to the push and takes from the return: the settings push and return may be swapped.",
    )
    return (ScaleReading(0.0, 1.0, 0.5 * (push - back), SCALE_SD / np.sqrt(2.0)),)


def _remedies(speed: Array, balance: PointBalance, direction: float, *, read: bool) -> tuple[Remedy, ...]:
    """Give what would tell a side: friction from a scale where it was not read, more speeds, both."""
    untested = [v for v in (0.13, 0.26, 0.52, 0.05) if np.min(np.abs(speed - v)) > 0.1 * v]
    new = tuple(sorted(untested[: max(FEW - different_speeds(speed), 1)]))
    fastest = float(np.max(speed))
    secant = float(balance.force(direction, np.array([fastest]))[0][0]) / fastest
    more = Remedy(
        (Note("more-speeds", speeds=tuple(Estimate.exact(v, "m/s") for v in new)),),
        new,
        tuple(secant * v + balance.offset(direction) for v in new),
    )
    if read:
        return (more,)
    friction = scale_readings(balance)[0]
    scale = Remedy(
        (Note("scale-readings", case="sweep"),),
        readings=(ScaleReading(0.0, 1.0, friction.value - balance.offsets()[0].value, SCALE_SD),),
    )
    return (scale, more, scale & more)


def offsets_of(balance: PointBalance) -> tuple[Estimate | None, Estimate | None]:
    """Gas force and friction [N] where they were told from damping."""
    gas, friction = balance.offsets()
    return (gas if balance.gas_told else None), (friction if balance.friction_told else None)


def _notes(balance: PointBalance, *, read: bool) -> tuple[Note, ...]:
    gas, friction = (Estimate.exact(float(force), "N") for force in balance.coefficients[:2])
    gas_note = Note("gas-from-intercept", gas=gas) if balance.gas_told else Note("gas-taken-as-zeroed")
    if balance.friction_told and not read:
        return gas_note, Note("friction-from-intercept", friction=friction)
    if read:
        return gas_note, Note("friction-from-scale", friction=friction)
    return gas_note, Note("friction-inside", friction=friction)
