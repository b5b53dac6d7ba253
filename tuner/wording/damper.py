"""Several kinds of test of one damper in words: whether they agree, then what each of them says.

Takes judgements and agreements; gives sentences, sections, a headline.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from tuner.comparing.agreement import Agreement
from tuner.estimates import Estimate, Note
from tuner.judging import Judgement
from tuner.kinds import NAMES, ON_A_BENCH
from tuner.records import SIDES, Kind
from tuner.units import System
from tuner.wording import figures, fits, headlines, motion, onward
from tuner.wording.layout import CAREFUL, FIRST, ONWARD, OPENING, Section, filled, points_of

SAME_STATE = "whether clicks, oil and temperature were the same"
ALIKE_OFF = 1.5  # standard errors within which two sides are off by the same


def agreement_sentence(agreement: Agreement, system: System) -> str:
    """Say what two tests say of one side at the speed they share, and whether they agree."""
    speed = figures.speed_text(round(agreement.speed, 2), system)
    said = ", ".join(
        f"the {_name(kind, agreement.kinds)} {'says ' if number == 0 else ''}{_value(value, system)}"
        for number, (kind, value) in enumerate(zip(agreement.kinds, agreement.values, strict=True))
    )
    if agreement.agree:
        verdict = "they agree"
    elif agreement.agree is None:
        verdict = "no contradiction, but too unsure to say that they agree"
    else:
        second = _name(agreement.kinds[1], agreement.kinds)
        verdict = f"they differ: the {second} says {figures.more_or_less(agreement.ratio)}"
    return f"{motion.SIDE_TITLE[agreement.side]}: at {speed} {said}: {verdict}."


def _name(kind: Kind, kinds: tuple[Kind, Kind]) -> str:
    """Name a test; the only one on a bench is the bench."""
    several = all(each in ON_A_BENCH for each in kinds)
    return NAMES[kind] if several or kind not in ON_A_BENCH else "bench"


def _value(value: Estimate, system: System) -> str:
    if value.unit == "1":
        return f"{value.value:.2f} ({figures.range_text(value)})"
    return figures.amount(value, system=system)


def unshared_points(judgements: Sequence[Judgement], found: Sequence[Agreement]) -> tuple[str, ...]:
    """Say which side could not be held against each other, and why."""
    corner = any(judgement.corner is not None for judgement in judgements)
    points = []
    for side in SIDES:
        if any(each.side == side for each in found):
            continue
        unseen = [NAMES[j.fit.kind] for j in judgements if not j.fit.side(side).seen]
        if unseen:
            why = f"the {' and the '.join(unseen)} does not show it"
        elif not corner and any(j.fit.kind == "bounce" for j in judgements):
            why = (
                "mass, spring and motion ratio of the corner carry a bench test over to it: give a machine file and "
                "name the corner"
            )
        else:
            why = "the tests share no speed"
        points.append(f"{motion.SIDE_TITLE[side]}: whether the tests agree cannot be told: {why}.")
    return tuple(points)


def to_check(found: Sequence[Agreement]) -> tuple[str, ...]:
    """Say what to look at where two tests differ: the corner's numbers where both sides are off alike."""
    off: dict[tuple[Kind, Kind], list[Agreement]] = {}
    for each in found:
        if each.agree is False:
            off.setdefault(each.kinds, []).append(each)
    points = []
    for kinds, differ in off.items():
        names = " and the ".join(_name(kind, kinds) for kind in kinds)
        sides = " and ".join(each.side for each in differ)
        both = [each.ratio for each in found if each.kinds == kinds]
        if len(differ) == len(SIDES) and _alike(both) and "bounce" in kinds:
            what = "mass, spring and motion ratio of the corner, which carry the bench over to it for both sides alike"
        elif "bounce" in kinds:
            what = f"{SAME_STATE}, and whether dry friction of the corner is taken for damping"
        else:
            what = SAME_STATE
        points.append(f"The {names} differ in {sides}: check {what}.")
    return tuple(points)


def _alike(ratios: Sequence[Estimate]) -> bool:
    gap = abs(math.log(ratios[0].value / ratios[1].value))
    return gap <= ALIKE_OFF * math.hypot(ratios[0].log_sd, ratios[1].log_sd)


def opening_points(
    judgements: Sequence[Judgement], found: Sequence[Agreement], system: System
) -> tuple[str, ...]:
    """Say of each side whether the tests agree."""
    return (*(agreement_sentence(each, system) for each in found), *unshared_points(judgements, found))


def label_of(judgement: Judgement) -> str:
    """Name one test among several of a damper."""
    return NAMES[judgement.fit.kind]


def damper_headline(judgements: Sequence[Judgement], found: Sequence[Agreement]) -> headlines.Headline:
    """Say whether the tests agree, and where the damper stands by the one that is nearest to the target's speed."""
    if any(each.agree is False for each in found):
        said = "The tests differ."
    elif found and all(each.agree for each in found):
        said = "The tests agree."
    else:
        said = "Whether the tests agree cannot be told of both sides."
    placed = [j for j in judgements if any(j.side(side).place != "unknown" for side in SIDES)]
    first = sorted(placed or judgements, key=lambda j: j.fit.kind not in ON_A_BENCH)[0]
    return headlines.Headline(
        "", f"{said} By the {label_of(first)}: {headlines.fit_headline(first).sentence}"
    )


def damper_sections(
    judgements: Sequence[Judgement],
    found: Sequence[Agreement],
    system: System,
    *,
    notes: Sequence[Sequence[Note]],
    decided: Sequence[Sequence[fits.Decided]] = (),
    cautions: Sequence[str] = (),
) -> tuple[Section, ...]:
    """Give the page of several tests: whether they agree first, then each of them under its own name."""
    pages = [
        fits.fit_sections(judgement, system, notes=notes[i], decided=decided[i] if decided else ())
        for i, judgement in enumerate(judgements)
    ]
    checks = (*to_check(found), *(point for each in pages for point in points_of(each, FIRST)))
    below = []
    for judgement, each in zip(judgements, pages, strict=True):
        name = label_of(judgement)
        title = f"{name[:1].upper()}{name[1:]}"
        for section in each:
            if section.title == OPENING:
                below.append(replace(section, title=title))
            elif section.title not in (FIRST, ONWARD, CAREFUL):
                below.append(
                    replace(section, title=f"{title}: {section.title[:1].lower()}{section.title[1:]}")
                )
    now = dict.fromkeys(
        (*onward.look_first(not checks), *(p for each in pages for p in points_of(each, ONWARD)))
    )
    return filled(
        (
            Section(OPENING, points=opening_points(judgements, found, system)),
            Section(FIRST, points=tuple(dict.fromkeys(checks))),
            *below,
            Section(ONWARD, points=tuple(now)),
            Section(CAREFUL, points=tuple(cautions)),
        )
    )
