"""A path of several runs in words: where each stood, and what each change did.

Takes a `Path`; gives tables.
"""

from __future__ import annotations

from tuner.comparing import Path, PathStep
from tuner.records import SIDES, Side
from tuner.units import System
from tuner.wording import figures, motion
from tuner.wording.layout import Table


def path_tables(path: Path, system: System = "metric") -> tuple[Table, ...]:
    """Give one table per side: a row per run with its value, its place and the change from the run before."""
    return tuple(_side_table(path, side, system) for side in SIDES)


def _side_table(path: Path, side: Side, system: System) -> Table:
    at = "" if path.speed is None else f" at {figures.speed_text(path.speed, system)}"
    quantity = "ratio" if path.quantity == "zeta" else f"damping, {figures.label_of('damping', system)}"
    rows = tuple(_row(path, step, system) for step in path.side(side))
    title = f"{motion.SIDE_TITLE[side]}{at}"
    return Table(title, ("run", quantity, "place", "against the run before"), rows)


def _row(path: Path, step: PathStep, system: System) -> tuple[str, ...]:
    value = (
        figures.zeta_text(step.value)
        if path.quantity == "zeta"
        else figures.bare(step.value, "damping", system)
    )
    place = step.place if step.place != "unknown" else figures.UNKNOWN
    change = figures.UNKNOWN if step.ratio is None else figures.signed_change(step.ratio)
    return step.label, value, place, change if step.changed is not False else f"{change}, not clear"
