"""An invented damper on an invented bench, richer than any law that is fitted.

Takes a seeded random generator; gives dampers whose true curve is known, and what a bench, a scale or a camera would
have recorded of them. Uses: numpy only, nothing of the program that is tested with it.

The physics, in the house's signs (travel and velocity + in compression, force + pushes the ends apart). Pressures
times piston area are written as shaft forces and flows over piston area as shaft speeds, so every valve is stated in
N and m/s:

- flow balance: shaft speed = flow through the valve + compression of the oil + collapse of a void;
- valve of each side: a bleed (viscous leak and sharp-edged hole) beside a shim stack that opens smoothly with
  pressure, both behind a port whose loss grows with the square of the flow. The static curve is smooth, digressive
  or progressive, and follows none of the laws line, power, leak + orifice or knee exactly;
- oil column and hoses are elastic, softer at low pressure because of dissolved and entrained air: this makes lag and
  loops that open with speed;
- a void (too little oil, or foam) must be closed by the shaft after each reversal before that side builds pressure;
- gas spring: polytropic; friction: smooth sign, with a bump at creeping speed; fade: the valve weakens while a test
  runs; gain: every cycle, and every mounting, differs a little;
- bench: crank with a rod of finite length, sampling with jitter, noise, quantised channels, a load cell that was not
  quite zeroed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
GRAVITY = 9.80665
ATMOSPHERE = 101_325.0
PHASES = 1600  # steps of the flow balance in one cycle
SIDES = ("compression", "rebound")


@dataclass(frozen=True)
class Valve:
    """One side's valve, reduced to the shaft.

    leak [N*s/m] and orifice [N*s**2/m**2] of the bleed: F = leak v + orifice v^2. The shims begin to open around
    `opening` [N] over a width of `softness` [N], and then add `flow` [m/s per N] of speed. `port` [N*s**2/m**2] is in
    series with both.
    """

    leak: float
    orifice: float
    opening: float
    softness: float
    flow: float
    port: float

    def scaled(
        self, leak: float = 1.0, orifice: float = 1.0, flow: float = 1.0, opening: float = 1.0
    ) -> Valve:
        """Give the valve with its parts multiplied (another oil: leak; another shim stack: opening, flow)."""
        return replace(
            self,
            leak=self.leak * leak,
            orifice=self.orifice * orifice,
            flow=self.flow * flow,
            opening=self.opening * opening,
        )


@dataclass(frozen=True)
class Damper:
    """An invented damper: everything about it is known. SI units.

    stiffness : of the oil column, hoses and mounts [N/m]; air : how many times softer they are at zero pressure;
    void : distance that the shaft loses after a reversal, compression and rebound [m];
    gas_pressure : at full extension, absolute [Pa]; gas_volume at full extension [m**3]; rod : its diameter [m];
    friction : at speed [N]; breakaway : friction at creeping speed over `friction`; fade : share of the damping that is
    lost over one test; gain : compression and rebound, 1 for the damper as drawn (a mounting changes it).
    """

    compression: Valve
    rebound: Valve
    stiffness: float = 2.5e6
    air: float = 1.0
    void: tuple[float, float] = (0.0, 0.0)
    rod: float = 0.012
    gas_pressure: float = 9e5
    gas_volume: float = 6e-5
    polytropic: float = 1.15
    friction: float = 12.0
    breakaway: float = 1.15
    fade: float = 0.0
    gain: tuple[float, float] = (1.0, 1.0)

    def valve(self, side: str) -> Valve:
        """Give that side's valve."""
        return self.compression if side == "compression" else self.rebound


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
    """One test of the bench. All (n,) in SI; velocity is the true one; `speed` is the nominal peak speed [m/s]."""

    time: Array
    travel: Array
    force: Array
    velocity: Array
    speed: float


# --- the true curve ---------------------------------------------------------------------------------------------------
def _opening_speed(p: Array, force: Array) -> tuple[Array, Array]:
    """Speed through bleed and shims, and its slope, at valve force >= 0. p: (6, n) in the order of `Valve`."""
    leak, orifice, opening, softness, flow, _ = p
    root = np.sqrt(leak * leak + 4.0 * orifice * force)
    bleed = 2.0 * force / (leak + root)
    scaled = (force - opening) / softness
    falling = np.exp(-np.abs(scaled))
    lift = softness * (np.maximum(scaled, 0.0) + np.log1p(falling))
    closed = softness * np.exp(-opening / softness)  # lift at no force, next to nothing
    share = np.where(scaled > 0.0, 1.0, falling) / (1.0 + falling)
    return bleed + flow * np.maximum(lift - closed, 0.0), 1.0 / root + flow * share


