"""Where a fit stands: damping ratios of the corner, and their place against the target band.

Takes a `DampingFit`, a `Corner` and a `Target` (both optional); gives a `Judgement`.
Uses: errors, estimates, records, machine, fitting.results.

The handbook ratio zeta = c r^2 / (2 sqrt(k_wheel m_sprung)) is the headline (S. S. Rao, *Mechanical
Vibrations*, sec. 2.6, carried to the wheel with the motion ratio r). A bounce gives zeta by itself, without a
reference speed. What is unknown stays None, and a note says what would make it known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from tuner.estimates import Estimate, Note
from tuner.fitting.results import DampingFit, SideFit
from tuner.records import SIDES, Side

if TYPE_CHECKING:
    from tuner.machine import Corner, Target

Place = Literal["below", "inside", "above", "uncertain", "unknown"]

# the speed that stands for a damper when no target names one [m/s]: the middle of the test speeds that
# QC/T 491-2018 recommends, and near the 0.3 m/s at which JASO C602 rates damping force
USUAL_SPEED = 0.26

# a place is certain when the 95 % interval lies wholly on one side of an edge, or wholly inside the band
OUTSIDE_SURE, INSIDE_SURE = 0.975, 0.95


@dataclass(frozen=True, slots=True)
class ZetaAt:
    """Damping ratio [-] at one reference speed [m/s]; speed None where the record has none (bounce)."""

    speed: float | None
    zeta: Estimate


@dataclass(frozen=True, slots=True)
class JudgedSide:
    """One side against its band.

    zeta : at every reference speed the fit holds, empty without a corner.
    at_target : the entry the place is judged by, at the reference speed nearest to the target's.
    place : "uncertain" when the interval straddles an edge, "unknown" when zeta or band is missing.
    probability : of the named place; for "uncertain" that of the likeliest place; None for "unknown".
    """

    side: Side
    zeta: tuple[ZetaAt, ...] = ()
    at_target: ZetaAt | None = None
    band: tuple[float, float] | None = None
    place: Place = "unknown"
    probability: float | None = None
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """A fit on its corner.

    mean_zeta : energy mean of both sides, (c_c + c_r)/2, exact for a sine. wheel_rate [N/m], frequency [Hz],
    critical_damping [N*s/m] at the wheel; body_mode_zeta, wheel_hop_zeta : exact two-mass modes at the speed
    that was judged, None when tyre or unsprung mass is unknown (a note says so).
    """

    fit: DampingFit
    corner: Corner | None
    target: Target | None
    compression: JudgedSide
    rebound: JudgedSide
    mean_zeta: tuple[ZetaAt, ...] = ()
    wheel_rate: Estimate | None = None
    frequency: Estimate | None = None
    critical_damping: Estimate | None = None
    body_mode_zeta: Estimate | None = None
    wheel_hop_zeta: Estimate | None = None
    notes: tuple[Note, ...] = ()

    def side(self, name: Side) -> JudgedSide:
        """Give that side."""
        return self.compression if name == "compression" else self.rebound


def normal_below(x: float) -> float:
    """Share of the standard normal distribution below `x`."""
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def log_of(x: float) -> float:
    """Natural logarithm of `x` >= 0, minus infinity at zero."""
    return math.log(x) if x > 0 else -math.inf


def corner_factor(corner: Corner) -> Estimate:
    """Damping ratio per N*s/m at the damper, r^2 / c_crit, with what is unsure about the corner."""
    from tuner.machine import handbook_zeta

    return handbook_zeta(Estimate.exact(1.0, "N*s/m"), corner)


def nearest_speed(speeds: tuple[float, ...], wanted: float) -> float:
    """Give the one of `speeds` (> 0, at least one) that is nearest to `wanted` by proportion."""
    return min(speeds, key=lambda speed: abs(math.log(speed / wanted)))


def places(zeta: Estimate, band: tuple[float, float]) -> dict[Place, float]:
    """Probability of each place of `zeta` against `band`, normal on logarithms.

    A ratio of zero or less lies below every band with certainty as far as its interval lets us say so.
    """
    sd = zeta.log_sd
    if zeta.value <= 0 or math.isinf(sd):
        shift = [
            (edge - zeta.value) / zeta.sd if zeta.sd > 0 else math.copysign(math.inf, edge - zeta.value)
            for edge in band
        ]
    else:
        shift = [
            (log_of(edge) - math.log(zeta.value)) / sd
            if sd > 0
            else math.copysign(math.inf, log_of(edge) - math.log(zeta.value))
            for edge in band
        ]
    below, above = normal_below(shift[0]), normal_below(-shift[1])
    return {"below": below, "inside": max(0.0, 1.0 - below - above), "above": above}


def place_of(zeta: Estimate, band: tuple[float, float]) -> tuple[Place, float]:
    """Name the place of `zeta` against `band` and its probability; "uncertain" where it straddles."""
    chances = places(zeta, band)
    likeliest = max(chances, key=lambda place: chances[place])
    sure = INSIDE_SURE if likeliest == "inside" else OUTSIDE_SURE
    return (likeliest if chances[likeliest] >= sure else "uncertain"), chances[likeliest]


def _zetas(fit: SideFit, corner: Corner | None) -> tuple[ZetaAt, ...]:
    if fit.zeta is not None:
        return (ZetaAt(None, fit.zeta),)
    if corner is None or not fit.secant:
        return ()
    from tuner.machine import handbook_zeta

    return tuple(ZetaAt(s.speed, handbook_zeta(s.c, corner)) for s in fit.secant if s.c.value > 0)


def _at(zetas: tuple[ZetaAt, ...], wanted: float) -> ZetaAt | None:
    if not zetas:
        return None
    if zetas[0].speed is None:
        return zetas[0]
    speed = nearest_speed(tuple(z.speed for z in zetas if z.speed is not None), wanted)
    return next(z for z in zetas if z.speed == speed)


def _judged_side(fit: SideFit, corner: Corner | None, target: Target | None) -> JudgedSide:
    zetas = _zetas(fit, corner)
    wanted = target.speed if target is not None else USUAL_SPEED
    at_target = _at(zetas, wanted)
    band = None
    if target is not None:
        band = target.compression if fit.side == "compression" else target.rebound
    notes: list[Note] = []
    if not fit.seen:
        notes.append(Note("not-seen", f"the record does not show {fit.side}"))
    elif at_target is None:
        notes.append(Note("no-corner", "a corner with mass, spring and motion ratio turns damping into zeta"))
    elif at_target.speed is not None and abs(math.log(at_target.speed / wanted)) > 0.01:
        notes.append(
            Note(
                "other-speed",
                f"the target is meant at {wanted:g} m/s; "
                f"the nearest reference speed that was tested is {at_target.speed:g} m/s",
            )
        )
    place: Place = "unknown"
    probability: float | None = None
    if band is not None and at_target is not None:
        place, probability = place_of(at_target.zeta, band)
    return JudgedSide(fit.side, zetas, at_target, band, place, probability, tuple(notes))


def judge(fit: DampingFit, corner: Corner | None = None, target: Target | None = None) -> Judgement:
    """Put a fit on its corner and against its target.

    Without `corner` a bench fit has no damping ratio (a bounce has); without `target` no place.
    Nothing raises for what is missing: the place is "unknown" and a note says what to give.
    """
    sides = {side: _judged_side(fit.side(side), corner, target) for side in SIDES}
    rate = rhythm = critical = None
    if corner is not None:
        from tuner import machine

        rate, rhythm = machine.wheel_rate(corner), machine.frequency(corner)
        critical = machine.critical_damping(corner)
    return Judgement(fit, corner, target, sides["compression"], sides["rebound"], (), rate, rhythm, critical)
