"""A machine back into the TOML text of a machine file.

Takes a `Machine`; gives text that `read_machine` turns into an equal one.
"""

from __future__ import annotations

from typing import Any

from tuner.estimates import Array, Estimate
from tuner.machine.parts import (
    DEFAULT_BUMP_STOP,
    DEFAULT_DROOP_STOP,
    NO_TYRE_DAMPING,
    TARGETS,
    Body,
    Corner,
    Machine,
    MotionRatio,
    Target,
)
from tuner.units import amount_to_si

# SI unit -> (the unit that people write, its kind, its size in SI)
_WRITTEN: dict[str, tuple[str, str, float]] = {
    "kg": ("kg", "mass", 1.0),
    "N/m": ("N/mm", "stiffness", 1e3),
    "m": ("mm", "length", 1e-3),
    "N*s/m": ("N*s/m", "damping", 1.0),
    "m/s": ("m/s", "speed", 1.0),
    "kg*m**2": ("kg*m**2", "inertia", 1.0),
}
# in the order in which they are written
_CORNER = (
    *("sprung_mass", "unsprung_mass", "spring_rate", "motion_ratio", "tyre_rate", "damper_travel"),
    *("static_travel", "tyre_damping", "bump_stop_rate", "droop_stop_rate"),
)
_BODY = ("wheelbase", "cg_to_front", "front_share", "pitch_inertia", "pitch_factor")
_USUAL = {
    "tyre_damping": NO_TYRE_DAMPING,
    "bump_stop_rate": DEFAULT_BUMP_STOP,
    "droop_stop_rate": DEFAULT_DROOP_STOP,
}


def _number(value: float) -> str:
    words = repr(float(value))
    return words.removesuffix(".0")


def _amount(value: float, unit: str) -> str:
    """Write an SI value in a unit that people write, exactly; in SI where the other unit would round it."""
    written, kind, size = _WRITTEN[unit]
    for text in (f"{value / size:.6g}", f"{value / size:.12g}", _number(value / size)):
        if amount_to_si(f"{text} {written}", kind, name="value") == value:
            return f"{text} {written}"
    return f"{_number(value)} {unit}"


def _value(estimate: Estimate) -> str | float:
    """Write a value as TOML has it; an uneven interval is written with its wider half, never a narrower one."""
    half = max(estimate.high - estimate.value, estimate.value - estimate.low)
    share = _share(half, estimate.value)
    if estimate.unit == "1":
        if half == 0.0:
            return float(estimate.value)
        return f"{_number(estimate.value)} +- {share or _number(short(half, estimate.value))}"
    text = _amount(estimate.value, estimate.unit)
    if half != 0.0:
        text += f" +- {share or _amount(short(half, estimate.value), estimate.unit)}"
    return text


def _share(half: float, value: float) -> str:
    """Write a half width in per cent where that is a short number, "" where it is not."""
    if half == 0.0 or value == 0.0:
        return ""
    percent = 100.0 * half / abs(value)
    text = f"{percent:.3g}"
    return f"{text} %" if abs(float(text) / percent - 1.0) < 1e-12 and "e" not in text else ""


def short(half: float, value: float) -> float:
    """Drop the rounding noise of a difference: digits below 1e-14 of the value."""
    for digits in range(1, 17):
        short = float(f"{half:.{digits}g}")
        if abs(short - half) <= 1e-14 * abs(value):
            return short
    return half


def _ratio(ratio: MotionRatio) -> Any:
    if ratio.constant is not None:
        return _value(ratio.constant)
    from tomlkit import array

    def cell(values: Array, halves: Array, row: int) -> str | float:
        value, half = float(values[row]), float(halves[row])
        return _value(Estimate(value, value - half, value + half, "m"))

    rows = array()
    for i in range(ratio.wheel.size):
        rows.append([cell(ratio.wheel, ratio.wheel_half, i), cell(ratio.damper, ratio.damper_half, i)])
    return rows.multiline(True)


def _known(part: Corner | Body, keys: tuple[str, ...]) -> dict[str, Any]:
    """Write what is known and not what everybody gets who says nothing."""
    values = {key: getattr(part, key) for key in keys}
    return {
        key: _ratio(value) if isinstance(value, MotionRatio) else _value(value)
        for key, value in values.items()
        if value != _USUAL.get(key)
    }


def _target(target: Target) -> dict[str, Any]:
    band = TARGETS.get(target.name)
    speed = {"speed": _amount(target.speed, "m/s")}
    if band is None or (band.compression, band.rebound) != (target.compression, target.rebound):
        return {"compression": list(target.compression), "rebound": list(target.rebound)} | speed
    return {"use": target.name} | speed


def write_machine(machine: Machine) -> str:
    """Give the TOML text of a machine file; reading it gives an equal machine, uncertainties included.

    Springs are written as their rate, and a value with an uneven interval gets the wider half on both sides.
    """
    from tomlkit import dumps

    body, axles = machine.body, machine.axles
    tables = {
        "corners": {corner.name: _known(corner, _CORNER) for corner in machine.corners.values()},
        "body": None if body is None else _known(body, _BODY),
        "axles": None if axles is None else {"front": axles.front, "rear": axles.rear},
        "target": _target(machine.target),
    }
    return dumps({"name": machine.name} | {key: value for key, value in tables.items() if value is not None})
