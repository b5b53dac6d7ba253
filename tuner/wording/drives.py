"""A drive in words: ride position, stops, packing down, speeds of the shaft.

Takes a `Judgement` of a travel record; gives cards, sentences, tables.
"""

from __future__ import annotations

from tuner.estimates import Estimate
from tuner.fitting.counts import rate_per_minute
from tuner.fitting.results import DriveFit, StopContact, as_a
from tuner.judging import Judgement
from tuner.machine import Corner
from tuner.records import SIDES, Side
from tuner.units import System
from tuner.wording import amounts, figures
from tuner.wording.amounts import Card
from tuner.wording.layout import Table

WAY: dict[Side, str] = {"compression": "going in", "rebound": "coming out"}
NO_DAMPING = (
    "A drive shows what the shaft did, not the damping: ground, pace and driver are in it. A bounce of the corner "
    "or a bench shows the damping."
)


def cards(judgement: Judgement, system: System) -> tuple[Card, ...]:
    """Give what the drive says, the most telling first; what is not known is left out."""
    drive = as_a(DriveFit, judgement.fit)
    found = (
        _position(drive, judgement.corner, system),
        _stops("Bottoming", drive.bottomed, drive.duration, system),
        _stops("Topping out", drive.topped_out, drive.duration, system),
        _packing(drive, system),
        *(_speed(drive, side, system) for side in SIDES),
    )
    return tuple(card for card in found if card is not None)


def opening_points(judgement: Judgement, system: System) -> tuple[str, ...]:
    """Give the drive in a few sentences."""
    return (*(card.sentence for card in cards(judgement, system)), NO_DAMPING)


def _position(drive: DriveFit, corner: Corner | None, system: System) -> Card | None:
    mean = drive.mean_position
    if mean is None:
        return None
    said = []
    if corner is not None and corner.damper_travel is not None:
        said.append(f"that is {100 * mean.value / corner.damper_travel.value:.0f} % of its travel")
    below = drive.mean_below_static
    if below is not None and below.contains(0.0):
        said.append("where it stands at rest, as far as the drive can tell")
    elif below is not None:
        way = "more" if below.value > 0 else "less"
        said.append(f"{figures.amount(amounts.size(below), 'length', system=system)} {way} than at rest")
    figure = f"compressed by {figures.amount(mean, 'length', system=system)} on average"
    return Card("Ride position", figure, _sentence(", ".join(said)))


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def _stops(
    title: str, contacts: tuple[StopContact, ...] | None, duration: float, system: System
) -> Card | None:
    if contacts is None:
        return None
    long = amounts.seconds(duration)
    rate = rate_per_minute(len(contacts), duration)
    if not contacts:
        return Card(title, f"not once in {long}", f"At most {rate.high:.2g} a minute on such ground.")
    fastest = figures.speed_text(max(contact.speed for contact in contacts), system)
    line = f"That is {amounts.per_minute(rate)}; the fastest arrival closed at {fastest}."
    return Card(title, f"{amounts.times(len(contacts))} in {long}", line)


def _packing(drive: DriveFit, system: System) -> Card | None:
    packing = drive.packing
    if packing is None:
        return None
    over = f"over a row of bumps ({len(drive.bump_rows)} rows)"
    amount = figures.amount(amounts.size(packing), "length", system=system)
    if packing.low > 0:
        line = (
            f"So much the shaft settles {over}: the wheel does not come back out far enough between bumps, so the "
            "return is slow for this ground."
        )
        return Card("Packing down", f"{amount} deeper", line)
    if packing.high < 0:
        return Card("Packing down", "none", f"The shaft comes {amount} further out {over}.")
    deepest = figures.amount(Estimate.exact(packing.high, "m"), "length", system=system)
    return Card("Packing down", "not seen", f"The shaft settles at most {deepest} deeper {over}.")


def _speed(drive: DriveFit, side: Side, system: System) -> Card | None:
    peak = drive.peak_speed[side]
    top = figures.speed_text(drive.highest_speed[side], system)
    name = f"Peak speed {WAY[side]}"
    if peak is None:
        return Card(name, f"at most {top}")
    figure = figures.amount(peak, "speed", system=system)
    return Card(
        name, figure, f"Mean of the highest speeds of every two seconds; the highest of all is {top}."
    )


def numbers_tables(judgement: Judgement, system: System) -> tuple[Table, ...]:
    """Give the share of time at every speed, and the other figures of the drive."""
    drive = as_a(DriveFit, judgement.fit)
    return tuple(t for t in (_share_table(drive, system), _figure_table(drive, system)) if t.rows)


def class_text(low: float, high: float, system: System) -> str:
    """Write a class of speeds: ``0.13 to 0.26``, ``above 2.08``."""
    if high == float("inf"):
        return f"above {figures.speed_bare(low, system)}"
    return f"{figures.speed_bare(low, system)} to {figures.speed_bare(high, system)}"


def _share_table(drive: DriveFit, system: System) -> Table:
    classes = drive.time_share
    rows = []
    for one in classes:
        if one.side != "compression":
            continue
        other = next(c for c in classes if c.side == "rebound" and c.low == one.low)
        if one.share.value == 0 and other.share.value == 0:
            continue
        shares = (amounts.share(one.share), amounts.share(other.share))
        rows.append((class_text(one.low, one.high, system), *shares))
    unit = figures.label_of("speed", system)
    return Table(
        f"Share of the time at each speed of the shaft: speed in {unit}, time in %",
        ("speed", WAY["compression"], WAY["rebound"]),
        tuple(rows),
    )


def _figure_table(drive: DriveFit, system: System) -> Table:
    rows = [("length of the drive", amounts.seconds(drive.duration))]
    if drive.packing is not None:
        rows.append(("sinking over a row of bumps", amounts.signed(drive.packing, "length", system)))
    if drive.main_frequencies:
        said = " and ".join(f"{hertz:.1f}" for hertz in sorted(drive.main_frequencies))
        rows.append(("main frequencies of the motion", f"{said} Hz"))
    return Table("", ("the drive", "value"), tuple(rows))
