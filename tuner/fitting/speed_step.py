"""From the speed at which a bounce shows a side to the speed of a band: how much the damping may differ there.

Takes a side and two speeds, and the bench fit of the same damper where there is one; gives a `SpeedStep`.

The step is ln(secant there / secant here), per unit of ln(there / here) a slope. Where no curve of this very damper
tells it, it is normal with the mean and standard deviation below: common practice, no source. They are set between two
populations of ordinary dampers, digressive ones more common than progressive: random valves with bleed, shims and
port, 7 of 10 digressive with a knee at 0.10 to 0.45 m/s (slope from 0.13 m/s up to 0.26: mean -0.05, sd 0.19; from
0.20: -0.08, 0.23; from 0.35 down: -0.14, 0.26), and pairs of lines with knees at 0.08 to 0.5 m/s whose slopes fall to
0.2-0.7 (7 of 10) or rise to 1.1-1.6 (-0.11, 0.23). Their long tail is on the side of the softer damper.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tuner.estimates import NORMAL_95, Estimate
from tuner.fitting.results import Curve, SideFit
from tuner.laws import Line

USUAL_UP = (-0.12, 0.20)  # mean and sd of the slope where the band is at the higher speed
USUAL_DOWN = (-0.15, 0.22)  # where the bounce was faster than the band
USUAL_BOUNCE = (
    0.15  # speed at the shaft that a bounce shows where no motion ratio tells it [m/s]: often 0.1 to 0.2
)
SAME_SPEED = 0.01  # on logarithms; nearer speeds are one


@dataclass(frozen=True, slots=True)
class SpeedStep:
    """ln(secant at `there` / secant at `here`), speeds at the shaft [m/s].

    shift : its mean. sd_own : standard deviation of what a curve of this damper says of it. sd_usual : of what only
    ordinary dampers say of it, which two tests of one damper have in common. told_by : what gives the curve.
    assumed : the record does not tell `here`.
    """

    here: float
    there: float
    shift: float
    sd_own: float
    sd_usual: float
    told_by: Literal["usual dampers", "its own curve", "the bench"]
    assumed: bool = False

    @property
    def sd(self) -> float:
        """Standard deviation of the whole step."""
        return math.hypot(self.sd_own, self.sd_usual)

    def moved(self, here: Estimate) -> Estimate:
        """Carry a positive estimate at `here` over to `there`; each half of its interval on logarithms."""
        value, half = here.value * math.exp(self.shift), NORMAL_95 * self.sd
        low = 0.0
        if here.low > 0:
            low = value * math.exp(-math.hypot(math.log(here.value / here.low), half))
        high = math.inf
        if math.isfinite(here.high):
            high = value * math.exp(math.hypot(math.log(here.high / here.value), half))
        return Estimate(value, low, high, here.unit)


def secant_on(curve: Curve, speed: float) -> Estimate | None:
    """Give the secant [N*s/m] of a curve at a `speed` > 0 [m/s]; None outside its range, or where it is not > 0."""
    if speed < curve.speed[0] or speed > curve.speed[-1] * (1.0 + 1e-9):
        return None
    value, low, high = (
        float(np.interp(speed, curve.speed, y)) / speed for y in (curve.force, curve.low, curve.high)
    )
    return Estimate(value, min(low, value), max(high, value), "N*s/m") if value > 0 else None


def speed_step(side: SideFit, there: float, bench: SideFit | None = None) -> SpeedStep | None:
    """Give the step from the speed a bounce shows to `there` > 0 [m/s]; None where that is the same, or no bounce.

    The curve of `bench` (same damper, same state) tells it as far as it reaches, else the side's own where its law
    bends, within the tested range; ordinary dampers tell the rest.
    """
    if side.zeta is None:
        return None
    assumed = side.zeta_speed is None
    here = USUAL_BOUNCE if side.zeta_speed is None else side.zeta_speed
    if abs(math.log(there / here)) <= SAME_SPEED:
        return None
    shift, sd, first, last = 0.0, 0.0, here, here
    told_by: Literal["usual dampers", "its own curve", "the bench"] = "usual dampers"
    own = side.curve if side.law is not None and not isinstance(side.law, Line) else None
    curve = bench.curve if bench is not None and bench.curve is not None else own
    found = None if curve is None or assumed else _along(curve, here, there)
    if found is not None:
        one, other, first, last = found
        shift = math.log(other.value / one.value)
        if curve is own:  # what the own curve leaves open at `here` stands in the ratio already
            sd = math.sqrt(max(other.log_sd**2 - one.log_sd**2, 0.0))
            told_by = "its own curve"
        else:
            sd = math.hypot(one.log_sd, other.log_sd)
            told_by = "the bench"
    rest = math.log(there / last) + math.log(first / here)
    slope, spread = USUAL_UP if there > here else USUAL_DOWN
    return SpeedStep(here, there, shift + slope * rest, sd, spread * abs(rest), told_by, assumed)


def _along(curve: Curve, here: float, there: float) -> tuple[Estimate, Estimate, float, float] | None:
    """Give the secants at both ends of the part of the way that a curve covers, and these ends."""
    known = curve.speed[curve.speed > 0]
    if not len(known):
        return None
    first, last = (float(np.clip(v, known[0], known[-1])) for v in (here, there))
    one, other = secant_on(curve, first), secant_on(curve, last)
    if (
        first == last
        or one is None
        or other is None
        or not all(map(math.isfinite, (one.log_sd, other.log_sd)))
    ):
        return None
    return one, other, first, last
