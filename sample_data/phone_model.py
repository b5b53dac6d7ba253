"""An invented buggy that is bounced, driven and jumped, and the phone and the travel sensor that record it.

Takes dampers, a road and hands; gives what a phone or a travel sensor would have recorded. Uses: damper_model, numpy.

The machine is richer than anything that is fitted: a body that heaves and pitches on two axles (both corners of an
axle together), unsprung masses on tyres that leave the ground, springs that come loose when they are fully extended,
stops at both ends, dampers with their static curves and a void that must be closed on the way out, dry friction.
Heights count from rest on level ground, + up; pitch + nose up. Fourth-order Runge-Kutta with a fixed step.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from sample_data.damper_model import GRAVITY, Array, Damper, true_force

STEP = 0.002  # s
TABLE = 0.005  # m/s, step of the tables of damping force
FASTEST = 8.0  # m/s, their end
CREEP = 0.004  # m/s at the wheel: friction changes its sign over this speed


@dataclass(frozen=True)
class Axle:
    """Both corners of one axle, at the wheel: masses [kg], rates [N/m], distances [m], friction [N]."""

    lever: float  # ahead of the centre of gravity, + front
    sprung: float
    unsprung: float
    wheel_rate: float
    tyre_rate: float
    ratio: float  # damper travel / wheel travel
    static: float  # shaft travel at rest
    full: float  # full shaft travel
    damper: Damper
    friction: float = 60.0
    bump_rate: float = 150e3
    droop_rate: float = 120e3


@dataclass(frozen=True)
class Buggy:
    """The machine: front and rear axle and the pitch inertia [kg*m**2]."""

    front: Axle
    rear: Axle
    inertia: float

    @property
    def mass(self) -> float:
        """Sprung mass [kg]."""
        return self.front.sprung + self.rear.sprung


@dataclass(frozen=True)
class Motion:
    """What the machine did, (n,) each: time, body height and pitch with rates and accelerations, shaft travel, load.

    `load` is the force of the ground on the axle [N], 0 in the air.
    """

    time: Array
    heave: Array
    pitch: Array
    pitch_rate: Array
    heave_acceleration: Array
    pitch_acceleration: Array
    front_travel: Array
    rear_travel: Array
    front_load: Array
    rear_load: Array

    @property
    def airborne(self) -> Array:
        """True where no tyre touches the ground."""
        return np.asarray((self.front_load <= 0.0) & (self.rear_load <= 0.0))


def _table(axle: Axle) -> list[float]:
    """Damping force of both corners at the wheel, over the wheel's speed from -FASTEST to FASTEST."""
    speed = TABLE * np.arange(round(FASTEST / TABLE) + 1)
    both = 2.0 * axle.ratio
    inward = both * true_force(axle.damper, "compression", axle.ratio * speed)
    outward = both * true_force(axle.damper, "rebound", axle.ratio * speed)
    return [*(-outward[:0:-1]).tolist(), *inward.tolist()]


def _strut(axle: Axle) -> Callable[[float, float, float], float]:
    """Give the force of one axle's struts above that at rest, by compression from rest, its rate, and the void left."""
    table = _table(axle)
    weight = axle.sprung * GRAVITY
    rate, tanh = axle.wheel_rate, math.tanh
    room, full = axle.static / axle.ratio, axle.full / axle.ratio
    last, deep = len(table) - 2, axle.damper.void[1]

    def force(depth: float, speed: float, void: float) -> float:
        spring = weight + rate * depth
        total = spring if spring > 0.0 else 0.0  # a loose spring does not pull
        travel = room + depth
        if travel > full:
            total += (
                axle.bump_rate * (travel - full) * (1.0 if speed > 0.0 else 0.15)
            )  # rubber gives back little
        elif travel < 0.0:
            total += axle.droop_rate * travel
        place = (speed + FASTEST) / TABLE
        i = min(max(int(place), 0), last)
        damping = table[i] + (table[i + 1] - table[i]) * (place - i)
        if void > 0.0 and speed < 0.0:
            damping *= 1.0 - void / deep  # foam: the force builds up while the void closes
        total += damping
        return total + axle.friction * tanh(speed / CREEP) - weight

    return force


