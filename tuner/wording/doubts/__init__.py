"""Doubts, remarks and reasons in words: one sentence per code.

Takes a `Note`; gives its sentence in the units of a system. Uses: estimates, units, wording.figures.

Rooms inside: `facts` (numbers in a sentence), and one table of sentences per room that doubts: `bounces`, `fits`,
`judged`, `machine`, `compared`, `measured`, `recordings`. A key is the code of a note, with its case after a colon
where it has one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from tuner.estimates import Note
from tuner.units import System
from tuner.wording.doubts import bounces, compared, fits, judged, machine, measured, recordings, suspects
from tuner.wording.doubts.facts import Said

SENTENCES: Mapping[str, str | Callable[[Said], str]] = {
    name: sentence
    for room in (bounces, fits, judged, machine, suspects, compared, measured, recordings)
    for name, sentence in room.SENTENCES.items()
}
PLACES = ("file", "of")  # facts that stand before the sentence, the last one first


def key_of(note: Note) -> str:
    """Give the key of a note's sentence."""
    return f"{note.code}:{note.case}" if note.case else note.code


def note_text(note: Note, system: System = "metric", *, plain: bool = False) -> str:
    """Give what a note says, as a clause without a capital; the run and the file it is about stand first.

    `plain` puts keys of the machine file into plain words.
    """
    sentence, facts = SENTENCES[key_of(note)], note.facts
    said = Said(facts, system, lambda other: note_text(other, system, plain=plain), plain)
    text = said(sentence) if isinstance(sentence, str) else sentence(said)
    for place in PLACES:
        text = f"{facts[place]}: {text}" if place in facts else text
    return text
