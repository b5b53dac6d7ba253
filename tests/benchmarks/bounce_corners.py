"""Random corners, bounced by random hands, as records: the material of the bounce table and of its small version.

Takes a seed; gives the truth, what the builder would know of it, and the records of phone and travel sensor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from bounce_gap import with_gap
from bounce_truth import G, Hands, TrueCorner, integrate

from tuner.estimates import Estimate
from tuner.machine import Corner, MotionRatio
from tuner.records import BounceRecord


@dataclass(frozen=True)
class Case:
    """One random corner: the truth, the knowledge, both records."""

    truth: TrueCorner
    corner: Corner
    start: str
    bounces: int
    rate: float
    noise: float
    flew: bool
    time: np.ndarray
    acceleration: np.ndarray  # without noise
    compression: np.ndarray  # at the wheel, without noise
    seed: int

    def record(self, quantity: str) -> BounceRecord:
        rng = np.random.default_rng([self.seed, 7 if quantity == "travel" else 8])
        if quantity == "acceleration":
            bias = rng.normal(0.0, 0.05)
            signal = self.acceleration + bias + self.noise * rng.normal(size=len(self.time))
            return BounceRecord(self.time, signal, "acceleration")
        ratio = self.corner.motion_ratio.constant.value
        # 0.2 to 1 mm of noise: a wire or linear sensor on a 10-bit input, over the range of the stated noise
        sigma = 2e-4 + (self.noise - 0.05) / 0.25 * 8e-4
        signal = 0.09 + ratio * self.compression + sigma * rng.normal(size=len(self.time))
        return BounceRecord(self.time, signal, "travel")


def hands(rng: np.random.Generator, corner: TrueCorner, start: str, bounces: int) -> tuple[Hands, float]:
    """Push or lift slowly, hold, let go within 10 to 40 ms, wait; several times."""
    times, forces, t = [0.0], [0.0], float(rng.uniform(0.8, 1.5))
    sign = -1.0 if start == "push" else 1.0
    for _ in range(bounces):
        most = 700.0 if start == "push" else min(700.0, 0.9 * corner.sprung * G)
        size = min(most, corner.wheel_rate * rng.uniform(0.03, 0.07))
        ramp, hold, off = rng.uniform(0.4, 0.8), rng.uniform(0.15, 0.8), rng.uniform(0.01, 0.04)
        ring = rng.uniform(3.5, 5.0)
        for dt, force in ((0.0, 0.0), (ramp, sign * size), (hold, sign * size), (off, 0.0)):
            t += dt
            times.append(t)
            forces.append(force)
        t += ring
    return Hands(tuple(times), tuple(forces)), t


def case(seed: int, creep: float | None = None) -> Case:
    """Draw one corner as the table states it and bounce it; with `creep` [m/s] its friction creeps below that speed."""
    rng = np.random.default_rng(seed)
    sprung, frequency = rng.uniform(40, 200), rng.uniform(1.2, 3.0)
    wheel_rate = sprung * (2 * np.pi * frequency) ** 2
    critical = 2 * np.sqrt(wheel_rate * sprung)
    zeta_c, zeta_r = rng.uniform(0.08, 0.9, 2)
    unsprung = sprung * rng.uniform(0.15, 0.4)
    tyre = wheel_rate * rng.uniform(3, 10)
    friction = rng.uniform(0, 60)
    truth = TrueCorner(sprung, unsprung, wheel_rate, tyre, zeta_c * critical, zeta_r * critical, friction)
    start = "push" if rng.uniform() < 0.5 else "lift"
    bounces = int(rng.integers(1, 5))
    rate, noise = float(rng.uniform(100, 400)), float(rng.uniform(0.05, 0.3))
    profile, end = hands(rng, truth, start, bounces)
    time = np.arange(0.0, end, 1.0 / rate)
    if creep is None:
        acceleration, compression, flew = integrate(truth, profile, time, rtol=1e-7)
    else:
        acceleration, compression = with_gap(truth, 0.0, 0.0, profile, time, creep)
        flew = False

    def known(value: float, half: float, unit: str) -> Estimate:
        return Estimate.from_log_sd(value * np.exp(rng.normal(0, half / 1.96)), half / 1.96, unit)

    ratio = float(rng.uniform(0.5, 0.95))
    corner = Corner(
        name="rear",
        sprung_mass=known(sprung, 0.03, "kg"),
        spring_rate=known(wheel_rate / ratio**2, 0.05, "N/m"),
        motion_ratio=MotionRatio(Estimate.exact(ratio, "1")),
        unsprung_mass=known(unsprung, 0.06, "kg"),
        tyre_rate=known(tyre, 0.15, "N/m"),
    )
    return Case(truth, corner, start, bounces, rate, noise, flew, time, acceleration, compression, seed)
