"""One side of a cycle record: secants from the free curve, the law that describes it, points and curve.

Takes `StrokeTable` and `Balance`; gives `SideFit`.

The secant comes from the free curve, so it needs no law to be right. The law is fitted to the curve at
speeds that are evenly spread over its roots, each weighted by its error and by what a law can promise at best.
"""

from __future__ import annotations

import math

import numpy as np

from tuner.errors import FitError
from tuner.estimates import Array, Estimate, Note, student_95
from tuner.fitting.choice import FittedLaw, fit_laws
from tuner.fitting.cycle.balance import Balance
from tuner.fitting.cycle.bend import bend_centre
from tuner.fitting.cycle.strokes import StrokeTable
from tuner.fitting.regression import Regression, linear_fit
from tuner.fitting.results import Secant, SideFit
from tuner.fitting.side import curve_of, speeds_inside
from tuner.laws import Knee, Law
from tuner.records import Side
from tuner.signals.thin import thin_indices

NODES = 18  # speeds at which the laws are fitted to the curve
KNEE_ERROR = 0.04  # relative sd of a knee's place, since valves open gradually; common practice, no source
LAW_ERROR = 0.02  # share of the force within which a law is called right; common practice, no source


def side_of(side: Side, table: StrokeTable, balance: Balance, dead_stroke: Estimate | None) -> SideFit:
    """Build one side; the strokes must hold it."""
    d = 1.0 if side == "compression" else -1.0
    chosen = balance.use & (table.direction[:, None] == d)
    speed = balance.effective[chosen]
    own = np.broadcast_to((1.0 + balance.deviation)[:, None], chosen.shape)[chosen]
    damping = balance.damping[chosen] / own
    low = float(np.min((table.velocity * table.direction[:, None])[chosen]))
    top = float(balance.knots[0 if d > 0 else 1][-1])
    notes: list[Note] = []
    secants: list[Secant] = []
    for v in speeds_inside(low, top):
        force, sd = curve_at(balance, d, np.array([v]))
        if force[0] <= 0:
            notes.append(_negative(side, v))
            continue
        half = student_95(balance.scatter_df) * float(sd[0])
        secants.append(
            Secant(
                v,
                Estimate(
                    float(force[0] / v), float((force[0] - half) / v), float((force[0] + half) / v), "N*s/m"
                ).not_negative(),
            )
        )
    if not secants and not notes:
        notes.append(Note("no-reference-speed", side=side, fastest=Estimate.exact(top, "m/s")))
    laws = _laws(balance, d, low, top)
    law, parameters = _chosen(laws[0], balance, d, low, top) if laws else (None, {})
    if laws is None:
        notes.append(Note("no-law", side=side))
    grid = np.linspace(0.0, top, 121)
    mean, sd = curve_at(balance, d, grid)
    keep = _spread(speed)
    return SideFit(
        side=side,
        seen=True,
        law=law,
        parameters=parameters,
        secant=tuple(secants),
        speed_range=(low, top),
        dead_stroke=dead_stroke,
        candidates=tuple(f.candidate() for f in laws) if laws else (),
        curve=curve_of(grid, mean, sd, balance.scatter_df),
        point_speed=speed[keep],
        point_force=damping[keep],
        notes=tuple(notes),
    )


def curve_at(balance: Balance, d: float, speed: Array) -> tuple[Array, Array]:
    """Damping force of one side [N] and its standard error, (k,) each."""
    return balance.force_at(d, speed), balance.force_sd(d, speed)


def _nodes(balance: Balance, d: float, low: float, top: float) -> tuple[Array, Array, Array]:
    """Speeds at which the laws are held to the curve, its forces there, and the variance of each [N^2]."""
    nodes = np.linspace(np.sqrt(max(low, 0.01 * top)), np.sqrt(top), NODES) ** 2
    force, sd = curve_at(balance, d, nodes)
    return nodes, force, (LAW_ERROR * np.maximum(force, 0.02 * force.max())) ** 2 + sd**2


def _laws(balance: Balance, d: float, low: float, top: float) -> tuple[FittedLaw, ...] | None:
    nodes, force, variance = _nodes(balance, d, low, top)
    if not bool((force > 0).sum() >= 4):
        return None
    unit = 1.0 / float(np.mean(1.0 / variance))  # so that squares stay in N^2
    try:
        return fit_laws(nodes, force, unit / variance, floor=unit * NODES)
    except FitError:
        return None


def _chosen(
    fitted: FittedLaw, balance: Balance, d: float, low: float, top: float
) -> tuple[Law, dict[str, Estimate]]:
    """Give the chosen law and its parameters; a knee is put at the centre of the curve's bend.

    Its slopes are then those that fit best with the knee there, and the intervals hold that a valve opens over a
    range, not at a point. The figures among the candidates stay those of least squares, which the choice rests on.
    """
    law = fitted.law
    if not isinstance(law, Knee):
        return law, fitted.estimates()
    bend = bend_centre(balance, d, law.v_knee, top=top, flatter=law.c_high < law.c_low)
    if bend is None:
        return law, fitted.estimates()
    nodes, force, variance = _nodes(balance, d, low, top)

    def slopes(knee: float) -> Regression:
        above = np.maximum(nodes - knee, 0.0)
        return linear_fit(np.column_stack((nodes - above, above)), force, 1.0 / variance)

    place, sd = bend[0], math.hypot(bend[1], KNEE_ERROR)
    fit = slopes(place)
    moved = 0.5 * (slopes(place * math.exp(sd)).coefficients - slopes(place * math.exp(-sd)).coefficients)
    errors = np.hypot(fit.standard_errors, moved)
    c_low, c_high = (
        _slope(float(c), float(error), fit.df) for c, error in zip(fit.coefficients, errors, strict=True)
    )
    knee = Estimate.from_log_sd(place, sd, "m/s")
    return Knee(c_low.value, c_high.value, place), {"c_low": c_low, "c_high": c_high, "v_knee": knee}


def _slope(c: float, error: float, df: float) -> Estimate:
    """Give a slope of the law; one that brakes does not reach below zero."""
    slope = Estimate.from_sd(c, error, "N*s/m", df=df)
    return slope.not_negative() if c > 0.0 else slope


def _negative(side: Side, speed: float) -> Note:
    return Note("negative-damping", case="loop", side=side, speed=Estimate.exact(speed, "m/s"))


def _spread(speed: Array) -> Array:
    """Give indices of points for drawing, spread over the speeds, so that fast tests do not hide slow ones."""
    order = np.argsort(speed)
    if order.size > 2000:
        # alternate parts of the order: half evenly by rank, half evenly by speed
        by_rank = order[thin_indices(order.size, 1000)]
        wanted = np.linspace(speed[order[0]], speed[order[-1]], 1000)
        by_speed = order[np.clip(np.searchsorted(speed[order], wanted), 0, order.size - 1)]
        order = np.unique(np.concatenate((by_rank, by_speed)))
    return np.asarray(order)
