"""More than two runs: the path of compression and rebound over the changes.

Takes judged runs in the order they were made, with their labels; gives a `Path`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from tuner.comparing.change import own_zeta, ratio_at, refit_sds
from tuner.errors import FitError, require
from tuner.estimates import Estimate, Note
from tuner.fitting.repeats import RUN_TO_RUN
from tuner.judging import Judgement, Place, judge_side, nearest_speed, wanted_speed
from tuner.machine import Target
from tuner.records import SIDES, Side


@dataclass(frozen=True, slots=True)
class PathStep:
    """One side of one run on the path.

    value : zeta [-] or c [N*s/m], None where the run does not show it. ratio : over the run before it, with the
    allowance for single runs; None for the first and where one of the two is missing. changed : whether the
    interval of `ratio` excludes 1.
    """

    label: str
    value: Estimate | None
    place: Place
    ratio: Estimate | None
    changed: bool | None


@dataclass(frozen=True, slots=True)
class Path:
    """Both sides over the runs, at one `speed` [m/s] (None for bounces); quantity "c" without a corner."""

    quantity: Literal["zeta", "c"]
    speed: float | None
    compression: tuple[PathStep, ...]
    rebound: tuple[PathStep, ...]
    target: Target | None
    notes: tuple[Note, ...] = ()

    def side(self, name: Side) -> tuple[PathStep, ...]:
        """Give that side."""
        return self.compression if name == "compression" else self.rebound


def _speeds(run: Judgement) -> set[float]:
    """Speeds that every side the run shows holds."""
    held = [{s.speed for s in run.fit.side(side).secant} for side in SIDES if run.fit.side(side).seen]
    return set.intersection(*held) if held else set()


def _is_bounce(run: Judgement) -> bool:
    return any(run.fit.side(side).zeta is not None for side in SIDES)


def _common_speed(runs: Sequence[Judgement], target: Target | None) -> tuple[float | None, tuple[Note, ...]]:
    """Choose the speed nearest to the target's that every bench run holds, else the one most of them hold."""
    held = [speeds for run in runs if (speeds := _speeds(run))]
    if not held:
        return None, ()
    shared = set.intersection(*held)
    if shared:
        return nearest_speed(sorted(shared), wanted_speed(target)), ()
    counts = {v: sum(v in speeds for speeds in held) for v in set.union(*held)}
    most = [v for v, count in counts.items() if count == max(counts.values())]
    speed = nearest_speed(sorted(most), wanted_speed(target))
    shown = Estimate.exact(speed, "m/s")
    return speed, (Note("no-overlap", case="path", speed=shown, runs=max(counts.values())),)


def _measured(run: Judgement, side: Side, speed: float | None) -> Estimate | None:
    """Give what ratios are made of: the secant at `speed`, or a bounce's own zeta."""
    fit = run.fit.side(side)
    if not fit.seen:
        return None
    found = own_zeta(fit) if speed is None or fit.zeta is not None else fit.secant_at(speed)
    return found if found is not None and found.value > 0 else None


def _shown(run: Judgement, side: Side, speed: float | None, zeta: bool) -> tuple[Estimate | None, Place]:
    measured = _measured(run, side, speed)
    if measured is None or not zeta:
        return (None if _is_bounce(run) and not zeta else measured), "unknown"
    judged = judge_side(run.fit.side(side), run.corner, run.target, speed=speed)
    return (None if judged.at_target is None else judged.at_target.zeta), judged.place


def _steps(
    side: Side,
    runs: Sequence[Judgement],
    labels: Sequence[str],
    speed: float | None,
    zeta: bool,
    allowance: float,
) -> tuple[PathStep, ...]:
    steps: list[PathStep] = []
    for i, (run, label) in enumerate(zip(runs, labels, strict=True)):
        value, place = _shown(run, side, speed, zeta)
        now, past = _measured(run, side, speed), _measured(runs[i - 1], side, speed) if i else None
        ratio = None
        if now is not None and past is not None and _is_bounce(run) == _is_bounce(runs[i - 1]):
            extra = math.hypot(*refit_sds(runs[i - 1].fit, run.fit, allowance))
            pair = runs[i - 1].fit.side(side), run.fit.side(side)
            ratio = ratio_at(pair, speed, (past, now), extra)
        steps.append(PathStep(label, value, place, ratio, None if ratio is None else not ratio.contains(1.0)))
    return tuple(steps)


def path(runs: Sequence[Judgement], labels: Sequence[str], *, allowance: float = RUN_TO_RUN) -> Path:
    """Lay several judged runs in a row, at one speed that all of them hold (the nearest to the target's).

    `labels` : one per run. The band and its speed are those of the last run's target. Damping ratios need a corner
    in every bench run; without one the path is of the damping coefficient. Raises FitError without runs or when
    labels and runs do not pair up.
    """
    require(len(runs) > 0, "the path", "made of at least one run", "none", error=FitError)
    require(len(labels) == len(runs), "the labels", f"one per run ({len(runs)})", len(labels), error=FitError)
    target = runs[-1].target
    speed, notes = _common_speed(runs, target)
    zeta = all(run.corner is not None or _is_bounce(run) for run in runs)
    if len({_is_bounce(run) for run in runs}) > 1:
        notes = (*notes, Note("different-kinds", case="path"))
    compression, rebound = (_steps(side, runs, labels, speed, zeta, allowance) for side in SIDES)
    return Path("zeta" if zeta else "c", speed, compression, rebound, target, notes)
