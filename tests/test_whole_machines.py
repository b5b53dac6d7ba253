"""The maker of whole machines that are bounced, held to statics, energy, eigenvalues and a general integrator."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.linalg import eigh

from tests.benchmarks.whole_machines import (
    STARTS,
    Friction,
    HalfCar,
    Hands,
    Stroke,
    TrueAxle,
    cases,
    half_car,
    hands_of,
    integrate,
)

NOTHING = Hands(np.array([0.0, 100.0]), np.zeros(2), 100.0)
FREE = Stroke(0.0, 0.0, 0.2, 0.01)
SMOOTH = Friction("sticks", 0.0)


def bare(axle: TrueAxle, **changes: object) -> TrueAxle:
    return replace(axle, **{"friction": SMOOTH, "tyre_damping": 0.0, **changes})  # type: ignore[arg-type]


def loose(car: HalfCar) -> HalfCar:
    """Without anything that takes energy."""
    front, rear = (bare(axle, compression=FREE, rebound=FREE) for axle in (car.front, car.rear))
    return replace(car, front=front, rear=rear)


def matrices(car: HalfCar) -> tuple[np.ndarray, np.ndarray]:
    """Mass and stiffness of heave, pitch, front and rear wheel, from the energies written down by hand."""
    mass = np.diag([car.mass, car.inertia, 2 * car.front.unsprung, 2 * car.rear.unsprung])
    stiffness = np.zeros((4, 4))
    for axle, lever, wheel in zip((car.front, car.rear), car.levers, (2, 3), strict=True):
        way = np.array([-1.0, -lever, 0.0, 0.0])
        way[wheel] = 1.0
        stiffness += 2 * axle.wheel_rate * np.outer(way, way)
        stiffness[wheel, wheel] += 2 * axle.tyre_rate
    return mass, stiffness


def test_nothing_moves_at_rest_and_held_hands_press_the_springs_as_statics_say() -> None:
    cars = [loose(half_car(seed)) for seed in (3, 4)]
    still = integrate(cars, [NOTHING, NOTHING], 0.2)
    assert np.abs(still.rear).max() == 0.0
    assert np.abs(still.heave_acceleration).max() < 1e-9
    press = Hands(np.array([0.0, 4.0, 20.0]), np.array([0.0, -400.0, -400.0]), 20.0)
    damped = [
        replace(
            car,
            front=bare(car.front, compression=Stroke(900, 900, 1, 0.1), rebound=Stroke(900, 900, 1, 0.1)),
            rear=bare(car.rear, compression=Stroke(900, 900, 1, 0.1), rebound=Stroke(900, 900, 1, 0.1)),
        )
        for car in cars
    ]
    held = integrate(damped, [press, press], 7.0)
    for lane, car in enumerate(cars):
        # hands at the axle line: this axle carries all of it, the other one nothing
        assert held.rear[-1, lane] == pytest.approx(400.0 / (2 * car.rear.wheel_rate), rel=1e-3)
        assert abs(held.front[-1, lane]) < 1e-5
        assert held.rear_load[-1, lane] - held.rear_load[0, lane] == pytest.approx(400.0, rel=1e-3)


def test_free_swings_have_the_frequencies_of_the_linear_system() -> None:
    cars, starts, expected = [], [], []
    for seed in (3, 4):
        car = loose(half_car(seed))
        squares, shapes = eigh(*matrices(car)[::-1])
        cars += [car] * 4
        starts += [1e-3 * shape / np.abs(shape).max() for shape in shapes.T]
        expected += (np.sqrt(squares) / (2 * np.pi)).tolist()
    motion = integrate(cars, [NOTHING] * 8, 5.0, np.array(starts).T)
    for lane, hertz in enumerate(expected):
        way = max((motion.front[:, lane], motion.rear[:, lane]), key=np.ptp)
        k = np.flatnonzero(way[1:] * way[:-1] < 0)
        crossed = motion.time[k] + motion.time[1] * way[k] / (way[k] - way[k + 1])
        assert len(k) == pytest.approx(2 * hertz * 5.0, abs=1)
        assert 0.5 / np.diff(crossed) == pytest.approx(hertz, rel=0.005)


def test_energy_is_kept_or_is_what_went_into_dampers_and_friction() -> None:
    drawn = [half_car(seed) for seed in range(8)]
    cars = [
        replace(car, front=replace(car.front, tyre_damping=0.0), rear=replace(car.rear, tyre_damping=0.0))
        for car in drawn
    ]
    start = np.tile(np.array([[-0.02], [0.01], [0.0], [0.0]]), 16)
    motion = integrate([loose(car) for car in cars] + cars, [NOTHING] * 16, 3.0, start)
    assert motion.rear_load.min() > 0.0  # a tyre off the ground stores nothing
    begin = motion.energy[0]
    assert (np.ptp(motion.energy, axis=0) < 0.005 * begin)[:8].all()
    assert (np.abs(motion.energy + motion.lost - begin).max(0) < 0.005 * begin)[8:].all()
    assert (motion.energy[-1] < 0.1 * begin)[8:].all()


@pytest.mark.parametrize("maker", ["creeps", "winds up", "both"])
def test_a_general_integrator_gives_the_same_motion(maker: str) -> None:
    drawn = (half_car(seed) for seed in range(1, 99))
    car = next(car for car in drawn if car.rear.friction.maker == maker and not car.rear.friction.sharp)
    creeping = replace(car.front.friction, maker="creeps", creep=2e-3, wind=0.0, sharp=False)
    car = replace(car, front=replace(car.front, friction=creeping))
    hands, _ = hands_of(7, car, "push")
    until = 4.5
    axles, levers = (car.front, car.rear), car.levers

    def rhs(t: float, s: np.ndarray) -> list[float]:
        z, th, zf, zr, vz, w, vf, vr, ff, fr = s.tolist()
        hand = float(np.interp(t, hands.times, hands.forces))
        body, turn, wheels, wound = hand, levers[1] * hand, [], []
        for axle, lever, zw, vw, f in zip(axles, levers, (zf, zr), (vf, vr), (ff, fr), strict=True):
            way, u = zw - z - lever * th, vw - vz - lever * w
            stroke = axle.compression if u > 0 else axle.rebound
            damping = np.copysign(axle.ratio * stroke.force(axle.ratio * abs(u)), u)
            law = axle.friction
            if law.wind > 0:
                dry = f
                wound.append(law.force / law.wind * (u - f / law.force * np.hypot(u, law.creep)))
            else:
                dry = law.force * np.tanh(u / law.creep)
                wound.append(0.0)
            force = 2 * (axle.wheel_rate * way + damping + dry)
            weight = 2 * 9.80665 * (axle.sprung + axle.unsprung)
            ground = max(weight - 2 * axle.tyre_rate * zw - 2 * axle.tyre_damping * vw, 0.0) - weight
            body += force
            turn += lever * force
            wheels.append((ground - force) / (2 * axle.unsprung))
        return [vz, w, vf, vr, body / car.mass, turn / car.inertia, *wheels, *wound]

    motion = integrate([car], [hands], until)
    solved = solve_ivp(
        rhs, (0.0, until), np.zeros(10), "LSODA", motion.time, rtol=1e-8, atol=1e-10, max_step=0.005
    )
    rear = solved.y[3] - solved.y[0] - levers[1] * solved.y[1]
    heave = np.array([rhs(t, s)[4] for t, s in zip(motion.time, solved.y.T, strict=True)])
    assert np.abs(motion.rear[:, 0] - rear).max() < 0.005 * np.ptp(rear)
    assert np.sqrt(np.mean((motion.heave_acceleration[:, 0] - heave) ** 2)) < 0.005 * np.ptp(heave)
    assert np.abs(motion.pitch[:, 0] - solved.y[1]).max() < 0.005 * np.ptp(solved.y[1])


def test_what_sticks_stands_still_and_what_creeps_or_winds_up_gives_way() -> None:
    car = loose(half_car(3))
    slope = Stroke(400.0, 400.0, 1.0, 0.1)
    laws = (
        Friction("sticks", 30.0),
        Friction("creeps", 30.0, creep=2e-3),
        Friction("creeps", 30.0, creep=2e-3, sharp=True),
        Friction("winds up", 30.0, wind=5e-4),
        Friction("winds up", 30.0, wind=5e-4, sharp=True),
        Friction("both", 30.0, creep=2e-3, wind=5e-4),
    )
    corner = replace(car.rear, compression=slope, rebound=slope)
    cars = [replace(car, rear=replace(corner, friction=law)) for law in laws]
    # 30 N on two corners of 30 N each: half the grip
    press = Hands(np.array([0.0, 0.5, 20.0]), np.array([0.0, -30.0, -30.0]), 20.0)
    motion = integrate(cars, [press] * len(cars), 6.0)
    early, late = (int(np.searchsorted(motion.time, t)) for t in (0.6, 6.0))
    sticks, creeps, sharp, winds, straight, both = motion.rear.T
    assert abs(sticks[late]) < 1e-9
    spring = 2 * car.rear.wheel_rate
    # spring and wound-up friction (60 N over 0.5 mm) carry 30 N together, as parallel springs
    assert straight[late] == pytest.approx(30.0 / (spring + 60.0 / 5e-4), rel=0.02)
    # the smooth law is softer from the start and gives way a little with every swing, but it does not let go
    assert straight[late] < winds[late] < 0.5 * 30.0 / spring
    # what creeps ends where the spring alone carries the hands, and gets there at the creep speed at most
    for way in (creeps, sharp, both):
        assert way[late] == pytest.approx(30.0 / spring, rel=0.05)
        assert way[early] < 0.9 * way[late]
        assert np.diff(way).max() / motion.time[1] < 2e-3


def test_cases_are_what_the_table_says() -> None:
    made = cases([(seed, start) for seed in (10, 11) for start in STARTS])
    for one in made:
        assert 3 <= len(one.kinds) <= 6
        assert set(one.kinds) == ({"push", "lift"} if one.start == "both" else {one.start})
        assert one.lightest > 0.0
        assert 0.015 < np.ptp(one.compression) < 0.16
        resting = one.time < 0.9
        assert np.abs(one.acceleration[resting]).max() < 1e-6
        machine = one.machine(body=True)
        assert machine.body is not None
        assert machine.corner("rear") == one.machine(body=False).corner("rear")
    assert made[0].car.rear.zeta("rebound", 0.26) > 0.6


def test_a_rigid_body_engine_gives_the_same_motion_without_friction() -> None:
    from tests.benchmarks.whole_mujoco import Phone, Softness, move

    drawn = half_car(3)
    front, rear = (replace(axle, friction=SMOOTH) for axle in (drawn.front, drawn.rear))
    car = replace(drawn, front=front, rear=rear)
    hands, _ = hands_of(3, car, "push")
    behind = car.levers[1]
    motion = integrate([car], [hands], 4.0)
    acceleration, way, load = move(car, Softness(0.01, 0.95), Phone(behind, 0.0, 0.0), hands, 4.0)
    n = len(way)
    assert np.abs(way - motion.rear[:n, 0]).max() < 0.005 * np.ptp(way)
    upward = (motion.heave_acceleration + behind * motion.pitch_acceleration)[:n, 0]
    assert np.abs(acceleration - upward).max() < 0.005 * np.ptp(upward)
    assert np.abs(load - (motion.rear_load / motion.rear_load[0])[:n, 0]).max() < 0.005
