"""What a cycle record says of the damper as a whole: energy, lag, fade, gas force, friction, loops.

Takes `StrokeTable` and `Balance`; gives estimates and loops.
"""

from __future__ import annotations

import math

import numpy as np

from tuner.estimates import Estimate, student_95
from tuner.fitting.cycle.balance import Balance
from tuner.fitting.cycle.strokes import StrokeTable
from tuner.fitting.results import Loop


def gas_and_friction(balance: Balance) -> tuple[Estimate, Estimate]:
    """Gas force at mid stroke, with the load cell's zero in it, and dry friction [N]."""
    sds = np.sqrt(np.maximum(np.diag(balance.covariance), 0.0))
    half = student_95(balance.scatter_df) * sds
    gas, friction, g = float(balance.coefficients[0]), balance.friction, balance.gas_terms
    return (
        Estimate(gas, gas - float(half[0]), gas + float(half[0]), "N"),
        Estimate(friction, friction - float(half[g]), friction + float(half[g]), "N").not_negative(),
    )


def fade_of(table: StrokeTable, balance: Balance) -> Estimate | None:
    """Relative change of the damping force from the first to the last cycle of a test; None below three cycles."""
    per_test = np.bincount(table.test, weights=table.count) / 2.0
    if float(per_test.max()) < 3.0:
        return None
    half = student_95(balance.scatter_df) * math.sqrt(max(float(balance.covariance[-3, -3]), 0.0))
    return Estimate(balance.fade, balance.fade - half, balance.fade + half, "1")


def lag_of(balance: Balance) -> Estimate | None:
    """Delay of the force behind the velocity [s] at small strokes about the top speed, mean of the sides.

    Oil of compliance k in front of a damper with slope c delays the force by k c (a Maxwell element).
    """
    high, _ = balance.compliance
    slopes = []
    for d, knots in ((1.0, balance.knots[0]), (-1.0, balance.knots[1])):
        top = float(knots[-1])
        force = float(balance.force_at(d, np.array([top]))[0])
        if force > 0 and balance.force_sd(d, np.array([top]))[0] < force:
            slopes.append(force / top)
    if not slopes:
        return None
    slope = float(np.mean(slopes))
    variance = float(balance.covariance[-2, -2])
    half = student_95(balance.scatter_df) * math.sqrt(max(variance, 0.0)) * slope
    value = high * slope
    return Estimate(value, max(value - half, 0.0), value + half, "s")


def energy_of(table: StrokeTable) -> tuple[Estimate, float] | None:
    """Energy per cycle [J], the loop's area, at the fastest test whose forces are known, and its peak speed [m/s]."""
    tests = np.unique(table.test)
    peaks = np.array([np.median(table.peak[table.test == number]) for number in tests])
    for number in tests[np.argsort(-peaks)]:
        energies = []
        for cycle in np.unique(table.cycle[table.test == number]):
            mine = np.flatnonzero(table.cycle == cycle)
            if mine.size == 2 and not table.overloaded[mine].any():
                power = table.force[mine] * table.velocity[mine]
                m = power.shape[1]
                # mean force times mean speed over a part loses h^2/12 of a sine's power; put it back
                h = math.pi / m
                energies.append(
                    float(np.sum(power.mean(axis=1) * table.duration[mine])) * (1.0 + h * h / 12.0)
                )
        if energies:
            peak = float(peaks[tests == number][0])
            mean = float(np.mean(energies))
            if len(energies) > 1:
                sd = float(np.std(energies, ddof=1)) / math.sqrt(len(energies))
                half = student_95(len(energies) - 1) * sd
            else:
                half = 0.03 * abs(mean)  # one cycle shows no scatter: common practice, no source
            # loops that run the wrong way round give energy, and are refused for it
            energy = Estimate.above_zero(mean, half, "J") if mean > 0.0 else Estimate.exact(mean, "J")
            return energy, peak
    return None


def loops_of(table: StrokeTable) -> tuple[Loop, ...]:
    """Averaged loops, one per test, closed."""
    loops = []
    for number in np.unique(table.test):
        halves = []
        for d in (1.0, -1.0):
            chosen = (table.test == number) & (table.direction == d)
            if chosen.any():
                names = ("travel", "velocity", "force")
                share = table.count[chosen] / table.count[chosen].sum()
                halves.append([share @ getattr(table, name)[chosen] for name in names])
        if len(halves) < 2:
            continue
        travel, velocity, force = (np.concatenate((a, b, a[:1])) for a, b in zip(*halves, strict=True))
        cycles = int(table.count[(table.test == number) & (table.direction > 0)].sum())
        loops.append(Loop(travel, velocity, force, float(np.max(np.abs(velocity))), cycles))
    return tuple(loops)
