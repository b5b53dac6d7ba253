"""The answer in one breath: one result, or a job's, into the parts of a short page.

Takes `Comparison`s, `Judgement`s, `PairMatch`es and agreements; gives `Part`s.

Every page has the same order: the answer, each side, what to check first, what now, one caution. The full pages
(`change_sections` ...) say all of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from tuner.comparing import Comparison, PairMatch, SideComparison
from tuner.comparing.agreement import Agreement
from tuner.comparing.needed import needed_of
from tuner.estimates import Note
from tuner.judging import JudgedSide, Judgement
from tuner.kinds import SHOWING_DAMPING
from tuner.records import SIDES, Kind, Side
from tuner.units import System
from tuner.wording import (
    bounces,
    cautions,
    changes,
    damper,
    figures,
    fits,
    headlines,
    motion,
    onward,
    outcomes,
    pairs,
    surer,
)
from tuner.wording.brief import Clause, Part, part
from tuner.wording.layout import CONFOUNDERS, FIRST, GOES_WITH, ONWARD, upper

RATIO_MEANS = "Damping ratio: how strongly the swing is damped; 0 = it swings on and on, 1 = no swing at all."
SURER = "To be surer"

# what else could explain a change, the most telling first; whatever is not named comes after these
_TELLING = (
    "different-kinds",
    "several-changes",
    "spring-changed",
    "settings-differ",
    "other-ground",
    "other-jump",
    "other-pace",
    "oil-temperature",
    "oil-temperature-unknown",
    "frequency-shift",
)
# rank at which a part gives way to others, the highest first
_EXPLAINED, _UNCHANGED, _BESIDE, _SURER, _ELSE, _LATER = 7, 6, 5, 4, 3, 2


def short_change(
    comparison: Comparison, system: System, *, notes: Sequence[Note] = (), kinds: Sequence[Kind] = ()
) -> tuple[Part, ...]:
    """Give what a change did in a few lines; `notes` are those of the job, `kinds` what was tested."""
    checks = fits.check_points(notes, system)
    answer = _answer(
        headlines.change_question(comparison), headlines.change_headline(comparison, sure=True), checks
    )
    if comparison.measures:
        said = _measures(comparison, system)
    else:
        said = [_changed_side(comparison, side, system, first=side == SIDES[0]) for side in SIDES]
        said += [part(text, _LATER) for text in changes.dead_stroke_points(comparison, system, short=True)]
        after = [(side, comparison.side(side).after) for side in SIDES]
        said += [part(text, _LATER) for text in needed_points(after)]
        said += _explained(comparison.side(side).before for side in SIDES)
    open_yet = not any(change.changed for change in comparison.measures) and any(
        comparison.side(side).verdict == "cannot tell" for side in SIDES
    )
    return (
        answer,
        *said,
        *_check(checks),
        *_confounders(*changes.parted_confounders(comparison), system),
        *_now(onward.after_verdict(comparison), surer.surer_change(comparison), checks, surer_too=open_yet),
        *_careful(kinds, after_change=True),
    )


def short_fit(
    judgement: Judgement, system: System, *, notes: Sequence[Note] = (), kinds: Sequence[Kind] = ()
) -> tuple[Part, ...]:
    """Give what one test says in a few lines; the rest as in `short_change`."""
    checks = fits.check_points(notes, system)
    if judgement.fit.kind in SHOWING_DAMPING:
        answer = _answer(headlines.fit_question(judgement), headlines.fit_headline(judgement, system), checks)
        said = [_fitted_side(judgement, side, system, first=side == SIDES[0]) for side in SIDES]
        said += [part(text, _LATER) for text in needed_points((s, judgement.side(s)) for s in SIDES)]
        said += _explained(judgement.side(side) for side in SIDES)
        if judgement.fit.kind == "bounce":
            said += [part(text, _BESIDE) for text in bounces.corner_points(judgement, system)]
    else:
        found = headlines.cards(judgement, system)
        lead = headlines.Headline("", found[0].sentence if found else "")
        answer = _answer(headlines.fit_question(judgement), lead, checks)
        said = [
            Part((Clause(f"{card.name}: {card.figure}."), Clause(card.line, 1)), _LATER, 2, number == 0)
            for number, card in enumerate(found[1:])
        ]
        said.append(part(headlines.fit_headline(judgement, system, over_cards=True).sentence, _BESIDE))
    return (
        answer,
        *said,
        *_check(checks),
        *_now(onward.after_fit(judgement), (), checks),
        *_careful(kinds),
    )


def short_pair(
    pair: PairMatch,
    names: tuple[str, str],
    system: System,
    *,
    notes: Sequence[Note] = (),
    kinds: Sequence[Kind] = (),
) -> tuple[Part, ...]:
    """Give whether two dampers are alike in a few lines; the rest as in `short_change`."""
    checks = fits.check_points(notes, system)
    sides = [_paired_side(pair, side, names, system, first=side == SIDES[0]) for side in SIDES]
    return (
        _answer(headlines.PAIR_QUESTION, headlines.pair_headline(pair), checks),
        *sides,
        *_check(checks),
        *_confounders(pair.confounders, (), system),
        *_now(onward.after_pair(pair), surer.surer_pair(pair), checks, surer_too=pair.matched is None),
        *_careful(kinds),
    )


def short_damper(
    judgements: Sequence[Judgement],
    found: Sequence[Agreement],
    system: System,
    *,
    notes: Sequence[Sequence[Note]] = (),
    kinds: Sequence[Kind] = (),
) -> tuple[Part, ...]:
    """Give what unlike tests of one damper say in a few lines; `notes` are those of each job."""
    checks = tuple(
        dict.fromkeys(
            (*damper.to_check(found), *(text for each in notes for text in fits.check_points(each, system)))
        )
    )
    said = [
        part(text, apart=number == 0)
        for number, text in enumerate(damper.opening_points(judgements, found, system))
    ]
    for judgement in judgements:
        name = upper(damper.label_of(judgement))
        said += [
            Part((Clause(f"{name}. {_fitted_text(judgement, side, system)}"),), _BESIDE)
            for side in SIDES
            if judgement.fit.side(side).seen
        ]
    now = tuple(dict.fromkeys(text for each in judgements for text in onward.after_fit(each)))
    return (
        _answer(headlines.DAMPER_QUESTION, damper.damper_headline(judgements, found), checks),
        *said,
        *_explained(judgement.side(side) for judgement in judgements for side in SIDES),
        *_check(checks),
        *_now(now, (), checks),
        *_careful(kinds),
    )


# -- the parts


def _answer(question: str, headline: headlines.Headline, checks: Sequence[str]) -> Part:
    answer, sentence = headlines.provided(headline, checks)
    said = f"{answer}. {sentence}" if answer else sentence
    return Part((Clause(f"{question} {said}"),), lines=4)


def _changed_side(comparison: Comparison, side: Side, system: System, *, first: bool) -> Part:
    """Say what a change did to a side: how much, what that does to the motion, the ratio before and after."""
    compared = comparison.side(side)
    at = compared.at_target
    if at is None or figures.untold(at.ratio):
        return Part((Clause(changes.side_sentences(comparison, side, system)),), lines=2, apart=first)
    how_much = motion.damping_clause(
        side, figures.more_or_less(at.ratio), changed=compared.changed, stronger=at.ratio.value > 1
    )
    return Part(
        (
            Clause(motion.SIDE_TITLE[side]),
            Clause(_at(at.speed, system), 1),
            Clause(f": {how_much}"),
            Clause(_values(comparison, side, system)),
        ),
        lines=2,
        apart=first,
    )


def _at(speed: float | None, system: System) -> str:
    return "" if speed is None else f", at {figures.speed_text(speed, system)}"


def _values(comparison: Comparison, side: Side, system: System) -> str:
    """Give the ratio before and after with the target, at the target's speed; without a ratio the damping."""
    compared = comparison.side(side)
    if compared.before.step is not None or compared.after.step is not None:
        return _moved_values(compared, system)
    text = changes.ratio_clause(compared, system)
    at = compared.at_target
    if text or at is None or at.speed is None:
        return text
    pair = [judged.fit.side(side).secant_at(at.speed) for judged in (comparison.before, comparison.after)]
    if None in pair or not all(c.tells for c in pair if c is not None):
        return ""
    one, other = (figures.bare(c, "damping", system) for c in pair)
    return f"Damping {one} before, {other} {figures.label_of('damping', system)} after."


