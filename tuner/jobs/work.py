"""From files to a fit, a comparison, a match: one pure function per job.

Takes sources, read options, a machine and the name of a corner; gives `results` values.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from tuner.errors import FitError, MachineError, UsageError
from tuner.jobs.results import CompareJob, DamperJob, FitJob, Location, MachineInput, MatchJob, Source, Tested
from tuner.records import Provenance

if TYPE_CHECKING:
    from tuner.fitting.results import Fit
    from tuner.judging import Judgement
    from tuner.machine import Corner, Machine
    from tuner.reading import Reading, ReadOptions

Progress = Callable[[str], None]


def _quiet(_: str) -> None:
    """Show nothing."""


def machine_from(source: Source) -> MachineInput:
    """Read a machine file; raises MachineError or UnitError with one sentence."""
    from tuner.machine import read_machine

    data = source.data if source.data is not None else _bytes_of(source)
    machine = read_machine(data, source.name)
    digest = hashlib.sha256(data).hexdigest()
    return MachineInput(machine, Provenance(file=source.name, sha256=digest, rows=len(data.splitlines())))


def _bytes_of(source: Source) -> bytes:
    path = source.path if source.path is not None else Path(source.name)
    try:
        return path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a path"
        raise MachineError(
            f"the machine file {source.name} cannot be read: {reason.lower()}",
            hint="Check the name and the folder.",
        ) from None


def corner_of(machine: Machine, name: str | None) -> Corner:
    """Choose the corner: by name, or the only one there is; otherwise refused with the list."""
    if name is not None:
        return machine.corner(name)
    if len(machine.corners) == 1:
        return next(iter(machine.corners.values()))
    raise UsageError(
        f"the machine {machine.name!r} has {len(machine.corners)} corners, so one must be named",
        hint="Say which: " + ", ".join(repr(corner) for corner in machine.corners),
    )


def location_of(machine_input: MachineInput | None, corner_name: str | None) -> Location:
    """Find the corner of that name; raises UsageError without a machine or with a choice, MachineError for no such."""
    if machine_input is None:
        if corner_name is not None:
            raise UsageError(
                f"the corner {corner_name!r} needs a machine", hint="Give the machine file as well."
            )
        return Location()
    corner = corner_of(machine_input.machine, corner_name)
    return Location(corner, machine_input.machine.target, machine_input)


def read_source(source: Source, options: ReadOptions | None = None) -> Reading:
    """Read one source; raises ReadError or UnitError when it is refused, UsageError when the options are wrong."""
    from tuner.reading import read_bytes, read_file

    if source.data is not None:
        return read_bytes(source.data, source.name, options)
    return read_file(source.path if source.path is not None else Path(source.name), options)


def _test(
    sources: Sequence[Source], options: ReadOptions | None, corner: Corner | None, progress: Progress
) -> Tested:
    from tuner.reading import ReadOptions

    options = ReadOptions() if options is None else options
    readings = _read_all(sources, options, progress)
    fits = fit_readings(readings, corner, progress=progress)
    return Tested(readings, fits, tuple(options for _ in sources))


def _read_all(sources: Sequence[Source], options: ReadOptions, progress: Progress) -> tuple[Reading, ...]:
    if not sources:
        raise UsageError("at least one file is needed", hint="Name the file of the test.")
    readings: list[Reading] = []
    for source in sources:
        progress(f"reading {source.name}")
        readings.append(read_source(source, options))
    _refuse_twins(readings)
    return tuple(readings)


def fit_readings(
    readings: Sequence[Reading], corner: Corner | None = None, *, progress: Progress = _quiet
) -> tuple[Fit, ...]:
    """Fit the recordings of one setting: bounces into one fit of all, other kinds into one fit each.

    `corner` goes into the fit of the kinds named in `tuner.kinds.WITH_CORNER`. Raises FitError.
    """
    from tuner.fitting import fit, fit_setting, fitted_together

    names = [reading.record.provenance.file for reading in readings]
    records = [reading.record for reading in readings]
    if fitted_together(records):
        progress(f"fitting {' and '.join(names)}")
        return fit_setting(records, corner)
    fits = []
    for name, record in zip(names, records, strict=True):
        progress(f"fitting {name}")
        fits.append(fit(record, corner))
    return tuple(fits)


def _refuse_twins(readings: Sequence[Reading]) -> None:
    """Refuse a recording that is given as its own repeat: it would look like more evidence than it is."""
    seen: dict[str, str] = {}
    for reading in readings:
        file, digest = reading.record.provenance.file, reading.record.provenance.sha256
        if digest in seen:
            raise UsageError(
                f"{file} holds the same bytes as {seen[digest]}, so it is no repeat of it",
                hint="Give each recording once; a repeat is a test of its own.",
            )
        if digest:
            seen[digest] = file


def _check_tolerance(tolerance: float) -> None:
    if not 0.0 < tolerance < 1.0:
        raise UsageError(
            f"the tolerance must be above 0 % and below 100 %; got {tolerance:.4g} (as a share)",
            hint="The usual one is 10 %.",
        )


def judge_tested(
    tested: Tested,
    machine: MachineInput | None = None,
    corner_name: str | None = None,
    *,
    command: str = "",
) -> FitJob:
    """Judge one setting that was read and fitted; raises as `fit_job` does."""
    return judge_at(tested, location_of(machine, corner_name), command=command)


def judge_at(tested: Tested, location: Location, *, command: str = "") -> FitJob:
    """Judge one setting that was read and fitted at its place; raises as `fit_job` does."""
    from tuner.fitting import combine
    from tuner.judging import judge

    _refuse_twins(tested.readings)
    return _one_job(tested, judge(combine(tested.fits), location.corner, location.target), location, command)


def compare_tested(
    before: Tested,
    after: Tested,
    machine: MachineInput | None = None,
    corner_name: str | None = None,
    *,
    command: str = "",
) -> CompareJob:
    """Compare two settings that were read and fitted; raises as `compare_job` does."""
    return compare_at(before, after, location_of(machine, corner_name), command=command)


def compare_at(before: Tested, after: Tested, location: Location, *, command: str = "") -> CompareJob:
    """Compare two settings that were read and fitted, at their place; raises as `compare_job` does."""
    from tuner.comparing import compare

    for each in (before, after):
        _refuse_twins(each.readings)
    comparison = compare(before.fits, after.fits, location.corner, location.target)
    return CompareJob(
        _one_job(before, comparison.before, location, command),
        _one_job(after, comparison.after, location, command),
        comparison,
        location.machine,
        None if location.corner is None else location.corner.name,
        command,
    )


def match_tested(
    one: Tested,
    other: Tested,
    machine: MachineInput | None = None,
    corner_name: str | None = None,
    *,
    tolerance: float | None = None,
    command: str = "",
) -> MatchJob:
    """Hold two dampers that were read and fitted against each other; raises as `match_job` does."""
    return match_at(one, other, location_of(machine, corner_name), tolerance=tolerance, command=command)


def match_at(
    one: Tested, other: Tested, location: Location, *, tolerance: float | None = None, command: str = ""
) -> MatchJob:
    """Hold two dampers that were read and fitted against each other; raises as `match_job` does."""
    from tuner.comparing import match
    from tuner.comparing.pairs import TOLERANCE

    tolerance = TOLERANCE if tolerance is None else tolerance
    _check_tolerance(tolerance)
    for each in (one, other):
        _refuse_twins(each.readings)
    result = match(one.fits, other.fits, location.corner, tolerance=tolerance)
    return MatchJob(
        _one_job(one, result.one, location, command),
        _one_job(other, result.other, location, command),
        result,
        location.machine,
        None if location.corner is None else location.corner.name,
        command,
    )


def _one_job(tested: Tested, judgement: Judgement, location: Location, command: str) -> FitJob:
    name = None if location.corner is None else location.corner.name
    return FitJob(tested.readings, tested.fits, judgement, tested.options, location.machine, name, command)


def fit_job(
    sources: Sequence[Source],
    options: ReadOptions | None = None,
    machine: MachineInput | None = None,
    corner_name: str | None = None,
    *,
    command: str = "",
    progress: Progress = _quiet,
) -> FitJob:
    """Read, fit and judge one setting; several sources are repeats.

    Raises InputRefused when a file or the machine is refused, UsageError when the request is incomplete.
    """
    location = location_of(machine, corner_name)  # a wrong request is refused before the work
    tested = _test(sources, options, location.corner, progress)
    progress("judging")
    return judge_at(tested, location, command=command)


def damper_job(
    sources: Sequence[Source],
    options: ReadOptions | None = None,
    machine: MachineInput | None = None,
    corner_name: str | None = None,
    *,
    command: str = "",
    progress: Progress = _quiet,
) -> DamperJob:
    """Read, fit and judge tests of one setting that may be of unlike kinds; those of one kind are repeats.

    A bounce goes on to the speed of the target with the curve of the bench test. Raises as `fit_job` does.
    """
    from tuner.comparing.agreement import agreements, bench_of
    from tuner.fitting import combine
    from tuner.judging import judge
    from tuner.kinds import SHOWING_DAMPING, kind_of
    from tuner.reading import ReadOptions

    location = location_of(machine, corner_name)
    corner, target = location.corner, location.target
    options = ReadOptions() if options is None else options
    of_kind: dict[str, list[Reading]] = {}
    for reading in _read_all(sources, options, progress):
        of_kind.setdefault(kind_of(reading.record), []).append(reading)
    if len(of_kind) > 1 and not set(of_kind) <= SHOWING_DAMPING:
        raise FitError(
            f"with a drive or a jump all recordings must be of one kind; got {' and '.join(sorted(of_kind))}",
            hint="Give the recordings of one kind together, and the other kinds in runs of their own.",
        )
    tested = [
        Tested(tuple(each), fit_readings(each, corner, progress=progress), tuple(options for _ in each))
        for each in of_kind.values()
    ]
    progress("judging")
    alone = [judge(combine(each.fits), corner, target) for each in tested]
    bench = bench_of(alone)
    judged = [
        judge(each.fit, corner, target, bench=bench.fit) if bench and each.fit.kind == "bounce" else each
        for each in alone
    ]
    jobs = (_one_job(each, j, location, command) for each, j in zip(tested, judged, strict=True))
    return DamperJob(tuple(jobs), agreements(judged))


def compare_job(
    before: Sequence[Source],
    after: Sequence[Source],
    before_options: ReadOptions | None = None,
    after_options: ReadOptions | None = None,
    machine: MachineInput | None = None,
    corner_name: str | None = None,
    *,
    command: str = "",
    progress: Progress = _quiet,
) -> CompareJob:
    """Say what a change did to one damper; `after_options` default to those of `before`.

    Raises InputRefused when a file or the machine is refused, UsageError when the request is incomplete.
    """
    location = location_of(machine, corner_name)
    one = _test(before, before_options, location.corner, progress)
    other = _test(
        after, before_options if after_options is None else after_options, location.corner, progress
    )
    progress("comparing")
    return compare_at(one, other, location, command=command)


def match_job(
    one: Sequence[Source],
    other: Sequence[Source],
    one_options: ReadOptions | None = None,
    other_options: ReadOptions | None = None,
    machine: MachineInput | None = None,
    corner_name: str | None = None,
    *,
    tolerance: float | None = None,
    command: str = "",
    progress: Progress = _quiet,
) -> MatchJob:
    """Say whether two dampers are matched within `tolerance` (0.10 = 10 %; None: the usual one).

    Raises InputRefused when a file or the machine is refused, UsageError when the request is incomplete.
    """
    location = location_of(machine, corner_name)
    if tolerance is not None:
        _check_tolerance(tolerance)
    first = _test(one, one_options, location.corner, progress)
    second = _test(other, one_options if other_options is None else other_options, location.corner, progress)
    progress("comparing")
    return match_at(first, second, location, tolerance=tolerance, command=command)
