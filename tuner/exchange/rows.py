"""Results as rows of plain values, SI: one per side and reference speed, or one per measure of a drive or a jump.

Takes judgements, comparisons and matches; gives rows for CSV and for data frames.

A cell is None where nothing is known; a bound that the record does not set is infinite.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from tuner.comparing import ChangeAt, Comparison, MeasureChange, PairMatch
from tuner.estimates import Estimate
from tuner.exchange.measures import STOPS, measures_of
from tuner.fitting.results import DampingFit, Fit
from tuner.judging import JudgedSide, Judgement
from tuner.records import SIDES, Side

Row = dict[str, object]


def zeta_at(judged: JudgedSide, speed: float | None) -> Estimate | None:
    """Give the damping ratio at that reference speed, None where there is none."""
    return next((at.zeta for at in judged.zeta if at.speed == speed), None)


def speeds_of(fits: Iterable[Fit], side: Side) -> list[float | None]:
    """Give every reference speed, rising; None first where a record gives its ratio without one (a bounce)."""
    sides = [fit.side(side) for fit in fits]
    alone: list[float | None] = [None] if any(each.zeta is not None for each in sides) else []
    return [*alone, *sorted({at.speed for each in sides for at in each.secant})]


def c_at(fit: Fit, side: Side, speed: float | None) -> Estimate | None:
    """Give the damping at that reference speed, None where there is none."""
    return None if speed is None else fit.side(side).secant_at(speed)


def _three(name: str, estimate: Estimate | None, *, bare: bool = False) -> Row:
    """Give value and bounds as three cells: ``ratio``, ``ratio_low``, ``ratio_high``, or ``low`` and ``high``."""
    stem = "" if bare else f"{name}_"
    if estimate is None:
        return {name: None, f"{stem}low": None, f"{stem}high": None}
    return {name: estimate.value, f"{stem}low": estimate.low, f"{stem}high": estimate.high}


def fit_rows(judgement: Judgement) -> list[Row]:
    """Give one row per side and reference speed: damping with unit, and the damping ratio where there is a corner.

    A bounce gives the ratio itself, without a speed, as the value (unit "1"). A drive or a jump gives its measures.
    """
    fit = judgement.fit
    if not isinstance(fit, DampingFit):
        return measure_rows(fit)
    rows: list[Row] = []
    for side in SIDES:
        for speed in speeds_of([fit], side):
            zeta = zeta_at(judgement.side(side), speed)
            value = zeta if speed is None else c_at(fit, side, speed)
            unit = None if value is None else value.unit
            rows.append(
                {
                    "side": side,
                    "speed": speed,
                    **_three("value", value, bare=True),
                    "unit": unit,
                    **_three("zeta", zeta),
                }
            )
    return rows


def _ratio_rows(
    at: Sequence[ChangeAt], fits: tuple[Judgement, Judgement], side: Side, names: tuple[str, str]
) -> list[Row]:
    """Give the ratio at every speed that one of two fits holds, and what it is made of."""
    ratios = {each.speed: each.ratio for each in at}
    rows: list[Row] = []
    for speed in speeds_of([judged.fit for judged in fits], side):
        pair = [
            zeta_at(judged.side(side), None) if speed is None else c_at(judged.fit, side, speed)
            for judged in fits
        ]
        known = next((each for each in pair if each is not None), None)
        rows.append(
            {
                "side": side,
                "speed": speed,
                **_three("ratio", ratios.get(speed)),
                **_three(names[0], pair[0]),
                **_three(names[1], pair[1]),
                "unit": None if known is None else known.unit,
            }
        )
    return rows or [
        {
            "side": side,
            "speed": None,
            **_three("ratio", None),
            **_three(names[0], None),
            **_three(names[1], None),
            "unit": None,
        }
    ]


def change_rows(comparison: Comparison) -> list[Row]:
    """Give one row per side and reference speed: ratio after / before, both dampings, verdict and probability.

    The verdict is that of the side; `judged` marks the row that it speaks of. Drives and jumps give their measures.
    """
    if comparison.measures:
        return measure_change_rows(comparison.measures)
    rows: list[Row] = []
    for side in SIDES:
        compared = comparison.side(side)
        at = compared.at_target
        verdict = {"verdict": compared.verdict, "probability": compared.probability}
        for row in _ratio_rows(
            compared.change, (comparison.before, comparison.after), side, ("before", "after")
        ):
            rows.append({**row, **verdict, "judged": at is not None and row["speed"] == at.speed})
    return rows


def match_rows(pair: PairMatch) -> list[Row]:
    """Give one row per side and reference speed: ratio other / one, both dampings, matched and probability.

    `matched` (None: it cannot be told) is that of the side; `judged` marks the row that it is named with.
    """
    rows: list[Row] = []
    for side in SIDES:
        matched = pair.side(side)
        at = matched.at
        verdict = {"matched": matched.matched, "probability": matched.probability}
        for row in _ratio_rows(matched.ratio, (pair.one, pair.other), side, ("one", "other")):
            rows.append({**row, **verdict, "judged": at is not None and row["speed"] == at.speed})
    return rows


def measure_rows(fit: Fit) -> list[Row]:
    """Give the measures of a drive or a jump: one row per measure, side and class of speeds."""
    rows: list[Row] = []

    def add(name: str, item: object, side: str = "", low: object = None, high: object = None) -> None:
        place: Row = {"measure": name, "side": side, "speed_from": low, "speed_to": high}
        if isinstance(item, Estimate):
            rows.append({**place, **_three("value", item, bare=True), "unit": item.unit})
        elif isinstance(item, (int, float)) and not isinstance(item, bool):
            rows.append({**place, "value": item, "low": None, "high": None, "unit": ""})

    for name, item in measures_of(fit).items():
        if name == "time_share" and isinstance(item, tuple):
            for one in item:
                add(name, one.share, one.side, one.low, one.high)
        elif isinstance(item, Mapping):
            for side, part in item.items():
                add(name, part, str(side))
        elif name in STOPS and isinstance(item, tuple):
            add(name, len(item))
        else:
            add(name, item)
    return rows


def measure_change_rows(changes: Sequence[MeasureChange]) -> list[Row]:
    """Give changed measures: one row per measure, side and class of speeds; stops per minute."""
    rows: list[Row] = []
    for change in changes:
        low, high = (None, None) if change.speeds is None else change.speeds
        values = (("before", change.before), ("after", change.after), ("difference", change.difference))
        given = next((each for _, each in values if each is not None), None)
        row: Row = {"measure": change.name, "side": change.side or "", "speed_from": low, "speed_to": high}
        for name, estimate in values:
            row |= _three(name, estimate)
        rows.append({**row, "unit": "" if given is None else given.unit, "changed": change.changed})
    return rows
