"""One setting of one damper in words: the place against the band, the law, the numbers, the doubts.

Takes a `Judgement`; gives sentences and sections.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple

from tuner.estimates import Estimate, Note
from tuner.fitting.results import DampingFit, Fit, Secant, SideFit, as_a
from tuner.fitting.side import shows_no_bend
from tuner.judging import JudgedSide, Judgement, nearest_speed, wanted_speed
from tuner.kinds import SHOWING_DAMPING
from tuner.records import SIDES, Kind, Quality, Side
from tuner.units import System
from tuner.wording import bounces, drives, figures, jumps, motion, onward, tables
from tuner.wording.checks import to_check
from tuner.wording.doubts import note_text, told
from tuner.wording.doubts.bounces import REMEDIES
from tuner.wording.doubts.compared import SHOWING
from tuner.wording.layout import (
    CAREFUL,
    CORNER,
    DOUBTS,
    FIRST,
    LAWS,
    NUMBERS,
    ONWARD,
    OPENING,
    RECORDINGS,
    USED,
    Section,
    Table,
    filled,
)


def not_seen(side: Side, fit: Fit) -> str:
    """Say that a test does not show a side, and which test would."""
    own = next((n.facts["remedy"] for n in fit.side(side).notes if "remedy" in n.facts), "")
    how = REMEDIES[own] if own else SHOWING[fit.kind][side]
    return f"{motion.SIDE_TITLE[side]}: not seen in this test; to see it, {how}."


def side_sentence(judgement: Judgement, side: Side, system: System) -> str:
    """Give the one sentence about a side: how strong it is, and its place against the band."""
    fit, judged = judgement.fit.side(side), judgement.side(side)
    title = motion.SIDE_TITLE[side]
    if not fit.seen:
        return not_seen(side, judgement.fit)
    if not enough(judgement, side):
        return f"{title}: {not_enough(fit, system)}."
    if judged.at_target is not None:
        speed = judged.at_target.speed
        at = f" at {figures.speed_text(speed, system)}" if speed is not None else ""
        where = f", {place_clause(judged)}" if judged.band is not None else ""
        zeta = judged.at_target.zeta
        said = figures.zeta_text(zeta) if zeta.tells else figures.end_text(zeta, judged.place == "below")
        if judged.step is not None:
            at, where = step_clause(judged, system), f": {place_clause(judged)}"
        return f"{title}: damping ratio {said}{at}{where}."
    if fit.secant:
        secant = _secant(judgement, side)
        strength = figures.amount(secant.c, "damping", system=system)
        return f"{title}: {strength} at {figures.speed_text(secant.speed, system)}."
    return f"{title}: seen, but no damping could be given for it; the notes say why."


def _secant(judgement: Judgement, side: Side) -> Secant:
    """Give the secant nearest to the speed that is judged; there is one."""
    secants = judgement.fit.side(side).secant
    speed = nearest_speed([s.speed for s in secants], wanted_speed(judgement.target))
    return next(s for s in secants if s.speed == speed)


def enough(judgement: Judgement, side: Side) -> bool:
    """Say whether a side that was seen is known at all: within a factor of six, or for certain its place."""
    judged, fit = judgement.side(side), judgement.fit.side(side)
    if judged.at_target is not None:
        return judged.at_target.zeta.tells or judged.place in ("below", "inside", "above")
    return not fit.secant or _secant(judgement, side).c.tells


def not_enough(fit: SideFit, system: System) -> str:
    """Say that a test is not enough to tell a side, and what is missing."""
    said = (note_text(note, system) for note in fit.notes if note.code == "not-enough")
    return next(said, "not enough in this test to tell it")


def shown_clause(judged: JudgedSide, system: System) -> str:
    """Say at which speed a bounce shows its ratio; "" where nothing tells it."""
    speed = judged.judged_at
    return (
        "" if speed is None else f" at {figures.speed_text(round(speed, 2), system)}, where the bounce works"
    )


def step_clause(judged: JudgedSide, system: System) -> str:
    """Say at which speed a bounce shows its ratio, and what this damper may have at the speed of the target."""
    if judged.step is None or judged.at_band is None:
        return ""
    there, moved = figures.speed_text(judged.step.there, system), figures.range_text(judged.at_band)
    has = "has" if judged.step.told_by == "the bench" else "may have"
    shown = shown_clause(judged, system)
    return f"{shown}; the target is meant at {there}, where this damper {has} {moved}"


def place_clause(judged: JudgedSide) -> str:
    """Say where a ratio stands against its band, with what that means for the machine."""
    if judged.band is None:
        return "with no target to hold it against"
    band = figures.band_text(judged.band)
    sure = "" if judged.probability is None else f" ({figures.probability_text(judged.probability)})"
    if judged.place == "inside":
        return f"inside the target {band}{sure}"
    if judged.place in ("below", "above"):
        return f"{judged.place} the target {band}{sure}: {motion.meaning_outside(judged.side, judged.place)}"
    if judged.leaning is not None and judged.probability is not None:
        return f"probably {judged.leaning} the target {band} ({figures.chance_text(judged.probability)})"
    if judged.place == "uncertain":
        return f"too uncertain to place against the target {band}"
    return f"its place against the target {band} is unknown"


def law_sentence(fit: SideFit, system: System) -> str:
    """Say in words how the force of a side grows with speed; "" where no law was fitted."""
    if fit.law is None or (fit.secant and not any(s.c.tells for s in fit.secant)):
        return ""
    title = motion.SIDE_TITLE[fit.side]
    values = fit.law.parameters

    def damping(name: str) -> str:
        found = fit.parameters.get(name) or Estimate.exact(values[name], "N*s/m")
        return figures.amount(found, "damping", system=system)

    def knee(name: str) -> str:
        found = fit.parameters.get(name) or Estimate.exact(values[name], "m/s")
        return figures.amount(found, "speed", system=system)

    name = fit.law.name
    if name == "line":
        return f"{title}: {_line_clause(fit, damping('c'))}."
    if name == "power":
        exponent = fit.parameters.get("n") or Estimate.exact(values["n"], "1")
        power = figures.amount(exponent, "ratio", system=system)
        return f"{title}: the force grows with speed to the power {power}."
    if name == "leak + orifice":
        return (
            f"{title}: the force is that of a leak, {damping('a')} (follows the oil's viscosity), and of an "
            "orifice, growing with the square of speed (follows its density)."
        )
    if name == "knee":
        turn = "flatter" if values["c_high"] < values["c_low"] else "steeper"
        return (
            f"{title}: {damping('c_low')} up to the knee at {knee('v_knee')}, "
            f"{turn} above it, {damping('c_high')}."
        )
    return (
        f"{title}: {damping('c_low')} up to {knee('v_knee')}, {damping('c_middle')} up to "
        f"{knee('v_knee_2')}, {damping('c_high')} above."
    )


def _line_clause(fit: SideFit, damping: str) -> str:
    """Say what one value for all speeds means: in proportion only where a bend was looked for and excluded."""
    if shows_no_bend(fit):
        return f"the force grows in proportion to speed, {damping}"
    if fit.zeta is None:
        text = f"one value, {damping}, explains these points"
        return f"{text}; whether the damper bends with speed, more of them would show"
    return (
        f"one value, {damping}, explains this record; whether the damper bends with speed it cannot show: "
        "harder bounces or a bench sweep would"
    )


def target_sentence(judgement: Judgement, system: System) -> str:
    """Say what the ratios are held against, and where that band comes from; "" without a target."""
    target = judgement.target
    if target is None:
        return ""
    bands = ", ".join(
        f"{side} {figures.band_text(judgement.side(side).band or getattr(target, side))}" for side in SIDES
    )
    return f"Target: {bands}, at {figures.speed_text(target.speed, system)} ({target.source})."


def corner_section(judgements: Sequence[tuple[str, Judgement]], system: System) -> Section:
    """Give the corner, its target and the exact modes, for one setting or for several side by side.

    Drives and jumps show no damping to hold against it: nothing is given for them.
    """
    if not any(judgement.fit.kind in SHOWING_DAMPING for _, judgement in judgements):
        return Section(CORNER)
    corners = [tables.corner_table(judgement, system) for _, judgement in judgements]
    given = [
        (*table.rows, *bounces.corner_rows(judgement, system))
        for table, (_, judgement) in zip(corners, judgements, strict=True)
    ]
    names = dict.fromkeys(row[0] for each in given for row in each)
    values = [{row[0]: row[1] for row in each} for each in given]
    rows = tuple((name, *(each.get(name, figures.UNKNOWN) for each in values)) for name in names)
    title = corners[0].header[0]
    header = (title, *(name for name, _ in judgements)) if len(judgements) > 1 else (title, "value")
    said = target_sentence(judgements[0][1], system)
    return Section(CORNER, (said,) if said else (), tables=(Table("", header, rows),) if rows else ())


def note_points(notes: Iterable[Note], system: System = "metric", *, plain: bool = False) -> tuple[str, ...]:
    """Give every note once, as a sentence; what is said alike of both sides is said once of both.

    `plain` puts keys of the machine file into plain words.
    """
    return tuple(
        _ended(text)
        if "file" in note.facts and "of" not in note.facts
        else whole(text)  # a file keeps its name
        for note, text in told(notes, system, plain=plain)
    )


def whole(clause: str) -> str:
    """Make a sentence of a clause."""
    return _ended(clause[:1].upper() + clause[1:])


def _ended(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."


def sentence(text: str, system: System = "metric") -> str:
    """Make a sentence of what another room says of a refusal or a recording, in the units of `system`."""
    clean = figures.readable(text.strip(), system)
    return _ended(clean) if re.match(r"\S+\.\w+:", clean) else whole(clean)  # a file keeps its name as it is


def reason_points(reasons: Mapping[Side, Sequence[Note]], system: System = "metric") -> tuple[str, ...]:
    """Give the reasons behind each side's verdict; what holds for both stands last, once."""
    said = {side: [note_text(reason, system) for reason in reasons[side]] for side in SIDES}
    shared = [text for text in said["compression"] if text in said["rebound"]]
    points = [
        whole(text if text.startswith(side) else f"{side}: {text}")
        for side in SIDES
        for text in said[side]
        if text not in shared
    ]
    return (*points, *map(whole, shared))


