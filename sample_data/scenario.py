"""The invented story: the dampers of the buggy "Dune Hopper No. 4" in every state that was put on a bench.

Takes nothing; gives the true dampers by setting, and the table of truth. Uses: damper_model.

Two invented benches: the shop "Shed 9" in Halvik, and a second one that keeps its books in other units.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sample_data.damper_model import SIDES, Damper, Valve, gas_force, opening_speed, true_secant

REFERENCE_SPEEDS = (0.05, 0.13, 0.26, 0.52, 1.04)
MIDDLE = 0.090  # shaft travel in the middle of every stroke [m]

# rear: the shims of the return open late, so that the spring is held back firmly
_REAR = Damper(
    compression=Valve(leak=1450.0, orifice=330.0, opening=300.0, softness=30.0, flow=0.00095, port=90.0),
    rebound=Valve(leak=3250.0, orifice=640.0, opening=690.0, softness=60.0, flow=0.00042, port=150.0),
    stiffness=2.6e6,
    air=0.6,
    rod=0.014,
    gas_pressure=9.5e5,
    gas_volume=6.2e-5,
    friction=11.0,
    breakaway=1.12,
    fade=0.010,
)

# oil was let out: less gas pressure, foam in the oil, a dead stroke on the way out, and the return valve passes foam
_REAR_DRAINED = replace(
    _REAR,
    compression=_REAR.compression.scaled(leak=0.97, orifice=0.98),
    rebound=_REAR.rebound.scaled(leak=0.66, orifice=0.70, opening=0.66, flow=1.52),
    stiffness=1.5e6,
    air=2.5,
    void=(0.0, 0.0062),
    gas_pressure=6.4e5,
    gas_volume=8.4e-5,
    fade=0.025,
)

# the twin on the right: compression alike, return valve 18 % weaker; filled by the other shop
_REAR_RIGHT = replace(
    _REAR,
    compression=_REAR.compression.scaled(leak=1.02, flow=0.98),
    rebound=_REAR.rebound.scaled(leak=0.82, orifice=0.82, opening=0.82, flow=1.22),
    gas_pressure=9.3e5,
    friction=9.0,
)

_FRONT = Damper(
    compression=Valve(leak=980.0, orifice=260.0, opening=255.0, softness=25.0, flow=0.0013, port=70.0),
    rebound=Valve(leak=2350.0, orifice=520.0, opening=720.0, softness=50.0, flow=0.00056, port=110.0),
    stiffness=2.4e6,
    air=0.6,
    rod=0.012,
    gas_pressure=9.0e5,
    gas_volume=5.6e-5,
    friction=9.0,
    breakaway=1.10,
    fade=0.008,
)

THICK_OIL, THIN_OIL = 46.0, 32.0  # cSt at 40 degC; the leak follows viscosity, the orifice does not
_FRONT_THICK = replace(
    _FRONT,
    compression=_FRONT.compression.scaled(leak=THICK_OIL / THIN_OIL),
    rebound=_FRONT.rebound.scaled(leak=THICK_OIL / THIN_OIL),
)

SETTINGS: dict[str, Damper] = {
    "rear left before": _REAR,
    "rear left after draining": _REAR_DRAINED,
    "rear right": _REAR_RIGHT,
    "front left thick oil": _FRONT_THICK,
    "front left thin oil": _FRONT,
}


def _rounded(value: float, digits: int = 5) -> float:
    return float(f"{value:.{digits}g}")


def truth() -> dict[str, object]:
    """Give what is true of every setting, in SI units."""
    table: dict[str, object] = {"reference_speeds": list(REFERENCE_SPEEDS), "settings": {}}
    settings: dict[str, object] = {}
    for name, damper in SETTINGS.items():
        sides = {
            side: {
                "secant": [_rounded(float(c)) for c in true_secant(damper, side, np.array(REFERENCE_SPEEDS))],
                "dead_stroke": damper.void[k],
                "opening_speed": _rounded(opening_speed(damper, side)),
            }
            for k, side in enumerate(SIDES)
        }
        settings[name] = {
            "sides": sides,
            "gas_force_mid_stroke": _rounded(float(gas_force(damper, MIDDLE))),
            "friction": damper.friction,
        }
    table["settings"] = settings
    return table
