"""Numbers with their uncertainty, and doubts with their code.

Takes values with a standard deviation, an interval or draws; gives `Estimate` and `Note`.

Every interval is a 95 % interval. Positive quantities that are multiplied and divided (damping, rates,
masses) are carried on logarithms, where a ratio becomes a difference.

No interval of a quantity that cannot be negative reaches below zero. One that cannot be nothing either (a time in the
air, a peak, an energy) is spread on logarithms, a share on logits, by the delta method (A. Agresti, *Categorical Data
Analysis*, sec. 3.1, from memory): `above_zero`, `within_one`. One that may well be nothing (friction, a dead stroke,
damping that hardly shows) has no logarithm at nothing: its plain interval is cut at zero, which leaves out values that
cannot be and so holds the truth as often as before: `not_negative`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tuner.errors import RecordError, require

Array = NDArray[np.float64]

COVERAGE = 0.95
TELLS = (
    6.0  # a positive quantity that is open by more than this factor is not known; common practice, no source
)
NORMAL_95 = 1.959963984540054  # two-sided 95 % point of the normal distribution


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its 95 % interval; as text ``1520 (1480 to 1560) N*s/m``, the interval picks the digits.

    Attributes
    ----------
    value, low, high : float
        ``low <= value <= high``; all finite, except that a bound may be infinite where the record sets none.
    unit : str
        SI unit as text (``"N*s/m"``), ``"1"`` for a pure number.
    """

    value: float
    low: float
    high: float
    unit: str

    def __post_init__(self) -> None:
        require(math.isfinite(self.value), "value", "finite", self.value)
        require(
            not (math.isnan(self.low) or math.isnan(self.high)),
            "interval",
            "two numbers",
            (self.low, self.high),
        )
        slack = 1e-9 * max(abs(self.value), 1e-300)
        require(
            self.low <= self.value + slack and self.value - slack <= self.high,
            "interval",
            "around the value",
            (self.low, self.value, self.high),
        )

    def __str__(self) -> str:
        unit = "" if self.unit == "1" else f" {self.unit}"
        half = (self.high - self.low) / 2.0
        if not (math.isfinite(half) and half > 0.0):
            bounds = "" if half == 0.0 else f" ({self.low:.3g} to {self.high:.3g})"
            return f"{self.value:.4g}{bounds}{unit}"
        places = 1 - math.floor(math.log10(half))
        value, low, high = (
            f"{round(x, places) + 0.0:.{max(places, 0)}f}" for x in (self.value, self.low, self.high)
        )
        return f"{value} ({low} to {high}){unit}"

    def __repr__(self) -> str:
        return f"Estimate({self})"

    @classmethod
    def exact(cls, value: float, unit: str) -> Estimate:
        """Give a value taken as known without error."""
        return cls(float(value), float(value), float(value), unit)

    @classmethod
    def from_sd(cls, value: float, sd: float, unit: str, *, df: float = math.inf) -> Estimate:
        """Give a symmetric interval from a standard deviation, Student's t with `df` degrees of freedom."""
        half = student_95(df) * sd
        return cls(float(value), float(value - half), float(value + half), unit)

    @classmethod
    def from_log_sd(cls, value: float, log_sd: float, unit: str, *, df: float = math.inf) -> Estimate:
        """Give an interval that is symmetric on logarithms; `value` > 0, `log_sd` is a relative error."""
        require(value > 0, "value", "positive", value)
        factor = math.exp(min(student_95(df) * log_sd, 700.0))
        return cls(float(value), float(value / factor), float(value * factor), unit)

    @classmethod
    def from_draws(cls, draws: Array, unit: str, *, value: float | None = None) -> Estimate:
        """Give the median (or `value`) with the central 95 % of `draws`, shape (n,)."""
        clean = np.asarray(draws, dtype=float)
        clean = clean[np.isfinite(clean)]
        require(clean.size > 0, "draws", "at least one finite number", clean.size)
        low, middle, high = (float(q) for q in np.quantile(clean, [0.025, 0.5, 0.975]))
        centre = middle if value is None else float(value)
        return cls(centre, min(low, centre), max(high, centre), unit)

    @classmethod
    def above_zero(cls, value: float, half: float, unit: str) -> Estimate:
        """Give an interval of a positive quantity from its plain half width, ``value * exp(+-half/value)``.

        `value` = 0, a mean of nothing but zeros, is left with the plain upper half.
        """
        if value <= 0.0:
            return cls(0.0, 0.0, float(half), unit)
        factor = math.exp(min(half / value, 700.0))
        return cls(float(value), float(value / factor), float(value * factor), unit)

    @classmethod
    def within_one(cls, value: float, half: float) -> Estimate:
        """Give an interval of a share in [0, 1] from its plain half width, symmetric on logits.

        A share of nothing or of all has no logit: the plain interval is cut at its end.
        """
        if not 0.0 < value < 1.0:
            return cls(float(value), max(value - half, 0.0), min(value + half, 1.0), "1")
        odds, spread = value / (1.0 - value), math.exp(min(half / (value * (1.0 - value)), 300.0))
        low, high = odds / spread, odds * spread
        return cls(float(value), low / (1.0 + low), high / (1.0 + high), "1")

    def not_negative(self) -> Estimate:
        """Cut the interval at zero, for a quantity that cannot be negative but may be nothing."""
        return Estimate(max(self.value, 0.0), max(self.low, 0.0), max(self.high, 0.0), self.unit)

    @property
    def sd(self) -> float:
        """Standard deviation of the normal distribution with this 95 % interval."""
        return (self.high - self.low) / (2.0 * NORMAL_95)

    @property
    def upper_sd(self) -> float:
        """Standard deviation by the upper half alone: of an interval that was cut at zero."""
        return (self.high - self.value) / NORMAL_95

    @property
    def log_sd(self) -> float:
        """Relative standard deviation on logarithms; infinite where the interval reaches zero."""
        if self.low == self.high:
            return 0.0
        if self.low <= 0.0 or not math.isfinite(self.high):
            return math.inf
        return math.log(self.high / self.low) / (2.0 * NORMAL_95)

    @property
    def tells(self) -> bool:
        """Say whether the interval of a positive quantity says anything: above zero, and within `TELLS` end to end."""
        return self.low > 0.0 and self.high <= TELLS * self.low

    def contains(self, value: float) -> bool:
        """Say whether the interval holds `value`."""
        return self.low <= value <= self.high

    def scaled(self, factor: float, unit: str | None = None) -> Estimate:
        """Multiply value and interval by an exactly known `factor` (a negative one swaps the bounds)."""
        bounds = sorted((self.low * factor, self.high * factor))
        return Estimate(self.value * factor, bounds[0], bounds[1], self.unit if unit is None else unit)


