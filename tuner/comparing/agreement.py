"""Several tests of one damper in one state: whether they agree at the speeds they share.

Takes judgements of unlike kinds; gives `Agreement`s.

A bench test is carried to the corner with its numbers and what is unsure about them, and held against a bounce at the
speed that this shows. Two bench tests are held against each other at the reference speed nearest to the target's.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from tuner.comparing.change import ratio_of, refit_sds
from tuner.comparing.verdict import excludes_one, shows_no_change
from tuner.estimates import Estimate
from tuner.fitting.repeats import RUN_TO_RUN
from tuner.fitting.results import SideFit
from tuner.fitting.speed_step import secant_on
from tuner.judging import Judgement, nearest_speed, wanted_speed
from tuner.kinds import SHOWING_DAMPING
from tuner.machine import handbook_zeta
from tuner.records import SIDES, Kind, Side


@dataclass(frozen=True, slots=True)
class Agreement:
    """One side of two tests at one speed [m/s] at the shaft.

    kinds, values : of both tests, the bench first; ratios with a bounce, else damping [N*s/m]. ratio : second over
    first, with the allowance for single tests. agree : None where a difference of 25 % would not have been seen.
    """

    side: Side
    speed: float
    kinds: tuple[Kind, Kind]
    values: tuple[Estimate, Estimate]
    ratio: Estimate
    agree: bool | None


def bench_of(judgements: Sequence[Judgement]) -> Judgement | None:
    """Give the bench test among them, the one whose curve is known best; None without any."""
    for kind in ("cycle", "sweep", "weights"):
        for judgement in judgements:
            if judgement.fit.kind == kind:
                return judgement
    return None


def agreements(judgements: Sequence[Judgement], allowance: float = RUN_TO_RUN) -> tuple[Agreement, ...]:
    """Hold every two tests against each other, side by side; a side that they do not share is left out."""
    shown = sorted(
        (j for j in judgements if j.fit.kind in SHOWING_DAMPING), key=lambda j: j.fit.kind == "bounce"
    )
    found = (
        _agreement(side, one, other, allowance)
        for side in SIDES
        for one, other in itertools.combinations(shown, 2)
    )
    return tuple(each for each in found if each is not None)


def _agreement(side: Side, one: Judgement, other: Judgement, allowance: float) -> Agreement | None:
    first, second = one.fit.side(side), other.fit.side(side)
    if not (first.seen and second.seen):
        return None
    if second.zeta is None:
        shared = [s.speed for s in first.secant if second.secant_at(s.speed) is not None]
        speed = nearest_speed(shared, wanted_speed(one.target)) if shared else None
        values = None if speed is None else (first.secant_at(speed), second.secant_at(speed))
    else:
        speed = second.zeta_speed
        values = (None if speed is None else _on_corner(first, speed, one)), second.zeta
    if (
        speed is None
        or values is None
        or values[0] is None
        or values[1] is None
        or min(v.value for v in values if v) <= 0
    ):
        return None
    ratio = ratio_of(values[0], values[1], math.hypot(*refit_sds(one.fit, other.fit, allowance)))
    agree = False if excludes_one(ratio) else True if shows_no_change(ratio) else None
    return Agreement(side, speed, (one.fit.kind, other.fit.kind), (values[0], values[1]), ratio, agree)


def _on_corner(bench: SideFit, speed: float, judgement: Judgement) -> Estimate | None:
    """Give the damping ratio that a bench test says of the corner at a speed it holds."""
    if judgement.corner is None or bench.curve is None:
        return None
    secant = secant_on(bench.curve, speed)
    return None if secant is None else handbook_zeta(secant, judgement.corner)
