"""Bench cycles: continuous traces at one or several speeds into a fit.

Takes `CycleRecord`; gives `DampingFit`.

The way: samples are cut into strokes and averaged over parts of each stroke; one balance of forces explains all
strokes together; the parts behind a turn that carry no law are found and left out; the sides are read from the free
curve of the balance.
"""

from __future__ import annotations

import numpy as np

from tuner.errors import FitError
from tuner.estimates import Estimate, Note
from tuner.fitting.cycle.balance import Balance, solve
from tuner.fitting.cycle.dead_stroke import dead_stroke
from tuner.fitting.cycle.onset import engaged, late_half
from tuner.fitting.cycle.sides import side_of
from tuner.fitting.cycle.strokes import StrokeTable, strokes_of
from tuner.fitting.cycle.whole import energy_of, fade_of, gas_and_friction, lag_of, loops_of
from tuner.fitting.results import DampingFit, SideFit
from tuner.fitting.side import gas_notes, unseen
from tuner.records import SIDES, CycleRecord, Side

SLOW_ENOUGH = (
    0.03  # a test this slow tells friction and gas force from damping [m/s]; common practice, no source
)
FEW_CYCLES = 3
UNEXPLAINED = 0.8  # share of the force's variance that the balance must explain
NO_SCATTER, MUCH_SCATTER = 0.10, 0.025  # relative scatter of strokes that is none, and that a note names
LATE = 2e-6  # compliance above which oil and hoses alone do not explain how late the force comes [m/N]
POOR = 0.97  # below this share a note says so
GREATEST, SMALLEST = 2e5, 0.5  # half the range of a force that can be a damper's [N]


def fit_cycle(record: CycleRecord) -> DampingFit:
    """Fit bench cycles.

    Raises
    ------
    FitError
        When no whole stroke is in the record, or too little of it can be used.
    """
    table = strokes_of(record)
    energy = energy_of(table)
    _refuse(table, energy[0].value if energy else None)
    balance = balanced(table)
    if balance.explained < UNEXPLAINED:
        raise FitError(
            f"the force does not follow speed and travel: a fit explains {100 * max(balance.explained, 0):.0f} % of it",
            hint="Check which columns were read as travel and force, and that they belong to the same times.",
        )
    if balance.scatter > NO_SCATTER:
        raise FitError(
            "strokes at different speeds contradict each other: no one damping explains them all",
            hint="Check that travel and force were recorded at the same times (a delay of milliseconds between two "
            "channels does this), and that all tests are of one damper.",
        )
    sides: dict[Side, SideFit] = {}
    for side in SIDES:
        d = 1.0 if side == "compression" else -1.0
        if (balance.use & (table.direction[:, None] == d)).any():
            sides[side] = side_of(side, table, balance, dead_stroke(table, balance, d))
        else:
            sides[side] = unseen(side)
    gas, friction = gas_and_friction(balance)
    swing = 0.5 * float(np.ptp(table.force))
    both = sides["compression"].seen and sides["rebound"].seen
    told = both and gas.high - gas.value < swing
    return DampingFit(
        kind="cycle",
        compression=sides["compression"],
        rebound=sides["rebound"],
        gas_force=gas if told else None,
        friction=friction if told else None,
        lag=lag_of(balance),
        energy_per_cycle=energy[0] if energy else None,
        energy_speed=energy[1] if energy else None,
        fade=fade_of(table, balance),
        loops=loops_of(table),
        inputs=(record.provenance,),
        conditions=(record.conditions,),
        quality=(record.quality,),
        notes=(*table.notes, *_notes(table, balance, sides, told=told), *gas_notes(gas if told else None)),
    )


def balanced(table: StrokeTable) -> Balance:
    """Solve the balance on late halves first, then on all parts in which the force has come up."""
    balance = solve(table, late_half(table))
    for _ in range(2):
        balance = solve(table, engaged(table, balance), start=balance)
    return balance


def _refuse(table: StrokeTable, energy: float | None) -> None:
    """Refuse forces that no damper has, and loops that run the wrong way round."""
    half = 0.5 * float(np.ptp(table.force))
    if not SMALLEST <= half <= GREATEST:
        raise FitError(
            f"the force ranges over {2 * half:.3g} N, which no damper on a bench does",
            hint="Check the unit of the force and which column was read as force.",
        )
    if energy is not None and energy < 0:
        raise FitError(
            f"the loops run the wrong way round: the damper would give {-energy:.3g} J per cycle instead of taking it",
            hint="Turn the sign of the force or of the travel (positive_force, positive_travel).",
        )


def _notes(table: StrokeTable, balance: Balance, sides: dict[Side, SideFit], *, told: bool) -> list[Note]:
    notes = []
    if balance.explained < POOR:
        notes.append(Note("poor-fit", explained=balance.explained))
    late = balance.compliance[0] > LATE
    if late or balance.scatter > MUCH_SCATTER:
        notes.append(Note("strokes-disagree", scatter=None if late else balance.scatter))
    if not told:
        notes.append(Note("gas-friction-unknown", case="cycle"))
    slowest = float(min(np.median(table.peak[table.test == n]) for n in np.unique(table.test)))
    if slowest > SLOW_ENOUGH:
        notes.append(Note("no-slow-cycle", slowest=Estimate.exact(slowest, "m/s")))
    if table.cycles < FEW_CYCLES:
        notes.append(Note("few-cycles", count=table.cycles))
    for side, fit in sides.items():
        if fit.dead_stroke is not None and fit.dead_stroke.low > 0.001:
            notes.append(Note("dead-stroke", case="loop", side=side, length=fit.dead_stroke))
    return notes
