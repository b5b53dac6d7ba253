"""A machine as it is typed, field by field: nothing typed is lost, and what is wrong is said at its field.

Takes texts of fields (number with or without unit, how well it is known); gives a frozen `MachineForm`, the
`Machine` of all that is complete, and one refusal per field.

A place is (corner, field); of the body and of the target the corner is "". Texts keep their unit, so that a
form reads the same in metric and US.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from tuner.errors import MachineError, TunerError, UnitError
from tuner.estimates import Estimate
from tuner.machine.entries import (
    BODY_KINDS,
    COIL_KINDS,
    CORNER_KINDS,
    read_axles,
    read_body,
    read_corner,
    read_target,
)
from tuner.machine.file import machine_from_values
from tuner.machine.parts import (
    DEFAULT_TARGET,
    DEFAULT_TARGET_SPEED,
    TARGETS,
    Corner,
    Machine,
    possible,
)
from tuner.machine.tables import TomlTable
from tuner.machine.writing import short
from tuner.units import SHOWN, System, amount_to_si, shown

Place = tuple[str, str]
Row = tuple[str, str]

# field -> kind of unit; those of the file, and those that only a sum of the workshop needs
KINDS: Mapping[str, str] = {
    **CORNER_KINDS,
    "spring_rate": "stiffness",
    "motion_ratio": "ratio",
    **COIL_KINDS,
    "spring_1": "stiffness",
    "spring_2": "stiffness",
    "spring_3": "stiffness",
    "scale_reading": "mass",
    "sag": "length",
    "tape": "length",
    **BODY_KINDS,
    "total_mass": "mass",
    "level_mass": "mass",
    "raised_mass": "mass",
    "lift": "length",
    "axle_height": "length",
    "swinging_mass": "mass",
    "body_mass": "mass",
    "pivot_to_cg": "length",
    "period": "time",
    "to_front": "length",
    "to_rear": "length",
    "speed": "speed",
}
NEEDED = ("sprung_mass", "spring_rate", "motion_ratio")
CORNER_PLACES = (*CORNER_KINDS, "spring_rate", "motion_ratio")
_CALLED = {"static_travel": "travel at rest"}  # a key whose field is called otherwise
BY_TABLE = "motion_ratio_by"  # a choice: the motion ratio is the table when it says "table"
# how well a tape may be read, likely ones first
TAPE: Mapping[System, tuple[str, ...]] = {
    "metric": ("1 mm", "0.5 mm", "2 mm", "5 mm"),
    "us": ("0.05 inch", "0.02 inch", "0.1 inch", "0.2 inch"),
}
OWN_BANDS = "own"  # a target that is not one of the built-in ones
BAND_FIELDS = ("compression_low", "compression_high", "rebound_low", "rebound_high")
_WHERE = "form"
_BARE = re.compile(r"\s*[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?\s*")


@dataclass(frozen=True, slots=True)
class Entry:
    """What stands in a field: the number with its unit as typed, and how well it is known ("2 %", "1 mm", "")."""

    text: str = ""
    spread: str = ""

    def joined(self) -> str:
        """Write both as a machine file does."""
        spread = re.sub(r"^\s*(\+/?-|±)", "", self.spread).strip()
        return f"{self.text.strip()} +- {spread}" if spread else self.text.strip()


@dataclass(frozen=True, slots=True)
class MachineForm:
    """Everything typed about a machine. `tables`: rows (wheel, damper) of the motion ratio by corner."""

    name: str = ""
    corners: tuple[str, ...] = ()
    entries: tuple[tuple[Place, Entry], ...] = ()
    tables: tuple[tuple[str, tuple[Row, ...]], ...] = ()
    front: str = ""
    rear: str = ""
    use: str = DEFAULT_TARGET

    def entry(self, corner: str, key: str) -> Entry:
        """Give what stands in a field, an empty one when nothing does."""
        return dict(self.entries).get((corner, key), Entry())

    def rows(self, corner: str) -> tuple[Row, ...]:
        """Give the rows of a corner's motion ratio table."""
        return dict(self.tables).get(corner, ())

    def by_table(self, corner: str) -> bool:
        """Say whether the motion ratio of a corner is its table."""
        return self.entry(corner, BY_TABLE).text == "table"

    def with_entry(self, corner: str, key: str, entry: Entry) -> MachineForm:
        """Type into a field."""
        return replace(self, entries=_put(self.entries, (corner, key), entry))

    def with_rows(self, corner: str, rows: Iterable[Row]) -> MachineForm:
        """Give a corner a motion ratio table; rows without anything in them are dropped."""
        kept = tuple(row for row in rows if any(cell.strip() for cell in row))
        return replace(self, tables=_put(self.tables, corner, kept))

    def with_corner(self, name: str, like: str | None = None) -> MachineForm:
        """Add a corner, empty or `like` another one; raises MachineError for no name or one that is there."""
        name = name.strip()
        if not name or name in self.corners:
            raise MachineError(
                f"the name of a corner must be new and not empty; got {name!r}",
                hint="For example 'rear left'.",
            )
        added = replace(self, corners=(*self.corners, name))
        if like is None:
            return added
        for (corner, key), entry in self.entries:
            if corner == like:
                added = added.with_entry(name, key, entry)
        return added.with_rows(name, self.rows(like))

    def without_corner(self, name: str) -> MachineForm:
        """Take a corner away, with all that was typed for it."""
        return replace(
            self,
            corners=tuple(corner for corner in self.corners if corner != name),
            entries=tuple(each for each in self.entries if each[0][0] != name or not name),
            tables=tuple(each for each in self.tables if each[0] != name),
            front="" if self.front == name else self.front,
            rear="" if self.rear == name else self.rear,
        )