def simulate(
    buggy: Buggy,
    duration: float,
    front_road: Array | None = None,
    rear_road: Array | None = None,
    push: Array | None = None,
    step: float = STEP,
) -> Motion:
    """Move the machine for `duration` [s].

    front_road, rear_road : height of the ground under each axle [m]; push : force of hands on the body over the rear
    axle, + up [N]; each (2 n + 1,) at half steps, None for nothing.
    """
    n = round(duration / step)
    flat = np.zeros(2 * n + 1)
    ground_f, ground_r, hands = (
        (flat if given is None else given).tolist() for given in (front_road, rear_road, push)
    )
    front, rear = buggy.front, buggy.rear
    strut_f, strut_r = _strut(front), _strut(rear)
    a, b = front.lever, -rear.lever
    mass, inertia = buggy.mass, buggy.inertia
    load_f = (front.sprung + front.unsprung) * GRAVITY
    load_r = (rear.sprung + rear.unsprung) * GRAVITY
    tyre_f, tyre_r, wheel_f, wheel_r = front.tyre_rate, rear.tyre_rate, front.unsprung, rear.unsprung
    void_f, void_r = front.damper.void[1], rear.damper.void[1]

    def slope(s: tuple[float, ...], k: int, gap_f: float, gap_r: float) -> tuple[float, ...]:
        z, th, zf, zr, vz, w, vf, vr = s
        ff = strut_f(zf - z - a * th, vf - vz - a * w, gap_f)
        fr = strut_r(zr - z + b * th, vr - vz + b * w, gap_r)
        nf = load_f + tyre_f * (ground_f[k] - zf)
        nr = load_r + tyre_r * (ground_r[k] - zr)
        nf = (nf if nf > 0.0 else 0.0) - load_f
        nr = (nr if nr > 0.0 else 0.0) - load_r
        h = hands[k]
        return (
            vz,
            w,
            vf,
            vr,
            (ff + fr + h) / mass,
            (a * ff - b * fr - b * h) / inertia,
            (nf - ff) / wheel_f,
            (nr - fr) / wheel_r,
        )

    state: tuple[float, ...] = (0.0,) * 8
    gap_f, gap_r = void_f, void_r
    rows: list[tuple[float, ...]] = []
    half, sixth = 0.5 * step, step / 6.0
    for i in range(n + 1):
        k1 = slope(state, 2 * i, gap_f, gap_r)
        z, th, zf, zr, vz, w, vf, vr = state
        rows.append((z, th, w, k1[4], k1[5], zf - z - a * th, zr - z + b * th, zf, zr))
        if i == n:
            break
        k2 = slope(tuple(x + half * d for x, d in zip(state, k1, strict=True)), 2 * i + 1, gap_f, gap_r)
        k3 = slope(tuple(x + half * d for x, d in zip(state, k2, strict=True)), 2 * i + 1, gap_f, gap_r)
        k4 = slope(tuple(x + step * d for x, d in zip(state, k3, strict=True)), 2 * i + 2, gap_f, gap_r)
        state = tuple(
            x + sixth * (p + 2.0 * q + 2.0 * r + s)
            for x, p, q, r, s in zip(state, k1, k2, k3, k4, strict=True)
        )
        # the shaft closes a void on its way out and opens it again on its way in
        gap_f = min(max(gap_f + step * front.ratio * (vf - vz - a * w), 0.0), void_f)
        gap_r = min(max(gap_r + step * rear.ratio * (vr - vz + b * w), 0.0), void_r)
    z, th, w, az, aw, depth_f, depth_r, zf, zr = np.array(rows).T
    even = slice(0, 2 * n + 1, 2)
    return Motion(
        step * np.arange(n + 1),
        z,
        th,
        w,
        az,
        aw,
        front.static + front.ratio * depth_f,
        rear.static + rear.ratio * depth_r,
        np.maximum(load_f + tyre_f * (np.array(ground_f)[even] - zf), 0.0),
        np.maximum(load_r + tyre_r * (np.array(ground_r)[even] - zr), 0.0),
    )


@dataclass(frozen=True)
class Phone:
    """How a phone lies and what it adds: noise and bias in SI, rates [Hz], jitter as share of the sampling step.

    turned : rotation from body axes (x ahead, y left, z up) to the phone's; ahead, above : place from the centre of
    gravity [m]; scale : of each axis.
    """

    turned: Array
    ahead: float = 0.0
    above: float = 0.0
    rate: float = 200.0
    gyro_rate: float = 0.0  # 0: no gyroscope
    jitter: float = 0.06
    noise: float = 0.06
    bias: tuple[float, float, float] = (0.03, -0.05, 0.04)
    scale: tuple[float, float, float] = (1.002, 0.997, 1.004)
    gyro_noise: float = 0.004
    gyro_bias: tuple[float, float, float] = (0.006, -0.003, 0.004)


