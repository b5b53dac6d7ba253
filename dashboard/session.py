"""What one visitor has added and chosen: frozen values that pickle, hash and compare by content.

Bytes are not here: a `Held` names them by their content, `cache` keeps them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from tuner.machine.form import MachineForm
from tuner.records import Kind
from tuner.units import System

if TYPE_CHECKING:
    from tuner.reading import ReadOptions

Pairs = tuple[tuple[str, str], ...]  # a mapping that hashes
Question = Literal["change", "pair", "one"]
QUESTIONS: tuple[Question, ...] = ("change", "pair", "one")


@dataclass(frozen=True, slots=True)
class Held:
    """Bytes that were added: how they were called, which they are, how many."""

    name: str
    sha256: str
    size: int


@dataclass(frozen=True, slots=True)
class Said:
    """What somebody says about a file, see `tuner.reading.ReadOptions`."""

    kind: Kind | None = None
    columns: Pairs = ()
    units: Pairs = ()
    settings: Pairs = ()

    def options(self) -> ReadOptions:
        """Give the options as the library takes them."""
        from tuner.reading import ReadOptions

        return ReadOptions(self.kind, dict(self.columns), dict(self.units), dict(self.settings))


@dataclass(frozen=True, slots=True)
class Recording:
    """One file and what was said about it."""

    held: Held
    said: Said = Said()


@dataclass(frozen=True, slots=True)
class Run:
    """One setting of one damper: its recordings are repeats; `noted` holds for all of them."""

    label: str
    recordings: tuple[Recording, ...] = ()
    noted: Pairs = ()

    def said_of(self, recording: Recording) -> Said:
        """Give what is said of a recording: what is noted for the run, overruled by what the file needs."""
        settings = dict(self.noted) | dict(recording.said.settings)
        return replace(recording.said, settings=tuple(sorted(settings.items())))

    def with_recordings(self, *added: Recording) -> Run:
        """Add recordings; one that is there already is not added twice."""
        kept: dict[str, Recording] = {}
        for each in (*self.recordings, *added):
            kept.setdefault(each.held.sha256, each)
        return replace(self, recordings=tuple(kept.values()))

    def without(self, position: int) -> Run:
        """Take one recording away."""
        kept = (each for i, each in enumerate(self.recordings) if i != position)
        return replace(self, recordings=tuple(kept))

    def with_said(self, position: int, said: Said) -> Run:
        """Say something else about one recording."""
        changed = (replace(r, said=said) if i == position else r for i, r in enumerate(self.recordings))
        return replace(self, recordings=tuple(changed))


@dataclass(frozen=True, slots=True)
class Session:
    """Everything of one visitor. The runs of each question stand apart; the machine serves all of them.

    `step` names the two runs of `change` that are compared, counted from 1 ("2-3"); None for the newest two.
    """

    system: System = "metric"
    machine: Held | None = None
    corner: str | None = None
    change: tuple[Run, ...] = (Run("before"), Run("after"))
    pair: tuple[Run, ...] = (Run("one"), Run("other"))
    one: tuple[Run, ...] = (Run("record"),)
    example: str | None = None
    step: str | None = None
    draft: MachineForm | None = None  # the machine as it is typed, with what is not complete yet

    def runs(self, question: Question) -> tuple[Run, ...]:
        """Give the runs of that question."""
        return {"change": self.change, "pair": self.pair, "one": self.one}[question]


@dataclass(frozen=True, slots=True)
class Setup:
    """What a page works on: the visitor's own runs and machine, or those of an example."""

    question: Question
    runs: tuple[Run, ...]
    machine: Held | None
    corner: str | None
    example: str | None = None
