"""The vertical in a phone's axes, and the body's vertical acceleration along it.

Takes a `Phone`; gives a `Vertical`. Uses: errors, estimates, columns, phone, signals.rests.

With gravity in, the vertical is what the accelerometer reads at rest, whichever way the phone lies: a resting phone
reads gravity upwards, and makers that turn all signs round turn this one too, so + stays up. With gravity out the
vertical comes from columns of gravity (the same holds), from the setting `up_axis`, or from the line along which the
motion runs; that line has no up, so it needs the setting `start` (how the first bounce began).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from tuner.estimates import Array, Note
from tuner.reading.columns import Source
from tuner.reading.layout import AXES
from tuner.reading.phone import GRAVITY, Phone
from tuner.signals.rests import Rest

SLIP = np.radians(3.0)  # change of the direction of gravity at rest from which the phone has moved
ALONG = 0.75  # share of the motion that must run along one line when that line shall be the vertical


@dataclass(frozen=True, slots=True, eq=False)
class Vertical:
    """Vertical acceleration without gravity, + up [m/s**2], of samples [first, last) of the phone's main stream."""

    signal: Array
    first: int
    last: int
    notes: tuple[Note, ...]


def axis_of(text: str) -> Array:
    """Read "+x", "-y", "z" as a unit vector (3,)."""
    sign = -1.0 if text.startswith("-") else 1.0
    vector = np.zeros(3)
    vector[AXES.index(text.strip("+-"))] = sign
    return vector


def named(vector: Array) -> str:
    """Say where a direction lies in the phone's axes, and how far it is tilted."""
    k = int(np.argmax(np.abs(vector)))
    tilt = float(np.degrees(np.arccos(min(1.0, abs(float(vector[k]))))))
    name = ("+" if vector[k] > 0 else "-") + AXES[k]
    return f"the phone's {name} axis" + (f", tilted by {tilt:.0f} degrees" if tilt >= 1.0 else "")


def at_rest(phone: Phone) -> list[Rest]:
    """Give the rests in which the acceleration reads gravity, or nothing where gravity is out."""
    expected = GRAVITY if phone.gravity_in else 0.0
    return [r for r in phone.still if abs(float(np.linalg.norm(r.mean)) - expected) < 0.1 * GRAVITY]


def vertical_of(source: Source, phone: Phone) -> Vertical:
    """Give the vertical acceleration; raises ReadError when nothing says where up is."""
    if phone.main_name == "vertical":
        return _single(source, phone)
    if phone.gravity_in:
        return _from_rest(source, phone)
    return _gravity_out(source, phone)


def _angle(one: Array, other: Array) -> float:
    size = float(np.linalg.norm(one) * np.linalg.norm(other))
    return float(np.arccos(np.clip(float(one @ other) / size, -1.0, 1.0)))


def _from_rest(source: Source, phone: Phone) -> Vertical:
    values = phone.main.values
    rests = at_rest(phone)
    notes: list[Note] = []
    first, last = 0, len(values)
    if rests:
        first, last, inside, notes = _steady_part(phone, rests)
        weights = [r.duration for r in inside]
        rest = np.average([r.mean for r in inside], axis=0, weights=weights)
    else:
        rest = values.mean(axis=0)
        size = float(np.linalg.norm(rest))
        if abs(size / GRAVITY - 1.0) > 0.07:
            raise source.refuse(
                "must be at rest somewhere, to show where up is",
                f"nothing is, and the mean acceleration of {size:.2f} m/s**2 is not gravity",
                "Keep everything still for three seconds at the start and at the end of the recording.",
            )
        notes.append(
            Note(
                "no-rest",
                "nothing in the recording is at rest: the vertical is the mean acceleration; keep still for three "
                "seconds at the start",
            )
        )
    size = float(np.linalg.norm(rest))
    up = rest / size
    source.decided.append(f"up is {named(up)}: so gravity says at rest")
    if abs(size / GRAVITY - 1.0) > 0.03:
        notes.append(
            Note(
                "gravity-scale",
                f"at rest the phone reads {size:.2f} m/s**2 instead of 9.81: its scale is off",
            )
        )
    return Vertical(values[first:last] @ up - size, first, last, tuple(notes))


def _steady_part(phone: Phone, rests: list[Rest]) -> tuple[int, int, list[Rest], list[Note]]:
    """Find the longest part of the recording in which gravity at rest comes from one direction.

    Rests are grouped by direction. A group that lies within the time of another is the end held up or down by hand;
    groups that follow each other mean that the phone slipped. Gives first and last sample, the part's rests, and notes.
    """
    groups: list[list[Rest]] = []
    for rest in rests:
        near = [g for g in groups if _angle(max(g, key=lambda r: r.duration).mean, rest.mean) < SLIP]
        if near:
            near[0].append(rest)
        else:
            groups.append([rest])
    lasting: list[list[Rest]] = []
    for group in groups:
        if not any(
            g is not group and g[0].start < group[0].start and g[-1].end > group[-1].end for g in groups
        ):
            lasting.append(group)
    time = phone.main.time
    if len(lasting) == 1:
        return 0, len(time), lasting[0], []
    parts = []
    for k, group in enumerate(lasting):
        begin = 0 if k == 0 else group[0].first
        end = len(time) if k == len(lasting) - 1 else min(group[-1].last, lasting[k + 1][0].first)
        parts.append((begin, max(end, begin)))
    best = max(range(len(parts)), key=lambda k: parts[k][1] - parts[k][0])
    begin, end = parts[best]
    moved = "; ".join(
        f"by {np.degrees(_angle(a[-1].mean, b[0].mean)):.0f} degrees before {b[0].start:.1f} s"
        for a, b in itertools.pairwise(lasting[:6])
    )
    text = (
        f"the phone slipped: the direction of gravity at rest changed {moved}; only the part from {time[begin]:.1f} to "
        f"{time[end - 1]:.1f} s is used"
    )
    return begin, end, [r for r in lasting[best] if r.first < end], [Note("phone-slipped", text)]


