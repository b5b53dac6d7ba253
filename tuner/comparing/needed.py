"""How much more or less damping would bring a side into its band.

Takes a damping ratio, or a judged side, and a band; gives factors on the damping.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tuner.estimates import Estimate
from tuner.judging import JudgedSide


@dataclass(frozen=True, slots=True)
class Needed:
    """Factors on the damping [-] that would bring a ratio to the lower and to the upper edge of its band."""

    to_low: Estimate
    to_high: Estimate

    @property
    def surely_inside(self) -> tuple[float, float] | None:
        """Least and most factor that bring the ratio inside whatever it is of its interval; None where none does."""
        least, most = self.to_low.high, self.to_high.low
        return (least, most) if least < most else None

    @property
    def to_middle(self) -> float:
        """Best guess: the factor to the middle of the band, by proportion."""
        return math.sqrt(self.to_low.value * self.to_high.value)


def needed(zeta: Estimate, band: tuple[float, float]) -> Needed | None:
    """Give what brings a damping ratio to the edges (> 0) of its band [-]; None where the ratio is nothing."""
    if zeta.value <= 0.0:
        return None

    def to(edge: float) -> Estimate:
        least = edge / zeta.high if math.isfinite(zeta.high) else 0.0
        most = edge / zeta.low if zeta.low > 0.0 else math.inf
        return Estimate(edge / zeta.value, least, most, "1")

    return Needed(to(band[0]), to(band[1]))


def needed_of(judged: JudgedSide) -> Needed | None:
    """Give what brings a side to the edges of its band, at the band's speed; None without ratio or band."""
    return None if judged.band is None or judged.at_band is None else needed(judged.at_band, judged.band)
