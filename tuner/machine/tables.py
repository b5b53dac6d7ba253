"""The tables of a machine file, key by key: which are known, of which kind, and where a wrong one stands.

Takes parsed TOML; gives corners, bodies and single values, each refusal with file, line, key, need and find.
Uses: errors, units, estimates, parts, sums.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from tuner.errors import InputRefused, MachineError, UnitError
from tuner.estimates import Estimate, Note
from tuner.machine.checks import likely_mistakes
from tuner.machine.parts import GRAVITY, Body, Corner, MotionRatio, nearest_hint
from tuner.machine.propagation import symmetric
from tuner.machine.rates import wheel_rate
from tuner.machine.sums import PITCH_FACTOR, coil_rate, stacked_rate
from tuner.units import parse_estimate

# key -> kind of unit
CORNER_KINDS: Mapping[str, str] = {
    "sprung_mass": "mass",
    "unsprung_mass": "mass",
    "spring_rate": "stiffness",
    "tyre_rate": "stiffness",
    "damper_travel": "length",
    "static_travel": "length",
    "tyre_damping": "damping",
    "bump_stop_rate": "stiffness",
    "droop_stop_rate": "stiffness",
}
CORNER_KEYS = (*CORNER_KINDS, "motion_ratio", "spring", "springs")
COIL_KINDS: Mapping[str, str] = {"wire": "length", "mean_diameter": "length", "active_coils": "ratio"}
BODY_KINDS: Mapping[str, str] = {
    "wheelbase": "length",
    "cg_to_front": "length",
    "front_share": "ratio",
    "pitch_inertia": "inertia",
    "pitch_factor": "ratio",
}

# what no machine on wheels has; outside, the unit is wrong or missing
_POSSIBLE: Mapping[str, tuple[float, float]] = {
    "sprung_mass": (0.1, 2e4),
    "unsprung_mass": (0.01, 5e3),
    "damper_travel": (1e-3, 3.0),
    "static_travel": (1e-4, 3.0),
    "wheelbase": (0.05, 20.0),
    "cg_to_front": (0.01, 20.0),
    "wire": (1e-4, 0.1),
    "mean_diameter": (1e-3, 1.0),
    "active_coils": (0.5, 200.0),
    "motion_ratio": (0.02, 10.0),
    "pitch_inertia": (1e-4, 1e6),
    "pitch_factor": (0.05, 20.0),
    "tyre_damping": (0.0, 1e5),
    "wheel travel": (-3.0, 3.0),
    "damper travel": (0.0, 3.0),
}
_POSSIBLE_FREQUENCY = (0.35, 30.0)  # Hz: a sag of 2 m, or one below 0.3 mm
_POSSIBLE_SQUASH = 0.5  # m, of a tyre under the corner's load


class Table:
    """One table of the file with its place: looks values up, refuses with where they stand."""

    def __init__(self, values: Mapping[str, Any], where: str, path: tuple[str, ...], content: str) -> None:
        self._values, self._where, self._path, self._content = values, where, path, content

    def keys(self) -> list[str]:
        """Give the keys in the file's order."""
        return list(self._values)

    def has(self, key: str) -> bool:
        """Say whether `key` is given."""
        return key in self._values

    def raw(self, key: str) -> Any:
        """Give the parsed value, None when there is none."""
        return self._values.get(key)

    def label(self, key: str) -> str:
        """Give the dotted name of `key`."""
        return ".".join((*self._path, key))

    def at(self, key: str) -> str:
        """Give the place of `key`: file, line where it can be found, dotted name."""
        line = _line_of(self._content, self._path, key)
        file = self._where if line is None else f"{self._where}, line {line}"
        return f"{file}: {self.label(key)}"

    @contextmanager
    def blame(self, key: str) -> Iterator[None]:
        """Put the place of `key` before any refusal from inside, and turn other refusals into MachineError."""
        try:
            yield
        except (MachineError, UnitError) as refusal:
            if refusal.message.startswith(self._where):
                raise
            raise type(refusal)(f"{self.at(key)}: {refusal.message}", hint=refusal.hint) from None
        except InputRefused as refusal:
            raise MachineError(f"{self.at(key)}: {refusal.message}", hint=refusal.hint) from None

    def only(self, known: Sequence[str], what: str) -> None:
        """Refuse the first key that is not known."""
        for key in self._values:
            if key not in known:
                raise MachineError(
                    f"{self.at(key)} must be a key of {what}; got {key!r}, which is not known",
                    hint=nearest_hint(key, list(known)),
                )

    def missing(self, key: str, hint: str = "") -> MachineError:
        """Build the refusal of a key that is needed and not there."""
        inside = f"[{'.'.join(self._path)}]" if self._path else "the top"
        line = _line_of(self._content, self._path, None)
        file = self._where if line is None else f"{self._where}, line {line}"
        return MachineError(
            f"{file}: {inside} must have {key}; got {', '.join(self._values) or 'nothing'}", hint=hint
        )

    def table(self, key: str, *, needed: bool = False) -> Table | None:
        """Give the table under `key`."""
        if key not in self._values and not needed:
            return None
        value = self._values.get(key)
        if not isinstance(value, dict):
            raise MachineError(
                f"{self.at(key)} must be a table; got {_brief(value)}",
                hint=f"Write [{self.label(key)}] on a line of its own.",
            )
        return Table(value, self._where, (*self._path, key), self._content)

    def text(self, key: str, *, default: str) -> str:
        """Give plain text."""
        value = self._values.get(key, default)
        if not isinstance(value, str) or not value.strip():
            raise MachineError(f"{self.at(key)} must be text in quotes; got {_brief(value)}")
        return value

    def name_of(self, key: str, known: list[str], what: str) -> str:
        """Give a text that must be one of `known`."""
        if key not in self._values:
            raise self.missing(key)
        value = self._values[key]
        if not isinstance(value, str) or value not in known:
            raise MachineError(
                f"{self.at(key)} must be the name of a {what}; got {_brief(value)}",
                hint=nearest_hint(str(value)[:100], known),
            )
        return value

    def estimate(self, key: str, kind: str) -> Estimate | None:
        """Give the value of `key` in SI with its uncertainty, None when it is not given."""
        if key not in self._values:
            return None
        return self.number(key, self._values[key], kind, key)

    def number(self, key: str, value: Any, kind: str, name: str) -> Estimate:
        """Read one `value` that stands somewhere under `key`; `name` is its own."""
        if isinstance(value, bool) or not isinstance(value, (str, int, float)):
            raise MachineError(
                f"{self.at(key)} must be a number or text with a unit; got {_brief(value)}",
                hint=f'Write {key} = "..." with a number and a unit of {kind}.',
            )
        if isinstance(value, int):
            value = float(value) if abs(value) < 10**300 else math.inf
        if isinstance(value, str) and len(value) > 100:
            raise MachineError(
                f"{self.at(key)} must be a number with a unit; got {len(value)} characters of text"
            )
        with self.blame(key):
            estimate = parse_estimate(value, kind, name=name)
        low, high = _POSSIBLE.get(name, (-math.inf, math.inf))
        if estimate.value > 0 and not low <= estimate.value <= high:
            raise MachineError(
                f"{self.at(key)} must be between {low:g} and {high:g} {estimate.unit}; got {estimate.value:g} {estimate.unit}",
                hint=bare_hint(value, estimate.unit),
            )
        return estimate

    def band(self, key: str) -> tuple[float, float]:
        """Give a pair of plain ratios."""
        if key not in self._values:
            raise self.missing(
                key, 'Write compression = [0.20, 0.35] and rebound = [0.45, 0.75], or use = "...".'
            )
        value = self._values[key]
        if not isinstance(value, list) or len(value) != 2:
            raise MachineError(
                f"{self.at(key)} must be two damping ratios such as [0.20, 0.35]; got {_brief(value)}"
            )
        low, high = (self.number(key, each, "ratio", key).value for each in value)
        return low, high


