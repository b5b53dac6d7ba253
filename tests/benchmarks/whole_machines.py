"""Whole machines bounced at one end: random half cars, hands, phone and travel sensor, and what their builder knows.

Takes seeds; gives cases: the truth, the records, the machine file. Independent of the program's equations of motion.

A half car: body that heaves and pitches, two wheels on tyres that cannot pull, two axles with springs, dampers that
bend at a knee, and friction of four makers: it sticks (Coulomb), creeps (F tanh(v / v_s)), winds up (P. R. Dahl, *A
Solid Friction Model*, 1968), or does both (Dahl's law that relaxes like a spring in series with a creeping slider).
Many machines are integrated at once in small even steps: positions and speeds half a step apart (leapfrog), damping
at the mean speed of the step, friction at the speed that comes out of it (J. J. Moreau's time stepping, 1988), so
that what sticks stands still exactly. Heights from rest, + up; pitch + nose up; the tested axle is the rear one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from tuner.estimates import NORMAL_95, Estimate
from tuner.machine import TARGETS, Axles, Body, Corner, Machine, MotionRatio
from tuner.machine.parts import DEFAULT_TARGET
from tuner.records import BounceRecord, Side

G = 9.80665
STEP = 5e-4  # s
FINEST = 400  # samples a second that are kept
JUDGED = 0.26  # shaft speed of the stated damping ratios [m/s]
CHUNK = 500
NEWTON = 5
STUCK = 1e-12  # m/s: a creep speed that is none

Maker = Literal["sticks", "creeps", "winds up", "both", "engine"]  # engine: whole_mujoco.py
MAKERS: tuple[Maker, ...] = ("sticks", "creeps", "winds up", "both")
Start = Literal["push", "lift", "both"]
STARTS: tuple[Start, ...] = ("push", "lift", "both")


@dataclass(frozen=True)
class Stroke:
    """Damping force of one damper in one direction: slopes [N*s/m] below and above a rounded knee, at the shaft."""

    low: float
    high: float
    knee: float  # m/s
    width: float  # of the bend [m/s]

    def force(self, speed: float) -> float:
        return float(strokes_force(self.low, self.high, self.knee, self.width, speed))

    def secant(self, speed: float) -> float:
        return self.force(speed) / speed


def strokes_force(low, high, knee, width, speed):  # type: ignore[no-untyped-def]
    """Force of rounded knees (arrays of one shape) at shaft speeds >= 0: a hyperbola between the two slopes."""
    beyond = speed - knee
    bent = beyond + np.sqrt(beyond**2 + width**2) + knee - np.sqrt(knee**2 + width**2)
    return low * speed + (high - low) * 0.5 * bent


@dataclass(frozen=True)
class Friction:
    """Dry friction of one corner at the wheel: force [N], creep speed [m/s], distance of winding up [m], and law."""

    maker: Maker
    force: float
    creep: float = 0.0
    wind: float = 0.0
    sharp: bool = False  # straight pieces instead of smooth laws


@dataclass(frozen=True)
class TrueAxle:
    """One corner of an axle (its two corners are alike) at the wheel, dampers at the shaft; SI."""

    sprung: float
    unsprung: float
    wheel_rate: float
    tyre_rate: float
    tyre_damping: float
    ratio: float
    compression: Stroke
    rebound: Stroke
    friction: Friction

    @property
    def critical(self) -> float:
        return 2.0 * float(np.sqrt(self.wheel_rate * self.sprung))

    def zeta(self, side: Side, speed: float) -> float:
        """True secant ratio of a side at a shaft speed > 0 [m/s]."""
        stroke = self.compression if side == "compression" else self.rebound
        return stroke.secant(speed) * self.ratio**2 / self.critical


@dataclass(frozen=True)
class HalfCar:
    """Two axles and the body on them. factor : pitch inertia over sprung mass * front * rear distance."""

    front: TrueAxle
    rear: TrueAxle
    wheelbase: float
    factor: float

    @property
    def mass(self) -> float:
        return 2.0 * (self.front.sprung + self.rear.sprung)

    @property
    def front_share(self) -> float:
        return 2.0 * self.front.sprung / self.mass

    @property
    def levers(self) -> tuple[float, float]:
        """Places of front and rear axle ahead of the centre of gravity [m]."""
        return (1.0 - self.front_share) * self.wheelbase, -self.front_share * self.wheelbase

    @property
    def inertia(self) -> float:
        ahead, behind = self.levers
        return -self.factor * self.mass * ahead * behind


@dataclass(frozen=True)
class Hands:
    """Force of the hands on the body at the rear axle [N], + up, straight between (time, force) points."""

    times: np.ndarray
    forces: np.ndarray
    end: float


@dataclass(frozen=True)
class Motion:
    """What machines did, (samples, machines): compression at the wheels, pitch, its rate, accelerations of the body."""

    time: np.ndarray
    front: np.ndarray
    rear: np.ndarray
    pitch: np.ndarray
    pitch_rate: np.ndarray
    heave_acceleration: np.ndarray
    pitch_acceleration: np.ndarray
    rear_load: np.ndarray  # of the ground on the rear axle [N]
    energy: np.ndarray  # kinetic, springs and tyres, from rest [J]
    lost: np.ndarray  # in dampers and friction since the start, less what hands put in [J]


def integrate(
    cars: Sequence[HalfCar],
    hands: Sequence[Hands],
    duration: float,
    start: np.ndarray | None = None,
    step: float = STEP,
) -> Motion:
    """Move machines for `duration` [s] from rest at heights `start` (4, n): heave, pitch, front and rear wheel.

    `step` must go into the 1 / 400 s of a sample a whole number of times.
    """
    n = len(cars)
    every = round(1.0 / (FINEST * step))

    def of(value) -> np.ndarray:  # type: ignore[no-untyped-def]
        return np.array([[value(car.front) for car in cars], [value(car.rear) for car in cars]], dtype=float)

    mass = np.array([car.mass for car in cars])
    inertia = np.array([car.inertia for car in cars])
    lever = np.array([car.levers for car in cars]).T
    wheel = 2.0 * of(lambda x: x.unsprung)
    rate, tyre_rate = 2.0 * of(lambda x: x.wheel_rate), 2.0 * of(lambda x: x.tyre_rate)
    tyre_damping = 2.0 * of(lambda x: x.tyre_damping)
    load = 2.0 * G * of(lambda x: x.sprung + x.unsprung)
    ratio = of(lambda x: x.ratio)
    shapes = np.array(
        [
            [of(lambda x, s=s, q=q: getattr(getattr(x, s), q)) for q in ("low", "high", "knee", "width")]
            for s in ("compression", "rebound")
        ]
    )  # (2 sides, 4, 2 axles, n)
    at_rest = np.sqrt(shapes[:, 2] ** 2 + shapes[:, 3] ** 2) - shapes[:, 2]
    wound = of(lambda x: x.friction.wind > 0) > 0
    grip = 2.0 * of(lambda x: x.friction.force)
    slides = np.where(wound, 0.0, grip)  # friction that depends on the speed alone
    creep = np.maximum(of(lambda x: x.friction.creep), STUCK)
    creep_wound = of(lambda x: x.friction.creep)
    bristle = np.where(wound, grip / np.maximum(of(lambda x: x.friction.wind), 1e-9), 0.0)
    held = np.maximum(grip, 1e-9)
    yields = wound & (of(lambda x: x.friction.sharp) > 0)
    smooth = np.flatnonzero((~wound & (creep > 2 * STUCK) & (of(lambda x: x.friction.sharp) == 0)).ravel())

    own = 1.0 / wheel + 1.0 / mass + lever**2 / inertia  # relative acceleration by a force in the same axle
    cross = step * (1.0 / mass + lever[0] * lever[1] / inertia)
    h = step * own
    pull = h * slides
    creep_smooth, pull_smooth = creep.ravel()[smooth], pull.ravel()[smooth]

    x = np.zeros((4, n)) if start is None else np.array(start, dtype=float)
    v = np.zeros((4, n))
    strut = np.zeros((2, n))
    last = np.zeros((2, n))
    lost = np.zeros(n)
    steps = round(duration / step)
    kept = np.empty((9, steps // every + 1, n))
    for at in range(steps + 1):
        if at % CHUNK == 0:
            clock = step * (at + np.arange(CHUNK))
            push = np.stack([np.interp(clock, one.times, one.forces) for one in hands], axis=1)
        hand = push[at % CHUNK]
        if at:
            x = x + step * v
        way = x[2:] - x[0] - lever * x[1]
        u = v[2:] - v[0] - lever * v[1]
        # what winds up: f' = k (u - f / F sqrt(u^2 + v_s^2)), trapezoid over the step; or f' = k u up to F
        turn = 0.5 * step * bristle / held * np.sqrt(u * u + creep_wound**2)
        turn[yields] = 0.0
        strut = ((1.0 - turn) * strut + step * bristle * u) / (1.0 + turn)
        np.clip(strut, -grip, grip, out=strut)
        elastic = rate * way + strut
        tyre = np.maximum(load - tyre_rate * x[2:] - tyre_damping * v[2:], 0.0) - load

        def speeds_up(force: np.ndarray, hand: np.ndarray = hand, tyre: np.ndarray = tyre) -> np.ndarray:
            body = force[0] + force[1] + hand
            turned = lever[0] * force[0] + lever[1] * (force[1] + hand)
            return np.stack([body / mass, turned / inertia, *((tyre - force) / wheel)])

        free = speeds_up(elastic)
        apart = free[2:] - free[0] - lever * free[1]
        inward = u >= 0
        low, high, knee, width = np.where(inward, shapes[0], shapes[1])
        rest = np.where(inward, at_rest[0], at_rest[1])
        shaft = np.maximum(ratio * np.abs(u), 1e-7)
        beyond = shaft - knee
        bent = beyond + np.sqrt(beyond * beyond + width * width) - rest
        c = ratio * ratio * 2.0 * (low + (high - low) * 0.5 * bent / shaft)
        # (1 + h c / 2) u_next + h friction(u_next) = y
        half = 0.5 * h * c
        y = (1.0 - half) * u + step * apart - cross * last[::-1]
        alpha = 1.0 + half
        size = np.abs(y)
        pieces = np.where(
            size <= pull + alpha * creep, size / (alpha + pull / creep), (size - pull) / alpha
        )  # straight pieces; they lie left of the smooth root, from where Newton's method climbs to it
        if smooth.size:
            z, slope, wanted = pieces.ravel()[smooth], alpha.ravel()[smooth], size.ravel()[smooth]
            for _ in range(NEWTON):
                th = np.tanh(z / creep_smooth)
                z = z + (wanted - slope * z - pull_smooth * th) / (
                    slope + pull_smooth / creep_smooth * (1.0 - th * th)
                )
            pieces.reshape(-1)[smooth] = z
        new = np.copysign(pieces, y)
        last = (y - alpha * new) / h + c * 0.5 * (u + new)
        gained = speeds_up(elastic + last)
        before, v = v, v + (step if at else 0.5 * step) * gained
        mean = 0.5 * (before + v)
        moved = mean[2:] - mean[0] - lever * mean[1]
        lost += step * (((last + strut) * moved).sum(0) - hand * (mean[0] + lever[1] * mean[1]))
        if at % every == 0:
            k = at // every
            kept[:7, k] = way[0], way[1], x[1], mean[1], gained[0], gained[1], tyre[1] + load[1]
            kinetic = mass * mean[0] ** 2 + inertia * mean[1] ** 2 + (wheel * mean[2:] ** 2).sum(0)
            kept[7, k] = 0.5 * (kinetic + (rate * way**2 + tyre_rate * x[2:] ** 2).sum(0))
            kept[8, k] = lost
    return Motion(step * every * np.arange(kept.shape[1]), *kept)


# --- random machines, hands and sensors ---------------------------------------------------------------------------


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _friction(rng: np.random.Generator, maker: Maker, force: float) -> Friction:
    creep = _log_uniform(rng, 1e-3, 5e-3) if maker in ("creeps", "both") else 0.0
    wind = _log_uniform(rng, 0.3e-3, 1e-3) if maker in ("winds up", "both") else 0.0
    return Friction(maker, force, creep, wind, sharp=maker in ("creeps", "winds up") and rng.uniform() < 0.15)


def _stroke(rng: np.random.Generator, zeta: float, per_c: float) -> Stroke:
    """Draw a damper side whose secant at the judged speed is that ratio."""
    knee, ratio = float(rng.uniform(0.08, 0.4)), float(rng.uniform(0.35, 1.6))
    shape = Stroke(1.0, ratio, knee, float(rng.uniform(0.02, 0.3)) * knee)
    c = zeta / per_c / shape.secant(JUDGED)
    return replace(shape, low=c, high=c * ratio)


def _axle(
    rng: np.random.Generator, sprung: float, hertz: float, zetas: tuple[float, float], friction: Friction
) -> TrueAxle:
    unsprung = sprung * float(rng.uniform(0.15, 0.35))
    rate = sprung * (2.0 * np.pi * hertz) ** 2
    tyre = rate * float(rng.uniform(3.5, 9.0))
    ratio = float(rng.uniform(0.5, 0.9))
    per_c = ratio**2 / (2.0 * np.sqrt(rate * sprung))
    rolling = 2.0 * _log_uniform(rng, 0.001, 0.01) * np.sqrt(tyre * (sprung + unsprung))
    return TrueAxle(
        sprung,
        unsprung,
        rate,
        tyre,
        rolling,
        ratio,
        _stroke(rng, zetas[0], per_c),
        _stroke(rng, zetas[1], per_c),
        friction,
    )


def half_car(seed: int) -> HalfCar:
    """Draw a machine. Even seeds: a strong return and ordinary friction; the rear friction's maker goes round."""
    rng = np.random.default_rng([seed, 1])
    maker = MAKERS[(seed // 2) % 4]
    if seed % 2 == 0:
        zetas = float(rng.uniform(0.15, 0.4)), float(rng.uniform(0.6, 0.85))
        force = float(rng.uniform(15.0, 35.0))
    else:
        zetas = float(rng.uniform(0.12, 0.5)), float(rng.uniform(0.2, 0.7))
        force = float(rng.uniform(3.0, 35.0))
    sprung, share = float(rng.uniform(40.0, 130.0)), float(rng.uniform(0.4, 0.55))
    rear = _axle(rng, sprung, float(rng.uniform(1.3, 2.6)), zetas, _friction(rng, maker, force))
    front = _axle(
        rng,
        sprung * share / (1.0 - share),
        float(rng.uniform(1.3, 2.6)),
        (float(rng.uniform(0.12, 0.5)), float(rng.uniform(0.2, 0.7))),
        _friction(rng, MAKERS[int(rng.integers(4))], float(rng.uniform(3.0, 35.0))),
    )
    return HalfCar(front, rear, float(rng.uniform(1.5, 2.4)), float(rng.uniform(0.8, 1.0)))


RELEASE = np.linspace(0.0, 1.0, 13)
SHAPES = (1.0 - RELEASE, 0.5 + 0.5 * np.cos(np.pi * RELEASE), np.exp(-4.0 * RELEASE) * (1.0 - RELEASE))


def hands_of(seed: int, car: HalfCar, start: Start) -> tuple[Hands, tuple[str, ...]]:
    """Push or lift slowly, hold, let go within 20-60 ms, wait; 3-6 times. The hands, and what each bounce was.

    First strokes of 30-80 mm at the wheel, as far as hands can: at most 1500 N, never more than the load that the
    end carries, 80 % of it on a lift.
    """
    rng = np.random.default_rng([seed, 2, STARTS.index(start)])
    count = int(rng.integers(3, 7))
    kinds = (
        ["push" if k % 2 == 0 else "lift" for k in range(count)] if start == "both" else [str(start)] * count
    )
    resting = rng.uniform() < 1.0 / 3.0
    rear, first = car.rear, float(rng.uniform(0.03, 0.08))
    times, forces, now = [0.0], [0.0], float(rng.uniform(1.0, 2.0))
    for kind in kinds:
        zeta = min(rear.zeta("rebound" if kind == "push" else "compression", JUDGED), 0.9)
        beyond = float(np.exp(-np.pi * zeta / np.sqrt(1.0 - zeta**2)))
        load = 2.0 * rear.sprung * G
        size = 2.0 * rear.wheel_rate * first / (1.0 + beyond) * float(rng.uniform(0.8, 1.2))
        size = min(size, 1500.0, load if kind == "push" else 0.8 * load)
        force = -size if kind == "push" else size
        ramp, hold, off = rng.uniform(0.3, 0.8), rng.uniform(0.3, 0.8), rng.uniform(0.02, 0.06)
        shape = SHAPES[int(rng.integers(3))]
        points = [(0.0, 0.0), (ramp, force)]
        points += [(ramp + part * hold, force * rng.uniform(0.97, 1.0)) for part in (0.33, 0.67)]
        points += [
            (ramp + hold + part * off, force * left) for part, left in zip(RELEASE, shape, strict=True)
        ]
        done = ramp + hold + off
        ring = float(rng.uniform(2.5, 4.0))
        if resting:
            beats = np.arange(0.15, ring - 0.1, 0.25)
            points += [(done + beat, rng.uniform(-5.0, 5.0)) for beat in beats]
            points.append((done + ring - 0.02, 0.0))
        times += [now + t for t, _ in points]
        forces += [f for _, f in points]
        now += done + ring
    return Hands(np.array(times), np.array(forces), now), tuple(kinds)


@dataclass(frozen=True)
class Case:
    """One machine bounced one way: the truth, the builder's machine file, and clean signals of both sensors."""

    seed: int
    start: Start
    car: HalfCar
    kinds: tuple[str, ...]
    rate: int
    time: np.ndarray
    acceleration: np.ndarray  # of the phone along its axis less gravity at rest, without noise
    compression: np.ndarray  # rear, at the wheel
    lightest: float  # smallest load of the rear tyres over the one at rest

    def first(self, side: Side) -> bool:
        """Say whether some bounce starts with that side."""
        return ("push" if side == "rebound" else "lift") in self.kinds

    def record(self, quantity: str) -> BounceRecord:
        """Give what that sensor recorded."""
        rng = np.random.default_rng([self.seed, 3, STARTS.index(self.start), quantity == "travel"])
        noise = rng.normal(size=len(self.time))
        if quantity == "acceleration":
            signal = self.acceleration + rng.normal(0.0, 0.05) + rng.uniform(0.05, 0.2) * noise
            return BounceRecord(self.time, signal, "acceleration")
        signal = 0.09 + self.car.rear.ratio * self.compression + rng.uniform(0.2e-3, 0.6e-3) * noise
        return BounceRecord(self.time, signal, "travel")

    def machine(self, *, body: bool) -> Machine:
        """Give the machine file: values off by what they are unsure by; with body and both axles, or the rear alone."""
        rng = np.random.default_rng([self.seed, 4])

        def known(value: float, half: float, unit: str) -> Estimate:
            off = float(value * np.exp(rng.normal(0.0, half / NORMAL_95)))
            return Estimate.from_log_sd(off, half / NORMAL_95, unit)

        def corner(name: str, axle: TrueAxle) -> Corner:
            return Corner(
                name=name,
                sprung_mass=known(axle.sprung, 0.02, "kg"),
                spring_rate=known(axle.wheel_rate / axle.ratio**2, 0.02, "N/m"),
                motion_ratio=MotionRatio(known(axle.ratio, 0.01, "1")),
                unsprung_mass=known(axle.unsprung, 0.04, "kg"),
                tyre_rate=known(axle.tyre_rate, 0.10, "N/m"),
            )

        rear, front = corner("rear", self.car.rear), corner("front", self.car.front)
        share = self.car.front_share + float(rng.normal(0.0, 0.01 / NORMAL_95))
        factor, inertia = known(self.car.factor, 0.09, "1"), known(self.car.inertia, 0.09, "kg*m**2")
        by_factor = self.seed % 3 > 0
        whole = Body(
            Estimate.exact(self.car.wheelbase, "m"),
            front_share=Estimate(share, share - 0.01, share + 0.01, "1"),
            pitch_inertia=None if by_factor else inertia,
            pitch_factor=factor if by_factor else None,
        )
        target = TARGETS[DEFAULT_TARGET]
        if not body:
            return Machine(f"machine {self.seed}", {"rear": rear}, None, None, target)
        corners = {"front": front, "rear": rear}
        return Machine(f"machine {self.seed}", corners, whole, Axles("front", "rear"), target)


def phone_axis(rng: np.random.Generator, car: HalfCar, motion: Motion, lane: int, last: int) -> np.ndarray:
    """What a phone near the rear axle reads along its axis, less what it reads at rest, without noise."""
    place = car.levers[1] + float(rng.uniform(-0.1, 0.1))
    height, tilt = float(rng.uniform(0.1, 0.4)), float(np.radians(rng.uniform(-5.0, 5.0)))
    pitch, turning = motion.pitch[:last, lane], motion.pitch_acceleration[:last, lane]
    squared = motion.pitch_rate[:last, lane] ** 2
    lifted = motion.heave_acceleration[:last, lane] + G
    up = lifted * np.cos(pitch) + place * turning - height * squared
    ahead = lifted * np.sin(pitch) - height * turning - place * squared
    return np.asarray(up * np.cos(tilt) + ahead * np.sin(tilt) - G * np.cos(tilt))


def cases(wanted: Sequence[tuple[int, Start]]) -> list[Case]:
    """Make all bounces of (seed, start) at once."""
    cars = [half_car(seed) for seed, _ in wanted]
    plans = [hands_of(seed, car, start) for (seed, start), car in zip(wanted, cars, strict=True)]
    hands = [plan for plan, _ in plans]
    motion = integrate(cars, hands, max(one.end for one in hands))
    made = []
    for lane, ((seed, start), car, (plan, kinds)) in enumerate(zip(wanted, cars, plans, strict=True)):
        rng = np.random.default_rng([seed, 5, STARTS.index(start)])
        last = round(plan.end * FINEST)
        rate = int(rng.choice([200, 200, 200, 200, 100, 400]))
        thin = slice(None, None, FINEST // rate)
        phone = phone_axis(rng, car, motion, lane, last)
        load = motion.rear_load[:last, lane]
        made.append(
            Case(
                seed,
                start,
                car,
                kinds,
                rate,
                motion.time[:last][thin],
                phone[thin],
                motion.rear[:last, lane][thin].copy(),
                float(load.min() / load[0]),
            )
        )
    return made
