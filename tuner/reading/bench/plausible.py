"""Numbers that no damper on any bench can have: wrong units and swapped columns come out here.

Takes values in SI; raises ReadError, or gives notes.
"""

from __future__ import annotations

import numpy as np

from tuner.estimates import Array, Estimate, Note
from tuner.reading.table.columns import Source
from tuner.reading.text.tables import Table

FASTEST = 20.0  # m/s
SLOWEST = (
    2e-3  # m/s, that a sweep must reach: below it peak forces show friction alone; common practice, no source
)
STRONGEST = 200e3  # N
LONGEST = 2.0  # m
SHORTEST = 1e-4  # m
SECANT = (1.0, 2e6)  # N*s/m, beyond any damper
USUAL_SECANT = (80.0, 5e4)  # N*s/m, where dampers of vehicles lie
USUAL_SPEED = 3.0  # m/s, that benches for dampers of vehicles reach
STEEPEST = (
    2.2  # power of the speed; a fixed orifice in turbulent flow has 2 (Bernoulli), a little more for scatter
)
STEEP_GAP = 0.05  # of the largest force, by which both sides must miss any common force at rest
ROUND_POINTS = 5  # distinct numbers that must all be round to be a clue
ROUND_SPEEDS = 0.5  # share of round numbers that what was set has at least; measured ones have a fifth
USUAL_SIDES = 2.0  # compression over rebound; common practice is the other way round, no source

_HINT = "Check the unit of that column (--unit {role}=UNIT) and that columns are not swapped (--column {role}=NAME)."


def _number(value: float) -> str:
    """Write a number with three or four digits, never with an exponent where people would read one."""
    return f"{value:.0f}" if abs(value) >= 1000 else f"{value:.4g}"


def limit(source: Source, role: str, what: str, value: float, low: float, high: float, unit: str) -> None:
    """Refuse a value outside its physical limits."""
    if low <= value <= high:
        return
    use = source.use(role) if role in source.matched.roles else None
    column = f" of column {use.name!r}, read in {use.unit}," if use is not None else ""
    bound = f"at most {high:g}" if value > high else f"at least {low:g}"
    raise source.refuse(
        f"must have a {what} of {bound} {unit}",
        f"the one{column} is {_number(value)} {unit}",
        _HINT.format(role=role),
    )


def forces(source: Source, role: str, force: Array) -> None:
    """Refuse forces that are too large or do not change."""
    limit(source, role, "highest force", float(np.max(np.abs(force))), 0.0, STRONGEST, "N")
    if force.size > 1 and float(np.ptp(force)) == 0.0:
        raise source.refuse(
            "needs a force that changes",
            f"column {source.use(role).name!r} is {force[0]:.6g} N in every row",
            f"Check the load cell, or choose another column with --column {role}=NAME.",
        )


def secant(source: Source, role: str, speed: float, force: float) -> tuple[Note, ...]:
    """Refuse a force over speed that no damper has, and note one that vehicles' dampers rarely have."""
    if speed <= 0:
        return ()
    ratio = force / speed
    if not SECANT[0] <= ratio <= SECANT[1]:
        raise source.refuse(
            f"must have a force over speed between {SECANT[0]:g} and {SECANT[1]:g} N*s/m",
            f"it is {_number(ratio)} N*s/m, from {_number(force)} N at {_number(speed)} m/s",
            _HINT.format(role=role),
        )
    if not USUAL_SECANT[0] <= ratio <= USUAL_SECANT[1]:
        return (Note("unusual-damping", c=Estimate.exact(ratio, "N*s/m")),)
    return ()


def speeds(fastest: float) -> tuple[Note, ...]:
    """Note a speed [m/s] that few benches reach."""
    if fastest <= USUAL_SPEED:
        return ()
    return (Note("unusual-speed", speed=Estimate.exact(fastest, "m/s")),)


def sides(compression: float, rebound: float) -> tuple[Note, ...]:
    """Note forces [N, both positive] that are far larger in compression than on the return."""
    if rebound <= 0 or compression <= USUAL_SIDES * rebound:
        return ()
    return (Note("unusual-sides", times=compression / rebound),)


def steep(velocity: Array, force: Array) -> tuple[Note, ...]:
    """Note signed points [m/s, N] whose force grows faster with speed than a fluid can make it on both sides.

    Whatever force F0 stands there at rest (gas, a load cell off its zero), it pushes one side up and the other down:
    at most F0 = (F1 - k F2)/(1 - k) with k = (v1/v2)^2 leaves the way in no steeper than the square of the speed, and
    at least a like one the way out. No F0 does both: then the columns are likely swapped.
    """
    reach: list[float] = []
    for way in (1, -1):
        picked = way * velocity > 0
        speed, towards = way * velocity[picked], way * force[picked]
        order = np.argsort(speed)
        speed, towards = speed[order], towards[order]
        one, other = np.triu_indices(speed.size, 1)
        apart = speed[one] <= 0.5 * speed[other]
        if not apart.any():
            return ()
        share = (speed[one[apart]] / speed[other[apart]]) ** STEEPEST
        rest = (towards[one[apart]] - share * towards[other[apart]]) / (1.0 - share)
        reach.append(float(rest.min()))
    if -(reach[0] + reach[1]) <= STEEP_GAP * float(np.max(np.abs(force))):
        return ()
    return (Note("steep"),)


def _last_digits(numbers: Array) -> Array:
    """Give the last digits that are written of these numbers, as far as six decimals tell."""
    size = np.unique(np.abs(numbers[np.isfinite(numbers)]))
    for decimals in range(7):
        scaled = size * 10.0**decimals
        if np.allclose(scaled, np.round(scaled), rtol=0.0, atol=1e-4):
            return np.asarray(np.round(scaled) % 10)
    return np.empty(0)


def swapped(source: Source, table: Table, given: str, measured: str) -> tuple[Note, ...]:
    """Note columns of which the measured one looks set by hand and the one that was set looks measured.

    given, measured : roles, such as the speed that a bench was set to and the force that it showed.
    """
    chosen, found = (_last_digits(source.column(role, table).numbers) for role in (given, measured))
    if found.size < ROUND_POINTS or chosen.size < ROUND_POINTS or (found % 5 != 0).any():
        return ()
    if float(np.mean(chosen % 5 == 0)) >= ROUND_SPEEDS:
        return ()
    return (Note("columns-swapped", round=source.use(measured).name, other=source.use(given).name),)