def bare_hint(value: Any, unit: str) -> str:
    """Explain a number that came without a unit; other text gets a plain hint."""
    number = str(value).split("+")[0].strip()
    if re.fullmatch(r"[-+0-9.,eE]+", number):
        return f"A number without a unit counts as {unit}: write the unit, in quotes, if it is another one."
    return "Check the number and its unit."


def _brief(value: Any) -> str:
    if value is None:
        return "nothing"
    words = repr(value)
    return words if len(words) <= 60 else f"{words[:57]}..."


def _line_of(content: str, path: tuple[str, ...], key: str | None) -> int | None:
    """Find the line of a key (or of the table's header) in plainly written TOML; None where it is not plain."""
    here: tuple[str, ...] = ()
    for number, line in enumerate(content.splitlines(), 1):
        header = re.match(r"\s*\[([^\[\]]+)\]\s*(?:#.*)?$", line)
        if header:
            here = tuple(part.strip().strip("\"'") for part in header[1].split("."))
            if (key is None and here == path) or (key is not None and here == (*path, key)):
                return number
            continue
        if key is None:
            continue
        found = re.match(r"\s*([\w\-.\"' ]+?)\s*=", line)
        if found:
            dotted = tuple(part.strip().strip("\"'") for part in found[1].split("."))
            whole = (*here, *dotted)
            if whole == (*path, key) or (whole == path and re.search(rf"\b{re.escape(key)}\b", line)):
                return number
    return None


