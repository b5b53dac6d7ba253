"""The closed-form motion of a corner against integrators, tools and tables that know nothing of it."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))

from bounce_truth import Hands, TrueCorner, integrate, integrate_slider

from tuner.fitting.bounce import motion as motion_module
from tuner.fitting.bounce.descent import descend
from tuner.fitting.bounce.families import Corners, families_of
from tuner.fitting.bounce.motion import Motion, Quantity, in_dimensions, move
from tuner.fitting.bounce.problem import FRICTION, OMEGA, STARTS, Problem, evaluate
from tuner.fitting.bounce.slopes import corner_slopes, sample_slopes
from tuner.fitting.bounce.stretches import ABOVE, BELOW, SLIPS_IN, SLIPS_OUT

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


def slider_of(seed: int, truth: TrueCorner) -> tuple[TrueCorner, float, float]:
    """The corner with enough friction to matter, how fast it creeps [m/s] and how far it winds up [m]."""
    creep, wind = np.exp(np.random.default_rng(seed).normal(np.log([1.5e-3, 3e-4]), 1.0))
    return replace(truth, friction=max(truth.friction, 5.0)), float(creep), float(wind)


def followed(
    truth: TrueCorner,
    start: tuple[float, float, float, float],
    duration: float,
    *,
    creep: float,
    wind: float,
    share: float = 0.0,
    may_lift: bool = True,
) -> Motion:
    """The motion from a start in the bodies' own heights; `share` of the limit is in the friction already."""
    m = truth.sprung
    knee = math.isfinite(truth.knee_speed)
    corners = Corners.of(
        kappa=truth.wheel_rate / m,
        gamma_c=truth.c_compression / m,
        gamma_r=truth.c_rebound / m,
        phi=truth.friction / m,
        creep=creep,
        wind=wind,
        mu=truth.unsprung / m,
        tau=truth.tyre_rate / m,
        beta=truth.tyre_damping / m,
        knee_c=truth.knee_speed,
        knee_r=truth.knee_speed,
        gamma_c_high=truth.c_compression_high / m if knee else None,
        gamma_r_high=truth.c_rebound_high / m if knee else None,
    )
    body, body_speed, wheel, wheel_speed = start
    state = np.array([[wheel - body, wheel_speed - body_speed, wheel, wheel_speed, share]])
    return move(families_of(corners, may_lift=may_lift), np.zeros(1, dtype=int), state, np.array([duration]))


SEEDS = [0, 3, 4, 5, 10, 12]


@pytest.fixture
def never_rests(monkeypatch: pytest.MonkeyPatch) -> None:
    """Follow the swing to its end instead of joining both sides once it is too small to slip."""
    monkeypatch.setattr(motion_module, "_rest", lambda *_: np.zeros(0, dtype=np.intp))


def off_from_integrated(seed: int) -> tuple[float, float, float, float]:
    """Largest difference in travel [m] and acceleration [m/s**2]; limit of the friction [m/s**2], its give [m]."""
    truth, start = random_truth(seed)
    truth, creep, wind = slider_of(seed, truth)
    time, row = np.arange(0, 1.6, 1 / 200), np.zeros(1, dtype=int)
    acceleration, compression = integrate_slider(truth, creep, wind, time, (*start, 0.3 * truth.friction))
    motion = followed(truth, start, 1.6, creep=creep, wind=wind, share=0.3, may_lift=False)
    assert motion.complete.all()
    travel, seen = (motion.sample(time[None], row, q)[0] for q in ("travel", "acceleration"))
    give = wind + creep / (2 * math.pi * truth.frequency)
    return (
        float(np.abs(travel - compression).max()),
        float(np.abs(seen - acceleration).max()),
        truth.friction / truth.sprung,
        give,
    )


@pytest.mark.usefixtures("never_rests")
@pytest.mark.parametrize("seed", [*SEEDS, 1, 2, 7])
def test_motion_agrees_with_an_integrator_of_the_same_friction(seed: int) -> None:
    travel, acceleration, _, _ = off_from_integrated(seed)
    assert travel < 1e-8
    assert (
        acceleration < 5e-6
    )  # what the integrator itself is good for where friction winds up within a tenth of a ms


@pytest.mark.parametrize("seed", [*SEEDS, 1, 2, 7])
def test_joining_both_sides_of_a_small_swing_costs_little(seed: int) -> None:
    travel, acceleration, friction, give = off_from_integrated(seed)
    assert travel < 0.1 * give  # a tenth of how far friction gives way before it slips
    assert acceleration < 0.1 * friction


