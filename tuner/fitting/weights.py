"""Hung weights: masses that sink at a steady speed into a fit.

Takes `WeightsRecord`; gives `DampingFit`.

At a steady speed the damping force balances the rest: in compression m g - F_gas - F_friction, in extension
m g + F_gas - F_friction; speed = distance / time. A slow push and a slow return on a scale read F_gas + F_friction
and F_gas - F_friction. The error of the time goes into the speed (errors in variables).
"""

from __future__ import annotations

from functools import partial

import numpy as np

from tuner.errors import FitError, require
from tuner.estimates import Array, Estimate, Note
from tuner.fitting.missing import FEW, Remedy, different_speeds, scale_readings
from tuner.fitting.point_side import point_side
from tuner.fitting.points import PointBalance, ScaleReading, balance_points
from tuner.fitting.results import REFERENCE_SPEEDS, DampingFit, SideFit
from tuner.fitting.side import unseen
from tuner.records import SIDES, Side, WeightsRecord
from tuner.units import GRAVITY

HAND_STOPPED = 0.15  # sd of a hand-stopped time [s]; 0.1-0.2 s, common practice, no source
DISTANCE_ERROR = 0.001  # sd of the distance between two marks [m]; a tape, common practice, no source
SCATTER = 0.01  # relative scatter of one drop that is expected before looking; common practice, no source
SCALE_ERROR = 0.02  # relative error of a single scale reading; common practice, no source
SCALE_STEP = 2.0  # smallest error of a mean scale reading [N]; common practice, no source
SETTLED = 3.0  # time constants m/c until the speed counts as steady
STEADY_SHARE = 0.1  # share of the time measured that this may take
FILMED = 0.25  # repeats that agree this much better than hands do were not stopped by hand
MORE_MASS = np.array([1.5, 0.75, 2.0, 0.5, 0.3])  # further weights to hang, as shares of the heaviest
HEAVIEST = 60.0  # that is still hung by hand [kg]
COARSE = 0.1  # relative error of a speed that is called coarse


def fit_weights(record: WeightsRecord) -> DampingFit:
    """Fit a hung-weight table.

    Raises
    ------
    FitError
        When no weight is left over gas force and friction.
    """
    speed = record.distance / record.duration
    load = GRAVITY * (record.mass + record.moving_mass)
    error = _speed_error(record)
    readings = _readings(record)

    def solved(remedy: Remedy, direction: float) -> PointBalance:
        """Balance the rows, and with them what a remedy for one side adds."""
        more = len(remedy.speeds)
        return balance_points(
            np.concatenate((record.direction, np.full(more, direction))),
            np.concatenate((speed, remedy.speeds)),
            np.concatenate((load, remedy.forces)),
            extra_speeds=REFERENCE_SPEEDS,
            speed_error=np.concatenate((error, np.full(more, float(np.median(error))))),
            scatter=SCATTER,
            readings=(*readings, *remedy.readings),
        )

    balance = solved(Remedy(), 1.0)
    damping = load - np.array([balance.offset(d) for d in record.direction])
    require(
        bool((damping > 0).any()),
        "the hung weights",
        "heavier than gas force and friction together",
        f"{float(load.max()):.0f} N at most against {float((load - damping).max()):.0f} N",
        error=FitError,
        hint="Check the scale readings and the direction of each row.",
    )
    sides: dict[Side, SideFit] = {}
    for side in SIDES:
        d = 1.0 if side == "compression" else -1.0
        mine = record.direction == d
        if not mine.any():
            sides[side] = unseen(side)
            continue
        sides[side] = point_side(
            side,
            balance,
            speed[mine],
            load[mine],
            error[mine],
            remedies=_remedies(record, balance, d),
            solved=partial(solved, direction=d),
        )
    gas, friction = balance.offsets()
    both = bool((record.direction > 0).any() and (record.direction < 0).any())
    read = len(readings) > 0
    return DampingFit(
        kind="weights",
        compression=sides["compression"],
        rebound=sides["rebound"],
        gas_force=gas if read or (both and balance.gas_told) else None,
        friction=friction if read or balance.friction_told else None,
        inputs=(record.provenance,),
        conditions=(record.conditions,),
        quality=(record.quality,),
        notes=_notes(record, error, damping, speed),
    )