def read_corner(name: str, table: Table) -> Corner:
    """Read one table of [corners]."""
    table.only(CORNER_KEYS, "a corner")
    values = {key: table.estimate(key, kind) for key, kind in CORNER_KINDS.items() if key != "spring_rate"}
    if values["sprung_mass"] is None:
        raise table.missing(
            "sprung_mass", 'The mass that rests on this one corner\'s spring, e.g. "92 kg +- 2 %".'
        )
    given = {key: value for key, value in values.items() if value is not None}
    for key, value in given.items():
        with table.blame(key):
            _check_sign(key, value)
    rate, rate_key = _spring_rate(table)
    ratio = _motion_ratio(table)
    with table.blame("static_travel" if table.has("static_travel") else "sprung_mass"):
        corner = Corner(name=name, spring_rate=rate, motion_ratio=ratio, **given)
    with table.blame("motion_ratio"):
        at_wheel = wheel_rate(corner).value
    _possible_together(table, corner, at_wheel, rate_key)
    return corner


def _check_sign(key: str, value: Estimate) -> None:
    from tuner.machine.parts import positive

    if key == "tyre_damping":
        if value.value < 0:
            raise MachineError(f"must be zero or positive; got {value.value:g} {value.unit}")
        return
    positive(value, key)


def _possible_together(table: Table, corner: Corner, at_wheel: float, rate_key: str) -> None:
    mass = corner.sprung_mass.value
    hertz = math.sqrt(at_wheel / mass) / (2.0 * math.pi)
    low, high = _POSSIBLE_FREQUENCY
    if not low <= hertz <= high:
        mistakes = likely_mistakes(corner, at_wheel)
        sag = mass * GRAVITY / at_wheel
        raise MachineError(
            f"{table.at(rate_key)} must be a spring that can carry {mass:g} kg at this motion ratio; got {at_wheel:.3g} N/m at the "
            f"wheel, on which the corner would sag {_length(sag)}",
            hint=f"Likely: {'; or '.join(mistakes)}." if mistakes else bare_hint(table.raw(rate_key), "N/m"),
        )
    if corner.tyre_rate is not None and mass * GRAVITY / corner.tyre_rate.value > _POSSIBLE_SQUASH:
        raise MachineError(
            f"{table.at('tyre_rate')} must be a tyre that can carry {mass:g} kg; got {corner.tyre_rate.value:g} N/m, on which it would "
            f"be squashed {_length(mass * GRAVITY / corner.tyre_rate.value)}",
            hint=bare_hint(table.raw("tyre_rate"), "N/m"),
        )


def _length(metres: float) -> str:
    return f"{metres:.3g} m" if metres >= 1.0 else f"{1000 * metres:.3g} mm"


def _spring_rate(table: Table) -> tuple[Estimate, str]:
    given = [key for key in ("spring_rate", "spring", "springs") if table.has(key)]
    if not given:
        raise table.missing(
            "spring_rate, spring or springs",
            'E.g. spring_rate = "28 N/mm", or spring = { wire = "10 mm", mean_diameter = "76 mm", active_coils = 8 }.',
        )
    if len(given) > 1:
        raise MachineError(
            f"{table.at(given[1])} must not be given together with {given[0]}; got both",
            hint="Springs stacked end to end go into one list: springs = [..].",
        )
    key = given[0]
    value = table.raw(key)
    if key == "spring_rate":
        rate = table.estimate(key, "stiffness")
        assert rate is not None
        with table.blame(key):
            _check_sign(key, rate)
        return rate, key
    if key == "spring":
        return _one_spring(table, key, value), key
    if not isinstance(value, list) or not value:
        raise MachineError(
            f"{table.at(key)} must be a list of rates or coils, stacked end to end; got {_brief(value)}",
            hint='E.g. springs = ["28 N/mm", { wire = "10 mm", mean_diameter = "76 mm", active_coils = 8 }].',
        )
    if len(value) > 20:
        raise MachineError(f"{table.at(key)} must be at most 20 springs; got {len(value)}")
    with table.blame(key):
        return symmetric(stacked_rate([_one_spring(table, key, each) for each in value])), key


