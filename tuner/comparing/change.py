"""The ratio of two runs at every speed both hold, on logarithms, with the allowance for single runs.

Takes two sides of fits; gives `ChangeAt`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from tuner.comparing.results import ChangeAt
from tuner.estimates import NORMAL_95, Estimate
from tuner.fitting.repeats import run_sd
from tuner.fitting.results import Fit, Secant, SideFit
from tuner.kinds import TOGETHER

CLEARLY_APART = 2.0  # standard errors from which two offsets are not the same
SAME_SPEED = 0.02  # share within which two tested speeds are the same
ALIKE_BETWEEN = (
    0.75  # how alike two curves run between the same tested speeds (correlation); common practice, no source
)
SEALS_APART = 2.0  # sd by which the friction of one damper, or of two alike, differs between runs [N]
GAS_APART = 0.02  # and what both runs had taken off, as a share: a gas force that is warmer; common practice, no source


def refit_sds(before: Fit, after: Fit, allowance: float) -> tuple[float, float]:
    """Relative standard deviation to add to each run: nothing where repeats have measured it.

    Recordings that share one fit have not measured it: their mean carries the allowance of one over the root of n.
    """

    def sd(fit: Fit) -> float:
        if fit.runs <= 1:
            return run_sd(allowance)
        return run_sd(allowance) / math.sqrt(fit.runs) if fit.kind in TOGETHER else 0.0

    return sd(before), sd(after)


def _held(side: SideFit) -> dict[float | None, Estimate]:
    if not side.seen:
        return {}
    zeta = own_zeta(side)
    if zeta is not None:
        return {None: zeta} if zeta.value > 0 else {}
    return {s.speed: s.c for s in side.secant if s.c.value > 0}


class Common(NamedTuple):
    """Friction and gas force that two runs of points have in common, though neither tells them [N].

    value, sd : what both are taken to be; apart : standard deviation of their difference.
    """

    value: float
    sd: float
    apart: float


def common_offset(before: SideFit, after: SideFit) -> Common | None:
    """Give what both sides hold of friction and gas force; None unless both are unsure and speak for the same.

    The seals and the gas are those of one damper, or of two alike: what peak forces do not tell of them is wrong by
    the same amount in both runs, and nearly cancels in their ratio.
    """
    one, other = before.offset, after.offset
    if one is None or other is None or min(one.sd, other.sd) <= 0.0:
        return None
    if abs(one.value - other.value) > CLEARLY_APART * math.hypot(one.sd, other.sd):
        return None
    first, second = 1.0 / one.sd**2, 1.0 / other.sd**2
    value = (first * one.value + second * other.value) / (first + second)
    # the two are not independent, so that together they say no more than one of them
    sd = math.sqrt(2.0 / (first + second))
    return Common(value, sd, math.hypot(SEALS_APART, GAS_APART * value))


def _same_speeds(before: SideFit, after: SideFit) -> bool:
    one, other = np.unique(before.point_speed), np.unique(after.point_speed)
    return one.size == other.size and bool(np.allclose(one, other, rtol=SAME_SPEED))


def _ratio_of_points(one: Secant, other: Secant, pair: tuple[SideFit, SideFit], extra_sd: float) -> Estimate:
    """After over before of single points: what both leave open in common cancels.

    That is friction and gas force, and most of how the curve runs between the tested speeds, where these are the same.
    """
    common = common_offset(*pair)
    if common is None or 0.0 in (one.per_offset, other.per_offset):
        return ratio_of(one.c, other.c, extra_sd)
    own, shares, curve = [], [], []
    for secant, side in zip((one, other), pair, strict=True):
        offset = side.offset
        assert offset is not None
        moved = secant.c.value + secant.per_offset * (common.value - offset.value)
        if moved <= 0.0:
            return ratio_of(one.c, other.c, extra_sd)
        rest = (
            (secant.c.upper_sd if secant.c.low <= 0.0 else secant.c.sd) ** 2
            - (secant.per_offset * offset.sd) ** 2
            - secant.scattered**2
        )
        own.append(Estimate.from_log_sd(moved, secant.scattered / moved, secant.c.unit))
        shares.append(secant.per_offset / moved)
        curve.append(math.sqrt(max(rest, 0.0)) / moved)
    alike = ALIKE_BETWEEN if _same_speeds(*pair) else 0.0
    between = curve[0] ** 2 + curve[1] ** 2 - 2.0 * alike * curve[0] * curve[1]
    shared = (shares[1] - shares[0]) * common.sd
    apart = common.apart * math.hypot(*shares) / math.sqrt(2.0)
    return ratio_of(own[0], own[1], math.sqrt(extra_sd**2 + between + shared**2 + apart**2))


def own_zeta(side: SideFit) -> Estimate | None:
    """Give the ratio without what of its doubt every test of the corner has in common: that cancels in a change.

    An interval without two positive bounds is left as it is.
    """
    zeta = side.zeta
    if zeta is None or zeta.log_sd == 0.0 or not math.isfinite(zeta.log_sd):
        return zeta
    share = math.sqrt(max(1.0 - (side.zeta_common / zeta.log_sd) ** 2, 0.0))
    low, high = (zeta.value * (bound / zeta.value) ** share for bound in (zeta.low, zeta.high))
    return Estimate(zeta.value, low, high, zeta.unit)


def log_spread(estimate: Estimate) -> float:
    """Relative standard deviation of an `estimate` > 0 on logarithms.

    An interval that reaches down to zero knows only how much there is at most: its upper half counts. Infinite
    when it has no upper bound either.
    """
    if math.isfinite(estimate.log_sd) or not math.isfinite(estimate.high):
        return estimate.log_sd
    return math.log(estimate.high / estimate.value) / NORMAL_95


def ratio_of(before: Estimate, after: Estimate, extra_sd: float) -> Estimate:
    """After over before, both > 0, with its 95 % interval.

    Damping that may be zero afterwards leaves the interval without a lower bound (0), damping that may have been
    zero before without an upper one (infinity).
    """
    value = after.value / before.value
    sd = math.sqrt(log_spread(before) ** 2 + log_spread(after) ** 2 + extra_sd**2)
    if math.isinf(sd):
        return Estimate(value, 0.0, math.inf, "1")
    ratio = Estimate.from_log_sd(value, sd, "1")
    low = ratio.low if math.isfinite(after.log_sd) else 0.0
    return Estimate(value, low, ratio.high if math.isfinite(before.log_sd) else math.inf, "1")


def common_sd(before: SideFit, after: SideFit, speed: float) -> float:
    """Relative standard deviation of both secants at `speed` that unknown friction and gas force put on both alike."""
    one, other = _secant(before, speed), _secant(after, speed)
    common = common_offset(before, after)
    if one is None or other is None or common is None:
        return 0.0
    return min(abs(s.per_offset) * common.sd / s.c.value for s in (one, other) if s.c.value > 0)


def changes(before: SideFit, after: SideFit, extra_sd: float) -> tuple[ChangeAt, ...]:
    """Ratio at every reference speed both sides hold, in rising order; empty when there is none."""
    held_before, held_after = _held(before), _held(after)
    shared = sorted((s for s in held_before if s in held_after), key=lambda s: -1.0 if s is None else s)
    pair = before, after
    return tuple(ChangeAt(s, ratio_at(pair, s, (held_before[s], held_after[s]), extra_sd)) for s in shared)


def ratio_at(
    pair: tuple[SideFit, SideFit],
    speed: float | None,
    held: tuple[Estimate, Estimate],
    extra_sd: float,
) -> Estimate:
    """After over before at one speed (None: of a bounce); `held` is what each side of the pair says there, > 0."""
    one, other = (_secant(side, speed) for side in pair)
    if one is None or other is None:
        return ratio_of(*held, extra_sd)
    return _ratio_of_points(one, other, pair, extra_sd)


def _secant(side: SideFit, speed: float | None) -> Secant | None:
    return next((s for s in side.secant if s.speed == speed), None)
