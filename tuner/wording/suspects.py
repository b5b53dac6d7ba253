"""Numbers that are probably wrong: the notes of a job with its suspects first.

Takes `Suspect`s and notes; gives notes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from tuner.estimates import Note
from tuner.machine import Suspect

# what a suspect says better, by the clue that speaks for it: these notes are then left out
_SAID_BY = {
    "bounce": ("frequency-disagrees", "frequency-unusual"),
    "sag": ("sag-disagrees",),
    "usual-frequency": ("frequency-unusual",),
    "usual-ratio": ("ratio-inverted",),
    "usual-sag": ("spring-too-soft",),
    "usual-tyre": ("tyre-rate-soft",),
}


class Doubted(Protocol):
    """What has suspects and notes: a job."""

    @property
    def suspects(self) -> tuple[Suspect, ...]:
        """Numbers that are probably wrong, likeliest first."""

    @property
    def notes(self) -> tuple[Note, ...]:
        """Every other doubt."""


def notes_of(job: Doubted, *, likeliest: bool = False) -> tuple[Note, ...]:
    """Give all notes of a job: the suspects first, without those notes that only show the same doubt.

    `likeliest` : of several suspects of one mistake only the likeliest is named.
    """
    said = {code for s in job.suspects for clue in s.clues for code in _SAID_BY.get(clue.code, ())}
    left = (note for note in job.notes if note.code not in said)
    wrong = [suspect for suspect in job.suspects if suspect.code != "preload"]
    named = [s for s in job.suspects if not likeliest or s in wrong[:1] or s.code == "preload"]
    return (*suspect_notes(named), *left)


def suspect_notes(suspects: Sequence[Suspect]) -> tuple[Note, ...]:
    """Say which number is probably wrong, with the next likeliest in the same note; preload stands by itself."""
    wrong = tuple(suspect for suspect in suspects if suspect.code != "preload")
    preload = (Note("preload", suspect=suspect) for suspect in suspects if suspect.code == "preload")
    return (*([Note(wrong[0].code, case="suspect", suspects=wrong)] if wrong else []), *preload)