def _one_spring(table: Table, key: str, value: Any) -> Estimate:
    if not isinstance(value, dict):
        rate = table.number(key, value, "stiffness", key)
        with table.blame(key):
            _check_sign(key, rate)
        return rate
    for part in value:
        if part not in COIL_KINDS:
            raise MachineError(
                f"{table.at(key)} must have wire, mean_diameter and active_coils; got {part!r}, which is not known",
                hint=nearest_hint(part, list(COIL_KINDS)),
            )
    for part in COIL_KINDS:
        if part not in value:
            raise MachineError(
                f"{table.at(key)} must have wire, mean_diameter and active_coils; got no {part}",
                hint='E.g. { wire = "10 mm", mean_diameter = "76 mm", active_coils = 8 }.',
            )
    parts = [table.number(key, value[part], kind, part) for part, kind in COIL_KINDS.items()]
    with table.blame(key):
        return symmetric(coil_rate(*parts))


def _motion_ratio(table: Table) -> MotionRatio:
    key = "motion_ratio"
    value = table.raw(key)
    if value is None:
        raise table.missing(
            key,
            "Damper travel / wheel travel, usually below 1, e.g. motion_ratio = 0.70, or a table of both travels.",
        )
    if not isinstance(value, list):
        ratio = table.number(key, value, "ratio", key)
        with table.blame(key):
            return MotionRatio(ratio)
    if len(value) > 1000:
        raise MachineError(f"{table.at(key)} must have at most 1000 rows; got {len(value)}")
    for number, row in enumerate(value, 1):
        if not isinstance(row, list) or len(row) != 2:
            raise MachineError(
                f"{table.at(key)} must be rows of [wheel travel, damper travel]; got {_brief(row)} in row {number}",
                hint='E.g. motion_ratio = [["0 mm", "0 mm"], ["100 mm", "70 mm"], ["200 mm", "145 mm"]].',
            )
    rows = [
        [
            table.number(key, each, "length", f"{part} travel")
            for part, each in zip(("wheel", "damper"), row, strict=True)
        ]
        for row in value
    ]
    with table.blame(key):
        columns = [[row[side].value for row in rows] for side in (0, 1)]
        halves = [[row[side].high - row[side].value for row in rows] for side in (0, 1)]
        import numpy as np

        return MotionRatio(None, *(np.array(c) for c in (*columns, *halves)))


def read_body(table: Table) -> tuple[Body, list[Note]]:
    """Read [body]; without pitch_inertia or pitch_factor the factor that is common practice is taken, with a note."""
    table.only(tuple(BODY_KINDS), "[body]")
    values = {key: table.estimate(key, kind) for key, kind in BODY_KINDS.items()}
    if values["wheelbase"] is None:
        raise table.missing("wheelbase")
    for one, other in (("cg_to_front", "front_share"), ("pitch_inertia", "pitch_factor")):
        if values[one] is not None and values[other] is not None:
            raise MachineError(
                f"{table.at(other)} must not be given together with {one}; got both",
                hint="Keep the better known one.",
            )
    if values["cg_to_front"] is None and values["front_share"] is None:
        raise table.missing(
            "front_share or cg_to_front", "The front axle's part of the sprung weight, e.g. 0.47."
        )
    notes = []
    if values["pitch_inertia"] is None and values["pitch_factor"] is None:
        values["pitch_factor"] = PITCH_FACTOR
        notes.append(
            Note(
                "default-pitch-factor",
                f"[body] gives neither pitch_inertia nor pitch_factor; a factor of {PITCH_FACTOR.low:g} to {PITCH_FACTOR.high:g} "
                "was taken (common practice, no source)",
            )
        )
    for key, value in values.items():
        if value is not None and table.has(key):
            with table.blame(key):
                _check_sign(key, value)
    with table.blame("front_share" if table.has("front_share") else "cg_to_front"):
        return Body(**values), notes  # type: ignore[arg-type]
