"""An invented damper on an invented bench, richer than any law that is fitted.

Takes parameters; gives the true static curve and the settled cycle on a crank. Uses: numpy only, nothing of
the program that is tested with it. `bench_model` adds what a bench records, `random_dampers` draws at random.

The physics, in the house's signs (travel and velocity + in compression, force + pushes the ends apart).
Pressures times piston area are written as shaft forces and flows over piston area as shaft speeds, so every
valve is stated in N and m/s:

- flow balance: shaft speed = flow through the valve + compression of the oil + collapse of a void;
- valve of each side: a bleed (viscous leak and sharp-edged hole) beside a shim stack that opens smoothly with
  pressure, both behind a port whose loss grows with the square of the flow. The static curve is smooth,
  digressive or progressive, and follows none of the laws line, power, leak + orifice or knee exactly;
- oil column and hoses are elastic, softer at low pressure because of dissolved and entrained air: this
  makes lag and loops that open with speed;
- a void (too little oil, or foam) must be closed by the shaft after each reversal before that side builds
  pressure;
- gas spring: polytropic; friction: smooth sign, with a bump at creeping speed.
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

    leak [N*s/m] and orifice [N*s**2/m**2] of the bleed: F = leak v + orifice v^2. The shims begin to open
    around `opening` [N] over a width of `softness` [N], and then add `flow` [m/s per N] of speed. `port`
    [N*s**2/m**2] is in series with both.
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

    stiffness : of the oil column, hoses and mounts [N/m]; air : how many times softer they are at zero
    pressure; void : distance that the shaft loses after a reversal, compression and rebound [m];
    gas_pressure : at full extension, absolute [Pa]; gas_volume at full extension [m**3]; rod : its diameter
    [m]; friction : at speed [N]; breakaway : friction at creeping speed over `friction`; fade : share of
    the damping that is lost over one test; gain : compression and rebound, 1 for the damper as drawn (a
    mounting changes it).
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


def _opening_speed(p: Array, force: Array) -> tuple[Array, Array]:
    """Give speed through bleed and shims, and its slope, at valve force >= 0; p (6, n) as in `Valve`."""
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
    """Give the static damping force [N], >= 0, at `speed` >= 0 [m/s]: no gas, friction, lag or fade."""
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
    """Give the static damping force over speed [N*s/m]."""
    return np.asarray(true_force(damper, side, speed) / np.asarray(speed, dtype=float))


def opening_speed(damper: Damper, side: str) -> float:
    """Speed [m/s] at which the bleed alone carries the force that the shims are preloaded to: the physical knee."""
    valve = damper.valve(side)
    return 2.0 * valve.opening / (valve.leak + math.sqrt(valve.leak**2 + 4.0 * valve.orifice * valve.opening))


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


def crank(phase: Array, stroke: Array, speed: Array, ratio: Array) -> tuple[Array, Array, Array]:
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
    """Give the damping force [N] of the settled cycle: (n, PHASES + 1), phase from 0 to 2 pi.

    Gas and friction are off. All sequences have n entries, one per test; the phase starts at full
    extension. Backward Euler, Newton in each step, all tests side by side; the second cycle is kept.
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
    _, _, omega = crank(np.zeros(n), stroke, speed, ratio)
    step = 2.0 * math.pi / PHASES / omega
    turns = 2.0 * math.pi * np.arange(PHASES) / PHASES
    velocities = np.array([crank(np.full(n, turn), stroke, speed, ratio)[1] for turn in turns])
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
