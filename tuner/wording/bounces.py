"""What a bounce says beside the damping ratio of each side: frequency, friction, tyre; its tables.

Takes `Judgement`s and `Comparison`s of bounces; gives sentences, tables.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from tuner.comparing import ChangeAt
from tuner.estimates import Estimate
from tuner.fitting.results import DampingFit, Secant, as_a, measured_of_corner
from tuner.judging import Judgement
from tuner.machine import frequency
from tuner.machine.checks import DISAGREEMENT
from tuner.records import SIDES, Side
from tuner.units import System
from tuner.wording import figures, motion, tables
from tuner.wording.layout import Table


def is_bounce(*judgements: Judgement) -> bool:
    """Say whether all of these are bounces."""
    return all(judgement.fit.kind == "bounce" for judgement in judgements)


def corner_points(judgement: Judgement, system: System) -> tuple[str, ...]:
    """Say at which frequency the corner swings, against the one expected, and how dry it is."""
    fit = as_a(DampingFit, judgement.fit)
    measured = fit.corner_measured.get("frequency")
    points = [] if measured is None else [_frequency(measured, judgement, system)]
    if fit.friction is not None:
        points.append(_friction(fit.friction, system))
    return tuple(points)


def _frequency(measured: Estimate, judgement: Judgement, system: System) -> str:
    text = f"The corner swings at {figures.amount(measured, 'frequency', system=system)}"
    if judgement.corner is None:
        return f"{text}."
    expected = frequency(judgement.corner)
    gap = measured.value / expected.value - 1.0
    agrees = "as expected from" if abs(gap) <= DISAGREEMENT else "not as expected from"
    return f"{text}, {agrees} spring and mass ({figures.amount(expected, 'frequency', system=system)})."


def _friction(friction: Estimate, system: System) -> str:
    if math.isfinite(friction.high) and friction.low < 0.2 * friction.value:
        most = figures.upper_bound(friction, "force", system)
        return f"Dry friction at the wheel: at most {most}."
    return f"Dry friction at the wheel: {figures.amount(friction, 'force', system=system)}."


def ratio_table(judgement: Judgement, system: System) -> Table:
    """Give the damping ratio of both sides and their mean; with a known corner the damping at the shaft as well."""
    at_shaft = any(judgement.fit.side(side).secant for side in SIDES) and all(
        _even(judgement.fit.side(side).secant) for side in SIDES
    )
    told = any(judgement.fit.side(side).zeta_speed is not None for side in SIDES)
    rows = []
    for side in SIDES:
        zeta = tables.zeta_at(judgement.side(side), None)
        if zeta is None:
            continue
        secants = judgement.fit.side(side).secant
        speed = judgement.fit.side(side).zeta_speed
        shown = (
            [figures.UNKNOWN if speed is None else figures.speed_bare(round(speed, 2), system)]
            if told
            else []
        )
        shown += [figures.bare(secants[-1].c if secants else None, "damping", system)] if at_shaft else []
        rows.append((motion.SIDE_TITLE[side], figures.zeta_text(zeta), *shown))
    mean = next((at.zeta for at in judgement.mean_zeta if at.speed is None), None)
    if mean is not None:
        rows.append(("mean of both", figures.zeta_text(mean), *[figures.UNKNOWN] * (told + at_shaft)))
    header = ["from the bounce", "damping ratio"]
    header += [f"at, {figures.label_of('speed', system)}"] if told else []
    header += [f"damping at the shaft, {figures.label_of('damping', system)}"] if at_shaft else []
    return Table("", tuple(header), tuple(rows))


def _even(secants: Sequence[Secant]) -> bool:
    """Say whether the damping at the shaft is the same at every speed; with a knee the law says what it is."""
    return not secants or abs(secants[0].c.value - secants[-1].c.value) <= 0.005 * secants[0].c.value


def ratios_table(
    judged: Sequence[tuple[str, Judgement]], changes: Mapping[Side, Sequence[ChangeAt]], last: str
) -> Table:
    """Give the damping ratio of two bounces and their change, one row per side; `last` heads the change."""
    rows = []
    for side in SIDES:
        values = [tables.zeta_at(judgement.side(side), None) for _, judgement in judged]
        ratio = next((at.ratio for at in changes[side] if at.speed is None), None)
        if any(value is not None for value in values):
            shown = figures.UNKNOWN if ratio is None else figures.signed_change(ratio)
            rows.append((motion.SIDE_TITLE[side], *map(figures.zeta_text, values), shown))
    return Table("Damping ratio from the bounce", ("side", *(name for name, _ in judged), last), tuple(rows))


def corner_rows(judgement: Judgement, system: System) -> list[tuple[str, str]]:
    """Give what only a bounce measures of the corner, for its table."""
    measured = measured_of_corner(judgement.fit)
    rows = []
    if "frequency" in measured and judgement.corner is not None:
        expected = frequency(judgement.corner)
        rows.append(("frequency from spring and mass", figures.amount(expected, "frequency", system=system)))
    if "tyre_rate" in measured:
        rows.append(
            ("tyre rate from the bounce", figures.amount(measured["tyre_rate"], "stiffness", system=system))
        )
    return rows
