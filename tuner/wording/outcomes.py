"""What a change did to drives and jumps, in words: one sentence per measure, the verdict in it first.

Takes a `Comparison` with measures; gives sentences, tables.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from tuner.comparing import Comparison, MeasureChange
from tuner.estimates import Estimate, Note
from tuner.fitting.results import JumpFit, as_a
from tuner.records import Side
from tuner.units import System
from tuner.wording import amounts, drives, figures, jumps
from tuner.wording.doubts import note_text
from tuner.wording.layout import Table

NO_CHANGE, OPEN = "no clear change", "cannot tell"
ONE_DRIVE = (
    "There is one drive of each setting: how far two drives of one setting differ is not in these intervals. Three of "
    "each would show it."
)

# measure -> its name, the kind of quantity, and what it is called when it rose or fell for certain
_NAMES: Mapping[str, tuple[str, str]] = {
    "pitch_rate": ("Pitch rate in the air", "angular rate"),
    "rotation": ("Turned in the air", "angle"),
    "airtime": ("Time in the air", "time"),
    "landing_peak": ("Landing", "acceleration"),
    "mean_position": ("Ride position", "length"),
    "bottomed": ("Bottoming", "rate"),
    "topped_out": ("Topping out", "rate"),
    "packing": ("Packing down", "length"),
    "peak_speed": ("Peak speed", "speed"),
    "time_share": ("Time", "share"),
}
_MOVED: Mapping[str, tuple[str, str]] = {  # (it rose, it fell)
    "airtime": ("the machine stays up longer", "the machine is down sooner"),
    "landing_peak": ("it lands harder", "it lands softer"),
    "mean_position": ("it rides deeper in its travel", "it rides higher"),
    "bottomed": ("it runs all the way in more often", "it runs all the way in less often"),
    "topped_out": ("it runs all the way out more often", "it runs all the way out less often"),
    "packing": ("it settles deeper over a row of bumps", "it settles less over a row of bumps"),
}
_TURNED_SOMEHOW: Mapping[tuple[str, bool], str] = {  # sizes, where no recording tells which way the nose goes
    ("pitch_rate", True): "it turns faster, which way is not known",
    ("pitch_rate", False): "it turns more slowly, which way is not known",
    ("rotation", True): "it turns further, which way is not known",
    ("rotation", False): "it turns less far, which way is not known",
}
_SPEED_MOVED: Mapping[Side, tuple[str, str]] = {
    "compression": ("the shaft goes in faster", "the shaft goes in more slowly"),
    "rebound": ("the shaft comes out faster", "the shaft comes out more slowly"),
}


def name_of(change: MeasureChange) -> str:
    """Give what people call that measure."""
    name = _NAMES[change.name][0]
    return name if change.side is None else f"{name} {drives.WAY[change.side]}"


def headline(comparison: Comparison) -> tuple[MeasureChange, ...]:
    """Give the measures that deserve a sentence, the most telling first: all but the shares of time."""
    order = list(_NAMES)
    chosen = [change for change in comparison.measures if change.speeds is None]
    return tuple(sorted(chosen, key=lambda change: order.index(change.name)))


def amount(change: MeasureChange, estimate: Estimate, system: System) -> str:
    """Write one of a measure's values with its unit."""
    kind = _NAMES[change.name][1]
    if kind == "rate":
        return amounts.per_minute(estimate)
    if kind == "acceleration":
        return amounts.acceleration(estimate, system)
    return figures.amount(estimate, kind, system=system)


def difference_text(change: MeasureChange, system: System) -> str:
    """Write the difference with its sign, "" without one."""
    if change.difference is None:
        return ""
    kind = _NAMES[change.name][1]
    if kind == "rate":
        return amounts.signed_per_minute(change.difference)
    values = [e.value for e in (change.before, change.after) if e is not None]
    if change.name in ("pitch_rate", "rotation") and values and max(values) < 0:
        return amounts.signed(change.difference.scaled(-1.0), kind, system)  # as the sizes that are shown
    return amounts.signed(change.difference, kind, system)


def _never(change: MeasureChange) -> bool:
    """Say whether a stop was reached in neither setting."""
    values = [e.value for e in (change.before, change.after) if e is not None]
    return _NAMES[change.name][1] == "rate" and values == [0.0, 0.0]


def shown(change: MeasureChange) -> bool:
    """Say whether there is something to say of a measure on both sides: a value, or the single jumps."""
    return all(
        value is not None or each
        for value, each in zip((change.before, change.after), change.each, strict=True)
    )


