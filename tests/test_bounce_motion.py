"""The closed-form motion of a corner against integrators, tools and tables that know nothing of it."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))

from bounce_truth import Hands, TrueCorner, integrate

from tuner.fitting.bounce.families import Corners, families_of
from tuner.fitting.bounce.motion import Motion, in_dimensions, move
from tuner.fitting.bounce.problem import Problem, evaluate
from tuner.fitting.bounce.slopes import corner_slopes, sample_slopes

NO_HANDS = Hands((0.0, 1.0), (0.0, 0.0))


def random_truth(seed: int) -> tuple[TrueCorner, tuple[float, float, float, float]]:
    """A corner and a start; every third with a knee, every second with a tyre that damps, light ones lift off."""
    rng = np.random.default_rng(seed)
    sprung, frequency = rng.uniform(40, 200), rng.uniform(1.2, 3)
    rate = sprung * (2 * np.pi * frequency) ** 2
    critical = 2 * np.sqrt(rate * sprung)
    c_c, c_r = rng.uniform(0.08, 0.9, 2) * critical
    unsprung, tyre = sprung * rng.uniform(0.12, 0.45), rate * rng.uniform(3, 10)
    knee = (
        {"knee_speed": 0.15, "c_compression_high": 0.4 * c_c, "c_rebound_high": 0.5 * c_r}
        if seed % 3 == 0
        else {}
    )
    damping = 0.0 if seed % 2 else 0.06 * np.sqrt(tyre * (sprung + unsprung))
    truth = TrueCorner(sprung, unsprung, rate, tyre, c_c, c_r, rng.uniform(0, 60), damping, **knee)
    swing = rng.choice([-1, 1]) * min(0.08, 700 / rate)
    return truth, (-swing, 0.02, -0.3 * swing, 0.05)


def followed(truth: TrueCorner, start: tuple[float, float, float, float], duration: float) -> Motion:
    m = truth.sprung
    knee = math.isfinite(truth.knee_speed)
    corners = Corners.of(
        kappa=truth.wheel_rate / m,
        gamma_c=truth.c_compression / m,
        gamma_r=truth.c_rebound / m,
        phi=truth.friction / m,
        mu=truth.unsprung / m,
        tau=truth.tyre_rate / m,
        beta=truth.tyre_damping / m,
        knee_c=truth.knee_speed,
        knee_r=truth.knee_speed,
        gamma_c_high=truth.c_compression_high / m if knee else None,
        gamma_r_high=truth.c_rebound_high / m if knee else None,
    )
    body, body_speed, wheel, wheel_speed = start
    state = np.array([[wheel - body, wheel_speed - body_speed, wheel, wheel_speed]])
    return move(families_of(corners, may_lift=True), np.zeros(1, dtype=int), state, np.array([duration]))


SEEDS = [0, 3, 4, 5, 10, 12]


@pytest.mark.parametrize("seed", SEEDS)
def test_motion_agrees_with_an_integrator_that_locates_events(seed: int) -> None:
    truth, start = random_truth(seed)
    time = np.arange(0, 1.6, 1 / 200)
    acceleration, compression, flew = integrate(truth, NO_HANDS, time, start, rtol=1e-9)
    motion = followed(truth, start, 1.6)
    row = np.zeros(1, dtype=int)
    assert bool(motion.left_ground[0]) == flew
    assert np.abs(motion.sample(time[None], row, "travel")[0] - compression).max() < 5e-8  # [m]
    # a sample next to a step of the acceleration shows part of it; all others must agree
    located = motion.locate(time[None], row)
    far = np.ones(len(time), dtype=bool)
    far[located.nearest] = False
    off = np.abs(motion.sample(time[None], row, "acceleration")[0] - acceleration)
    assert off[far].max() < 5e-5
    assert far.sum() > 0.9 * len(time)


def test_some_of_these_motions_leave_the_ground_and_some_have_a_knee() -> None:
    flown = [bool(followed(*random_truth(seed), 1.6).left_ground[0]) for seed in SEEDS]
    assert 0 < sum(flown) < len(SEEDS)
    assert any(math.isfinite(random_truth(seed)[0].knee_speed) for seed in SEEDS)


def test_rates_are_the_poles_of_the_damped_two_mass_corner() -> None:
    # Barton & Fieldhouse, Automotive Chassis Engineering, p. 209, with c = 1500 N s/m at the wheel; damped poles as
    # python-control 0.10.2 gives them: body 7.992348 rad/s, 0.242953; hop 67.731042 rad/s, 0.250111
    control = pytest.importorskip("control")
    m, mu, k, kt, c = 317.5, 45.4, 22e3, 192e3, 1500.0
    a = np.array(
        [
            [0, 1, 0, 0],
            [-k / m, -c / m, k / m, c / m],
            [0, 0, 0, 1],
            [k / mu, c / mu, -(k + kt) / mu, -c / mu],
        ]
    )
    poles = control.StateSpace(a, np.zeros((4, 1)), np.eye(4), np.zeros((4, 1))).poles()
    corners = Corners.of(kappa=k / m, gamma_c=c / m, gamma_r=c / m, phi=0.0, mu=mu / m, tau=kt / m)
    families = families_of(corners, may_lift=False)
    rate = families.shapes.rate[2]  # compression
    for pole in poles[poles.imag > 0]:
        assert np.abs(rate - pole).min() < 1e-9 * abs(pole)
    natural = np.sort(np.abs(rate[families.weight[2] > 0]))
    ratio = -rate.real / np.abs(rate)
    assert natural == pytest.approx([7.992348, 67.731042], abs=1e-6)
    assert ratio[np.argsort(np.abs(rate))][:2] == pytest.approx([0.242953, 0.250111], abs=1e-6)


def test_damping_and_friction_make_the_turning_points_of_the_published_formula() -> None:
    # Feeny & Liang, J. Sound Vib. 195 (1996) 149-154: m 100 kg, c 200 N s/m, k 20 kN/m, F 60 N, x0 50 mm.
    # The tyre is made a thousand times stiffer than the spring and the wheel light, which leaves 0.2 %.
    m, c, k, friction = 100.0, 200.0, 20e3, 60.0
    corners = Corners.of(
        kappa=k / m, gamma_c=c / m, gamma_r=c / m, phi=friction / m, mu=0.02, tau=1000 * k / m
    )
    start = np.array([[0.05, 0.0, 0.0, 0.0]])
    motion = move(families_of(corners, may_lift=False), np.zeros(1, dtype=int), start, np.array([0.95]))
    time = np.arange(0, 0.95, 5e-5)
    travel = motion.sample(time[None], np.zeros(1, dtype=int), "travel")[0]
    smooth = np.convolve(travel, np.ones(60) / 60, mode="same")
    inner = smooth[60:-60]
    turns = np.flatnonzero(np.diff(np.sign(np.diff(inner))) != 0) + 1
    strong = inner[turns][np.abs(np.diff(np.concatenate([[0.0], inner[turns]]))) > 5e-3]
    assert strong[:4] * 1e3 == pytest.approx([-34.61662, 22.30448, -12.45041, 4.56367], abs=0.12)


@pytest.mark.parametrize("quantity", ["acceleration", "travel"])
def test_derivatives_agree_with_differences_of_an_integrator(quantity: str) -> None:
    truth, start = random_truth(4)
    time = np.arange(0, 1.2, 1 / 100)
    base = np.array([truth.frequency, truth.c_compression / truth.critical, truth.c_rebound / truth.critical])
    rest = (truth.friction / truth.sprung, truth.unsprung / truth.sprung, truth.tyre_rate / truth.wheel_rate)

    def corners(x: np.ndarray) -> Corners:
        return in_dimensions(x[:, 0], x[:, 1], x[:, 2], *(np.array([r]) for r in rest))

    def integrated(x: np.ndarray) -> np.ndarray:
        omega = 2 * math.pi * x[0]
        one = TrueCorner(
            1.0, rest[1], omega**2, rest[2] * omega**2, 2 * x[1] * omega, 2 * x[2] * omega, rest[0]
        )
        return integrate(one, NO_HANDS, time, start, rtol=1e-11)[0 if quantity == "acceleration" else 1]

    body, body_speed, wheel, wheel_speed = start
    state = np.array([[wheel - body, wheel_speed - body_speed, wheel, wheel_speed]])
    motion = move(
        families_of(corners(base[None]), may_lift=True), np.zeros(1, dtype=int), state, np.array([1.2])
    )
    located = motion.locate(time[None], np.zeros(1, dtype=int))
    _, grown, jump = motion.at(located, quantity)
    step = 1e-6
    changed = corners(np.stack([base + sign * step * np.eye(3)[k] for sign in (1, -1) for k in range(3)]))
    slopes = sample_slopes(
        motion, corner_slopes(motion, changed, 3, step), np.zeros((1, 3, 4)), located, grown, jump, quantity
    )[0]
    away = np.ones(len(time), dtype=bool)
    away[np.clip(np.concatenate([located.nearest + d for d in (-1, 0, 1)]), 0, len(time) - 1)] = False
    if quantity == "travel":
        away[:] = True
    for k in range(3):
        h = 1e-5
        wanted = (integrated(base + h * np.eye(3)[k]) - integrated(base - h * np.eye(3)[k])) / (2 * h)
        assert slopes[away, k] == pytest.approx(wanted[away], abs=2e-3 * np.abs(wanted[away]).max())


def test_gradient_of_the_cost_agrees_with_differences(small_problem: tuple[Problem, np.ndarray]) -> None:
    problem, x = small_problem
    there = evaluate(problem, x[None])
    for k in range(problem.size):
        h = 1e-6 * max(abs(x[k]), 1e-2)
        up, down = x.copy(), x.copy()
        up[k] += h
        down[k] -= h
        costs = evaluate(problem, np.stack([up, down])).cost
        # the gradient is half that of the cost, downhill
        assert -2 * there.gradient[0, k] == pytest.approx((costs[0] - costs[1]) / (2 * h), rel=2e-3, abs=0.05)


@pytest.fixture(scope="module")
def small_problem() -> tuple[Problem, np.ndarray]:
    """Travel of one bounce, where the cost is smooth everywhere."""
    from tuner.fitting.bounce.known import centre_of, knowledge_of, starts_of

    knowledge, _ = knowledge_of(None)
    time = np.arange(0, 1.0, 0.01)[None]
    value = 0.03 * np.exp(-3 * time) * np.cos(11 * time)
    centre, sd = starts_of(knowledge, np.array([0.03]), "travel")
    problem = Problem(
        time, value, np.full_like(time, 1e6), np.zeros(1, dtype=int), centre, sd, "travel", knowledge
    )
    x = np.concatenate([centre_of(knowledge), [0.001], [0.03, -0.05, -0.002, 0.01]])
    x[3] = 0.3
    return problem, x
