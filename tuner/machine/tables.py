"""One table of a machine file: looks values up, refuses with file, line, key, need and find.

Takes parsed TOML and the text it came from; gives values in SI.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from tuner.errors import InputRefused, MachineError, RecordError, UnitError
from tuner.estimates import Estimate
from tuner.names import find_name, nearest_hint
from tuner.units import parse_estimate

# key -> (lowest, highest) in SI that any machine on wheels has; outside, the unit is wrong or missing
_POSSIBLE: Mapping[str, tuple[float, float]] = {
    "sprung_mass": (0.1, 2e4),
    "unsprung_mass": (0.01, 5e3),
    "spring_rate": (1.0, 1e9),
    "tyre_rate": (1.0, 1e9),
    "bump_stop_rate": (1.0, 1e9),
    "droop_stop_rate": (1.0, 1e9),
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
    "wheel travel": (0.0, 3.0),
    "damper travel": (0.0, 3.0),
}


class TomlTable:
    """One table of the file, with its place.

    values : the parsed table; where : name of the file; path : names of the tables around it;
    content : the file's text, for line numbers ("" when there is none).
    """

    def __init__(
        self, values: Mapping[str, Any], where: str, path: tuple[str, ...] = (), content: str = ""
    ) -> None:
        self._values, self._where, self._path, self._content = values, where, path, content

    def names(self) -> list[str]:
        """Give the keys in the file's order."""
        return list(self._values)

    def has(self, key: str) -> bool:
        """Say whether `key` is given."""
        return key in self._values

    def raw(self, key: str) -> Any:
        """Give the parsed value, None when there is none."""
        return self._values.get(key)

    def at(self, key: str) -> str:
        """Give the place of `key`: file, line where it can be found, dotted name."""
        return f"{self._file(key)}: {self.label(key)}"

    def label(self, key: str) -> str:
        """Give the dotted name of `key`."""
        return ".".join((*self._path, key))

    def _file(self, key: str | None) -> str:
        line = line_of(self._content, self._path, key)
        return self._where if line is None else f"{self._where}, line {line}"

    @contextmanager
    def located(self, key: str) -> Iterator[None]:
        """Put file and line of `key` before a refusal from inside that names the key itself."""
        try:
            yield
        except UnitError as refusal:
            raise UnitError(f"{self._file(key)}: {refusal.message}", hint=refusal.hint) from None
        except MachineError as refusal:
            raise MachineError(f"{self._file(key)}: {refusal.message}", hint=refusal.hint) from None

    @contextmanager
    def blame(self, key: str) -> Iterator[None]:
        """Put the place of `key` before a refusal from inside, and make it a MachineError."""
        try:
            yield
        except InputRefused as refusal:
            raise MachineError(f"{self.at(key)}: {refusal.message}", hint=refusal.hint) from None

    def only(self, known: Sequence[str], what: str) -> None:
        """Refuse the first key that is not known."""
        for key in self._values:
            if key not in known:
                raise MachineError(
                    f"{self.at(key)} is not known; it must be a key of {what}",
                    hint=nearest_hint(key, list(known)),
                )

    def only_one(self, keys: Sequence[str], hint: str) -> None:
        """Refuse two of these keys together."""
        given = [key for key in keys if key in self._values]
        if len(given) > 1:
            raise MachineError(f"{self.at(given[1])} must not stand beside {given[0]}; got both", hint=hint)

    def missing(self, key: str, hint: str = "") -> MachineError:
        """Build the refusal of a key that is needed and not there."""
        inside = f"[{'.'.join(self._path)}]" if self._path else "it"
        return MachineError(
            f"{self._file(None)}: {inside} must have {key}; got {', '.join(self._values) or 'nothing'}",
            hint=hint,
        )

    def table(self, key: str) -> TomlTable | None:
        """Give the table under `key`, None when it is not given."""
        if key not in self._values:
            return None
        value = self._values[key]
        if not isinstance(value, Mapping):
            raise MachineError(
                f"{self.at(key)} must be a table; got {_brief(value)}",
                hint=f"Write [{self.label(key)}] on a line of its own.",
            )
        return TomlTable(value, self._where, (*self._path, key), self._content)

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
        found = find_name(value, known) if isinstance(value, str) else ()
        if len(found) != 1:
            raise MachineError(
                f"{self.at(key)} must be the name of a {what}; got {_brief(value)}",
                hint=nearest_hint(str(value)[:100], known),
            )
        return known[found[0]]

    def estimate(self, key: str, kind: str) -> Estimate | None:
        """Give the value of `key` in SI with its uncertainty, None when it is not given."""
        if key not in self._values:
            return None
        return self.number(key, self._values[key], kind)

    def number(self, key: str, value: Any, kind: str, part: str = "") -> Estimate:
        """Read one `value` that stands under `key`, as its `part` if it is one of several."""
        with self.located(key):
            return _number(
                value, kind, f"{self.label(key)}, {part}," if part else self.label(key), part or key
            )

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
        low, high = (self.number(key, each, "ratio").value for each in value)
        return low, high


