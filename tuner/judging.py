"""Where a fit stands: damping ratios of the corner, and their place against the target band.

Takes a fit, a `Corner` and a `Target` (both optional); gives a `Judgement`.

The handbook ratio zeta = c r^2 / (2 sqrt(k_wheel m_sprung)) is the headline (S. S. Rao, *Mechanical
Vibrations*, sec. 2.6, carried to the wheel with the motion ratio r). A bounce gives zeta by itself, at the speed it
shows; against a band at another speed it is placed with what a damper's bend can do in between. What is unknown stays
None, and a note says what would make it known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from tuner.errors import UsageError
from tuner.estimates import NORMAL_95, Estimate, Note
from tuner.fitting.repeats import RUN_TO_RUN
from tuner.fitting.results import Fit, SideFit, measured_of_corner
from tuner.fitting.speed_step import SpeedStep, speed_step
from tuner.kinds import ON_A_BENCH, WITH_CORNER
from tuner.machine import (
    Corner,
    Target,
    critical_damping,
    frequency,
    handbook_zeta,
    modes_estimate,
    modes_missing,
    wheel_rate,
)
from tuner.machine.checks import DISAGREEMENT
from tuner.machine.parts import DEFAULT_TARGET_SPEED
from tuner.records import SIDES, Side

Place = Literal["below", "inside", "above", "uncertain", "unknown"]

USUAL_SPEED = DEFAULT_TARGET_SPEED


_CALLED = {"bounce": "bounce", "travel": "drive"}  # the kinds into whose fit the corner goes

# a place is certain when the 95 % interval lies wholly on one side of an edge, or wholly inside the band
OUTSIDE_SURE, INSIDE_SURE = 0.975, 0.95
# from this probability on the words say "probably"
LEANING = 0.80


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
    step : from the speed that a bounce shows to the band's; None where they are the same, or without either.
    at_band : the ratio at the band's speed, which is placed; that of `at_target` where there is no step.
    place : "uncertain" when the interval straddles an edge, "unknown" when zeta or band is missing.
    probability : of the named place; for "uncertain" that of the likeliest place; None for "unknown".
    leaning : of "uncertain" the likeliest place, from `LEANING` on.
    """

    side: Side
    zeta: tuple[ZetaAt, ...] = ()
    at_target: ZetaAt | None = None
    band: tuple[float, float] | None = None
    place: Place = "unknown"
    probability: float | None = None
    notes: tuple[Note, ...] = ()
    step: SpeedStep | None = None
    at_band: Estimate | None = None
    leaning: Place | None = None

    @property
    def in_words(self) -> str:
        """The side in a few words, for `repr`."""
        ratio = "" if self.at_target is None else f" damping ratio {self.at_target.zeta}"
        return f"{self.side}{ratio} {self.place}"

    def __repr__(self) -> str:
        return f"<JudgedSide: {self.in_words}>"

    @property
    def judged_at(self) -> float | None:
        """The speed [m/s] that a bounce shows, where its band is at another one and the record tells it."""
        return None if self.step is None or self.step.assumed else self.step.here


@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """A fit on its corner.

    mean_zeta : energy mean of both sides, (c_c + c_r)/2, exact for a sine.
    wheel_rate [N/m], critical_damping [N*s/m] : at the wheel. frequency [Hz] : measured where a bounce did.
    body_mode_zeta, wheel_hop_zeta : exact two-mass modes with the energy mean of both sides at the speed that
    was judged; None when tyre, unsprung mass or a side is unknown (a note says so).
    """

    fit: Fit
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

    def __repr__(self) -> str:
        sides = (
            self.fit.side(side).in_words if self.side(side).at_target is None else self.side(side).in_words
            for side in SIDES
        )
        where = "" if self.corner is None else f" on {self.corner.name!r}"
        return f"<Judgement {self.fit.kind}{where}: {', '.join(sides)}>"


def normal_below(x: float) -> float:
    """Share of the standard normal distribution below `x`."""
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def log_of(x: float) -> float:
    """Natural logarithm of `x` >= 0, minus infinity at zero."""
    return math.log(x) if x > 0 else -math.inf


