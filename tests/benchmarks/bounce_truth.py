"""Bounce records made by general-purpose integrators, independent of the program's own equations of motion.

Takes a corner and what the hands do; gives body acceleration and wheel compression over time, integrated by
scipy's `solve_ivp` (variable step, events located) in the bodies' own heights.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

G = 9.80665


@dataclass(frozen=True)
class TrueCorner:
    """One corner in SI; damping at the wheel."""

    sprung: float
    unsprung: float
    wheel_rate: float
    tyre_rate: float
    c_compression: float
    c_rebound: float
    friction: float
    tyre_damping: float = 0.0
    knee_speed: float = math.inf
    c_compression_high: float = 0.0
    c_rebound_high: float = 0.0

    @property
    def critical(self) -> float:
        return 2.0 * math.sqrt(self.wheel_rate * self.sprung)

    @property
    def frequency(self) -> float:
        return math.sqrt(self.wheel_rate / self.sprung) / (2.0 * math.pi)

    def damper(self, speed: float) -> float:
        if speed >= 0:
            low, high = self.c_compression, self.c_compression_high
        else:
            low, high = self.c_rebound, self.c_rebound_high
        size = abs(speed)
        if size <= self.knee_speed:
            return low * speed
        return math.copysign(low * self.knee_speed + high * (size - self.knee_speed), speed)


@dataclass(frozen=True)
class Hands:
    """The vertical force of the hands on the body [N], up +, piecewise linear through (time, force) points."""

    times: tuple[float, ...]
    forces: tuple[float, ...]

    def __call__(self, t: float) -> float:
        return float(np.interp(t, self.times, self.forces))


def let_go(count: int, force: float, *, ring: float = 3.0) -> tuple[Hands, float]:
    """Push (force < 0) or lift slowly, hold and let go, `count` times; the hands and when all is over [s]."""
    times, forces, now = [0.0], [0.0], 1.0
    for _ in range(count):
        for wait, value in ((0.0, 0.0), (0.6, force), (0.5, force), (0.02, 0.0)):
            now += wait
            times.append(now)
            forces.append(value)
        now += ring
    return Hands(tuple(times), tuple(forces)), now


def integrate(
    corner: TrueCorner,
    hands: Hands,
    times: np.ndarray,
    start: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0),
    rtol: float = 1e-8,
) -> tuple[np.ndarray, np.ndarray, bool]:
    """Acceleration of the body, compression at the wheel at `times`, and whether the wheel left the ground.

    Start: body height, body speed, wheel height, wheel speed from static equilibrium. Phases: sliding in (+1),
    sliding out (-1), stuck (0), each with the tyre on the ground or not.
    """
    m, mu, k, kt, ct = (
        corner.sprung,
        corner.unsprung,
        corner.wheel_rate,
        corner.tyre_rate,
        corner.tyre_damping,
    )
    weight = (m + mu) * G
    lift = weight / kt

    def tyre(zu: float, vu: float, ground: bool) -> float:
        return -kt * zu - ct * vu if ground else -weight

    def held(t: float, x: np.ndarray, ground: bool) -> float:
        together = (hands(t) + tyre(x[2], x[3], ground)) / (m + mu)
        return m * together - hands(t) - k * (x[2] - x[0])

    def rhs(phase: int, ground: bool) -> Callable[[float, np.ndarray], list[float]]:
        def sliding(t: float, x: np.ndarray) -> list[float]:
            zs, vs, zu, vu = x.tolist()
            force = k * (zu - zs) + corner.damper(vu - vs) + phase * corner.friction
            return [vs, (force + hands(t)) / m, vu, (tyre(zu, vu, ground) - force) / mu]

        def stuck(t: float, x: np.ndarray) -> list[float]:
            _, vs, zu, vu = x.tolist()
            together = (hands(t) + tyre(zu, vu, ground)) / (m + mu)
            return [vs, together, vu, together]

        return stuck if phase == 0 else sliding

    # a body that creeps to rest ends where friction just holds it: rounding must not set it sliding again
    grip = corner.friction * (1.0 + 1e-6) + 1e-6
    release = corner.friction * (1.0 + 2e-6) + 2e-6

    def settle(t: float, x: np.ndarray, ground: bool) -> int:
        need = held(t, x, ground)
        return 1 if need > grip else -1 if need < -grip else 0

    out_a, out_w = np.full(len(times), np.nan), np.full(len(times), np.nan)
    breaks = sorted({*(b for b in hands.times if times[0] < b < times[-1]), float(times[-1])})
    x = np.array(start, dtype=float)
    t = float(times[0])
    ground = bool(x[2] <= lift)
    flew = not ground
    speed = x[3] - x[1]
    phase = settle(t, x, ground) if abs(speed) < 1e-12 else int(math.copysign(1, speed))
    fast = t
    for _ in range(20000):
        end = next(b for b in breaks if b > t + 1e-12)
        if phase == 0:

            def turned(tt: float, y: np.ndarray, on: bool = ground, until: float = fast) -> float:
                return release - abs(held(tt, y, on)) if tt >= until else 1.0
        else:

            def turned(tt: float, y: np.ndarray, sign: int = phase) -> float:
                return sign * (y[3] - y[1])

        def crossed(tt: float, y: np.ndarray, on: bool = ground) -> float:
            return (lift - y[2]) if on else (y[2] - lift)

        events = [turned, crossed]
        for event in events:
            event.terminal = True  # type: ignore[attr-defined]
            event.direction = -1  # type: ignore[attr-defined]
        solution = solve_ivp(
            rhs(phase, ground),
            (t, end),
            x,
            method="DOP853",
            rtol=rtol,
            atol=1e-11,
            events=events,
            dense_output=True,
        )
        last = float(solution.t[-1])
        if phase != 0 and last - t < 1e-12 and not solution.t_events[1].size:
            phase, fast = 0, t + 1e-6  # friction let go at the very top of the load on it: it holds a moment
            continue
        inside = np.flatnonzero((times >= t) & (times <= last))
        if inside.size:
            states = solution.sol(times[inside])
            out_w[inside] = states[2] - states[0]
            out_a[inside] = [
                rhs(phase, ground)(tt, y)[1] for tt, y in zip(times[inside].tolist(), states.T, strict=True)
            ]
        x, t = solution.y[:, -1].copy(), last
        if solution.status == 1:
            if solution.t_events[1].size:
                ground = not ground
                flew |= not ground
                x[2] = lift
                if phase == 0:
                    phase = settle(t, x, ground)
            elif phase == 0:
                phase = 1 if held(t, x, ground) > 0 else -1
            else:
                x[3] = x[1]
                phase = settle(t, x, ground)
        elif t >= times[-1] - 1e-12:
            break
    assert np.isfinite(out_a).all()
    return out_a, out_w, flew


def integrate_slider(
    corner: TrueCorner,
    creep: float,
    wind: float,
    times: np.ndarray,
    start: tuple[float, float, float, float, float],
    rtol: float = 1e-9,
) -> tuple[np.ndarray, np.ndarray]:
    """Acceleration of the body and compression at the wheel of a corner whose friction is a slider behind a spring.

    The slider creeps by `creep` [m/s] at its limit and winds up by `wind` [m]; the wheel stays on the ground.
    Start: body height, body speed, wheel height, wheel speed, friction [N].
    """
    m, mu, k, limit = corner.sprung, corner.unsprung, corner.wheel_rate, corner.friction

    def rhs(slips: int) -> Callable[[float, np.ndarray], list[float]]:
        def slope(_t: float, x: np.ndarray) -> list[float]:
            zs, vs, zu, vu, s = x.tolist()
            speed = vu - vs
            force = k * (zu - zs) + corner.damper(speed) + s
            wheel = -corner.tyre_rate * zu - corner.tyre_damping * vu - force
            return [
                vs,
                force / m,
                vu,
                wheel / mu,
                0.0 if slips else limit / wind * (speed - creep * s / limit),
            ]

        return slope

    x, t, slips = np.array(start, dtype=float), float(times[0]), 0
    out_a, out_w = np.full(len(times), np.nan), np.full(len(times), np.nan)
    while t < times[-1] - 1e-12:

        def leaves(_t: float, y: np.ndarray, side: int = slips) -> float:
            return side * (y[3] - y[1]) - creep if side else limit - abs(y[4])

        leaves.terminal, leaves.direction = True, -1  # type: ignore[attr-defined]
        solution = solve_ivp(
            rhs(slips), (t, times[-1]), x, "DOP853", rtol=rtol, atol=1e-11, events=[leaves], dense_output=True
        )
        last = float(solution.t[-1])
        inside = np.flatnonzero((times >= t) & (times <= last))
        if inside.size:
            states = solution.sol(times[inside])
            out_w[inside] = states[2] - states[0]
            out_a[inside] = [rhs(slips)(0.0, y)[1] for y in states.T]
        x, t = solution.y[:, -1].copy(), last
        if solution.status == 1 and solution.t_events[0].size:
            if slips:
                slips = 0
            else:
                slips = int(np.sign(x[4]))
                x[4] = slips * limit
    assert np.isfinite(out_a).all()
    return out_a, out_w
