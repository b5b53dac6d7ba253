"""The verdict on one side: toward the target, away from it, no clear change, or cannot tell.

Takes a ratio, the damping before and after, what is unsure about the corner, and a band; gives a verdict and
the probability behind it.

The distance of zeta to its band is taken on logarithms, d = max(ln(low/zeta), ln(zeta/high), 0). ln zeta before
and after are jointly normal: each has its own part (its fit, and refitting where one run stands alone) and both
share the corner's part (mass, spring, motion ratio), which therefore moves both alike and cannot look
like a change. The probabilities are integrated (Gauss-Legendre over ln zeta before, the conditional of ln zeta after
in closed form), so the same inputs give the same answer to the last digit; scipy.integrate would take 0.29 s to import.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from tuner.comparing.results import Verdict, Way
from tuner.estimates import Array, Estimate
from tuner.judging import INSIDE_SURE, log_of, normal_below

SURE = 0.975  # behind "toward" and "away": the 95 % interval, two-sided, excludes the contrary
SEEN_CHANGE = 1.25  # "no clear change" needs an interval that excludes a rise or fall by this factor
SMALL_CHANGE = 0.10  # its probability is that the true change is smaller than this, either way

_EXACT = 1e-10  # relative standard deviation that stands for a number known exactly
_REACH = 9.0  # standard deviations that the integral covers; 2e-19 lies outside
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)


class Damping(NamedTuple):
    """ln zeta before and after: means, own standard deviations, and the corner's, which both share."""

    before: float
    after: float
    sd_before: float
    sd_after: float
    sd_shared: float


class Chances(NamedTuple):
    """Probability that the distance to the band shrank, grew, or is nil before and after."""

    toward: float
    away: float
    inside: float

    @property
    def likeliest(self) -> Way:
        """The likeliest of the three."""
        named: dict[Way, float] = {"toward": self.toward, "away": self.away, "inside": self.inside}
        return max(named, key=lambda way: named[way])


def _panels(damping: Damping, edges: list[float], slope: float, offset: float, width: float) -> Array:
    """Bounds of the panels of the integral: dense everywhere, and cut where its integrand bends or jumps.

    Along ln zeta before = u, ln zeta after is expected at ``offset + slope u`` with standard deviation `width`.
    """
    sd = max(math.hypot(damping.sd_before, damping.sd_shared), _EXACT)
    first, last = damping.before - _REACH * sd, damping.before + _REACH * sd
    lines = [(slope - 1.0, -offset)]  # as far from the band as before, on the same side
    lines += [(slope + 1.0, sum(edges) - offset)] if all(map(math.isfinite, edges)) else []
    lines += [(slope, edge - offset) for edge in edges if math.isfinite(edge)]
    cuts = [np.linspace(first, last, 49), np.array([e for e in edges if math.isfinite(e)])]
    for gradient, level in lines:
        if abs(gradient) > 1e-9:
            steps = np.array([-_REACH, -4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0, _REACH])
            cuts.append((level + width * steps) / gradient)
    return np.unique(np.clip(np.concatenate(cuts), first, last))


def chances(damping: Damping, band: tuple[float, float]) -> Chances:
    """Give the probabilities for a `band` of zeta (low, high), 0 <= low < high, high may be infinite.

    All standard deviations are finite and >= 0; the three probabilities add up to 1.
    """
    from scipy.special import ndtr

    low, high = log_of(band[0]), log_of(band[1]) if math.isfinite(band[1]) else math.inf
    own_before, own_after = max(damping.sd_before, _EXACT), max(damping.sd_after, _EXACT)
    variance = own_before**2 + damping.sd_shared**2
    slope = damping.sd_shared**2 / variance
    offset = damping.after - slope * damping.before
    width = math.sqrt(own_after**2 + damping.sd_shared**2 * own_before**2 / variance)
    bounds = _panels(damping, [low, high], slope, offset, width)
    half = 0.5 * np.diff(bounds)[:, np.newaxis]
    u = (half * _NODES + 0.5 * (bounds[1:] + bounds[:-1])[:, np.newaxis]).ravel()
    sd = math.sqrt(variance)
    density = np.exp(-0.5 * ((u - damping.before) / sd) ** 2) / (sd * math.sqrt(2.0 * math.pi))
    weight = (half * _WEIGHTS).ravel() * density
    distance = np.maximum(np.maximum(low - u, u - high), 0.0)
    expected = offset + slope * u
    nearer = ndtr((high + distance - expected) / width) - ndtr((low - distance - expected) / width)
    outside = distance > 0
    toward = float(np.sum(weight[outside] * nearer[outside]))
    inside = float(np.sum(weight[~outside] * nearer[~outside]))
    toward, inside = min(max(toward, 0.0), 1.0), min(max(inside, 0.0), 1.0)
    return Chances(toward, max(0.0, 1.0 - toward - inside), inside)


def within(ratio: Estimate, tolerance: float) -> float:
    """Probability that a true ratio lies within ``1 + tolerance`` either way, normal on logarithms."""
    middle, edge, sd = math.log(ratio.value), math.log1p(tolerance), ratio.log_sd
    if sd == 0.0:
        return 1.0 if abs(middle) <= edge else 0.0
    if math.isinf(sd):
        return 0.0
    return normal_below((edge - middle) / sd) - normal_below((-edge - middle) / sd)


def excludes_one(ratio: Estimate) -> bool:
    """Say whether the 95 % interval excludes "no change"."""
    return not ratio.contains(1.0)


def shows_no_change(ratio: Estimate) -> bool:
    """Say whether the 95 % interval holds 1 and excludes a rise and a fall by `SEEN_CHANGE`."""
    return not excludes_one(ratio) and ratio.low > 1.0 / SEEN_CHANGE and ratio.high < SEEN_CHANGE


def decide(ratio: Estimate, chance: Chances | None) -> tuple[Verdict, float | None]:
    """Give the verdict and the probability behind it; `chance` None where band or zeta is unknown.

    "no clear change": the interval of the ratio holds 1 and excludes a change by 25 % either way (probability:
    that the true change is under 10 %), or both stand inside the band (probability: that they do).
    """
    if chance is not None and chance.toward >= SURE:
        return "toward", chance.toward
    if chance is not None and chance.away >= SURE:
        return "away", chance.away
    if shows_no_change(ratio):
        return "no clear change", within(ratio, SMALL_CHANGE)
    if chance is not None and chance.inside >= INSIDE_SURE:
        return "no clear change", chance.inside
    return "cannot tell", None if chance is None else max(chance)