@dataclass(frozen=True, slots=True)
class FormRead:
    """What a form gives.

    machine : the machine of all complete `corners`, None without any. problems : what is wrong, by place.
    missing : needed fields that are still empty.
    """

    machine: Machine | None
    corners: Mapping[str, Corner] = field(default_factory=dict)
    problems: Mapping[Place, TunerError] = field(default_factory=dict)
    missing: tuple[Place, ...] = ()


def _put(pairs: tuple[tuple[Any, Any], ...], key: Any, value: Any) -> tuple[tuple[Any, Any], ...]:
    return tuple((dict(pairs) | {key: value}).items())


# --- texts -------------------------------------------------------------------------------------------------------


def with_unit(text: str, kind: str, system: System) -> str:
    """Add the unit that people of `system` read to a number that came without one."""
    unit = SHOWN[system][kind].unit
    return f"{text.strip()} {unit}" if unit != "1" and _BARE.fullmatch(text) else text.strip()


def without_unit(text: str, kind: str, system: System) -> str:
    """Give the number alone, in the unit that people of `system` read; text that is no number stays as it is."""
    unit = SHOWN[system][kind].unit
    number = text.removesuffix(unit).strip()
    if _BARE.fullmatch(number):
        return number
    try:
        return f"{shown(amount_to_si(text, kind, name='value'), kind, system)[0]:.4g}"
    except UnitError:
        return text


def entry_of(estimate: Estimate, kind: str) -> Entry:
    """Write a value with its interval; an uneven one gets its wider half."""
    half = max(estimate.high - estimate.value, estimate.value - estimate.low)
    percent = 100.0 * half / abs(estimate.value) if estimate.value else 0.0
    if half == 0.0:
        spread = ""
    elif percent and abs(float(f"{percent:.3g}") / percent - 1.0) < 1e-6:
        spread = f"{percent:.3g} %"
    else:
        spread = _written(short(half, estimate.value), kind)
    return Entry(_written(estimate.value, kind), spread)


def suggestion(estimate: Estimate, kind: str, system: System) -> Entry:
    """Write the answer of a sum with as many digits as it is worth."""
    number, _ = shown(estimate.value, kind, system)
    half = max(estimate.high - estimate.value, estimate.value - estimate.low)
    percent = 100.0 * half / abs(estimate.value) if estimate.value else 0.0
    return Entry(with_unit(f"{number:.4g}", kind, system), f"{percent:.2g} %" if percent > 0 else "")


