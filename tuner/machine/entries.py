"""The entries of a machine file: corner, body, axles, target, and which keys each of them has.

Takes tables of the file; gives the frozen values, checked one by one and together.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from tuner.errors import MachineError
from tuner.estimates import Estimate, Note
from tuner.machine.checks import likely_mistakes
from tuner.machine.linkage import rest
from tuner.machine.parts import (
    DEFAULT_TARGET,
    DEFAULT_TARGET_SPEED,
    TARGETS,
    Axles,
    Body,
    Corner,
    MotionRatio,
    Target,
    positive,
    possible,
)
from tuner.machine.propagation import symmetric
from tuner.machine.rates import rate_at_wheel
from tuner.machine.sums import PITCH_FACTOR, coil_rate, stacked_rate
from tuner.machine.tables import TomlTable, bare_hint
from tuner.names import nearest_hint
from tuner.units import GRAVITY

# key -> kind of unit
CORNER_KINDS: Mapping[str, str] = {
    "sprung_mass": "mass",
    "unsprung_mass": "mass",
    "tyre_rate": "stiffness",
    "damper_travel": "length",
    "static_travel": "length",
    "tyre_damping": "damping",
    "bump_stop_rate": "stiffness",
    "droop_stop_rate": "stiffness",
}
SPRING_KEYS = ("spring_rate", "spring", "springs")
CORNER_KEYS = (*CORNER_KINDS, *SPRING_KEYS, "motion_ratio")
COIL_KINDS: Mapping[str, str] = {"wire": "length", "mean_diameter": "length", "active_coils": "ratio"}
BODY_KINDS: Mapping[str, str] = {
    "wheelbase": "length",
    "cg_to_front": "length",
    "front_share": "ratio",
    "pitch_inertia": "inertia",
    "pitch_factor": "ratio",
}
_COIL = '{ wire = "10 mm", mean_diameter = "76 mm", active_coils = 8 }'

_POSSIBLE_FREQUENCY = (0.35, 30.0)  # Hz: on a linear spring a sag of 2 m, and one of 0.3 mm
_POSSIBLE_SQUASH = 0.5  # m, of a tyre under the corner's load


def _values(table: TomlTable, kinds: Mapping[str, str]) -> dict[str, Estimate]:
    """Read every key that is given and refuse what cannot be: zero or negative, or as uncertain as large."""
    given = {}
    for key, kind in kinds.items():
        estimate = table.estimate(key, kind)
        if estimate is not None:
            with table.located(key):
                possible(key, estimate, table.label(key))
            given[key] = estimate
    return given


def read_corner(name: str, table: TomlTable) -> Corner:
    """Read one table of [corners]."""
    table.only(CORNER_KEYS, "a corner")
    given = _values(table, CORNER_KINDS)
    if "sprung_mass" not in given:
        raise table.missing("sprung_mass", 'The mass on the spring of this one corner, e.g. "92 kg +- 2 %".')
    rate_key, rate = _spring_rate(table)
    ratio = _motion_ratio(table)
    with table.blame("static_travel" if table.has("static_travel") else "sprung_mass"):
        corner = Corner(name=name, spring_rate=rate, motion_ratio=ratio, **given)
    with table.blame("motion_ratio"):
        at_rest = rest(corner)
        rate_at_wheel(at_rest)
    _fit_together(table, corner, at_rest.spring_rate * at_rest.ratio**2, rate_key)
    return corner


def _short(mistake: Note) -> str:
    """Say a likely mistake in a hint."""
    facts = mistake.facts
    if mistake.case == "unit":
        number = f"{facts['number']:.6g} {facts['meant']}"
        return f"{facts['key']} is in {facts['meant']} but was read as {facts['read']} ({number})"
    if mistake.case == "inverted":
        return "motion_ratio is the wrong way round"
    return f"sprung_mass is that of the whole {mistake.case}"


def _fit_together(table: TomlTable, corner: Corner, at_wheel: float, rate_key: str) -> None:
    """Refuse a spring (alone, seen `at_wheel`) or a tyre that could not carry the corner; other doubts are notes."""
    mass = corner.sprung_mass.value
    hertz = math.sqrt(at_wheel / mass) / (2.0 * math.pi)
    low, high = _POSSIBLE_FREQUENCY
    if not low <= hertz <= high:
        mistakes = likely_mistakes(corner, at_wheel)
        raise MachineError(
            f"{table.at(rate_key)} must be a spring that fits {mass:g} kg at this motion ratio; got {at_wheel:.3g} "
            f"N/m at the wheel, on which the corner would sag {_length(mass * GRAVITY / at_wheel)}",
            hint=f"Likely: {'; or '.join(map(_short, mistakes))}."
            if mistakes
            else bare_hint(table.raw(rate_key), "N/m"),
        )
    if corner.tyre_rate is None:
        return
    squash = mass * GRAVITY / corner.tyre_rate.value
    if squash > _POSSIBLE_SQUASH:
        raise MachineError(
            f"{table.at('tyre_rate')} must be a tyre that can carry {mass:g} kg; got "
            f"{corner.tyre_rate.value:g} N/m, on which it would be squashed {_length(squash)}",
            hint=bare_hint(table.raw("tyre_rate"), "N/m"),
        )


def _length(metres: float) -> str:
    return f"{metres:.3g} m" if metres >= 1.0 else f"{1000 * metres:.3g} mm"


def _spring_rate(table: TomlTable) -> tuple[str, Estimate]:
    """Give the key that was used and the rate at the spring, stacked springs already combined."""
    table.only_one(SPRING_KEYS, "Springs stacked end to end go into one list: springs = [..].")
    key = next((k for k in SPRING_KEYS if table.has(k)), None)
    if key is None:
        raise table.missing(
            "spring_rate, spring or springs", f'E.g. spring_rate = "28 N/mm", or spring = {_COIL}.'
        )
    value = table.raw(key)
    if key != "springs":
        return key, _one_spring(table, key, value)
    if not isinstance(value, list) or not 0 < len(value) <= 20:
        got = f"{len(value)} of them" if isinstance(value, list) else repr(value)[:60]
        raise MachineError(
            f"{table.at(key)} must be a list of one to twenty rates or coils, stacked end to end; got {got}",
            hint=f'E.g. springs = ["28 N/mm", {_COIL}].',
        )
    rates = [_one_spring(table, key, each) for each in value]
    return key, symmetric(stacked_rate(rates))


def _one_spring(table: TomlTable, key: str, value: Any) -> Estimate:
    if not isinstance(value, Mapping):
        if key == "spring":
            raise MachineError(
                f"{table.at(key)} must be a coil; got {repr(value)[:60]}",
                hint=f'Write spring = {_COIL}, or spring_rate = "28 N/mm".',
            )
        rate = table.number(key, value, "stiffness", "" if key == "spring_rate" else "spring_rate")
        with table.located(key):
            positive(rate, table.label(key))
        return rate
    for part in value:
        if part not in COIL_KINDS:
            raise MachineError(
                f"{table.at(key)} must have wire, mean_diameter and active_coils; "
                f"got {repr(part)[:60]}, which is not known",
                hint=nearest_hint(part, list(COIL_KINDS)),
            )
    for part in COIL_KINDS:
        if part not in value:
            raise MachineError(
                f"{table.at(key)} must have wire, mean_diameter and active_coils; got no {part}",
                hint=f"E.g. {_COIL}.",
            )
    parts = [table.number(key, value[part], kind, part) for part, kind in COIL_KINDS.items()]
    with table.blame(key):
        rate = symmetric(coil_rate(*parts))
        positive(rate, "the rate of the coil")
    return rate


def _motion_ratio(table: TomlTable) -> MotionRatio:
    key = "motion_ratio"
    if not table.has(key):
        raise table.missing(
            key,
            "Damper travel / wheel travel, usually below 1: motion_ratio = 0.70, or a table of both travels.",
        )
    value = table.raw(key)
    if not isinstance(value, list):
        ratio = table.number(key, value, "ratio")
        with table.located(key):
            positive(ratio, table.label(key))
        return MotionRatio(ratio)
    if len(value) > 1000:
        raise MachineError(f"{table.at(key)} must have at most 1000 rows; got {len(value)}")
    columns: list[list[Estimate]] = [[], []]
    for number, row in enumerate(value, 1):
        if not isinstance(row, list) or len(row) != 2:
            raise MachineError(
                f"{table.at(key)} must be rows of [wheel travel, damper travel]; "
                f"got {repr(row)[:60]} in row {number}",
                hint='E.g. motion_ratio = [["0 mm", "0 mm"], ["100 mm", "70 mm"], ["200 mm", "145 mm"]].',
            )
        for column, each, part in zip(columns, row, ("wheel travel", "damper travel"), strict=True):
            column.append(table.number(key, each, "length", part))
    travels = [np.array([e.value for e in column]) for column in columns]
    halves = [np.array([e.high - e.value for e in column]) for column in columns]
    with table.blame(key):
        return MotionRatio(None, *travels, *halves)


def read_body(table: TomlTable) -> tuple[Body, list[Note]]:
    """Read [body]; without an inertia the factor that is common practice is taken, with a note."""
    table.only(tuple(BODY_KINDS), "[body]")
    given = _values(table, BODY_KINDS)
    if "wheelbase" not in given:
        raise table.missing("wheelbase", 'E.g. wheelbase = "1800 mm".')
    for pair in (("cg_to_front", "front_share"), ("pitch_inertia", "pitch_factor")):
        table.only_one(pair, "Keep the better known one.")
    if "cg_to_front" not in given and "front_share" not in given:
        raise table.missing(
            "front_share or cg_to_front", "The front axle's part of the sprung weight, e.g. 0.47."
        )
    notes = []
    if "pitch_inertia" not in given and "pitch_factor" not in given:
        given["pitch_factor"] = PITCH_FACTOR
        notes.append(Note("default-pitch-factor", factor=PITCH_FACTOR))
    with table.blame("front_share" if "front_share" in given else "cg_to_front"):
        return Body(**given), notes


def read_axles(table: TomlTable, corners: list[str]) -> Axles:
    """Read [axles]: the name of one of `corners` for each axle."""
    table.only(("front", "rear"), "[axles]")
    return Axles(*(table.name_of(key, corners, "corner") for key in ("front", "rear")))


def read_target(table: TomlTable | None) -> tuple[Target, list[Note]]:
    """Read [target], or take the default band with a note."""
    if table is None:
        band = TARGETS[DEFAULT_TARGET]
        usual = Estimate.exact(DEFAULT_TARGET_SPEED, "m/s")
        return band, [Note("default-target", target=DEFAULT_TARGET, speed=usual, source=band.source)]
    table.only(("use", "compression", "rebound", "speed"), "[target]")
    notes = []
    given = table.estimate("speed", "speed")
    speed = DEFAULT_TARGET_SPEED if given is None else given.value
    if given is None and not table.has("use"):
        notes.append(Note("default-target-speed", speed=Estimate.exact(DEFAULT_TARGET_SPEED, "m/s")))
    for side in ("compression", "rebound"):
        table.only_one(("use", side), "Keep either use or the two bands of your own.")
    if table.has("use"):
        band = TARGETS[table.name_of("use", list(TARGETS), "built-in band")]
        with table.blame("speed"):
            return Target(band.compression, band.rebound, speed, band.source, band.name), notes
    compression, rebound = table.band("compression"), table.band("rebound")
    with table.blame("compression"):
        return Target(compression, rebound, speed, "the machine file"), notes