def verdict(change: MeasureChange, *, known: bool = True) -> str:
    """Say in a few words what became of a measure; `known` : which way the nose goes."""
    if any(change.each):
        return f"{OPEN}, the jumps are unlike each other"
    if change.difference is None or change.before is None or change.after is None:
        return "not known on both sides" if change.before is None or change.after is None else OPEN
    if _never(change):
        return "not once, before or after"
    if change.changed is None:
        return OPEN
    if not change.changed:
        return NO_CHANGE
    rose = change.difference.value > 0
    if change.name in ("pitch_rate", "rotation"):
        return _turned(change.before, change.after) if known else _TURNED_SOMEHOW[change.name, rose]
    if change.side is not None:
        return _SPEED_MOVED[change.side][0 if rose else 1]
    return _MOVED[change.name][0 if rose else 1]


def _turned(before: Estimate, after: Estimate) -> str:
    """Say how the turning in the air changed; + is nose up."""
    more = "more" if abs(after.value) > abs(before.value) else "less"
    if before.value < 0 and after.value < 0:
        return f"the tail comes up {more} (nose down)"
    if before.value > 0 and after.value > 0:
        return f"the nose comes up {more}"
    return "the nose now comes up" if after.value > 0 else "the tail now comes up (nose down)"


def direction_known(comparison: Comparison) -> bool:
    """Say whether both recordings tell which way the nose goes; of a drive that is no question."""
    return comparison.before.fit.kind != "flight" or (
        jumps.direction_known(comparison.before) and jumps.direction_known(comparison.after)
    )


def sentence_of(change: MeasureChange, comparison: Comparison, system: System) -> str:
    """Give the verdict on one measure with its numbers."""
    head = f"{name_of(change)}: {verdict(change, known=direction_known(comparison))}"
    if any(change.each):
        before, after = (
            _said(change, value, comparison, system)
            if value is not None
            else _listed(change, each, comparison, system)
            for value, each in zip((change.before, change.after), change.each, strict=True)
        )
        return f"{head}. Before: {before}. After: {after}."
    if change.before is None or change.after is None:
        return f"{head}." if not change.reasons else f"{head} ({note_text(change.reasons[0], system)})."
    if _never(change):
        return f"{head}. At most {change.before.high:.2g} a minute before, {change.after.high:.2g} after."
    one, other = (_said(change, e, comparison, system) for e in (change.before, change.after))
    text = f"{head}. {one[:1].upper()}{one[1:]} before, {other} after"
    said = difference_text(change, system)
    return f"{text}; difference {said}." if said else f"{text}."


def _listed(change: MeasureChange, each: Sequence[Estimate], comparison: Comparison, system: System) -> str:
    """Write the single values of one setting's jumps."""
    if not each:
        return "not known"
    if change.name in ("pitch_rate", "rotation"):
        return jumps.numbered([_said(change, value, comparison, system) for value in each])
    return jumps.listed(each, _NAMES[change.name][1], system)


def _said(change: MeasureChange, estimate: Estimate, comparison: Comparison, system: System) -> str:
    if change.name in ("pitch_rate", "rotation"):
        known = direction_known(comparison)
        kind = _NAMES[change.name][1]
        text = figures.amount(amounts.size(estimate), kind, system=system)
        return f"nose {'up' if estimate.value > 0 else 'down'} {text}" if known else text
    if math.isinf(estimate.high):
        return f"at least {amount(change, Estimate.exact(estimate.value, estimate.unit), system)}"
    return amount(change, estimate, system)


def opening_points(comparison: Comparison, system: System) -> tuple[str, ...]:
    """Give what the change did to every headline measure; what is not known on both sides comes in one line."""
    known, missing = [], []
    for change in headline(comparison):
        if change.before is None and change.after is None and not any(change.each):
            missing.append(name_of(change).lower())
        else:
            known.append(sentence_of(change, comparison, system))
    if missing:
        known.append(f"Not known: {', '.join(missing)}; the notes below say why.")
    return (*known, *closing_points(comparison))


def closing_points(comparison: Comparison) -> tuple[str, ...]:
    """Say how far the verdicts carry."""
    if comparison.before.fit.kind == "flight":
        return (jumps.NO_DAMPING,)
    if comparison.before.fit.runs == comparison.after.fit.runs == 1:
        return ONE_DRIVE, drives.NO_DAMPING
    return (drives.NO_DAMPING,)