def _remedies(record: WeightsRecord, balance: PointBalance, direction: float) -> tuple[Remedy, ...]:
    """Give what would tell a side: scale readings where there are none, more weights, both."""
    mine = record.direction == direction
    speed = record.distance[mine] / record.duration[mine]
    mass = np.unique(record.mass[mine])
    wanted = max(FEW - different_speeds(speed), 1)
    offered = [m for m in mass.max() * MORE_MASS if np.min(np.abs(mass - m)) > 0.1 * m and m <= HEAVIEST]
    new = sorted(offered[:wanted])
    forces = [GRAVITY * (m + record.moving_mass) for m in new]
    fastest = float(np.max(speed))
    secant = max(float(balance.force(direction, np.array([fastest]))[0][0]), 1.0) / fastest
    speeds = [max(force - balance.offset(direction), 0.1 * force) / secant for force in forces]
    masses, side = tuple(Estimate.exact(float(m), "kg") for m in new), SIDES[0 if direction > 0 else 1]
    need = Note("more-weights", side=side, masses=masses, wanted=FEW)
    more = Remedy((need,), tuple(speeds), tuple(forces))
    rows = (more,) if new else ()
    if record.push_force.size and record.return_force.size:
        return rows
    scale = Remedy((Note("scale-readings"),), readings=scale_readings(balance))
    return (scale, *rows, *(scale & row for row in rows))


def _speed_error(record: WeightsRecord) -> Array:
    """Relative error of every speed: one frame at each end, or a hand on a watch, and the tape."""
    # two ends, each even within one frame
    time_sd = np.sqrt(2.0 / 12.0) / record.frame_rate if record.frame_rate else HAND_STOPPED
    return np.asarray(np.hypot(time_sd / record.duration, DISTANCE_ERROR / record.distance))


def _readings(record: WeightsRecord) -> tuple[ScaleReading, ...]:
    """Scale readings as forces at rest; without both, none."""
    out = []
    for values, sign in ((record.push_force, 1.0), (record.return_force, -1.0)):
        if values.size:
            mean = float(np.mean(values))
            if values.size >= 3:
                sd = float(np.std(values, ddof=1)) / np.sqrt(values.size)
            else:
                sd = SCALE_ERROR * abs(mean) / np.sqrt(values.size)
            out.append(ScaleReading(1.0, sign, mean, float(np.hypot(sd, SCALE_STEP / 2.0))))
    return tuple(out)


def _notes(record: WeightsRecord, error: Array, damping: Array, speed: Array) -> tuple[Note, ...]:
    notes = []
    if record.push_force.size == 0 or record.return_force.size == 0:
        notes.append(Note("gas-friction-unknown", case="weights"))
    elif float(np.mean(record.return_force)) > float(np.mean(record.push_force)):
        back, push = (
            Estimate.exact(float(np.mean(f)), "N") for f in (record.return_force, record.push_force)
        )
        notes.append(Note("friction-negative", back=back, push=push))
    weak = damping <= 0
    if weak.any():
        notes.append(Note("weight-too-small", count=int(weak.sum()), rows=weak.size))
    mass = record.mass + record.moving_mass
    settle = SETTLED * mass * speed / np.maximum(damping, 1e-9)
    slow = ~weak & (settle > STEADY_SHARE * record.duration)
    if slow.any():
        notes.append(Note("not-steady", count=int(slow.sum()), rows=speed.size))
    if float(np.max(error)) > COARSE:
        frames = Estimate.exact(record.frame_rate, "Hz") if record.frame_rate else None
        notes.append(Note("coarse-time", error=float(np.max(error)), frames=frames))
    apart = None if record.frame_rate else _repeated(record)
    if apart is not None and apart < FILMED * HAND_STOPPED:
        by_hand, seen = Estimate.exact(HAND_STOPPED, "s"), Estimate.exact(apart, "s")
        notes.append(Note("times-filmed", by_hand=by_hand, apart=seen))
    return tuple(notes)


def _repeated(record: WeightsRecord) -> float | None:
    """Give the standard deviation of repeated times [s], None where fewer than three rows repeat another."""
    squares, free = 0.0, 0
    same = np.stack([record.direction, record.mass, record.distance])
    for group in np.unique(same, axis=1).T:
        times = record.duration[(same == group[:, None]).all(axis=0)]
        squares += float(np.sum((times - times.mean()) ** 2))
        free += times.size - 1
    return float(np.sqrt(squares / free)) if free >= 3 else None
