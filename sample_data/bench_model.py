"""An invented bench, scale and camera: what they would have recorded of a damper of `damper_model`.

Takes a damper and a seeded random generator; gives traces, sweeps and hung weights. Uses: damper_model.

The bench is a crank with a rod of finite length; it samples with jitter, noise and quantised channels, and
its load cell was not quite zeroed. Every cycle differs a little, and the valve weakens while a test runs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sample_data.damper_model import (
    GRAVITY,
    PHASES,
    Array,
    Damper,
    crank,
    friction_force,
    gas_force,
    steady_loops,
    true_force,
)

OVERRUN = 0.1  # share of a cycle that is recorded after the last whole one


@dataclass(frozen=True)
class Bench:
    """What the bench adds. noise and quantum: force [N], travel [m]; jitter: share of the sampling step."""

    force_noise: float = 1.5
    force_quantum: float = 0.5
    travel_noise: float = 1.0e-5
    travel_quantum: float = 2.0e-5
    force_offset: float = 0.0
    jitter: float = 0.02
    crank_ratio: float = 0.0  # crank radius over length of the connecting rod
    middle: float = 0.090  # travel at the middle of the stroke [m]
    cycle_scatter: float = 0.01


@dataclass(frozen=True)
class Trace:
    """One test of the bench, (n,) in SI; velocity is the true one, `speed` the nominal peak speed [m/s]."""

    time: Array
    travel: Array
    force: Array
    velocity: Array
    speed: float


def _quantised(values: Array, quantum: float) -> Array:
    return np.round(values / quantum) * quantum if quantum > 0 else values


def simulate_cycles(
    damper: Damper,
    speeds: Sequence[float],
    stroke: float,
    rate: float,
    cycles: Sequence[int] | int,
    rng: np.random.Generator,
    bench: Bench | None = None,
    loops: Array | None = None,
) -> list[Trace]:
    """Record the damper at each peak speed [m/s]; stroke peak to peak [m], rate [Hz], cycles per speed.

    `loops` may hold the settled cycles from `steady_loops`, one row per speed.
    """
    rig = Bench() if bench is None else bench
    count = [cycles] * len(speeds) if isinstance(cycles, int) else list(cycles)
    if loops is None:
        n = len(speeds)
        loops = steady_loops([damper] * n, speeds, [stroke] * n, [rig.crank_ratio] * n)
    grid = np.linspace(0.0, 2.0 * math.pi, PHASES + 1)
    traces = []
    for speed, turns, loop in zip(speeds, count, loops, strict=True):
        _, _, omega = crank(np.zeros(1), np.array([stroke]), np.array([speed]), np.array([rig.crank_ratio]))
        samples = int((turns + OVERRUN) * 2.0 * math.pi / float(omega[0]) * rate)
        stamp = np.arange(samples) / rate
        true_time = stamp + rig.jitter / rate * np.clip(rng.standard_normal(samples), -3.0, 3.0)
        true_time[0] = 0.0
        phase = float(omega[0]) * np.maximum(true_time, 0.0)
        travel, velocity, _ = crank(phase, np.array(stroke), np.array(speed), np.array(rig.crank_ratio))
        damping = np.interp(np.mod(phase, 2.0 * math.pi), grid, loop)
        cycle = np.floor(phase / (2.0 * math.pi)).astype(int)
        gain = 1.0 + rig.cycle_scatter * rng.standard_normal((2, cycle.max() + 1))
        ageing = 1.0 + damper.fade * (0.5 - phase / phase[-1])  # 1 at the middle of the test
        side = (damping < 0).astype(int)
        damping = damping * gain[side, cycle] * ageing * np.where(damping < 0, damper.gain[1], damper.gain[0])
        place = rig.middle + travel
        force = damping + gas_force(damper, place) + friction_force(damper, velocity) + rig.force_offset
        force = force + rig.force_noise * rng.standard_normal(samples)
        place = place + rig.travel_noise * rng.standard_normal(samples)
        traces.append(
            Trace(
                time=true_time,
                travel=_quantised(place, rig.travel_quantum),
                force=_quantised(force, rig.force_quantum),
                velocity=velocity,
                speed=float(speed),
            )
        )
    return traces


def simulate_sweep(
    damper: Damper,
    speeds: Sequence[float],
    rng: np.random.Generator,
    *,
    scatter: float = 0.01,
    noise: float = 1.5,
    quantum: float = 0.1,
) -> tuple[Array, Array]:
    """Peak forces per speed as a shop's bench lists them: velocity and force (2 n,), compression first.

    The bench was zeroed with the damper at rest in mid stroke, so the gas force is off and friction is in.
    """
    speed = np.asarray(speeds, dtype=float)
    velocity = np.concatenate([speed, -speed])
    damping = np.concatenate(
        [true_force(damper, "compression", speed), -true_force(damper, "rebound", speed)]
    )
    damping = damping * (1.0 + scatter * rng.standard_normal(damping.size))
    force = damping + friction_force(damper, velocity) + noise * rng.standard_normal(damping.size)
    return velocity, _quantised(force, quantum)


@dataclass(frozen=True)
class Drops:
    """Hung weights as written down, SI; direction as in records; push, back: scale readings [N]."""

    mass: Array
    distance: Array
    duration: Array
    direction: Array
    push: Array
    back: Array


def simulate_weights(
    damper: Damper,
    masses: Sequence[float],
    directions: Sequence[int],
    rng: np.random.Generator,
    *,
    marks: tuple[float, float] = (0.050, 0.130),
    run_in: float = 0.050,
    moving_mass: float = 0.0,
    frame_rate: float = 240.0,
    readings: int = 4,
    scale_quantum: float = 1.0,
) -> Drops:
    """Hang masses on a vertical shaft, let go, and time them with a camera between two marks (shaft travel [m]).

    The mass starts from rest `run_in` before the first mark that it passes; the timing is one drop each.
    """
    duration = []
    for mass, direction in zip(masses, directions, strict=True):
        seconds = _drop_time(damper, mass + moving_mass, direction, marks, run_in)
        seconds *= 1.0 + 0.005 * rng.standard_normal()
        first = rng.uniform(0.0, 1.0)  # where between two frames the first mark is passed
        duration.append(max(math.floor(seconds * frame_rate + first), 1) / frame_rate)
    gas = float(gas_force(damper, 0.5 * (marks[0] + marks[1])))
    wander = 0.6 * rng.standard_normal((2, readings))
    return Drops(
        mass=np.asarray(masses, dtype=float),
        distance=np.full(len(duration), marks[1] - marks[0]),
        duration=np.asarray(duration),
        direction=np.asarray(directions, dtype=float),
        push=_quantised(gas + damper.friction + wander[0], scale_quantum),
        back=_quantised(gas - damper.friction + wander[1], scale_quantum),
    )


def _drop_time(
    damper: Damper, mass: float, direction: int, marks: tuple[float, float], run_in: float, step: float = 1e-4
) -> float:
    """Give the time between the marks [s] of a mass that starts from rest: m a = m g -+ gas - friction - damping."""
    side = "compression" if direction > 0 else "rebound"
    grid = np.linspace(0.0, 4.0, 4001)
    damping = true_force(damper, side, grid)
    first, last = marks if direction > 0 else marks[::-1]
    place, speed, time = first - direction * run_in, 0.0, 0.0
    passed = math.nan
    while direction * (last - place) > 0:
        pull = mass * GRAVITY - direction * float(gas_force(damper, place)) - damper.friction
        if pull <= 0:
            raise ValueError(f"{mass} kg does not move the shaft")
        # the damping is stiff against a small mass: implicit in the speed, one Newton step on the table
        at = min(int(speed / 0.001), 3999)
        slope = (damping[at + 1] - damping[at]) / 0.001
        here = damping[at] + slope * (speed - grid[at])
        speed = max(speed + step * (pull - here) / (mass + step * slope), 0.0)
        before = place
        place += direction * speed * step
        time += step
        if math.isnan(passed) and direction * (place - first) >= 0:
            passed = time - step * direction * (place - first) / (speed * step)
        if direction * (place - last) >= 0:
            time -= step * abs(place - last) / abs(place - before)
    return time - passed
