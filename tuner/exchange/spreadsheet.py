"""Results as tables for a spreadsheet (CSV), SI, one row per side and speed, or per measure.

Takes judgements and comparisons; gives CSV text.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence

from tuner.comparing import Comparison, MeasureChange
from tuner.estimates import Estimate
from tuner.exchange.measures import STOPS
from tuner.fitting.results import DampingFit
from tuner.judging import JudgedSide, Judgement
from tuner.records import SIDES, Side

MEASURED = ("travel", "flight")  # kinds that give measures instead of damping


def _csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows(["" if cell is None else cell for cell in row] for row in rows)
    return out.getvalue()


def _three(estimate: Estimate | None) -> tuple[float | None, float | None, float | None]:
    if estimate is None:
        return None, None, None
    return estimate.value, *(x if math.isfinite(x) else None for x in (estimate.low, estimate.high))  # type: ignore[return-value]


def _zeta_at(judged: JudgedSide, speed: float | None) -> Estimate | None:
    return next((at.zeta for at in judged.zeta if at.speed == speed), None)


def _speeds(fits: Iterable[DampingFit], side: Side) -> list[float | None]:
    """Give every reference speed, rising; None first where a record gives its ratio without one (a bounce)."""
    sides = [fit.side(side) for fit in fits]
    alone: list[float | None] = [None] if any(each.zeta is not None for each in sides) else []
    return [*alone, *sorted({at.speed for each in sides for at in each.secant})]


def _c_at(fit: DampingFit, side: Side, speed: float | None) -> Estimate | None:
    return None if speed is None else fit.side(side).secant_at(speed)


def measures_csv(fit: DampingFit) -> str:
    """Give the measures of a drive or a jump as CSV: one row per measure, side and speed, SI, 95 % intervals."""
    header = ["measure", "side", "speed_from_m_per_s", "speed_to_m_per_s", "value", "low", "high", "unit"]
    rows: list[tuple[object, ...]] = []

    def add(name: str, item: object, side: str = "", low: object = None, high: object = None) -> None:
        if isinstance(item, Estimate):
            rows.append((name, side, low, high, *_three(item), item.unit))
        elif isinstance(item, (int, float)) and not isinstance(item, bool):
            rows.append((name, side, low, high, item, None, None, ""))

    for name, item in fit.measures.items():
        if name == "time_share" and isinstance(item, tuple):
            for one in item:
                add(name, one.share, one.side, one.low, one.high if math.isfinite(one.high) else None)
        elif isinstance(item, Mapping):
            for side, part in item.items():
                add(name, part, str(side))
        elif name in STOPS and isinstance(item, tuple):
            add(name, len(item))
        else:
            add(name, item)
    return _csv(header, rows)


def measure_changes_csv(changes: Sequence[MeasureChange]) -> str:
    """Give changed measures as CSV: one row per measure, side and speed; stops per minute."""
    header = ["measure", "side", "speed_from_m_per_s", "speed_to_m_per_s"]
    header += [f"{name}{end}" for name in ("before", "after", "difference") for end in ("", "_low", "_high")]
    rows = []
    for change in changes:
        low, high = (None, None) if change.speeds is None else change.speeds
        given = next((e for e in (change.before, change.after, change.difference) if e is not None), None)
        cells = [x for e in (change.before, change.after, change.difference) for x in _three(e)]
        top = high if high is not None and math.isfinite(high) else None
        unit = "" if given is None else given.unit
        rows.append((change.name, change.side or "", low, top, *cells, unit))
    return _csv([*header, "unit"], rows)


def fit_csv(judgement: Judgement) -> str:
    """Give secants and ratios of a fit as CSV: one row per side and reference speed, SI, 95 % intervals.

    A drive or a jump gives its measures instead (`measures_csv`).
    """
    if judgement.fit.kind in MEASURED:
        return measures_csv(judgement.fit)
    header = ["side", "speed_m_per_s", "c_N_s_per_m", "c_low", "c_high", "zeta", "zeta_low", "zeta_high"]
    rows = [
        (
            side,
            speed,
            *_three(_c_at(judgement.fit, side, speed)),
            *_three(_zeta_at(judgement.side(side), speed)),
        )
        for side in SIDES
        for speed in _speeds([judgement.fit], side)
    ]
    return _csv(header, rows)


def compare_csv(comparison: Comparison) -> str:
    """Give a comparison as CSV: one row per side and reference speed, SI, 95 % intervals; or the changed measures."""
    if comparison.measures:
        return measure_changes_csv(comparison.measures)
    names = ["c_before_N_s_per_m", "c_after_N_s_per_m", "ratio", "zeta_before", "zeta_after"]
    header = ["side", "speed_m_per_s"] + [f"{name}{end}" for name in names for end in ("", "_low", "_high")]
    before, after = comparison.before, comparison.after
    rows = []
    for side in SIDES:
        ratios = {at.speed: at.ratio for at in comparison.side(side).change}
        for speed in _speeds([before.fit, after.fit], side):
            estimates = (
                _c_at(before.fit, side, speed),
                _c_at(after.fit, side, speed),
                ratios.get(speed),
                _zeta_at(before.side(side), speed),
                _zeta_at(after.side(side), speed),
            )
            rows.append((side, speed, *(cell for estimate in estimates for cell in _three(estimate))))
    return _csv(header, rows)
