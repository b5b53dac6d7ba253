"""A drive in words: ride position, stops, packing down, speeds of the shaft.

Takes a `Judgement` of a travel record; gives sentences, tables. Uses: estimates, records, fitting, judging, units,
wording.amounts, wording.figures, wording.layout.
"""

from __future__ import annotations

from typing import Any

from tuner.estimates import Estimate
from tuner.fitting.counts import rate_per_minute
from tuner.judging import Judgement
from tuner.records import SIDES, Side
from tuner.units import System
from tuner.wording import amounts, figures
from tuner.wording.layout import Table

WAY: dict[Side, str] = {"compression": "going in", "rebound": "coming out"}
NO_DAMPING = (
    "A drive shows what the shaft did, not the damping: ground, pace and driver are in it. A bounce of the corner "
    "or a bench shows the damping."
)


def opening_points(judgement: Judgement, system: System) -> tuple[str, ...]:
    """Give the drive in a few sentences, the most telling first."""
    m = judgement.fit.measures
    points = [
        _position(judgement, system),
        _stops("bottomed", "Bottoming", "all the way in", m, system),
        _stops("topped_out", "Topping out", "all the way out", m, system),
        _packing(m, system),
        _speeds(m, system),
        NO_DAMPING,
    ]
    return tuple(point for point in points if point)


def _position(judgement: Judgement, system: System) -> str:
    mean: Any = judgement.fit.measures["mean_position"]
    if mean is None:
        return ""
    text = f"Ride position: the shaft was {figures.amount(mean, 'length', system=system)} in on average"
    corner = judgement.corner
    if corner is not None and corner.damper_travel is not None:
        text += f", {100 * mean.value / corner.damper_travel.value:.0f} % of its travel"
    below: Any = judgement.fit.measures["mean_below_static"]
    if below is None:
        return f"{text}."
    if below.contains(0.0):
        return f"{text}, which is where it stands at rest as far as the drive can tell."
    lower = "further in" if below.value > 0 else "less far in"
    return f"{text}, {figures.amount(amounts.size(below), 'length', system=system)} {lower} than at rest."


def _stops(name: str, title: str, end: str, m: Any, system: System) -> str:
    contacts, duration = m[name], m["duration"]
    if contacts is None:
        return ""
    long = amounts.seconds(duration)
    rate = rate_per_minute(len(contacts), duration)
    if not contacts:
        return f"{title}: not once in {long} (at most {rate.high:.2g} a minute on such ground)."
    fastest = figures.speed_text(max(contact.speed for contact in contacts), system)
    count = amounts.times(len(contacts))
    return f"{title}: {end} {count} in {long}, {amounts.per_minute(rate)}; the fastest arrival closed at {fastest}."


def _packing(m: Any, system: System) -> str:
    packing: Estimate | None = m["packing"]
    if packing is None:
        return ""
    rows = len(m["bump_rows"])
    amount = figures.amount(amounts.size(packing), "length", system=system)
    if packing.low > 0:
        return (
            f"Packing down: over a row of bumps the shaft settles {amount} deeper ({rows} rows); the wheel does not "
            "come back out far enough between bumps, so the return is slow for this ground."
        )
    if packing.high < 0:
        return f"Packing down: none; over a row of bumps the shaft comes {amount} further out ({rows} rows)."
    deepest = figures.amount(Estimate.exact(packing.high, "m"), "length", system=system)
    return f"Packing down: not seen; at most {deepest} deeper over a row of bumps ({rows} rows)."


def _speeds(m: Any, system: System) -> str:
    peaks = {side: m["peak_speed"][side] for side in SIDES}
    said = [
        f"{figures.amount(peak, 'speed', system=system)} {WAY[side]}"
        for side, peak in peaks.items()
        if peak is not None
    ]
    top = " and ".join(
        f"{figures.speed_text(m['highest_speed'][side], system)} {WAY[side]}" for side in SIDES
    )
    if not said:
        return f"Highest speeds of the shaft: {top}."
    return f"Peak speeds of the shaft: on average {' and '.join(said)} in every two seconds; at most {top}."


def numbers_tables(judgement: Judgement, system: System) -> tuple[Table, ...]:
    """Give the share of time at every speed, and the other figures of the drive."""
    return tuple(t for t in (_share_table(judgement, system), _figure_table(judgement, system)) if t.rows)


def class_text(low: float, high: float, system: System) -> str:
    """Write a class of speeds: ``0.13 to 0.26``, ``above 2.08``."""
    if high == float("inf"):
        return f"above {figures.speed_bare(low, system)}"
    return f"{figures.speed_bare(low, system)} to {figures.speed_bare(high, system)}"


def _share_table(judgement: Judgement, system: System) -> Table:
    classes: Any = judgement.fit.measures["time_share"]
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


def _figure_table(judgement: Judgement, system: System) -> Table:
    m: Any = judgement.fit.measures
    rows = [("length of the drive", amounts.seconds(m["duration"]))]
    if m["packing"] is not None:
        rows.append(("sinking over a row of bumps", amounts.signed(m["packing"], "length", system)))
    if m["main_frequencies"]:
        said = " and ".join(f"{hertz:.1f}" for hertz in sorted(m["main_frequencies"]))
        rows.append(("main frequencies of the motion", f"{said} Hz"))
    return Table("", ("the drive", "value"), tuple(rows))
