"""Doubts, remarks and reasons in words: one sentence per code.

Takes a `Note`; gives its sentence in the units of a system.

Rooms inside: `facts` (numbers in a sentence), and one table of sentences per room that doubts: `bounces`, `fits`,
`judged`, `machine`, `suspects`, `compared`, `measured`, `recordings`. A key is the code of a note, with its case after
a colon where it has one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from tuner.estimates import Note
from tuner.units import System
from tuner.wording.doubts import bounces, compared, fits, judged, machine, measured, recordings, suspects
from tuner.wording.doubts.facts import Said

ROOMS = (bounces, fits, judged, machine, suspects, compared, measured, recordings)
SENTENCES: Mapping[str, str | Callable[[Said], str]] = {
    key: sentence for room in ROOMS for key, sentence in room.SENTENCES.items()
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


def told(
    notes: Iterable[Note], system: System = "metric", *, sides: bool = True, plain: bool = False
) -> list[tuple[Note, str]]:
    """Give notes with what they say, each once; what two runs have alike is said once of both, so with `sides`.

    Alike is what reads alike: numbers that differ in what is not shown make no difference to a reader.
    """

    def said(note: Note) -> str:
        return note_text(note, system, plain=plain)

    kept = list(dict.fromkeys(notes))
    for place, of_both in (("of", None), ("side", "compression and rebound"))[: 2 if sides else 1]:
        alike: dict[str, list[Note]] = {}
        for note in kept:
            alike.setdefault(said(note.but(**{place: of_both}) if place in note.facts else note), []).append(
                note
            )
        kept = [
            each[0].but(**{place: of_both}) if len({n.facts.get(place) for n in each}) > 1 else each[0]
            for each in alike.values()
        ]
    return [(note, said(note)) for note in kept]
