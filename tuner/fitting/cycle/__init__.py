"""Bench cycles: continuous traces at one or several speeds into a fit.

Takes `CycleRecord`; gives `DampingFit`. Uses: strokes, balance, choice, side, results.
"""

from __future__ import annotations

import numpy as np

from tuner.estimates import Array, Estimate, student_95
from tuner.fitting.choice import fit_laws
from tuner.fitting.cycle.balance import Balance, Mask, solve
from tuner.fitting.cycle.onset import engaged, late_half
from tuner.fitting.cycle.strokes import StrokeTable, strokes_of
from tuner.fitting.results import DampingFit, Loop, Secant, SideFit
from tuner.fitting.side import curve_of, speeds_inside, unseen
from tuner.records import SIDES, CycleRecord, Side
from tuner.signals.thin import thin_indices


def fit_cycle(record: CycleRecord) -> DampingFit:
    """Fit bench cycles."""
    table = strokes_of(record)
    balance = balanced(table)
    use = balance.use
    sides: dict[Side, SideFit] = {}
    for side in SIDES:
        d = 1.0 if side == "compression" else -1.0
        chosen = use & (table.direction[:, None] == d)
        sides[side] = _side(side, d, balance, chosen) if chosen.any() else unseen(side)
    df = balance.scatter_df
    sds = np.sqrt(np.diag(balance.covariance))
    half = student_95(max(df, 1.0)) * sds
    z0 = balance.coefficients[0]
    friction = balance.friction
    n = balance.gas_terms
    return DampingFit(
        kind="cycle",
        compression=sides["compression"],
        rebound=sides["rebound"],
        gas_force=Estimate(float(z0), float(z0 - half[0]), float(z0 + half[0]), "N"),
        friction=Estimate(friction, friction - float(half[n]), friction + float(half[n]), "N"),
        loops=_loops(table),
        inputs=(record.provenance,),
        conditions=(record.conditions,),
        quality=(record.quality,),
        notes=table.notes,
    )


def balanced(table: StrokeTable) -> Balance:
    """Solve the balance on late halves first, then on all parts in which the force has come up."""
    balance = solve(table, late_half(table))
    for _ in range(2):
        balance = solve(table, engaged(table, balance), start=None)
    return balance


def _side(side: Side, d: float, balance: Balance, chosen: Mask) -> SideFit:
    speed = np.maximum(balance.effective[chosen], 1e-4)
    damping = balance.damping[chosen]
    top = float(balance.knots[0 if d > 0 else 1][-1])
    low = float(np.min(speed))
    centres, forces = _binned(speed, damping)
    fits = fit_laws(centres, forces)
    wanted = np.array(speeds_inside(low, top))
    secants: list[Secant] = []
    sds = balance.force_sd(d, wanted)
    for v, force, sd in zip(wanted, balance.force_at(d, wanted), sds, strict=True):
        value = float(force / v)
        half = student_95(balance.scatter_df) * float(sd / v)
        secants.append(Secant(float(v), Estimate(value, value - half, value + half, "N*s/m")))
    grid = np.linspace(0.0, top, 120)
    keep = thin_indices(speed.size)
    return SideFit(
        side=side,
        seen=True,
        law=fits[0].law,
        parameters=fits[0].estimates(),
        secant=tuple(secants),
        speed_range=(low, top),
        candidates=tuple(f.candidate() for f in fits),
        curve=curve_of(grid, balance.force_at(d, grid), balance.force_sd(d, grid), balance.scatter_df),
        point_speed=speed[keep],
        point_force=damping[keep],
    )


def _binned(speed: Array, force: Array, bins: int = 60) -> tuple[Array, Array]:
    edges = np.linspace(np.sqrt(speed.min()), np.sqrt(speed.max()) * (1 + 1e-9), bins + 1) ** 2
    index = np.clip(np.digitize(speed, edges) - 1, 0, bins - 1)
    count = np.bincount(index, minlength=bins)[:bins]
    known = count > 0
    with np.errstate(invalid="ignore"):
        v = np.bincount(index, weights=speed, minlength=bins)[:bins] / count
        f = np.bincount(index, weights=force, minlength=bins)[:bins] / count
    return v[known], f[known]


def _loops(table: StrokeTable) -> tuple[Loop, ...]:
    loops = []
    for number in np.unique(table.test):
        halves = []
        for d in (1.0, -1.0):
            chosen = (table.test == number) & (table.direction == d)
            if not chosen.any():
                break
            halves.append(
                [getattr(table, name)[chosen].mean(axis=0) for name in ("travel", "velocity", "force")]
            )
        if len(halves) < 2:
            continue
        x, v, f = (np.concatenate((a, b, a[:1])) for a, b in zip(*halves, strict=True))
        chosen = (table.test == number) & (table.direction > 0)
        loops.append(Loop(x, v, f, float(np.max(np.abs(v))), int(table.count[chosen].sum())))
    return tuple(loops)
