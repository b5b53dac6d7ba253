"""A machine back into the TOML text of a machine file.

Takes a `Machine`; gives text that `read_machine` turns into an equal one. Uses: estimates, units, parts.
"""

from __future__ import annotations

import json
import re

from tuner.estimates import Array, Estimate
from tuner.machine.parts import (
    DEFAULT_BUMP_STOP,
    DEFAULT_DROOP_STOP,
    NO_TYRE_DAMPING,
    TARGETS,
    Corner,
    Machine,
    MotionRatio,
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


def _value(estimate: Estimate) -> str:
    """Write a value; an uneven interval is written with its wider half, never a narrower one."""
    half = max(estimate.high - estimate.value, estimate.value - estimate.low)
    share = _share(half, estimate.value)
    if estimate.unit == "1":
        if half == 0.0:
            return _toml_float(estimate.value)
        return json.dumps(f"{_number(estimate.value)} +- {share or _number(short(half, estimate.value))}")
    text = _amount(estimate.value, estimate.unit)
    if half != 0.0:
        text += f" +- {share or _amount(short(half, estimate.value), estimate.unit)}"
    return json.dumps(text)


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


def _toml_float(value: float) -> str:
    words = repr(float(value))
    return words if any(mark in words for mark in ".e") else f"{words}.0"


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _string(name)


def _string(text: str) -> str:
    """Write a TOML basic string; JSON's escapes are TOML's, but for DEL and surrogate pairs."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _ratio(ratio: MotionRatio) -> str:
    if ratio.constant is not None:
        return _value(ratio.constant)

    def cell(values: Array, halves: Array, row: int) -> str:
        value, half = float(values[row]), float(halves[row])
        return _value(Estimate(value, value - half, value + half, "m"))

    rows = [
        f"    [{cell(ratio.wheel, ratio.wheel_half, i)}, {cell(ratio.damper, ratio.damper_half, i)}],"
        for i in range(ratio.wheel.size)
    ]
    return "\n".join(["[", *rows, "]"])


def _corner_lines(corner: Corner) -> list[str]:
    lines = [f"[corners.{_key(corner.name)}]"]
    for key in ("sprung_mass", "unsprung_mass", "spring_rate"):
        value = getattr(corner, key)
        if value is not None:
            lines.append(f"{key} = {_value(value)}")
    lines.append(f"motion_ratio = {_ratio(corner.motion_ratio)}")
    for key in ("tyre_rate", "damper_travel", "static_travel"):
        value = getattr(corner, key)
        if value is not None:
            lines.append(f"{key} = {_value(value)}")
    for key, default in (
        ("tyre_damping", NO_TYRE_DAMPING),
        ("bump_stop_rate", DEFAULT_BUMP_STOP),
        ("droop_stop_rate", DEFAULT_DROOP_STOP),
    ):
        if getattr(corner, key) != default:
            lines.append(f"{key} = {_value(getattr(corner, key))}")
    return lines


def write_machine(machine: Machine) -> str:
    """Give the TOML text of a machine file; reading it gives an equal machine, uncertainties included.

    Springs are written as their rate, and a value with an uneven interval gets the wider half on both sides.
    """
    blocks = [[f"name = {_string(machine.name)}"]]
    blocks.extend(_corner_lines(corner) for corner in machine.corners.values())
    body = machine.body
    if body is not None:
        keys = ("wheelbase", "cg_to_front", "front_share", "pitch_inertia", "pitch_factor")
        blocks.append(
            ["[body]", *(f"{k} = {_value(getattr(body, k))}" for k in keys if getattr(body, k) is not None)]
        )
    if machine.axles is not None:
        blocks.append(
            ["[axles]", f"front = {_string(machine.axles.front)}", f"rear = {_string(machine.axles.rear)}"]
        )
    target = machine.target
    lines = ["[target]"]
    band = TARGETS.get(target.name)
    if band is None or (band.compression, band.rebound) != (target.compression, target.rebound):
        for side in ("compression", "rebound"):
            low, high = getattr(target, side)
            lines.append(f"{side} = [{_toml_float(low)}, {_toml_float(high)}]")
    else:
        lines.append(f"use = {_string(target.name)}")
    lines.append(f"speed = {json.dumps(_amount(target.speed, 'm/s'))}")
    blocks.append(lines)
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"
