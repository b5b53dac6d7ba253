"""What the user says about a file: kind, columns, units, settings; each name checked, each value read.

Takes text; gives SI values and the `Conditions` of the test.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from tuner.errors import UsageError
from tuner.kinds import KINDS
from tuner.names import find_name, nearest_hint
from tuner.reading.table.words import ROLES
from tuner.records import Conditions, Kind
from tuner.units import SHOWN, SI_UNIT, amount_to_si, to_si


class Setting(NamedTuple):
    """One name of ``--set NAME=VALUE``: kind of unit, "words", "number" or "choice"; what it means; its limits."""

    kind: str
    meaning: str
    choices: tuple[str, ...] = ()
    low: float = -float("inf")
    high: float = float("inf")


_SIDES = ("compression", "rebound")
_AXES = ("+x", "-x", "+y", "-y", "+z", "-z", "x", "y", "z")

SETTINGS: Mapping[str, Setting] = {
    "positive_travel": Setting("choice", "which way the file counts travel and velocity positive", _SIDES),
    "positive_force": Setting("choice", "on which side the file counts the damping force positive", _SIDES),
    "side": Setting("choice", "the only side that was tested, when the file does not say", _SIDES),
    "decimal": Setting("choice", "the decimal sign of the file", ("point", "comma")),
    "calibration": Setting(
        "words",
        "two readings of the travel sensor and their travels, such as '0.50 V = 0 mm, 4.50 V = 100 mm' "
        "(0 mm = fully extended)",
    ),
    "extended_reading": Setting(
        "length", "what the travel column reads with the shaft fully extended", low=-2.0, high=2.0
    ),
    "static_travel": Setting(
        "length", "shaft travel where the machine stands still on its wheels", low=0.0, high=2.0
    ),
    "gravity": Setting("choice", "whether the phone's accelerations have gravity in them", ("in", "out")),
    "up_axis": Setting("choice", "which axis of the phone points up", _AXES),
    "nose_up_axis": Setting(
        "choice", "axis of the phone about which a right-hand turn lifts the nose", _AXES
    ),
    "start": Setting("choice", "how the first bounce began", ("push", "lift")),
    "rate": Setting("frequency", "sampling rate, when the file has no time column", low=1e-3, high=1e7),
    "temperature": Setting("temperature", "of the oil or the damper's body", low=200.0, high=500.0),
    "stroke": Setting("length", "stroke of the bench, end to end", low=1e-4, high=2.0),
    "rpm": Setting("frequency", "turns or strokes of the bench, such as '60 rpm'", low=1e-3, high=100.0),
    "gas_pressure": Setting("pressure", "of the gas in the damper, above the air's", low=0.0, high=1e7),
    "frame_rate": Setting(
        "frequency", "pictures per second of the camera that timed the weights", low=1.0, high=1e5
    ),
    "moving_mass": Setting(
        "mass", "rod or body and hanger that hang along and are not in the mass", low=0.0, high=500.0
    ),
    "push": Setting("force", "scale reading of a slow push in", low=-1e5, high=1e5),
    "return": Setting("force", "scale reading of a slow return", low=-1e5, high=1e5),
    "oil": Setting("words", "name of the oil"),
    "viscosity": Setting("viscosity", "kinematic, at 40 degC, such as '15 cSt'", low=1e-7, high=1e-2),
    "oil_volume": Setting("volume", "oil in the damper", low=1e-6, high=1e-2),
    "clicks": Setting("number", "position of the adjuster", low=-200.0, high=200.0),
    "shims": Setting("words", "shim stack"),
    "spring": Setting("words", "spring that was on it"),
    "note": Setting("words", "anything else"),
}
QUANTITIES = tuple(dict.fromkeys(role.kind for role in ROLES.values() if role.kind in SI_UNIT))
OWN_UNIT = ("rotation_time",)  # another sensor's clock: what is said of times in general is not said of it
_CONDITIONS = (
    "temperature",
    "stroke",
    "gas_pressure",
    "oil",
    "viscosity",
    "oil_volume",
    "clicks",
    "shims",
    "spring",
    "note",
)


def _none() -> Mapping[str, str]:
    return {}


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What the user says about a file.

    kind : the record kind, None when the file shall decide. columns : role -> name of the column.
    units : role -> unit. settings : name -> value as text, see `SETTINGS`.
    """

    kind: Kind | None = None
    columns: Mapping[str, str] = field(default_factory=_none)
    units: Mapping[str, str] = field(default_factory=_none)
    settings: Mapping[str, str] = field(default_factory=_none)

    def has(self, setting: str) -> bool:
        """Say whether that setting was given."""
        return setting in self.settings

    def amount(self, setting: str) -> float | None:
        """Give a setting in SI, None when it was not given."""
        return None if setting not in self.settings else _amount(setting, self.settings[setting])

    def choice(self, setting: str) -> str:
        """Give a setting that is one of a few words, "" when it was not given."""
        return str(self.settings.get(setting, "")).strip().lower()

    def opened(self, kind: Kind) -> ReadOptions:
        """Give the same options for that kind."""
        return ReadOptions(kind, self.columns, self.units, self.settings)


