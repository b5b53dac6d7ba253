"""Drives, jumps and bounces made by closed forms, with truths known beforehand, for the tests of the phone's kinds."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from tests.benchmarks.bounce_truth import Hands, TrueCorner, integrate
from tuner.estimates import Estimate
from tuner.machine import Corner, MotionRatio
from tuner.records import BounceRecord, FlightRecord, Provenance, TravelRecord

G = 9.80665
RATE = 500.0


def corner(*, static: float = 0.09, full: float = 0.21) -> Corner:
    """A rear corner in round numbers."""
    return Corner(
        name="rear",
        sprung_mass=Estimate.exact(92.0, "kg"),
        unsprung_mass=Estimate.exact(28.0, "kg"),
        spring_rate=Estimate.exact(28e3, "N/m"),
        motion_ratio=MotionRatio(Estimate.exact(0.7, "1")),
        tyre_rate=Estimate(70e3, 60e3, 80e3, "N/m"),
        damper_travel=Estimate.exact(full, "m"),
        static_travel=Estimate.exact(static, "m"),
    )


def strip(seed: int = 1, seconds: float = 90.0) -> np.ndarray:
    """A rough strip as shaft travel over place, at the pace of one second a second; rms 10 mm about nothing."""
    rng = np.random.default_rng(seed)
    rough = np.convolve(rng.normal(0, 1, round(seconds * RATE)), np.hanning(200), mode="same")
    return 0.01 * rough / rough.std()


def drive(
    ground: np.ndarray,
    *,
    pace: float = 1.0,
    lag: float = 0.0,
    gain: float = 1.0,
    position: float = 0.09,
    seed: int = 0,
    seconds: float = 80.0,
    full: float = 0.21,
    name: str = "drive.csv",
) -> TravelRecord:
    """A drive over a strip: it begins `lag` seconds late, goes `pace` times as fast, moves `gain` times as far."""
    rng = np.random.default_rng(seed)
    place = np.arange(ground.size) / RATE
    time = np.arange(0, seconds, 1.0 / RATE)
    travel = position + gain * np.interp((time - lag) * pace, place, ground, left=0.0, right=0.0)
    travel = np.clip(travel + rng.normal(0, 1e-4, time.size), 0.0, full)
    return TravelRecord(time, travel, provenance=Provenance(name, f"{seed:064x}", time.size, rate_hz=RATE))


def jump(
    airtime: float,
    pitch: float,
    peak: float,
    *,
    gesture: bool = True,
    seed: int = 0,
    name: str = "jump.csv",
    rate: float = 200.0,
) -> FlightRecord:
    """One jump: rest, a lift of the nose by 8 degrees (about -y), rest, flight, a landing shock to `peak` g, rest."""
    rng = np.random.default_rng(seed)
    time = np.arange(0, 12.0, 1.0 / rate)
    force = np.tile([0.0, 0.0, G], (time.size, 1))
    turn = np.zeros((time.size, 3))
    if gesture:
        inside = (time > 2) & (time < 3)
        phase = 2 * math.pi * (time[inside] - 2)
        turn[inside, 1] = -math.radians(8) * math.pi * np.sin(phase)
        tilt = math.radians(8) * 0.5 * (1 - np.cos(phase))
        force[inside] = G * np.column_stack([np.sin(tilt), np.zeros(tilt.size), np.cos(tilt)])
    air = (time >= 6) & (time < 6 + airtime)
    force[air] = 0.0
    turn[air, 1] = -pitch
    landed = time >= 6 + airtime
    force[landed, 2] += (peak - 1) * G * np.exp(-(time[landed] - 6 - airtime) / 0.03)
    force += rng.normal(0, 0.1, force.shape)
    turn += rng.normal(0, 0.005, turn.shape)
    provenance = Provenance(name, f"{seed + 1000:064x}", time.size, rate_hz=rate)
    return FlightRecord(time, force, turn, provenance=provenance)


def without_gyroscope(record: FlightRecord) -> FlightRecord:
    """The same jump from a phone without a gyroscope."""
    return replace(record, rotation=None)


def bounce(
    compression: float = 0.26,
    rebound: float = 0.55,
    *,
    pushes: int = 3,
    lifts: int = 3,
    seed: int = 0,
    name: str = "bounce.csv",
    rate: float = 200.0,
) -> BounceRecord:
    """A rear corner bounced by hand, integrated by scipy: 92 kg on 13.72 N/mm, 28 kg, tyre 70 N/mm, friction 20 N.

    `compression`, `rebound` : damping ratios. Each push (or lift) is held for half a second and let go at once.
    """
    rng = np.random.default_rng(seed)
    critical = 2.0 * math.sqrt(28e3 * 0.49 * 92.0)
    true = TrueCorner(92.0, 28.0, 28e3 * 0.49, 70e3, compression * critical, rebound * critical, 20.0)
    times, forces = [0.0, 2.0], [0.0, 0.0]
    for k in range(pushes + lifts):
        at, force = 2.0 + 4.0 * k, (-650.0 if k < pushes else 550.0) * rng.uniform(0.9, 1.1)
        times += [at + 1.0, at + 1.5, at + 1.52, at + 4.0]
        forces += [force, force, 0.0, 0.0]
    time = np.arange(0.0, times[-1], 1.0 / rate)
    acceleration, _, _ = integrate(true, Hands(tuple(times), tuple(forces)), time, rtol=1e-6)
    signal = acceleration + rng.normal(0.0, 0.1, time.size)
    provenance = Provenance(name, f"{seed + 2000:064x}", time.size, rate_hz=rate)
    return BounceRecord(time, signal, "acceleration", provenance=provenance)
