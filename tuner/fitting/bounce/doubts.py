"""What is odd about bounce recordings: refusals before the fit, notes after it.

Takes records, cuts and the noise that was found; gives notes or raises.
Uses: errors, estimates, cuts, trial, signals.bounces.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tuner.errors import FitError
from tuner.estimates import Estimate, Note
from tuner.fitting.bounce.cuts import Cuts
from tuner.fitting.bounce.trial import BAND, Noise
from tuner.records import BounceRecord
from tuner.signals.bounces import FALL, find_bounces

LOWEST_RATE = 40.0  # [Hz] a wheel hops at 8 to 15 Hz
GOOD_RATE = 80.0
FEW = 3
APART = 1.35  # factor by which the turning points may differ: they know nothing of the tyre


def _name(record: BounceRecord) -> str:
    return record.provenance.file


def _rate(record: BounceRecord) -> float:
    return 1.0 / float(np.median(np.diff(record.time)))


def refuse_unfit(records: Sequence[BounceRecord]) -> None:
    """Refuse what cannot be a bounce test.

    Raises
    ------
    FitError
        No record, two kinds of measurement, a rate below 40 Hz, a fall.
    """
    if not records:
        raise FitError("at least one bounce record is needed; got none")
    if len({record.quantity for record in records}) > 1:
        raise FitError(
            "all recordings of one setting must measure the same; got acceleration and travel",
            hint="Fit the phone's files and the travel sensor's files apart.",
        )
    for record in records:
        if _rate(record) < LOWEST_RATE:
            raise FitError(
                f"{_name(record)}: a bounce needs at least {LOWEST_RATE:.0f} samples per second; got "
                f"{_rate(record):.0f}",
                hint="Set the sensor app to its fastest rate; 100 per second or more is good.",
            )
        if record.quantity == "acceleration":
            fall = find_bounces(record.time, record.signal, record.quantity).fall
            if fall > FALL:
                raise FitError(
                    f"{_name(record)}: this is no bounce, the phone fell freely for {fall:.2f} s",
                    hint="A jump is read with the kind 'flight'; for a bounce fix the phone over the axle.",
                )


def of_cuts(records: Sequence[BounceRecord], cuts: Cuts) -> list[Note]:
    """Say which bounces were used, and why others were not."""
    notes = []
    for k, record in enumerate(records):
        used = [b for b, file in zip(cuts.bounces, cuts.file, strict=True) if file == k]
        if used:
            words = {"push": "push and let go", "lift": "lift and drop"}
            ways = " and ".join(dict.fromkeys(words[b.direction] for b in used))
            times = ", ".join(f"{b.release:.1f}" for b in used)
            plural = "bounce" if len(used) == 1 else "bounces"
            notes.append(
                Note("bounces-used", f"{_name(record)}: {len(used)} {plural} used ({ways}), at {times} s")
            )
        if any(b.cut_off for b in used):
            notes.append(
                Note(
                    "bounce-cut-off",
                    f"{_name(record)}: the recording begins after the release; its start is unknown",
                )
            )
    notes += [
        Note("bounce-left-out", f"{_name(records[file])}: the bounce at {time:.1f} s was left out: {reason}")
        for file, time, reason in cuts.left_out
    ]
    if cuts.doubtful:
        notes.append(
            Note(
                "fits-badly",
                f"{len(cuts.doubtful)} of {len(cuts.bounces)} bounces move in a way that the corner on its tyre does "
                "not explain; body pitch, a hand, a stop that was hit or a soft mount of the phone could",
            )
        )
    if len(cuts.bounces) < FEW:
        notes.append(
            Note(
                "few-bounces",
                f"only {len(cuts.bounces)} bounce(s) could be used; {FEW} to 6 narrow the intervals",
            )
        )
    return notes


def of_decrement(ratios: Sequence[float], body: Estimate) -> list[Note]:
    """Hold the classic decrement of travel against the body mode that was fitted."""
    if not ratios:
        return []
    middle = float(np.median(ratios))
    if body.low / APART <= middle <= body.high * APART:
        return []
    return [
        Note(
            "decrement-differs",
            f"the turning points alone say a damping ratio of {middle:.2f} for the body's swing, the fit says "
            f"{body.value:.2f}; look at the picture of the bounces before trusting either",
        )
    ]


def of_records(records: Sequence[BounceRecord], noises: Sequence[Noise]) -> list[Note]:
    """Say what is odd about rate and noise."""
    notes = []
    for record in records:
        if _rate(record) < GOOD_RATE:
            notes.append(
                Note(
                    "slow-rate",
                    f"{_name(record)}: {_rate(record):.0f} samples per second hardly show the wheel's own motion; "
                    "100 or more narrow the intervals",
                )
            )
    for record, noise in zip(records, noises, strict=False):
        if record.quantity == "acceleration" and noise.shaking:
            notes.append(
                Note(
                    "vibration",
                    f"{_name(record)}: a vibration of {noise.sigma:.1f} m/s^2, strongest at {noise.pitch:.0f} Hz, lies "
                    f"on the record (engine running?); only what is slower than {BAND:.0f} Hz was trusted",
                )
            )
    return notes


def of_lines(factor: float, *, knee: bool, left_ground: bool) -> list[Note]:
    """Say what lines without a dead stroke leave open; `factor` on the variance for bounces that disagree."""
    notes = of_agreement(factor)
    if not knee:
        notes.append(
            Note(
                "one-line",
                "one damping value per side explains the record; a change with speed would need harder bounces to show",
            )
        )
    if left_ground:
        notes.append(
            Note(
                "wheel-left-ground", "the wheel left the ground in at least one bounce; the fit allows for it"
            )
        )
    return notes


def of_dead_stroke() -> list[Note]:
    """Say what the dead stroke means for the ratio that is given."""
    return [
        Note(
            "soft-after-reversal",
            "the bounces only fit a damper that is soft after every reversal, as with air in the oil or too little of "
            "it; the ratio is that of the damper once it works",
        )
    ]


def of_agreement(factor: float) -> list[Note]:
    """Say when the bounces differ from each other by more than noise; `factor` on the variance."""
    if factor < 2.0:
        return []
    return [
        Note(
            "bounces-differ",
            f"the bounces differ from each other {factor**0.5:.1f} times as much as their noise explains (pitching, "
            "hands, a damper that is not two straight lines): the intervals are that much wider",
        )
    ]
