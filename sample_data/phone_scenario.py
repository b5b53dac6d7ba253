"""The story as phone and travel sensor saw it: the rear end bounced, driven and jumped, before and after draining.

Takes nothing; gives the files and their truth. Uses: phone_model, motion_styles, scenario, numpy.

An END was bounced: both rear corners together. The masses of one corner stand in dune_hopper.toml; here each axle holds
both, so masses, rates, damping and friction are twice a corner's and every ratio is the corner's own.
"""

from __future__ import annotations

import functools
import json
import math
import zlib
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from sample_data import motion_styles as styles
from sample_data.damper_model import SIDES, Array, true_secant
from sample_data.phone_model import (
    STEP,
    Axle,
    Buggy,
    Carried,
    Motion,
    Phone,
    accelerometer,
    gyroscope,
    joined,
    simulate,
    travel_sensor,
    turned,
)
from sample_data.scenario import REFERENCE_SPEEDS, SETTINGS

SEED = 20_251
WHEELBASE, FRONT_SHARE, PITCH_FACTOR = 1.8, 0.442, 0.9
STATES = ("before", "after")
_SETTING = {"before": "rear left before", "after": "rear left after draining"}
SETTLED = 0.001  # void that is left when the foam has settled [m]
CALIBRATION = ((0.48, 0.0), (4.12, 0.200))  # V, m


def buggy(state: str, rested: bool = False) -> Buggy:
    """Give the machine of dune_hopper.toml with the rear dampers of that state.

    rested : it has stood for hours, the foam has settled and most of a void is gone.
    """
    damper = SETTINGS[_SETTING[state]]
    if rested:
        damper = replace(damper, void=(0.0, min(damper.void[1], SETTLED)))
    total = 330.0
    front_lever = WHEELBASE * (1.0 - FRONT_SHARE)
    rear_lever = WHEELBASE - front_lever
    front = Axle(
        front_lever,
        146.0,
        42.0,
        2 * 24e3 * 0.72**2,
        124e3,
        0.72,
        0.0415,
        0.190,
        SETTINGS["front left thin oil"],
    )
    rear = Axle(-rear_lever, 184.0, 56.0, 2 * 28e3 * 0.70**2, 140e3, 0.70, 0.046, 0.210, damper)
    return Buggy(front, rear, total * PITCH_FACTOR * front_lever * rear_lever)


def _random(name: str) -> Any:
    return np.random.RandomState(SEED + zlib.crc32(name.encode()))


def _rise(x: Array) -> Array:
    """From 0 to 1 smoothly as x goes from 0 to 1."""
    x = np.clip(x, 0.0, 1.0)
    return np.asarray(x * x * (3.0 - 2.0 * x))


# bounces


def _hands(rng: Any, pushes: int, lifts: int) -> tuple[Array, list[float]]:
    """Force of the hands on the rear end (at half steps) and the instants at which they let go."""
    begin, period = 3.0, 4.4
    releases, parts = [], []
    for k in range(pushes + lifts):
        push = k < pushes
        at = begin + period * k + rng.uniform(-0.15, 0.15) + (1.5 if not push else 0.0)
        slow = rng.uniform(0.8, 1.2)
        size = rng.uniform(1050.0, 1450.0) * (-1.0 if push else 1.0)
        hold, let_go = rng.uniform(0.05, 0.2) if push else rng.uniform(0.2, 0.4), rng.uniform(0.02, 0.035)
        parts.append((at, slow, at + slow + hold, let_go, size))
        releases.append(at + slow + hold)
    duration = releases[-1] + 3.6
    half = 0.5 * STEP * np.arange(2 * round(duration / STEP) + 1)
    force = np.zeros(half.size)
    for at, slow, release, let_go, size in parts:
        force += size * (_rise((half - at) / slow) - _rise((half - release) / let_go))
    return force, releases


@functools.lru_cache(maxsize=8)
def bounced(state: str, name: str, pushes: int, lifts: int) -> tuple[Motion, list[float]]:
    """Bounce the rear end; give the motion and the releases [s]."""
    hands, releases = _hands(_random(f"hands {name}"), pushes, lifts)
    return simulate(buggy(state, rested=True), 0.5 * STEP * (hands.size - 1), push=hands), releases


