"""Units where numbers come in and go out: text and foreign units to SI; SI to metric or US for people.

Takes numbers with a unit name, or text such as ``"350 lbf/in +- 5 lbf/in"``; gives SI numbers and estimates. Pint
is used in this module only, and is loaded when first needed.
"""

from __future__ import annotations

import functools
import math
import re
import tokenize
from collections.abc import Mapping
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np

from tuner.errors import UnitError
from tuner.estimates import Array, Estimate

if TYPE_CHECKING:
    import pint

System = Literal["metric", "us"]
GRAVITY = 9.80665  # standard gravity [m/s**2], CGPM 1901

# kind -> SI unit as it stands in results
SI_UNIT: Mapping[str, str] = {
    "length": "m",
    "speed": "m/s",
    "acceleration": "m/s**2",
    "force": "N",
    "mass": "kg",
    "time": "s",
    "frequency": "Hz",
    "angle": "rad",
    "angular rate": "rad/s",
    "stiffness": "N/m",
    "damping": "N*s/m",
    "pressure": "Pa",
    "volume": "m**3",
    "area": "m**2",
    "temperature": "K",
    "temperature difference": "K",
    "energy": "J",
    "inertia": "kg*m**2",
    "viscosity": "m**2/s",
    "density": "kg/m**3",
    "ratio": "1",
    "voltage": "V",
}


class ShownUnit(NamedTuple):
    """How a kind is shown: pint's name of the unit, the label people read, digits after the point."""

    unit: str
    label: str
    digits: int


_METRIC: Mapping[str, ShownUnit] = {
    "length": ShownUnit("mm", "mm", 1),
    "speed": ShownUnit("m/s", "m/s", 2),
    "acceleration": ShownUnit("m/s**2", "m/s²", 2),
    "force": ShownUnit("N", "N", 0),
    "mass": ShownUnit("kg", "kg", 1),
    "time": ShownUnit("s", "s", 3),
    "frequency": ShownUnit("Hz", "Hz", 2),
    "angle": ShownUnit("deg", "°", 1),
    "angular rate": ShownUnit("deg/s", "°/s", 0),
    "stiffness": ShownUnit("N/mm", "N/mm", 1),
    "damping": ShownUnit("N*s/m", "N·s/m", 0),
    "pressure": ShownUnit("bar", "bar", 1),
    "volume": ShownUnit("ml", "ml", 0),
    "area": ShownUnit("mm**2", "mm²", 0),
    "temperature": ShownUnit("degC", "°C", 0),
    "temperature difference": ShownUnit("delta_degC", "°C", 0),
    "energy": ShownUnit("J", "J", 1),
    "inertia": ShownUnit("kg*m**2", "kg·m²", 0),
    "viscosity": ShownUnit("mm**2/s", "mm²/s", 1),
    "density": ShownUnit("kg/m**3", "kg/m³", 0),
    "ratio": ShownUnit("1", "", 2),
    "voltage": ShownUnit("V", "V", 2),
}
_US: Mapping[str, ShownUnit] = {
    **_METRIC,
    "length": ShownUnit("inch", "in", 2),
    "speed": ShownUnit("inch/s", "in/s", 1),
    "acceleration": ShownUnit("standard_gravity", "g", 2),
    "force": ShownUnit("lbf", "lbf", 0),
    "mass": ShownUnit("lb", "lb", 0),
    "stiffness": ShownUnit("lbf/inch", "lbf/in", 0),
    "damping": ShownUnit("lbf*s/inch", "lbf·s/in", 2),
    "pressure": ShownUnit("psi", "psi", 0),
    "volume": ShownUnit("fluid_ounce", "fl oz", 1),
    "area": ShownUnit("inch**2", "in²", 2),
    "temperature": ShownUnit("degF", "°F", 0),
    "temperature difference": ShownUnit("delta_degF", "°F", 0),
    "energy": ShownUnit("ft*lbf", "ft·lbf", 1),
    "inertia": ShownUnit("lb*ft**2", "lb·ft²", 0),
}
SHOWN: Mapping[System, Mapping[str, ShownUnit]] = {"metric": _METRIC, "us": _US}

