"""Directions in a phone's axes: their names, the rests that show them, the sign that the first bounce gives.

Takes a `Phone` and vectors; gives vectors, names and signs.
"""

from __future__ import annotations

import numpy as np

from tuner.estimates import Array
from tuner.reading.phone.layout import AXES
from tuner.reading.phone.sensors import Phone
from tuner.reading.table.columns import Source
from tuner.signals.bounces import find_bounces
from tuner.signals.rests import Rest
from tuner.units import GRAVITY


def axis_of(text: str) -> Array:
    """Read "+x", "-y", "z" as a unit vector (3,)."""
    sign = -1.0 if text.startswith("-") else 1.0
    vector = np.zeros(3)
    vector[AXES.index(text.strip("+-"))] = sign
    return vector


def named(vector: Array) -> str:
    """Say where a direction lies in the phone's axes, and how far it is tilted."""
    k = int(np.argmax(np.abs(vector)))
    tilt = float(np.degrees(np.arccos(min(1.0, abs(float(vector[k]))))))
    name = ("+" if vector[k] > 0 else "-") + AXES[k]
    return f"the phone's {name} axis" + (f", tilted by {tilt:.0f} degrees" if tilt >= 1.0 else "")


def at_rest(phone: Phone) -> list[Rest]:
    """Give the rests in which the acceleration reads gravity, or nothing where gravity is out."""
    expected = GRAVITY if phone.gravity_in else 0.0
    return [r for r in phone.still if abs(float(np.linalg.norm(r.mean)) - expected) < 0.1 * GRAVITY]


def angle(one: Array, other: Array) -> float:
    """Angle between two vectors [rad]."""
    size = float(np.linalg.norm(one) * np.linalg.norm(other))
    return float(np.arccos(np.clip(float(one @ other) / size, -1.0, 1.0)))


def zero_of(signal: Array, phone: Phone) -> float:
    """Give what the signal reads at rest."""
    quiet = at_rest(phone)
    if not quiet:
        return float(np.median(signal))
    return float(
        np.average([signal[r.first : r.last].mean() for r in quiet], weights=[r.duration for r in quiet])
    )


def sign_of_start(source: Source, signal: Array, phone: Phone, start: str) -> float:
    """Sign that makes the first bounce begin as it was said: after a push the first strong swing is up."""
    seen = find_bounces(phone.main.time, signal, "acceleration")
    whole = [b for b in seen.used if not b.cut_off]
    if not whole:
        raise source.refuse("must hold a whole bounce, from the release on", "none was found")
    wanted = 1.0 if start == "push" else -1.0
    return wanted * (1.0 if whole[0].strength > 0 else -1.0)