def corner_factor(corner: Corner) -> Estimate:
    """Damping ratio per N*s/m at the damper, r^2 / c_crit, with what is unsure about the corner."""
    return handbook_zeta(Estimate.exact(1.0, "N*s/m"), corner)


def wanted_speed(target: Target | None) -> float:
    """Speed [m/s] a side is judged at: the target's, else the usual one."""
    return USUAL_SPEED if target is None else target.speed


def nearest_speed(speeds: Sequence[float], wanted: float) -> float:
    """Give the one of `speeds` (> 0, at least one) that is nearest to `wanted` by proportion."""
    return min(speeds, key=lambda speed: abs(math.log(speed / wanted)))


def places(zeta: Estimate, band: tuple[float, float]) -> dict[Place, float]:
    """Probability of each place of `zeta` against `band`.

    Normal on logarithms; on the plain scale where the interval reaches zero.
    """
    on_logs = math.isfinite(zeta.log_sd) and zeta.value > 0
    sd = zeta.log_sd if on_logs else zeta.upper_sd
    gaps = [log_of(edge) - math.log(zeta.value) if on_logs else edge - zeta.value for edge in band]
    low, high = (gap / sd if sd > 0 else math.copysign(math.inf, gap) if gap else 0.0 for gap in gaps)
    below, above = normal_below(low), normal_below(-high)
    return {"below": below, "inside": max(0.0, 1.0 - below - above), "above": above}


def place_of(zeta: Estimate, band: tuple[float, float]) -> tuple[Place, float]:
    """Name the place of `zeta` against `band` and its probability; "uncertain" where it straddles."""
    likeliest, chance = likeliest_place(zeta, band)
    sure = INSIDE_SURE if likeliest == "inside" else OUTSIDE_SURE
    return (likeliest if chance >= sure else "uncertain"), chance


def likeliest_place(zeta: Estimate, band: tuple[float, float]) -> tuple[Place, float]:
    """Give the likeliest place of `zeta` against `band` and its probability, however small."""
    chances = places(zeta, band)
    likeliest = max(chances, key=lambda place: chances[place])
    return likeliest, chances[likeliest]


def _zetas(fit: SideFit, corner: Corner | None) -> tuple[ZetaAt, ...]:
    if not fit.seen:
        return ()
    if fit.zeta is not None:
        return (ZetaAt(None, fit.zeta),)
    if corner is None:
        return ()
    return tuple(ZetaAt(s.speed, handbook_zeta(s.c, corner)) for s in fit.secant)


def _at(zetas: Sequence[ZetaAt], wanted: float) -> ZetaAt | None:
    """Give the entry nearest to that speed; the one without a speed where there is one."""
    speeds = [z.speed for z in zetas if z.speed is not None]
    if len(speeds) < len(zetas):
        return next(z for z in zetas if z.speed is None)
    return None if not speeds else next(z for z in zetas if z.speed == nearest_speed(speeds, wanted))


def _side_notes(fit: SideFit, corner: Corner | None, target: Target | None, at: ZetaAt | None) -> list[Note]:
    if not fit.seen:
        return [Note("not-seen", side=fit.side)]
    notes = []
    if at is None and corner is None and fit.secant:
        notes.append(Note("no-corner", side=fit.side))
    if at is None and not fit.secant and fit.zeta is None:
        notes.append(Note("no-speed", side=fit.side))
    if at is not None and target is None:
        notes.append(Note("no-target", side=fit.side))
    speed = None if at is None or target is None else at.speed
    if speed is not None and target is not None and abs(math.log(speed / target.speed)) > 0.01:
        meant, judged = Estimate.exact(target.speed, "m/s"), Estimate.exact(speed, "m/s")
        notes.append(Note("other-speed", side=fit.side, target=meant, speed=judged))
    return notes