# spellings found in files and on phones that pint does not know, as pint expressions
_SPELLINGS: Mapping[str, str] = {
    "": "1",
    "-": "1",
    "%": "percent",
    "sec": "s",
    "secs": "s",
    "sek": "s",
    "msec": "ms",
    "usec": "us",
    "µs": "us",
    "μs": "us",
    "inches": "inch",
    '"': "inch",
    "in": "inch",
    "ips": "inch/s",
    "fps": "ft/s",
    "lb": "lb",
    "lbs": "lb",
    "#": "lb",
    "lb/in": "lbf/inch",
    "lbs/in": "lbf/inch",
    "lb-in": "lbf/inch",
    "kp": "kgf",
    "kg/mm": "kgf/mm",
    "kg/cm": "kgf/cm",
    "dan": "daN",
    "cst": "cSt",
    "°": "deg",
    "°c": "degC",
    "°f": "degF",
    "c": "degC",
    "f": "degF",
    **dict.fromkeys(("° c", "deg c", "degrees c", "grad c"), "degC"),
    **dict.fromkeys(("° f", "deg f", "degrees f", "grad f"), "degF"),
    "gs": "standard_gravity",
    "g": "standard_gravity",
    "g0": "standard_gravity",
    "grad": "deg",  # German and Spanish "Grad"/"grados", never the centesimal unit in this trade
    "grad/s": "deg/s",
    "°/s": "deg/s",
    "dps": "deg/s",
    "u/min": "rpm",
    "1/min": "rpm",
    "cpm": "1/min",
    "cc": "cm**3",
    "ccm": "cm**3",
}
# words that mean another kind of unit in the trade: pounds of force, kilograms on a bench's load cell, grams
_BY_KIND: Mapping[tuple[str, str], str] = {
    ("force", "lb"): "lbf",
    ("force", "lbs"): "lbf",
    ("force", "#"): "lbf",
    ("force", "pound"): "lbf",
    ("force", "pounds"): "lbf",
    ("force", "kg"): "kgf",
    ("force", "kn"): "kN",
    ("mass", "g"): "gram",
    ("stiffness", "kg/mm"): "kgf/mm",
    ("frequency", "rpm"): "1/min",
    ("temperature", "k"): "kelvin",
    ("temperature difference", "°c"): "delta_degC",
    ("temperature difference", "degc"): "delta_degC",
    ("temperature difference", "c"): "delta_degC",
    ("temperature difference", "°f"): "delta_degF",
    ("temperature difference", "degf"): "delta_degF",
    ("temperature difference", "f"): "delta_degF",
    ("damping", "ns/m"): "N*s/m",
    ("damping", "ns/mm"): "N*s/mm",
    ("damping", "lb*s/in"): "lbf*s/inch",
    ("damping", "lb-s/in"): "lbf*s/inch",
    ("damping", "lbs/in"): "lbf*s/inch",
}


@functools.cache
def _registry() -> pint.UnitRegistry[Any]:
    import pint

    return pint.UnitRegistry(cache_folder=None)


def _expression(unit: str, kind: str) -> str:
    """Turn a unit as people write it into one that pint reads."""
    text = unit.strip().replace("·", "*").replace("⋅", "*").replace("²", "**2").replace("³", "**3")
    text = text.replace("^", "**").replace("′′", '"')
    text = re.sub(r"(?<=[a-zA-Z])([23])$", r"**\1", text)  # m/s2
    low = text.lower()
    if (kind, low) in _BY_KIND:
        return _BY_KIND[kind, low]
    if low in _SPELLINGS:
        return _SPELLINGS[low]
    text = re.sub(r"\bin\b", "inch", text)
    return re.sub(r"^[nN][sS]/(m+)$", r"N*s/\1", text)


_NOT_A_UNIT = re.compile(r"\d{3}|\*\*(?!\s*-?\d(?!\d))|\*\*\s*-?\d\s*\*\*|.{40}")

# what pint's parser lets through for text that is no unit (its own errors are among these)
_PARSE_FAILURES = (
    ValueError,
    TypeError,
    SyntaxError,
    AttributeError,
    AssertionError,
    KeyError,
    ArithmeticError,
    tokenize.TokenError,
)


def _check_kind(kind: str) -> None:
    if kind not in SI_UNIT:
        near = get_close_matches(kind, SI_UNIT, n=1)
        raise UnitError(
            f"no kind of unit is called {kind!r}",
            hint=f"Did you mean {near[0]!r}?" if near else f"Known: {list(SI_UNIT)}",
        )


def _like(kind: str) -> str:
    """Show how a unit of that kind is written; a ratio has none."""
    units = dict.fromkeys(SHOWN[system][kind].unit for system in ("metric", "us"))
    if list(units) == ["1"]:
        return "Write it as a number without a unit, such as 0.70."
    return f"Write it like {' or '.join(map(repr, units))}."


def _quantity_unit(unit: str, kind: str, name: str) -> Any:
    """Find the pint unit, or refuse it with one sentence."""
    _check_kind(kind)
    registry = _registry()
    needed = SI_UNIT[kind]
    expression = _expression(unit, kind)
    wanted = registry.Unit(needed if needed != "1" else "dimensionless").dimensionality
    problem = "which is not a unit that is known"
    if _NOT_A_UNIT.search(expression):  # a tower of powers would keep pint busy for ever
        expression = "("
    for attempt in (expression, expression.lower()):
        try:
            found = registry.Unit(attempt if attempt != "1" else "dimensionless")
            same_kind = found.dimensionality == wanted  # looks the parts up, which can fail like parsing
        except _PARSE_FAILURES:
            continue
        if same_kind:
            return found
        problem = "which is a unit of another kind"
    raise UnitError(
        f"{name} needs a unit of {kind} such as {needed!r}; got {unit!r}, {problem}",
        hint=_like(kind),
    )


def known_unit(unit: str, kind: str) -> bool:
    """Say whether `unit` is a unit of that kind."""
    try:
        _quantity_unit(unit, kind, "value")
    except UnitError:
        return False
    return True