def headline_words(comparison: Comparison) -> tuple[str, str]:
    """Give the answer in two or three words, and the sentence behind it."""
    told = [
        change for change in headline(comparison) if change.before is not None and change.after is not None
    ]
    known = direction_known(comparison)
    clear = list(dict.fromkeys(verdict(change, known=known) for change in told if change.changed))
    if clear:
        text = "; ".join(clear)
        what = "jumps show" if comparison.before.fit.kind == "flight" else "drives show"
        return (
            "A clear change",
            f"{text[:1].upper()}{text[1:]}. Whether that is better you must say: {what} no damping.",
        )
    still = [name_of(change).lower() for change in told if change.changed is False]
    if still:
        return NO_CHANGE[:1].upper() + NO_CHANGE[1:], f"No clear change of {', '.join(still)}."
    reasons = [reason for change in told or headline(comparison) for reason in change.reasons]
    why = note_text(reasons[0]) if reasons else "the two recordings share nothing that could be compared"
    return "Cannot tell", f"{why[:1].upper()}{why[1:]}."


def summary(comparison: Comparison, system: System) -> str:
    """Give the whole comparison as one paragraph."""
    return " ".join(opening_points(comparison, system))


def numbers_tables(comparison: Comparison, system: System) -> tuple[Table, ...]:
    """Give every measure before and after, and the shares of time at every speed."""
    rows = []
    for change in headline(comparison):
        if change.before is None and change.after is None:
            continue
        cells = [_cell(change, e, system) for e in (change.before, change.after, change.difference)]
        if change.difference is not None and change.difference.value > 0 and not cells[2].startswith("0 "):
            cells[2] = f"+{cells[2]}"
        rows.append((f"{name_of(change)}, {_unit_of(change, system)}", *cells))
    signs = "; turning is + when the nose goes up" if comparison.before.fit.kind == "flight" else ""
    ground = "" if comparison.ground is None else ", over the ground that both drives share"
    first = Table(
        f"Before and after{ground}{signs}", ("measure", "before", "after", "difference"), tuple(rows)
    )
    return (first, *_jump_tables(comparison, system), *_share_tables(comparison, system))


def _jump_tables(comparison: Comparison, system: System) -> tuple[Table, ...]:
    """Give the single jumps of both settings where one setting's have no mean."""
    if not any(any(change.each) for change in comparison.measures):
        return ()
    settings = (("before", comparison.before), ("after", comparison.after))
    each = [(when, as_a(JumpFit, judgement.fit).jumps) for when, judgement in settings]
    signs = "turning is + when the nose goes up"
    return tuple(jumps.jump_table(f"Every jump {when}; {signs}", made, system) for when, made in each)


def _cell(change: MeasureChange, estimate: Estimate | None, system: System) -> str:
    kind = _NAMES[change.name][1]
    if kind == "rate":
        return figures.UNKNOWN if estimate is None else amounts.bare_per_minute(estimate)
    return figures.bare(estimate, kind, system)


def _unit_of(change: MeasureChange, system: System) -> str:
    kind = _NAMES[change.name][1]
    return "a minute" if kind == "rate" else figures.label_of(kind, system)


def _share_tables(comparison: Comparison, system: System) -> tuple[Table, ...]:
    found = []
    for side, way in drives.WAY.items():
        rows = []
        for change in comparison.measures:
            if change.side != side or change.speeds is None:
                continue
            values = (change.before, change.after)
            if all(value is None or value.value == 0 for value in values):
                continue
            cells = [amounts.share(value) for value in values]
            rows.append((drives.class_text(*change.speeds, system), *cells, _share_difference(change)))
        title = (
            f"Share of the time at each speed {way}: speed in {figures.label_of('speed', system)}, time in %"
        )
        if rows:
            found.append(Table(title, ("speed", "before", "after", "difference"), tuple(rows)))
    return tuple(found)


def _share_difference(change: MeasureChange) -> str:
    if change.difference is None:
        return figures.UNKNOWN
    percent = change.difference.scaled(100.0, "1")
    text = figures.bare(percent, "ratio", "metric")
    return text if percent.value <= 0 else f"+{text}"


def reason_points(comparison: Comparison) -> Mapping[Note, Sequence[str]]:
    """Give the measures behind each reason, so that a reason that many share is said once."""
    shared: dict[Note, list[str]] = {}
    for change in comparison.measures:
        for reason in change.reasons:
            names = shared.setdefault(reason, [])
            if name_of(change) not in names:
                names.append(name_of(change))
    return shared
