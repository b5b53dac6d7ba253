"""The sections of text and tables under the pictures.

Takes the pages that the words give, and the judged runs; gives sections.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from tuner.judging import Judgement
from tuner.records import SIDES
from tuner.units import System
from tuner.wording import figures, fits
from tuner.wording.layout import (
    CAREFUL,
    CONFOUNDERS,
    CORNER,
    FIRST,
    GOES_WITH,
    LAWS,
    ONWARD,
    OPENING,
    RECORDINGS,
    Section,
    Table,
    filled,
    upper,
)

Judged = Sequence[tuple[str, Judgement]]

BESIDE = (CONFOUNDERS, GOES_WITH)
# these have a place of their own on the sheet
_ELSEWHERE = (OPENING, FIRST, ONWARD, RECORDINGS, CAREFUL, *BESIDE)


def sections_beside(page: Sequence[Section]) -> tuple[Section, ...]:
    """Give what stands beside the answer: other causes, and what goes with the change."""
    return tuple(section for section in page if section.title in BESIDE)


def sections_below(page: Sequence[Section], judged: Judged, system: System) -> tuple[Section, ...]:
    """Leave out what stands elsewhere on the sheet; add the laws where the page lacks them, and the corner."""
    kept = [section for section in page if section.title not in _ELSEWHERE]
    if LAWS not in {section.title for section in kept}:
        kept.append(_laws(judged, system))
    given = _given(judged[0][1], system)
    if given is not None:
        kept = [
            replace(section, tables=(given, *section.tables)) if section.title == CORNER else section
            for section in kept
        ]
    return filled(kept)


def _laws(judged: Judged, system: System) -> Section:
    texts = []
    for side in SIDES:
        for label, judgement in judged:
            text = fits.law_sentence(judgement.fit.side(side), system)
            if text:
                texts.append(f"{label if '.' in label else upper(label)}. {text}")  # a file keeps its name
    return Section(LAWS, points=tuple(texts))


def _given(judgement: Judgement, system: System) -> Table | None:
    """Give what the machine file says about the corner, so that a wrong entry is seen."""
    corner = judgement.corner
    if corner is None:
        return None
    entries = (
        ("sprung mass", corner.sprung_mass, "mass"),
        ("unsprung mass", corner.unsprung_mass, "mass"),
        ("spring rate at the spring", corner.spring_rate, "stiffness"),
        ("motion ratio, damper travel over wheel travel", corner.motion_ratio.constant, "ratio"),
        ("tyre rate", corner.tyre_rate, "stiffness"),
        ("shaft travel at rest", corner.static_travel, "length"),
    )
    rows = [(name, figures.amount(e, kind, system=system)) for name, e, kind in entries if e is not None]
    if corner.motion_ratio.constant is None:
        rows.append(("motion ratio, damper travel over wheel travel", "a table in the machine file"))
    return Table("", ("given for the corner", "value"), tuple(rows))
