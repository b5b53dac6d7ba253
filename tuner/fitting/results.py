"""What every fit gives: frozen values with intervals, the same shape for every record kind.

Takes nothing; gives `DampingFit` and its parts. Uses: estimates, laws, records, machine.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from tuner.estimates import Array, Estimate, Note
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


@dataclass(frozen=True, slots=True, eq=False)
class DampingFit:
    """The fit of one record, or of several repeats of one setting.

    gas_force : mean gas force at mid stroke [N]; friction : dry friction, half the step at zero speed [N];
    lag : delay of force behind velocity [s]; energy_per_cycle : loop area at `energy_speed` [J];
    fade : relative change of the damping force over the test [-], negative = it got weaker.
    corner : the one that went into the fit itself (bounce, drive), None where none did.
    `corner_measured` holds what a bounce measures of the corner itself (frequency, tyre_rate, ...).
    `measures` holds what driving and flight give instead of damping.
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
    corner_measured: Mapping[str, Estimate] = field(default_factory=dict)
    measures: Mapping[str, object] = field(default_factory=dict)
    loops: tuple[Loop, ...] = ()
    runs: int = 1
    inputs: tuple[Provenance, ...] = ()
    conditions: tuple[Conditions, ...] = ()
    quality: tuple[Quality, ...] = ()
    notes: tuple[Note, ...] = ()
    corner: Corner | None = None

    def side(self, name: Side) -> SideFit:
        """Give that side."""
        return self.compression if name == "compression" else self.rebound

    def __repr__(self) -> str:
        return f"<{type(self).__name__} {self.kind}: {self.compression.in_words}, {self.rebound.in_words}>"

    @property
    def corner_words(self) -> str:
        """Name the corner that went into the fit, for refusals."""
        return "no corner" if self.corner is None else f"the corner {self.corner.name!r}"