def quality_points(qualities: Sequence[Quality]) -> tuple[str, ...]:
    """Say what the recordings are worth."""
    points = []
    for quality in qualities:
        parts = []
        if quality.rate_hz is not None:
            parts.append(f"{quality.rate_hz:.4g} samples a second")
        if quality.cycles:
            counts = sorted({count for _, count in quality.cycles})
            spread = f"{counts[0]}" if len(counts) == 1 else f"{counts[0]} to {counts[-1]}"
            parts.append(f"{len(quality.cycles)} speeds with {spread} usable cycles each")
        if quality.gaps:
            parts.append(f"{quality.gaps} gap{'s' if quality.gaps != 1 else ''}")
        if quality.duplicates:
            parts.append(f"{quality.duplicates} repeated times")
        if quality.dropouts:
            parts.append(f"{quality.dropouts} rows left out for a missing value")
        if quality.clipped_share > 0:
            parts.append(f"{100 * quality.clipped_share:.1f} % of the force at the sensor's limit")
        if parts:
            points.append(whole(", ".join(parts)))
    return tuple(dict.fromkeys(points))


Decided = tuple[str, tuple[str, ...]]  # a file, and what was decided about it


def decided_points(decided: Sequence[Decided], system: System = "metric") -> tuple[str, ...]:
    """Say what was decided about the files, and why; files of which the same was decided share a point."""
    alike: dict[tuple[str, ...], list[str]] = {}
    for name, sentences in decided:
        if sentences:
            alike.setdefault(tuple(sentences), []).append(name)
    return tuple(
        f"{', '.join(names)}: {' '.join(sentence(text, system) for text in sentences)}"
        for sentences, names in alike.items()
    )