def _parameters(valves: Sequence[Valve]) -> Array:
    return np.array([[v.leak, v.orifice, v.opening, v.softness, v.flow, v.port] for v in valves]).T


def true_force(damper: Damper, side: str, speed: Array | float) -> Array:
    """Static damping force [N], >= 0, at `speed` >= 0 [m/s]: gas force and friction are off, no lag, no fade."""
    v = np.atleast_1d(np.asarray(speed, dtype=float))
    p = _parameters([damper.valve(side)]) * np.ones((1, v.size))
    low, high = np.zeros(v.size), np.full(v.size, 1e6)
    for _ in range(80):  # bisection: the curve rises
        middle = 0.5 * (low + high)
        below = _opening_speed(p, middle)[0] < v
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    force = 0.5 * (low + high) + p[5] * v * v
    gain = damper.gain[SIDES.index(side)]
    return np.asarray((gain * force).reshape(np.shape(speed)))


def true_secant(damper: Damper, side: str, speed: Array | float) -> Array:
    """Static damping force over speed [N*s/m]."""
    return np.asarray(true_force(damper, side, speed) / np.asarray(speed, dtype=float))


def opening_speed(damper: Damper, side: str) -> float:
    """Speed [m/s] at which the shim stack reaches the force that it is preloaded to: the physical knee."""
    valve = damper.valve(side)
    return float(_opening_speed(_parameters([valve]), np.array([valve.opening]))[0][0])


def gas_force(damper: Damper, travel: Array | float) -> Array:
    """Gas force [N] at that travel: pressure over the atmosphere on the rod, polytropic."""
    area = math.pi * damper.rod**2 / 4.0
    volume = damper.gas_volume - area * np.asarray(travel, dtype=float)
    pressure = damper.gas_pressure * (damper.gas_volume / volume) ** damper.polytropic
    return np.asarray(area * (pressure - ATMOSPHERE))


def friction_force(damper: Damper, velocity: Array | float) -> Array:
    """Friction [N], house sign of the velocity: + in compression."""
    v = np.asarray(velocity, dtype=float)
    bump = 1.0 + (damper.breakaway - 1.0) * np.exp(-((v / 0.004) ** 2))
    return np.asarray(damper.friction * bump * np.tanh(v / 0.0006))


# --- the flow balance -------------------------------------------------------------------------------------------------
def _crank(phase: Array, stroke: Array, speed: Array, ratio: Array) -> tuple[Array, Array, Array]:
    """Travel about the middle, velocity, and angular speed of a crank whose greatest speed is `speed`."""
    fine = np.linspace(0.0, 2.0 * math.pi, 721)
    shape = np.sin(fine) + 0.5 * np.multiply.outer(ratio, np.sin(2.0 * fine))
    peak = np.abs(shape).max(axis=-1)
    radius = stroke / 2.0
    omega = speed / (radius * peak)
    travel = -radius * (np.cos(phase) + 0.25 * ratio * (np.cos(2.0 * phase) - 1.0))
    velocity = radius * omega * (np.sin(phase) + 0.5 * ratio * np.sin(2.0 * phase))
    return travel, velocity, omega