def _step_note(side: Side, step: SpeedStep) -> Note:
    """Say how a ratio was carried over to the speed of its band."""
    least, most = (math.expm1(step.shift + sign * NORMAL_95 * step.sd) for sign in (-1.0, 1.0))
    here, there = Estimate.exact(step.here, "m/s"), Estimate.exact(step.there, "m/s")
    facts: dict[str, Any] = {"side": side, "here": here, "there": there, "least": least, "most": most}
    return Note("other-speed", case="step", told_by=step.told_by, assumed=step.assumed, **facts)


def judge_side(
    fit: SideFit,
    corner: Corner | None,
    target: Target | None,
    *,
    speed: float | None = None,
    bench: SideFit | None = None,
) -> JudgedSide:
    """Put one side against its band, at the reference speed nearest to `speed` [m/s] (None: the target's).

    `bench` : this side of the same damper in the same state on a bench, which tells how a bounce's ratio goes on.
    """
    zetas = _zetas(fit, corner)
    at = _at(zetas, wanted_speed(target) if speed is None else speed)
    band = None
    if target is not None:
        band = target.compression if fit.side == "compression" else target.rebound
    place: Place = "unknown"
    leaning: Place | None = None
    probability: float | None = None
    step: SpeedStep | None = None
    at_band = None if at is None else at.zeta
    notes = _side_notes(fit, corner, target, at)
    if target is not None and band is not None and at is not None:
        if at.speed is None and at.zeta.value > 0:
            step = speed_step(fit, target.speed, bench)
        if step is not None:
            at_band = step.moved(at.zeta)
            notes.append(_step_note(fit.side, step))
        assert at_band is not None
        place, probability = place_of(at_band, band)
        if place == "uncertain" and probability >= LEANING:
            leaning = likeliest_place(at_band, band)[0]
    return JudgedSide(fit.side, zetas, at, band, place, probability, tuple(notes), step, at_band, leaning)


def energy_mean(one: Estimate, other: Estimate) -> Estimate:
    """Mean of two independent estimates of one unit, as a sine over both sides sees it."""
    value = 0.5 * (one.value + other.value)
    down = 0.5 * math.hypot(one.value - one.low, other.value - other.low)
    up = 0.5 * math.hypot(one.high - one.value, other.high - other.value)
    return Estimate(value, value - down, value + up, one.unit)


def _mean_damping(fit: Fit) -> tuple[tuple[float | None, Estimate], ...]:
    """Energy mean of both sides at every reference speed both hold [N*s/m], or of both zetas (speed None)."""
    if not (fit.compression.seen and fit.rebound.seen):
        return ()
    if fit.compression.zeta is not None and fit.rebound.zeta is not None:
        return ((None, energy_mean(fit.compression.zeta, fit.rebound.zeta)),)
    pairs = [(s.speed, s.c, fit.rebound.secant_at(s.speed)) for s in fit.compression.secant]
    return tuple((speed, energy_mean(c, other)) for speed, c, other in pairs if other is not None)


def _modes(
    means: Sequence[ZetaAt], corner: Corner, wanted: float, seen: bool
) -> tuple[Estimate | None, Estimate | None, tuple[Note, ...]]:
    """Damping ratios of body mode and wheel hop with the damping of the energy mean."""
    if not seen:
        return None, None, ()
    missing = modes_missing(corner)
    if missing is not None:
        return None, None, (missing,)
    at = _at(means, wanted)
    if at is None:
        return None, None, (Note("modes-one-side"),)
    # the corner enters the modes by itself, so its part is taken out of zeta's interval again
    factor = corner_factor(corner)
    c = at.zeta.value / factor.value
    if not (c > 0 and math.isfinite(at.zeta.log_sd)):
        return None, None, (Note("modes-unsure"),)
    own = at.zeta.log_sd**2 - (0.0 if at.speed is None else factor.log_sd**2)
    modes = modes_estimate(Estimate.from_log_sd(c, math.sqrt(max(own, 0.0)), "N*s/m"), corner)
    return (None, None, ()) if modes is None else (modes.body_zeta, modes.hop_zeta, modes.notes)