def _moved_values(compared: SideComparison, system: System) -> str:
    step = compared.before.step or compared.after.step
    ends = compared.before.at_band, compared.after.at_band
    if step is None or ends[0] is None or ends[1] is None or compared.before.band is None:
        return changes.ratio_clause(compared, system)
    there, band = figures.speed_text(step.there, system), figures.band_text(compared.before.band)
    before, after = (figures.range_text(end) for end in ends if end is not None)
    here = compared.before.judged_at
    shown = "" if here is None else f" (from {figures.speed_text(round(here, 2), system).split()[0]})"
    return f"Ratio at {there}{shown} {before}, now {after}; target {band}."


def _fitted_text(judgement: Judgement, side: Side, system: System) -> str:
    judged = judgement.side(side)
    if judged.step is None or judged.at_band is None or not fits.enough(judgement, side):
        return fits.side_sentence(judgement, side, system)
    there, moved = figures.speed_text(judged.step.there, system), figures.range_text(judged.at_band)
    shown = fits.shown_clause(judged, system)
    own = f"{figures.zeta_text(judged.at_target.zeta)}{shown}; " if shown and judged.at_target else ""
    place = fits.place_clause(judged)
    return f"{motion.SIDE_TITLE[side]}: damping ratio {own}{moved} at the target's {there}, {place}."


