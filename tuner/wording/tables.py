"""Tables of one setting: secants, the damper as a whole, the corner; and single cells of them.

Takes a `Judgement` or a fit; gives `Table`s.
"""

from __future__ import annotations

import math

from tuner.estimates import Estimate
from tuner.fitting.results import DampingFit, as_a
from tuner.judging import JudgedSide, Judgement
from tuner.records import SIDES, Side
from tuner.units import System
from tuner.wording import figures, motion
from tuner.wording.layout import Table


def secant_table(judgement: Judgement, system: System) -> Table:
    """Give damping and ratio of both sides at every reference speed."""
    speeds = sorted({s.speed for side in SIDES for s in judgement.fit.side(side).secant})
    with_zeta = any(judgement.side(side).zeta for side in SIDES)
    header = ["speed", *SIDES]
    if with_zeta:
        header += [f"ratio, {side}" for side in SIDES]
    rows = []
    for speed in speeds:
        row = [figures.speed_bare(speed, system)]
        row += [figures.damping_bare(judgement.fit.side(side).secant_at(speed), system) for side in SIDES]
        if with_zeta:
            row += [figures.zeta_text(zeta_at(judgement.side(side), speed)) for side in SIDES]
        rows.append(tuple(row))
    speed_unit, unit = figures.label_of("speed", system), figures.label_of("damping", system)
    told = judgement.fit.kind != "sweep" or as_a(DampingFit, judgement.fit).friction is not None
    inside = "without gas force and friction" if told else "usual friction taken off the peak forces"
    title = f"Force over speed, {inside}: speed in {speed_unit}, damping in {unit}"
    return Table(title, tuple(header), tuple(rows))


def zeta_at(judged: JudgedSide, speed: float | None) -> Estimate | None:
    """Give the damping ratio at that reference speed, None where there is none."""
    return next((z.zeta for z in judged.zeta if z.speed == speed), None)


def side_table_title(side: Side, system: System) -> str:
    """Give the title of a table of one side, with the units of its columns."""
    speed, damping = figures.label_of("speed", system), figures.label_of("damping", system)
    return f"{motion.SIDE_TITLE[side]}: speed in {speed}, damping in {damping}"


def whole_rows(fit: DampingFit, system: System) -> list[tuple[str, Estimate | None, str]]:
    """Give name, estimate and kind of what belongs to the damper as a whole or to its oil."""
    rows: list[tuple[str, Estimate | None, str]] = [
        ("dead stroke on the way in", fit.compression.dead_stroke, "length"),
        ("dead stroke on the way out", fit.rebound.dead_stroke, "length"),
        ("gas force at mid stroke", fit.gas_force, "force"),
        ("friction", fit.friction, "force"),
    ]
    if fit.energy_speed is not None:
        at = figures.speed_text(fit.energy_speed, system)
        rows.append((f"energy per cycle at {at}", fit.energy_per_cycle, "energy"))
    return rows


def whole_table(fit: DampingFit, system: System) -> Table:
    """Give gas force, friction, dead stroke, lag, energy and fade, as far as the record shows them."""
    rows = [
        (name, figures.amount(estimate, kind, system=system))
        for name, estimate, kind in whole_rows(fit, system)
        if estimate is not None
    ]
    if fit.lag is not None:
        rows.append(("lag of the force", f"{figures.amount(fit.lag.scaled(1e3, 'ms'), system=system)}"))
    if fit.fade is not None:
        rows.append(
            (
                "drift of the force over the test",
                f"{figures.amount(fit.fade.scaled(100.0, '%'), system=system)}",
            )
        )
    return Table("", ("the damper as a whole", "value"), tuple(rows))


def corner_table(judgement: Judgement, system: System) -> Table:
    """Give what the corner itself is, and the exact modes beside the handbook ratio."""
    rows = [
        (
            name,
            figures.amount(estimate, kind, system=system) if kind != "ratio" else figures.zeta_text(estimate),
        )
        for name, estimate, kind in (
            ("spring rate at the wheel", judgement.wheel_rate, "stiffness"),
            ("natural frequency", judgement.frequency, "frequency"),
            ("critical damping at the wheel", judgement.critical_damping, "damping"),
            ("damping ratio of the body, tyre included", judgement.body_mode_zeta, "ratio"),
            ("damping ratio of the wheel hop", judgement.wheel_hop_zeta, "ratio"),
        )
        if estimate is not None
    ]
    name = "" if judgement.corner is None else f" {judgement.corner.name}"
    return Table("", (f"the corner{name}", "value"), tuple(rows))


def dead_stroke_text(length: Estimate, system: System) -> str:
    """Write a dead stroke for a sentence; one that may be nothing is "at most" its upper limit."""
    if length.low <= 0 and math.isfinite(length.high):
        return f"at most {figures.upper_bound(length, 'length', system)}"
    return figures.amount(length, "length", system=system)
