"""The frozen values of a machine: corner, motion ratio, target, body, axles, machine.

Takes estimates in SI; gives values that were checked once, when they are made.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from tuner.errors import MachineError, require
from tuner.estimates import Array, Estimate, Note
from tuner.names import find_name, nearest_hint

# stated defaults, common practice, no source; they matter only beyond the ends of the travel
DEFAULT_BUMP_STOP = Estimate.exact(75e3, "N/m")
NO_TYRE_DAMPING = Estimate.exact(0.0, "N*s/m")
DEFAULT_DROOP_STOP = Estimate.exact(60e3, "N/m")
NO_SOURCE = "common practice, no source; starting points, not limits"


def _need(ok: bool, name: str, rule: str, got: object, hint: str = "") -> None:
    require(ok, name, rule, got, error=MachineError, hint=hint)


def _shown(estimate: Estimate) -> str:
    return f"{estimate.value:g} {estimate.unit}" if estimate.unit != "1" else f"{estimate.value:g}"


def positive(estimate: Estimate, name: str) -> None:
    """Refuse an estimate that is not positive, or whose uncertainty reaches zero."""
    _need(estimate.value > 0, name, "positive", _shown(estimate))
    _need(
        estimate.low > 0,
        name,
        "known better than to within its own size",
        f"{estimate.low:g} to {estimate.high:g} {estimate.unit}".removesuffix(" 1"),
        "The part behind '+-' is the half width of the 95 % interval; it must be smaller than the value.",
    )


def possible(key: str, estimate: Estimate, name: str) -> None:
    """Refuse a number of a corner that cannot be: damping of a tyre may be zero, everything else is positive."""
    (zero_or_positive if key == "tyre_damping" else positive)(estimate, name)


def zero_or_positive(estimate: Estimate, name: str) -> None:
    """Refuse a negative estimate."""
    _need(estimate.value >= 0, name, "zero or positive", _shown(estimate))


def _column(values: Array, name: str, size: int | None = None) -> Array:
    array = np.array(values, dtype=float)
    _need(array.ndim == 1 and bool(np.isfinite(array).all()), name, "a plain row of finite numbers", values)
    if size is not None:
        _need(array.size == size, name, f"{size} numbers long", array.size)
    array.setflags(write=False)
    return array


def _no_table() -> Array:
    return np.empty(0)


@dataclass(frozen=True, slots=True, eq=False)
class MotionRatio:
    """Damper travel over wheel travel: one `constant`, or a table (then `constant` is None).

    wheel, damper : (n,) travel of wheel and damper from full droop [m], n >= 2, both rising.
    wheel_half, damper_half : (n,) half widths of the 95 % intervals of the readings [m], 0 = taken as exact.
    """

    constant: Estimate | None
    wheel: Array = field(default_factory=_no_table)
    damper: Array = field(default_factory=_no_table)
    wheel_half: Array = field(default_factory=_no_table)
    damper_half: Array = field(default_factory=_no_table)

    def __post_init__(self) -> None:
        for name in ("wheel", "damper", "wheel_half", "damper_half"):
            object.__setattr__(self, name, _column(getattr(self, name), f"the motion ratio table's {name}"))
        if self.constant is not None:
            _need(self.wheel.size == 0, "motion_ratio", "one number or a table, not both", "both")
            positive(self.constant, "motion_ratio")
            return
        n = self.wheel.size
        _need(n >= 2, "the motion ratio table", "at least two rows long", n)
        _column(self.damper, "the motion ratio table's damper column", n)
        for name in ("wheel_half", "damper_half"):
            if getattr(self, name).size == 0:
                object.__setattr__(self, name, _column(np.zeros(n), name))
            column = _column(getattr(self, name), f"the motion ratio table's {name}", n)
            _need(bool((column >= 0).all()), name, "zero or positive", column)
        _need(
            self.damper[0] >= 0,
            "the damper travel in the motion ratio table",
            "counted from full extension, zero or positive",
            f"{self.damper[0]:g} m",
        )
        for name in ("wheel", "damper"):
            steps = np.diff(getattr(self, name))
            falls = np.flatnonzero(steps <= 0)
            _need(
                falls.size == 0,
                f"the {name} travel in the motion ratio table",
                "rising from row to row",
                "" if falls.size == 0 else _fall(getattr(self, name), int(falls[0])),
                "Count both travels from full droop, + = compressed.",
            )

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, MotionRatio):
            return NotImplemented
        return self.constant == other.constant and all(
            np.array_equal(getattr(self, n), getattr(other, n))
            for n in ("wheel", "damper", "wheel_half", "damper_half")
        )

    def __repr__(self) -> str:
        if self.constant is not None:
            return f"<MotionRatio: {self.constant}>"
        return (
            f"<MotionRatio: a table of {self.wheel.size} rows up to {self.wheel[-1]:.3g} m of wheel travel>"
        )

    def __hash__(self) -> int:
        return hash((self.constant, self.wheel.tobytes(), self.damper.tobytes()))


def _fall(column: Array, at: int) -> str:
    return f"{column[at]:g} m in row {at + 1} and {column[at + 1]:g} m in row {at + 2}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """One side of one axle, SI throughout.

    sprung_mass, unsprung_mass [kg] per corner; spring_rate [N/m] at the spring; tyre_rate [N/m];
    damper_travel, static_travel [m] at the shaft from full extension (static: used at rest);
    tyre_damping [N*s/m]; bump_stop_rate, droop_stop_rate [N/m] at the wheel. None = unknown.
    """

    name: str
    sprung_mass: Estimate
    unsprung_mass: Estimate | None = None
    spring_rate: Estimate
    motion_ratio: MotionRatio
    tyre_rate: Estimate | None = None
    damper_travel: Estimate | None = None
    static_travel: Estimate | None = None
    tyre_damping: Estimate = NO_TYRE_DAMPING
    bump_stop_rate: Estimate = DEFAULT_BUMP_STOP
    droop_stop_rate: Estimate = DEFAULT_DROOP_STOP

    def __post_init__(self) -> None:
        for name in ("sprung_mass", "spring_rate", "bump_stop_rate", "droop_stop_rate"):
            positive(getattr(self, name), name)
        for name in ("unsprung_mass", "tyre_rate", "damper_travel", "static_travel"):
            if getattr(self, name) is not None:
                positive(getattr(self, name), name)
        zero_or_positive(self.tyre_damping, "tyre_damping")
        if self.damper_travel is not None and self.static_travel is not None:
            _need(
                self.static_travel.value < self.damper_travel.value,
                "static_travel",
                f"smaller than damper_travel ({1000 * self.damper_travel.value:g} mm)",
                f"{1000 * self.static_travel.value:g} mm",
            )

    def __repr__(self) -> str:
        ratio = self.motion_ratio.constant or f"a table of {self.motion_ratio.wheel.size} rows"
        return (
            f"<Corner {self.name!r}: sprung mass {self.sprung_mass}, spring rate {self.spring_rate}, "
            f"motion ratio {ratio}>"
        )


@dataclass(frozen=True, slots=True)
class Target:
    """Bands (low, high) of the damping ratio for each side, at a shaft `speed` [m/s]; `source` says whose."""

    compression: tuple[float, float]
    rebound: tuple[float, float]
    speed: float
    source: str
    name: str = "own"

    def __post_init__(self) -> None:
        for side in ("compression", "rebound"):
            low, high = getattr(self, side)
            _need(
                0 < low < high < 10,
                f"the target band of {side}",
                "two rising positive damping ratios such as [0.20, 0.35]",
                [low, high],
            )
        _need(0 < self.speed < 20, "the target speed", "between 0 and 20 m/s", f"{self.speed:g} m/s")


DEFAULT_TARGET = "rough ground and jumps"
# the speed that stands for a damper where nobody names one [m/s]: the middle of the test speeds that QC/T 491-2018
# recommends, and near the 0.3 m/s at which JASO C602 rates damping force
DEFAULT_TARGET_SPEED = 0.26
TARGETS: Mapping[str, Target] = {
    name: Target(compression, rebound, DEFAULT_TARGET_SPEED, NO_SOURCE, name)
    for name, compression, rebound in (
        (DEFAULT_TARGET, (0.20, 0.35), (0.45, 0.75)),
        ("rough track without jumps", (0.20, 0.40), (0.35, 0.60)),
        ("smooth track", (0.40, 0.60), (0.55, 0.80)),
    )
}


@dataclass(frozen=True, slots=True)
class Body:
    """The sprung body for the jump: exactly one of each pair is given.

    wheelbase [m]; cg_to_front [m] behind the front axle, or front_share of the sprung weight [-];
    pitch_inertia [kg*m**2] about the centre of gravity, or pitch_factor = k^2/(a b) [-].
    """

    wheelbase: Estimate
    cg_to_front: Estimate | None = None
    front_share: Estimate | None = None
    pitch_inertia: Estimate | None = None
    pitch_factor: Estimate | None = None

    def __post_init__(self) -> None:
        positive(self.wheelbase, "wheelbase")
        for one, other in (("cg_to_front", "front_share"), ("pitch_inertia", "pitch_factor")):
            given = [n for n in (one, other) if getattr(self, n) is not None]
            _need(len(given) == 1, f"{one} or {other}", "given, exactly one of the two", given or "neither")
            positive(getattr(self, given[0]), given[0])
        if self.front_share is not None:
            _need(self.front_share.value < 1, "front_share", "between 0 and 1", self.front_share.value)
        if self.cg_to_front is not None:
            _need(
                self.cg_to_front.value < self.wheelbase.value,
                "cg_to_front",
                f"smaller than the wheelbase ({self.wheelbase.value:g} m)",
                f"{self.cg_to_front.value:g} m",
            )


@dataclass(frozen=True, slots=True)
class Axles:
    """Which corner stands for each axle (both sides alike)."""

    front: str
    rear: str


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine: its corners by name, body and axles (None when not given), target, notes on the file."""

    name: str
    corners: Mapping[str, Corner]
    body: Body | None
    axles: Axles | None
    target: Target
    notes: tuple[Note, ...] = ()

    def __repr__(self) -> str:
        corners = ", ".join(repr(name) for name in self.corners)
        return f"<Machine {self.name!r}: corners {corners}; target {self.target.name}>"

    def corner(self, name: str) -> Corner:
        """Give that corner, however its name is typed; raises MachineError when there is none, or several."""
        known = list(self.corners)
        found = find_name(name, known)
        if len(found) != 1:
            raise MachineError(
                f"the machine {self.name!r} has {len(found) or 'no'} corner{'s' if found else ''} {name!r}",
                hint=f"Write one of {', '.join(repr(known[i]) for i in found)} exactly."
                if found
                else nearest_hint(name, known),
            )
        return self.corners[known[found[0]]]