def _fitted_side(judgement: Judgement, side: Side, system: System, *, first: bool) -> Part:
    return Part((Clause(_fitted_text(judgement, side, system)),), lines=2, apart=first)


def _paired_side(pair: PairMatch, side: Side, names: tuple[str, str], system: System, *, first: bool) -> Part:
    at = pair.side(side).at
    if at is None or figures.untold(at.ratio):
        return Part((Clause(pairs.side_sentence(pair, side, names, system)),), lines=2, apart=first)
    return Part(
        (
            Clause(motion.SIDE_TITLE[side]),
            Clause(_at(at.speed, system), 1),
            Clause(f": {pairs.verdict_clause(pair, side)}."),
            Clause(f"{pairs.difference_clause(side, at.ratio, names)}."),
        ),
        lines=2,
        apart=first,
    )


def _measures(comparison: Comparison, system: System) -> list[Part]:
    """Give what became of every measure of a drive or a jump, those that changed before the others."""
    shown = [change for change in outcomes.headline(comparison) if outcomes.shown(change)]
    shown.sort(key=lambda change: not change.changed)
    return [
        part(
            outcomes.sentence_of(change, comparison, system),
            _LATER if change.changed else _UNCHANGED,
            apart=number == 0,
        )
        for number, change in enumerate(shown)
    ]


def needed_points(sides: Iterable[tuple[Side, JudgedSide]]) -> tuple[str, ...]:
    """Say how much more or less damping would bring a side surely inside its band; nothing where it is there."""
    return tuple(text for side, judged in sides if (text := _needed(side, judged)))


def _needed(side: Side, judged: JudgedSide) -> str:
    needed = needed_of(judged)
    if needed is None or judged.place in ("inside", "unknown") or judged.at_band is None:
        return ""
    if not judged.at_band.tells or judged.band is None:
        return ""
    title, sure = f"{side[:1].upper()}{side[1:]}", needed.surely_inside
    guess = figures.factor_text(needed.to_middle)
    if sure is None:
        return (
            f"{title}: no change is surely enough to bring its damping inside the target, as far as these tests "
            f"tell; best guess {guess}."
        )
    return f"{title} needs {figures.factors_text(*sure)} damping to be surely inside the target (best guess {guess})."


def _explained(sides: Iterable[JudgedSide]) -> list[Part]:
    """Say once what a damping ratio is, where one was given."""
    return [part(RATIO_MEANS, _EXPLAINED)] if any(side.zeta for side in sides) else []


def _check(checks: Sequence[str]) -> list[Part]:
    return [part(f"{FIRST}: {checks[0]}", apart=True, lines=4, more=len(checks) - 1)] if checks else []


def _confounders(notes: Sequence[Note], belongs: Sequence[Note], system: System) -> list[Part]:
    """Give what could explain a change beside the change itself, the most telling; and what belongs to it."""
    order = {code: number for number, code in enumerate(_TELLING)}
    other = fits.note_points(sorted(notes, key=lambda note: order.get(note.code, len(order))), system)
    with_it = fits.note_points(belongs, system)
    found = []
    if other:
        found.append(part(f"{CONFOUNDERS}: {other[0]}", _ELSE, apart=True, more=len(other) - 1))
    if with_it:
        found.append(part(f"{GOES_WITH}: {with_it[0]}", _BESIDE, apart=not other, more=len(with_it) - 1))
    return found


def _now(
    steps: Sequence[str], more: Sequence[str], checks: Sequence[str], *, surer_too: bool = False
) -> list[Part]:
    """Give the one thing to do, and of an open answer how to make it surer."""
    found: list[Part] = []
    if checks:
        return [part(f"{ONWARD}: {onward.PUT_RIGHT}", apart=True)]
    if steps:
        hidden = len(steps) - 1 + (0 if surer_too else len(more))
        found.append(part(f"{ONWARD}: {steps[0]}", apart=True, more=hidden))
    if more and (surer_too or not steps):
        lead = SURER if steps else ONWARD
        found.append(part(f"{lead}: {more[0]}", _SURER if steps else 0, apart=not steps, more=len(more) - 1))
    return found


def _careful(kinds: Sequence[Kind], *, after_change: bool = False) -> list[Part]:
    text = cautions.caution_line(kinds, after_change=after_change) if kinds else ""
    return [part(f"Careful: {text}")] if text else []
