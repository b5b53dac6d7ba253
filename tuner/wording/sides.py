"""A result in a few cells: one row for each side, or for each thing that a drive or a jump shows.

Takes judgements, comparisons and matches; gives `Table`s and one line of text.
"""

from __future__ import annotations

from tuner.comparing import ChangeAt, Comparison, PairMatch
from tuner.estimates import Estimate
from tuner.fitting.results import SideFit
from tuner.judging import JudgedSide, Judgement, nearest_speed, wanted_speed
from tuner.records import SIDES
from tuner.units import System
from tuner.wording import changes, figures, headlines, outcomes, tables
from tuner.wording.layout import Table


def fit_sides(judgement: Judgement, system: System = "metric") -> Table:
    """Give damping, damping ratio and place of each side; what a drive or a jump shows."""
    cards = headlines.cards(judgement, system)
    if cards:
        return Table("", ("", "value"), tuple((card.name, card.figure) for card in cards))
    rows = []
    for side in SIDES:
        fit, judged = judgement.fit.side(side), judgement.side(side)
        if not fit.seen:
            rows.append((side, "not seen", *[figures.UNKNOWN] * 2))
            continue
        zeta = None if judged.at_target is None else judged.at_target.zeta
        speed = None if judged.at_target is None else judged.at_target.speed
        place = figures.UNKNOWN if judged.band is None or zeta is None else _place(judged)
        rows.append(
            (
                side,
                _damping(fit, speed or wanted_speed(judgement.target), system),
                figures.zeta_text(zeta),
                place,
            )
        )
    return _told(Table("", ("", "damping", "damping ratio", "target"), tuple(rows)))


def _place(judged: JudgedSide) -> str:
    return judged.place if judged.leaning is None else f"probably {judged.leaning}"


def _damping(fit: SideFit, speed: float, system: System) -> str:
    """Write the damping at the reference speed nearest to `speed`; a bounce is known by its ratio."""
    if fit.zeta is not None or not fit.secant:
        return figures.UNKNOWN
    at = nearest_speed([secant.speed for secant in fit.secant], speed)
    return _with_speed(fit.secant_at(at), at, system)


def _with_speed(c: Estimate | None, speed: float, system: System) -> str:
    text = figures.damping_bare(c, system)
    if text == figures.NOT_ENOUGH:
        return text
    return f"{text} {figures.label_of('damping', system)} at {figures.speed_text(speed, system)}"


def change_sides(comparison: Comparison, system: System = "metric") -> Table:
    """Give the change, the damping ratio before and after and the verdict of each side; or every changed measure."""
    if comparison.measures:
        told = [change for change in outcomes.headline(comparison) if outcomes.shown(change)]
        rows = tuple(
            (
                outcomes.name_of(change),
                outcomes.difference_text(change, system) or figures.UNKNOWN,
                outcomes.verdict(change),
            )
            for change in told
        )
        return Table("", ("", "difference", "verdict"), rows)
    found = []
    for side in SIDES:
        compared = comparison.side(side)
        at = compared.at_target
        ratios = [
            figures.UNKNOWN if at is None else figures.zeta_text(tables.zeta_at(judged, at.speed))
            for judged in (compared.before, compared.after)
        ]
        found.append((side, _change(at, system), *ratios, changes.verdict_clause(compared)))
    return _told(Table("", ("", "change", "ratio before", "ratio after", "verdict"), tuple(found)))


def _change(at: ChangeAt | None, system: System) -> str:
    if at is None:
        return figures.UNKNOWN
    speed = "" if at.speed is None else f" at {figures.speed_text(at.speed, system)}"
    return f"{figures.signed_change(at.ratio)}{speed}"


def pair_sides(pair: PairMatch, system: System = "metric") -> Table:
    """Give the difference of the other damper from the one, and whether they are alike, for each side."""
    words = {True: "alike", False: "not alike", None: "cannot be told"}
    rows = []
    for side in SIDES:
        matched = pair.side(side)
        rows.append((side, _change(matched.at, system), words[matched.matched]))
    return Table("", ("", "difference", "verdict"), tuple(rows))


def _told(table: Table) -> Table:
    """Leave out the columns in which nothing is known."""
    columns = list(zip(table.header, *table.rows, strict=True))
    kept = [column for column in columns if set(column[1:]) != {figures.UNKNOWN}]
    header, *rows = zip(*kept, strict=True)
    return Table(table.title, header, tuple(rows))


def in_one_line(table: Table) -> str:
    """Write such a table as running text: ``compression: 700 ± 20 N·s/m at 0.26 m/s; rebound: ...``."""
    rows = []
    for name, *cells in table.rows:
        said = (
            f"{head} {cell}" if "ratio" in head else cell
            for head, cell in zip(table.header[1:], cells, strict=True)
            if cell != figures.UNKNOWN
        )
        rows.append(f"{name}: {', '.join(said)}")
    return "; ".join(rows)