def turned(roll: float, pitch: float, yaw: float) -> Array:
    """Rotation matrix of three turns [degrees], about x, then y, then z."""
    x, y, z = np.radians([roll, pitch, yaw])
    about_x = np.array([[1, 0, 0], [0, math.cos(x), -math.sin(x)], [0, math.sin(x), math.cos(x)]])
    about_y = np.array([[math.cos(y), 0, math.sin(y)], [0, 1, 0], [-math.sin(y), 0, math.cos(y)]])
    about_z = np.array([[math.cos(z), -math.sin(z), 0], [math.sin(z), math.cos(z), 0], [0, 0, 1]])
    return np.asarray(about_z @ about_y @ about_x)


@dataclass(frozen=True)
class Carried:
    """Motion of the body beyond heave and pitch, (n,): acceleration ahead and to the left, yaw rate."""

    ahead: Array
    left: Array
    yaw_rate: Array


def _times(rate: float, jitter: float, start: float, end: float, rng: Any) -> Array:
    count = int((end - start) * rate)
    step = 1.0 / rate
    return np.asarray(start + step * (np.arange(count) + rng.uniform(-jitter, jitter, count)) + 2e-4)


def accelerometer(
    motion: Motion, phone: Phone, rng: Any, carried: Carried | None = None
) -> tuple[Array, Array]:
    """Record the accelerometer, gravity in: time (n,) and specific force (n, 3) in the phone's axes [m/s**2]."""
    sine, cosine = np.sin(motion.pitch), np.cos(motion.pitch)
    up = motion.heave_acceleration + phone.ahead * motion.pitch_acceleration + GRAVITY
    ahead = -phone.above * motion.pitch_acceleration - phone.ahead * motion.pitch_rate**2
    left = np.zeros(up.size)
    if carried is not None:
        ahead, left = ahead + carried.ahead, left + carried.left
    body = np.column_stack([ahead * cosine + up * sine, left, up * cosine - ahead * sine])
    time = _times(phone.rate, phone.jitter, motion.time[0], motion.time[-1], rng)
    force = np.column_stack([np.interp(time, motion.time, axis) for axis in (body @ phone.turned.T).T])
    noise = rng.normal(0.0, phone.noise, force.shape)
    return time, force * np.array(phone.scale) + np.array(phone.bias) + noise


def gyroscope(motion: Motion, phone: Phone, rng: Any, carried: Carried | None = None) -> tuple[Array, Array]:
    """Record the gyroscope: time (n,) and rotation rates (n, 3) in the phone's axes [rad/s]."""
    yaw = np.zeros(motion.time.size) if carried is None else carried.yaw_rate
    body = np.column_stack([np.zeros(motion.time.size), -motion.pitch_rate, yaw])
    time = _times(phone.gyro_rate, phone.jitter, motion.time[0], motion.time[-1], rng)
    rate = np.column_stack([np.interp(time, motion.time, axis) for axis in (body @ phone.turned.T).T])
    return time, rate + np.array(phone.gyro_bias) + rng.normal(0.0, phone.gyro_noise, rate.shape)


def travel_sensor(
    motion: Motion,
    rng: Any,
    rate: float = 200.0,
    noise: float = 1e-4,
    quantum: float = 5e-5,
    jitter: float = 0.01,
) -> tuple[Array, Array]:
    """Record a linear sensor beside the rear damper: time (n,) and shaft travel (n,) [m]."""
    time = _times(rate, jitter, motion.time[0], motion.time[-1], rng)
    travel = np.interp(time, motion.time, motion.rear_travel) + rng.normal(0.0, noise, time.size)
    return time, np.round(travel / quantum) * quantum


def joined(parts: list[Motion]) -> Motion:
    """Put motions one behind the other in time."""
    start, shifted = 0.0, []
    for part in parts:
        shifted.append(part.time + start)
        start += float(part.time[-1]) + STEP
    names = [n for n in Motion.__dataclass_fields__ if n != "time"]
    return Motion(
        np.concatenate(shifted), *(np.concatenate([getattr(p, name) for p in parts]) for name in names)
    )
