"""What else could explain a difference: named one by one, with a stable code and the numbers.

Takes two fits; gives notes. Uses: estimates, laws, records, fitting.results, judging.

Codes: oil-temperature, oil-temperature-unknown, stroke, gas-pressure, gas-force, friction, speed-range,
no-overlap, dead-stroke, different-kinds, sampling-rate, quality, fade, several-changes,
spring-changed, frequency-shift; between two dampers settings-differ. Thresholds are common practice without a source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from tuner.estimates import NORMAL_95, Estimate, Note
from tuner.fitting.results import DampingFit, Fit, measured_of_corner
from tuner.judging import USUAL_SPEED
from tuner.kinds import NAMES
from tuner.laws import LeakOrifice
from tuner.records import SIDES, Conditions, Side

WARMER = 3.0  # K from which a difference of oil temperature is named
UNLIKE = 0.05  # share by which strokes, pressures, frequencies may differ unnamed
GAS_UNLIKE = 0.10  # share by which gas force and friction may differ unnamed
DEAD_STROKE = 0.001  # m from which a dead stroke counts as present
FADED = 0.05  # share of force lost within one test
ZERO_CELSIUS = 273.15

# slope B of log10 log10(nu + 0.7) = A - B log10 T (ASTM D341), nu in mm^2/s, T in K, of a mineral oil with
# 32 mm^2/s at 40 degC and 5.4 at 100 degC; suspension oils with a higher viscosity index thin less
WALTHER_SLOPE = 3.746578
USUAL_VISCOSITY = 32e-6  # m**2/s at 40 degC, where nobody noted one: thicker oil thins more


class Labels(NamedTuple):
    """What the two are called in sentences."""

    first: str = "before"
    second: str = "after"


def _given(fit: Fit, name: str) -> float | None:
    """Mean of a condition over the runs that note it."""
    known = [v for c in fit.conditions if (v := getattr(c, name)) is not None]
    return float(np.mean(known)) if known else None


def thinning(first: float, second: float, viscosity: float | None = None) -> float:
    """Viscosity at `second` over that at `first` [K], Walther / ASTM D341; `viscosity` at 40 degC [m**2/s]."""
    at_40 = 1e6 * (USUAL_VISCOSITY if viscosity is None else viscosity)
    level = math.log10(math.log10(at_40 + 0.7)) + WALTHER_SLOPE * math.log10(40.0 + ZERO_CELSIUS)

    def walther(kelvin: float) -> float:
        return math.pow(10.0, math.pow(10.0, level - WALTHER_SLOPE * math.log10(kelvin))) - 0.7

    return walther(second) / walther(first)


def _leak_share(fit: Fit, side: Side, speed: float) -> float:
    """Share of the force that follows viscosity: from the fitted leak and orifice, else all of it."""
    law = fit.side(side).law
    if not isinstance(law, LeakOrifice):
        return 1.0
    leak, orifice = max(law.a, 0.0), max(law.b, 0.0)
    return leak / (leak + orifice * speed) if leak + orifice * speed > 0 else 1.0


def _temperature(before: Fit, after: Fit, labels: Labels) -> Iterator[Note]:
    one, other = _given(before, "temperature"), _given(after, "temperature")
    if one is None and other is None:
        return
    if one is None or other is None:
        when = labels.first if other is None else labels.second
        yield Note(
            "oil-temperature-unknown",
            f"the oil temperature is known only {when}: a warm damper against a cold one looks like a change",
        )
        return
    if abs(other - one) < WARMER:
        return
    viscosity = _given(before, "viscosity")
    factor = thinning(one, other, _given(after, "viscosity") if viscosity is None else viscosity)
    parts = []
    for side in SIDES:
        share = _leak_share(before, side, USUAL_SPEED)
        parts.append(f"{abs(100 * share * (factor - 1.0)):.0f} % in {side}")
    yield Note(
        "oil-temperature",
        f"the oil was at {one - ZERO_CELSIUS:.0f} degC {labels.first} and {other - ZERO_CELSIUS:.0f} degC "
        f"{labels.second}; that alone can {'weaken' if factor < 1.0 else 'strengthen'} the damping by anything up to "
        f"{' and '.join(parts)} (a leak follows the oil's viscosity, an orifice does not)",
    )


def _numbers(before: Fit, after: Fit, labels: Labels) -> Iterator[Note]:
    shown: tuple[tuple[str, str, str, float, str], ...] = (
        ("stroke", "stroke", "stroke", 1e3, "mm"),
        ("gas_pressure", "gas-pressure", "gas pressure", 1e-5, "bar"),
    )
    for name, code, words, scale, unit in shown:
        one, other = _given(before, name), _given(after, name)
        if (
            one is None
            or other is None
            or max(one, other) <= 0
            or abs(one - other) <= UNLIKE * max(one, other)
        ):
            continue
        yield Note(
            code,
            f"the {words} was {one * scale:.3g} {unit} {labels.first} and {other * scale:.3g} {unit} {labels.second}",
        )


def _apart(one: Estimate | None, other: Estimate | None, share: float) -> bool:
    """Say whether two intervals are disjoint and the values differ by more than `share` of the larger."""
    if one is None or other is None:
        return False
    if one.low <= other.high and other.low <= one.high:
        return False
    return abs(one.value - other.value) > share * max(abs(one.value), abs(other.value))


def _interval(estimate: Estimate, unit: str) -> str:
    """Write an estimate in `unit` with its interval: "182 N (181 to 183)"."""
    places = 0 if unit == "N" else 1
    value, low, high = (f"{x:.{places}f}" for x in (estimate.value, estimate.low, estimate.high))
    return f"{value} {unit} ({low} to {high} {unit})"


def _forces(before: Fit, after: Fit, labels: Labels) -> Iterator[Note]:
    if not (isinstance(before, DampingFit) and isinstance(after, DampingFit)):
        return
    gas, friction = (before.gas_force, after.gas_force), (before.friction, after.friction)
    for code, words, (one, other), cause in (
        ("gas-force", "gas force", gas, "another pressure, oil quantity or position"),
        ("friction", "friction", friction, "seals, side load or alignment"),
    ):
        if one is not None and other is not None and _apart(one, other, GAS_UNLIKE):
            yield Note(
                code,
                f"the {words} was {_interval(one, 'N')} {labels.first} and {_interval(other, 'N')} "
                f"{labels.second}: {cause}",
            )


def _speeds(before: Fit, after: Fit, labels: Labels) -> Iterator[Note]:
    if "bounce" in (before.kind, after.kind):  # compared by its ratio, not at speeds
        return
    for side in SIDES:
        one, other = before.side(side), after.side(side)
        if not (one.seen and other.seen):
            continue
        first, second = {s.speed for s in one.secant}, {s.speed for s in other.secant}
        if not first or not second or first == second:
            continue
        if not first & second:
            yield Note(
                "no-overlap",
                f"no reference speed was tested in {side} both {labels.first} and {labels.second}",
            )
            continue
        alone = [(labels.first, first - second), (labels.second, second - first)]
        said = [f"{', '.join(f'{v:g}' for v in sorted(vs))} m/s only {when}" for when, vs in alone if vs]
        yield Note(
            "speed-range", f"tested in {side} at {' and '.join(said)}; only the shared speeds are compared"
        )


def has_dead_stroke(length: Estimate | None) -> bool:
    """Say whether a dead stroke [m] is there for certain, and long enough to matter."""
    return length is not None and length.value >= DEAD_STROKE and length.low > 0.0


def cured(before: Estimate | None, after: Estimate | None) -> bool:
    """Say whether a dead stroke [m] was there before and is for certain too short to matter now."""
    return has_dead_stroke(before) and after is not None and after.high < DEAD_STROKE


def _dead_stroke(before: Fit, after: Fit, labels: Labels) -> Iterator[Note]:
    for side in SIDES:
        pair = before.side(side).dead_stroke, after.side(side).dead_stroke
        here = [has_dead_stroke(d) for d in pair]
        differs = here[0] != here[1] or (all(here) and _apart(pair[0], pair[1], GAS_UNLIKE))
        if differs:
            lengths = ["unknown" if d is None else _interval(d.scaled(1e3, "mm"), "mm") for d in pair]
            yield Note(
                "dead-stroke",
                f"dead stroke in {side}: {lengths[0]} {labels.first}, {lengths[1]} {labels.second}; where it is, the "
                "damping at low speed mixes it with the oil's resistance",
            )


def _recording(before: Fit, after: Fit, labels: Labels) -> Iterator[Note]:
    if before.kind != after.kind:
        yield Note(
            "different-kinds",
            f"the record {labels.first} is a {NAMES[before.kind]}, {labels.second} a "
            f"{NAMES[after.kind]}: part of a difference may come from the way of measuring",
        )
    rates = [[p.rate_hz for p in fit.inputs if p.rate_hz is not None] for fit in (before, after)]
    if all(rates):
        one, other = float(np.median(rates[0])), float(np.median(rates[1]))
        if max(one, other) > 2.0 * min(one, other):
            yield Note(
                "sampling-rate",
                f"sampled at {one:.0f} Hz {labels.first} and {other:.0f} Hz {labels.second}",
            )
    doubts = [{note.code: note.text for q in fit.quality for note in q.notes} for fit in (before, after)]
    for when, own, others in ((labels.first, doubts[0], doubts[1]), (labels.second, doubts[1], doubts[0])):
        alone = [text for code, text in own.items() if code not in others]
        if alone:
            yield Note("quality", f"only the recording {when} has a doubt: {'; '.join(alone)}")
    for when, fit in ((labels.first, before), (labels.second, after)):
        fade = fit.fade if isinstance(fit, DampingFit) else None
        if fade is not None and abs(fade.value) > FADED and not fade.contains(0.0):
            yield Note(
                "fade", f"the damping drifted by {100 * fade.value:+.0f} % within the test {when}: heat"
            )


def _settings(before: Fit, after: Fit) -> list[str]:
    """Name what was set differently, as far as both sides say it; oil and its viscosity count as one.

    Gas pressure is named by itself: it follows from the oil quantity.
    """

    def said(fit: Fit, name: str) -> set[object]:
        blank = getattr(Conditions(), name)
        return {v for c in fit.conditions if (v := getattr(c, name)) != blank}

    def differs(name: str) -> bool:
        one, other = said(before, name), said(after, name)
        return bool(one) and bool(other) and one != other

    groups = {
        "oil": ("oil", "viscosity"),
        "oil quantity": ("oil_volume",),
        "clicks": ("clicks",),
        "shims": ("shims",),
        "spring": ("spring",),
    }
    return [words for words, names in groups.items() if any(differs(name) for name in names)]


def _corner(before: Fit, after: Fit, labels: Labels) -> Iterator[Note]:
    one, other = (measured_of_corner(fit).get("frequency") for fit in (before, after))
    if one is not None and other is not None and _apart(one, other, UNLIKE):
        yield Note(
            "frequency-shift",
            f"the corner swung at {one.value:.2f} ± {NORMAL_95 * one.sd:.2f} Hz {labels.first} and "
            f"{other.value:.2f} ± {NORMAL_95 * other.sd:.2f} Hz {labels.second}: spring, "
            "load or tyre pressure changed as well",
        )


def confounders(before: Fit, after: Fit, *, labels: Labels | None = None) -> tuple[Note, ...]:
    """Name everything but the change itself that could make the two differ; empty when nothing is known of.

    Two runs of one damper are called before and after; with `labels` they are two dampers, which are expected
    to be set alike.
    """
    names = Labels() if labels is None else labels
    found: list[Note] = []
    for look in (_temperature, _numbers, _forces, _speeds, _dead_stroke, _recording, _corner):
        found += look(before, after, names)
    settings = _settings(before, after)
    if labels is not None and settings:
        found.append(Note("settings-differ", f"the two dampers were not set alike: {', '.join(settings)}"))
    if labels is None and len(settings) > 1:
        found.append(
            Note(
                "several-changes",
                f"{', '.join(settings)} were changed at once: the comparison cannot say which of them did it",
            )
        )
    if labels is None and "spring" in settings:
        found.append(
            Note(
                "spring-changed",
                "the spring was changed as well; both damping ratios are for the corner as given",
            )
        )
    return tuple(found)


def unknown_conditions(before: Fit, after: Fit) -> tuple[Note, ...]:
    """Say which important condition nobody noted on either side."""
    if all(_given(fit, "temperature") is None for fit in (before, after)):
        text = (
            "nobody noted the oil temperature; test at the same one, or note it, because warm oil damps less"
        )
        return (Note("oil-temperature-not-noted", text),)
    return ()
