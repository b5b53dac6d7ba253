"""The mistakes that are made with the numbers of a corner, in one list: which number, how far off, how often.

Takes nothing; gives `MISTAKES`. How often each is made is common practice, no source.
"""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

from tuner.units import GRAVITY

Key = Literal["sprung_mass", "spring_rate", "motion_ratio", "tyre_rate"]

POUND = 0.45359237  # kg
KGF = GRAVITY  # N
LBF_PER_INCH = POUND * GRAVITY / 0.0254  # N/m


class Mistake(NamedTuple):
    """A number given wrong. factor : the right one over the given one; None: a ratio the wrong way round.

    spread : standard deviation of the logarithm of that factor; often : share of corners in which it is made.
    """

    code: str
    key: Key
    factor: float | None
    spread: float
    often: float


INVERTED = "ratio-inverted"

# a corner carries a quarter of a machine give or take a fifth, half an axle give or take a twentieth
MISTAKES: tuple[Mistake, ...] = (
    Mistake(INVERTED, "motion_ratio", None, 0.0, 0.02),
    Mistake("mass-of-axle", "sprung_mass", 0.5, 0.05, 0.02),
    Mistake("mass-of-machine", "sprung_mass", 0.25, 0.2, 0.02),
    Mistake("spring-in-n-per-mm-as-n-per-m", "spring_rate", 1000.0, 0.0, 0.004),
    Mistake("spring-in-lbf-per-in-as-n-per-m", "spring_rate", LBF_PER_INCH, 0.0, 0.003),
    Mistake("spring-in-n-per-m-as-n-per-mm", "spring_rate", 1e-3, 0.0, 0.003),
    Mistake("spring-in-lbf-per-in-as-n-per-mm", "spring_rate", LBF_PER_INCH / 1e3, 0.0, 0.006),
    Mistake("spring-in-n-per-mm-as-lbf-per-in", "spring_rate", 1e3 / LBF_PER_INCH, 0.0, 0.006),
    Mistake("spring-in-kgf-per-mm-as-n-per-mm", "spring_rate", KGF, 0.0, 0.004),
    Mistake("mass-in-lb-as-kg", "sprung_mass", POUND, 0.0, 0.005),
    Mistake("mass-in-kg-as-lb", "sprung_mass", 1.0 / POUND, 0.0, 0.005),
    Mistake("tyre-in-lbf-per-in-as-n-per-mm", "tyre_rate", LBF_PER_INCH / 1e3, 0.0, 0.004),
    Mistake("tyre-in-n-per-mm-as-lbf-per-in", "tyre_rate", 1e3 / LBF_PER_INCH, 0.0, 0.004),
    Mistake("tyre-in-kgf-per-mm-as-n-per-mm", "tyre_rate", KGF, 0.0, 0.002),
    # off by a factor that no mistake above makes: misread, guessed, of another part
    Mistake("mass-off", "sprung_mass", 1.0, 0.5, 0.01),
    Mistake("spring-off", "spring_rate", 1.0, 0.5, 0.01),
    Mistake("ratio-off", "motion_ratio", 1.0, 0.3, 0.01),
)


def log_factor(mistake: Mistake, ratio: float) -> float:
    """Logarithm of the right number over the given one, on a corner with that motion `ratio`."""
    return -2.0 * math.log(ratio) if mistake.factor is None else math.log(mistake.factor)
