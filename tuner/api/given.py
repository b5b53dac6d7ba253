"""What was handed to a function, sorted and turned into what the jobs take; misuse is refused in one sentence.

Takes paths, readings, records, tables, results, machines and corners; gives `Tested` settings and a `Location`.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from tuner.api.results import FitResult
from tuner.errors import UsageError
from tuner.fitting import fitted_together
from tuner.jobs import (
    Location,
    MachineInput,
    Source,
    Tested,
    fit_readings,
    location_of,
    machine_from,
    read_source,
)
from tuner.kinds import KIND_OF, WITH_CORNER
from tuner.machine import Corner, Machine, Target
from tuner.reading import Reading, ReadOptions, read_values
from tuner.records import Kind, Record

if TYPE_CHECKING:
    import pandas as pd

    PathLike = str | os.PathLike[str]
    Test = PathLike | Reading | Record | Mapping[str, Any] | pd.DataFrame | FitResult
    Tests = Test | Sequence[Test]

Sort = Literal["file", "record", "table", "fit"]

_A: Mapping[Sort, str] = {"file": "a file", "record": "a record", "table": "a table", "fit": "a fit"}
_TAKEN = "the path of a file, a reading, a record, a DataFrame, a fit, or a list of one of these"


def _sort_of(thing: object, what: str) -> Sort:
    """Say what that is; refuses what is nothing that can be a test."""
    if isinstance(thing, FitResult):
        return "fit"
    if isinstance(thing, Reading) or type(thing) in KIND_OF:
        return "record"
    if isinstance(thing, (str, os.PathLike)):
        return "file"
    pandas: Any = sys.modules.get("pandas")  # whoever hands in a frame has loaded it
    if isinstance(thing, Mapping) or (pandas is not None and isinstance(thing, pandas.DataFrame)):
        return "table"
    raise UsageError(f"{what} must be {_TAKEN}; got {_named(thing)}", hint=_hint(thing))


def _named(thing: object) -> str:
    name = "None" if thing is None else type(thing).__name__
    return name if thing is None else f"{'an' if name[:1].lower() in 'aeiou' else 'a'} {name}"


def _hint(thing: object) -> str:
    if isinstance(thing, (Machine, Corner)):
        return "Give the machine and the corner by name: fit(path, machine=machine, corner='rear left')."
    return "For instance fit('before.csv')."


def sorted_out(given: object, what: str) -> tuple[Sort, tuple[Any, ...]]:
    """Give the tests of one setting and of which sort they are; a list must hold at least one, all of one sort."""
    things = tuple(given) if isinstance(given, (list, tuple)) else (given,)
    if not things:
        raise UsageError(
            f"{what} must be at least one test; got an empty list", hint="Name the file of the test."
        )
    sorts = list(dict.fromkeys(_sort_of(thing, what) for thing in things))
    if len(sorts) > 1:
        raise UsageError(
            f"the tests of {what} must be all of one sort; got {' and '.join(_A[sort] for sort in sorts)}",
            hint="Fit each by itself, and give the list of the fits.",
        )
    return sorts[0], things


def options_of(
    kind: Kind | None,
    columns: Mapping[str, str] | None,
    units: Mapping[str, str] | None,
    settings: Mapping[str, object] | None,
) -> ReadOptions | None:
    """Collect what was said about reading, None where nothing was; names and values are checked while reading."""
    for name, said in (("columns", columns), ("units", units), ("settings", settings)):
        if said is not None and not isinstance(said, Mapping):
            raise UsageError(f"{name} must be a dictionary; got {_named(said)}", hint=_SHAPES[name])
    if kind is None and not (columns or units or settings):
        return None
    words = {name: str(value) for name, value in (settings or {}).items()}
    return ReadOptions(kind, dict(columns or {}), dict(units or {}), words)


_SHAPES = {
    "columns": "Write it like columns={'force': 'Load cell'}.",
    "units": "Write it like units={'force': 'lbf'}.",
    "settings": "Write it like settings={'temperature': '20 degC'}.",
}


def location_from(
    corner: Corner | str | None, target: Target | None, machine: Machine | PathLike | None
) -> Location:
    """Find the corner: a value, or by its name in a machine, which may be a path; the only one where none is named."""
    if target is not None and not isinstance(target, Target):
        raise UsageError(f"the target must be a Target; got {_named(target)}", hint="machine.target is one.")
    if corner is not None and not isinstance(corner, (Corner, str)):
        raise UsageError(
            f"the corner must be a name or a Corner; got {_named(corner)}",
            hint="Give corner='rear left' with machine=..., or machine.corner('rear left').",
        )
    source = _machine_input(machine)
    if isinstance(corner, Corner):
        return Location(corner, target or (None if source is None else source.machine.target), source)
    found = location_of(source, corner)
    return found if target is None else Location(found.corner, target, source)


def _machine_input(machine: Machine | PathLike | None) -> MachineInput | None:
    if machine is None or isinstance(machine, Machine):
        return None if machine is None else MachineInput(machine)
    if not isinstance(machine, (str, os.PathLike)):
        raise UsageError(
            f"the machine must be a Machine or the path of its file; got {_named(machine)}",
            hint="Read one with read_machine_file('buggy.toml').",
        )
    path = Path(machine)
    return machine_from(Source(path.name, path=path))


def setting_of(
    sort: Sort, things: Sequence[Any], location: Location, options: ReadOptions | None = None
) -> Tested:
    """Read and fit the tests of one setting; fits that hold already are kept, with the corner where it goes in."""
    if sort == "fit":
        return _again([fit.job.readings for fit in things], things, location)
    if sort == "record" and options is not None:
        raise UsageError(
            "kind, columns, units and settings say how a file or a table is read; a record is read already",
            hint="Leave them out, or give the file.",
        )
    readings = tuple(_reading(sort, thing, options) for thing in things)
    said = ReadOptions() if options is None else options
    return Tested(readings, fit_readings(readings, location.corner), tuple(said for _ in readings))


def _reading(sort: Sort, thing: Any, options: ReadOptions | None) -> Reading:
    if sort == "file":
        path = Path(thing)
        return read_source(Source(path.name, path=path), options)
    if sort == "table":
        return read_values(thing, None, options)
    return thing if isinstance(thing, Reading) else Reading(thing, ())


def _again(each: Sequence[tuple[Reading, ...]], fits: Sequence[FitResult], location: Location) -> Tested:
    """Put fits of one setting together; those into which the corner goes are made anew for another corner."""
    readings = tuple(reading for some in each for reading in some)
    options = tuple(option for fit in fits for option in fit.job.options)
    other = any(fit.kind in WITH_CORNER and fit.fit.corner != location.corner for fit in fits)
    if other or (len(fits) > 1 and fitted_together([reading.record for reading in readings])):
        return Tested(readings, fit_readings(readings, location.corner), options)
    return Tested(readings, tuple(one for fit in fits for one in fit.job.fits), options)
