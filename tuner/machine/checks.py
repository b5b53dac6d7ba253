"""Which input is probably wrong: numbers that are possible one by one but do not fit together.

Takes a corner, or a body with its corners; gives notes that name the likely culprit. Nothing is refused here
and nothing is changed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from tuner.errors import MachineError
from tuner.estimates import Estimate, Note
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
    """A mistake somebody may have made, as data, and the logarithm by which undoing it multiplies its number."""

    note: Note
    key: str
    log: float

    def frequency_factor(self) -> float:
        return math.exp(self.log * {"spring_rate": 0.5, "motion_ratio": 1.0, "sprung_mass": -0.5}[self.key])

    def sag_factor(self) -> float:
        """Give what happens to the shaft travel at rest, m g / (r k)."""
        return math.exp(self.log * {"spring_rate": -1.0, "motion_ratio": -1.0, "sprung_mass": 1.0}[self.key])


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
            note = Note("mistake", case="inverted", right=1 / ratio, given=ratio)
        elif code in ("mass-of-axle", "mass-of-machine"):
            right = Estimate.exact(mass * math.exp(log), "kg")
            note = Note("mistake", case="axle" if code == "mass-of-axle" else "machine", right=right)
        else:
            (meant, _), (read, size) = (_UNITS[u] for u in code.partition("-in-")[2].split("-as-"))
            number = getattr(corner, key).value / size
            note = Note("mistake", case="unit", key=key, meant=meant, read=read, number=number)
        found.append(_Likely(note, key, log))
    return found


def likely_mistakes(corner: Corner, rate: float) -> tuple[Note, ...]:
    """Name up to three mistakes, each of which alone explains an unusual frequency on that wheel `rate`."""
    low, high = USUAL_FREQUENCY
    hertz = math.sqrt(rate / corner.sprung_mass.value) / (2.0 * math.pi)
    fitting = []
    for rank, suspect in enumerate(_likely(corner)):
        mended = hertz * suspect.frequency_factor()
        if low <= mended <= high:
            distance = abs(math.log(mended / math.sqrt(low * high)))
            fitting.append((0.05 * rank + distance, suspect.note))
    return tuple(note for _, note in sorted(fitting, key=lambda each: each[0])[:3])


def _frequency_notes(corner: Corner) -> Iterator[Note]:
    rate = rate_at_wheel(rest(corner))
    hertz = math.sqrt(rate / corner.sprung_mass.value) / (2.0 * math.pi)
    low, high = USUAL_FREQUENCY
    if low <= hertz <= high:
        return
    swings, lowest, highest = (Estimate.exact(x, "Hz") for x in (hertz, low, high))
    likely = likely_mistakes(corner, rate)
    yield Note(
        "frequency-unusual", corner=corner.name, swings=swings, low=lowest, high=highest, likely=likely
    )


def _ratio_notes(corner: Corner) -> Iterator[Note]:
    ratio = rest(corner).ratio
    low, high = USUAL_RATIO
    if ratio > high:
        yield Note("ratio-inverted", corner=corner.name, ratio=ratio)
    elif ratio < low:
        wheel = Estimate.exact(0.1, "m")
        yield Note("ratio-unusual", corner=corner.name, ratio=ratio, wheel=wheel, damper=wheel.scaled(ratio))
    if corner.motion_ratio.constant is None:
        yield from _table_notes(corner)


def _table_notes(corner: Corner) -> Iterator[Note]:
    table, travel, static = corner.motion_ratio, corner.damper_travel, corner.static_travel
    smooth = smooth_table(table)
    span = float(table.damper[-1] - table.damper[0])
    if smooth.rough or smooth.residual > max(0.02 * span, 2e-3):
        off = Estimate.exact(smooth.residual, "m")
        yield Note("ratio-table-rough", corner=corner.name, row=smooth.worst_row, off=off)
    if table.wheel.size < 5:
        yield Note("ratio-table-short", corner=corner.name, rows=table.wheel.size)
    if travel is not None and abs(span / travel.value - 1.0) > DISAGREEMENT:
        yield Note("ratio-table-span", corner=corner.name, span=Estimate.exact(span, "m"), travel=travel)
    if static is not None and not table.damper[0] <= static.value <= table.damper[-1]:
        yield Note("rest-outside-table", corner=corner.name, static=static)


def _sag_notes(corner: Corner) -> Iterator[Note]:
    # shaft travel at rest of a linear spring without preload
    expected = corner.sprung_mass.value * GRAVITY / (rest(corner).ratio * corner.spring_rate.value)
    travel, static = corner.damper_travel, corner.static_travel
    if static is None:
        if travel is not None and expected > travel.value:
            needed = Estimate.exact(expected, "m")
            yield Note("spring-too-soft", corner=corner.name, needed=needed, travel=travel)
        return
    if abs(static.value / expected - 1.0) <= DISAGREEMENT:
        return
    fitting = [
        s.note
        for s in _likely(corner)
        if abs(static.value / (expected * s.sag_factor()) - 1.0) <= DISAGREEMENT
    ]
    if static.value < expected:
        fitting.insert(
            0, Note("mistake", case="preload", preload=Estimate.exact(expected - static.value, "m"))
        )
    else:
        fitting.append(Note("mistake", case="no-preload"))
    yield Note(
        "sag-disagrees",
        corner=corner.name,
        static=static,
        expected=Estimate.exact(expected, "m"),
        off=abs(math.sqrt(expected / static.value) - 1.0),
        likely=tuple(fitting[:4]),
    )


def _part_notes(corner: Corner) -> Iterator[Note]:
    rate = rate_at_wheel(rest(corner))
    if corner.unsprung_mass is not None and corner.unsprung_mass.value > corner.sprung_mass.value:
        unsprung, sprung = corner.unsprung_mass, corner.sprung_mass
        yield Note("unsprung-heavy", corner=corner.name, unsprung=unsprung, sprung=sprung)
    wheel = Estimate.exact(rate, "N/m")
    if corner.tyre_rate is not None and corner.tyre_rate.value < rate:
        yield Note("tyre-rate-soft", corner=corner.name, rate=corner.tyre_rate, wheel=wheel)
    if corner.bump_stop_rate is not None and corner.bump_stop_rate.value < rate:
        yield Note("bump-stop-rate-soft", corner=corner.name, rate=corner.bump_stop_rate, wheel=wheel)
    travel = corner.damper_travel
    if travel is not None and not 0.01 <= travel.value <= 1.0:
        yield Note("travel-unusual", corner=corner.name, travel=travel)


def check_corner(corner: Corner) -> tuple[Note, ...]:
    """Say what does not fit together in this corner, and which input is the likely culprit."""
    notes: list[Note] = []
    try:
        for check in (_ratio_notes, _frequency_notes, _sag_notes, _part_notes):
            notes.extend(check(corner))
    except MachineError as refusal:  # a corner built by hand may have no wheel rate at all
        notes.append(Note("corner-impossible", corner=corner.name, problem=refusal.message))
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
    by_distance = body.cg_to_front is not None
    return (Note("share-disagrees", corners=share, body=given, by_distance=by_distance),)