def steady_loops(
    dampers: Sequence[Damper], speeds: Sequence[float], strokes: Sequence[float], ratios: Sequence[float]
) -> Array:
    """Damping force [N] of the settled cycle, gas and friction off: (n, PHASES + 1) over phase 0 to 2 pi.

    All sequences have n entries, one per test; the phase starts at full extension. Backward Euler, Newton in each
    step, all tests side by side; the second cycle is kept.
    """
    n = len(dampers)
    sides = np.stack(
        [_parameters([d.compression for d in dampers]), _parameters([d.rebound for d in dampers])]
    )
    stiffness = np.array([d.stiffness for d in dampers])
    air = np.array([d.air for d in dampers])
    soft = 150.0  # N, the pressure at which the entrained air is half gone
    void = np.array([d.void for d in dampers]).T  # (2, n)
    stroke, speed, ratio = (np.asarray(values, dtype=float) for values in (strokes, speeds, ratios))
    peak_force = np.stack(
        [
            [
                float(true_force(replace(d, gain=(1.0, 1.0)), s, float(v)))
                for d, v in zip(dampers, speeds, strict=True)
            ]
            for s in SIDES
        ]
    )
    void_rate = speed / (0.015 * peak_force)  # a void yields at 1.5 % of the side's peak force
    left = void.copy()
    _, _, omega = _crank(np.zeros(n), stroke, speed, ratio)
    step = 2.0 * math.pi / PHASES / omega
    turns = 2.0 * math.pi * np.arange(PHASES) / PHASES
    velocities = np.array([_crank(np.full(n, turn), stroke, speed, ratio)[1] for turn in turns])
    lanes = np.arange(n)
    valve_force = np.zeros(n)  # signed
    stored = np.zeros(n)
    force = np.zeros(n)
    out = np.zeros((n, PHASES + 1))
    for k in range(1, 2 * PHASES + 1):
        velocity = velocities[k % PHASES]
        moving = np.where(velocity >= 0.0, 0, 1)
        deep = void[moving, lanes]
        gate = np.where(deep > 0, left[moving, lanes] / (left[moving, lanes] + 0.01 * deep + 1e-9), 0.0)
        yielding = gate * void_rate[moving, lanes]
        same = np.where(velocity >= 0.0, 1.0, -1.0)
        for _ in range(3):
            positive = valve_force >= 0.0
            p = np.where(positive, sides[0], sides[1])
            size = np.abs(valve_force)
            flow, slope = _opening_speed(p, size)
            total = size + p[5] * flow * flow
            d_total = 1.0 + 2.0 * p[5] * flow * slope
            held = (total + air * soft * np.log1p(total / soft)) / stiffness
            d_held = (1.0 + air * soft / (soft + total)) / stiffness * d_total
            sign = np.where(positive, 1.0, -1.0)
            into_void = np.where(sign == same, yielding, 0.0)
            residual = sign * held - stored + step * (sign * flow + sign * into_void * total - velocity)
            gradient = d_held + step * (slope + into_void * d_total)
            valve_force = valve_force - residual / gradient
        positive = valve_force >= 0.0
        p = np.where(positive, sides[0], sides[1])
        size = np.abs(valve_force)
        flow, _ = _opening_speed(p, size)
        total = size + p[5] * flow * flow
        sign = np.where(positive, 1.0, -1.0)
        stored = sign * (total + air * soft * np.log1p(total / soft)) / stiffness
        force = sign * total
        closing = np.where(sign == same, yielding, 0.0) * total * step
        left[moving, lanes] = np.maximum(left[moving, lanes] - closing, 0.0)
        other = 1 - moving  # the side that is not worked draws its void back
        left[other, lanes] = np.minimum(left[other, lanes] + np.abs(velocity) * step, void[other, lanes])
        if k >= PHASES:
            out[:, k - PHASES] = force
    return out


