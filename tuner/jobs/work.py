"""From files to a fit, a comparison, a match: one pure function per job.

Takes sources, read options, a machine and the name of a corner; gives `results` values.
Uses: errors, records, machine, reading, fitting, judging, comparing, jobs.results.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from tuner.errors import MachineError, UsageError
from tuner.jobs.results import CompareJob, FitJob, MachineInput, MatchJob, Source
from tuner.records import Provenance

if TYPE_CHECKING:
    from tuner.fitting.results import DampingFit
    from tuner.machine import Corner, Machine, Target
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


def _place(
    machine_input: MachineInput | None, corner_name: str | None
) -> tuple[Corner | None, Target | None, str | None]:
    if machine_input is None:
        if corner_name is not None:
            raise UsageError(
                f"the corner {corner_name!r} needs a machine", hint="Give the machine file as well."
            )
        return None, None, None
    corner = corner_of(machine_input.machine, corner_name)
    return corner, machine_input.machine.target, corner.name


def _read_and_fit(
    sources: Sequence[Source], options: ReadOptions, progress: Progress
) -> tuple[tuple[Reading, ...], tuple[DampingFit, ...]]:
    from tuner.fitting import fit
    from tuner.reading import read_bytes, read_file

    if not sources:
        raise UsageError("at least one file is needed", hint="Name the file of the test.")
    readings: list[Reading] = []
    fits: list[DampingFit] = []
    for source in sources:
        progress(f"reading {source.name}")
        if source.data is not None:
            readings.append(read_bytes(source.data, source.name, options))
        else:
            readings.append(read_file(source.path if source.path is not None else Path(source.name), options))
    _refuse_twins(readings)
    for source, reading in zip(sources, readings, strict=True):
        progress(f"fitting {source.name}")
        fits.append(fit(reading.record))
    return tuple(readings), tuple(fits)


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
    from tuner.fitting import combine
    from tuner.judging import judge
    from tuner.reading import ReadOptions

    options = ReadOptions() if options is None else options
    corner, target, name = _place(machine, corner_name)
    readings, fits = _read_and_fit(sources, options, progress)
    progress("judging")
    judgement = judge(combine(fits), corner, target)
    return FitJob(readings, fits, judgement, options, machine, name, command)


def _two_sides(
    first: Sequence[Source],
    second: Sequence[Source],
    first_options: ReadOptions | None,
    second_options: ReadOptions | None,
    progress: Progress,
) -> tuple[
    tuple[tuple[Reading, ...], tuple[DampingFit, ...], ReadOptions],
    tuple[tuple[Reading, ...], tuple[DampingFit, ...], ReadOptions],
]:
    from tuner.reading import ReadOptions

    options_1 = ReadOptions() if first_options is None else first_options
    options_2 = options_1 if second_options is None else second_options
    return (
        (*_read_and_fit(first, options_1, progress), options_1),
        (*_read_and_fit(second, options_2, progress), options_2),
    )


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
    from tuner.comparing import compare

    corner, target, name = _place(machine, corner_name)
    one, other = _two_sides(before, after, before_options, after_options, progress)
    progress("comparing")
    comparison = compare(one[1], other[1], corner, target)
    return CompareJob(
        FitJob(one[0], one[1], comparison.before, one[2], machine, name, command),
        FitJob(other[0], other[1], comparison.after, other[2], machine, name, command),
        comparison,
        machine,
        name,
        command,
    )


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
    from tuner.comparing import match
    from tuner.comparing.pairs import TOLERANCE

    tolerance = TOLERANCE if tolerance is None else tolerance
    if not 0.0 < tolerance < 1.0:
        raise UsageError(
            f"the tolerance must be above 0 % and below 100 %; got {tolerance:.4g} (as a share)",
            hint="The usual one is 10 %.",
        )
    corner, _, name = _place(machine, corner_name)
    first, second = _two_sides(one, other, one_options, other_options, progress)
    progress("comparing")
    result = match(first[1], second[1], corner, tolerance=tolerance)
    return MatchJob(
        FitJob(first[0], first[1], result.one, first[2], machine, name, command),
        FitJob(second[0], second[1], result.other, second[2], machine, name, command),
        result,
        machine,
        name,
        command,
    )