def _amount(name: str, text: str) -> float:
    setting = SETTINGS[name]
    kind = "ratio" if setting.kind == "number" else setting.kind
    value = amount_to_si(str(text), kind, name=f"setting {name}")
    if not setting.low <= value <= setting.high:
        unit = "" if setting.kind == "number" else f" {SI_UNIT[kind]}"
        example = "a number" if setting.kind == "number" else f"'10 {SHOWN['metric'][kind].unit}'"
        raise UsageError(
            f"setting {name} must be between {setting.low:g} and {setting.high:g}{unit}; got {text!r}",
            hint=f"Write it like {example}; a bare number counts as {SI_UNIT[kind]}."
            if unit
            else f"Write {example}.",
        )
    return value


def _known(given: Mapping[str, str], known: Sequence[str], refuse: str) -> dict[str, str]:
    """Give the same values under the names that exist; `refuse` begins the refusal of one that does not."""
    found: dict[str, str] = {}
    for name, value in given.items():
        places = find_name(name, known)
        if not places:
            raise UsageError(f"{refuse} {name!r}", hint=nearest_hint(name, known))
        found[known[places[0]]] = value
    return found


def _spread(units: Mapping[str, str]) -> dict[str, str]:
    """Give each role its unit: its own, else the one said for its quantity (`force` speaks for `rebound_force`)."""
    for name, unit in units.items():
        kind = ROLES[name].kind if name in ROLES else name
        if kind not in SI_UNIT:
            raise UsageError(f"--unit: the role {name!r} has no unit; got {unit!r}")
        to_si(0.0, kind, unit, name=f"--unit {name}")
    by_quantity = {
        role: units[its.kind] for role, its in ROLES.items() if its.kind in units and role not in OWN_UNIT
    }
    return by_quantity | {name: unit for name, unit in units.items() if name in ROLES}


def settled(options: ReadOptions) -> ReadOptions:
    """Check every name and value of the options; give them under the names that exist, units role by role.

    Raises UsageError for an unknown kind, role, setting or choice, with the nearest one that exists; UnitError
    for a unit of the wrong kind.
    """
    kind = options.kind
    if kind is not None and kind not in KINDS:
        raise UsageError(f"no record kind is called {kind!r}", hint=nearest_hint(str(kind), KINDS))
    columns = _known(options.columns, list(ROLES), "--column: no column plays the role")
    units = _known(options.units, [*ROLES, *QUANTITIES], "--unit: no column plays the role")
    settings = _known(options.settings, list(SETTINGS), "no setting is called")
    found = ReadOptions(kind, columns, _spread(units), settings)
    for name, text in settings.items():
        setting = SETTINGS[name]
        if setting.kind == "choice":
            if found.choice(name) not in setting.choices:
                raise UsageError(
                    f"setting {name} must be {' or '.join(setting.choices)}; got {text!r}",
                    hint=f"It says {setting.meaning}.",
                )
        elif setting.kind != "words":
            _amount(name, text)
    return found


def conditions_of(options: ReadOptions) -> Conditions:
    """Give what the settings say about damper and test."""
    given: dict[str, float | str | None] = {}
    for name in _CONDITIONS:
        if options.has(name):
            words = SETTINGS[name].kind == "words"
            given[name] = str(options.settings[name]) if words else options.amount(name)
    return Conditions(**given)  # type: ignore[arg-type]
