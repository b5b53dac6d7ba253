"""What is odd about bounce recordings: refusals before the fit, notes after it.

Takes records, cuts and the noise that was found; gives notes or raises.
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
            ways = tuple(dict.fromkeys(b.direction for b in used))
            times = tuple(Estimate.exact(b.release, "s") for b in used)
            notes.append(Note("bounces-used", file=_name(record), ways=ways, times=times))
        if any(b.cut_off for b in used):
            notes.append(Note("bounce-cut-off", file=_name(record)))
    notes += [
        Note("bounce-left-out", file=_name(records[file]), time=Estimate.exact(time, "s"), why=reason)
        for file, time, reason in cuts.left_out
    ]
    if cuts.doubtful:
        notes.append(Note("fits-badly", doubtful=len(cuts.doubtful), count=len(cuts.bounces)))
    if len(cuts.bounces) < FEW:
        notes.append(Note("few-bounces", count=len(cuts.bounces), wanted=FEW))
    return notes


def of_decrement(ratios: Sequence[float], body: Estimate) -> list[Note]:
    """Hold the classic decrement of travel against the body mode that was fitted."""
    if not ratios:
        return []
    middle = float(np.median(ratios))
    if body.low / APART <= middle <= body.high * APART:
        return []
    return [Note("decrement-differs", decrement=middle, fitted=body)]


def of_records(records: Sequence[BounceRecord], noises: Sequence[Noise]) -> list[Note]:
    """Say what is odd about rate and noise."""
    notes = [
        Note("slow-rate", file=_name(record), rate=_rate(record))
        for record in records
        if _rate(record) < GOOD_RATE
    ]
    for record, noise in zip(records, noises, strict=False):
        if record.quantity == "acceleration" and noise.shaking:
            size, pitch = Estimate.exact(noise.sigma, "m/s**2"), Estimate.exact(noise.pitch, "Hz")
            trusted = Estimate.exact(BAND, "Hz")
            notes.append(Note("vibration", file=_name(record), size=size, pitch=pitch, trusted=trusted))
    return notes


def of_lines(factor: float, *, knee: bool, left_ground: bool) -> list[Note]:
    """Say what lines without a dead stroke leave open; `factor` on the variance for bounces that disagree."""
    notes = of_agreement(factor)
    if not knee:
        notes.append(Note("one-line"))
    if left_ground:
        notes.append(Note("wheel-left-ground"))
    return notes


def of_dead_stroke() -> list[Note]:
    """Say what the dead stroke means for the ratio that is given."""
    return [Note("soft-after-reversal")]


def of_agreement(factor: float) -> list[Note]:
    """Say when the bounces differ from each other by more than noise; `factor` on the variance."""
    return [] if factor < 2.0 else [Note("bounces-differ", factor=factor**0.5)]
