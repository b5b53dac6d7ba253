"""What else could explain a difference: named one by one, with a stable code and the numbers.

Takes two fits; gives notes.

Codes: oil-temperature, oil-temperature-unknown, stroke, gas-pressure, gas-force, friction, speed-range,
no-overlap, dead-stroke, different-kinds, sampling-rate, quality, fade, several-changes,
spring-changed, frequency-shift; between two dampers settings-differ. Thresholds are common practice without a source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np

from tuner.estimates import Estimate, Note
from tuner.fitting.results import DampingFit, Fit, measured_of_corner
from tuner.judging import USUAL_SPEED
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
        yield Note("oil-temperature-unknown", when=labels.first if other is None else labels.second)
        return
    if abs(other - one) < WARMER:
        return
    viscosity = _given(before, "viscosity")
    factor = thinning(one, other, _given(after, "viscosity") if viscosity is None else viscosity)
    by_side: dict[str, Any] = {
        side: _leak_share(before, side, USUAL_SPEED) * (factor - 1.0) for side in SIDES
    }
    yield Note("oil-temperature", **_pair(one, other, "K", labels), **by_side)


def _numbers(before: Fit, after: Fit, labels: Labels) -> Iterator[Note]:
    for name, unit in (("stroke", "m"), ("gas_pressure", "Pa")):
        one, other = _given(before, name), _given(after, name)
        if (
            one is None
            or other is None
            or max(one, other) <= 0
            or abs(one - other) <= UNLIKE * max(one, other)
        ):
            continue
        given = _pair(one, other, unit, labels)
        yield Note("stroke", **given) if name == "stroke" else Note("gas-pressure", **given)


def _pair(one: float, other: float, unit: str, labels: Labels) -> dict[str, Any]:
    """Give two exact quantities as facts, with what the two are called."""
    pair = {"one": Estimate.exact(one, unit), "other": Estimate.exact(other, unit)}
    return {**pair, **labels._asdict()}


def _apart(one: Estimate | None, other: Estimate | None, share: float) -> bool:
    """Say whether two intervals are disjoint and the values differ by more than `share` of the larger."""
    if one is None or other is None:
        return False
    if one.low <= other.high and other.low <= one.high:
        return False
    return abs(one.value - other.value) > share * max(abs(one.value), abs(other.value))


def _forces(before: Fit, after: Fit, labels: Labels) -> Iterator[Note]:
    if not (isinstance(before, DampingFit) and isinstance(after, DampingFit)):
        return
    names: dict[str, Any] = labels._asdict()
    if _apart(before.gas_force, after.gas_force, GAS_UNLIKE):
        yield Note("gas-force", one=before.gas_force, other=after.gas_force, **names)
    if _apart(before.friction, after.friction, GAS_UNLIKE):
        yield Note("friction", one=before.friction, other=after.friction, **names)


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
            yield Note("no-overlap", side=side, first=labels.first, second=labels.second)
            continue
        alone = tuple(
            Note("speeds-alone", speeds=tuple(Estimate.exact(v, "m/s") for v in sorted(speeds)), when=when)
            for when, speeds in ((labels.first, first - second), (labels.second, second - first))
            if speeds
        )
        yield Note("speed-range", side=side, alone=alone)


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
            names: dict[str, Any] = labels._asdict()
            yield Note("dead-stroke", side=side, one=pair[0], other=pair[1], **names)


def _recording(before: Fit, after: Fit, labels: Labels) -> Iterator[Note]:
    if before.kind != after.kind:
        names: dict[str, Any] = labels._asdict()
        yield Note("different-kinds", one=before.kind, other=after.kind, **names)
    rates = [[p.rate_hz for p in fit.inputs if p.rate_hz is not None] for fit in (before, after)]
    if all(rates):
        one, other = float(np.median(rates[0])), float(np.median(rates[1]))
        if max(one, other) > 2.0 * min(one, other):
            yield Note("sampling-rate", **_pair(one, other, "Hz", labels))
    doubts = [{note.code: note for q in fit.quality for note in q.notes} for fit in (before, after)]
    for when, own, others in ((labels.first, doubts[0], doubts[1]), (labels.second, doubts[1], doubts[0])):
        alone = tuple(note for code, note in own.items() if code not in others)
        if alone:
            yield Note("quality", when=when, doubts=alone)
    for when, fit in ((labels.first, before), (labels.second, after)):
        fade = fit.fade if isinstance(fit, DampingFit) else None
        if fade is not None and abs(fade.value) > FADED and not fade.contains(0.0):
            yield Note("fade", when=when, drift=fade)


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
        yield Note("frequency-shift", one=one, other=other, first=labels.first, second=labels.second)


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
        found.append(Note("settings-differ", settings=tuple(settings)))
    if labels is None and len(settings) > 1:
        found.append(Note("several-changes", settings=tuple(settings)))
    if labels is None and "spring" in settings:
        found.append(Note("spring-changed"))
    return tuple(found)


def goes_with(before: Fit, after: Fit) -> frozenset[str]:
    """Give the codes of what follows from letting oil out, or filling some in, and so is no other cause of the change.

    Less oil is known by its noted quantity, or by a new dead stroke together with less gas pressure or gas force (more
    of it the other way round): then pressure, gas force and dead stroke belong to the change.
    """
    volume = _order(_given(before, "oil_volume"), _given(after, "oil_volume"), UNLIKE)
    pressure = _order(_given(before, "gas_pressure"), _given(after, "gas_pressure"), UNLIKE)
    one, other = (fit.gas_force if isinstance(fit, DampingFit) else None for fit in (before, after))
    force = 0
    if one is not None and other is not None and _apart(one, other, GAS_UNLIKE):
        force = 1 if other.value > one.value else -1
    pairs = [(before.side(side).dead_stroke, after.side(side).dead_stroke) for side in SIDES]
    came = any(has_dead_stroke(late) and not has_dead_stroke(early) for early, late in pairs)
    went = any(cured(early, late) for early, late in pairs)
    ways = {way for way in (pressure, force) if way}
    by_stroke = -1 if came and not went else 1 if went and not came else 0
    way = volume or (by_stroke if by_stroke in ways else 0)
    if not way or -way in ways or by_stroke == -way:
        return frozenset()
    return frozenset({"gas-pressure", "gas-force", "dead-stroke"})


def _order(one: float | None, other: float | None, share: float) -> int:
    """Say whether the second is more (1) or less (-1) than the first by over `share`; 0 where that is not known."""
    if one is None or other is None or abs(one - other) <= share * max(abs(one), abs(other)):
        return 0
    return 1 if other > one else -1


def unknown_conditions(before: Fit, after: Fit) -> tuple[Note, ...]:
    """Say which important condition nobody noted on either side."""
    if all(_given(fit, "temperature") is None for fit in (before, after)):
        return (Note("oil-temperature-not-noted"),)
    return ()
