"""The sections of text and tables under the pictures.

Takes the pages that the words give, and the judged runs; gives sections. Uses: wording.
"""

from __future__ import annotations

from collections.abc import Sequence

from tuner.judging import Judgement
from tuner.records import SIDES
from tuner.units import System
from tuner.wording import figures, fits
from tuner.wording.layout import Section, Table, filled

Judged = Sequence[tuple[str, Judgement]]

_ELSEWHERE = (
    "",
    "The recordings",
    "The recording",
    "Careful",
)  # these have a place of their own on the sheet
_LAWS = "How the force grows with speed"


def sections_below(page: Sequence[Section], judged: Judged, system: System) -> tuple[Section, ...]:
    """Leave out what stands elsewhere on the sheet; add the laws where the page lacks them, and the corner."""
    kept = [section for section in page if section.title not in _ELSEWHERE]
    if _LAWS not in {section.title for section in kept}:
        kept.append(_laws(judged, system))
    kept.append(_corner(judged, system))
    return filled(kept)


def _laws(judged: Judged, system: System) -> Section:
    texts = []
    for side in SIDES:
        for label, judgement in judged:
            text = fits.law_sentence(judgement.fit.side(side), system)
            if text:
                texts.append(f"{label[:1].upper()}{label[1:]}. {text}")
    return Section(_LAWS, points=tuple(texts))


def _corner(judged: Judged, system: System) -> Section:
    tables = [(label, fits.corner_table(judgement, system)) for label, judgement in judged]
    names = list(dict.fromkeys(row[0] for _, table in tables for row in table.rows))
    values = [{row[0]: row[1] for row in table.rows} for _, table in tables]
    rows = tuple((name, *(each.get(name, figures.UNKNOWN) for each in values)) for name in names)
    header = (tables[0][1].header[0], *(label for label, _ in tables))
    several = len(judged) > 1  # the page of one setting has this table already
    target = judged[0][1].target
    paragraphs: tuple[str, ...] = ()
    if target is not None:
        bands = " and ".join(f"{side} {figures.band_text(getattr(target, side))}" for side in SIDES)
        speed = figures.speed_text(target.speed, system)
        paragraphs = (f"Target: {bands} at {speed} ({target.source}).",)
    table = Table("", header, rows)
    given = _given(judged[0][1], system)
    tables_shown = tuple(t for t in (given, table if several else None) if t is not None and t.rows)
    return Section("The corner and its target", paragraphs, tables=tables_shown)


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
