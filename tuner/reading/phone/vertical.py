"""The vertical in a phone's axes, and the body's vertical acceleration along it.

Takes a `Phone`; gives a `Vertical`.

With gravity in, the vertical is what the accelerometer reads at rest, whichever way the phone lies: a resting phone
reads gravity upwards, and makers that turn all signs round turn this one too, so + stays up. With gravity out the
vertical comes from columns of gravity (the same holds), from the setting `up_axis`, or from the line along which the
motion runs; that line has no up, so it needs the setting `start` (how the first bounce began).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from tuner.estimates import Array, Estimate, Note
from tuner.reading.phone.gravity import up_without_gravity
from tuner.reading.phone.orientation import angle, at_rest, named, sign_of_start, zero_of
from tuner.reading.phone.sensors import Phone
from tuner.reading.table.columns import Source
from tuner.reading.table.heading import tokens_of
from tuner.signals.rests import Rest
from tuner.units import GRAVITY

UPRIGHT = 0.04  # of gravity that a single axis may lack
SLIP = np.radians(3.0)  # change of the direction of gravity at rest from which the phone has moved


@dataclass(frozen=True, slots=True, eq=False)
class Vertical:
    """Vertical acceleration without gravity, + up [m/s**2], of samples [first, last) of the phone's main stream."""

    signal: Array
    first: int
    last: int
    notes: tuple[Note, ...]
    sensors: tuple[str, ...] = ()  # other sensors that told the vertical


def vertical_of(source: Source, phone: Phone) -> Vertical:
    """Give the vertical acceleration; raises ReadError when nothing says where up is."""
    if phone.main_name == "vertical":
        return _single(source, phone)
    if phone.gravity_in:
        return _from_rest(source, phone)
    up, notes, sensors = up_without_gravity(source, phone)
    signal = phone.main.values @ up
    return Vertical(signal - zero_of(signal, phone), 0, len(signal), tuple(notes), sensors)


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
        notes.append(Note("no-rest"))
    size = float(np.linalg.norm(rest))
    up = rest / size
    source.decided.append(f"up is {named(up)}: so gravity says at rest")
    unneeded = [name for name in ("start", "up_axis") if source.options.choice(name)]
    if unneeded:
        source.decided.append(
            f"not needed, as gravity tells which way is up: the setting {' and '.join(unneeded)}"
        )
    if abs(size / GRAVITY - 1.0) > 0.03:
        read, gravity = (Estimate.exact(each, "m/s**2") for each in (size, GRAVITY))
        notes.append(Note("gravity-scale", read=read, gravity=gravity))
    return Vertical(values[first:last] @ up - size, first, last, tuple(notes))


def _steady_part(phone: Phone, rests: list[Rest]) -> tuple[int, int, list[Rest], list[Note]]:
    """Find the longest part of the recording in which gravity at rest comes from one direction.

    Rests are grouped by direction. A group that lies within the time of another is the end held up or down by hand;
    groups that follow each other mean that the phone slipped. Gives first and last sample, the part's rests, and notes.
    """
    groups: list[list[Rest]] = []
    for rest in rests:
        near = [g for g in groups if angle(max(g, key=lambda r: r.duration).mean, rest.mean) < SLIP]
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
    slips = tuple(
        Note(
            "slip",
            by=Estimate.exact(float(angle(a[-1].mean, b[0].mean)), "rad"),
            before=Estimate.exact(float(b[0].start), "s"),
        )
        for a, b in itertools.pairwise(lasting[:6])
    )
    first, last = (Estimate.exact(float(time[i]), "s") for i in (begin, end - 1))
    slipped = Note("phone-slipped", slips=slips, first=first, last=last)
    return begin, end, [r for r in lasting[best] if r.first < end], [slipped]


def _single(source: Source, phone: Phone) -> Vertical:
    """One column that is said to be the vertical."""
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
        if abs(abs(rest) / GRAVITY - 1.0) > UPRIGHT:
            raise source.refuse(
                "must hold the vertical acceleration, as it has one axis only",
                f"column {name!r} reads {rest:.2f} m/s**2 at rest instead of 9.81: that axis is tilted",
                "Record all three axes, or lay the phone flat.",
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
            sign_of_start(source, signal, phone, source.options.choice("start")),
            "as the first bounce began",
        )
    else:
        raise source.refuse(
            "must say which way is up",
            f"column {name!r} holds one axis without gravity, and no word says its sign",
            "Say --set up_axis=+z (or -z), or how the first bounce began: --set start=push or start=lift.",
        )
    source.decided.append(f"column {name!r} is the vertical, + {'up' if sign > 0 else 'down'}, {why}")
    return Vertical(sign * (signal - zero_of(signal, phone)), 0, len(signal), ())
