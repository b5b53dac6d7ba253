"""Whole machines bounced in a rigid-body engine: the second maker of the benchmark, with the engine's own friction.

Takes (seed, start); gives the same cases as `whole_machines.cases`, moved by MuJoCo: pitch as a turn, wheels that
slide along the body's axis, an accelerometer on a tilted site, friction as a soft constraint (frictionloss) that
creeps in proportion to the load below its limit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import mujoco
import numpy as np

from tests.benchmarks.whole_machines import (
    FINEST,
    STARTS,
    Case,
    Friction,
    G,
    HalfCar,
    Hands,
    Start,
    Stroke,
    TrueAxle,
    half_car,
    hands_of,
)

STEP = 2.5e-4

MODEL = """
<mujoco>
  <option timestep="{step}" gravity="0 0 -{g}" integrator="implicitfast"/>
  <compiler angle="radian"/>
  <worldbody>
    <body name="body" pos="0 0 0">
      <joint name="heave" type="slide" axis="0 0 1"/>
      <joint name="pitch" type="hinge" axis="0 -1 0"/>
      <inertial pos="0 0 0" mass="{mass}" diaginertia="{inertia} {inertia} {inertia}"/>
      <site name="phone" pos="{phone} 0 {height}" euler="0 {tilt} 0"/>
      {wheels}
    </body>
  </worldbody>
  <sensor><accelerometer site="phone"/></sensor>
</mujoco>
"""
WHEEL = """
<body name="{name}" pos="{lever} 0 0">
  <joint name="{name}" type="slide" axis="0 0 1" stiffness="{rate}" springref="{rest}" frictionloss="{friction}"
         solreffriction="{time} 1" solimpfriction="{hard} {hard} 0.001"/>
  <inertial pos="0 0 0" mass="{unsprung}" diaginertia="0.01 0.01 0.01"/>
</body>
"""


@dataclass(frozen=True)
class Softness:
    """How the engine holds what friction holds: time constant [s], and the share of the motion that is taken out."""

    time: float
    hard: float


@dataclass(frozen=True)
class Phone:
    """Place ahead of the centre of gravity and above it [m], tilt towards the front [rad]."""

    place: float
    height: float
    tilt: float


def _damping(axle: TrueAxle) -> Callable[[float], float]:
    """Force of both dampers of an axle at the wheel by the speed of compression."""

    def pull(stroke: Stroke, speed: float) -> float:
        beyond = speed - stroke.knee
        bent = beyond + math.hypot(beyond, stroke.width) + stroke.knee - math.hypot(stroke.knee, stroke.width)
        return stroke.low * speed + (stroke.high - stroke.low) * 0.5 * bent

    def force(speed: float) -> float:
        shaft = axle.ratio * speed
        if shaft >= 0.0:
            return 2.0 * axle.ratio * pull(axle.compression, shaft)
        return -2.0 * axle.ratio * pull(axle.rebound, -shaft)

    return force


def move(
    car: HalfCar, soft: Softness, phone: Phone, hands: Hands, duration: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Phone's acceleration along its axis less that at rest, rear compression at the wheel, share of the rear load.

    At `FINEST` samples a second.
    """
    axles, levers = (car.front, car.rear), car.levers
    wheels = "".join(
        WHEEL.format(
            name=name,
            lever=lever,
            rate=2.0 * axle.wheel_rate,
            rest=-axle.sprung * G / axle.wheel_rate,  # joints stand at zero at rest
            friction=2.0 * axle.friction.force,
            time=soft.time,
            hard=soft.hard,
            unsprung=2.0 * axle.unsprung,
        )
        for name, axle, lever in zip(("front", "rear"), axles, levers, strict=True)
    )
    model = mujoco.MjModel.from_xml_string(
        MODEL.format(
            step=STEP,
            g=G,
            mass=car.mass,
            inertia=car.inertia,
            phone=phone.place,
            height=phone.height,
            tilt=phone.tilt,
            wheels=wheels,
        )
    )
    data = mujoco.MjData(model)
    body, *wheel = (mujoco.mj_name2id(model, mujoco.mjtObj.mjOBJ_BODY, n) for n in ("body", "front", "rear"))
    damping = [_damping(axle) for axle in axles]
    loads = [2.0 * G * (axle.sprung + axle.unsprung) for axle in axles]
    rates = [2.0 * axle.tyre_rate for axle in axles]
    rolling = [2.0 * axle.tyre_damping for axle in axles]
    every, count = round(1.0 / (FINEST * STEP)), round(duration / STEP)
    pushes = np.interp(STEP * np.arange(count), hands.times, hands.forces).tolist()
    out = np.empty((3, -(-count // every)))
    at_rest = G * math.cos(phone.tilt)
    for i, push in enumerate(pushes):
        mujoco.mj_step1(model, data)
        ground = 0.0
        for k in (0, 1):
            data.qfrc_applied[2 + k] = -damping[k](data.qvel[2 + k])
            # heights and speeds of the wheels: small turns carry the axle along the vertical
            height = data.xpos[wheel[k], 2]
            speed = data.qvel[0] + levers[k] * data.qvel[1] + data.qvel[2 + k]
            ground = max(0.0, loads[k] - rates[k] * height - rolling[k] * speed)
            data.xfrc_applied[wheel[k], 2] = ground
        data.xfrc_applied[body, 2] = push
        data.xfrc_applied[body, 4] = -levers[1] * push
        way = data.qpos[3]
        mujoco.mj_step2(model, data)
        if i % every == 0:
            out[:, i // every] = data.sensordata[2] - at_rest, way, ground / loads[1]
    return out[0], out[1], out[2]


def cases(wanted: Sequence[tuple[int, Start]]) -> list[Case]:
    """Make all bounces of (seed, start), one after the other."""
    made = []
    for seed, start in wanted:
        rng = np.random.default_rng([seed, 6])
        soft = Softness(
            float(np.exp(rng.uniform(np.log(0.005), np.log(0.05)))), float(rng.uniform(0.85, 0.98))
        )
        drawn = half_car(seed)
        front, rear = (
            replace(axle, friction=Friction("engine", axle.friction.force))
            for axle in (drawn.front, drawn.rear)
        )
        car = replace(drawn, front=front, rear=rear)
        rng = np.random.default_rng([seed, 7, STARTS.index(start)])
        phone = Phone(
            car.levers[1] + float(rng.uniform(-0.1, 0.1)),
            float(rng.uniform(0.1, 0.4)),
            float(np.radians(rng.uniform(-5.0, 5.0))),
        )
        rate = int(rng.choice([200, 200, 200, 200, 100, 400]))
        thin = slice(None, None, FINEST // rate)
        hands, kinds = hands_of(seed, car, start)
        acceleration, compression, load = move(car, soft, phone, hands, hands.end)
        time = np.arange(len(acceleration)) / FINEST
        made.append(
            Case(
                seed,
                start,
                car,
                kinds,
                rate,
                time[thin],
                acceleration[thin],
                compression[thin],
                float(load.min()),
            )
        )
    return made
