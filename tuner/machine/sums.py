"""Sums of the workshop: coil and stacked rates, sag, height of the centre of gravity, pitch inertia.

Takes estimates; gives estimates with every input's uncertainty carried.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from tuner.errors import MachineError, require
from tuner.estimates import Estimate
from tuner.machine.parts import Body, positive
from tuner.machine.propagation import propagate
from tuner.units import GRAVITY

# spring steel, about 80 GPa on the usual reference pages; +-3 % covers what tables of spring steels give
SPRING_STEEL = Estimate(80e9, 77.6e9, 82.4e9, "Pa")
# k^2 = factor a b: 0.8 to 1.0, common practice, no source
PITCH_FACTOR = Estimate(0.9, 0.8, 1.0, "1")


def coil_rate(
    wire: Estimate, mean_diameter: Estimate, active_coils: Estimate, shear_modulus: Estimate = SPRING_STEEL
) -> Estimate:
    """Rate of a coil spring [N/m], k = G d^4 / (8 D^3 n).

    wire d and mean_diameter D (middle of wire to middle of wire, not outside) [m], active_coils n (those that
    move, not all) [-], shear_modulus G [Pa]. Pytel & Singer, *Strength of Materials*, helical springs.
    """
    for name, value in (("wire", wire), ("mean_diameter", mean_diameter), ("active_coils", active_coils)):
        positive(value, name)
    require(
        wire.value < mean_diameter.value / 2.0,
        "wire",
        f"thinner than half the mean diameter ({mean_diameter.value:g} m)",
        f"{wire.value:g} m",
        error=MachineError,
        hint="wire is the thickness of the wire, mean_diameter the coil's, both in the same kind of unit.",
    )
    return propagate(
        lambda d, D, n, G: G * d**4 / (8.0 * D**3 * n),
        [wire, mean_diameter, active_coils, shear_modulus],
        "N/m",
    )


def stacked_rate(rates: Sequence[Estimate]) -> Estimate:
    """Rate [N/m] of springs stacked end to end, 1/k = sum of 1/k_i, while none of them is coil bound."""
    require(len(rates) > 0, "springs", "at least one spring", "none", error=MachineError)
    for number, rate in enumerate(rates, 1):
        positive(rate, f"spring {number}")
    return propagate(lambda *k: 1.0 / sum(1.0 / each for each in k), rates, "N/m")


def sprung_from_scale(scale_reading: Estimate, unsprung_mass: Estimate) -> Estimate:
    """Sprung mass of one corner [kg]: what a scale under its wheel shows, less what does not ride on the spring."""
    for name, value in (("scale_reading", scale_reading), ("unsprung_mass", unsprung_mass)):
        positive(value, name)
    require(
        unsprung_mass.value < scale_reading.value,
        "unsprung_mass",
        f"smaller than what the scale shows ({scale_reading.value:g} kg)",
        f"{unsprung_mass.value:g} kg",
        error=MachineError,
    )
    return propagate(lambda whole, below: whole - below, [scale_reading, unsprung_mass], "kg")


def front_share_of(front: Estimate, rear: Estimate) -> Estimate:
    """Share of the sprung mass in front [-], from one corner of each axle [kg], both sides alike."""
    return propagate(lambda a, b: a / (a + b), [front, rear], "1")


def frequency_from_sag(sag: Estimate) -> Estimate:
    """Frequency [Hz] from the static deflection at the wheel [m], sqrt(g/sag)/(2 pi).

    For a linear spring without preload (Gillespie's 188/sqrt(inches) cycles a minute).
    """
    positive(sag, "sag")
    return propagate(lambda s: math.sqrt(GRAVITY / s) / (2.0 * math.pi), [sag], "Hz")


def cg_height_by_raising(
    wheelbase: Estimate,
    total_mass: Estimate,
    level_mass: Estimate,
    raised_mass: Estimate,
    lift: Estimate,
    axle_height: Estimate | None = None,
) -> Estimate:
    """Height of the centre of gravity [m] above the axle line, or above the ground with `axle_height`.

    One axle stands on scales, which show level_mass and then raised_mass (both wheels together) while the other
    axle is raised by `lift` [m], suspension locked. H = L dW / (W tan(angle)), sin(angle) = lift / L. Raise at
    least 0.6 m, as body-builder manuals ask, or the difference drowns in the scales' error.
    """
    for name, value in (("wheelbase", wheelbase), ("total_mass", total_mass), ("lift", lift)):
        positive(value, name)
    for name, value in (("level_mass", level_mass), ("raised_mass", raised_mass)):
        positive(value, name)
        require(
            value.value < total_mass.value,
            name,
            f"smaller than the total mass ({total_mass.value:g} kg)",
            f"{value.value:g} kg",
            error=MachineError,
        )
    require(
        lift.value < wheelbase.value,
        "lift",
        f"smaller than the wheelbase ({wheelbase.value:g} m)",
        f"{lift.value:g} m",
        error=MachineError,
    )
    require(
        raised_mass.value > level_mass.value,
        "raised_mass",
        f"larger than level_mass ({level_mass.value:g} kg) - raising the other axle loads this one",
        f"{raised_mass.value:g} kg",
        error=MachineError,
        hint="Read the scale under the axle that stays down.",
    )
    base = axle_height if axle_height is not None else Estimate.exact(0.0, "m")

    def height(length: float, total: float, level: float, raised: float, up: float, axle: float) -> float:
        tangent = up / math.sqrt(max(length**2 - up**2, 1e-12))
        return axle + length * (raised - level) / (total * tangent)

    return propagate(height, [wheelbase, total_mass, level_mass, raised_mass, lift, base], "m")


def pitch_inertia_by_swing(mass: Estimate, pivot_to_cg: Estimate, period: Estimate) -> Estimate:
    """Pitch inertia [kg*m**2] about the centre of gravity from a swing as a compound pendulum.

    J = m g d T^2/(4 pi^2) - m d^2 with d = pivot_to_cg [m] and the period T [s] of small swings.
    """
    for name, value in (("mass", mass), ("pivot_to_cg", pivot_to_cg), ("period", period)):
        positive(value, name)

    def inertia(m: float, d: float, t: float) -> float:
        return m * d * (GRAVITY * (t / (2.0 * math.pi)) ** 2 - d)

    shortest = 2.0 * math.pi * math.sqrt(pivot_to_cg.value / GRAVITY)
    require(
        period.value > shortest,
        "period",
        f"longer than {shortest:.3f} s, that of a point mass {pivot_to_cg.value:g} m below the pivot",
        f"{period.value:g} s",
        error=MachineError,
        hint="The period is one full swing, there and back.",
    )
    return propagate(inertia, [mass, pivot_to_cg, period], "kg*m**2")


def pitch_inertia_from_factor(
    mass: Estimate, to_front: Estimate, to_rear: Estimate, factor: Estimate = PITCH_FACTOR
) -> Estimate:
    """Pitch inertia [kg*m**2] from m k^2 with k^2 = factor a b; default factor: common practice, no source."""
    for name, value in (("mass", mass), ("to_front", to_front), ("to_rear", to_rear), ("factor", factor)):
        positive(value, name)
    return propagate(lambda m, a, b, f: m * f * a * b, [mass, to_front, to_rear, factor], "kg*m**2")


def cg_to_front(body: Body) -> Estimate:
    """Distance [m] of the centre of gravity behind the front axle: given, or (1 - front_share) wheelbase."""
    if body.cg_to_front is not None:
        return body.cg_to_front
    assert body.front_share is not None  # one of the two is always given
    return propagate(lambda length, share: length * (1.0 - share), [body.wheelbase, body.front_share], "m")


def pitch_inertia(body: Body, sprung_mass: Estimate) -> Estimate:
    """Pitch inertia [kg*m**2] of the body of `sprung_mass` [kg] (all corners): given, or from the factor."""
    if body.pitch_inertia is not None:
        return body.pitch_inertia
    assert body.pitch_factor is not None  # one of the two is always given
    given = body.cg_to_front if body.cg_to_front is not None else body.front_share
    assert given is not None
    share = body.cg_to_front is None

    def inertia(mass: float, length: float, place: float, factor: float) -> float:
        front = length * (1.0 - place) if share else place
        return mass * factor * front * (length - front)

    return propagate(inertia, [sprung_mass, body.wheelbase, given, body.pitch_factor], "kg*m**2")