def _sides(judgement: Judgement, system: System) -> tuple[str, ...]:
    return tuple(side_sentence(judgement, side, system) for side in SIDES)


def _sides_and_corner(judgement: Judgement, system: System) -> tuple[str, ...]:
    return (*_sides(judgement, system), *bounces.corner_points(judgement, system))


def _secants(judgement: Judgement, system: System) -> tuple[Table, ...]:
    whole = tables.whole_table(as_a(DampingFit, judgement.fit), system)
    return tables.secant_table(judgement, system), whole


def _ratios(judgement: Judgement, system: System) -> tuple[Table, ...]:
    whole = tables.whole_table(as_a(DampingFit, judgement.fit), system)
    return bounces.ratio_table(judgement, system), whole


class _Page(NamedTuple):
    """What is said of one setting, and its tables, by what was tested."""

    opening: Callable[[Judgement, System], tuple[str, ...]]
    numbers: Callable[[Judgement, System], tuple[Table, ...]]


PAGES: Mapping[Kind, _Page] = {
    "sweep": _Page(_sides, _secants),
    "cycle": _Page(_sides, _secants),
    "weights": _Page(_sides, _secants),
    "bounce": _Page(_sides_and_corner, _ratios),
    "travel": _Page(drives.opening_points, drives.numbers_tables),
    "flight": _Page(jumps.opening_points, jumps.numbers_tables),
}


