"""A name as people type it, found among the names that exist: case, "_", "-" and spaces do not count.

Takes text; gives names.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from difflib import get_close_matches


def plain_name(text: str) -> str:
    """Give a name without case, "_" and "-" standing for a space."""
    return re.sub(r"[\s_-]+", " ", text).strip().casefold()


def find_name(wanted: str, names: Sequence[str]) -> tuple[int, ...]:
    """Find the places of `wanted` in `names`: an exact name alone, else all that differ only in how they are typed."""
    exact = tuple(i for i, name in enumerate(names) if name == wanted)
    plain = plain_name(wanted)
    return exact or tuple(i for i, name in enumerate(names) if plain_name(name) == plain)


def nearest_hint(wanted: str, names: Sequence[str]) -> str:
    """Say which name was probably meant, else list those that exist."""
    near = get_close_matches(wanted, names, n=1, cutoff=0.5) or get_close_matches(
        wanted.lower(), names, n=1, cutoff=0.5
    )
    return f"Did you mean {near[0]!r}?" if near else f"Known: {', '.join(names) or 'none'}."
