"""What to check before an answer is believed: an input that does not fit together is likely a wrong one.

Takes notes; gives those of them, and the rest.
"""

from __future__ import annotations

from collections.abc import Iterable

from tuner.estimates import Note
from tuner.machine import MISTAKES

# doubts about an input itself, by code: whatever follows from it is as wrong as it is
_OF_INPUT = frozenset(
    {
        "bump-stop-rate-soft",
        "columns-swapped",
        "corner-impossible",
        "frequency-disagrees",
        "frequency-unusual",
        "gas-pulls",
        "other-corner",
        "ratio-inverted",
        "same-file",
        "same-forces",
        "speed-differs",
        "spring-too-soft",
        "steep",
        "travel-unusual",
        "tyre-rate-soft",
        "unsprung-heavy",
        "unusual-damping",
        "unusual-sides",
        "unusual-speed",
        *(mistake.code for mistake in MISTAKES),
    }
)


def to_check(notes: Iterable[Note]) -> tuple[Note, ...]:
    """Give the notes that put an input in doubt."""
    return tuple(note for note in notes if note.code in _OF_INPUT)
