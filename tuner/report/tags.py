"""The verdict tags on top of the report, one per side.

Takes comparisons, judgements and matches; gives `Tag`s.
"""

from __future__ import annotations

from collections.abc import Sequence

from tuner.comparing import Comparison, PairMatch
from tuner.judging import Judgement
from tuner.kinds import SHOWING_DAMPING
from tuner.records import SIDES, Side
from tuner.report.sheet import Tag
from tuner.report.strips import strip
from tuner.units import System
from tuner.wording import changes, figures, fits, headlines, outcomes, pairs
from tuner.wording.amounts import Card

NAME: dict[Side, str] = {"compression": "Compression", "rebound": "Rebound"}
MOTION: dict[Side, str] = {"compression": "shaft going in", "rebound": "shaft coming out"}


def _spoken(*texts: str) -> tuple[str, ...]:
    return tuple(text for text in texts if text)


def outcome_tags(comparison: Comparison, system: System) -> tuple[Tag, ...]:
    """Give what a change did to the measures of drives and jumps, as far as they are known on both sides."""
    tags = []
    for change in outcomes.headline(comparison):
        if not outcomes.shown(change):
            continue
        sentence = outcomes.sentence_of(change, comparison, system)
        verdict = outcomes.verdict(change, known=outcomes.direction_known(comparison))
        lead = f"{outcomes.name_of(change)}: {verdict}. "
        tags.append(
            Tag(
                outcomes.name_of(change),
                "",
                verdict,
                lines=(sentence.removeprefix(lead),) if sentence.startswith(lead) else (sentence,),
            )
        )
    return tuple(tags)


def card_tags(cards: Sequence[Card]) -> tuple[Tag, ...]:
    """Give what a drive or a jump says."""
    return tuple(Tag(card.name, "", card.figure, lines=_spoken(card.line)) for card in cards)


def change_tags(comparison: Comparison, system: System) -> tuple[Tag, ...]:
    """Give the verdict on what a change did to each side, or to each measure of a drive or a jump."""
    if comparison.measures:
        return outcome_tags(comparison, system)
    tags = []
    for side in SIDES:
        compared = comparison.side(side)
        unseen = [j for j in (comparison.before, comparison.after) if not j.fit.side(side).seen]
        if unseen:
            lines: tuple[str, ...] = (changes.side_sentences(comparison, side, system),)
            tags.append(Tag(NAME[side], MOTION[side], "not seen in both tests", lines=lines))
            continue
        verdict, sure = _parted(changes.verdict_clause(compared))
        tags.append(
            Tag(
                NAME[side],
                MOTION[side],
                verdict,
                sure,
                _spoken(changes.effect_clause(compared, system), changes.ratio_clause(compared, system)),
                strip((("before", compared.before), ("after", compared.after))),
            )
        )
    return tuple(tags)


def _parted(clause: str) -> tuple[str, str]:
    """Part a clause from its end, which says how sure it is or what is missing."""
    if not clause.endswith(")"):
        verdict, _, missing = clause.partition("; ")
        return verdict, missing
    verdict, _, sure = clause[:-1].rpartition(" (")
    return verdict, sure


def fit_tags(judgement: Judgement, system: System) -> tuple[Tag, ...]:
    """Give the place of each side against its band, or what a drive or a jump says."""
    cards = headlines.cards(judgement, system)
    if cards or judgement.fit.kind not in SHOWING_DAMPING:
        return card_tags(cards)
    tags = []
    for side in SIDES:
        judged = judgement.side(side)
        sentence = fits.side_sentence(judgement, side, system)
        if not judgement.fit.side(side).seen:
            verdict = "not seen in this test"
        elif judged.band is None or judged.at_target is None:
            verdict = "measured"
        else:
            verdict = fits.place_clause(judged).partition(":")[0]
        tags.append(Tag(NAME[side], MOTION[side], *_parted(verdict), (sentence,), strip((("now", judged),))))
    return tuple(tags)


def match_tags(match: PairMatch, names: tuple[str, str], system: System) -> tuple[Tag, ...]:
    """Say for each side whether the two dampers are alike."""
    tolerance = figures.share_text(match.tolerance)
    words = {
        True: f"alike within {tolerance}",
        False: f"not alike within {tolerance}",
        None: f"cannot tell whether alike within {tolerance}",
    }
    return tuple(
        Tag(
            NAME[side],
            MOTION[side],
            words[match.side(side).matched],
            lines=(pairs.side_sentence(match, side, names, system),),
            strip=strip(((names[0], match.one.side(side)), (names[1], match.other.side(side)))),
        )
        for side in SIDES
    )
