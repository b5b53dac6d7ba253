"""One side of single points, ready to hand on: secants from the free curve, laws from the points.

Takes `PointBalance` and the points of a side; gives `SideFit`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from tuner.errors import FitError
from tuner.estimates import Array, Estimate, Note
from tuner.fitting.choice import FittedLaw, fit_laws
from tuner.fitting.missing import FEW, Remedy, different_speeds, error_factor, missing_note
from tuner.fitting.points import SCATTER_WORTH, PointBalance
from tuner.fitting.results import Curve, Secant, SideFit
from tuner.fitting.side import speeds_inside
from tuner.records import Side
from tuner.signals.thin import thin_indices

LAW_ERROR = 0.003  # share of the force within which a law is called right; common practice, no source
ALONE = 0.2  # half width of a secant from one single point, as a share; common practice, no source


def point_side(
    side: Side,
    balance: PointBalance,
    speed: Array,
    force: Array,
    error: Array | None = None,
    *,
    remedies: Sequence[Remedy],
    solved: Callable[[Remedy], PointBalance],
) -> SideFit:
    """Build one side from its points; `force` (n,) as measured, `error` (n,) relative errors of the speeds.

    remedies, solved : what could be done where the points do not tell the side, and the balance with it.
    """
    d = 1.0 if side == "compression" else -1.0
    damping = force - balance.offset(d)
    low, high = float(np.min(speed)), float(np.max(speed))
    different = different_speeds(speed)
    notes: list[Note] = []
    factor = error_factor(speed)
    if different == 1:
        notes.append(Note("one-point", side=side, assumed=ALONE))
    elif different < FEW:
        notes.append(Note("few-points", side=side, count=different, wanted=FEW))
    secants: list[Secant] = []
    for v in speeds_inside(low, high):
        at, width = balance.force(d, np.array([v]))
        if at[0] <= 0:
            notes.append(Note("negative-damping", side=side, speed=Estimate.exact(v, "m/s")))
            continue
        half = max(factor * float(width[0]), ALONE * float(at[0]) if different == 1 else 0.0)
        c, c_half = float(at[0]) / v, half / v
        per_offset, scattered = balance.per_offset(d, v) / v, factor * balance.scattered_sd(d, v) / v
        secants.append(
            Secant(v, Estimate(c, c - c_half, c + c_half, "N*s/m").not_negative(), per_offset, scattered)
        )
    missing = missing_note(side, secants, speed.size, speed, remedies, solved)
    if missing is not None:
        notes.append(missing)
    if not secants and not any(n.code == "negative-damping" for n in notes):
        tested = Estimate.exact(low, "m/s"), Estimate.exact(high, "m/s")
        notes.append(Note("no-reference-speed", side=side, slowest=tested[0], fastest=tested[1]))
    laws = _laws(balance, d, speed, force, error)
    if laws is None:
        notes.append(Note("no-law", side=side))
    grid = np.linspace(0.0, high, 121)
    mean, widths = balance.force(d, grid)
    keep = thin_indices(speed.size)
    known = laws is not None and bool(np.isfinite(laws[0].covariance).all()) and laws[0].df >= 1
    return SideFit(
        side=side,
        seen=True,
        law=laws[0].law if laws else None,
        parameters=laws[0].estimates() if laws and known else {},
        secant=tuple(secants),
        speed_range=(low, high),
        offset=Estimate.from_sd(balance.offset(d), balance.offset_sd(d), "N"),
        offset_sd_read=next((solved(r).offset_sd(d) for r in remedies if r.readings), None),
        candidates=tuple(f.candidate() for f in laws) if laws else (),
        curve=Curve(
            grid, mean, np.minimum(np.maximum(mean - factor * widths, 0.0), mean), mean + factor * widths
        ),
        point_speed=speed[keep],
        point_force=damping[keep],
        notes=tuple(notes),
    )


def _laws(
    balance: PointBalance, d: float, speed: Array, force: Array, error: Array | None
) -> tuple[FittedLaw, ...] | None:
    """Fit the laws to the points, each weighted by its own relative error.

    What is not damping is fitted with each law, as far as it is unsure: a few newtons of friction too many taken off
    would else bend a straight line.
    """
    damping = force - balance.offset(d)
    keep = damping > 0
    if not keep.any():
        return None
    size = np.maximum(np.abs(damping), 0.05 * float(np.max(np.abs(damping))))
    relative = np.hypot(balance.scatter, 0.0 if error is None else error)
    weights = 1.0 / (np.maximum(relative, 1e-4) * size) ** 2
    unit = float(np.mean(weights[keep]))
    offset = (balance.offset(d), 1.0 / balance.offset_sd(d) ** 2 / unit)
    floor = float(np.sum(keep)) * (LAW_ERROR / max(balance.scatter, LAW_ERROR)) ** 2 / unit
    try:
        return fit_laws(
            speed[keep],
            force[keep],
            weights[keep] / unit,
            offset=offset,
            floor=floor,
            expected=(1.0 / unit, SCATTER_WORTH),
        )
    except FitError:
        return None
