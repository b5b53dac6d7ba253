"""Phone and sensor files written here from closed forms, so that a test knows every number in them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

G = 9.80665
Array = np.ndarray


def ringing(
    duration: float = 24.0,
    rate: float = 200.0,
    *,
    releases: Sequence[float] = (4.0, 9.0, 14.0, 19.0),
    lift: Sequence[int] = (),
    size: float = 5.0,
    jitter: float = 0.0,
    noise: float = 0.04,
    seed: int = 1,
) -> tuple[Array, Array]:
    """Vertical acceleration of bounces: a slow push, then a decaying cosine of 2 Hz from each release on, + up.

    Bounces whose number is in `lift` begin downwards.
    """
    rng = np.random.default_rng(seed)
    count = round(duration * rate)
    time = (np.arange(count) + rng.uniform(-jitter, jitter, count)) / rate
    signal = rng.normal(0.0, noise, count)
    for number, release in enumerate(releases):
        sign = -1.0 if number in lift else 1.0
        before = (time > release - 1.0) & (time < release)
        signal[before] -= sign * 0.35 * np.sin(2 * math.pi * (time[before] - release + 1.0))
        after = time >= release
        late = time[after] - release
        signal[after] += sign * size * np.exp(-3.2 * late) * np.cos(2 * math.pi * 2.0 * late)
    return time, signal


def turn(roll: float, pitch: float, yaw: float) -> Array:
    """Rotation matrix of turns [degrees] about x, y, z, after Rodrigues' formula."""
    out = np.eye(3)
    for axis, angle in zip(np.eye(3), np.radians([roll, pitch, yaw]), strict=True):
        cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
        out = (np.eye(3) + math.sin(angle) * cross + (1 - math.cos(angle)) * cross @ cross) @ out
    return out


def felt(signal: Array, turned: Array, *, gravity: float = G, noise: float = 0.02, seed: int = 2) -> Array:
    """What a phone turned by that matrix reads, (n, 3): vertical acceleration and gravity along its own axes."""
    body = np.column_stack([np.zeros(signal.size), np.zeros(signal.size), signal + gravity])
    return body @ turned.T + np.random.default_rng(seed).normal(0.0, noise, (signal.size, 3))


def table(
    header: Sequence[str],
    columns: Sequence[Array],
    formats: Sequence[str],
    *,
    delimiter: str = ",",
    decimal: str = ".",
    before: Sequence[str] = (),
) -> str:
    """Write columns; NaN becomes an empty cell."""
    lines = [*before, delimiter.join(header)]
    for row in zip(*columns, strict=True):
        cells = [
            "" if np.isnan(v) else f"{v:{f}}".replace(".", decimal) for v, f in zip(row, formats, strict=True)
        ]
        lines.append(delimiter.join(cells))
    return "\n".join(lines) + "\n"


def phone_text(
    time: Array,
    force: Array,
    *,
    header: Sequence[str] = ("time (s)", "ax (m/s2)", "ay (m/s2)", "az (m/s2)"),
    scale: float = 1.0,
    clock: Callable[[Array], Array] = lambda t: t,
    digits: str = ".4f",
    time_digits: str = ".5f",
    **layout: object,
) -> str:
    """A phone file with one row per sample."""
    columns = [clock(time), *(force / scale).T]
    return table(header, columns, [time_digits, digits, digits, digits], **layout)  # type: ignore[arg-type]


