"""Texts of files to be read, written here from closed forms, so that a test knows every number in them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

STROKE = 0.05  # m, end to end


@dataclass(frozen=True)
class Truth:
    """One test in the house's signs and SI."""

    time: np.ndarray
    travel: np.ndarray
    velocity: np.ndarray
    force: np.ndarray


def bench(
    speed: float = 0.26, *, cycles: int = 3, samples: int = 80, gas: float = 140.0, start: float = 0.0
) -> Truth:
    """A sine of 50 mm stroke: gas that rises with travel, friction, 1100 in and 2600 N*s/m out."""
    frequency = speed / (math.pi * STROKE)
    time = np.arange(cycles * samples + 1) / (samples * frequency)
    phase = 2 * np.pi * frequency * time
    travel = 0.5 * STROKE * (1.0 - np.cos(phase))
    velocity = speed * np.sin(phase)
    damping = np.where(velocity > 0, 1100.0 * velocity, 2600.0 * velocity)
    force = gas * (1.0 + 1.5 * travel) + 12.0 * np.tanh(velocity / 0.002) + damping
    return Truth(time + start, travel, velocity, force)


FACTORS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "m": 1.0, "mm": 1e-3, "cm": 1e-2, "in": 0.0254, "m/s": 1.0}
FACTORS |= {
    "mm/s": 1e-3,
    "in/s": 0.0254,
    "N": 1.0,
    "kN": 1e3,
    "lbf": 4.4482216152605,
    "kgf": 9.80665,
    "ns": 1e-9,
}


def rows(
    columns: Sequence[tuple[np.ndarray, str, int]], *, delimiter: str = ",", decimal: str = "."
) -> list[str]:
    """Write columns of (SI values, unit, digits) as lines."""
    texts = []
    for values, unit, digits in columns:
        texts.append([f"{v / FACTORS[unit]:.{digits}f}".replace(".", decimal) for v in values])
    return [delimiter.join(cells) for cells in zip(*texts, strict=True)]


def cycle_text(
    tests: Sequence[Truth] = (),
    *,
    header: Sequence[str] = ("Time (s)", "Travel (mm)", "Force (N)"),
    units: Sequence[str] = ("s", "mm", "N"),
    digits: Sequence[int] = (5, 3, 2),
    delimiter: str = ",",
    decimal: str = ".",
    velocity: bool = False,
    travel_sign: int = 1,
    force_sign: int = 1,
    before: Sequence[str] = (),
    between: Sequence[str] = (),
    end: str = "\n",
) -> str:
    """A cycle file; `before` stands above the header, `between` above every test but the first."""
    lines = [*before, *([delimiter.join(header)] if header else [])]
    for number, t in enumerate(tests or (bench(),)):
        if number:
            lines += between
        columns = [(t.time, units[0], digits[0]), (travel_sign * t.travel, units[1], digits[1])]
        columns.append((force_sign * t.force, units[2], digits[2]))
        if velocity:
            columns.append((travel_sign * t.velocity, units[3], digits[3]))
        lines += rows(columns, delimiter=delimiter, decimal=decimal)
    return end.join(lines) + end


SWEEP: Mapping[str, tuple[float, ...]] = {
    "speed": (0.05, 0.13, 0.26, 0.52, 1.04),
    "compression": (150.0, 230.5, 362.0, 610.25, 1250.0),
    "rebound": (-95.0, -310.0, -640.5, -1235.0, -2504.0),
}
