"""What the first screen of a result shows: the answer with its weight, a card per side, what to check and to do.

Takes comparisons, judgements and matches; gives an `Answer`, its cards in the order of what was affected most.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NamedTuple

from tuner.comparing import Comparison, PairMatch, SideComparison
from tuner.comparing.results import MeasureChange
from tuner.records import SIDES
from tuner.report.sheet import Tag
from tuner.report.tags import change_tags, fit_tags, match_tags
from tuner.units import System
from tuner.wording import (
    Headline,
    change_headline,
    figures,
    fit_headline,
    fits,
    headlines,
    onward,
    outcomes,
    pair_headline,
    short,
    surer,
)

if TYPE_CHECKING:
    from tuner.judging import JudgedSide, Judgement

DEEPER = ("mean_position", "packing")  # more of it is lower: the machine stands deeper in its travel
TURNS = ("pitch_rate", "rotation")  # + is nose up
YES, NO, CLEAR, OPEN = "yes", "no", "clear", "open"


class Card(NamedTuple):
    """A tag with its sign ("" for none), its number with what stands in brackets behind it, and its weight.

    weight : how much it was affected, 0 for not. drawn : number and strip say what its lines say.
    """

    tag: Tag
    sign: str = ""
    number: str = ""
    weight: float = 0.0
    drawn: bool = False


class Answer(NamedTuple):
    """The first screen: `tone` is yes, no, clear or open; `checks` come before `step`, the one thing to do."""

    question: str
    headline: Headline
    tone: str
    cards: tuple[Card, ...]
    checks: Sequence[str]
    step: str
    needed: tuple[str, ...] = ()


def of_change(comparison: Comparison, checks: Sequence[str], system: System) -> Answer:
    """Give what a change did."""
    tags = change_tags(comparison, system)
    if comparison.measures:
        known = [change for change in outcomes.headline(comparison) if outcomes.shown(change)]
        cards = [
            Card(tag, _way(c, nose=outcomes.direction_known(comparison)), weight=float(c.changed is True))
            for tag, c in zip(tags, known, strict=True)
        ]
        tone = CLEAR if any(change.changed for change in known) else OPEN
        needed: tuple[str, ...] = ()
    else:
        sides = [comparison.side(side) for side in SIDES]
        cards = [_changed(tag, side) for tag, side in zip(tags, sides, strict=True)]
        tone = _helped(sides)
        needed = short.needed_points((side, comparison.side(side).after) for side in SIDES)
    question = headlines.change_question(comparison)
    return Answer(
        "" if question == "Did it help?" else question,  # the title of the page asks that
        change_headline(comparison),  # how sure each side is, its card says
        tone,
        _in_order(cards),
        checks,
        _step(checks, onward.after_verdict(comparison), surer.surer_change(comparison)),
        needed,
    )


def of_fit(judgement: Judgement, checks: Sequence[str], system: System) -> Answer:
    """Give where one test stands."""
    tags = fit_tags(judgement, system)
    if any(judgement.fit.side(side).seen for side in SIDES):
        sides = [judgement.side(side) for side in SIDES]
        enough = [fits.enough(judgement, side) if judgement.fit.side(side).seen else False for side in SIDES]
        cards = [_fitted(*each) for each in zip(tags, sides, enough, strict=True)]
        places = {side.place for side in sides}
        tone = NO if places & {"below", "above"} else YES if places == {"inside"} else OPEN
        needed = short.needed_points((side, judgement.side(side)) for side in SIDES)
    else:
        cards, tone, needed = [Card(tag) for tag in tags], CLEAR, ()
    return Answer(
        headlines.fit_question(judgement),
        fit_headline(judgement, system),
        tone,
        _in_order(cards),
        checks,
        _step(checks, onward.after_fit(judgement)),
        needed,
    )


def of_pair(match: PairMatch, names: tuple[str, str], checks: Sequence[str], system: System) -> Answer:
    """Give whether two dampers are alike."""
    signs = {True: "alike", False: "not alike", None: "cannot tell"}
    cards = []
    for side, tag in zip(SIDES, match_tags(match, names, system), strict=True):
        paired = match.side(side)
        told = paired.at is not None and not figures.untold(paired.at.ratio)
        number = figures.signed_of_stronger(paired.at.ratio) if paired.at is not None and told else ""
        weight = {False: 2.0, None: 1.0, True: 0.0}[paired.matched]
        cards.append(Card(tag, signs[paired.matched], number, weight))
    return Answer(
        "",
        pair_headline(match),
        {True: YES, False: NO, None: OPEN}[match.matched],
        _in_order(cards),
        checks,
        _step(checks, onward.after_pair(match), surer.surer_pair(match)),
    )


def _in_order(cards: Iterable[Card]) -> tuple[Card, ...]:
    return tuple(sorted(cards, key=lambda card: -card.weight))


def _step(checks: Sequence[str], steps: Sequence[str], more: Sequence[str] = ()) -> str:
    """Give the one thing to do, as the short page of the command line does."""
    return onward.PUT_RIGHT if checks else next(iter((*steps, *more)), "")


def _helped(sides: Sequence[SideComparison]) -> str:
    verdicts = {side.verdict for side in sides}
    if {"toward", "away"} <= verdicts:
        return CLEAR
    if "toward" in verdicts or "away" in verdicts:
        return YES if "toward" in verdicts else NO
    if any(side.leaning is not None for side in sides):
        return OPEN
    judged = all(side.verdict == "no clear change" for side in sides)
    return CLEAR if judged or any(side.changed for side in sides) else OPEN


def _changed(tag: Tag, side: SideComparison) -> Card:
    """Give the card of a side; what changed clearly, or leans, has its number large."""
    at = side.at_target
    sign: str = side.verdict
    if (
        side.changed and side.before.band is None
    ):  # a clear change that no target judges is a change, not a doubt
        sign = "changed"
    elif side.changed and side.verdict == "no clear change":
        sign = "changed inside"
    moved = bool(side.changed) or side.leaning is not None
    if at is None or figures.untold(at.ratio) or not moved:
        return Card(tag, sign)
    weight = abs(math.log(at.ratio.value)) + (10.0 if side.verdict in ("toward", "away") else 0.0)
    return Card(tag, sign, figures.signed_change(at.ratio), weight)


def _fitted(tag: Tag, side: JudgedSide, enough: bool) -> Card:
    weight = 2.0 if side.place in ("below", "above") else float(side.leaning in ("below", "above"))
    if side.at_band is None or not (side.at_band.tells and enough):
        return Card(tag, side.place, weight=weight)
    number = f"{figures.range_text(side.at_band)} (damping ratio)"
    return Card(tag, side.place, number, weight, drawn=side.place != "unknown")


def _way(change: MeasureChange, *, nose: bool) -> str:
    """Name the sign of a measure: which way it went, or that it did not or cannot be told.

    `nose` : the recordings tell which way the nose goes.
    """
    if not change.changed or change.difference is None:
        return {False: "no clear change", None: "cannot tell", True: "changed"}[change.changed]
    if change.name in TURNS and not nose:
        return "changed"
    rose = change.difference.value > 0.0
    return "up" if rose is not (change.name in DEEPER) else "down"
