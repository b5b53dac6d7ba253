"""Differences of two groups of numbers with the interval that their scatter allows.

Takes values of single runs, jumps or stretches; gives estimates.

Welch's t with the Welch-Satterthwaite degrees of freedom (B. L. Welch, *Biometrika* 34, 1947); where only one group has
several members, its scatter stands for both (Student).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from tuner.comparing.verdict import SEEN_CHANGE
from tuner.estimates import NORMAL_95, Estimate, Note, student_95
from tuner.fitting.measures import mean_over


def difference_of(before: Sequence[Estimate], after: Sequence[Estimate], unit: str) -> Estimate | None:
    """Mean after minus mean before; the interval from the scatter within each group, never below their own errors.

    At least one member each. None with a single member on both sides: how far two of them differ is not known then.
    """
    one, other = ([e.value for e in group] for group in (before, after))
    value = float(np.mean(other) - np.mean(one))
    own = math.sqrt(sum(_own_variance(group) for group in (before, after)))
    if max(len(one), len(other)) < 2:
        return None
    if min(len(one), len(other)) >= 2:
        parts = [float(np.var(x, ddof=1)) / len(x) for x in (one, other)]
        variance = sum(parts)
        squares = sum(p**2 / (len(x) - 1) for p, x in zip(parts, (one, other), strict=True))
        freedom = variance**2 / squares if squares > 0 else math.inf
    else:
        several = one if len(one) > 1 else other
        variance = float(np.var(several, ddof=1)) * (1.0 / len(one) + 1.0 / len(other))
        freedom = len(several) - 1.0
    half = max(student_95(freedom) * math.sqrt(variance), NORMAL_95 * own)
    open_low = any(math.isinf(e.high) for e in before)
    open_high = any(math.isinf(e.high) for e in after)
    return Estimate(
        value, -math.inf if open_low else value - half, math.inf if open_high else value + half, unit
    )


def mean_difference(differences: Sequence[float], unit: str) -> Estimate | None:
    """Mean of paired differences with Student's interval; None with fewer than three."""
    clean = [d for d in differences if math.isfinite(d)]
    if len(clean) < 3:
        return None
    return mean_over([Estimate.exact(difference, unit) for difference in clean])


def wider(one: Estimate | None, other: Estimate | None) -> Estimate | None:
    """Give the estimate of one quantity with the wider interval; the known one where only one is."""
    if one is None or other is None:
        return other if one is None else one
    return one if one.high - one.low >= other.high - other.low else other


def apart(one: Estimate, other: Estimate) -> Estimate:
    """Other minus one, independent, by their own intervals alone."""
    value = other.value - one.value
    down = math.hypot(other.value - other.low, one.high - one.value)
    up = math.hypot(other.high - other.value, one.value - one.low)
    return Estimate(value, value - down, value + up, other.unit)


def clear(difference: Estimate | None, before: Estimate) -> bool | None:
    """Say whether a difference is there for certain (True), small for certain (False), or neither (None).

    Small is a change of the value before by less than a quarter, either way, as for damping.
    """
    if difference is None:
        return None
    if not difference.contains(0.0):
        return True
    most = max(abs(difference.low), abs(difference.high))
    return False if most < (SEEN_CHANGE - 1.0) * abs(before.value) else None


def unseen(changed: bool | None) -> tuple[Note, ...]:
    """Give the reason why a difference that is known cannot be called clear or small; none for any other."""
    return (Note("too-wide"),) if changed is None else ()


def _own_variance(group: Sequence[Estimate]) -> float:
    """Variance of a group's mean from what its members say of themselves."""
    return sum(e.sd**2 for e in group if math.isfinite(e.sd)) / len(group) ** 2