# drives


def ground(length: float) -> tuple[Array, Array]:
    """Give the ground of the test track: distance and height [m]; the same for every drive."""
    rng = _random("ground")
    x = np.arange(0.0, length, 0.02)
    rough = rng.normal(0.0, 1.0, x.size)
    width = np.exp(-0.5 * (np.arange(-150, 151) * 0.02 / 0.5) ** 2)
    rough = np.convolve(rough, width / np.sqrt((width**2).sum()), mode="same") * 0.010
    height = rough * _rise((x - 12.0) / 5.0)
    for start, count, spacing, size in (
        (40.0, 9, 2.1, 0.075),
        (120.0, 12, 2.4, 0.085),
        (200.0, 10, 2.0, 0.070),
        (290.0, 12, 2.3, 0.090),
        (380.0, 9, 2.2, 0.080),
        (455.0, 10, 2.4, 0.085),
    ):
        phase = (x - start) / spacing
        inside = (phase > 0.0) & (phase < count)
        height[inside] += size * 0.5 * (1.0 - np.cos(2.0 * np.pi * phase[inside]))
    for at, size in ((90.0, 0.36), (260.0, 0.385), (430.0, 0.37)):  # humps that use up the travel
        height += size * np.exp(-0.5 * ((x - at) / 0.9) ** 2)
    return x, height


@functools.lru_cache(maxsize=2)
def driven(state: str) -> Motion:
    """Drive the test track for about 90 s, at the same pace but for a percent or so."""
    pace = 6.9 * (1.0 if state == "before" else 1.012)
    duration = 90.0
    half = 0.5 * STEP * np.arange(2 * round(duration / STEP) + 1)
    wobble = 1.0 + 0.02 * np.sin(2.0 * np.pi * half / (23.0 if state == "before" else 31.0))
    speed = pace * wobble * (_rise((half - 5.0) / 3.0) - _rise((half - 80.5) / 3.0))
    way = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]))]) * 0.5 * STEP
    x, height = ground(float(way[-1]) + 20.0)
    machine = buggy(state)
    return simulate(
        machine,
        duration,
        np.interp(way + 8.0 + WHEELBASE, x, height),
        np.interp(way + 8.0, x, height),
    )


# jumps


@dataclass(frozen=True)
class Jumped:
    """One jump as it was: airtime [s], pitch rate [rad/s] and rotation [rad] while no tyre touches, + nose up."""

    start: float
    airtime: float
    pitch_rate: float
    rotation: float


def _ramp(x: Array) -> Array:
    """Ramp of 3 m and 12 degrees with an entry radius of 3 m, its lip at x = 0; the ground beyond is 0.1 m lower."""
    radius, angle, length = 3.0, math.radians(12.0), 3.0
    bend = radius * math.sin(angle)
    foot = x + length
    curved = radius - np.sqrt(np.maximum(radius**2 - np.clip(foot, 0.0, bend) ** 2, 0.0))
    straight = np.tan(angle) * np.maximum(foot - bend, 0.0)
    return np.where(x <= 0.0, curved + straight, -0.1)


def _one_jump(state: str, number: int) -> tuple[Motion, Carried]:
    rng = _random(f"jump {state} {number}")
    pace = 8.8 * (1.0 + rng.normal(0.0, 0.008))
    still, gather, run = 1.6, 2.4, 1.4
    reach = pace * (0.5 * gather + run)
    duration = 9.4
    half = 0.5 * STEP * np.arange(2 * round(duration / STEP) + 1)
    stop = still + gather + run + 1.9
    speed = pace * (_rise((half - still) / gather) - _rise((half - stop) / 1.8))
    way = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]))]) * 0.5 * STEP - reach
    x = np.arange(way[0] - 5.0, way[-1] + 5.0, 0.02)
    rough = rng.normal(0.0, 1.0, x.size)
    width = np.exp(-0.5 * (np.arange(-100, 101) * 0.02 / 0.4) ** 2)
    rough = np.convolve(rough, width / np.sqrt((width**2).sum()), mode="same") * 0.004
    rough *= (
        _rise((np.abs(x + 2.0) - 3.0) / 2.0) * _rise((x - x[0] - 6.0) / 2.0) * _rise((x[-1] - 6.0 - x) / 2.0)
    )
    height = _ramp(x) + rough
    machine = buggy(state)
    motion = simulate(machine, duration, np.interp(way + WHEELBASE, x, height), np.interp(way, x, height))
    even = slice(0, half.size, 2)
    rate = np.gradient(speed[even], STEP)
    motion, ahead = _turned_round(motion, rate)
    yaw = np.zeros(motion.time.size)
    slow = motion.time > duration
    phase = (motion.time[slow] - duration) / (motion.time[-1] - duration)
    yaw[slow] = 1.1 * np.sin(np.pi * phase) ** 2
    return motion, Carried(ahead, 2.0 * yaw, yaw)


