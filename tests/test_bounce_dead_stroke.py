"""Dampers that are soft after every reversal, bounced by two independent models: a clean gap, and foam that closes."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))

from bounce_gap import with_gap
from bounce_truth import TrueCorner, let_go

import sample_data.phone_scenario as scenario
from sample_data.phone_model import STEP, simulate, travel_sensor
from tuner.estimates import Estimate
from tuner.fitting.bounce import fit_bounce
from tuner.fitting.results import DampingFit
from tuner.machine import Corner, MotionRatio, read_machine_file
from tuner.records import BounceRecord

RATIO = 0.7
CRITICAL = 2.0 * np.sqrt(13600.0 * 92.0)
CORNER = Corner(
    name="rear left",
    sprung_mass=Estimate.from_log_sd(92.0, 0.01, "kg"),
    spring_rate=Estimate.from_log_sd(13600.0 / RATIO**2, 0.01, "N/m"),
    motion_ratio=MotionRatio(Estimate.exact(RATIO, "1")),
    unsprung_mass=Estimate.from_log_sd(28.0, 0.02, "kg"),
    tyre_rate=Estimate.from_log_sd(70000.0, 0.07, "N/m"),
)


def truth(zeta_c: float, zeta_r: float) -> TrueCorner:
    return TrueCorner(92.0, 28.0, 13600.0, 70000.0, zeta_c * CRITICAL, zeta_r * CRITICAL, 15.0)


def bounced(zeta_c: float, zeta_r: float, gap: float, force: float, count: int = 3) -> DampingFit:
    """Bounce with a clean gap [m of shaft] on the way out."""
    hands, end = let_go(count, force, ring=2.6)
    time = np.arange(0.0, end - 0.01, 1 / 200)
    clean, _ = with_gap(truth(zeta_c, zeta_r), 0.0, gap / RATIO, hands, time)
    noise = 0.1 * np.random.default_rng(1).normal(size=len(time))
    return fit_bounce(BounceRecord(time, clean + noise, "acceleration"), CORNER)


def codes(fit: DampingFit) -> set[str]:
    return {note.code for note in fit.notes}


@pytest.mark.parametrize(
    ("zeta_c", "zeta_r", "gap", "force"),
    [(0.25, 0.47, 0.006, -500.0), (0.3, 0.7, 0.006, 500.0), (0.25, 0.47, 0.012, 500.0)],
)
def test_a_clean_gap_is_found_and_the_ratio_behind_it(
    zeta_c: float, zeta_r: float, gap: float, force: float
) -> None:
    fit = bounced(zeta_c, zeta_r, gap, force)
    assert "soft-after-reversal" in codes(fit)
    assert fit.rebound.dead_stroke is not None
    assert fit.rebound.dead_stroke.value == pytest.approx(gap, rel=0.1)
    assert fit.rebound.dead_stroke.contains(gap)
    assert fit.rebound.zeta is not None
    assert fit.rebound.zeta.value == pytest.approx(zeta_r, rel=0.06)
    assert fit.compression.dead_stroke is not None
    assert fit.compression.dead_stroke.low == 0.0
    assert fit.compression.dead_stroke.high < 0.0015


def test_without_a_gap_none_is_reported() -> None:
    fit = bounced(0.25, 0.47, 0.0, 500.0)
    assert "soft-after-reversal" not in codes(fit)
    assert fit.rebound.dead_stroke is None
    assert fit.rebound.zeta is not None
    assert fit.rebound.zeta.value == pytest.approx(0.47, rel=0.06)


def test_foam_in_a_pitching_machine_is_found_by_a_travel_sensor() -> None:
    """The drained damper of the samples before its foam has settled: 6.2 mm, and 0.477 at 0.13 m/s behind it."""
    hands, _ = scenario._hands(np.random.RandomState(3), 0, 4)
    motion = simulate(scenario.buggy("after"), 0.5 * STEP * (hands.size - 1), push=hands)
    time, travel = travel_sensor(motion, np.random.RandomState(4))
    machine = read_machine_file(Path(scenario.__file__).parent / "dune_hopper.toml")
    corner = machine.corners["rear left"]
    fit = fit_bounce(BounceRecord(time, travel, "travel"), corner)
    assert "soft-after-reversal" in codes(fit)
    assert fit.rebound.dead_stroke is not None
    assert fit.rebound.dead_stroke.value == pytest.approx(0.0062, rel=0.15)
    assert fit.rebound.zeta is not None
    assert fit.rebound.zeta.value == pytest.approx(0.477, rel=0.06)