def _written(value: float, kind: str) -> str:
    for digits in (6, 12, 17):
        text = with_unit(f"{shown(value, kind, 'metric')[0]:.{digits}g}", kind, "metric")
        if amount_to_si(text, kind, name="value") == value:
            break
    return text


# --- reading -----------------------------------------------------------------------------------------------------


def typed(form: MachineForm, corner: str, key: str) -> Estimate | None:
    """Give the value of a field in SI, None when it is empty; raises MachineError or UnitError."""
    entry = form.entry(corner, key)
    if not entry.text.strip():
        return None
    try:
        return TomlTable({key: entry.joined()}, _WHERE).number(key, entry.joined(), KINDS[key])
    except (UnitError, MachineError) as refusal:
        raise _told(refusal) from None


def called(key: str) -> str:
    """Give the words that stand over the field of that key."""
    return _CALLED.get(key, key.replace("_", " "))


def _plain(message: str) -> str:
    """Take the place out of a refusal, and write its key as words."""
    text = re.sub(r" '$", "'", message.removeprefix(f"{_WHERE}: "))
    for key in sorted(KINDS, key=len, reverse=True):
        text = re.sub(rf"\b(?:corners\..*\.|body\.|target\.)?{key}\b", called(key), text)
    return re.sub(r"^(.+?): \1\b", r"\1", text)


def read_form(form: MachineForm) -> FormRead:
    """Read all that is typed. Nothing is raised: what is wrong stands in `problems` at its place."""
    problems: dict[Place, TunerError] = {}
    missing: list[Place] = []
    for corner, key in (place for place, _ in form.entries if place[1] in KINDS):
        try:
            value = typed(form, corner, key)
            if value is not None and corner and key in CORNER_PLACES:
                possible(key, value, called(key))
        except TunerError as refusal:
            problems[corner, key] = refusal
    corners: dict[str, Corner] = {}
    values: dict[str, Any] = {}
    for name in form.corners:
        given = _corner_values(form, name)
        _check_rows(form, name, problems)
        empty = [(name, key) for key in NEEDED if key not in given]
        missing.extend(empty)
        if not empty and not any(place == (name, key) for place in problems for key in given):
            try:
                corners[name] = read_corner(name, TomlTable(given, _WHERE, ("corners", name)))
                values[name] = given
            except (MachineError, UnitError) as refusal:
                problems[name, _key_of(refusal, name, given)] = _told(refusal)
    whole = {"name": form.name.strip() or "my machine", "corners": values}
    whole |= _body_values(form, list(values), problems) | _target_values(form, problems)
    machine = None
    if values:
        try:
            machine = machine_from_values(whole, _WHERE)
        except (MachineError, UnitError) as refusal:
            problems["", "name"] = _told(refusal)
    return FormRead(machine, corners, problems, tuple(missing))


def _check_rows(form: MachineForm, name: str, problems: dict[Place, TunerError]) -> None:
    """Find the first row of the motion ratio table that is only half filled in."""
    for number, (wheel, damper) in enumerate(form.rows(name), 1):
        if form.by_table(name) and bool(wheel.strip()) != bool(damper.strip()):
            empty = "damper" if wheel.strip() else "wheel"
            problems[name, "motion_ratio"] = MachineError(
                f"row {number} of the table must have both travels; that of the {empty} is missing"
            )
            return


def _told(refusal: TunerError) -> TunerError:
    return type(refusal)(_plain(refusal.message), hint=refusal.hint)


def _key_of(refusal: TunerError, name: str, given: Mapping[str, Any]) -> str:
    found = re.search(rf"corners\.{re.escape(name)}\.(\w+)", refusal.message)
    return found[1] if found and found[1] in given else "sprung_mass"