def _turned_round(motion: Motion, ahead: Array) -> tuple[Motion, Array]:
    """Add some seconds of rolling back slowly in a wide turn."""
    n = round(3.6 / STEP)
    back = joined([motion, simulate(buggy("before"), 3.6)])
    return back, np.concatenate([ahead, np.zeros(n + 1)])


def _lift_of_the_nose() -> Motion:
    """Stand for three seconds, lift the nose by 9 degrees about the rear axle and set it down, stand again."""
    time = STEP * np.arange(round(9.0 / STEP) + 1)
    angle = math.radians(9.0) * (_rise((time - 3.0) / 1.1) - _rise((time - 4.7) / 1.2))
    rate = np.gradient(angle, STEP)
    turning = np.gradient(rate, STEP)
    lever = WHEELBASE * FRONT_SHARE
    rest = simulate(buggy("before"), STEP)
    same = np.ones(time.size)
    return Motion(
        time,
        lever * angle,
        angle,
        rate,
        lever * turning,
        turning,
        rest.front_travel[0] * same,
        rest.rear_travel[0] * same,
        1000.0 * same,
        rest.rear_load[0] * same,
    )


@functools.lru_cache(maxsize=2)
def jumped(state: str) -> tuple[Motion, Carried, list[Jumped]]:
    """Lift the nose, then jump three times; give what each jump truly was."""
    parts, carried = [_lift_of_the_nose()], []
    still = np.zeros(parts[0].time.size)
    carried.append(Carried(still, still, still))
    for number in range(3):
        motion, more = _one_jump(state, number)
        parts.append(motion)
        carried.append(more)
    whole = joined(parts)
    moved = Carried(
        *(np.concatenate([getattr(c, n) for c in carried]) for n in ("ahead", "left", "yaw_rate"))
    )
    air = whole.airborne.astype(int)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], air, [0]]))).reshape(-1, 2)
    jumps = []
    for first, last in edges:
        if (last - first) * STEP < 0.15:
            continue
        turn = float(whole.pitch[last] - whole.pitch[first])
        span = float(whole.time[last] - whole.time[first])
        jumps.append(Jumped(float(whole.time[first]), span, turn / span, turn))
    return whole, moved, jumps


# the files

_BOUNCE_PHONES = {
    "before": Phone(
        turned(7.0, -4.0, 35.0), ahead=-WHEELBASE * FRONT_SHARE, above=0.15, rate=187.0, jitter=0.12
    ),
    "after": Phone(
        turned(176.0, 5.0, -60.0),
        ahead=-WHEELBASE * FRONT_SHARE,
        above=0.15,
        rate=198.0,
        gyro_rate=99.0,
        noise=0.09,
    ),
}
_JUMP_PHONES = {
    "before": Phone(
        turned(88.0, 12.0, 5.0), ahead=0.15, above=0.25, rate=200.0, gyro_rate=100.0, noise=0.10, jitter=0.15
    ),
    "after": Phone(
        turned(-3.0, 2.0, 92.0), ahead=0.15, above=0.25, rate=200.0, gyro_rate=200.0, noise=0.08, jitter=0.05
    ),
}