@dataclass(frozen=True, slots=True, init=False)
class Note:
    """A doubt, a remark or a reason as data: a stable code and the facts it speaks of; `wording` makes the sentence.

    Facts with a unit are estimates in SI (`Estimate.exact` where no interval belongs to them), shares are floats. Facts
    by these names say where: ``of`` (which of two runs, or of two sides), ``file``, ``side``. `case` tells apart what
    is said in several ways under one code.
    """

    code: str
    case: str
    items: tuple[tuple[str, Any], ...]

    def __init__(self, code: str, *, case: str = "", **facts: Any) -> None:
        """Keep the facts by name, those that are None left out."""
        known = tuple((name, fact) for name, fact in facts.items() if fact is not None)
        for name, value in (("code", code), ("case", case), ("items", known)):
            object.__setattr__(self, name, value)

    @property
    def facts(self) -> dict[str, Any]:
        """The facts by name."""
        return dict(self.items)

    def but(self, **facts: Any) -> Note:
        """Give the same note with other or further facts."""
        return Note(self.code, case=self.case, **{**self.facts, **facts})


def student_95(df: float) -> float:
    """Two-sided 95 % point of Student's t with `df` > 0 degrees of freedom (normal when infinite)."""
    if math.isinf(df):
        return NORMAL_95
    from scipy.special import stdtrit

    return float(stdtrit(df, 0.5 + COVERAGE / 2.0))


def product(terms: Iterable[tuple[Estimate, float]], unit: str) -> Estimate:
    """Multiply independent positive estimates, each raised to a power: value_1^p_1 * value_2^p_2 ...

    Relative errors add in quadrature on logarithms. Raises RecordError when a value is not positive.
    """
    log_value, variance = 0.0, 0.0
    for estimate, power in terms:
        if estimate.value <= 0:
            raise RecordError(f"every factor must be positive; got {estimate.value:g} {estimate.unit}")
        log_value += power * math.log(estimate.value)
        variance += (power * estimate.log_sd) ** 2
    return Estimate.from_log_sd(math.exp(log_value), math.sqrt(variance), unit)
