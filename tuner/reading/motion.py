"""What a recording of motion shows: a bounce, a drive or a jump, told by its content and never guessed.

Takes a `Source` with its columns; gives the kind and why, or refuses with the choices. Uses: errors, columns, phone,
sensor, vertical, signals.

A jump has a stretch in which the specific force is about zero. A bounce rings down between rests, within seconds. A
drive moves on for long.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuner.errors import ReadError
from tuner.estimates import Array, Note
from tuner.reading.columns import Source, match
from tuner.reading.layout import three_axes
from tuner.reading.phone import GRAVITY, Phone, read_phone
from tuner.reading.sensor import READINGS, read_sensor
from tuner.reading.vertical import resting
from tuner.records import Kind
from tuner.signals.airtimes import Airtime, find_airtimes
from tuner.signals.rests import Rest

LONG_AIR = 0.25  # s: a drop from the hand's height is shorter, a jump longer
SHORT_BURST, LONG_DRIVE = 7.0, 12.0  # s of motion without rest: at most a bounce, at least a drive
STRONG = 1.5  # m/s**2: weaker motion is no bounce
MOST_ROWS = 400_000  # looked at to tell a drive from a bounce


@dataclass(frozen=True, slots=True)
class Shown:
    """What a phone's recording shows: airtimes, bounces between rests, and the longest motion without rest [s]."""

    airs: tuple[Airtime, ...]
    rings: int
    longest: float
    still: float  # share of the time at rest


def _bursts(time: Array, rests: tuple[Rest, ...] | list[Rest]) -> list[tuple[float, float]]:
    """Stretches of motion: between rests and at both ends, from and to [s]."""
    edges = [float(time[0])]
    for rest in rests:
        edges += [rest.start, rest.end]
    edges.append(float(time[-1]))
    return [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > 0.15]


def shown_by(phone: Phone) -> Shown:
    """Look at a phone's recording; with gravity out, an airtime is where the acceleration reads gravity for long."""
    time, values = phone.main.time, phone.main.values
    rests: list[Rest]
    airs: tuple[Airtime, ...] = ()
    if phone.gravity_in:
        rests = resting(phone)
        if values.shape[1] == 3:
            airs = tuple(a for a in find_airtimes(time, values) if a.duration >= LONG_AIR)
        size = np.linalg.norm(values, axis=1) - GRAVITY
    else:
        rests = [r for r in phone.still if float(np.linalg.norm(r.mean)) < 0.15 * GRAVITY]
        size = np.linalg.norm(values, axis=1)
    rings = loose = 0
    longest = 0.0
    for start, end in _bursts(time, rests):
        longest = max(longest, end - start)
        inside = (time >= start) & (time <= end)
        if end - start > SHORT_BURST or any(a.start < end and a.end > start for a in airs):
            continue
        if inside.any() and float(np.max(np.abs(_smooth(size[inside])))) >= STRONG:
            if start > time[0] and end < time[-1]:
                rings += 1
            elif rests:
                loose += 1
    if not airs:
        rings += loose  # a bounce that the recording cuts off at one end
    still = sum(r.duration for r in rests) / max(float(time[-1] - time[0]), 1e-9)
    return Shown(airs, rings, longest, still)


def _smooth(values: Array) -> Array:
    """Three-sample means, so that one bad sample is no motion."""
    if values.size < 3:
        return values
    return (values[:-2] + values[1:-1] + values[2:]) / 3.0


def _ask(source: Source, found: str, *kinds: Kind) -> ReadError:
    return source.refuse(
        f"must show whether it is a {' or a '.join(kinds)}",
        found,
        "Say it with " + " or ".join(f"--kind {k}" for k in kinds) + ".",
    )


