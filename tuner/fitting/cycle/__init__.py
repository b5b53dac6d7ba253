"""Bench cycles: continuous traces at one or several speeds into a fit.

Takes `CycleRecord`; gives `DampingFit`. Uses: strokes, balance, choice, side, results.
"""

from __future__ import annotations

import numpy as np

from tuner.estimates import Array, Estimate, student_95
from tuner.fitting.choice import fit_laws
from tuner.fitting.cycle.balance import Balance, NDArrayBool, solve, weighted_rss
from tuner.fitting.cycle.strokes import StrokeTable, strokes_of
from tuner.fitting.results import DampingFit, Loop, Secant, SideFit
from tuner.fitting.side import curve_of, speeds_inside, unseen
from tuner.records import SIDES, CycleRecord, Side
from tuner.signals.thin import thin_indices


def fit_cycle(record: CycleRecord) -> DampingFit:
    """Fit bench cycles."""
    table = strokes_of(record)
    use = _usable(table)
    balance = _with_compliance(table, use)
    sides: dict[Side, SideFit] = {}
    for side in SIDES:
        d = 1.0 if side == "compression" else -1.0
        chosen = use & (table.direction[:, None] == d)
        sides[side] = _side(side, d, table, balance, chosen) if chosen.any() else unseen(side)
    df = float(balance.clusters.size - 1)
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


def _usable(table: StrokeTable) -> NDArrayBool:
    speed = table.velocity * table.direction[:, None]
    early = np.broadcast_to(table.phase[None, :] < 0.5, speed.shape)
    top = table.peak[:, None]
    return np.asarray((speed > 0.01) & np.where(early, speed > 0.5 * top, speed > 0.08 * top))


def _with_compliance(table: StrokeTable, use: NDArrayBool) -> Balance:
    several = np.unique(np.round(np.log(table.peak), 1)).size > 1
    terms = 3 if several else 2
    grid = np.concatenate(([0.0], np.geomspace(5e-8, 5e-6, 15)))
    costs = [weighted_rss(solve(table, use, float(k), terms)) for k in grid]
    best = int(np.argmin(costs))
    return solve(table, use, float(grid[best]), terms)


def _side(side: Side, d: float, table: StrokeTable, balance: Balance, chosen: NDArrayBool) -> SideFit:
    effective = d * (table.velocity - balance.compliance * table.force_rate)[chosen]
    gas = balance.gas(table.travel)
    damping = d * (table.force - gas)[chosen] - balance.friction
    speed = np.maximum(effective, 1e-4)
    top = float(balance.knots[d][-1])
    low = float(np.min(speed))
    centres, forces = _binned(speed, damping)
    fits = fit_laws(centres, forces)
    wanted = np.array(speeds_inside(low, top))
    secants: list[Secant] = []
    rows = balance.curve_row(d, wanted)
    for v, row in zip(wanted, rows, strict=True):
        value = float(row @ balance.coefficients) / float(v)
        sd, df = _error(row, balance)
        half = student_95(df) * sd / float(v)
        secants.append(Secant(float(v), Estimate(value, value - half, value + half, "N*s/m")))
    grid = np.linspace(0.0, top, 120)
    rows = balance.curve_row(d, grid)
    sds = np.array([_error(row, balance)[0] for row in rows])
    keep = thin_indices(speed.size)
    return SideFit(
        side=side,
        seen=True,
        law=fits[0].law,
        parameters=fits[0].estimates(),
        secant=tuple(secants),
        speed_range=(low, top),
        candidates=tuple(f.candidate() for f in fits),
        curve=curve_of(grid, rows @ balance.coefficients, sds, float(balance.clusters.size - 1)),
        point_speed=speed[keep],
        point_force=damping[keep],
    )


def _error(row: Array, balance: Balance) -> tuple[float, float]:
    parts = balance.influence @ row
    total = float(np.sum(parts**2))
    if total == 0:
        return 0.0, 1.0
    groups = float(parts.size)
    return float(np.sqrt(total * groups / max(groups - 1.0, 1.0))), max(groups - 1.0, 1.0)


def _binned(speed: Array, force: Array, bins: int = 60) -> tuple[Array, Array]:
    edges = np.linspace(np.sqrt(speed.min()), np.sqrt(speed.max()) * (1 + 1e-9), bins + 1) ** 2
    index = np.digitize(speed, edges) - 1
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
