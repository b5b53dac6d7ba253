"""Two dampers side by side in words: matched or not, which of the two is off on which side, and by how much.

Takes a `PairMatch` and two names; gives sentences, tables and sections.
"""

from __future__ import annotations

from collections.abc import Sequence

from tuner.comparing import PairMatch
from tuner.estimates import Estimate, Note
from tuner.records import SIDES, Side
from tuner.units import System
from tuner.wording import bounces, figures, fits, motion, onward, tables
from tuner.wording.layout import (
    CAREFUL,
    CONFOUNDERS,
    DOUBTS,
    FIRST,
    NUMBERS,
    ONWARD,
    OPENING,
    RECORDINGS,
    USED,
    WHY,
    Section,
    Table,
    filled,
)


def verdict_sentence(pair: PairMatch) -> str:
    """Say in one sentence whether the two are matched."""
    tolerance = figures.share_text(pair.tolerance)
    if pair.matched is True:
        return f"Matched: both sides are alike within {tolerance}."
    if pair.matched is False:
        off = [side for side in SIDES if pair.side(side).matched is False]
        return (
            f"Not matched: {' and '.join(off)} differ{'s' if len(off) == 1 else ''} by more than {tolerance}."
        )
    return f"It cannot be told whether the two are alike within {tolerance}."


def side_sentence(pair: PairMatch, side: Side, names: tuple[str, str], system: System) -> str:
    """Say for a side which damper does what against the other, at the speed that decides."""
    matched = pair.side(side)
    title = motion.SIDE_TITLE[side]
    at = matched.at
    if at is None:
        for judgement in (pair.one, pair.other):
            if not judgement.fit.side(side).seen:
                return fits.not_seen(side, judgement.fit)
        return f"{title}: the two tests share no speed, so they cannot be held against each other."
    if figures.untold(at.ratio):
        return f"{title}: cannot be told, because these tests leave the difference open by more than a factor of six."
    lead = {
        True: "They differ most",
        False: "They differ most surely",
        None: "It is open",
    }[matched.matched]
    where = "" if at.speed is None else f" at {figures.speed_text(at.speed, system)}"
    return (
        f"{title}: {verdict_clause(pair, side)}. {lead}{where}: {difference_clause(side, at.ratio, names)}."
    )


def verdict_clause(pair: PairMatch, side: Side) -> str:
    """Say of a side whether the two are alike, and how sure that is."""
    matched = pair.side(side)
    verdict = {True: "alike", False: "not alike", None: "cannot be told"}[matched.matched]
    if matched.probability is None:
        return verdict
    if matched.matched is None:
        return f"{verdict} (alike is {figures.chance_text(matched.probability)} likely)"
    return f"{verdict} ({figures.probability_text(matched.probability)})"


def difference_clause(side: Side, ratio: Estimate, names: tuple[str, str]) -> str:
    """Say which of the two does how much less than the other, in per cent of the stronger one."""
    weaker, stronger = (names[0], names[1]) if ratio.value >= 1.0 else (names[1], names[0])
    return motion.comparison_of(side, stronger, weaker, figures.less_of_stronger(ratio))


def summary(pair: PairMatch, names: tuple[str, str], system: System = "metric") -> str:
    """Give the whole match as one paragraph for a person."""
    sides = (side_sentence(pair, side, names, system) for side in SIDES)
    return " ".join((verdict_sentence(pair), *sides))


def pair_table(pair: PairMatch, side: Side, names: tuple[str, str], system: System) -> Table:
    """Give the damping of both dampers and their difference on one side, per reference speed.

    The difference is + where the second is the stronger.
    """
    ratios = {at.speed: at.ratio for at in pair.side(side).ratio}
    both = pair.one.fit.side(side), pair.other.fit.side(side)
    rows = []
    for speed in sorted({s.speed for fit in both for s in fit.secant}):
        row = [figures.speed_bare(speed, system)]
        row += [figures.damping_bare(fit.secant_at(speed), system) for fit in both]
        row.append(figures.signed_of_stronger(ratios[speed]) if speed in ratios else figures.UNKNOWN)
        rows.append(tuple(row))
    title = f"{tables.side_table_title(side, system)}; difference in % of the stronger"
    return Table(title, ("speed", *names, "difference"), tuple(rows))


def pair_sections(
    pair: PairMatch,
    names: tuple[str, str],
    system: System,
    *,
    notes: Sequence[Note] = (),
    decided: Sequence[fits.Decided] = (),
    cautions: Sequence[str] = (),
) -> tuple[Section, ...]:
    """Give the page of a match: the verdict first, then numbers, reasons, doubts, files and cautions.

    `names` are how the two dampers are called; `notes` are all notes of the job.
    """
    checks, (doubts, made_of) = fits.check_points(notes, system), fits.parted(notes)
    reasons = fits.reason_points({side: pair.side(side).reasons for side in SIDES}, system)
    shown = [pair_table(pair, side, names, system) for side in SIDES]
    if bounces.is_bounce(pair.one, pair.other):
        judged = ((names[0], pair.one), (names[1], pair.other))
        changes = {side: pair.side(side).ratio for side in SIDES}
        shown = [bounces.ratios_table(judged, changes, "difference")]
    return filled(
        (
            Section(
                OPENING,
                paragraphs=(verdict_sentence(pair),),
                points=tuple(side_sentence(pair, side, names, system) for side in SIDES),
            ),
            Section(FIRST, points=checks),
            Section(NUMBERS, tables=tuple(t for t in shown if t.rows)),
            Section(WHY, points=reasons),
            Section(CONFOUNDERS, points=fits.note_points(pair.confounders, system)),
            Section(DOUBTS, points=fits.note_points(doubts, system)),
            Section(USED, points=fits.note_points(made_of, system)),
            Section(RECORDINGS, points=fits.decided_points(decided, system)),
            Section(ONWARD, points=onward.onward_pair(pair, checked=not checks)),
            Section(CAREFUL, points=tuple(cautions)),
        )
    )
