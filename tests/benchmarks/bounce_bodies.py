"""Bounce records made by a rigid-body engine: a body that heaves and pitches, and a sensor that turns with it.

Takes the machine and what the hands do at its rear axle; gives what a phone lying there would measure.
"""

from __future__ import annotations

from dataclasses import dataclass

import mujoco
import numpy as np
from bounce_truth import G, Hands

STEP = 2.5e-4

MODEL = """
<mujoco>
  <option timestep="{step}" gravity="0 0 -{g}" integrator="implicitfast"/>
  <worldbody>
    <body name="body" pos="0 0 0">
      <joint name="heave" type="slide" axis="0 0 1"/>
      <joint name="pitch" type="hinge" axis="0 -1 0"/>
      <inertial pos="0 0 0" mass="{mass}" diaginertia="{inertia} {inertia} {inertia}"/>
      <site name="phone" pos="{rear} 0 0"/>
      <body name="front" pos="{front} 0 0">
        <joint name="front" type="slide" axis="0 0 1" stiffness="{rate}" springref="{front_ref}"
               frictionloss="{friction}"/>
        <inertial pos="0 0 0" mass="{unsprung}" diaginertia="0.01 0.01 0.01"/>
      </body>
      <body name="rear" pos="{rear} 0 0">
        <joint name="rear" type="slide" axis="0 0 1" stiffness="{rate}" springref="{rear_ref}"
               frictionloss="{friction}"/>
        <inertial pos="0 0 0" mass="{unsprung}" diaginertia="0.01 0.01 0.01"/>
      </body>
    </body>
  </worldbody>
  <sensor><accelerometer site="phone"/></sensor>
</mujoco>
"""


@dataclass(frozen=True)
class Bodies:
    """A machine seen from the side, both wheels of an axle as one; rates and damping at the wheels, alike at both ends.

    factor : pitch inertia over mass * front * rear; 1 makes the ends independent of each other.
    """

    mass: float
    unsprung: float
    wheel_rate: float
    tyre_rate: float
    c_compression: float
    c_rebound: float
    friction: float
    front: float = 0.9
    rear: float = 0.9
    factor: float = 1.0

    @property
    def end_mass(self) -> float:
        """Sprung mass that the rear axle carries."""
        return self.mass * self.front / (self.front + self.rear)


def measure(bodies: Bodies, hands: Hands, times: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Phone's acceleration along its upright axis less gravity, rear compression at the wheel, and pitch."""
    front_mass = bodies.mass - bodies.end_mass
    text = MODEL.format(
        step=STEP,
        g=G,
        mass=bodies.mass,
        inertia=bodies.factor * bodies.mass * bodies.front * bodies.rear,
        front=bodies.front,
        rear=-bodies.rear,
        rate=bodies.wheel_rate,
        unsprung=bodies.unsprung,
        friction=bodies.friction,
        # at rest the joints stand at zero: the spring is stretched by the load it carries
        front_ref=-front_mass * G / bodies.wheel_rate,
        rear_ref=-bodies.end_mass * G / bodies.wheel_rate,
    )
    model = mujoco.MjModel.from_xml_string(text)
    data = mujoco.MjData(model)
    wheels = [mujoco.mj_name2id(model, mujoco.mjtObj.mjOBJ_BODY, name) for name in ("front", "rear")]
    loads = [(front_mass + bodies.unsprung) * G, (bodies.end_mass + bodies.unsprung) * G]
    body = mujoco.mj_name2id(model, mujoco.mjtObj.mjOBJ_BODY, "body")
    count = round(times[-1] / STEP) + 2
    trace = np.empty((count, 4))
    for i in range(count):
        mujoco.mj_forward(model, data)
        trace[i] = data.time, data.sensordata[2] - G, data.qpos[3], data.qpos[1]
        for joint in (2, 3):
            speed = data.qvel[joint]  # wheel up against the body = compression
            c = bodies.c_compression if speed > 0 else bodies.c_rebound
            data.qfrc_applied[joint] = -c * speed
        for wheel, load in zip(wheels, loads, strict=True):
            data.xfrc_applied[wheel, 2] = max(0.0, load - bodies.tyre_rate * data.xpos[wheel, 2])
        force = hands(data.time)
        data.xfrc_applied[body, 2] = force
        data.xfrc_applied[body, 4] = bodies.rear * force  # at the rear axle, x = -rear
        mujoco.mj_step(model, data)
    return tuple(np.interp(times, trace[:, 0], trace[:, k]) for k in (1, 2, 3))  # type: ignore[return-value]
