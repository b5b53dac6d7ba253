"""From bounce records to the fit: find the ring-downs, search, weigh, draw, say what was not seen.

Takes records and a corner or None; gives `DampingFit`.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from tuner.errors import FitError
from tuner.estimates import NORMAL_95, Array, Estimate, Note
from tuner.fitting.bounce import doubts
from tuner.fitting.bounce.agreement import loosened
from tuner.fitting.bounce.answer import Answer, Seen
from tuner.fitting.bounce.bend import with_knee
from tuner.fitting.bounce.cuts import Cuts, find_cuts, problem_of
from tuner.fitting.bounce.dead_stroke import softened
from tuner.fitting.bounce.decrement import mean_ratio_of_travel
from tuner.fitting.bounce.descent import Bottom, descend, distinct
from tuner.fitting.bounce.known import knowledge_of
from tuner.fitting.bounce.posterior import Posterior, explore
from tuner.fitting.bounce.problem import Problem, motion_of, residuals
from tuner.fitting.bounce.search import FINE_RATE, FINE_STEPS, LAST_STEPS, lowest
from tuner.fitting.bounce.smoothing import calmed, thinned
from tuner.fitting.bounce.trial import Noise, coloured, noise_of, quiet_noise, reweighted, verdicts
from tuner.fitting.results import DampingFit
from tuner.fitting.traces import BounceTrace
from tuner.records import SIDES, BounceRecord, Side

if TYPE_CHECKING:
    from tuner.machine import Corner

CONTRADICTION = (
    0.08  # of the logarithm of the frequency, from which it is measured once more without the corner
)
RIVAL = 16.0  # minima whose cost lies further above the lowest are forgotten
TRACE_POINTS = 600
SHOWN = 0.75  # of the highest speed, where only that is known; what `shown_speed` gives for a dying swing
ODD = (
    2.0  # variance of residuals over that of a quiet recording; beyond, one line per side does not explain it
)


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """The ring-downs that were used, their problem at the fitted rate with final weights, and its lowest minima."""

    cuts: Cuts
    problem: Problem
    bottom: Bottom
    noises: list[Noise]


@dataclass(frozen=True, slots=True, eq=False)
class Explained:
    """What explains the bounces best: draws, computed samples (b, n) above a level (b,), doubts.

    peaks, speeds : highest shaft speed at the wheel, and the one the damping is shown at (`shown_speed`) [m/s].
    """

    cuts: Cuts
    problem: Problem
    posterior: Posterior
    computed: Array
    level: Array
    peaks: dict[Side, float]
    speeds: dict[Side, float]
    notes: tuple[Note, ...]
    log_soft: Array | None = None  # (draws, 2) dead strokes of compression and rebound at the wheel [m]


def fit_bounce(records: Sequence[BounceRecord] | BounceRecord, corner: Corner | None = None) -> DampingFit:
    """Fit compression and rebound damping from every bounce of one setting together.

    records : all recordings of one setting, acceleration or travel, not both. corner : what is known of masses, tyre,
    spring and motion ratio; None leaves them open and widens the intervals.

    Raises
    ------
    FitError
        When no usable bounce is found, when it is a fall, when the rate is too low, or nothing moves like a corner.
    """
    several = (records,) if isinstance(records, BounceRecord) else tuple(records)
    doubts.refuse_unfit(several)
    ratio = 1.0
    true_length = several[0].quantity == "acceleration" or corner is not None
    if corner is not None and several[0].quantity == "travel":
        from tuner.machine import motion_ratio_at

        ratio = motion_ratio_at(corner).value
    solved = _solve(several, ratio, corner)
    found = _with_dead_stroke(several, solved, ratio) or _with_lines(solved, corner)
    answer = Answer.of(found.posterior, several[0].quantity, corner, found.log_soft)
    answer = answer if true_length else replace(answer, moves="shaft")
    starts = frozenset(b.direction for b in found.cuts.bounces)
    compression, rebound = (
        answer.side(side, Seen(found.peaks[side], found.speeds[side], starts)) for side in SIDES
    )
    _, assumed = knowledge_of(corner)
    notes = [
        *doubts.of_cuts(several, found.cuts),
        *doubts.of_records(several, solved.noises),
        *found.notes,
        *answer.notes,
        *assumed,
    ]
    measured = answer.measured(true_length=true_length)
    if corner is not None and _contradicts(corner, measured["frequency"]):
        with contextlib.suppress(FitError):  # then only the corner makes sense of this record
            measured["frequency"] = fit_bounce(several).corner_measured["frequency"]
    decrements = _decrements(found)
    notes += doubts.of_decrement(decrements, measured["body_mode_zeta"])
    if not true_length:
        notes.append(Note("ratio-unknown"))
    return DampingFit(
        kind="bounce",
        compression=compression,
        rebound=rebound,
        friction=answer.friction() if true_length else None,
        corner_measured=measured,
        bounces=len(found.cuts.bounces),
        decrement_zeta=float(np.median(decrements)) if decrements else None,
        traces=_traces(several, found, ratio),
        runs=len(several),
        inputs=tuple(record.provenance for record in several),
        conditions=tuple(record.conditions for record in several),
        quality=tuple(record.quality for record in several),
        notes=tuple(notes),
        corner=corner,
    )


def shown_speed(speed: Array) -> float:
    """Give the speed at which a bent law has the slope of the line that does the same work, from samples of speed.

    The line c v that does the work of a force F(v) has c = mean(F v) / mean(v**2); for F = v**n with n near 1 that is
    F(V) / V at log V = mean(v**2 log v) / mean(v**2). Samples below zero belong to the other side.
    """
    own = speed[speed > 0]
    energy = float((own**2).sum())
    return math.exp(float((own**2 * np.log(own)).sum()) / energy) if energy > 0 else 0.0


def _contradicts(corner: Corner, seen: Estimate) -> bool:
    """Say whether a corner is so far off what its bounce shows that its numbers may have bent the fit itself."""
    from tuner.machine import frequency

    expected = frequency(corner)
    return abs(math.log(seen.value / expected.value)) > max(CONTRADICTION, NORMAL_95 * expected.log_sd)


def _with_lines(solved: Solved, corner: Corner | None) -> Explained:
    """One line per side, or two that meet at a knee where the record asks for them."""
    plain, lowest_plain, factor = loosened(solved.problem, solved.bottom)
    bent = with_knee(plain, lowest_plain, knowledge_of(corner, knee=True)[0])
    if bent is None:
        problem, bottom = plain, lowest_plain
    else:  # with the knee the bounces may agree better: their noise is looked at anew
        full = replace(bent[0], weight=solved.problem.weight)
        problem, bottom, factor = loosened(full, descend(full, bent[1].x, LAST_STEPS))
    motion = motion_of(problem, bottom.x[:1])
    every = np.arange(problem.bounces)
    speed = motion.shaft_speed(motion.locate(problem.time, every))[problem.weight > 0]
    rest = residuals(problem, bottom.x[:1])
    bias = bottom.x[0, problem.shared + problem.file]
    return Explained(
        solved.cuts,
        problem,
        explore(problem, bottom),
        problem.value - rest[0] - bias[:, None],
        bias,
        {"compression": float(motion.peak_compression.max()), "rebound": float(motion.peak_rebound.max())},
        {side: shown_speed(speed if side == "compression" else -speed) for side in SIDES},
        tuple(doubts.of_lines(factor, knee=bent is not None, left_ground=bool(motion.left_ground.any()))),
    )


def _with_dead_stroke(records: Sequence[BounceRecord], solved: Solved, ratio: float) -> Explained | None:
    """Look for a dead stroke where lines misfit: residuals above the noise of a quiet recording, bounces cut short."""
    if any(noise.shaking for noise in solved.noises) or solved.problem.filter is not None:
        return None
    scale = ratio if solved.problem.quantity == "travel" else 1.0
    quiet = np.array([quiet_noise(record.time, record.signal) / scale for record in records])
    knowledge = solved.problem.knowledge
    of_lines = _in_quiet_noise(problem_of(records, solved.cuts, ratio, knowledge), quiet)
    rest = residuals(of_lines, solved.bottom.x[:1])
    misfit = float((of_lines.weight * rest[0] ** 2).sum()) / float((of_lines.weight > 0).sum())
    if solved.cuts.untouched and misfit < ODD:
        return None
    whole = find_cuts(records)
    problem = _in_quiet_noise(problem_of(records, whole, ratio, knowledge), quiet)
    soft = softened(problem, solved.bottom.x[0, : problem.shared])
    if not soft.is_there(misfit, whole=solved.cuts.untouched):
        return None
    posterior, lengths = soft.drawn()
    return Explained(
        whole,
        problem,
        posterior,
        soft.computed,
        soft.level,
        {"compression": soft.peak_compression, "rebound": soft.peak_rebound},
        {"compression": SHOWN * soft.peak_compression, "rebound": SHOWN * soft.peak_rebound},
        tuple(doubts.of_dead_stroke()),
        lengths,
    )


def _in_quiet_noise(native: Problem, quiet: Array) -> Problem:
    """Give the problem at the fitted rate, weighted by the noise of the quiet recordings alone, (files,)."""
    noise = (1.0 / quiet[native.file] ** 2)[:, None]
    return thinned(replace(native, weight=np.where(native.weight > 0, noise, 0.0)), FINE_RATE)


def _solve(records: Sequence[BounceRecord], ratio: float, corner: Corner | None) -> Solved:
    """Search with all ring-downs; leave out or shorten what does not move like a free corner, and search again."""
    knowledge, _ = knowledge_of(corner)
    cuts = find_cuts(records)
    for attempt in range(3):
        problem = problem_of(records, cuts, ratio, knowledge)
        problem, bottom = lowest(problem, cuts.bounces)
        native, problem = problem, thinned(problem, FINE_RATE)
        best = bottom.best()
        for _ in range(2):
            problem = reweighted(problem, best.x[0])
            best = descend(problem, best.x[:1], LAST_STEPS)
        judged = verdicts(problem, best.x[0])
        again = None if attempt == 2 else cuts.mended(judged, records)
        if again is None:
            break
        cuts = again
    cuts = cuts.with_doubts(judged)
    noises = noise_of(native, best.x[0])
    shaken = problem.quantity == "acceleration" and any(noise.shaking for noise in noises)
    if shaken:
        problem = reweighted(calmed(native), best.x[0])
        best = descend(problem, best.x[:1], LAST_STEPS)
        problem = reweighted(problem, best.x[0])
    problem = coloured(problem, noise_of(problem, best.x[0]))
    rivals = [descend(problem, best.x[:1], FINE_STEPS)]
    if len(bottom.cost) > 1:
        rivals.append(descend(problem, bottom.x[1:], FINE_STEPS))
    found = distinct(Bottom.joined(*rivals))
    near = found.cost < found.cost[0] + RIVAL
    return Solved(cuts, problem, Bottom(found.x[near], found.cost[near], found.curvature[near]), noises)


def _decrements(found: Explained) -> list[float]:
    """Damping ratios of the body's swing from turning points alone, where travel shows enough of them."""
    problem = found.problem
    if problem.quantity != "travel":
        return []
    ratios = []
    for b, level in enumerate(found.level):
        used = problem.weight[b] > 0
        ratio = mean_ratio_of_travel(problem.value[b][used] - level, float(problem.weight[b].max()) ** -0.5)
        if ratio is not None:
            ratios.append(ratio)
    return ratios


def _traces(records: Sequence[BounceRecord], found: Explained, ratio: float) -> tuple[BounceTrace, ...]:
    """Keep what was measured and what the fit gives, per bounce, for pictures."""
    problem = found.problem
    scale = ratio if problem.quantity == "travel" else 1.0
    traces = []
    for b, (bounce, file) in enumerate(zip(found.cuts.bounces, found.cuts.file, strict=True)):
        used = np.flatnonzero(problem.weight[b] > 0)
        kept = used[:: max(1, len(used) // TRACE_POINTS)]
        traces.append(
            BounceTrace(
                records[file].provenance.file,
                float(records[file].time[bounce.first]),
                problem.quantity,
                problem.time[b][kept],
                problem.value[b][kept] * scale,
                (found.computed[b][kept] + found.level[b]) * scale,
            )
        )
    return tuple(traces)