def _number(value: Any, kind: str, name: str, key: str) -> Estimate:
    """Read one value; `name` is how a refusal calls it, `key` what its possible range is listed under."""
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise MachineError(
            f"{name} must be a number or text with a unit; got {_brief(value)}",
            hint=f'Write a number, or "number unit" in quotes with a unit of {kind}.',
        )
    if isinstance(value, int):
        value = float(value) if abs(value) < 10**300 else math.inf
    if isinstance(value, str) and len(value) > 100:
        raise MachineError(f"{name} must be a number with a unit; got {len(value)} characters of text")
    try:
        estimate = parse_estimate(value, kind, name=name)
    except RecordError:  # an Estimate that cannot be
        raise MachineError(f"{name} must be a finite number; got {_brief(value)}") from None
    low, high = _POSSIBLE.get(key, (-math.inf, math.inf))
    if estimate.value > 0 and not low <= estimate.value <= high:
        unit = "" if estimate.unit == "1" else f" {estimate.unit}"
        raise MachineError(
            f"{name} must be between {low:g} and {high:g}{unit}; got {estimate.value:g}{unit}",
            hint=bare_hint(value, estimate.unit),
        )
    return estimate


def bare_hint(value: Any, unit: str) -> str:
    """Explain a number that came without a unit; other text gets a plain hint."""
    number = re.split(r"\+/?-|±", str(value))[0].strip()
    if unit != "1" and re.fullmatch(r"[-+0-9.,eE]+", number):
        return f"A number without a unit counts as {unit}: if it is another unit, write it, in quotes."
    return "Check the number and its unit."


def _brief(value: Any) -> str:
    if value is None:
        return "nothing"
    words = repr(value)
    return words if len(words) <= 60 else f"{words[:57]}..."


def _dotted(words: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in words.split("."))


def line_of(content: str, path: tuple[str, ...], key: str | None) -> int | None:
    """Find the line of a key, or of the table `path`, in plainly written TOML; None where it is not plain."""
    here: tuple[str, ...] = ()
    for number, line in enumerate(content.splitlines(), 1):
        header = re.match(r"\s*\[([^\[\]]+)\]\s*(?:#.*)?$", line)
        if header:
            here = _dotted(header[1])
            if here == path if key is None else here[: len(path) + 1] == (*path, key):
                return number
            continue
        assignment = re.match(r"\s*([\w\-.\"' ]+?)\s*=", line)
        if key is None or assignment is None:
            continue
        whole = (*here, *_dotted(assignment[1]))
        if whole == (*path, key) or (whole == path and key in _dotted_words(line)):
            return number
    return None


def _dotted_words(line: str) -> list[str]:
    return re.findall(r"[\w-]+", line)
