"""Which input is probably wrong: numbers that are possible one by one but do not fit together.

Takes a corner or a machine's body; gives notes that name the likely culprit. Uses: estimates, parts, linkage, rates, modes, sums.
Nothing is refused here and nothing is changed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from tuner.errors import MachineError
from tuner.estimates import Note
from tuner.machine.linkage import motion_ratio_at, smooth_table
from tuner.machine.parts import GRAVITY, Axles, Body, Corner
from tuner.machine.rates import spring_force_at_rest, wheel_rate

USUAL_FREQUENCY = (0.8, 4.0)  # Hz, sprung mass on its spring; common practice, no source
USUAL_RATIO = (0.25, 1.2)  # damper travel over wheel travel; common practice, no source
DISAGREEMENT = 0.10  # beyond this two ways to the same number are said to disagree
LBF_PER_INCH = 175.12683524647636  # N/m, 4.4482216152605 N / 0.0254 m
KILOGRAM_FORCE = 9.80665  # N


class _Suspect(NamedTuple):
    """A mistake that somebody may have made, and what it does to wheel rate and mass when it is undone."""

    text: str
    rate_factor: float
    mass_factor: float


def _suspects(corner: Corner, ratio: float) -> list[_Suspect]:
    rate, mass = corner.spring_rate.value, corner.sprung_mass.value
    pound = 0.45359237
    lbf_in_per_n_mm = LBF_PER_INCH / 1000.0
    return [
        _Suspect(
            f"motion_ratio is the wrong way round (damper travel / wheel travel is wanted, so {1 / ratio:.2f} "
            f"instead of {ratio:.2f})",
            ratio**-4,
            1.0,
        ),
        _Suspect(f"sprung_mass is that of the whole axle, not of one corner ({mass / 2:.0f} kg)", 1.0, 0.5),
        _Suspect(
            f"sprung_mass is that of the whole machine, not of one corner ({mass / 4:.0f} kg)", 1.0, 0.25
        ),
        _Suspect(f"spring_rate is in N/mm but was read as N/m ({rate:g} N/mm)", 1000.0, 1.0),
        _Suspect(f"spring_rate is in lbf/in but was read as N/m ({rate:g} lbf/in)", LBF_PER_INCH, 1.0),
        _Suspect(f"spring_rate is in N/m but was read as N/mm ({rate / 1000:g} N/m)", 1e-3, 1.0),
        _Suspect(
            f"spring_rate is in lbf/in but was read as N/mm ({rate / 1000:g} lbf/in)", lbf_in_per_n_mm, 1.0
        ),
        _Suspect(
            f"spring_rate is in N/mm but was read as lbf/in ({rate / LBF_PER_INCH:g} N/mm)",
            1.0 / lbf_in_per_n_mm,
            1.0,
        ),
        _Suspect(
            f"spring_rate is in kgf/mm but was read as N/mm ({rate / 1000:g} kgf/mm)", KILOGRAM_FORCE, 1.0
        ),
        _Suspect(f"sprung_mass is in lb but was read as kg ({mass:g} lb)", 1.0, pound),
        _Suspect(f"sprung_mass is in kg but was read as lb ({mass / pound:.0f} kg)", 1.0, 1.0 / pound),
    ]


def likely_mistakes(corner: Corner, rate: float) -> list[str]:
    """Name the single mistakes that would explain a frequency outside the usual range, likeliest first."""
    ratio = motion_ratio_at(corner).value
    low, high = USUAL_FREQUENCY
    middle = math.sqrt(low * high)
    found = []
    for rank, suspect in enumerate(_suspects(corner, ratio)):
        if suspect.rate_factor == ratio**-4 and 0.8 < ratio <= 1.0 / 0.8:
            continue  # the other way round is nearly the same
        hertz = math.sqrt(rate * suspect.rate_factor / (corner.sprung_mass.value * suspect.mass_factor)) / (
            2.0 * math.pi
        )
        if low <= hertz <= high:
            found.append((rank // 3 + abs(math.log(hertz / middle)), suspect.text))
    return [text for _, text in sorted(found)[:3]]


def _either(texts: list[str]) -> str:
    return "; or ".join(texts)


def _frequency_note(corner: Corner) -> Iterator[Note]:
    rate = wheel_rate(corner).value
    hertz = math.sqrt(rate / corner.sprung_mass.value) / (2.0 * math.pi)
    low, high = USUAL_FREQUENCY
    if low <= hertz <= high:
        return
    mistakes = likely_mistakes(corner, rate)
    what = (
        f"likely: {_either(mistakes)}"
        if mistakes
        else "check spring_rate, motion_ratio and sprung_mass and units"
    )
    yield Note(
        "frequency-unusual",
        f"corner {corner.name!r} would swing at {hertz:.2g} Hz, where off-road machines have {low:g} to {high:g} Hz "
        f"(common practice, no source); {what}",
    )


def _ratio_notes(corner: Corner) -> Iterator[Note]:
    ratio = motion_ratio_at(corner).value
    low, high = USUAL_RATIO
    if ratio > high:
        yield Note(
            "ratio-inverted",
            f"motion_ratio of corner {corner.name!r} is {ratio:.2f}; it is damper travel / wheel travel and usually "
            f"below 1, so it may be the wrong way round ({1 / ratio:.2f})",
        )
    elif ratio < low:
        yield Note(
            "ratio-unusual",
            f"motion_ratio of corner {corner.name!r} is {ratio:.2g}, unusually small: the damper would move only "
            f"{1000 * ratio:.0f} mm per metre of wheel travel",
        )
    table = corner.motion_ratio
    if table.constant is None:
        smooth = smooth_table(table)
        span = float(table.damper[-1] - table.damper[0])
        if smooth.residual > max(0.02 * span, 1e-3):
            yield Note(
                "ratio-table-rough",
                f"a row of the motion ratio table of corner {corner.name!r} lies {1000 * smooth.residual:.1f} mm off a smooth curve; "
                "read that row again",
            )
        if table.wheel.size < 5:
            yield Note(
                "ratio-table-short",
                f"the motion ratio table of corner {corner.name!r} has only {table.wheel.size} rows: how fast the ratio changes "
                "is hardly known from them, five or more are better",
            )
        travel = corner.damper_travel
        if travel is not None and abs(span / travel.value - 1.0) > DISAGREEMENT:
            yield Note(
                "ratio-table-span",
                f"the motion ratio table of corner {corner.name!r} covers {1000 * span:.0f} mm of damper travel, damper_travel is "
                f"{1000 * travel.value:.0f} mm",
            )
        static = corner.static_travel
        if static is not None and not table.damper[0] <= static.value <= table.damper[-1]:
            yield Note(
                "rest-outside-table",
                f"static_travel of corner {corner.name!r}, {1000 * static.value:.0f} mm, lies outside the motion ratio table; "
                "the ratio at its end was taken",
            )


def _sag_notes(corner: Corner) -> Iterator[Note]:
    force = spring_force_at_rest(corner).value
    expected = force / corner.spring_rate.value  # shaft travel of a linear spring without preload
    where = f"corner {corner.name!r}"
    if corner.static_travel is None:
        travel = corner.damper_travel
        if travel is not None and expected > travel.value:
            yield Note(
                "spring-too-soft",
                f"{where} would need {1000 * expected:.0f} mm of spring travel to hold its mass but has "
                f"{1000 * travel.value:.0f} mm of damper travel: preload (give static_travel), sprung_mass of the whole axle, or "
                "motion_ratio or spring_rate wrong",
            )
        return
    measured = corner.static_travel.value
    apart = measured / expected - 1.0
    if abs(apart) <= DISAGREEMENT:
        return
    text = (
        f"{where} rests at {1000 * measured:.0f} mm of shaft travel, spring_rate, sprung_mass and motion_ratio give "
        f"{1000 * expected:.0f} mm without preload; "
    )
    if apart < 0:
        text += (
            f"likely: {1000 * (expected - measured):.0f} mm of preload; or sprung_mass is that of the whole axle; or "
            "motion_ratio or spring_rate is too low; or gas force carries part"
        )
    else:
        text += (
            "likely: sprung_mass or motion_ratio is too low or the wrong way round; or spring_rate is too high or in the "
            "wrong unit; preload cannot explain it"
        )
    yield Note("sag-disagrees", text)


def _part_notes(corner: Corner) -> Iterator[Note]:
    where = f"of corner {corner.name!r}"
    rate = wheel_rate(corner).value
    if corner.unsprung_mass is not None and corner.unsprung_mass.value > corner.sprung_mass.value:
        yield Note(
            "unsprung-heavy",
            f"unsprung_mass {where} ({corner.unsprung_mass.value:g} kg) is larger than sprung_mass "
            f"({corner.sprung_mass.value:g} kg); likely the two are swapped, or it is that of the whole axle",
        )
    for name, why in (
        ("tyre_rate", "a tyre is stiffer than the wheel rate"),
        ("bump_stop_rate", "a bump stop is stiffer than the wheel rate"),
    ):
        value = getattr(corner, name)
        if value is not None and value.value < rate:
            yield Note(
                f"{name.replace('_', '-')}-soft",
                f"{name} {where} is {value.value / 1000:.3g} N/mm, below the wheel rate of {rate / 1000:.3g} N/mm, though {why}; "
                "a number without a unit counts as N/m",
            )
    travel = corner.damper_travel
    if travel is not None and not 0.01 <= travel.value <= 1.0:
        yield Note(
            "travel-unusual",
            f"damper_travel {where} is {travel.value:g} m; a number without a unit counts as metres",
        )


def check_corner(corner: Corner) -> tuple[Note, ...]:
    """Say what does not fit together in this corner, and which input is the likely culprit."""
    notes: list[Note] = []
    try:
        notes.extend(_ratio_notes(corner))
        notes.extend(_frequency_note(corner))
        notes.extend(_sag_notes(corner))
        notes.extend(_part_notes(corner))
    except MachineError as refusal:
        notes.append(Note("corner-impossible", f"corner {corner.name!r}: {refusal.message}"))
    return tuple(notes)


def check_body(body: Body, axles: Axles | None, corners: dict[str, Corner]) -> tuple[Note, ...]:
    """Say where the body disagrees with the corners' masses (both corners of an axle count alike)."""
    from tuner.machine.sums import cg_to_front

    if axles is None:
        return ()
    front, rear = corners[axles.front].sprung_mass.value, corners[axles.rear].sprung_mass.value
    share = front / (front + rear)
    given = 1.0 - cg_to_front(body).value / body.wheelbase.value
    if abs(given - share) <= 0.05:
        return ()
    return (
        Note(
            "share-disagrees",
            f"the corners carry {100 * share:.0f} % of the sprung mass in front, the body says {100 * given:.0f} %; "
            "likely a corner mass, or cg_to_front was measured from the rear axle",
        ),
    )


def static_deflection(corner: Corner) -> float:
    """Distance [m] the wheel would need to hold the sprung mass on its rate: m g / k_wheel."""
    return corner.sprung_mass.value * GRAVITY / wheel_rate(corner).value