@pytest.mark.parametrize("seed", SEEDS)
def test_friction_that_hardly_creeps_sticks_as_an_integrator_that_locates_events_has_it(seed: int) -> None:
    truth, start = random_truth(seed)
    time, row = np.arange(0, 1.6, 1 / 200), np.zeros(1, dtype=int)
    acceleration, compression, flew = integrate(truth, NO_HANDS, time, start, rtol=1e-9)
    creep, wind = 2e-6, 2e-6
    motion = followed(truth, start, 1.6, creep=creep, wind=wind)
    assert motion.complete.all()
    assert bool(motion.left_ground[0]) == flew
    # friction that sticks turns over at once; this one within the time in which the shaft, pulled back by friction
    # alone, travels the wind of both ways. The push that is missing meanwhile sets the wheel hopping.
    lighter, friction = 1 + truth.sprung / truth.unsprung, truth.friction / truth.sprung
    push = math.sqrt(4 * wind * lighter * friction)  # [m/s]
    hop = math.sqrt((truth.wheel_rate + truth.tyre_rate) / truth.unsprung)
    off = np.abs(motion.sample(time[None], row, "travel")[0] - compression)
    assert off.max() < 2 * push / hop + creep * time[-1]
    # a sample while friction turns over shows part of it; all others must agree
    off = np.abs(motion.sample(time[None], row, "acceleration")[0] - acceleration)
    damping = max(truth.c_compression, truth.c_rebound)
    assert np.quantile(off, 0.9) < push * (truth.wheel_rate / hop + damping) / truth.sprung


def test_some_of_these_motions_leave_the_ground_and_some_have_a_knee() -> None:
    flown = [bool(followed(*random_truth(seed), 1.6, creep=2e-6, wind=2e-6).left_ground[0]) for seed in SEEDS]
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
    corners = Corners.of(
        kappa=k / m, gamma_c=c / m, gamma_r=c / m, phi=0.1, creep=1e-3, wind=2e-4, mu=mu / m, tau=kt / m
    )
    families = families_of(corners, may_lift=False)
    slipping = int(families.index(np.array([4]), np.array([False]), np.array([0]))[0])  # in compression
    rate, weight = families.shapes.rate[slipping], families.weight[slipping]
    for pole in poles[poles.imag > 0]:
        assert np.abs(rate - pole).min() < 1e-9 * abs(pole)
    assert weight.tolist() == [2.0] * 2 + [0.0] * (
        len(weight) - 2
    )  # friction that slips does not move the poles
    natural = np.sort(np.abs(rate[weight > 0]))
    ratio = (-rate.real / np.abs(rate))[weight > 0]
    rate = rate[weight > 0]
    assert natural == pytest.approx([7.992348, 67.731042], abs=1e-6)
    assert ratio[np.argsort(np.abs(rate))][:2] == pytest.approx([0.242953, 0.250111], abs=1e-6)


def test_damping_and_friction_make_the_turning_points_of_the_published_formula() -> None:
    # Feeny & Liang, J. Sound Vib. 195 (1996) 149-154: m 100 kg, c 200 N s/m, k 20 kN/m, F 60 N, x0 50 mm.
    # The tyre is made a thousand times stiffer than the spring and the wheel light, which leaves 0.2 %.
    m, c, k, friction = 100.0, 200.0, 20e3, 60.0
    # Friction hardly creeps or winds up: by less than a micrometre until the last of these turns.
    corners = Corners.of(
        kappa=k / m,
        gamma_c=c / m,
        gamma_r=c / m,
        phi=friction / m,
        creep=1e-6,
        wind=1e-6,
        mu=0.02,
        tau=1000 * k / m,
    )
    start = np.array([[0.05, 0.0, 0.0, 0.0, 0.0]])
    motion = move(families_of(corners, may_lift=False), np.zeros(1, dtype=int), start, np.array([0.95]))
    time = np.arange(0, 0.95, 5e-5)
    travel = motion.sample(time[None], np.zeros(1, dtype=int), "travel")[0]
    smooth = np.convolve(travel, np.ones(60) / 60, mode="same")
    inner = smooth[60:-60]
    turns = np.flatnonzero(np.diff(np.sign(np.diff(inner))) != 0) + 1
    strong = inner[turns][np.abs(np.diff(np.concatenate([[0.0], inner[turns]]))) > 5e-3]
    assert strong[:4] * 1e3 == pytest.approx([-34.61662, 22.30448, -12.45041, 4.56367], abs=0.12)


def test_rates_while_friction_holds_are_the_eigenvalues_of_the_five_state_corner() -> None:
    m, mu, k, kt, c, friction, creep, wind = 317.5, 45.4, 22e3, 192e3, 1500.0, 90.0, 2e-3, 4e-4
    a = np.array(
        [
            [0, 1, 0, 0, 0],
            [-k / m, -c / m, k / m, c / m, 1 / m],
            [0, 0, 0, 1, 0],
            [k / mu, c / mu, -(k + kt) / mu, -c / mu, -1 / mu],
            [0, -friction / wind, 0, friction / wind, -creep / wind],
        ]
    )
    corners = Corners.of(
        kappa=k / m,
        gamma_c=c / m,
        gamma_r=c / m,
        phi=friction / m,
        creep=creep,
        wind=wind,
        mu=mu / m,
        tau=kt / m,
    )
    families = families_of(corners, may_lift=False)
    holding = int(families.index(np.array([5]), np.array([False]), np.array([0]))[0])  # in compression
    rate, weight = families.shapes.rate[holding], families.weight[holding]
    assert weight.sum() == 5
    for pole in np.linalg.eigvals(a):
        assert min(np.abs(rate - pole).min(), np.abs(rate.conj() - pole).min()) < 1e-9 * abs(pole)


