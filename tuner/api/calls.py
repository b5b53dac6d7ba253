"""Fit, compare and match: the three functions of a script or a notebook.

Takes tests and a corner; gives results.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from tuner.api.given import location_from, options_of, setting_of, sorted_out
from tuner.api.results import CompareResult, FitResult, MatchResult
from tuner.errors import UsageError
from tuner.jobs import Location, compare_at, judge_at, match_at
from tuner.records import Kind

if TYPE_CHECKING:
    from tuner.api.given import PathLike, Tests
    from tuner.machine import Corner, Machine, Target


def fit(
    test: Tests,
    corner: Corner | str | None = None,
    target: Target | None = None,
    *,
    machine: Machine | PathLike | None = None,
    kind: Kind | None = None,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    settings: Mapping[str, object] | None = None,
) -> FitResult:
    """Say what a test shows of a damper; a list of tests of one kind are repeats of one setting.

    Parameters
    ----------
    test
        The path of a file; a reading or a record; a DataFrame or a dictionary of columns, in SI where the names say no
        other unit; a fit, to judge it elsewhere; or a list of one of these.
    corner, machine
        The corner it sits on: a `Corner`, or its name in `machine` (a `Machine` or the path of its file). A machine
        with one corner needs no name. A bounce and a drive are fitted with it. The target is the machine's.
    target
        Another target than the machine's.
    kind, columns, units, settings
        What a file or a table does not say: the kind of record, columns and units by role
        (``columns={"force": "Load cell"}``), settings by name (``settings={"temperature": "20 degC"}``).

    Raises
    ------
    UsageError
        When what was handed in is no test, or the corner is missing.
    InputRefused
        When the file, the machine or the record is refused.
    """
    sort, things = sorted_out(test, "the test")
    location = location_from(corner, target, machine)
    options = options_of(kind, columns, units, settings)
    if sort == "fit" and options is not None:
        raise UsageError(
            "kind, columns, units and settings say how a file is read; a fit is read already",
            hint="Leave them out.",
        )
    return FitResult(judge_at(setting_of(sort, things, location, options), location))


def compare(
    before: Tests,
    after: Tests,
    corner: Corner | str | None = None,
    target: Target | None = None,
    *,
    machine: Machine | PathLike | None = None,
) -> CompareResult:
    """Say what a change did to one damper; each side is one test or a list of repeats, as in `fit`.

    Without a corner here, fits keep the one they were judged on. Raises as `fit` does, and UsageError for two corners.
    """
    one, other = sorted_out(before, "before"), sorted_out(after, "after")
    location = _location(corner, target, machine, (*one[1], *other[1]))
    return CompareResult(compare_at(setting_of(*one, location), setting_of(*other, location), location))


def match(
    one: Tests,
    other: Tests,
    corner: Corner | str | None = None,
    *,
    machine: Machine | PathLike | None = None,
    tolerance: float | None = None,
) -> MatchResult:
    """Say whether two dampers are alike within `tolerance` (0.10 = 10 %, the usual one); tests as in `compare`."""
    first, second = sorted_out(one, "one"), sorted_out(other, "other")
    location = _location(corner, None, machine, (*first[1], *second[1]))
    return MatchResult(
        match_at(setting_of(*first, location), setting_of(*second, location), location, tolerance=tolerance)
    )


def _location(
    corner: Corner | str | None,
    target: Target | None,
    machine: Machine | PathLike | None,
    tests: Sequence[object],
) -> Location:
    """Give the place that was named, else the one that the fits share; refuses fits of two corners."""
    if corner is not None or machine is not None:
        return location_from(corner, target, machine)
    known = [test.location for test in tests if isinstance(test, FitResult) and test.corner is not None]
    others = [each for each in known if each.corner != known[0].corner]
    if others:
        named = [each.corner.name for each in (known[0], others[0]) if each.corner is not None]
        raise UsageError(
            f"one test was judged on the corner {named[0]!r} and another on {named[1]!r}"
            + (", of other numbers" if named[0] == named[1] else ""),
            hint="Say on which they are to be held against each other: corner=...",
        )
    found = known[0] if known else Location()
    return found if target is None else Location(found.corner, target, found.machine)
