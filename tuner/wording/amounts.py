"""Amounts of drives and jumps as people read them: signed differences, turning, g, events a minute.

Takes estimates; gives text.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from tuner.estimates import Estimate
from tuner.units import GRAVITY, System
from tuner.wording import figures


class Card(NamedTuple):
    """One thing that a recording says: its name, the figure in a few words, and one sentence about it ("" for none)."""

    name: str
    figure: str
    line: str = ""

    @property
    def sentence(self) -> str:
        """The card as running text."""
        return f"{self.name}: {self.figure}. {self.line}".strip()


def signed(estimate: Estimate, kind: str, system: System) -> str:
    """Write a difference with its sign and unit: ``+4.0 ± 0.2 mm``."""
    text = figures.amount(estimate, kind, system=system)
    return text if text.startswith(("-", "0")) and not estimate.value > 0 else f"+{text}".replace("+-", "-")


def size(estimate: Estimate) -> Estimate:
    """Give the size of an estimate that may be negative, its interval turned with it."""
    return estimate.scaled(-1.0) if estimate.value < 0 else estimate


def turning(rate: Estimate, kind: str, system: System, *, known: bool) -> str:
    """Say which way the nose goes and how fast or far: ``nose down, 42 ± 6 °/s``."""
    text = figures.amount(size(rate), kind, system=system)
    if not known:
        return f"{text}, which way is not known"
    if rate.contains(0.0):
        return (
            f"{text} {'nose up' if rate.value > 0 else 'nose down'} at best guess, which may be none at all"
        )
    return f"nose {'up' if rate.value > 0 else 'down'}, {text}"


def acceleration(estimate: Estimate, system: System) -> str:
    """Write a specific force with its multiple of gravity: ``62 ± 5 m/s² (6.3 g)``."""
    text = figures.amount(estimate, "acceleration", system=system)
    return text if system == "us" else f"{text} ({estimate.value / GRAVITY:.1f} g)"


def per_minute(rate: Estimate) -> str:
    """Write a rate of events: ``1.4 (0.3 to 4.2) a minute``."""
    if rate.value == 0.0:
        return f"none, at most {rate.high:.2g} a minute"
    return f"{bare_per_minute(rate)} a minute"


def bare_per_minute(rate: Estimate) -> str:
    """Write a rate of events, or a difference of rates, for a table: ``1.4 (0.3 to 4.2)``."""
    wide = max(rate.high - rate.low, 1e-9)
    places = max(0, 1 - math.floor(math.log10(wide / 2.0)))
    value, low, high = (
        f"{x:.{places}f}" if round(x, places) else "0" for x in (rate.value, rate.low, rate.high)
    )
    return f"{value} ({low} to {high})"


def signed_per_minute(difference: Estimate) -> str:
    """Write a difference of rates: ``+1.2 (-0.3 to 2.9) a minute``."""
    text = bare_per_minute(difference)
    return f"{'+' if difference.value > 0 and not text.startswith('0 ') else ''}{text} a minute"


def share(estimate: Estimate | None) -> str:
    """Write a share of time as per cent for a table: ``12.1 ± 0.8``."""
    if estimate is None:
        return figures.UNKNOWN
    percent = estimate.scaled(100.0, "%")
    if percent.high < 0.05 and percent.low >= 0:
        return "0"
    return figures.bare(Estimate(percent.value, percent.low, percent.high, "1"), "ratio", "metric")


def seconds(duration: float) -> str:
    """Write how long something took: ``48 s`` or ``3.2 minutes``."""
    return f"{duration:.0f} s" if duration < 90 else f"{duration / 60:.1f} minutes"


def times(count: int) -> str:
    """Write how often: ``once``, ``twice``, ``7 times``."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def finite(estimate: Estimate) -> bool:
    """Say whether both bounds are known."""
    return math.isfinite(estimate.low) and math.isfinite(estimate.high)
