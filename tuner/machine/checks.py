"""Which input is probably wrong: numbers that are possible one by one but do not fit together.

Takes a corner, or a body with its corners; gives notes that name the likely culprit. Nothing is refused here
and nothing is changed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from tuner.errors import MachineError
from tuner.estimates import Note
from tuner.machine.linkage import rest, smooth_table
from tuner.machine.mistakes import INVERTED, KGF, LBF_PER_INCH, MISTAKES, POUND, log_factor
from tuner.machine.parts import Axles, Body, Corner
from tuner.machine.rates import rate_at_wheel
from tuner.machine.sums import cg_to_front
from tuner.units import GRAVITY

USUAL_FREQUENCY = (0.8, 4.0)  # Hz, sprung mass on its spring; common practice, no source
USUAL_RATIO = (0.25, 1.2)  # damper travel over wheel travel; common practice, no source
DISAGREEMENT = (
    0.10  # beyond this two ways to the same number are said to disagree; common practice, no source
)


class _Likely(NamedTuple):
    """A mistake somebody may have made, in words, and the logarithm by which undoing it multiplies its number."""

    text: str
    key: str
    log: float

    def frequency_factor(self) -> float:
        return math.exp(self.log * {"spring_rate": 0.5, "motion_ratio": 1.0, "sprung_mass": -0.5}[self.key])

    def sag_factor(self) -> float:
        """Give what happens to the shaft travel at rest, m g / (r k)."""
        return math.exp(self.log * {"spring_rate": -1.0, "motion_ratio": -1.0, "sprung_mass": 1.0}[self.key])


def _plain(number: float) -> str:
    """Write a number with three or four digits, never with an exponent."""
    return f"{number:.0f}" if abs(number) >= 1000 else f"{number:.3g}"


# unit as it stands in the code of a mistake -> as people write it, and its size in SI
_UNITS = {
    "n-per-mm": ("N/mm", 1e3),
    "n-per-m": ("N/m", 1.0),
    "lbf-per-in": ("lbf/in", LBF_PER_INCH),
    "kgf-per-mm": ("kgf/mm", KGF * 1e3),
    "lb": ("lb", POUND),
    "kg": ("kg", 1.0),
}


def _likely(corner: Corner) -> list[_Likely]:
    """List the mistakes with the three numbers of a corner, likeliest first."""
    ratio, mass = rest(corner).ratio, corner.sprung_mass.value
    nearly_one = corner.motion_ratio.constant is None or 0.8 < ratio < 1.25
    found = []
    for mistake in MISTAKES:
        code, key = mistake.code, mistake.key
        if code.endswith("-off") or key == "tyre_rate" or (code == INVERTED and nearly_one):
            continue
        log = log_factor(mistake, ratio)
        if code == INVERTED:
            text = (
                "motion_ratio is the wrong way round (it is damper travel / wheel travel, so "
                f"{1 / ratio:.2f} instead of {ratio:.2f})"
            )
        elif code in ("mass-of-axle", "mass-of-machine"):
            whole = "a whole axle" if code == "mass-of-axle" else "the whole machine"
            text = f"sprung_mass is that of {whole}, not of one corner ({_plain(mass * math.exp(log))} kg)"
        else:
            (meant, _), (read, size) = (_UNITS[u] for u in code.partition("-in-")[2].split("-as-"))
            number = _plain(getattr(corner, key).value / size)
            text = f"{key} is in {meant} but was read as {read} ({number} {meant})"
        found.append(_Likely(text, key, log))
    return found


def likely_mistakes(corner: Corner, rate: float) -> list[str]:
    """Name up to three mistakes, each of which alone explains an unusual frequency on that wheel `rate`."""
    low, high = USUAL_FREQUENCY
    hertz = math.sqrt(rate / corner.sprung_mass.value) / (2.0 * math.pi)
    fitting = []
    for rank, suspect in enumerate(_likely(corner)):
        mended = hertz * suspect.frequency_factor()
        if low <= mended <= high:
            distance = abs(math.log(mended / math.sqrt(low * high)))
            fitting.append((0.05 * rank + distance, suspect.text))
    return [text for _, text in sorted(fitting)[:3]]


def _frequency_notes(corner: Corner) -> Iterator[Note]:
    rate = rate_at_wheel(rest(corner))
    hertz = math.sqrt(rate / corner.sprung_mass.value) / (2.0 * math.pi)
    low, high = USUAL_FREQUENCY
    if low <= hertz <= high:
        return
    mistakes = likely_mistakes(corner, rate)
    likely = (
        f"likely: {'; or '.join(mistakes)}" if mistakes else "check spring_rate, sprung_mass, motion_ratio"
    )
    yield Note(
        "frequency-unusual",
        f"corner {corner.name!r} would swing at {hertz:.2g} Hz on its spring, off-road machines do at {low:g} "
        f"to {high:g} Hz (common practice, no source); {likely}",
    )


def _ratio_notes(corner: Corner) -> Iterator[Note]:
    ratio = rest(corner).ratio
    low, high = USUAL_RATIO
    if ratio > high:
        yield Note(
            "ratio-inverted",
            f"motion_ratio of corner {corner.name!r} is {ratio:.2f}; it is damper travel / wheel travel and "
            f"usually below 1, so it may be the wrong way round ({1 / ratio:.2f})",
        )
    elif ratio < low:
        yield Note(
            "ratio-unusual",
            f"motion_ratio of corner {corner.name!r} is {ratio:.2g}, unusually small: 100 mm at the wheel would "
            f"move the damper only {100 * ratio:.1f} mm",
        )
    if corner.motion_ratio.constant is None:
        yield from _table_notes(corner)


def _table_notes(corner: Corner) -> Iterator[Note]:
    table, travel, static = corner.motion_ratio, corner.damper_travel, corner.static_travel
    what = f"the motion ratio table of corner {corner.name!r}"
    smooth = smooth_table(table)
    span = float(table.damper[-1] - table.damper[0])
    if smooth.rough or smooth.residual > max(0.02 * span, 2e-3):
        yield Note(
            "ratio-table-rough",
            f"the rows of {what} do not lie on a smooth curve, row {smooth.worst_row} is "
            f"{1000 * smooth.residual:.1f} mm off; read them again, that one first",
        )
    if table.wheel.size < 5:
        yield Note(
            "ratio-table-short",
            f"{what} has only {table.wheel.size} rows: how fast the ratio changes is hardly known from them; "
            "five or more are better",
        )
    if travel is not None and abs(span / travel.value - 1.0) > DISAGREEMENT:
        yield Note(
            "ratio-table-span",
            f"{what} covers {1000 * span:.0f} mm of damper travel, damper_travel is "
            f"{1000 * travel.value:.0f} mm; likely one of the two is wrong, or the ends were not measured",
        )
    if static is not None and not table.damper[0] <= static.value <= table.damper[-1]:
        yield Note(
            "rest-outside-table",
            f"static_travel, {1000 * static.value:.0f} mm, lies outside {what}; the ratio at its end was taken",
        )


def _sag_notes(corner: Corner) -> Iterator[Note]:
    # shaft travel at rest of a linear spring without preload
    expected = corner.sprung_mass.value * GRAVITY / (rest(corner).ratio * corner.spring_rate.value)
    travel, static = corner.damper_travel, corner.static_travel
    if static is None:
        if travel is not None and expected > travel.value:
            yield Note(
                "spring-too-soft",
                f"corner {corner.name!r} would have to compress its spring by {1000 * expected:.0f} mm to carry "
                f"its mass, its damper has {1000 * travel.value:.0f} mm of travel; likely: preload (give "
                "static_travel); or sprung_mass is that of a whole axle; or spring_rate or motion_ratio is too low",
            )
        return
    if abs(static.value / expected - 1.0) <= DISAGREEMENT:
        return
    fitting = [
        s.text
        for s in _likely(corner)
        if abs(static.value / (expected * s.sag_factor()) - 1.0) <= DISAGREEMENT
    ]
    if static.value < expected:
        fitting.insert(0, f"{1000 * (expected - static.value):.0f} mm of preload on the spring, or gas force")
    else:
        fitting.append(
            "sprung_mass is too low, or motion_ratio or spring_rate too high; preload would do the opposite"
        )
    yield Note(
        "sag-disagrees",
        f"corner {corner.name!r} rests at {1000 * static.value:.0f} mm of shaft travel, but spring_rate, "
        f"sprung_mass and motion_ratio give {1000 * expected:.0f} mm (and with it a frequency "
        f"{100 * abs(math.sqrt(expected / static.value) - 1):.0f} % off the one from the sag); "
        f"likely: {'; or '.join(fitting[:4])}",
    )


def _part_notes(corner: Corner) -> Iterator[Note]:
    where = f"of corner {corner.name!r}"
    rate = rate_at_wheel(rest(corner))
    if corner.unsprung_mass is not None and corner.unsprung_mass.value > corner.sprung_mass.value:
        yield Note(
            "unsprung-heavy",
            f"unsprung_mass {where} ({corner.unsprung_mass.value:.3g} kg) is larger than its sprung_mass "
            f"({corner.sprung_mass.value:.3g} kg); likely the two are swapped, or it is that of a whole axle",
        )
    for name, thing in (("tyre_rate", "a tyre"), ("bump_stop_rate", "a bump stop")):
        value = getattr(corner, name)
        if value is not None and value.value < rate:
            yield Note(
                f"{name.replace('_', '-')}-soft",
                f"{name} {where} is {value.value / 1000:.3g} N/mm, {thing} is usually stiffer than the wheel rate "
                f"({rate / 1000:.3g} N/mm); a number without a unit counts as N/m",
            )
    travel = corner.damper_travel
    if travel is not None and not 0.01 <= travel.value <= 1.0:
        yield Note(
            "travel-unusual",
            f"damper_travel {where} is {1000 * travel.value:.4g} mm; a number without a unit counts as metres",
        )


def check_corner(corner: Corner) -> tuple[Note, ...]:
    """Say what does not fit together in this corner, and which input is the likely culprit."""
    notes: list[Note] = []
    try:
        for check in (_ratio_notes, _frequency_notes, _sag_notes, _part_notes):
            notes.extend(check(corner))
    except MachineError as refusal:  # a corner built by hand may have no wheel rate at all
        notes.append(Note("corner-impossible", f"corner {corner.name!r}: {refusal.message}"))
    return tuple(notes)


def check_body(body: Body, axles: Axles | None, corners: Mapping[str, Corner]) -> tuple[Note, ...]:
    """Say where the body disagrees with the masses of the corners that stand for its axles."""
    if axles is None:
        return ()
    front, rear = (corners[name].sprung_mass.value for name in (axles.front, axles.rear))
    share = front / (front + rear)
    given = 1.0 - cg_to_front(body).value / body.wheelbase.value
    if abs(given - share) <= 0.05:
        return ()
    culprits = "sprung_mass of one corner; or [axles] has front and rear swapped"
    if body.cg_to_front is not None:
        culprits += "; or cg_to_front was measured from the rear axle"
    return (
        Note(
            "share-disagrees",
            f"the corners put {100 * share:.0f} % of the sprung mass in front, [body] puts {100 * given:.0f} %; "
            f"likely: {culprits}",
        ),
    )