@functools.lru_cache(maxsize=512)
def _line(unit: str, kind: str, name: str) -> tuple[float, float]:
    """Give (scale, offset) so that SI = scale * x + offset: every unit here is linear in its SI unit."""
    registry = _registry()
    found = _quantity_unit(unit, kind, name)
    target = SI_UNIT[kind] if SI_UNIT[kind] != "1" else "dimensionless"
    try:
        zero, one, two = (float(registry.Quantity(x, found).to(target).magnitude) for x in (0.0, 1.0, 2.0))
    except _PARSE_FAILURES:
        zero, one, two = 0.0, 0.0, 0.0
    if one == zero or not math.isclose(two - one, one - zero, rel_tol=1e-9):  # decibels and their like
        raise UnitError(
            f"{name} needs a plain unit of {kind} such as {SI_UNIT[kind]!r}; got {unit!r}, which is none",
            hint=_like(kind),
        )
    return one - zero, zero


def to_si(values: Array | float, kind: str, unit: str, *, name: str = "value") -> Array:
    """Convert `values` (any shape) given in `unit` to SI.

    Raises UnitError, naming `name`, what was needed and what was given, when `unit` is not a unit of `kind`.
    """
    scale, offset = _line(unit, kind, name)
    return np.asarray(values, dtype=float) * scale + offset


def from_si(values: Array | float, kind: str, unit: str) -> Array:
    """Convert SI `values` (any shape) to `unit`; raises UnitError for a unit of another kind."""
    scale, offset = _line(unit, kind, "value")
    return (np.asarray(values, dtype=float) - offset) / scale


def shown(value: float, kind: str, system: System) -> tuple[float, str]:
    """Give the SI `value` in the unit that people of `system` read, and that unit's label."""
    style = SHOWN[system][kind]
    return float(from_si(value, kind, style.unit)), style.label


def text_of(value: float, kind: str, system: System, *, digits: int | None = None) -> str:
    """Write the SI `value` with its unit for a person, e.g. ``"92.0 kg"``."""
    number, label = shown(value, kind, system)
    places = SHOWN[system][kind].digits if digits is None else digits
    return f"{number:.{places}f} {label}".rstrip()


_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?"
_AMOUNT = re.compile(rf"^\s*(?P<number>{_NUMBER})\s*(?P<unit>.*?)\s*$")


def amount_to_si(text: str | float, kind: str, *, name: str, difference: bool = False) -> float:
    """Read ``"92 kg"`` (or a bare number, taken as SI) into an SI number.

    With `difference` an offset (degC, degF) is left out, as an uncertainty needs it.
    """
    _check_kind(kind)
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise UnitError(
            f"{name} must be a number or text such as '10 {SHOWN['metric'][kind].unit}'; got {text!r}"
        )
    if isinstance(text, (int, float)):
        if not math.isfinite(text):
            raise UnitError(f"{name} must be a finite number; got {text}")
        return float(text)
    match = _AMOUNT.match(text)
    if match is None:
        raise UnitError(
            f"{name} must be a number with a unit of {kind}; got {text!r}",
            hint=f"Write it like '10 {SHOWN['metric'][kind].unit}'.",
        )
    number = float(match["number"].replace(",", "."))
    unit = match["unit"]
    if unit == "":
        return number
    scale, offset = _line(unit, kind, name)
    return number * scale + (0.0 if difference else offset)


def parse_estimate(text: str | float, kind: str, *, name: str) -> Estimate:
    """Read ``"92 kg +- 2 %"``, ``"350 lbf/in +- 5 lbf/in"`` or a bare SI number into an Estimate.

    The part behind ``+-`` (or ``±``) is the half width of the 95 % interval, as a share of the value or with
    a unit of its own; without it the value counts as exact. Raises UnitError with one sentence.
    """
    unit = SI_UNIT.get(kind, "")
    if not isinstance(text, str):
        return Estimate.exact(amount_to_si(text, kind, name=name), unit)
    parts = re.split(r"\+/?-|±", text)
    if len(parts) > 2:
        raise UnitError(f"{name} must have at most one '+-'; got {text!r}")
    value = amount_to_si(parts[0], kind, name=name)
    if len(parts) == 1:
        return Estimate.exact(value, unit)
    spread = parts[1].strip()
    if spread.endswith("%"):
        half = abs(value) * amount_to_si(spread[:-1], "ratio", name=f"the uncertainty of {name}") / 100.0
    else:
        first = _AMOUNT.match(parts[0])
        bare = _AMOUNT.match(spread)
        if first is not None and bare is not None and bare["unit"] == "" and first["unit"] != "":
            spread = f"{spread} {first['unit']}"  # "92 kg +- 2" means 2 kg
        half = amount_to_si(spread, kind, name=f"the uncertainty of {name}", difference=True)
    if half < 0:
        raise UnitError(f"the uncertainty of {name} must not be negative; got {spread!r}")
    return Estimate(value, value - half, value + half, unit)