def phone_files() -> dict[str, bytes]:
    """Give the content of every file by its name."""
    files: dict[str, bytes] = {}
    name = "bounce_rear_before.csv"
    motion, _ = bounced("before", name, 6, 6)
    time, force = accelerometer(motion, _BOUNCE_PHONES["before"], _random(name))
    files[name] = styles.stamped_phone(
        time,
        force,
        ["Dune Hopper No. 4, rear end, phone taped over the rear axle", "six pushes, then six lifts"],
    )
    name = "bounce_rear_after_draining.csv"
    motion, _ = bounced("after", name, 6, 6)
    rng = _random(name)
    phone = _BOUNCE_PHONES["after"]
    files[name] = styles.german_phone(
        accelerometer(motion, phone, rng),
        gyroscope(motion, phone, rng),
        rng,
        ["Dune Hopper Nr. 4, Hinterachse"],
    )
    name = "bounce_rear_before_sensor.csv"
    motion, _ = bounced("before", name, 3, 3)
    files[name] = styles.us_sensor(
        *travel_sensor(motion, _random(name)), ["Dune Hopper No. 4, rear end bounced"]
    )

    for state in STATES:
        name = f"drive_rear_{state}.csv"
        time, travel = travel_sensor(driven(state), _random(name))
        title = ["Dune Hopper No. 4, rear left, practice track in Halvik"]
        files[name] = (
            styles.volts(time, travel, CALIBRATION, title)
            if state == "before"
            else styles.clock_sensor(time, travel, title)
        )
    for state in STATES:
        name = f"jump_{state}.csv"
        motion, carried, _ = jumped(state)
        rng, phone = _random(name), _JUMP_PHONES[state]
        streams = (accelerometer(motion, phone, rng, carried), gyroscope(motion, phone, rng, carried))
        title = ["Dune Hopper No. 4, phone strapped to the frame, three jumps"]
        files[name] = (
            styles.long_phone(*streams, title) if state == "before" else styles.wide_phone(*streams, title)
        )
    files["truth_motion.json"] = (json.dumps(phone_truth(), indent=1) + "\n").encode()
    return files


def _rounded(value: float, digits: int = 5) -> float:
    return float(f"{value:.{digits}g}")


def phone_truth() -> dict[str, object]:
    """Give what is true of the corner, of the drives and of the jumps, in SI units."""
    corner: dict[str, object] = {}
    for state in STATES:
        axle = buggy(state).rear
        mass, rate = 0.5 * axle.sprung, 0.5 * axle.wheel_rate
        critical = 2.0 * math.sqrt(rate * mass)
        corner[_SETTING[state]] = {
            "frequency": _rounded(math.sqrt(rate / mass) / (2.0 * math.pi)),
            "critical_damping": _rounded(critical),
            "friction_at_wheel": 0.5 * axle.friction,
            "tyre_rate": 0.5 * axle.tyre_rate,
            "zeta": {
                side: [
                    _rounded(float(c) * axle.ratio**2 / critical)
                    for c in true_secant(axle.damper, side, np.array(REFERENCE_SPEEDS))
                ]
                for side in SIDES
            },
        }
    releases = {
        name: [_rounded(t) for t in bounced(state, name, pushes, lifts)[1]]
        for name, state, pushes, lifts in (
            ("bounce_rear_before.csv", "before", 6, 6),
            ("bounce_rear_after_draining.csv", "after", 6, 6),
            ("bounce_rear_before_sensor.csv", "before", 3, 3),
        )
    }
    drives: dict[str, object] = {}
    jumps: dict[str, object] = {}
    for state in STATES:
        motion = driven(state)
        moving = (motion.time > 8.0) & (motion.time < 80.0)
        travel = motion.rear_travel
        drives[f"drive_rear_{state}.csv"] = {
            "mean_position": _rounded(float(travel.mean())),
            "mean_position_moving": _rounded(float(travel[moving].mean())),
            "highest_travel": _rounded(float(travel.max())),
            "lowest_travel": _rounded(float(travel.min())),
            "static_travel": 0.046,
        }
        jumps[f"jump_{state}.csv"] = [
            {name: _rounded(getattr(jump, name)) for name in ("start", "airtime", "pitch_rate", "rotation")}
            for jump in jumped(state)[2]
        ]
    return {
        "reference_speeds": list(REFERENCE_SPEEDS),
        "corners": corner,
        "releases": releases,
        "drives": drives,
        "jumps": jumps,
    }