def _frequency_notes(measured: Estimate, expected: Estimate) -> tuple[Note, ...]:
    """Say when the corner swings at another frequency than spring and mass give; `suspects_of` says why."""
    gap = math.log(measured.value / expected.value)
    if abs(gap) <= max(math.log1p(DISAGREEMENT), NORMAL_95 * math.hypot(measured.log_sd, expected.log_sd)):
        return ()
    return (Note("frequency-disagrees", measured=measured, expected=expected),)


def _run_notes(fit: Fit) -> tuple[Note, ...]:
    """Say what the intervals of one bench test do not hold."""
    if fit.runs > 1 or fit.kind not in ON_A_BENCH:
        return ()
    return (Note("one-run", usual=RUN_TO_RUN),)


def _exact_notes(corner: Corner) -> tuple[Note, ...]:
    """Say which numbers of the corner are taken as exact because nothing says how unsure they are."""
    given = {
        "sprung_mass": corner.sprung_mass,
        "spring_rate": corner.spring_rate,
        "motion_ratio": corner.motion_ratio.constant,
    }
    exact = tuple(name for name, value in given.items() if value is not None and value.low == value.high)
    return (Note("inputs-exact", corner=corner.name, exact=exact),) if exact else ()


def _refuse_other_corner(fit: Fit, corner: Corner | None) -> None:
    """Refuse a corner that is not in a fit into which the corner goes: mass, spring and tyre are part of its answer."""
    if corner is None or fit.kind not in WITH_CORNER or fit.corner == corner:
        return
    files = " and ".join(dict.fromkeys(provenance.file for provenance in fit.inputs)) or "the recording"
    same_name = fit.corner is not None and fit.corner.name == corner.name
    raise UsageError(
        f"the {_CALLED[fit.kind]} in {files} was fitted with {fit.corner_words}, so it cannot be judged with "
        + (f"other numbers for {corner.name!r}" if same_name else f"the corner {corner.name!r}"),
        hint="Fit it with the corner it is judged with: fit(record, corner).",
    )


def judge(
    fit: Fit,
    corner: Corner | None = None,
    target: Target | None = None,
    *,
    bench: Fit | None = None,
) -> Judgement:
    """Put a fit on its corner and against its target; `bench` : the same damper in the same state on a bench.

    A bounce or a drive is judged with the corner it was fitted with (`fit(record, corner)`), or with none: that corner
    is in the fit itself. Another one raises UsageError.

    Without `corner` a bench fit has no damping ratio (a bounce has); without `target` no place. Nothing
    raises for what is missing: the place is "unknown" and a note says what to give. Raises MachineError when
    the corner's own numbers are impossible (a motion ratio that makes the wheel rate negative).
    """
    _refuse_other_corner(fit, corner)
    sides = {
        side: judge_side(fit.side(side), corner, target, bench=None if bench is None else bench.side(side))
        for side in SIDES
    }
    means = tuple(
        ZetaAt(speed, mean if speed is None or corner is None else handbook_zeta(mean, corner))
        for speed, mean in _mean_damping(fit)
        if speed is None or corner is not None
    )
    measured = measured_of_corner(fit)
    hertz = measured.get("frequency")
    if corner is None:
        return Judgement(
            fit,
            corner,
            target,
            sides["compression"],
            sides["rebound"],
            means,
            None,
            hertz,
            None,
            notes=_run_notes(fit),
        )
    expected = frequency(corner)
    notes = () if hertz is None else _frequency_notes(hertz, expected)
    seen = any(fit.side(side).seen for side in SIDES)
    body, hop, mode_notes = _modes(means, corner, wanted_speed(target), seen)
    return Judgement(
        fit,
        corner,
        target,
        sides["compression"],
        sides["rebound"],
        means,
        wheel_rate(corner),
        expected if hertz is None else hertz,
        critical_damping(corner),
        measured.get("body_mode_zeta", body),
        measured.get("wheel_hop_zeta", hop),
        (*notes, *mode_notes, *(_exact_notes(corner) if seen else ()), *_run_notes(fit)),
    )
