"""Finding bounces in recordings made by an independent integrator."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))

from bounce_truth import Hands, TrueCorner, integrate

from tuner.signals.bounces import find_bounces

RATE = 200.0


def made(
    releases: list[float],
    force: float,
    *,
    off: float = 0.03,
    end: float = 2.5,
    zeta: tuple[float, float] = (0.25, 0.45),
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Time, acceleration and compression of a corner pushed (force < 0) or lifted and let go at those times."""
    k, m = 13.6e3, 92.0
    critical = 2 * np.sqrt(k * m)
    truth = TrueCorner(m, 28.0, k, 70e3, zeta[0] * critical, zeta[1] * critical, 15.0)
    times, forces = [0.0], [0.0]
    for release in releases:
        for at, value in ((-1.1, 0.0), (-0.5, force), (0.0, force), (off, 0.0)):
            times.append(release + at)
            forces.append(value)
    time = np.arange(0.0, releases[-1] + end, 1 / RATE)
    acceleration, compression, _ = integrate(truth, Hands(tuple(times), tuple(forces)), time, rtol=1e-7)
    return time, acceleration, compression


@pytest.fixture(scope="module")
def pushed() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return made([2.5, 6.0, 9.5], -450.0)


@pytest.fixture(scope="module")
def lifted() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return made([2.5, 6.0], 450.0)


@pytest.mark.parametrize("quantity", ["acceleration", "travel"])
def test_every_bounce_is_found_and_begins_when_the_hands_are_off(
    pushed: tuple[np.ndarray, np.ndarray, np.ndarray], quantity: str
) -> None:
    time, acceleration, compression = pushed
    rng = np.random.default_rng(1)
    clean = acceleration if quantity == "acceleration" else 0.09 + 0.7 * compression
    noise = 0.15 if quantity == "acceleration" else 4e-4
    found = find_bounces(time, clean + noise * rng.normal(size=len(time)), quantity)
    assert [b.direction for b in found.used] == ["push"] * 3
    for bounce, release in zip(found.used, [2.5, 6.0, 9.5], strict=True):
        start = time[bounce.first]
        # hands are off 30 ms after they begin to let go; little of the swing (0.5 s) may be lost
        assert release + 0.025 < start < release + 0.12
        assert time[bounce.last - 1] - start > 0.7
    assert not found.left_out


@pytest.mark.parametrize("quantity", ["acceleration", "travel"])
def test_lift_and_drop_is_told_from_push_and_let_go(
    lifted: tuple[np.ndarray, np.ndarray, np.ndarray], quantity: str
) -> None:
    time, acceleration, compression = lifted
    signal = acceleration if quantity == "acceleration" else 0.09 + 0.7 * compression
    assert [b.direction for b in find_bounces(time, signal, quantity).used] == ["lift", "lift"]


def test_ring_down_ends_before_the_next_push(pushed: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    time, acceleration, _ = pushed
    rng = np.random.default_rng(2)
    found = find_bounces(time, acceleration + 0.1 * rng.normal(size=len(time)), "acceleration")
    for bounce, push in zip(found.used[:2], [6.0 - 1.1, 9.5 - 1.1], strict=True):
        assert time[bounce.last - 1] < push + 0.15


def test_a_bounce_that_began_before_the_recording_is_left_out_and_said(
    pushed: tuple[np.ndarray, np.ndarray, np.ndarray],
) -> None:
    time, acceleration, _ = pushed
    late = time > 2.75
    found = find_bounces(time[late], acceleration[late], "acceleration")
    assert len(found.used) == 2
    assert ["begins in the middle" in gone.reason for gone in found.left_out] == [True]


def test_a_bounce_that_ends_too_early_is_left_out_and_said(
    pushed: tuple[np.ndarray, np.ndarray, np.ndarray],
) -> None:
    time, acceleration, _ = pushed
    early = time < 9.5 + 0.3
    found = find_bounces(time[early], acceleration[early], "acceleration")
    assert len(found.used) == 2
    assert ["free motion" in gone.reason for gone in found.left_out] == [True]


def test_an_engine_that_runs_hides_no_bounce(pushed: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    time, acceleration, _ = pushed
    shaken = acceleration + 2.0 * np.sin(2 * np.pi * 43 * time) + np.sin(2 * np.pi * 86 * time)
    assert len(find_bounces(time, shaken, "acceleration").used) == 3


def test_noise_alone_is_no_bounce() -> None:
    time = np.arange(0.0, 10.0, 1 / RATE)
    found = find_bounces(time, 0.1 * np.random.default_rng(3).normal(size=len(time)), "acceleration")
    assert not found.used
    assert "noise" in found.left_out[0].reason


def test_uneven_sampling_moves_nothing(pushed: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    time, acceleration, _ = pushed
    rng = np.random.default_rng(4)
    jittered = time + rng.uniform(-0.4, 0.4, len(time)) / RATE
    kept = rng.uniform(size=len(time)) > 0.1
    found = find_bounces(jittered[kept], np.interp(jittered, time, acceleration)[kept], "acceleration")
    assert [b.release for b in found.used] == pytest.approx([2.53, 6.03, 9.53], abs=0.02)


def test_a_fall_is_measured() -> None:
    time = np.arange(0.0, 6.0, 1 / RATE)
    falling = np.where((time > 3.0) & (time < 3.45), -9.8, 0.0) + np.where(
        (time > 3.45) & (time < 3.5), 60.0, 0.0
    )
    assert find_bounces(time, falling, "acceleration").fall == pytest.approx(0.45, abs=0.05)
