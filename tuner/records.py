"""The six kinds of record: what was measured, in SI and with the signs of this program, and where it came from.

Takes arrays; gives frozen records, checked once, when they are made.

Signs (law for the whole program): `travel` 0 = fully extended, + = compressed; `velocity` = d(travel)/dt,
+ = compression; `force` + = pushes the two ends apart, so compression damping is +, rebound damping is -,
gas force is +. All arrays are 1-D, finite and read-only unless a record says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any, Literal

import numpy as np

from tuner.errors import require
from tuner.estimates import Array, Note

Kind = Literal["sweep", "cycle", "weights", "bounce", "travel", "flight"]
Side = Literal["compression", "rebound"]
SIDES: tuple[Side, ...] = ("compression", "rebound")


@dataclass(frozen=True, slots=True)
class ColumnUse:
    """Which column of the input played which role, and in which unit it was read."""

    role: str
    name: str
    unit: str


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a record came from and what was done to it, so that it can be repeated.

    `rate_hz` is the median sampling rate, None where the record has no time; `history` holds one line per
    step, written after the step succeeded; `title` the title lines and comments that stand in the file.
    """

    file: str = "(values)"
    sha256: str = ""
    rows: int = 0
    columns: tuple[ColumnUse, ...] = ()
    rate_hz: float | None = None
    history: tuple[str, ...] = ()
    title: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Conditions:
    """The state of damper and test as noted by the user or the file; None or "" where nobody said."""

    temperature: float | None = None  # of the oil or the body [K]
    stroke: float | None = None  # peak to peak [m]
    gas_pressure: float | None = None  # [Pa]
    oil: str = ""
    viscosity: float | None = None  # kinematic, at 40 degC [m**2/s]
    oil_volume: float | None = None  # [m**3]
    clicks: float | None = None
    shims: str = ""
    spring: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Quality:
    """What the recording is worth: figures, and one note per doubt. None where it does not apply."""

    rate_hz: float | None = None
    jitter: float | None = None  # robust sd of the time step over its median [-]
    gaps: int = 0  # places where more than 3 steps are missing
    duplicates: int = 0  # rows with the time of their predecessor
    dropouts: int = 0  # rows left out because a value was missing
    clipped_share: float = 0.0  # share of samples resting on the sensor's limit [-]
    zero_drift: float | None = None  # drift of the force zero over the test [N]
    cycles: tuple[tuple[float, int], ...] = ()  # (peak speed [m/s], usable cycles)
    notes: tuple[Note, ...] = ()


def _freeze(record: Any, *names: str, columns: int | None = None) -> None:
    """Own, check and lock the named arrays of a record that is being born."""
    for name in names:
        array = np.array(getattr(record, name), dtype=float)
        shape_ok = array.ndim == 1 if columns is None else array.ndim == 2 and array.shape[1] == columns
        require(shape_ok, name, "a 1-D array" if columns is None else f"an (n, {columns}) array", array.shape)
        require(
            bool(np.isfinite(array).all()),
            name,
            "finite everywhere",
            f"{int((~np.isfinite(array)).sum())} gaps",
        )
        array.setflags(write=False)
        object.__setattr__(record, name, array)


def _same_length(record: Any, *names: str) -> None:
    lengths = {name: len(getattr(record, name)) for name in names}
    require(len(set(lengths.values())) == 1, " and ".join(names), "equally long", lengths)


def _rising(record: Any, name: str = "time") -> None:
    array = getattr(record, name)
    require(len(array) >= 2, name, "at least two samples", len(array))
    require(bool((np.diff(array) > 0).all()), name, "strictly rising", "a step of zero or less")


class _InOneLine:
    """A record is shown by its size and its file, not by its arrays."""

    __slots__ = ()

    def __repr__(self) -> str:
        provenance: Provenance = self.provenance  # type: ignore[attr-defined]
        return f"<{type(self).__name__}: {self._size()}, {provenance.file}>"

    def _size(self) -> str:
        time = self.time  # type: ignore[attr-defined]
        return f"{len(time)} samples, {time[-1] - time[0]:.4g} s"


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class SweepRecord(_InOneLine):
    """Damper alone on a bench: one point per test speed and side.

    velocity : (n,) [m/s], + in compression, - in rebound, never 0; force : (n,) [N], signs as above.
    push_force, return_force : scale readings of a slow push in and a slow return [N], which tell the friction.
    """

    velocity: Array
    force: Array
    push_force: float | None = None
    return_force: float | None = None
    provenance: Provenance = field(default_factory=Provenance)
    conditions: Conditions = field(default_factory=Conditions)
    quality: Quality = field(default_factory=Quality)

    def __post_init__(self) -> None:
        _freeze(self, "velocity", "force")
        _same_length(self, "velocity", "force")
        require(len(self.velocity) >= 1, "a sweep", "at least one point", 0)
        require(bool((self.velocity != 0).all()), "velocity", "different from zero in every row", "0")

    def _size(self) -> str:
        return f"{len(self.velocity)} points up to {abs(self.velocity).max():.3g} m/s"


