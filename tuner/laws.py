"""Force laws of one side of a damper, to be evaluated. No fitting here.

Takes parameters; gives force [N] over speed [m/s].

A law describes one side: speed and force are both counted positive, gas force and friction are already taken
off, and every law goes through zero. Sources: line and equivalent viscous damping, Rao, *Mechanical
Vibrations*; orifice flow grows with the square of speed (density), leak flow in proportion (viscosity); the
knee is where a valve opens (common practice, no source).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, fields
from typing import ClassVar

import numpy as np

from tuner.errors import require
from tuner.estimates import Array


@dataclass(frozen=True, slots=True)
class Law(ABC):
    """A force law of one side, F(v) for v >= 0, with F(0) = 0."""

    name: ClassVar[str]
    units: ClassVar[dict[str, str]]  # parameter -> SI unit

    @abstractmethod
    def force(self, speed: Array | float) -> Array:
        """Force [N] at `speed` >= 0 [m/s], same shape."""

    def secant(self, speed: Array | float) -> Array:
        """Force over speed [N*s/m] at `speed` > 0, same shape."""
        v = np.asarray(speed, dtype=float)
        return np.asarray(self.force(v) / v)

    @property
    def parameters(self) -> dict[str, float]:
        """Parameter values by name, in the order of the fields."""
        return {f.name: float(getattr(self, f.name)) for f in fields(self)}


@dataclass(frozen=True, slots=True)
class Line(Law):
    """F = c v."""

    c: float
    name: ClassVar[str] = "line"
    units: ClassVar[dict[str, str]] = {"c": "N*s/m"}

    def force(self, speed: Array | float) -> Array:  # noqa: D102
        return np.asarray(self.c * np.asarray(speed, dtype=float))


@dataclass(frozen=True, slots=True)
class Power(Law):
    """F = a v^n (a in N at 1 m/s)."""

    a: float
    n: float
    name: ClassVar[str] = "power"
    units: ClassVar[dict[str, str]] = {"a": "N", "n": "1"}

    def force(self, speed: Array | float) -> Array:  # noqa: D102
        return np.asarray(self.a * np.power(np.asarray(speed, dtype=float), self.n))


@dataclass(frozen=True, slots=True)
class LeakOrifice(Law):
    """F = a v + b v^2: leak flow (follows viscosity) and orifice flow (follows density)."""

    a: float
    b: float
    name: ClassVar[str] = "leak + orifice"
    units: ClassVar[dict[str, str]] = {"a": "N*s/m", "b": "N*s**2/m**2"}

    def force(self, speed: Array | float) -> Array:  # noqa: D102
        v = np.asarray(speed, dtype=float)
        return np.asarray((self.a + self.b * v) * v)


def _knees(speed: Array | float, slopes: tuple[float, ...], knees: tuple[float, ...]) -> Array:
    v = np.asarray(speed, dtype=float)
    total = slopes[0] * v
    for before, after, knee in zip(slopes[:-1], slopes[1:], knees, strict=True):
        total = total + (after - before) * np.maximum(v - knee, 0.0)
    return total


@dataclass(frozen=True, slots=True)
class Knee(Law):
    """Two slopes that meet at v_knee: c_low below, c_high above (digressive when c_high < c_low)."""

    c_low: float
    c_high: float
    v_knee: float
    name: ClassVar[str] = "knee"
    units: ClassVar[dict[str, str]] = {"c_low": "N*s/m", "c_high": "N*s/m", "v_knee": "m/s"}

    def __post_init__(self) -> None:
        require(self.v_knee > 0, "v_knee", "positive", self.v_knee)

    def force(self, speed: Array | float) -> Array:  # noqa: D102
        return _knees(speed, (self.c_low, self.c_high), (self.v_knee,))


@dataclass(frozen=True, slots=True)
class TwoKnees(Law):
    """Three slopes that meet at v_knee and v_knee_2."""

    c_low: float
    c_middle: float
    c_high: float
    v_knee: float
    v_knee_2: float
    name: ClassVar[str] = "two knees"
    units: ClassVar[dict[str, str]] = {
        "c_low": "N*s/m",
        "c_middle": "N*s/m",
        "c_high": "N*s/m",
        "v_knee": "m/s",
        "v_knee_2": "m/s",
    }

    def __post_init__(self) -> None:
        require(
            0 < self.v_knee < self.v_knee_2,
            "v_knee and v_knee_2",
            "positive and rising",
            (self.v_knee, self.v_knee_2),
        )

    def force(self, speed: Array | float) -> Array:  # noqa: D102
        return _knees(speed, (self.c_low, self.c_middle, self.c_high), (self.v_knee, self.v_knee_2))


LAWS: dict[str, type[Law]] = {law.name: law for law in (Line, Power, LeakOrifice, Knee, TwoKnees)}
