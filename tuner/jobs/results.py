"""What the jobs take and give: sources in; readings, fits, judgements and comparisons together out.

Takes nothing; gives `Source`, `MachineInput`, `Location`, `Tested`, `FitJob`, `DamperJob`, `CompareJob` and `MatchJob`.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tuner.estimates import Note
from tuner.records import SIDES, Provenance

if TYPE_CHECKING:
    from tuner.comparing import Comparison, PairMatch
    from tuner.comparing.agreement import Agreement
    from tuner.fitting.results import Fit
    from tuner.judging import Judgement
    from tuner.machine import Corner, Machine, Suspect, Target
    from tuner.reading import Reading, ReadOptions

# two dampers are held against each other, not against a band on a corner
_NOT_FOR_A_MATCH = frozenset({"no-corner", "no-target"})
# so many equal forces are no chance
SAME_POINTS = 4
# what two tests are held against each other with, the comparison says by itself
_OF_ONE_TEST = frozenset({"one-run"})


@dataclass(frozen=True, slots=True)
class Source:
    """One input: the bytes themselves (an upload, standard input) or the path of a file."""

    name: str
    data: bytes | None = None
    path: Path | None = None


@dataclass(frozen=True, slots=True, eq=False)
class MachineInput:
    """A machine and, where it came from a file, which file that was (so that a result can be repeated)."""

    machine: Machine
    provenance: Provenance | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Location:
    """Where a damper sits: the corner and its target, and the machine they are of; None for what nobody said."""

    corner: Corner | None = None
    target: Target | None = None
    machine: MachineInput | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Tested:
    """One setting of one damper, read and fitted: one reading per source; one fit each, or one of all bounces."""

    readings: tuple[Reading, ...]
    fits: tuple[Fit, ...]
    options: tuple[ReadOptions, ...]


@dataclass(frozen=True, slots=True, eq=False)
class FitJob:
    """One setting of one damper, read, fitted and judged.

    `readings` and `options` have one entry per source, in their order, `fits` too except that bounces share one;
    `fit` combines the repeats. `command` is the request as it was made, "" where there was none.
    """

    readings: tuple[Reading, ...]
    fits: tuple[Fit, ...]
    judgement: Judgement
    options: tuple[ReadOptions, ...]
    machine_input: MachineInput | None = None
    corner_name: str | None = None
    command: str = ""

    @property
    def fit(self) -> Fit:
        """The fit of all repeats together."""
        return self.judgement.fit

    @property
    def machine(self) -> Machine | None:
        """The machine, None when there was none."""
        return None if self.machine_input is None else self.machine_input.machine

    @property
    def decided(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """What was decided about each input, and why."""
        return tuple((reading.record.provenance.file, reading.decided) for reading in self.readings)

    @property
    def suspects(self) -> tuple[Suspect, ...]:
        """Numbers that are probably wrong: those of the corner, or the corner itself; likeliest first."""
        from tuner.fitting.results import measured_of_corner
        from tuner.machine import suspects_of

        corner, fit = self.judgement.corner, self.fit
        if corner is None:
            return ()
        texts = {p.file: (*p.title, c.note) for p, c in zip(fit.inputs, fit.conditions, strict=False)}
        return suspects_of(corner, self.machine, measured_of_corner(fit).get("frequency"), texts)

    @property
    def notes(self) -> tuple[Note, ...]:
        """Every doubt of the job, from the machine's numbers to sides and recordings, each once."""
        from tuner.machine import check_corner

        fit, judgement = self.fit, self.judgement
        groups = (
            () if judgement.corner is None else check_corner(judgement.corner),
            judgement.notes,
            fit.notes,
            *(side.notes for name in SIDES for side in (judgement.side(name), fit.side(name))),
            *(quality.notes for quality in fit.quality),
        )
        return _once(*groups)


@dataclass(frozen=True, slots=True, eq=False)
class DamperJob:
    """Tests of unlike kinds of one damper in one state, one job per kind, and whether they agree."""

    jobs: tuple[FitJob, ...]
    agreement: tuple[Agreement, ...]

    @property
    def judgements(self) -> tuple[Judgement, ...]:
        """What every kind of test says."""
        return tuple(job.judgement for job in self.jobs)


