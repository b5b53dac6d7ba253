"""The answer to a question in one or two words, and one sentence behind it, for the head of a page.

Takes comparisons, judgements and matches; gives `Headline`s.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from tuner.comparing import Comparison, PairMatch, SideComparison
from tuner.judging import JudgedSide, Judgement, Place
from tuner.records import SIDES, Kind, Side
from tuner.units import System
from tuner.wording import changes, drives, figures, fits, jumps, outcomes, pairs
from tuner.wording.amounts import Card

_WAY: Mapping[Side, str] = {"compression": "on the way in", "rebound": "on the way out"}

# what a verdict says of one side, and of both
_MOVED = {
    "toward": ("moved toward the target", "moved toward the target"),
    "away": ("moved away from the target", "moved away from the target"),
    "no clear change": ("did not clearly change", "did not clearly change"),
    "inside": ("changed and stays inside the target", "changed and stay inside the target"),
    "toward, probably": ("probably moved toward the target", "probably moved toward the target"),
    "away, probably": ("probably moved away from the target", "probably moved away from the target"),
    "inside, probably": ("probably stays inside the target", "probably stay inside the target"),
    "moved": (
        "clearly changed, but toward the target or away is not sure",
        "clearly changed, but toward the target or away is not sure",
    ),
    "cannot tell": ("cannot be told from these tests", "cannot be told from these tests"),
}
_FIRST = tuple(_MOVED[way][0] for way in ("toward", "away", "toward, probably", "away, probably", "moved"))
_STANDS: Mapping[Place, tuple[str, str]] = {
    "inside": ("is inside the target", "are inside the target"),
    "below": ("is below the target", "are below the target"),
    "above": ("is above the target", "are above the target"),
    "uncertain": ("is too uncertain to place", "are too uncertain to place"),
    "unknown": ("has no target to be held against", "have no target to be held against"),
}

_NOT_ENOUGH = ("is not told: the test is not enough", "are not told: the test is not enough")
MOST_CARDS = 3
PAIR_QUESTION = "Are the two dampers (shocks) alike?"
DAMPER_QUESTION = "What do the tests of this damper (shock) say?"


class _Asked(NamedTuple):
    """What is asked of one test, and, where it shows no damping, its cards and why it shows none."""

    question: str
    cards: Callable[[Judgement, System], tuple[Card, ...]] | None = None
    no_damping: str = ""


_OF_DAMPER = _Asked("How does the damper (shock) stand?")
ASKED: Mapping[Kind, _Asked] = {
    "sweep": _OF_DAMPER,
    "cycle": _OF_DAMPER,
    "weights": _OF_DAMPER,
    "bounce": _Asked("How does the corner stand?"),
    "travel": _Asked("What does the drive show?", drives.cards, drives.NO_DAMPING),
    "flight": _Asked("What do the jumps show?", jumps.cards, jumps.NO_DAMPING),
}


def change_question(comparison: Comparison) -> str:
    """Give the question that `change_headline` answers."""
    judged = not comparison.measures and any(
        comparison.side(side).before.band is not None and comparison.side(side).at_target for side in SIDES
    )
    return "Did it help?" if judged else "Did anything change?"


def fit_question(judgement: Judgement) -> str:
    """Give the question that `fit_headline` answers."""
    return ASKED[judgement.fit.kind].question


class Headline(NamedTuple):
    """The answer ("Yes", "No clear change" ...; "" where the question has none) and the sentence behind it."""

    answer: str
    sentence: str


def provided(headline: Headline, checks: Sequence[str]) -> Headline:
    """Make an answer conditional where an input has to be checked first."""
    if not (checks and headline.answer):
        return headline
    return headline._replace(answer=f"{headline.answer}, if the input is right")


def _verdict(side: SideComparison) -> str:
    if side.verdict == "no clear change" and side.changed:
        return "inside"
    if side.leaning is not None:
        return f"{side.leaning[0]}, probably"
    if side.verdict == "cannot tell" and side.changed:
        return "moved"
    return side.verdict


def change_headline(comparison: Comparison, *, sure: bool = False) -> Headline:
    """Answer whether a change helped; of drives and jumps, what it changed. `sure` : with how sure each side is."""
    if comparison.measures:
        return Headline(*outcomes.headline_words(comparison))
    sides = {side: comparison.side(side) for side in SIDES}
    judged = {name: side for name, side in sides.items() if side.at_target is not None}
    if not judged and any(changes.of_two_kinds(side) for side in sides.values()):
        why = "One test is of the whole corner (a bounce) and the other of the damper alone: make both the same way."
        return Headline("Cannot tell", why)
    if not judged:
        return Headline(
            "Cannot tell", "These tests share nothing that could be compared: the reasons say why."
        )
    if not any(side.before.band is not None for side in judged.values()):
        return _unjudged(judged)
    verdicts = {name: _verdict(side) for name, side in sides.items()}
    said = {name: _MOVED[verdict] for name, verdict in verdicts.items()}
    if sure:
        how = {name: changes.sure_clause(side) for name, side in sides.items()}
        said = {name: (f"{one}{how[name]}", f"{both}{how[name]}") for name, (one, both) in said.items()}
    sentence = _both_or_each(said)
    return Headline(_helped(list(verdicts.values())), f"{sentence}.")


def _helped(verdicts: Sequence[str]) -> str:
    found = set(verdicts)
    if {"toward", "away"} <= found:
        return "In part"
    leaning = {word for word in found if word.endswith(", probably")}
    seen = ", as far as these tests show" if found & {"cannot tell", "moved", *leaning} else ""
    if "toward" in found:
        return f"Yes{seen}"
    if "away" in found:
        return f"No{seen}"
    if {"toward, probably", "away, probably"} <= found:
        return "Probably in part"
    if "toward, probably" in found:
        return "Probably"
    if "away, probably" in found:
        return "Probably not"
    if "moved" in found:
        return "A clear change; whether it helps is not sure"
    if "cannot tell" in found:
        return "Cannot tell"
    if "inside, probably" in found:
        return "Probably still inside the target"
    return "A change, and still inside the target" if found == {"inside"} else "No clear change"


def _both_or_each(said: Mapping[Side, tuple[str, str]]) -> str:
    """Say the same of both sides at once, else of each what it is, a sure movement first."""
    both = {plural for _, plural in said.values()}
    if len(both) == 1 and len(said) == len(SIDES):
        text = both.pop()
        return (
            f"Compression and rebound {f'are both {text[4:]}' if text.startswith('are ') else f'both {text}'}"
        )
    ordered = sorted(said, key=lambda side: not said[side][0].startswith(_FIRST))
    text = "; ".join(f"{side} ({_WAY[side]}) {said[side][0]}" for side in ordered)
    return text[:1].upper() + text[1:]


def _unjudged(judged: Mapping[Side, SideComparison]) -> Headline:
    """Say the change where there is no target: clear or not, by how much, and what is missing."""
    clauses = []
    for name, side in judged.items():
        if side.at_target is None:
            continue
        if figures.untold(side.at_target.ratio):
            clauses.append(f"damping {_WAY[name]} cannot be told")
            continue
        change = figures.more_or_less(side.at_target.ratio)
        clauses.append(
            f"damping {_WAY[name]} is now {change}"
            if side.changed
            else f"damping {_WAY[name]} did not clearly change"
        )
    text = "; ".join(clauses)
    if not any(side.at_target and not figures.untold(side.at_target.ratio) for side in judged.values()):
        return Headline("Cannot tell", f"{text[:1].upper()}{text[1:]}.")
    clear = any(side.changed for side in judged.values())
    answer = "A clear change" if clear else "No clear change"
    tail = ". Whether that helps needs the machine and its corner." if clear else "."
    return Headline(answer, f"{text[:1].upper()}{text[1:]}{tail}")


def _stands(judged: JudgedSide) -> tuple[str, str]:
    if judged.leaning is None:
        return _STANDS[judged.place]
    one, both = _STANDS[judged.leaning]
    return one.replace("is ", "is probably ", 1), both.replace("are ", "are probably ", 1)


def cards(judgement: Judgement, system: System) -> tuple[Card, ...]:
    """Give what a drive or a jump says, the most telling first; nothing for the kinds that show damping."""
    found = ASKED[judgement.fit.kind].cards
    return () if found is None else found(judgement, system)


def fit_headline(judgement: Judgement, system: System = "metric", *, over_cards: bool = False) -> Headline:
    """Say in one sentence where a damper stands.

    Of a drive or a jump it says the first of what it shows; `over_cards`, which show that already, what it is good for.
    """
    seen = [side for side in SIDES if judgement.fit.side(side).seen]
    if not seen:
        asked = ASKED[judgement.fit.kind]
        if asked.no_damping and over_cards:
            return Headline("", asked.no_damping)
        first = cards(judgement, system)[:MOST_CARDS]
        if first:
            return Headline("", f"{'; '.join(f'{card.name}: {card.figure}' for card in first)}.")
        return Headline("", "This recording shows no damping.")
    enough = {side: fits.enough(judgement, side) for side in seen}
    said = {side: _stands(judgement.side(side)) if enough[side] else _NOT_ENOUGH for side in seen}
    if all(judgement.side(side).place == "unknown" and enough[side] for side in seen):
        named = " and ".join(f"{side} ({_WAY[side]})" for side in seen)
        text = f"{named} {'is' if len(seen) == 1 else 'are'} measured, with no target to be held against"
        text = text[:1].upper() + text[1:]
    else:
        text = _both_or_each(said)
    missing = [side for side in SIDES if side not in seen]
    tail = "".join(f"; {side} is not seen in this test" for side in missing)
    return Headline("", f"{text}{tail}.")


def pair_headline(pair: PairMatch) -> Headline:
    """Answer whether two dampers are alike."""
    answer = {True: "Alike", False: "Not alike", None: "Cannot tell"}[pair.matched]
    sentence = pairs.verdict_sentence(pair)
    if pair.matched is not None:
        rest = sentence.partition(": ")[2]
        sentence = rest[:1].upper() + rest[1:]
    return Headline(answer, sentence)