# --- what is recorded -------------------------------------------------------------------------------------------------
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
    """Record the damper at each peak speed [m/s], stroke [m] peak to peak, `rate` [Hz], that many cycles each.

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
        _, _, omega = _crank(np.zeros(1), np.array([stroke]), np.array([speed]), np.array([rig.crank_ratio]))
        samples = int(turns * 2.0 * math.pi / float(omega[0]) * rate)
        stamp = np.arange(samples) / rate
        true_time = stamp + rig.jitter / rate * np.clip(rng.standard_normal(samples), -3.0, 3.0)
        true_time[0] = 0.0
        phase = float(omega[0]) * np.maximum(true_time, 0.0)
        travel, velocity, _ = _crank(phase, np.array(stroke), np.array(speed), np.array(rig.crank_ratio))
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
    """Hung weights as written down: mass [kg], distance [m], duration [s], direction +1 compression; scale readings [N]."""

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
    distance: float = 0.080,
    start: float = 0.050,
    moving_mass: float = 0.0,
    frame_rate: float = 240.0,
    readings: int = 4,
    scale_quantum: float = 1.0,
) -> Drops:
    """Hang masses on a vertical shaft and time them with a camera between two marks `distance` apart."""
    duration = []
    for mass, direction in zip(masses, directions, strict=True):
        place = np.linspace(start, start + distance, 201)
        weight = (mass + moving_mass) * GRAVITY
        push = weight - direction * gas_force(damper, place) - damper.friction
        side = "compression" if direction > 0 else "rebound"
        speed = np.array([_speed_at(damper, side, float(f)) for f in push]) * (
            1.0 + 0.005 * rng.standard_normal()
        )
        seconds = float(np.trapezoid(1.0 / speed, place))
        first = rng.uniform(0.0, 1.0)  # where between two frames the first mark is passed
        frames = math.floor(seconds * frame_rate + first)
        duration.append(max(frames, 1) / frame_rate)
    middle = start + distance / 2.0
    gas = float(gas_force(damper, middle))
    wander = 0.6 * rng.standard_normal((2, readings))
    return Drops(
        mass=np.asarray(masses, dtype=float),
        distance=np.full(len(duration), distance),
        duration=np.asarray(duration),
        direction=np.asarray(directions, dtype=float),
        push=_quantised(gas + damper.friction + wander[0], scale_quantum),
        back=_quantised(gas - damper.friction + wander[1], scale_quantum),
    )


def _speed_at(damper: Damper, side: str, force: float) -> float:
    """Speed [m/s] at which that side gives `force` [N], by bisection."""
    low, high = 0.0, 20.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if float(true_force(damper, side, middle)) < force:
            low = middle
        else:
            high = middle
    return max(0.5 * (low + high), 1e-6)


# --- drawing dampers at random ----------------------------------------------------------------------------------------
def remounted(damper: Damper, rng: np.random.Generator, scatter: float = 0.015) -> Damper:
    """Give the same damper after it was taken out and mounted again: one gain per side."""
    gain = np.asarray(damper.gain) * (1.0 + scatter * rng.standard_normal(2))
    return replace(damper, gain=(float(gain[0]), float(gain[1])))


def _random_valve(rng: np.random.Generator, low_speed: float) -> Valve:
    """Draw a valve whose damping at creeping speed is `low_speed` [N*s/m]."""
    if rng.random() < 0.7:  # digressive: the shims open somewhere in the tested range
        knee = rng.uniform(0.10, 0.45)
        opening = low_speed * knee * rng.uniform(1.0, 1.15)
        orifice = low_speed * rng.uniform(0.05, 0.4)
        high = low_speed * rng.uniform(0.20, 0.55)
        flow = 1.0 / high - 1.0 / low_speed
        port = rng.uniform(0.0, 0.25) * high
    else:  # progressive: bleed and port rule, the shims only soften the rise
        opening = low_speed * rng.uniform(0.8, 2.0)
        orifice = low_speed * rng.uniform(0.3, 1.0)
        flow = rng.uniform(0.1, 0.3) / low_speed
        port = rng.uniform(0.05, 0.25) * low_speed
    return Valve(low_speed, orifice, opening, opening * rng.uniform(0.05, 0.15), flow, port)


def random_damper(rng: np.random.Generator, void_share: float = 0.4) -> Damper:
    """Draw a damper of a two-seat buggy: secants of some 300-6000 N*s/m; `void_share` of them have a dead stroke."""
    low_compression = math.exp(rng.uniform(math.log(600.0), math.log(2500.0)))
    low_rebound = min(low_compression * math.exp(rng.uniform(math.log(1.2), math.log(2.6))), 4500.0)
    void = [0.0, 0.0]
    if rng.random() < void_share:
        void[int(rng.integers(2))] = rng.uniform(0.002, 0.010)
    rod = float(rng.choice([0.012, 0.014, 0.016]))
    return Damper(
        compression=_random_valve(rng, low_compression),
        rebound=_random_valve(rng, low_rebound),
        stiffness=math.exp(rng.uniform(math.log(1.5e6), math.log(5e6))),
        air=rng.uniform(0.0, 2.0),
        void=(float(void[0]), float(void[1])),
        rod=rod,
        gas_pressure=rng.uniform(5e5, 14e5),
        gas_volume=rng.uniform(5e-5, 9e-5),
        polytropic=rng.uniform(1.0, 1.3),
        friction=rng.uniform(4.0, 16.0),
        breakaway=rng.uniform(1.0, 1.25),
        fade=rng.uniform(0.0, 0.02),
    )


def random_bench(rng: np.random.Generator) -> Bench:
    """Draw a bench: noise, offset, jitter, resolution and crank."""
    return Bench(
        force_noise=rng.uniform(0.8, 3.0),
        force_quantum=float(rng.choice([0.1, 0.5, 1.0])),
        travel_noise=rng.uniform(0.5e-5, 2.5e-5),
        travel_quantum=float(rng.choice([1e-5, 2e-5, 5e-5])),
        force_offset=rng.uniform(-6.0, 6.0),
        jitter=rng.uniform(0.0, 0.05),
        crank_ratio=float(rng.choice([0.0, rng.uniform(0.05, 0.15)])),
    )
