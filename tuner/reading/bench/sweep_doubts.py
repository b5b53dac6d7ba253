"""What makes a sweep doubtful: columns under each other's names, speeds that stroke and strokes per time contradict.

Takes a `Source` and its table; gives notes, or refuses.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from tuner.estimates import Note
from tuner.reading.bench import plausible
from tuner.reading.table.columns import Source
from tuner.reading.text.tables import Table


def swapped(source: Source, table: Table, used: Sequence[str], steep: tuple[Note, ...]) -> tuple[Note, ...]:
    """Note numbers that look as if speed and force were swapped; refuse them where the law they make says so, too."""
    odd: tuple[Note, ...] = ()
    for role in (r for r in used if r.endswith("force")):
        speed = next((r for r in (role.replace("force", "velocity"), "velocity") if r in used), "")
        if speed and not odd:
            odd = plausible.swapped(source, table, speed, role)
            if odd and steep and not {speed, role} & set(source.options.columns):
                raise source.refuse(
                    "seems to have speeds and forces under each other's name",
                    f"column {source.use(role).name!r} holds round numbers only and column "
                    f"{source.use(speed).name!r} does not, and the force would grow faster than the square of "
                    "the speed",
                    "If they are swapped, correct the header in the file; if they are not, say so with --column "
                    f"{speed}={source.use(speed).name!r}.",
                )
    return (*odd, *steep)


def stated_speed(source: Source, table: Table) -> list[Note]:
    """Compare given speeds with stroke and strokes per time, where the table has both."""
    if not (source.has("velocity") and source.has("stroke") and source.has("crank_speed")):
        return []
    peak = math.pi * source.values("stroke", table) * source.values("crank_speed", table)
    ratio = float(np.nanmedian(np.abs(source.values("velocity", table)) / peak))
    if 0.9 <= ratio <= 1.1:
        return []
    return [Note("speed-differs", case="stroke", times=ratio)]
