"""Dampers, mountings and benches drawn at random, for the table of known truths.

Takes a seeded random generator; gives frozen values. Uses: damper_model, bench_model.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from sample_data.bench_model import Bench
from sample_data.damper_model import Damper, Valve


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
    """Draw a damper of a two-seat buggy, secants some 300-6000 N*s/m; `void_share` have a dead stroke."""
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
