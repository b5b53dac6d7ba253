"""Jumps in words: time in the air, how fast and how far the machine turned, how hard it landed.

Takes a `Judgement` of a flight record; gives cards, sentences, tables.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from tuner.estimates import Estimate
from tuner.fitting.results import Jump, JumpFit, as_a
from tuner.judging import Judgement
from tuner.units import System
from tuner.wording import amounts, figures
from tuner.wording.amounts import Card
from tuner.wording.layout import Table

UNLIKE = "Jump by jump, because they are unlike each other."
NO_DAMPING = (
    "A jump shows what the machine did, not the damping: speed, line, throttle and brake are in it. A bounce of the "
    "corner or a bench shows the damping."
)


def direction_known(judgement: Judgement) -> bool:
    """Say whether the recording tells which way the nose went."""
    jumps = as_a(JumpFit, judgement.fit).jumps
    return any(jump.sign_known and jump.pitch_rate is not None for jump in jumps)


def cards(judgement: Judgement, system: System) -> tuple[Card, ...]:
    """Give what the jumps say, what the rider feels first; what is not known is left out."""
    fit = as_a(JumpFit, judgement.fit)
    if fit.airtime is None or fit.landing_peak is None:
        return _one_by_one(fit.jumps, system)
    count = len(fit.jumps)
    found = []
    if fit.pitch_rate is not None:
        found.append(_turning(fit.pitch_rate, fit.rotation, system, direction_known(judgement)))
    jumps = "One jump." if count == 1 else f"Mean of {count} jumps."
    found.append(Card("Time in the air", figures.amount(fit.airtime, "time", system=system), jumps))
    found.append(Card("Landing", *_landing(fit.landing_peak, system)))
    return tuple(found)


def _one_by_one(jumps: Sequence[Jump], system: System) -> tuple[Card, ...]:
    """Give jumps that are unlike each other, so that they have no mean."""
    found = [
        Card("Time in the air", listed([jump.airtime for jump in jumps], "time", system), UNLIKE),
        Card("Landing", listed([jump.landing_peak for jump in jumps], "acceleration", system)),
    ]
    if any(jump.pitch_rate is not None for jump in jumps):
        turns = [
            "not known"
            if jump.pitch_rate is None
            else amounts.turning(jump.pitch_rate, "angular rate", system, known=jump.sign_known)
            for jump in jumps
        ]
        found.append(Card("Turning in the air", numbered(turns)))
    return tuple(found)


def listed(each: Sequence[Estimate], kind: str, system: System) -> str:
    """Write the values of jumps one after the other, in the order in which they were made."""

    def one(estimate: Estimate) -> str:
        bounded = math.isfinite(estimate.high)
        known = estimate if bounded else Estimate.exact(estimate.value, estimate.unit)
        text = (
            amounts.acceleration(known, system)
            if kind == "acceleration"
            else figures.amount(known, kind, system=system)
        )
        return text if bounded else f"at least {text}"

    return numbered([one(estimate) for estimate in each])


def numbered(said: Sequence[str]) -> str:
    """Write what is said of several jumps in their order: ``(1) 0.95 s, (2) 0.33 s``."""
    return ", ".join(f"({number}) {text}" for number, text in enumerate(said, start=1))


def opening_points(judgement: Judgement, system: System) -> tuple[str, ...]:
    """Give the jumps in a few sentences."""
    return (*(card.sentence for card in cards(judgement, system)), NO_DAMPING)


def _turning(rate: Estimate, rotation: Estimate | None, system: System, known: bool) -> Card:
    figure = amounts.turning(rate, "angular rate", system, known=known)
    if rotation is None or (known and rate.contains(0.0)):
        return Card("Turning in the air", figure)
    far = figures.amount(amounts.size(rotation), "angle", system=system)
    return Card("Turning in the air", figure, f"That is {far} from take-off to landing.")


def _landing(peak: Estimate, system: System) -> tuple[str, str]:
    if math.isinf(peak.high):
        least = amounts.acceleration(Estimate.exact(peak.value, peak.unit), system)
        return f"at least {least}", "The landing ran into the sensor's limit."
    return amounts.acceleration(peak, system), "The most that the frame felt where the phone was."


def numbers_tables(judgement: Judgement, system: System) -> tuple[Table, ...]:
    """Give every jump, one row each."""
    jumps = as_a(JumpFit, judgement.fit).jumps
    return (jump_table("", jumps, system),) if jumps else ()


def jump_table(title: str, jumps: Sequence[Jump], system: System) -> Table:
    """Give a table of jumps; turning is + nose up where the direction is known."""
    angle, rate = figures.label_of("angle", system), figures.label_of("angular rate", system)
    force = figures.label_of("acceleration", system)
    header = (
        "jump",
        "begins, s",
        "in the air, s",
        f"pitch rate, {rate}",
        f"turned by, {angle}",
        f"landing, {force}",
    )
    rows = []
    for number, jump in enumerate(jumps, start=1):
        marks = "" if jump.sign_known else " (size)"
        rows.append(
            (
                f"{number}",
                f"{jump.start:.2f}",
                figures.bare(jump.airtime, "time", system),
                figures.bare(jump.pitch_rate, "angular rate", system) + (marks if jump.pitch_rate else ""),
                figures.bare(jump.rotation, "angle", system),
                figures.bare(jump.landing_peak, "acceleration", system),
            )
        )
    return Table(title or "Every jump; turning is + when the nose goes up", header, tuple(rows))
