"""What a change did, in words: one sentence of verdict per side, then numbers, reasons and confounders.

Takes a `Comparison`; gives sentences, tables and sections.
"""

from __future__ import annotations

from collections.abc import Sequence

from tuner.comparing import Comparison, SideComparison
from tuner.comparing.confounders import cured, goes_with
from tuner.comparing.parts import interval_parts
from tuner.comparing.verdict import SMALL_CHANGE, shows_no_change
from tuner.estimates import Estimate, Note
from tuner.fitting.results import DampingFit
from tuner.records import SIDES, Side
from tuner.units import System
from tuner.wording import bounces, figures, fits, motion, onward, outcomes, tables
from tuner.wording.doubts import note_text
from tuner.wording.layout import (
    CAREFUL,
    CONFOUNDERS,
    DOUBTS,
    FIRST,
    GOES_WITH,
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

_VERDICT = {
    "toward": "moved toward the target",
    "away": "moved away from the target",
    "no clear change": "no clear change",
    "cannot tell": "cannot tell whether it moved toward the target or away",
}
_PROBABLY = {
    "toward": "probably moved toward the target",
    "away": "probably moved away from the target",
    "inside": "probably inside the target before and after",
}
_LIKELIEST = {
    "toward": "toward",
    "away": "away",
    "inside": "inside the target before and after",
}


def of_two_kinds(side: SideComparison) -> bool:
    """Say whether one test gives a ratio without a speed, as a bounce does, and the other does not."""
    bounced = [any(at.speed is None for at in judged.zeta) for judged in (side.before, side.after)]
    return bounced[0] != bounced[1]


def _untold(side: SideComparison) -> bool:
    """Say whether the tests say nothing of a change."""
    return side.at_target is not None and figures.untold(side.at_target.ratio)


def verdict_clause(side: SideComparison) -> str:
    """Give the verdict on a side in a few words, with the probability behind it."""
    if side.verdict == "cannot tell" and _untold(side):
        return "cannot tell, because these tests leave the change open by more than a factor of six"
    judged = side.before.band is not None and side.before.zeta and side.after.zeta
    if side.verdict == "cannot tell" and not side.change and of_two_kinds(side):
        return "cannot tell, because one test is of the whole corner (a bounce) and the other of the damper alone"
    if side.verdict == "cannot tell" and not side.change:
        return "cannot tell, because the two tests share no speed at which it was measured"
    if side.verdict == "cannot tell" and not judged:
        known = "a clear change" if side.changed else "no sure change"
        return f"{known}; toward the target or away cannot be told without the machine"
    if side.probability is None:
        return _VERDICT[side.verdict]
    sure = figures.probability_text(side.probability)
    if side.verdict == "no clear change" and side.at_target is not None:
        if shows_no_change(side.at_target.ratio):
            return f"no clear change ({sure} that it is below {figures.share_text(SMALL_CHANGE)})"
        known = "a real change, but" if side.changed else "no clear change;"
        return f"{known} inside the target before and after ({sure})"
    if side.leaning is not None:
        return f"{_PROBABLY[side.leaning[0]]} ({figures.chance_text(side.leaning[1])})"
    if side.likeliest is not None:
        sure = f"likeliest: {_LIKELIEST[side.likeliest]}, {figures.chance_text(side.probability)}"
    return f"{_VERDICT[side.verdict]} ({sure})"


def sure_clause(side: SideComparison) -> str:
    """Say in brackets how sure the verdict on a side is; "" where nothing tells it."""
    if side.probability is None or side.at_target is None or _untold(side):
        return ""
    if side.leaning is not None:
        return f" ({figures.chance_text(side.leaning[1])})"
    sure = figures.probability_text(side.probability)
    if side.verdict == "no clear change" and shows_no_change(side.at_target.ratio):
        return f" ({sure} that it is below {figures.share_text(SMALL_CHANGE)})"
    if side.likeliest is not None:
        return f" (likeliest {_LIKELIEST[side.likeliest]}, {figures.chance_text(side.probability)})"
    return f" ({sure})"


def effect_clause(side: SideComparison, system: System) -> str:
    """Say what happens to the motion, at the speed the verdict is about; "" when nothing was measured."""
    at = side.at_target
    if at is None or _untold(side):
        return ""
    speed = "" if at.speed is None else f"At {figures.speed_text(at.speed, system)} "
    change = figures.more_or_less(at.ratio)
    if side.changed:
        text = motion.effect(side.side, change, stronger=at.ratio.value > 1)
    else:
        text = motion.unclear_effect(side.side, change)
    return f"{speed}{text}." if speed else fits.whole(text)


def ratio_clause(side: SideComparison, system: System) -> str:
    """Say the damping ratio before and after, and the target; "" without a corner."""
    at = side.at_target
    if at is None:
        return ""
    before, after = (tables.zeta_at(judged, at.speed) for judged in (side.before, side.after))
    if before is None or after is None or not (before.tells and after.tells):
        return ""
    text = f"Damping ratio {figures.zeta_text(before)} before, {figures.zeta_text(after)} after"
    if side.before.band is None:
        return f"{text}."
    return f"{text}{_moved_clause(side, system)}."


def _moved_clause(side: SideComparison, system: System) -> str:
    """Say the target of two ratios, and where it is meant at another speed what they may be there."""
    assert side.before.band is not None
    band = figures.band_text(side.before.band)
    step = side.before.step or side.after.step
    if step is None or side.before.at_band is None or side.after.at_band is None:
        return f"; target {band}"
    here = "" if side.judged_at is None else f", at {figures.speed_text(round(side.judged_at, 2), system)}"
    there = figures.speed_text(step.there, system)
    before, after = (
        figures.range_text(judged.at_band) for judged in (side.before, side.after) if judged.at_band
    )
    return f"{here}; target {band}, meant at {there}, where it may have been {before} and be {after}"


def side_sentences(comparison: Comparison, side: Side, system: System) -> str:
    """Give the verdict on a side, what happens to the motion, and the ratio before and after."""
    compared = comparison.side(side)
    unseen = [
        word
        for word, judgement in (("before", comparison.before), ("after", comparison.after))
        if not judgement.fit.side(side).seen
    ]
    if unseen:
        missing = " and ".join(unseen)
        judgement = comparison.before if "before" in unseen else comparison.after
        return f"{fits.not_seen(side, judgement.fit)} (Missing {missing}.)"
    parts = [
        f"{motion.SIDE_TITLE[side]}: {verdict_clause(compared)}.",
        effect_clause(compared, system),
        ratio_clause(compared, system),
        _missing(comparison, side, system) if _untold(compared) else "",
    ]
    return " ".join(part for part in parts if part)


def _missing(comparison: Comparison, side: Side, system: System) -> str:
    """Say what is missing in the tests that are not enough; what is missing in both is said once."""
    fits_of = [judgement.fit.side(side) for judgement in (comparison.before, comparison.after)]
    said = [
        fits.not_enough(fit, system)
        for fit in fits_of
        if any(note.code == "not-enough" for note in fit.notes)
    ]
    return " ".join(fits.whole(text) for text in dict.fromkeys(said))


def summary(comparison: Comparison, system: System = "metric") -> str:
    """Give the whole comparison as one paragraph for a person."""
    if comparison.measures:
        return outcomes.summary(comparison, system)
    return " ".join(side_sentences(comparison, side, system) for side in SIDES)


def change_table(comparison: Comparison, side: Side, system: System) -> Table:
    """Give damping before and after, the change and the ratios of one side, per reference speed."""
    compared = comparison.side(side)
    with_zeta = bool(compared.before.zeta or compared.after.zeta)
    header = ["speed", "before", "after", "change"]
    if with_zeta:
        header += ["ratio before", "ratio after"]
    ratios = {change.speed: change.ratio for change in compared.change}
    pair = comparison.before.fit.side(side), comparison.after.fit.side(side)
    speeds = sorted({s.speed for fit in pair for s in fit.secant})
    rows = []
    for speed in speeds:
        row = [figures.speed_bare(speed, system)]
        row += [figures.damping_bare(fit.secant_at(speed), system) for fit in pair]
        row.append(figures.signed_change(ratios[speed]) if speed in ratios else figures.UNKNOWN)
        if with_zeta:
            row += [
                figures.zeta_text(tables.zeta_at(judged, speed))
                for judged in (compared.before, compared.after)
            ]
        rows.append(tuple(row))
    return Table(tables.side_table_title(side, system), tuple(header), tuple(rows))


def whole_change_table(comparison: Comparison, system: System) -> Table:
    """Give dead stroke, gas force, friction and energy before and after, as far as a record shows them."""
    before, later = (
        tables.whole_rows(judgement.fit, system) if isinstance(judgement.fit, DampingFit) else []
        for judgement in (comparison.before, comparison.after)
    )
    after = {name: estimate for name, estimate, _ in later}
    rows = [
        (
            f"{name}, {figures.label_of(kind, system)}",
            *(figures.bare(e, kind, system) for e in (one, after.get(name))),
        )
        for name, one, kind in before
        if one is not None or after.get(name) is not None
    ]
    return Table("The damper as a whole", ("", "before", "after"), tuple(rows))


def parts_table(comparison: Comparison) -> Table:
    """Say what the intervals of the judged change are made of, side by side; drives and jumps have none."""
    parts = {side: None if comparison.measures else interval_parts(comparison, side) for side in SIDES}
    known = {
        side: part for side, part in parts.items() if part is not None and not _untold(comparison.side(side))
    }
    names = (
        ("the test before", "before"),
        ("the test after", "after"),
        ("mounting again, allowed for single tests", "mounting"),
        ("the change, all together", "change"),
        ("the corner's numbers, in both damping ratios alike", "corner"),
    )
    rows = [
        (name, *(figures.share_bare(getattr(part, field)) for part in known.values()))
        for name, field in names
        if any(getattr(part, field) > 0 for part in known.values())
    ]
    return Table(
        "What the ± is made of, in % (the parts add up as squares; what both tests share cancels)",
        ("±", *known),
        tuple(rows) if known else (),
    )


def dead_stroke_points(comparison: Comparison, system: System, *, short: bool = False) -> tuple[str, ...]:
    """Say where a dead stroke appeared or went: the signature of air in the oil, or of too little of it."""
    points = []
    for side, way in (("compression", "in"), ("rebound", "out")):
        before = comparison.before.fit.side(side).dead_stroke  # type: ignore[arg-type]
        after = comparison.after.fit.side(side).dead_stroke  # type: ignore[arg-type]
        if before is None or after is None:
            continue
        if not _apart(before, after):
            continue
        now, then = (tables.dead_stroke_text(length, system) for length in (after, before))
        if cured(before, after):
            points.append(
                f"Dead stroke on the way {way}: cured. It was {then} before the change and is {now} now."
            )
            continue
        if short:
            points.append(
                f"Dead stroke: the damper moves {now} on the way {way} before it works (before the change {then}): air "
                "in the oil, or too little of it."
            )
            continue
        points.append(
            f"Dead stroke: after each reversal the damper now moves {now} on the way {way} before it works; "
            f"before the change it was {then}. A long one points to air in the oil or too little of it."
        )
    return tuple(points)


def _apart(before: Estimate, after: Estimate) -> bool:
    return after.low > before.high or after.high < before.low


def reason_points(comparison: Comparison, system: System = "metric") -> tuple[str, ...]:
    """Give the reasons behind the verdicts, each once."""
    if comparison.measures:
        return outcome_reasons(comparison, system)
    return fits.reason_points({side: comparison.side(side).reasons for side in SIDES}, system)


def outcome_reasons(comparison: Comparison, system: System = "metric") -> tuple[str, ...]:
    """Give the reasons behind what became of drives and jumps; one that most measures share names none of them."""
    points = []
    for reason, names in outcomes.reason_points(comparison).items():
        said = note_text(reason, system)
        text = said if len(names) > 2 else f"{' and '.join(names)}: {said}"
        points.append(fits.whole(text))
    return tuple(points)


def opening_points(comparison: Comparison, system: System) -> tuple[str, ...]:
    """Give the verdicts in sentences, by what was tested."""
    if comparison.measures:
        return outcomes.opening_points(comparison, system)
    sides = (side_sentences(comparison, side, system) for side in SIDES)
    return (*sides, *dead_stroke_points(comparison, system))


def numbers_tables(comparison: Comparison, system: System) -> tuple[Table, ...]:
    """Give the tables of a change, by what was tested."""
    if comparison.measures:
        return outcomes.numbers_tables(comparison, system)
    judged = (("before", comparison.before), ("after", comparison.after))
    if bounces.is_bounce(comparison.before, comparison.after):
        changes = {side: comparison.side(side).change for side in SIDES}
        shown = [bounces.ratios_table(judged, changes, "change")]
    else:
        shown = [change_table(comparison, side, system) for side in SIDES]
    return (*shown, whole_change_table(comparison, system))


def parted_confounders(comparison: Comparison) -> tuple[list[Note], list[Note]]:
    """Part what else could explain a change from what goes with it."""
    caused = goes_with(comparison.before.fit, comparison.after.fit)
    return (
        [note for note in comparison.confounders if note.code not in caused],
        [note for note in comparison.confounders if note.code in caused],
    )


def change_sections(
    comparison: Comparison,
    system: System,
    *,
    notes: Sequence[Note] = (),
    decided: Sequence[fits.Decided] = (),
    cautions: Sequence[str] = (),
) -> tuple[Section, ...]:
    """Give the page of a change: the verdict first, then numbers, confounders, doubts, files and cautions.

    `notes` are all notes of the job; `decided` says per file what was decided about it.
    """
    checks, (doubts, made_of) = fits.check_points(notes, system), fits.parted(notes)
    other, belongs = parted_confounders(comparison)
    return filled(
        (
            Section(OPENING, points=opening_points(comparison, system)),
            Section(FIRST, points=checks),
            Section(NUMBERS, tables=tuple(t for t in numbers_tables(comparison, system) if t.rows)),
            fits.corner_section([("before", comparison.before), ("after", comparison.after)], system),
            Section(WHY, points=reason_points(comparison, system)),
            Section(CONFOUNDERS, points=fits.note_points(other, system)),
            Section(GOES_WITH, points=fits.note_points(belongs, system)),
            Section(
                DOUBTS,
                points=fits.note_points(doubts, system),
                tables=tuple(t for t in (parts_table(comparison),) if t.rows),
            ),
            Section(USED, points=fits.note_points(made_of, system)),
            Section(RECORDINGS, points=fits.decided_points(decided, system)),
            Section(ONWARD, points=onward.onward_change(comparison, checked=not checks)),
            Section(CAREFUL, points=tuple(cautions)),
        )
    )