def opening_points(judgement: Judgement, system: System) -> tuple[str, ...]:
    """Give what one setting is like in a few sentences, by what was tested."""
    return PAGES[judgement.fit.kind].opening(judgement, system)


def numbers_tables(judgement: Judgement, system: System) -> tuple[Table, ...]:
    """Give the tables of one setting, by what was tested."""
    return PAGES[judgement.fit.kind].numbers(judgement, system)


# notes that say what was made of a recording, rather than what is uncertain
OF_RECORDINGS = frozenset({"bounces-used", "bounce-left-out", "same-ground", "standing-left-out"})


def parted(notes: Iterable[Note]) -> tuple[list[Note], list[Note]]:
    """Part the notes into doubts and what was made of the recordings; what is said at the top is left out."""
    notes = tuple(notes)
    above = {"not-seen", "not-enough", *(note.code for note in to_check(notes))}
    told = [note for note in notes if note.code not in above]
    doubts = [note for note in told if note.code not in OF_RECORDINGS]
    return doubts, [note for note in told if note.code in OF_RECORDINGS]


def check_points(notes: Iterable[Note], system: System = "metric") -> tuple[str, ...]:
    """Say which inputs do not fit together, so that they are looked at before the answer is believed."""
    return note_points(to_check(notes), system)


def fit_sections(
    judgement: Judgement,
    system: System,
    *,
    notes: Sequence[Note] = (),
    decided: Sequence[Decided] = (),
    cautions: Sequence[str] = (),
) -> tuple[Section, ...]:
    """Give the page of one setting: the verdict first, then numbers, doubts, files and cautions.

    `notes` are all notes of the job; `decided` says per file what was decided about it.
    """
    fit = judgement.fit
    opening, shown = opening_points(judgement, system), numbers_tables(judgement, system)
    checks, (doubts, made_of) = check_points(notes, system), parted(notes)
    laws = tuple(text for side in SIDES if (text := law_sentence(fit.side(side), system)))
    return filled(
        (
            Section(OPENING, points=opening),
            Section(FIRST, points=checks),
            Section(NUMBERS, tables=tuple(t for t in shown if t.rows)),
            Section(LAWS, points=laws),
            corner_section([("", judgement)], system),
            Section(DOUBTS, points=note_points(doubts, system)),
            Section(USED, points=note_points(made_of, system)),
            Section(
                RECORDINGS,
                points=(*quality_points(fit.quality), *decided_points(decided, system)),
            ),
            Section(ONWARD, points=onward.onward_fit(judgement, checked=not checks)),
            Section(CAREFUL, points=tuple(cautions)),
        )
    )
