"""What the traces of a stroking bench must show: work taken out, a smooth travel, a velocity that is its slope.

Takes tests in SI with the file's signs; gives signs and notes, or refuses.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tuner.estimates import Array, Estimate, Note
from tuner.reading.bench import plausible
from tuner.reading.bench.cycles import Cycle
from tuner.reading.table.columns import Source
from tuner.units import known_unit, to_si

SPRING = 8e3  # N/m: static force that rises faster with travel is no gas but a spring


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """One test on its way: arrays (n,) in SI with the file's signs, and its whole cycles."""

    time: Array
    travel: Array
    force: Array
    velocity: Array | None
    label: str
    line: int
    cycles: tuple[Cycle, ...] = ()


def work(test: Trace) -> list[float]:
    """Work [J] of each whole cycle with the file's signs: the integral of force over travel."""
    middle = 0.5 * (test.force[1:] + test.force[:-1])
    steps = np.concatenate(([0.0], np.cumsum(middle * np.diff(test.travel))))
    return [float(steps[c.end] - steps[c.start]) for c in test.cycles]


def velocity_sign(source: Source, test: Trace) -> int:
    """Compare the given velocity with the slope of the travel; give its sign against the travel's.

    Raises ReadError when scale or shape differ by more than a tenth.
    """
    assert test.velocity is not None
    width = max(1, int(np.median([c.end - c.start for c in test.cycles])) // 40)
    slope = (test.travel[2 * width :] - test.travel[: -2 * width]) / (
        test.time[2 * width :] - test.time[: -2 * width]
    )
    given = test.velocity[width:-width]
    size = float(np.sqrt(np.mean(slope**2) * np.mean(given**2)))
    name = source.use("velocity").name
    together = float(np.mean(slope * given)) / size if size > 0 else 0.0
    if abs(together) < 0.8:
        raise source.refuse(
            "must have a velocity that is the slope of its travel",
            f"column {name!r} goes together with it only to {abs(together):.0%}",
            "Check that the columns are not swapped; choose with --column velocity=NAME.",
        )
    scale = float(np.sqrt(np.mean(given**2) / np.mean(slope**2)))
    if not 0.9 <= scale <= 1.1:
        raise source.refuse(
            "must have a velocity that is the slope of its travel",
            f"column {name!r} is {scale:.3g} times that slope",
            "One of the units of time, travel and velocity is wrong: say it with --unit ROLE=UNIT.",
        )
    return 1 if together > 0 else -1


def static_force(tests: Sequence[Trace]) -> tuple[int, str]:
    """Find a force that keeps its sign in both directions just around both turns of the slowest test: the gas.

    Friction and damping change their sign there, and what lags behind has opposite signs at the two ends.
    """
    with_cycles = [t for t in tests if t.cycles]
    test = min(with_cycles, key=lambda t: min(c.speed for c in t.cycles))
    middles = []
    slowest = 1.15 * min(c.speed for c in test.cycles)
    slow = [c for c in test.cycles if c.speed <= slowest]
    for c in slow[:: max(1, len(slow) // 100)]:
        travel, force = test.travel[c.start : c.end], test.force[c.start : c.end]
        width = max(
            1, travel.size // 60
        )  # a few degrees of the crank, where the speed is a tenth of the peak
        for turn in (int(np.argmax(travel)), int(np.argmin(travel))):
            middles.append(force[max(turn - width, 0) : turn])
            middles.append(force[turn + 1 : turn + 1 + width])
    means = np.array([m.mean() for m in middles if m.size])
    if not means.size:
        return 0, ""
    span = float(np.ptp(test.force))
    one_way = (means > 0).all() or (means < 0).all()
    lowest, mean = float(np.min(np.abs(means))), abs(float(means.mean()))
    if not one_way or lowest < max(10.0, 0.003 * span) or mean < max(40.0, 0.01 * span):
        return 0, ""  # what is smaller can be the load cell's own zero, or the weight of its fork
    return (1 if means[0] > 0 else -1), (
        f"the gas force (about {float(means.mean()):.0f} N in the file's sign at every turn of the slowest test)"
    )


def not_swapped(source: Source, test: Trace) -> None:
    """Refuse a smooth force over a travel that jumps: a bench moves the travel smoothly, the force jumps."""
    c = test.cycles[len(test.cycles) // 2]
    phase = 2 * np.pi * (test.time[c.start : c.end] - test.time[c.start]) / c.duration
    base = np.column_stack((np.ones(phase.size), np.cos(phase), np.sin(phase)))
    rest = []
    for values in (test.travel[c.start : c.end], test.force[c.start : c.end]):
        left = values - base @ np.linalg.lstsq(base, values, rcond=None)[0]
        rest.append(float(np.sqrt(np.mean(left**2)) / max(float(np.std(values)), 1e-300)))
    chosen = {"travel", "force"} <= set(source.options.columns)
    if rest[0] > 0.15 and rest[1] < 0.3 * rest[0] and not chosen:
        raise source.refuse(
            "must have a travel that moves smoothly",
            f"column {source.use('force').name!r} does and column {source.use('travel').name!r} does not: "
            "they look swapped",
            "Settle it with --column travel=NAME --column force=NAME.",
        )


def is_nominal(velocity: Array) -> bool:
    """Say whether a column of speeds is the bench's setting: long runs of one value, never negative."""
    if velocity.size < 16 or np.nanmin(velocity) < 0.0:
        return False
    known = velocity[np.isfinite(velocity)]
    runs = 1 + int(np.count_nonzero(np.diff(known)))
    return runs <= known.size / 8 and int(np.unique(known).size) <= 50


def remarks_on(source: Source, tests: Sequence[Trace], force_sign: int, travel_sign: int) -> list[Note]:
    """Compare the traces with what the file says of them, and look for a spring that was left on."""
    notes = []
    said = source.options.amount("stroke")
    stroke = max(float(np.ptp(t.travel)) for t in tests)
    if said is not None and not 0.9 <= stroke / said <= 1.1:
        found, stated = Estimate.exact(stroke, "m"), Estimate.exact(said, "m")
        notes.append(Note("stroke-differs", stroke=found, stated=stated))
    for test in tests:
        speed = _stated_speed(source, test.label)
        reached = float(np.median([c.speed for c in test.cycles]))
        if speed and not 0.85 <= reached / speed <= 1.15:
            notes.append(Note("speed-differs", test=test.label, reached=Estimate.exact(reached, "m/s")))
    fastest = max(tests, key=lambda t: max(c.speed for c in t.cycles))
    notes += plausible.speeds(max(c.speed for c in fastest.cycles))
    high, low = (float(q) for q in np.percentile(force_sign * fastest.force, [99, 1]))
    notes += plausible.sides(high, -low)
    slowest = min(tests, key=lambda t: min(c.speed for c in t.cycles))
    rates = []
    for c in slowest.cycles[:50]:
        travel, force = slowest.travel[c.start : c.end], slowest.force[c.start : c.end]
        ends = [
            float(np.mean(force[max(turn - 1, 0) : turn + 2]))
            for turn in (int(np.argmax(travel)), int(np.argmin(travel)))
        ]
        rates.append((ends[0] - ends[1]) / c.stroke)
    rate = force_sign * travel_sign * float(np.median(rates))
    if rate > SPRING:
        notes.append(Note("spring", rate=Estimate.exact(rate, "N/m")))
    return notes


def _stated_speed(source: Source, label: str) -> float | None:
    """Read the speed that a column of tests states, such as "Test speed (m/s) 0.13"."""
    if not source.has("test") or not label:
        return None
    unit = source.matched.headings[source.index("test")].unit("speed")
    number = re.search(r"[-+]?[0-9.]+(?:[eE][-+]?[0-9]+)?$", label)
    if not unit or number is None or not known_unit(unit, "speed"):
        return None
    try:
        return abs(float(to_si(float(number[0]), "speed", unit)))
    except ValueError:
        return None