@dataclass(frozen=True, slots=True, eq=False)
class CycleTest:
    """One uninterrupted run of the bench, usually at one speed.

    time : (n,) [s] strictly rising; travel : (n,) [m], + compressed (its zero may be anywhere);
    force : (n,) [N]; velocity : (n,) [m/s] or None when the file has none.
    """

    time: Array
    travel: Array
    force: Array
    velocity: Array | None = None
    label: str = ""

    def __post_init__(self) -> None:
        names = ("time", "travel", "force") + (() if self.velocity is None else ("velocity",))
        _freeze(self, *names)
        _same_length(self, *names)
        _rising(self)

    def __repr__(self) -> str:
        return f"<CycleTest: {len(self.time)} samples, {self.time[-1] - self.time[0]:.4g} s>"


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class CycleRecord(_InOneLine):
    """Damper alone on a bench that strokes it: continuous traces, one `CycleTest` per speed or block."""

    tests: tuple[CycleTest, ...]
    provenance: Provenance = field(default_factory=Provenance)
    conditions: Conditions = field(default_factory=Conditions)
    quality: Quality = field(default_factory=Quality)

    def __post_init__(self) -> None:
        require(len(self.tests) >= 1, "a cycle record", "at least one test", 0)

    def _size(self) -> str:
        samples = sum(len(test.time) for test in self.tests)
        return f"{len(self.tests)} {'test' if len(self.tests) == 1 else 'tests'}, {samples} samples"


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class WeightsRecord(_InOneLine):
    """Damper alone, hung weights: spring off, shaft vertical, sinking at a steady speed.

    mass : (n,) [kg]; distance : (n,) [m]; duration : (n,) [s]; direction : (n,) +1 compression, -1 extension.
    moving_mass : mass of rod or body and hanger that hangs along and is not in `mass` [kg].
    frame_rate : of the camera that timed it [Hz], None for a hand-stopped time.
    push_force, return_force : (k,) scale readings of a slow push in and a slow return [N], may be empty.
    """

    mass: Array
    distance: Array
    duration: Array
    direction: Array
    push_force: Array = field(default_factory=lambda: np.empty(0))
    return_force: Array = field(default_factory=lambda: np.empty(0))
    frame_rate: float | None = None
    moving_mass: float = 0.0
    provenance: Provenance = field(default_factory=Provenance)
    conditions: Conditions = field(default_factory=Conditions)
    quality: Quality = field(default_factory=Quality)

    def __post_init__(self) -> None:
        _freeze(self, "mass", "distance", "duration", "direction", "push_force", "return_force")
        _same_length(self, "mass", "distance", "duration", "direction")
        require(len(self.mass) >= 1, "a hung-weight table", "at least one row", 0)
        for name in ("mass", "distance", "duration"):
            require(
                bool((getattr(self, name) > 0).all()),
                name,
                "positive in every row",
                getattr(self, name).min(),
            )
        require(bool(np.isin(self.direction, (-1.0, 1.0)).all()), "direction", "+1 or -1", self.direction)

    def _size(self) -> str:
        return f"{len(self.mass)} rows up to {self.mass.max():.4g} kg"


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class BounceRecord(_InOneLine):
    """One corner (or one end) bounced by hand: a vertical trace with one or more bounces in it.

    time : (n,) [s]; signal : (n,), either the body's vertical acceleration without gravity [m/s**2],
    + upwards, or the shaft travel [m], + compressed.
    """

    time: Array
    signal: Array
    quantity: Literal["acceleration", "travel"]
    provenance: Provenance = field(default_factory=Provenance)
    conditions: Conditions = field(default_factory=Conditions)
    quality: Quality = field(default_factory=Quality)

    def __post_init__(self) -> None:
        _freeze(self, "time", "signal")
        _same_length(self, "time", "signal")
        _rising(self)


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class TravelRecord(_InOneLine):
    """Shaft travel while driving. time : (n,) [s]; travel : (n,) [m], 0 = fully extended, + compressed."""

    time: Array
    travel: Array
    provenance: Provenance = field(default_factory=Provenance)
    conditions: Conditions = field(default_factory=Conditions)
    quality: Quality = field(default_factory=Quality)

    def __post_init__(self) -> None:
        _freeze(self, "time", "travel")
        _same_length(self, "time", "travel")
        _rising(self)


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class FlightRecord(_InOneLine):
    """One or more jumps, phone strapped to the frame.

    time : (n,) [s]; acceleration : (n, 3) specific force as the phone measures it (gravity in) [m/s**2];
    rotation : (n, 3) [rad/s] or None without a gyroscope. Axes are the phone's.
    nose_up_axis : (3,) the phone axis about which a right-hand rotation lifts the nose, as the user said; or None.
    """

    time: Array
    acceleration: Array
    rotation: Array | None = None
    nose_up_axis: tuple[float, float, float] | None = None
    provenance: Provenance = field(default_factory=Provenance)
    conditions: Conditions = field(default_factory=Conditions)
    quality: Quality = field(default_factory=Quality)

    def __post_init__(self) -> None:
        _freeze(self, "time")
        _freeze(self, "acceleration", *(() if self.rotation is None else ("rotation",)), columns=3)
        _same_length(self, "time", "acceleration", *(() if self.rotation is None else ("rotation",)))
        _rising(self)


Record = SweepRecord | CycleRecord | WeightsRecord | BounceRecord | TravelRecord | FlightRecord


def conditions_given(conditions: Conditions) -> dict[str, Any]:
    """Give only what somebody said about the damper's state, by name."""
    blank = Conditions()
    pairs = ((f.name, getattr(conditions, f.name)) for f in fields(conditions))
    return {name: value for name, value in pairs if value != getattr(blank, name)}
