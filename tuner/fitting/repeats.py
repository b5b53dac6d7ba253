"""Several runs of one setting into one fit, with the scatter that refitting and temperature add.

Takes fits of one kind; gives one fit.

Positive quantities are averaged on logarithms. Their scatter from run to run is pooled with a prior: the
allowance for refitting and temperature plus what each run says of itself, worth 4 degrees of freedom, so
that two runs which happen to agree to the last digit do not look certain (a scaled inverse chi-squared
prior; Gelman et al., *Bayesian Data Analysis*, sec. 2.6, from memory). The interval is Student's t with the
pooled degrees of freedom.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from tuner.errors import FitError, RecordError, require
from tuner.estimates import NORMAL_95, Estimate, Note, student_95
from tuner.fitting.measures import combined_drive, combined_flight, of_records
from tuner.fitting.results import Curve, DampingFit, DriveFit, Fit, JumpFit, Secant, SideFit
from tuner.laws import LAWS, Law
from tuner.records import SIDES, Side

# 95 % half width, on logarithms, of the ratio of two single runs of one setting: what refitting the damper
# and its temperature add (common practice, no source). One run carries 1/sqrt(2) of it.
RUN_TO_RUN = 0.05
PRIOR_DF = 4.0  # how much that allowance weighs against the scatter that repeats show


def run_sd(allowance: float = RUN_TO_RUN) -> float:
    """Relative standard deviation that refitting adds to one run, from the allowance on the ratio of two."""
    return allowance / NORMAL_95 / math.sqrt(2.0)


def interval_factor(runs: int) -> float:
    """Half width of the 95 % interval of a mean of `runs` >= 1 runs, in standard deviations of that mean."""
    return NORMAL_95 if runs == 1 else student_95(PRIOR_DF + runs - 1)


def _pooled(values: Sequence[float], within: Sequence[float], prior_sd: float) -> tuple[float, float, float]:
    """Mean, its standard deviation and the degrees of freedom behind it."""
    n = len(values)
    own = float(np.mean(np.square(within)))
    if n == 1:  # nothing measured: the allowance counts as known
        return values[0], math.sqrt(own + prior_sd**2), math.inf
    mean = float(np.mean(values))
    df = PRIOR_DF + n - 1
    squares = float(np.sum((np.asarray(values) - mean) ** 2))
    return mean, math.sqrt((PRIOR_DF * (prior_sd**2 + own) + squares) / df / n), df


def mean_of_logs(values: Sequence[Estimate], prior_sd: float) -> Estimate | None:
    """Average positive estimates of one quantity on logarithms; None when no run knows it.

    A run whose interval reaches zero knows nothing on logarithms: it is left out, or, where that is so in every
    run, the plain mean is given, its interval cut at zero.
    """
    known = [e for e in values if e.value > 0 and math.isfinite(e.log_sd)]
    if not known:
        return mean_of(values, positive=True)
    mean, sd, df = _pooled([math.log(e.value) for e in known], [e.log_sd for e in known], prior_sd)
    return Estimate.from_log_sd(math.exp(mean), sd, known[0].unit, df=df)


def mean_of(values: Sequence[Estimate], *, positive: bool = False) -> Estimate | None:
    """Average estimates of one quantity that may be zero or negative; None when no run knows it."""
    known = [e for e in values if math.isfinite(e.sd)]
    if not known:
        return None
    mean, sd, df = _pooled([e.value for e in known], [e.sd for e in known], 0.0)
    half = student_95(df) * sd
    found = Estimate(mean, mean - half, mean + half, known[0].unit)
    return found.not_negative() if positive else found


def mean_of_positive(values: Sequence[Estimate]) -> Estimate | None:
    """Average a positive quantity on logarithms; plainly, cut at zero, where a run says that it may be nothing."""
    on_logs = all(e.value > 0 and math.isfinite(e.log_sd) for e in values)
    return mean_of_logs(values, 0.0) if on_logs else mean_of(values, positive=True)


def _on_logs(side: SideFit) -> dict[float | None, Estimate]:
    """Give what a side says of its damping, as far as it is positive, by speed (None: zeta)."""
    held: dict[float | None, Estimate] = {s.speed: s.c for s in side.secant}
    if side.zeta is not None:
        held[None] = side.zeta
    return {s: e for s, e in held.items() if e.value > 0 and math.isfinite(e.log_sd)} if side.seen else {}


def scatter(sides: Sequence[SideFit]) -> tuple[float, float, int] | None:
    """Scatter of one side from run to run: its relative sd, the sd each run claims for itself, runs.

    Root mean squares over the reference speeds that all runs with this side hold (and zeta, for bounces);
    None when fewer than two runs show the side or they share no speed.
    """
    held = [known for side in sides if (known := _on_logs(side))]
    if len(held) < 2:
        return None
    shared = [speed for speed in held[0] if all(speed in known for known in held)]
    if not shared:
        return None
    logs = np.log([[known[speed].value for known in held] for speed in shared])
    own = np.array([[known[speed].log_sd for known in held] for speed in shared])
    between = math.sqrt(float(np.mean(np.var(logs, axis=1, ddof=1))))
    return between, math.sqrt(float(np.mean(np.square(own)))), len(held)


def _scatter_notes(sides: Sequence[SideFit], prior_sd: float) -> tuple[Note, ...]:
    found = scatter(sides)
    side = sides[0].side
    if found is None:
        shown = sum(fit.seen for fit in sides)
        if shown < 2:
            return (Note("not-repeated", side=side, shown=shown, runs=len(sides)),)
        return (Note("not-repeated", case="speeds", side=side),)
    between, own, runs = found
    notes = [Note("run-to-run", side=side, scatter=between, runs=runs)]
    from scipy.special import chdtri

    # 95 % point of the sample variance; for two runs: they differ by more than the allowance on their ratio
    limit = math.sqrt(float(chdtri(runs - 1, 0.05)) / (runs - 1) * (prior_sd**2 + own**2))
    if between > limit:
        notes.append(Note("repeats-disagree", side=side, scatter=between, usual=limit))
    return tuple(notes)


def _unique(notes: Iterable[Note]) -> tuple[Note, ...]:
    return tuple(dict.fromkeys(notes))


def _law(
    sides: Sequence[SideFit], typical: SideFit, prior_sd: float
) -> tuple[Law | None, Mapping[str, Estimate]]:
    """One law for all runs: parameters averaged when all chose the same law, else that of the typical run."""
    if typical.law is None or any(s.law is None or s.law.name != typical.law.name for s in sides):
        return typical.law, typical.parameters
    averaged: dict[str, Estimate] = {}
    for name in typical.law.parameters:
        known = [s.parameters[name] for s in sides if name in s.parameters]
        on_logs = len(known) == len(sides) and all(e.low > 0 and math.isfinite(e.high) for e in known)
        mean = (
            mean_of_logs(known, prior_sd)
            if on_logs
            else mean_of(known, positive=all(e.low >= 0 for e in known))
        )
        if mean is None or len(known) < len(sides):
            return typical.law, typical.parameters
        averaged[name] = mean
    try:
        return LAWS[typical.law.name](**{name: e.value for name, e in averaged.items()}), averaged
    except RecordError:  # a mean that is no law of this kind, such as knees out of order
        return typical.law, typical.parameters


def _curve(sides: Sequence[SideFit], prior_sd: float) -> Curve | None:
    curves = [s.curve for s in sides if s.curve is not None and len(s.curve.speed) > 1]
    if not curves:
        return None
    first, last = max(c.speed[0] for c in curves), min(c.speed[-1] for c in curves)
    if len(curves) == 1 or first >= last:
        return curves[0]
    speed = np.linspace(first, last, len(curves[0].speed))
    force = np.array([np.interp(speed, c.speed, c.force) for c in curves])
    width = np.array([np.interp(speed, c.speed, c.high - c.low) for c in curves]) / (2.0 * NORMAL_95)
    mean, n = force.mean(axis=0), len(curves)
    df = PRIOR_DF + n - 1
    squares = ((force - mean) ** 2).sum(axis=0)
    variance = (PRIOR_DF * ((prior_sd * mean) ** 2 + (width**2).mean(axis=0)) + squares) / df / n
    half = student_95(df) * np.sqrt(variance)
    return Curve(speed, mean, mean - half, mean + half)


def _mean_secant(sides: Sequence[SideFit], speed: float, prior_sd: float) -> Secant | None:
    """Average one secant over the runs; what unknown friction and gas force leave open is no smaller in the mean."""
    found = [(s, side.offset) for side in sides for s in side.secant if s.speed == speed]
    parts = [0.0 if offset is None else s.per_offset * offset.sd for s, offset in found]
    own = [_narrowed(s.c, part) for (s, _), part in zip(found, parts, strict=True)]
    mean = mean_of_logs(own, prior_sd)
    common = float(np.mean(parts))
    if mean is None or common == 0.0:
        return None if mean is None else Secant(speed, mean)
    low, high = (math.hypot(x - mean.value, NORMAL_95 * common) for x in (mean.low, mean.high))
    c = Estimate(mean.value, mean.value - low, mean.value + high, mean.unit).not_negative()
    return Secant(speed, c, float(np.mean([s.per_offset for s, _ in found])), mean.sd)


def _narrowed(estimate: Estimate, part: float) -> Estimate:
    """Take a part [sd] out of an interval."""
    if part == 0.0:
        return estimate
    sd = estimate.upper_sd if estimate.low <= 0.0 else estimate.sd
    share = math.sqrt(max(1.0 - (part / sd) ** 2, 0.0)) if sd > 0 else 1.0
    low, high = share * (estimate.value - estimate.low), share * (estimate.high - estimate.value)
    return Estimate(estimate.value, estimate.value - low, estimate.value + high, estimate.unit)


def _mean_offset(sides: Sequence[SideFit]) -> Estimate | None:
    known = [s.offset for s in sides if s.offset is not None]
    if len(known) < len(sides):
        return None
    value, sd = float(np.mean([e.value for e in known])), float(np.mean([e.sd for e in known]))
    return Estimate.from_sd(value, sd, known[0].unit)


def _side(sides: Sequence[SideFit], prior_sd: float) -> SideFit:
    seen = [side for side in sides if side.seen]
    if not seen:
        return replace(sides[0], notes=_unique(n for s in sides for n in s.notes))
    speeds = sorted({s.speed for side in seen for s in side.secant})
    secants = {v: _mean_secant(seen, v, prior_sd) for v in speeds}
    means = {v: None if s is None else s.c for v, s in secants.items()}
    secant = tuple(s for s in secants.values() if s is not None)

    def oddness(side: SideFit) -> float:
        gaps = [
            math.log(c.value / m.value)
            for v, m in means.items()
            if m is not None and (c := side.secant_at(v)) is not None and c.value > 0
        ]
        return float(np.mean(np.abs(gaps))) if gaps else math.inf

    typical = min(seen, key=oddness)
    law, parameters = _law(seen, typical, prior_sd)
    notes = [n for s in sides for n in s.notes]
    names = tuple(sorted({s.law.name for s in seen if s.law is not None}))
    if len(names) > 1 and typical.law is not None:
        notes.append(Note("laws-differ", side=typical.side, laws=names, shown=typical.law.name))
    ranges = [s.speed_range for s in seen if s.speed_range is not None]
    strokes = [s.dead_stroke for s in seen if s.dead_stroke is not None]
    return replace(
        typical,
        law=law,
        parameters=parameters,
        secant=secant,
        speed_range=(min(r[0] for r in ranges), max(r[1] for r in ranges)) if ranges else None,
        dead_stroke=mean_of(strokes, positive=True),
        offset=_mean_offset(seen),
        zeta=mean_of_logs([s.zeta for s in seen if s.zeta is not None], prior_sd),
        curve=_curve(seen, prior_sd),
        point_speed=np.concatenate([s.point_speed for s in seen]),
        point_force=np.concatenate([s.point_force for s in seen]),
        notes=_unique((*notes, *_scatter_notes(sides, prior_sd))),
    )


def combine(fits: Sequence[Fit], *, allowance: float = RUN_TO_RUN) -> Fit:
    """Combine repeats of one setting into one fit; a single fit comes back unchanged.

    `allowance` >= 0 is the 95 % half width, on logarithms, of the ratio of two single runs. Secants, a
    bounce's zeta and positive law parameters are averaged on logarithms; gas force, friction and the like
    plainly. A fit that is itself a combination counts as one run. Raises FitError for no fit at all and for
    fits of different kinds.
    """
    require(len(fits) > 0, "the runs of one setting", "at least one", "none", error=FitError)
    require(
        math.isfinite(allowance) and allowance >= 0,
        "the allowance",
        "zero or more",
        allowance,
        error=FitError,
    )
    if len(fits) == 1:
        return fits[0]
    kinds = sorted({fit.kind for fit in fits})
    if len(kinds) > 1:
        raise FitError(
            f"repeats of one setting must be records of one kind; got {' and '.join(kinds)}",
            hint="Give the files of one kind together, and compare the kinds in runs of their own.",
        )
    require(
        all(fit.corner == fits[0].corner for fit in fits),
        "the corner of repeats of one setting",
        "the same in every fit",
        " and ".join(dict.fromkeys(fit.corner_words for fit in fits)),
        error=FitError,
        hint="Fit them together: fit_setting(records, corner).",
    )
    sides = {side: _side([fit.side(side) for fit in fits], run_sd(allowance)) for side in SIDES}
    drives = [fit for fit in fits if isinstance(fit, DriveFit)]
    jumps = [fit for fit in fits if isinstance(fit, JumpFit)]
    if drives:
        return combined_drive(drives, sides)
    if jumps:
        return combined_flight(jumps, sides)
    return _combined_damping([fit for fit in fits if isinstance(fit, DampingFit)], sides)


def _combined_damping(fits: Sequence[DampingFit], sides: Mapping[Side, SideFit]) -> DampingFit:
    """Put several tests together that show damping."""

    def plain(get: Callable[[DampingFit], Estimate | None], *, positive: bool = False) -> Estimate | None:
        return mean_of([e for fit in fits if (e := get(fit)) is not None], positive=positive)

    energy_speeds = [fit.energy_speed for fit in fits if fit.energy_speed is not None]
    same_energy = len(energy_speeds) == len(fits) and max(energy_speeds) <= 1.02 * min(energy_speeds)
    energy = mean_of_positive([fit.energy_per_cycle for fit in fits if fit.energy_per_cycle is not None])
    measured = [name for name in fits[0].corner_measured if all(name in fit.corner_measured for fit in fits)]
    averaged = {name: mean_of_positive([fit.corner_measured[name] for fit in fits]) for name in measured}
    bounces = [fit.bounces for fit in fits if fit.bounces is not None]
    decrements = [fit.decrement_zeta for fit in fits if fit.decrement_zeta is not None]
    return DampingFit(
        kind=fits[0].kind,
        compression=sides["compression"],
        rebound=sides["rebound"],
        gas_force=plain(lambda fit: fit.gas_force),
        friction=plain(lambda fit: fit.friction, positive=True),
        lag=plain(lambda fit: fit.lag, positive=True),
        energy_per_cycle=energy if same_energy else None,
        energy_speed=float(np.mean(energy_speeds)) if same_energy else None,
        fade=plain(lambda fit: fit.fade),
        corner_measured={name: e for name, e in averaged.items() if e is not None},
        loops=tuple(loop for fit in fits for loop in fit.loops),
        bounces=sum(bounces) if bounces else None,
        decrement_zeta=float(np.mean(decrements)) if len(decrements) == len(fits) else None,
        traces=tuple(trace for fit in fits for trace in fit.traces),
        **of_records(fits),
    )
