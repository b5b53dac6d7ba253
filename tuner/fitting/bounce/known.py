"""What is known of a corner before its bounce is looked at: tyre, masses, and widths where nobody knows.

Takes a corner or None; gives the prior knowledge of the fit and notes on what was assumed.

Damping is left free: it is what the test is for. Spring and mass give a loose hint of the frequency, so loose that a
record which shows it is not bent.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from tuner.estimates import NORMAL_95, Array, Estimate, Note
from tuner.fitting.bounce.problem import (
    CREEP,
    FRICTION,
    KNEE,
    KNEE_RATIO_C,
    KNEE_RATIO_R,
    KNEE_SPEED,
    MASS_RATIO,
    OMEGA,
    SHARED,
    TYRE,
    TYRE_ZETA,
    WIND,
    ZETA_C,
    ZETA_R,
    Knowledge,
)

if TYPE_CHECKING:
    from tuner.fitting.bounce.motion import Quantity
    from tuner.machine import Corner

# (centre, standard deviation of the logarithm), common practice, no source: wide enough for what is built
ANY_FREQUENCY = (2.0 * math.pi * 1.8, 0.45)
# spring and mass tell the frequency, but a wrong ratio or mass must not win against the record
FREQUENCY_DOUBT = 0.15
ANY_ZETA = (0.4, 1.0)
ANY_FRICTION = 0.65  # root of [m/s**2]: half of all corners below 0.2, one in twenty above 1.6
ANY_MASS_RATIO = (0.25, 0.35)  # unsprung over sprung mass
ANY_TYRE_RATIO = (5.5, 0.4)  # tyre rate over wheel rate
ANY_TYRE_ZETA = (0.006, 0.7)  # fraction of critical of the whole corner on its tyre
GIVEN_TYRE_ZETA = 0.5
# seals and bushes at the wheel: creep at 0.2 to 10 mm/s, wind up over 0.04 to 2 mm (common practice, no source)
ANY_CREEP = (0.0015, 1.0)
ANY_WIND = (0.0003, 1.0)
ANY_HELD = 0.7  # friction over its limit when the hands come off, either way
ANY_KNEE_SPEED = (0.25, 0.7)  # at the wheel [m/s]
ANY_KNEE_RATIO = 0.7
# half width of the 95 % interval of a value that was given without one (common practice, no source)
TYRE_GIVEN_BARE = 0.20
MASS_GIVEN_BARE = 0.05


def _log_sd(value: Estimate, bare: float) -> float:
    return value.log_sd if value.log_sd > 0 else math.log1p(bare) / NORMAL_95


def knowledge_of(corner: Corner | None, *, knee: bool = False) -> tuple[Knowledge, tuple[Note, ...]]:
    """Give what is known of the shared parameters, on their own scales."""
    size = len(SHARED) + (len(KNEE) if knee else 0)
    rows: list[tuple[dict[int, float], float, float]] = []
    notes: list[Note] = []

    def know(parameters: dict[int, float], centre: float, sd: float) -> None:
        rows.append((parameters, math.log(centre), sd))

    if corner is not None:
        from tuner.machine import frequency

        expected = frequency(corner)
        know({OMEGA: 1.0}, 2.0 * math.pi * expected.value, math.hypot(expected.log_sd, FREQUENCY_DOUBT))
    else:
        know({OMEGA: 1.0}, *ANY_FREQUENCY)
    know({ZETA_C: 1.0}, *ANY_ZETA)
    know({ZETA_R: 1.0}, *ANY_ZETA)
    rows.append(({FRICTION: 1.0}, 0.0, ANY_FRICTION))
    know({CREEP: 1.0}, *ANY_CREEP)
    know({WIND: 1.0}, *ANY_WIND)
    unsprung = corner.unsprung_mass if corner is not None else None
    tyre = corner.tyre_rate if corner is not None else None
    if corner is not None and unsprung is not None:
        sd = math.hypot(_log_sd(corner.sprung_mass, MASS_GIVEN_BARE), _log_sd(unsprung, MASS_GIVEN_BARE))
        know({MASS_RATIO: 1.0}, unsprung.value / corner.sprung_mass.value, sd)
    else:
        know({MASS_RATIO: 1.0}, *ANY_MASS_RATIO)
        low, high = (ANY_MASS_RATIO[0] * math.exp(s * NORMAL_95 * ANY_MASS_RATIO[1]) for s in (-1, 1))
        notes.append(Note("unsprung-unknown", low=low, high=high))
    if corner is not None and tyre is not None:
        sd = math.hypot(_log_sd(corner.sprung_mass, MASS_GIVEN_BARE), _log_sd(tyre, TYRE_GIVEN_BARE))
        know({TYRE: 1.0}, tyre.value / corner.sprung_mass.value, sd)
        if tyre.log_sd == 0:
            notes.append(Note("tyre-assumed", share=TYRE_GIVEN_BARE))
    else:
        know({TYRE: 1.0, OMEGA: -2.0}, *ANY_TYRE_RATIO)
        low, high = (ANY_TYRE_RATIO[0] * math.exp(s * NORMAL_95 * ANY_TYRE_RATIO[1]) for s in (-1, 1))
        notes.append(Note("tyre-unknown", low=low, high=high))
    damping = corner.tyre_damping.value if corner is not None else 0.0
    if corner is not None and damping > 0 and tyre is not None:
        whole = corner.sprung_mass.value * (1.0 + ANY_MASS_RATIO[0])
        if unsprung is not None:
            whole = corner.sprung_mass.value + unsprung.value
        know({TYRE_ZETA: 1.0}, damping / (2.0 * math.sqrt(tyre.value * whole)), GIVEN_TYRE_ZETA)
    else:
        know({TYRE_ZETA: 1.0}, *ANY_TYRE_ZETA)
    if knee:
        know({KNEE_SPEED: 1.0}, *ANY_KNEE_SPEED)
        know({KNEE_RATIO_C: 1.0}, 1.0, ANY_KNEE_RATIO)
        know({KNEE_RATIO_R: 1.0}, 1.0, ANY_KNEE_RATIO)
    coefficients = np.zeros((len(rows), size))
    for k, (parameters, _, _) in enumerate(rows):
        for place, factor in parameters.items():
            coefficients[k, place] = factor
    return (
        Knowledge(coefficients, np.array([row[1] for row in rows]), np.array([row[2] for row in rows])),
        tuple(notes),
    )


def centre_of(knowledge: Knowledge) -> Array:
    """Give the parameters that fit the knowledge best, (shared,)."""
    solution = np.linalg.solve(
        knowledge.curvature, (knowledge.coefficients / knowledge.sd[:, None] ** 2).T @ knowledge.value
    )
    return np.asarray(solution)


def starts_of(
    knowledge: Knowledge, strength: Array, quantity: Quantity, *, factor: float = 1.0
) -> tuple[Array, Array]:
    """Centre and standard deviation of the starts (see `Problem.starts`) of bounces, each (b, 5): what hands can do.

    strength : (b,) of the first strong swing, acceleration or travel at the wheel, with its sign. The hands have just
    come off a body that they held: the wheel still squashes the tyre with part of their force, nothing moves faster
    than the swing that follows. `factor` widens it all.
    """
    centre = np.exp(centre_of(knowledge))
    omega, tyre = float(centre[OMEGA]), float(centre[TYRE])
    pull = strength * omega**2 if quantity == "travel" else strength
    size = np.abs(pull)
    none = 0.0 * pull
    middle = np.stack([pull / omega**2, none, -0.5 * pull / tyre, none, none], axis=1)
    spreads = [1.5 * size / omega**2, 1.5 * size / omega, 0.7 * size / tyre, 0.8 * size / omega]
    sd = factor * np.stack([*spreads, none + ANY_HELD / factor], axis=1)
    return middle, sd