@dataclass(frozen=True, slots=True, eq=False)
class CompareJob:
    """Two settings of one damper: what the change did."""

    before: FitJob
    after: FitJob
    comparison: Comparison
    machine_input: MachineInput | None = None
    corner_name: str | None = None
    command: str = ""

    @property
    def machine(self) -> Machine | None:
        """The machine, None when there was none."""
        return None if self.machine_input is None else self.machine_input.machine

    @property
    def decided(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """What was decided about each input, and why."""
        return (*self.before.decided, *self.after.decided)

    @property
    def suspects(self) -> tuple[Suspect, ...]:
        """Numbers that are probably wrong, by either test; likeliest first."""
        return _either(self.before.suspects, self.after.suspects)

    @property
    def notes(self) -> tuple[Note, ...]:
        """Every doubt of the job, each once; the confounders stand apart in the comparison."""
        pair = _of_each(("before", self.before.notes), ("after", self.after.notes))
        return _once(_same_input(self.before, self.after), self.comparison.notes, pair)


@dataclass(frozen=True, slots=True, eq=False)
class MatchJob:
    """Two dampers side by side: are they matched."""

    one: FitJob
    other: FitJob
    match: PairMatch
    machine_input: MachineInput | None = None
    corner_name: str | None = None
    command: str = ""

    @property
    def decided(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """What was decided about each input, and why."""
        return (*self.one.decided, *self.other.decided)

    @property
    def suspects(self) -> tuple[Suspect, ...]:
        """Numbers of the corner that are probably wrong; the two dampers may well be of two corners."""
        found = _either(self.one.suspects, self.other.suspects)
        return tuple(suspect for suspect in found if suspect.code != "other-corner")

    @property
    def notes(self) -> tuple[Note, ...]:
        """Every doubt that touches a match, each once; the confounders stand apart in it."""
        pair = _of_each(("one", self.one.notes), ("other", self.other.notes))
        found = _once(_same_input(self.one, self.other), self.match.notes, pair)
        return tuple(note for note in found if note.code not in _NOT_FOR_A_MATCH)


def _same_input(one: FitJob, other: FitJob) -> tuple[Note, ...]:
    """Say what two tests have in common that no two tests have."""
    return _same_file(one, other) or _same_forces(one, other)


def _same_forces(one: FitJob, other: FitJob) -> tuple[Note, ...]:
    """Say when two sweeps have the very same forces at other speeds: the speeds that were set stand under force."""
    from tuner.records import SweepRecord

    sweeps = [[r.record for r in job.readings if isinstance(r.record, SweepRecord)] for job in (one, other)]
    for first, second in itertools.product(*sweeps):
        for side, sign in (("compression", 1), ("rebound", -1)):
            at, then = (sign * sweep.velocity > 0 for sweep in (first, second))
            forces, others = np.sort(abs(first.force[at])), np.sort(abs(second.force[then]))
            speeds, later = np.sort(abs(first.velocity[at])), np.sort(abs(second.velocity[then]))
            same = np.unique(forces).size >= SAME_POINTS and np.array_equal(forces, others)
            if same and float(np.mean(speeds != later)) > 0.5:
                return (Note("same-forces", side=side),)
    return ()


def _same_file(one: FitJob, other: FitJob) -> tuple[Note, ...]:
    """Say when a recording stands on both sides."""
    shared = {p.sha256 for p in one.fit.inputs if p.sha256} & {p.sha256 for p in other.fit.inputs}
    names = dict.fromkeys(p.file for p in (*one.fit.inputs, *other.fit.inputs) if p.sha256 in shared)
    return (Note("same-file", files=tuple(names)),) if names else ()


def _either(one: Sequence[Suspect], other: Sequence[Suspect]) -> tuple[Suspect, ...]:
    """Put the suspects of two tests of one corner together, each once."""
    joined: dict[tuple[str, str], Suspect] = {}
    for suspect in sorted((*one, *other), key=lambda s: -s.chance):
        kind = (suspect.code, suspect.other)
        first = joined.setdefault(kind, suspect)
        joined[kind] = replace(first, files=tuple(dict.fromkeys((*first.files, *suspect.files))))
    return tuple(joined.values())


def _once(*groups: Sequence[Note]) -> tuple[Note, ...]:
    return tuple(dict.fromkeys(note for group in groups for note in group))


def _of_each(one: tuple[str, Sequence[Note]], other: tuple[str, Sequence[Note]]) -> tuple[Note, ...]:
    """Say of which side a doubt is, where only one of the two has it."""
    shared = set(one[1]) & set(other[1])
    return tuple(
        note if note in shared else note.but(of=name)
        for name, notes in (one, other)
        for note in notes
        if note.code not in _OF_ONE_TEST
    )