@pytest.mark.usefixtures("never_rests")
@pytest.mark.parametrize("quantity", ["acceleration", "travel"])
def test_derivatives_agree_with_differences_of_an_integrator(quantity: Quantity) -> None:
    truth, start = random_truth(4)
    time, row = np.arange(0, 1.2, 1 / 100), np.zeros(1, dtype=int)
    body, body_speed, wheel, wheel_speed = start
    # frequency, ratios, friction, unsprung over sprung mass, tyre ratio and damping, creep, wind; then the start
    shared = [
        truth.frequency,
        truth.c_compression / truth.critical,
        truth.c_rebound / truth.critical,
        truth.friction / truth.sprung,
        truth.unsprung / truth.sprung,
        truth.tyre_rate / truth.wheel_rate,
        0.03,
        3e-3,
        2e-3,
    ]
    base = np.array([*shared, wheel - body, wheel_speed - body_speed, wheel, wheel_speed, 0.3])
    count = len(shared)

    def corners(x: np.ndarray) -> Corners:
        return in_dimensions(*x.T)

    def integrated(x: np.ndarray) -> np.ndarray:
        omega, friction, mass, tyre = 2 * math.pi * x[0], x[3], x[4], x[5] * (2 * math.pi * x[0]) ** 2
        damping = 2 * x[6] * math.sqrt(tyre * (1 + mass))
        one = TrueCorner(1.0, mass, omega**2, tyre, 2 * x[1] * omega, 2 * x[2] * omega, friction, damping)
        w, speed, u, wheel_speed, held = x[count:]
        begin = (u - w, wheel_speed - speed, u, wheel_speed, held * friction)
        found = integrate_slider(one, x[7], x[8], time, begin, rtol=1e-12)
        return found[0 if quantity == "acceleration" else 1]

    motion = move(
        families_of(corners(base[None, :count]), may_lift=False),
        np.zeros(1, dtype=int),
        base[None, count:],
        np.array([1.2]),
    )
    assert {SLIPS_IN, SLIPS_OUT, BELOW, ABOVE} <= set(motion.kind[0].tolist())
    steps = 1e-6 * np.abs(base[:count])
    step = 1e-6
    changed = corners(
        np.stack(
            [base[:count] + sign * steps[k] * np.eye(count)[k] for sign in (1, -1) for k in range(count)]
        )
    )
    begin = np.zeros((1, count + STARTS, STARTS))
    begin[0, count:] = np.eye(STARTS)
    begin[0, -1, -1] = base[3]
    begin[0, 3, -1] = base[-1] * base[3]  # per part of the friction, as all of the corner's are
    slopes = sample_slopes(
        motion, corner_slopes(motion, changed, count, step), begin, motion.locate(time[None], row), quantity
    )[0]
    assert slopes[:, -1] == pytest.approx(integrated(base), abs=1e-7)
    # differences as small as the noise of the integrator allows: what changes little needs longer ones
    unit = np.concatenate([np.abs(base[:count]), np.ones(STARTS)])
    lengths = unit * np.array([3e-5] * (count - 2) + [1e-3] * 2 + [1e-6] * (STARTS - 1) + [1e-3])
    for k, length in enumerate(lengths):
        h = length * np.eye(len(base))[k]
        wanted = (integrated(base + h) - integrated(base - h)) / (2 * length) * unit[k]
        assert slopes[:, k] == pytest.approx(wanted, abs=2e-3 * np.abs(wanted).max())


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


@pytest.mark.parametrize("place", [OMEGA, FRICTION])
def test_a_parameter_at_its_bound_does_not_keep_the_others_from_their_minimum(
    small_problem: tuple[Problem, np.ndarray], place: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    problem, x = small_problem
    free = descend(problem, x[None], 60)
    bound = free.x[0, place] - 0.1
    held = np.arange(problem.size) == place
    start = free.x.copy()
    start[0, place] = bound
    wanted = descend(problem, start, 60, fixed=held[None]).cost[0]
    low, high = problem.bounds()
    high[place] = bound
    monkeypatch.setattr(Problem, "bounds", lambda _: (low.copy(), high.copy()))
    found = descend(problem, np.minimum(x, high)[None], 25)
    assert found.x[0, place] == pytest.approx(bound)
    assert found.cost[0] == pytest.approx(wanted, abs=0.2)


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
    x = np.concatenate([centre_of(knowledge), [0.001], [0.03, -0.05, -0.002, 0.01, 0.2]])
    x[FRICTION] = 0.3
    return problem, x
