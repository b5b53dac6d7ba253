"""Results as tables for a spreadsheet (CSV), SI, one row per side and speed, or per measure.

Takes judgements and comparisons; gives CSV text.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence

from tuner.comparing import Comparison, MeasureChange
from tuner.estimates import Estimate
from tuner.exchange.rows import (
    Row,
    c_at,
    measure_change_rows,
    measure_rows,
    speeds_of,
    zeta_at,
)
from tuner.fitting.results import DampingFit, Fit
from tuner.judging import Judgement
from tuner.records import SIDES


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


def measures_csv(fit: Fit) -> str:
    """Give the measures of a drive or a jump as CSV: one row per measure, side and speed, SI, 95 % intervals."""
    return _of_rows(measure_rows(fit))


def measure_changes_csv(changes: Sequence[MeasureChange]) -> str:
    """Give changed measures as CSV: one row per measure, side and speed; stops per minute."""
    return _of_rows(measure_change_rows(changes))


def _of_rows(rows: Sequence[Row]) -> str:
    """Write rows under their names, a speed with its unit; a bound that the record does not set stays empty."""
    names = [name for name in rows[0] if name != "changed"] if rows else []
    header = [f"{name}_m_per_s" if name.startswith("speed_") else name for name in names]
    return _csv(header, ([_finite(row[name]) for name in names] for row in rows))


def _finite(cell: object) -> object:
    return None if isinstance(cell, float) and not math.isfinite(cell) else cell


def fit_csv(judgement: Judgement) -> str:
    """Give secants and ratios of a fit as CSV: one row per side and reference speed, SI, 95 % intervals.

    A drive or a jump gives its measures instead (`measures_csv`).
    """
    if not isinstance(judgement.fit, DampingFit):
        return measures_csv(judgement.fit)
    header = ["side", "speed_m_per_s", "c_N_s_per_m", "c_low", "c_high", "zeta", "zeta_low", "zeta_high"]
    rows = [
        (
            side,
            speed,
            *_three(c_at(judgement.fit, side, speed)),
            *_three(zeta_at(judgement.side(side), speed)),
        )
        for side in SIDES
        for speed in speeds_of([judgement.fit], side)
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
        for speed in speeds_of([before.fit, after.fit], side):
            estimates = (
                c_at(before.fit, side, speed),
                c_at(after.fit, side, speed),
                ratios.get(speed),
                zeta_at(before.side(side), speed),
                zeta_at(after.side(side), speed),
            )
            rows.append((side, speed, *(cell for estimate in estimates for cell in _three(estimate))))
    return _csv(header, rows)
