"""The corner as two masses: body mode and wheel hop, with the tyre and the unsprung mass.

Takes masses, rates and damping at the wheel; gives frequency and damping ratio of both modes.

Eigenvalues of the damped system M z'' + C z' + K z = 0, never of the undamped one with damping added after:
the damping is neither small nor proportional. Barton & Fieldhouse, *Automotive Chassis Engineering*, 3.13.
"""

from __future__ import annotations

import functools
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

    A mode with two real eigenvalues -p1, -p2 does not swing: its frequency is sqrt(p1 p2)/(2 pi) and its ratio
    (p1 + p2)/(2 sqrt(p1 p2)), 1 or more; both go on smoothly where it stops swinging.
    """

    body_frequency: float
    body_zeta: float
    hop_frequency: float
    hop_zeta: float


class ModesEstimate(NamedTuple):
    """`Modes` with the uncertainty of every input carried; `notes` say what is odd about them."""

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
    """Give the modes of a sprung and an unsprung mass [kg], rates [N/m] and damping [N*s/m] at the wheel.

    Masses and rates > 0, damping >= 0, all finite; raises MachineError otherwise. The mode of lower frequency
    is the body's, the other the wheel's hop. With so much damping that body and wheel move as one on the tyre
    the two names lose their meaning.
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
    modes = _modes(sprung, unsprung, wheel_rate, tyre_rate, c_wheel, tyre_damping)
    return modes._replace(body_zeta=max(modes.body_zeta, 0.0), hop_zeta=max(modes.hop_zeta, 0.0))


_TOO_FAR_APART = "masses, rates and damping must be within about ten powers of ten of each other"


def _modes(
    sprung: float, unsprung: float, wheel_rate: float, tyre_rate: float, c_wheel: float, tyre_damping: float
) -> Modes:
    system = np.zeros((4, 4))  # states: sprung, unsprung position, their speeds
    system[0, 2] = system[1, 3] = 1.0
    system[2] = np.array([-wheel_rate, wheel_rate, -c_wheel, c_wheel]) / sprung
    system[3] = (
        np.array([wheel_rate, -(wheel_rate + tyre_rate), c_wheel, -(c_wheel + tyre_damping)]) / unsprung
    )
    if not np.isfinite(system).all():
        raise MachineError(f"{_TOO_FAR_APART}; got numbers too large to divide")
    roots = np.linalg.eigvals(system)
    pairs = [(float(abs(root)), -float(root.real / abs(root))) for root in roots if root.imag > 0]
    decays = sorted((-float(root.real) for root in roots if root.imag == 0), reverse=True)
    if min((abs(d) for d in decays[:-1]), default=1.0) == 0.0 or min(abs(roots)) == 0.0:
        raise MachineError(f"{_TOO_FAR_APART}; got a mode that never comes to rest")
    if decays:
        # the slowest decay is lost in rounding when damping is huge; the product of all roots is known exactly
        product = (wheel_rate / sprung) * (tyre_rate / unsprung)
        decays[-1] = product / (math.prod(decays[:-1]) * math.prod(modulus**2 for modulus, _ in pairs))
    for fast, slow in zip(decays[0::2], decays[1::2], strict=True):
        modulus = math.sqrt(abs(slow * fast))
        pairs.append((modulus, 0.5 * (slow + fast) / modulus))
    (body, body_zeta), (hop, hop_zeta) = sorted(pairs)
    return Modes(body / (2.0 * math.pi), body_zeta, hop / (2.0 * math.pi), hop_zeta)


def modes_missing(corner: Corner) -> Note | None:
    """Say why the two-mass modes cannot be given for this corner, None when they can."""
    missing = tuple(name for name in ("unsprung_mass", "tyre_rate") if getattr(corner, name) is None)
    return Note("modes-unknown", corner=corner.name, missing=missing) if missing else None


def modes_estimate(c: Estimate, corner: Corner) -> ModesEstimate | None:
    """Give the modes for a damping coefficient `c` > 0 [N*s/m] at the damper, all uncertainties carried.

    None when the unsprung mass or the tyre rate is unknown (`modes_missing` says which), or `c` <= 0.
    """
    if corner.unsprung_mass is None or corner.tyre_rate is None or not c.value > 0:
        return None
    inputs = [c, corner.unsprung_mass, corner.tyre_rate, corner.tyre_damping, *rest_inputs(corner)]

    @functools.cache  # four results share the same displaced inputs
    def modes(*values: float) -> Modes:
        damping, unsprung, tyre, tyre_damping = values[:4]
        rest = at_rest(corner, values[4:])
        return _modes(
            rest.sprung_mass, unsprung, rate_at_wheel(rest), tyre, damping * rest.ratio**2, tyre_damping
        )

    def one(name: str, unit: str) -> Estimate:
        return propagate(lambda *v: float(getattr(modes(*v), name)), inputs, unit)

    found = [
        one("body_frequency", "Hz"),
        one("body_zeta", "1"),
        one("hop_frequency", "Hz"),
        one("hop_zeta", "1"),
    ]
    notes = [
        Note("overdamped", mode=mode, corner=corner.name, zeta=zeta)
        for mode, zeta in (("body", found[1]), ("hop", found[3]))
        if zeta.value >= 1.0
    ]
    centre = [i.value for i in inputs]
    if modes(1.02 * centre[0], *centre[1:]).body_zeta < found[1].value:
        notes.append(Note("locked", corner=corner.name))
    return ModesEstimate(found[0], found[1], found[2], found[3], tuple(notes))
