"""What a fit gives: frozen values with intervals, one type for what shows damping, one for drives, one for jumps.

Takes nothing; gives `DampingFit`, `DriveFit`, `JumpFit` and their parts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from tuner.estimates import Array, Estimate, Note
from tuner.fitting.traces import BounceTrace, DriveTrace, FlightTrace
from tuner.laws import Law
from tuner.records import Conditions, Kind, Provenance, Quality, Side

if TYPE_CHECKING:
    from tuner.machine import Corner

# speeds at which dampers are compared [m/s]; the last four are the test speeds that QC/T 491-2018 recommends
REFERENCE_SPEEDS: tuple[float, ...] = (0.05, 0.13, 0.26, 0.52, 1.04)
MIDDLE_SPEED = REFERENCE_SPEEDS[len(REFERENCE_SPEEDS) // 2]


@dataclass(frozen=True, slots=True)
class Secant:
    """Damping force over speed at one reference speed, gas force and friction taken off; c in N*s/m.

    Of single points (sweep, hung weights) it also says where its error comes from. per_offset : by how much c moves
    when one newton more is taken off as friction and gas force [s/m]; scattered : standard deviation that the scatter
    of the points makes [N*s/m]. The rest is the curve between the points.
    """

    speed: float
    c: Estimate
    per_offset: float = 0.0
    scattered: float = 0.0


@dataclass(frozen=True, slots=True)
class Candidate:
    """The figures of one law that was tried: residual sum of squares [N^2], free parameters, AICc, weight."""

    law: Law
    rss: float
    free: int
    aicc: float
    weight: float


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """The fitted force over speed with its 95 % band, for pictures; all (n,), speed and force >= 0."""

    speed: Array
    force: Array
    low: Array
    high: Array

    def __repr__(self) -> str:
        return f"<Curve: {len(self.speed)} points>"


def _empty() -> Array:
    return np.empty(0)


@dataclass(frozen=True, slots=True, eq=False)
class SideFit:
    """One side of one damper.

    `seen` False: the record does not show this side; everything else is then empty and a note says which test
    would. `secant` holds only reference speeds inside the tested range. Points are damping force over
    speed, both counted positive, thinned for drawing.
    """

    side: Side
    seen: bool
    law: Law | None = None
    parameters: Mapping[str, Estimate] = field(default_factory=dict)
    secant: tuple[Secant, ...] = ()
    speed_range: tuple[float, float] | None = None
    dead_stroke: Estimate | None = None  # [m]
    offset: Estimate | None = None  # friction and gas force taken off single points, unsure as said [N]
    offset_sd_read: float | None = None  # what a slow push and return on a scale would leave of its error [N]
    zeta: Estimate | None = None  # damping ratio measured directly (bounce), no reference speed
    zeta_speed: float | None = None  # shaft speed that it speaks of [m/s], None: no motion ratio tells it
    zeta_common: float = 0.0  # part of its relative sd that every test of this corner has in common
    candidates: tuple[Candidate, ...] = ()
    curve: Curve | None = None
    point_speed: Array = field(default_factory=_empty)
    point_force: Array = field(default_factory=_empty)
    notes: tuple[Note, ...] = ()

    def secant_at(self, speed: float) -> Estimate | None:
        """Give the secant at that reference speed, None where it was not estimated."""
        return next((s.c for s in self.secant if abs(s.speed - speed) < 1e-9), None)

    @property
    def in_words(self) -> str:
        """The side in a few words, for `repr`: its ratio, or its damping in the middle of the reference speeds."""
        if self.zeta is not None:
            return f"{self.side} damping ratio {self.zeta}"
        if not self.secant:
            return f"{self.side} {'without a reference speed' if self.seen else 'not seen'}"
        at = min(self.secant, key=lambda secant: abs(math.log(secant.speed / MIDDLE_SPEED)))
        return f"{self.side} {at.c} at {at.speed:g} m/s"

    def __repr__(self) -> str:
        return f"<SideFit: {self.in_words}>"


@dataclass(frozen=True, slots=True, eq=False)
class Loop:
    """One averaged cycle for drawing force over travel: (n,) each, closed; force is the total force."""

    travel: Array
    velocity: Array
    force: Array
    peak_speed: float
    cycles: int

    def __repr__(self) -> str:
        return (
            f"<Loop: {len(self.travel)} points, peak {self.peak_speed:.3g} m/s, mean of {self.cycles} cycles>"
        )


class _TwoSides:
    """What can be asked of every fit: its two sides, seen or not."""

    __slots__ = ()
    compression: SideFit
    rebound: SideFit

    def side(self, name: Side) -> SideFit:
        """Give that side."""
        return self.compression if name == "compression" else self.rebound


@dataclass(frozen=True, slots=True, eq=False, kw_only=True, repr=False)
class _OfRecords(_TwoSides):
    """What every fit keeps of the records behind it.

    runs : how many tests; corner : the one that went into the fit itself (bounce, drive), None where none did.
    """

    runs: int = 1
    inputs: tuple[Provenance, ...] = ()
    conditions: tuple[Conditions, ...] = ()
    quality: tuple[Quality, ...] = ()
    notes: tuple[Note, ...] = ()
    corner: Corner | None = None

    @property
    def corner_words(self) -> str:
        """Name the corner that went into the fit, for refusals."""
        return "no corner" if self.corner is None else f"the corner {self.corner.name!r}"


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class DampingFit(_OfRecords):
    """What a bench, hung weights or a bounce show: the damping of each side; of one record, or of several repeats.

    gas_force : mean gas force at mid stroke [N]; friction : dry friction, half the step at zero speed [N];
    lag : delay of force behind velocity [s]; energy_per_cycle : loop area at `energy_speed` [J];
    fade : relative change of the damping force over the test [-], negative = it got weaker.
    Of a bounce: corner_measured : what it measures of the corner itself (frequency, tyre_rate, ...); bounces : how many
    were used; decrement_zeta : the ratio of both sides together by the logarithmic decrement; traces : one of each.
    """

    kind: Kind
    compression: SideFit
    rebound: SideFit
    gas_force: Estimate | None = None
    friction: Estimate | None = None
    lag: Estimate | None = None
    energy_per_cycle: Estimate | None = None
    energy_speed: float | None = None
    fade: Estimate | None = None
    loops: tuple[Loop, ...] = ()
    corner_measured: Mapping[str, Estimate] = field(default_factory=dict)
    bounces: int | None = None
    decrement_zeta: float | None = None
    traces: tuple[BounceTrace, ...] = ()

    def __repr__(self) -> str:
        return f"<DampingFit {self.kind}: {self.compression.in_words}, {self.rebound.in_words}>"


@dataclass(frozen=True, slots=True)
class SpeedShare:
    """Share of the moving time that one side spends between two speeds [m/s]."""

    side: Side
    low: float
    high: float
    share: Estimate


@dataclass(frozen=True, slots=True)
class StopContact:
    """One arrival at the end of the travel: when [s], and how fast the shaft was closing on it [m/s]."""

    time: float
    speed: float


@dataclass(frozen=True, slots=True)
class BumpRow:
    """A stretch of uninterrupted bumps: from, to [s], bumps in it, and how far the mean position sank [m]."""

    start: float
    end: float
    bumps: int
    sink: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True, repr=False)
class DriveFit(_OfRecords):
    """What one drive shows, or several of one setting: not the damping, so that neither side is seen.

    time_share : of every class of speeds, both sides; peak_speed : mean of the highest speeds of every two seconds
    [m/s]; highest_speed : of all [m/s]; mean_position [m]; mean_below_static [m], + = lower than at rest; bottomed,
    topped_out : arrivals at the stops, None where they could not be counted; packing : mean sink over a row of bumps
    [m]; main_frequencies [Hz]; duration [s]; traces : the drives as they are drawn and lined up.
    """

    compression: SideFit
    rebound: SideFit
    time_share: tuple[SpeedShare, ...]
    peak_speed: Mapping[Side, Estimate | None]
    highest_speed: Mapping[Side, float]
    mean_position: Estimate | None
    mean_below_static: Estimate | None
    bottomed: tuple[StopContact, ...] | None
    topped_out: tuple[StopContact, ...] | None
    packing: Estimate | None
    bump_rows: tuple[BumpRow, ...]
    main_frequencies: tuple[float, ...]
    duration: float
    traces: tuple[DriveTrace, ...]

    @property
    def kind(self) -> Kind:
        """The kind of record."""
        return "travel"

    def __repr__(self) -> str:
        return f"<DriveFit: {self.duration:.4g} s, mean position {self.mean_position}>"


@dataclass(frozen=True, slots=True)
class Jump:
    """One flight: when it began [s], and its figures.

    airtime [s]; pitch_rate [rad/s] and rotation [rad], + nose up when `sign_known`, sizes otherwise; None without a
    gyroscope; landing_peak: largest specific force after touching down [m/s**2].
    """

    start: float
    airtime: Estimate
    pitch_rate: Estimate | None
    rotation: Estimate | None
    landing_peak: Estimate
    sign_known: bool


@dataclass(frozen=True, slots=True, eq=False, kw_only=True, repr=False)
class JumpFit(_OfRecords):
    """What jumps show: not the damping, so that neither side is seen.

    airtime [s], pitch_rate [rad/s], rotation [rad], landing_peak [m/s**2] : means over the jumps; None where unknown,
    and all four for jumps that are unlike each other. jumps, traces : every single one.
    """

    compression: SideFit
    rebound: SideFit
    airtime: Estimate | None
    pitch_rate: Estimate | None
    rotation: Estimate | None
    landing_peak: Estimate | None
    jumps: tuple[Jump, ...]
    traces: tuple[FlightTrace, ...]

    @property
    def kind(self) -> Kind:
        """The kind of record."""
        return "flight"

    def __repr__(self) -> str:
        return f"<JumpFit: {len(self.jumps)} jumps, airtime {self.airtime}, landing {self.landing_peak}>"


Fit = DampingFit | DriveFit | JumpFit
OneFit = TypeVar("OneFit", DampingFit, DriveFit, JumpFit)


def as_a(wanted: type[OneFit], fit: Fit) -> OneFit:
    """Give a fit as the type that it is known to have; another one is a defect of the caller (TypeError)."""
    if not isinstance(fit, wanted):
        raise TypeError(f"needed a {wanted.__name__}; got a {type(fit).__name__}")
    return fit


def measured_of_corner(fit: Fit) -> Mapping[str, Estimate]:
    """Give what a bounce measures of the corner itself, nothing of any other kind."""
    return fit.corner_measured if isinstance(fit, DampingFit) else {}