def flight(
    *,
    rate: float = 200.0,
    air: float = 0.6,
    pitch: float = -1.2,
    jumps: int = 2,
    gesture: float = 9.0,
    hold: float = 0.0,
    seed: int = 4,
) -> tuple[Array, Array, Array]:
    """Jumps with body axes ahead, left, up: time, specific force (n, 3), rotation (n, 3); nose up is about -y.

    Rest, a lift of the nose by `gesture` degrees and back (with `hold` seconds at the top, and a knock each time the
    hands let go), rest, then per jump three seconds of rough riding, an
    airtime of `air` seconds turning at `pitch` rad/s, a landing of 40 m/s**2, a second and a half of rest.
    """
    rng = np.random.default_rng(seed)
    step = 1.0 / rate
    parts: list[tuple[Array, Array]] = []

    def still(seconds: float) -> None:
        n = round(seconds * rate)
        parts.append((np.tile([0.0, 0.0, G], (n, 1)), np.zeros((n, 3))))

    still(3.0)
    n = round(2.0 * rate)
    phase = np.arange(n) / n
    angle = math.radians(gesture) * 0.5 * (1 - np.cos(2 * math.pi * phase))
    knock = np.zeros(angle.size)
    if hold:
        half, late = n // 2, round(0.3 * rate)
        angle = np.concatenate([angle[:half], np.full(round(hold * rate), angle[half]), angle[half:]])
        shake = 4.0 * np.sin(2 * math.pi * 3.0 * np.arange(late) * step)
        knock = np.zeros(angle.size)
        knock[half - late : half], knock[-late:] = shake, shake
    rates = np.gradient(angle, step)
    parts.append(
        (
            np.column_stack([G * np.sin(angle), np.zeros(angle.size), G * np.cos(angle) + knock]),
            np.column_stack([np.zeros(angle.size), -rates, np.zeros(angle.size)]),
        )
    )
    still(3.0)
    for _ in range(jumps):
        n = round(3.0 * rate)
        parts.append((np.array([0, 0, G]) + rng.normal(0, 2.0, (n, 3)), rng.normal(0, 0.1, (n, 3))))
        n = round(air * rate)
        parts.append((np.zeros((n, 3)), np.tile([0.0, -pitch, 0.0], (n, 1))))
        n = round(1.0 * rate)
        shock = 30.0 * np.exp(-np.arange(n) / (0.08 * rate))
        parts.append((np.column_stack([np.zeros(n), np.zeros(n), G + shock]), np.zeros((n, 3))))
        still(1.5)
    force = np.concatenate([p[0] for p in parts])
    rotation = np.concatenate([p[1] for p in parts])
    noise = rng.normal(0.0, 0.05, force.shape), rng.normal(0.0, 0.004, rotation.shape)
    return np.arange(len(force)) * step, force + noise[0], rotation + noise[1]


def driving(
    duration: float = 30.0, rate: float = 200.0, *, noise: float = 1e-4, seed: int = 6
) -> tuple[Array, Array]:
    """Shaft travel [m] of a drive: five seconds at rest at 90 mm, bumps, five seconds at rest."""
    time = np.arange(round(duration * rate)) / rate
    moving = np.clip((time - 5.0) / 2.0, 0, 1) * np.clip((duration - 5.0 - time) / 2.0, 0, 1)
    travel = 0.09 + moving * (
        0.03 * np.sin(2 * math.pi * 1.7 * time) + 0.012 * np.sin(2 * math.pi * 6.1 * time)
    )
    return time, travel + np.random.default_rng(seed).normal(0.0, noise, time.size)


def shaft_bounces(duration: float = 20.0, rate: float = 200.0) -> tuple[Array, Array]:
    """Shaft travel [m] of three bounces between rests: pressed in slowly, let go, ringing down."""
    time = np.arange(round(duration * rate)) / rate
    travel = np.full(time.size, 0.09) + np.random.default_rng(8).normal(0.0, 5e-5, time.size)
    for release in (4.0, 9.5, 15.0):
        push = (time > release - 1.0) & (time < release)
        travel[push] += 0.03 * np.sin(0.5 * math.pi * (time[push] - release + 1.0)) ** 2
        late = time[time >= release] - release
        travel[time >= release] += 0.03 * np.exp(-3.2 * late) * np.cos(2 * math.pi * 2.0 * late)
    return time, travel