def _corner_values(form: MachineForm, name: str) -> dict[str, Any]:
    given: dict[str, Any] = {}
    for key in CORNER_PLACES:
        text = form.entry(name, key).joined()
        if form.entry(name, key).text.strip():
            given[key] = text
    if form.by_table(name):
        given.pop("motion_ratio", None)
        tape = form.entry(name, "tape").spread
        rows = [row for row in form.rows(name) if any(cell.strip() for cell in row)]
        if rows:
            given["motion_ratio"] = [[Entry(cell, tape).joined() for cell in row] for row in rows]
    return given


def _body_values(form: MachineForm, corners: list[str], problems: dict[Place, TunerError]) -> dict[str, Any]:
    given = {key: form.entry("", key).joined() for key in BODY_KINDS if form.entry("", key).text.strip()}
    found: dict[str, Any] = {}
    if given and not any(("", key) in problems for key in given):
        try:
            read_body(TomlTable(given, _WHERE, ("body",)))
            found["body"] = given
        except (MachineError, UnitError) as refusal:
            at = next((key for key in given if f"body.{key}" in refusal.message), "wheelbase")
            problems["", at] = _told(refusal)
    axles = {"front": form.front, "rear": form.rear}
    if any(axles.values()):
        try:
            read_axles(TomlTable(axles, _WHERE, ("axles",)), corners)
            found["axles"] = axles
        except (MachineError, UnitError):
            missing = [
                f"{axle} ({name or 'none chosen'})" for axle, name in axles.items() if name not in corners
            ]
            problems["", "axles"] = MachineError(
                f"each axle must have a corner that is complete; not so yet: {' and '.join(missing)}"
            )
    return found


def _target_values(form: MachineForm, problems: dict[Place, TunerError]) -> dict[str, Any]:
    speed = form.entry("", "speed").joined() if form.entry("", "speed").text.strip() else DEFAULT_TARGET_SPEED
    if ("", "speed") in problems:
        return {}
    if form.use in TARGETS:
        return {"target": {"use": form.use, "speed": speed}}
    texts = [form.entry("", key).text.strip().replace(",", ".") for key in BAND_FIELDS]
    target = {"compression": texts[:2], "rebound": texts[2:], "speed": speed}
    try:
        read_target(TomlTable(target, _WHERE, ("target",)))
    except (MachineError, UnitError) as refusal:
        problems["", "rebound_low" if "rebound" in refusal.message else "compression_low"] = _told(refusal)
        return {}
    return {"target": target}


# --- a machine into a form ---------------------------------------------------------------------------------------


def form_of(machine: Machine) -> MachineForm:
    """Write a machine into the fields; reading them gives the same machine."""
    form = MachineForm(machine.name, tuple(machine.corners))
    for name, corner in machine.corners.items():
        for key in (*CORNER_KINDS, "spring_rate"):
            value = getattr(corner, key)
            if value is not None and (key != "tyre_damping" or value.value > 0):
                form = form.with_entry(name, key, entry_of(value, KINDS[key]))
        ratio = corner.motion_ratio
        if ratio.constant is not None:
            form = form.with_entry(name, "motion_ratio", entry_of(ratio.constant, "ratio"))
            continue
        rows = zip(ratio.wheel, ratio.damper, strict=True)
        form = form.with_rows(name, [(_written(w, "length"), _written(d, "length")) for w, d in rows])
        widest = float(max(ratio.wheel_half.max(), ratio.damper_half.max()))
        form = form.with_entry(name, "tape", Entry("", _written(widest, "length") if widest else ""))
        form = form.with_entry(name, BY_TABLE, Entry("table"))
    if machine.body is not None:
        for key, kind in BODY_KINDS.items():
            value = getattr(machine.body, key)
            if value is not None:
                form = form.with_entry("", key, entry_of(value, kind))
    if machine.axles is not None:
        form = replace(form, front=machine.axles.front, rear=machine.axles.rear)
    target = machine.target
    form = form.with_entry("", "speed", entry_of(Estimate.exact(target.speed, "m/s"), "speed"))
    if target.name in TARGETS:
        return replace(form, use=target.name)
    for key, bound in zip(BAND_FIELDS, (*target.compression, *target.rebound), strict=True):
        form = form.with_entry("", key, Entry(f"{bound:g}"))
    return replace(form, use=OWN_BANDS)