def _gravity_out(source: Source, phone: Phone) -> Vertical:
    values = phone.main.values
    notes: list[Note] = []
    asked = source.options.choice("up_axis")
    if asked.strip("+-"):
        up = axis_of(asked)
        source.decided.append(f"up is the phone's {asked} axis, as the settings say")
    elif "gravity" in phone.streams:
        gravity = phone.streams["gravity"].values
        mean = np.median(gravity, axis=0)
        up = mean / np.linalg.norm(mean)
        spread = float(
            np.degrees(np.median([_angle(mean, g) for g in gravity[:: max(1, len(gravity) // 2000)]]))
        )
        if spread > 10.0:
            notes.append(Note("phone-turned", f"the columns of gravity turn about by {spread:.0f} degrees"))
        source.decided.append(f"up is {named(up)}: so the columns of gravity say")
    else:
        up = _dominant(source, phone)
    signal = values @ up
    signal = signal - _zero(signal, phone)
    return Vertical(signal, 0, len(signal), tuple(notes))


def _zero(signal: Array, phone: Phone) -> float:
    """Give what the signal reads at rest."""
    quiet = at_rest(phone)
    if not quiet:
        return float(np.median(signal))
    return float(
        np.average([signal[r.first : r.last].mean() for r in quiet], weights=[r.duration for r in quiet])
    )


def _dominant(source: Source, phone: Phone) -> Array:
    """Line of the strongest motion; its sign from how the first bounce began."""
    values = phone.main.values - np.median(phone.main.values, axis=0)
    size, lines = np.linalg.eigh(values.T @ values)
    share = float(size[-1] / size.sum())
    hint = (
        "Record with gravity in (the plain accelerometer), or say which axis of the phone points up "
        "(--set up_axis=+z), or how the first bounce began (--set start=push or start=lift)."
    )
    if share < ALONG:
        raise source.refuse(
            "must show where up is",
            f"gravity was taken out of it, and only {share:.0%} of the motion runs along one line",
            hint,
        )
    start = source.options.choice("start")
    line = np.asarray(lines[:, -1])
    if not start:
        name = named(line).replace("+", "").replace("-", "")
        raise source.refuse(
            "must show where up is",
            f"gravity was taken out of it; the motion runs along {name}, but either end can be up",
            hint,
        )
    up = line * _sign_of_start(source, values @ line, phone, start)
    source.decided.append(
        f"up is {named(up)}: the motion runs along that line ({share:.0%}), and the first bounce began with a {start}"
    )
    return up


def _sign_of_start(source: Source, signal: Array, phone: Phone, start: str) -> float:
    """Sign that makes the first bounce begin as it was said: after a push the first strong swing is up."""
    from tuner.signals.bounces import find_bounces

    seen = find_bounces(phone.main.time, signal, "acceleration")
    whole = [b for b in seen.used if not b.cut_off]
    if not whole:
        raise source.refuse("must hold a whole bounce, from the release on", "none was found")
    wanted = 1.0 if start == "push" else -1.0
    return wanted * (1.0 if whole[0].strength > 0 else -1.0)


def _single(source: Source, phone: Phone) -> Vertical:
    """One column that is said to be the vertical."""
    from tuner.reading.header import tokens_of

    signal = phone.main.values[:, 0]
    role = next(r for r in ("vertical", "acceleration_z") if source.has(r))
    name = source.use(role).name
    if phone.gravity_in:
        rests = at_rest(phone)
        rest = (
            float(np.average([r.mean[0] for r in rests], weights=[r.duration for r in rests]))
            if rests
            else float(signal.mean())
        )
        turned = -1.0 if rest < 0 else 1.0
        source.decided.append(
            f"column {name!r} is the vertical with gravity in, so + is {'up' if rest > 0 else 'down'}"
        )
        return Vertical(turned * signal - abs(rest), 0, len(signal), ())
    asked = source.options.choice("up_axis")
    words = set(tokens_of(name))
    if asked:
        sign, why = (-1.0 if asked.startswith("-") else 1.0), "as the settings say"
    elif {"up", "upward", "upwards", "oben", "haut", "arriba"} & words:
        sign, why = 1.0, "as its name says"
    elif {"down", "downward", "downwards", "unten", "bas", "abajo"} & words:
        sign, why = -1.0, "as its name says"
    elif source.options.choice("start"):
        sign, why = (
            _sign_of_start(source, signal, phone, source.options.choice("start")),
            "as the first bounce began",
        )
    else:
        raise source.refuse(
            "must say which way is up",
            f"column {name!r} holds one axis without gravity, and no word says its sign",
            "Say --set up_axis=+z (or -z), or how the first bounce began: --set start=push or start=lift.",
        )
    source.decided.append(f"column {name!r} is the vertical, + {'up' if sign > 0 else 'down'}, {why}")
    return Vertical(sign * (signal - _zero(signal, phone)), 0, len(signal), ())
