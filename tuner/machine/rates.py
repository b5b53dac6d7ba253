"""The corner as one mass on its spring: wheel rate, frequency, critical damping, the handbook damping ratio.

Takes a corner (and a damping coefficient); gives estimates, every input's uncertainty carried once.

k_wheel = k r^2 + F dr/dz, the derivative of the wheel's force F r (Barton & Fieldhouse, *Automotive Chassis
Engineering*, 3.9.2.1 for the first term); f = sqrt(k_wheel/m)/(2 pi); c_crit = 2 sqrt(k_wheel m);
zeta = c r^2/c_crit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from tuner.errors import MachineError
from tuner.estimates import NORMAL_95, Estimate
from tuner.machine.linkage import AtRest, at_rest, rest_inputs
from tuner.machine.parts import Corner
from tuner.machine.propagation import propagate
from tuner.units import GRAVITY


def rate_at_wheel(rest: AtRest) -> float:
    """Wheel rate [N/m] of a corner at rest: k r^2 + F dr/dz, F = m g / r being what holds the corner up."""
    force = rest.sprung_mass * GRAVITY / rest.ratio
    rate = rest.spring_rate * rest.ratio**2 + force * rest.ratio_change
    if rate <= 0:
        raise MachineError(
            f"the wheel rate must be positive; the falling motion ratio makes it {rate:g} N/m at rest",
            hint="Check the table: wheel travel first, damper travel second, both from full droop.",
        )
    return rate


def wheel_rate(corner: Corner) -> Estimate:
    """Wheel rate at rest [N/m]."""
    return propagate(lambda *v: rate_at_wheel(at_rest(corner, v)), rest_inputs(corner), "N/m")


def spring_force_at_rest(corner: Corner) -> Estimate:
    """Force [N] along the damper that holds the corner up at rest, m g / r (springs and gas together)."""

    def force(*values: float) -> float:
        rest = at_rest(corner, values)
        return rest.sprung_mass * GRAVITY / rest.ratio

    return propagate(force, rest_inputs(corner), "N")


def frequency(corner: Corner, tyre: bool = False) -> Estimate:
    """Natural frequency [Hz] of the sprung mass on its wheel rate, with `tyre` on spring and tyre in series.

    Raises MachineError when `tyre` is asked for and the tyre rate is unknown.
    """
    inputs = rest_inputs(corner)
    if tyre:
        if corner.tyre_rate is None:
            raise MachineError(
                f"tyre_rate of corner {corner.name!r} must be known for the frequency with tyre; got none",
                hint='Add tyre_rate, e.g. "70 N/mm +- 20 %": wheel load over how far it squashes the tyre.',
            )
        inputs = [*inputs, corner.tyre_rate]

    def hertz(*values: float) -> float:
        rest = at_rest(corner, values)
        rate = rate_at_wheel(rest)
        if tyre:
            rate = rate * values[-1] / (rate + values[-1])
        return math.sqrt(rate / rest.sprung_mass) / (2.0 * math.pi)

    return propagate(hertz, inputs, "Hz")


def _critical(corner: Corner, values: Sequence[float]) -> tuple[AtRest, float]:
    rest = at_rest(corner, values)
    return rest, 2.0 * math.sqrt(rate_at_wheel(rest) * rest.sprung_mass)


def critical_damping(corner: Corner) -> Estimate:
    """Critical damping at the wheel [N*s/m], 2 sqrt(k_wheel m)."""
    return propagate(lambda *v: _critical(corner, v)[1], rest_inputs(corner), "N*s/m")


def _zeta_per_c(corner: Corner) -> Estimate:
    """Damping ratio per N*s/m at the damper: r^2/c_crit = r/(2 sqrt(k m)) for a constant ratio."""

    def ratio(*values: float) -> float:
        rest, critical = _critical(corner, values)
        return rest.ratio**2 / critical

    return propagate(ratio, rest_inputs(corner), "m/(N*s)")


def handbook_zeta(c: Estimate, corner: Corner) -> Estimate:
    """Damping ratio c r^2/c_crit [-] of a damping coefficient `c` [N*s/m] at the damper.

    `c` counts as independent of the corner; spring rate, mass and ratio enter once each, so what cancels
    (one r of r^2 against the wheel rate's) cancels in the interval too. A `c` whose interval reaches zero
    is carried on the plain scale instead of logarithms, and so is its ratio.
    """
    per_c = _zeta_per_c(corner)
    value = c.value * per_c.value
    if c.low > 0:
        relative = math.hypot(c.log_sd, per_c.log_sd)
        return Estimate.from_log_sd(value, relative, "1")
    own = NORMAL_95 * per_c.log_sd * value
    low = value - math.hypot((c.value - c.low) * per_c.value, own)
    high = value + math.hypot((c.high - c.value) * per_c.value, own)
    return Estimate(value, low, high, "1").not_negative()