def kind_by_phone(source: Source) -> tuple[Kind, str]:
    """Tell a jump from a bounce; raises ReadError with the choice when the recording shows both or neither."""
    other = match(source.sheet.table, ("travel", "time"), source.options)
    if "travel" in other.roles and other.headings[other.roles["travel"]].unit("length"):
        name = source.sheet.table.names[other.roles["travel"]]
        if not three_axes(source.matched, "rotation"):
            raise _ask(
                source,
                f"it has accelerations and a travel sensor in column {name!r}",
                "bounce",
                "travel",
                "flight",
            )
    phone = read_phone(source)
    shown = shown_by(phone)
    airs = ", ".join(f"{a.duration:.2f} s at {a.start:.1f} s" for a in shown.airs[:3])
    if shown.airs and shown.rings <= 1:
        return (
            "flight",
            f"nothing but {_times(len(shown.airs), 'airtime')} makes the specific force vanish ({airs})",
        )
    if shown.airs:
        raise _ask(
            source,
            f"it holds {_times(len(shown.airs), 'airtime')} ({airs}) and {_times(shown.rings, 'bounce')} between rests",
            "bounce",
            "flight",
        )
    if shown.rings:
        return "bounce", f"{_times(shown.rings, 'short motion')} between rests, and no airtime"
    raise _ask(
        source,
        f"it shows neither an airtime nor a bounce between rests ({shown.still:.0%} of it is at rest, the longest "
        f"motion lasts {shown.longest:.0f} s)",
        "bounce",
        "flight",
    )


def kind_by_sensor(source: Source) -> tuple[Kind, str]:
    """Tell a drive from a bounce in a travel sensor's recording; refuses with the choice when neither shows."""
    trace = read_sensor(source)
    time = trace.stream.time
    bursts = _bursts(time, trace.rests)
    longest = max((b - a for a, b in bursts), default=0.0)
    if bursts and longest <= SHORT_BURST and trace.rests:
        return (
            "bounce",
            f"{_times(len(bursts), 'short motion')} of the shaft between rests, the longest {longest:.1f} s",
        )
    if longest >= LONG_DRIVE:
        return "travel", f"the shaft moves for {longest:.0f} s without rest"
    raise _ask(source, f"the shaft's longest motion without rest lasts {longest:.1f} s", "bounce", "travel")


def _times(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def check_bounce(source: Source, phone: Phone, time: Array, signal: Array) -> list[Note]:
    """Refuse a jump that was called a bounce; note a fall."""
    shown = shown_by(phone)
    if shown.airs and not shown.rings:
        air = max(shown.airs, key=lambda a: a.duration)
        raise source.refuse(
            "must ring down between rests to be a bounce",
            f"it holds {_times(len(shown.airs), 'airtime')}, the longest {air.duration:.2f} s at {air.start:.1f} s",
            "If it is a jump, say --kind flight.",
        )
    if shown.airs:
        falls = ", ".join(f"{a.start:.1f} s" for a in shown.airs[:5])
        return [Note("free-fall", f"the phone falls freely at {falls}: such a stretch is no bounce")]
    return []


def check_flight(source: Source, phone: Phone, time: Array, force: Array, rotation: Array | None) -> None:
    """Refuse a bounce that was called a jump."""
    if find_airtimes(time, force, rotation):
        return
    shown = shown_by(phone)
    low = float(np.mean(np.linalg.norm(force, axis=1) < 0.3 * GRAVITY))
    if low > 0.9:
        raise source.refuse(
            "must show a take-off and a landing",
            f"the acceleration reads about zero in {low:.0%} of the recording",
            "Record from before the jump until after it, with gravity in.",
        )
    more = f"; it holds {_times(shown.rings, 'short motion')} between rests" if shown.rings else ""
    raise source.refuse(
        "must hold a jump: at least 0.15 s in which the specific force falls to about zero",
        f"it holds none{more}",
        "If it is a bounce, say --kind bounce." if shown.rings else "Record the whole jump, with gravity in.",
    )


__all__ = ["READINGS", "check_bounce", "check_flight", "kind_by_phone", "kind_by_sensor"]
