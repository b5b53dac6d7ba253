"""The corner as two masses: body mode and wheel hop with the tyre and the unsprung mass.

Takes masses, rates and damping at the wheel; gives frequency and damping ratio of both modes. Uses: errors, estimates,
parts, linkage, rates, propagation.

Eigenvalues of the damped system M z'' + C z' + K z = 0, never of the undamped one with damping added: the damping is
far from small and far from proportional. Check: Barton & Fieldhouse, *Automotive Chassis Engineering*, 3.13.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from tuner.errors import MachineError, require
from tuner.estimates import Estimate, Note
from tuner.machine.linkage import at_rest, rest_inputs
from tuner.machine.parts import Corner
from tuner.machine.propagation import propagate
from tuner.machine.rates import rate_at_wheel


class Modes(NamedTuple):
    """Natural frequency [Hz] (modulus of the eigenvalue over 2 pi) and damping ratio [-] of both modes.

    A mode with two real eigenvalues p1, p2 does not swing: its ratio (p1 + p2)/(2 sqrt(p1 p2)) is then 1 or more.
    """

    body_frequency: float
    body_zeta: float
    hop_frequency: float
    hop_zeta: float


class ModesEstimate(NamedTuple):
    """`Modes` with the uncertainty of every input; `notes` say what is odd about them."""

    body_frequency: Estimate
    body_zeta: Estimate
    hop_frequency: Estimate
    hop_zeta: Estimate
    notes: tuple[Note, ...]


def two_mass_modes(
    sprung: float,
    unsprung: float,
    wheel_rate: float,
    tyre_rate: float,
    c_wheel: float,
    tyre_damping: float = 0.0,
) -> Modes:
    """Give the modes of a sprung and an unsprung mass [kg] with rates [N/m] and damping [N*s/m] at the wheel.

    Masses and rates > 0, damping >= 0, all finite. The slower mode counts as the body's, the faster as wheel hop; with so much
    damping that body and wheel move as one on the tyre the names lose their meaning.
    Raises MachineError outside these ranges.
    """
    for name, value in (
        ("sprung mass", sprung),
        ("unsprung mass", unsprung),
        ("wheel rate", wheel_rate),
        ("tyre rate", tyre_rate),
    ):
        require(value > 0 and math.isfinite(value), name, "positive", value, error=MachineError)
    for name, value in (("damping", c_wheel), ("tyre damping", tyre_damping)):
        require(value >= 0 and math.isfinite(value), name, "zero or positive", value, error=MachineError)
    system = np.array(
        [
            [0.0, 0.0, 1.0, 0.0],
            [0.0, 0.0, 0.0, 1.0],
            [-wheel_rate / sprung, wheel_rate / sprung, -c_wheel / sprung, c_wheel / sprung],
            [
                wheel_rate / unsprung,
                -(wheel_rate + tyre_rate) / unsprung,
                c_wheel / unsprung,
                -(c_wheel + tyre_damping) / unsprung,
            ],
        ]
    )
    roots = np.linalg.eigvals(system)
    swinging = [complex(root) for root in roots if root.imag > 0]
    still = sorted(-float(root.real) for root in roots if root.imag == 0)
    pairs = [(abs(root), -root.real / abs(root)) for root in swinging]
    for slow, fast in zip(still[0::2], still[1::2], strict=True):
        modulus = math.sqrt(slow * fast)
        pairs.append((modulus, 0.5 * (slow + fast) / modulus))
    (body, body_zeta), (hop, hop_zeta) = sorted(pairs)
    return Modes(body / (2.0 * math.pi), body_zeta, hop / (2.0 * math.pi), hop_zeta)


def modes_missing(corner: Corner) -> Note | None:
    """Say why the two-mass modes cannot be given for this corner, None when they can."""
    missing = [name for name in ("unsprung_mass", "tyre_rate") if getattr(corner, name) is None]
    if not missing:
        return None
    return Note(
        "modes-unknown",
        f"body mode and wheel hop of corner {corner.name!r} need {' and '.join(missing)}, "
        "which the machine file does not give",
    )


def modes_estimate(c: Estimate, corner: Corner) -> ModesEstimate | None:
    """Give the modes for a damping coefficient `c` > 0 [N*s/m] at the damper, all uncertainties carried.

    None when the unsprung mass or the tyre rate is unknown (`modes_missing` says which) or `c` is not positive.
    """
    if corner.unsprung_mass is None or corner.tyre_rate is None or not c.value > 0:
        return None
    inputs = [c, corner.unsprung_mass, corner.tyre_rate, corner.tyre_damping, *rest_inputs(corner)]

    def modes(*values: float) -> Modes:
        rest = at_rest(corner, values[4:])
        damping = max(values[0], 0.0) * rest.ratio**2
        return two_mass_modes(
            rest.sprung_mass, values[1], rate_at_wheel(rest), values[2], damping, max(values[3], 0.0)
        )

    best = modes(*(i.value for i in inputs))

    def one(name: str, unit: str) -> Estimate:
        return propagate(lambda *v: float(getattr(modes(*v), name)), inputs, unit)

    notes = []
    for label, zeta in (("the body mode", best.body_zeta), ("the wheel hop", best.hop_zeta)):
        if zeta >= 1.0:
            notes.append(
                Note(
                    "overdamped",
                    f"{label} does not swing any more (damping ratio {zeta:.2f}): it only creeps back",
                )
            )
    return ModesEstimate(
        one("body_frequency", "Hz"),
        one("body_zeta", "1"),
        one("hop_frequency", "Hz"),
        one("hop_zeta", "1"),
        tuple(notes),
    )
