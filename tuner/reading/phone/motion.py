"""What a recording of motion shows: a bounce, a drive or a jump, told by its content and never guessed.

Takes a `Source` with its columns; gives the kind and why, or refuses with the choices.

A jump has a stretch in which the specific force is about zero. A bounce rings down between rests, within seconds. A
drive moves on for long.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tuner.errors import InputRefused, ReadError
from tuner.estimates import Array, Estimate, Note
from tuner.reading.phone.layout import three_axes
from tuner.reading.phone.orientation import angle, at_rest
from tuner.reading.phone.sensors import Phone, read_phone
from tuner.reading.sensor.position import SensorTrace, read_sensor
from tuner.reading.table.columns import Source, match
from tuner.records import Kind
from tuner.signals.airtimes import Airtime, find_airtimes
from tuner.signals.rests import Rest
from tuner.units import GRAVITY

LONG_AIR = 0.25  # s: a drop from the hand's height is shorter, a jump longer
SHORT_BURST, LONG_DRIVE = 7.0, 12.0  # s of motion without rest: at most a bounce, at least a drive
_CALLED = {"bounce": "a bounce", "travel": "a drive (travel)", "flight": "a jump (flight)"}
MANY = 200_000  # rows that are enough to tell a drive from a bounce
LIFTED = np.radians(
    3.0
)  # a nose that is lifted by a hand's breadth tilts the machine further; trials, no source
ROUGHER = 4.0  # times the shake of the longest rest, beyond which the machine drives; trials, no source
FEW_RINGS = 4  # the nose lifted and held once or twice; a bounce test has more
STRONG = 1.5  # m/s**2: weaker motion is no bounce


@dataclass(frozen=True, slots=True)
class Shown:
    """What a phone's recording shows.

    airs : long airtimes; rings : short strong motions up and down between rests; tilts : those of them after which
    the machine stands at another angle, as when its nose is lifted and held; longest : motion without rest [s];
    still : share of the time at rest.
    """

    airs: tuple[Airtime, ...]
    rings: int
    tilts: int
    longest: float
    still: float


def _bursts(time: Array, rests: tuple[Rest, ...] | list[Rest]) -> list[tuple[float, float]]:
    """Stretches of motion: between rests and at both ends, from and to [s]."""
    edges = [float(time[0])]
    for rest in rests:
        edges += [rest.start, rest.end]
    edges.append(float(time[-1]))
    return [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > 0.15]


def shown_by(phone: Phone) -> Shown:
    """Look at a phone's recording."""
    time, force = phone.main.time, phone.force
    airs: tuple[Airtime, ...] = ()
    if force is not None:
        airs = tuple(a for a in find_airtimes(time, force) if a.duration >= LONG_AIR)
    rests = _calm(phone, at_rest(phone))
    signal = _upright(phone, rests)
    rings = loose = tilts = 0
    longest = 0.0
    for start, end in _bursts(time, rests):
        longest = max(longest, end - start)
        if end - start > SHORT_BURST or any(a.start < end and a.end > start for a in airs):
            continue
        part = _smooth(signal[(time >= start) & (time <= end)])
        if (
            part.size
            and max(part.max(), -part.min()) >= STRONG
            and min(part.max(), -part.min()) >= 0.4 * STRONG
        ):
            if start > time[0] and end < time[-1]:
                rings += 1
                tilts += _tilted(rests, start, end)
            elif rests:
                loose += 1
    if not airs:
        rings += loose  # a bounce that the recording cuts off at one end
    still = sum(r.duration for r in rests) / max(float(time[-1] - time[0]), 1e-9)
    return Shown(airs, rings, tilts, longest, still)


def _calm(phone: Phone, rests: list[Rest]) -> list[Rest]:
    """Leave out what only looks like rest on the average: a rough ride, far rougher than the longest rest."""
    if not rests:
        return rests
    shake = [float(phone.main.values[r.first : r.last].std(axis=0).max()) for r in rests]
    usual = shake[max(range(len(rests)), key=lambda i: rests[i].duration)]
    return [r for r, rough in zip(rests, shake, strict=True) if rough <= max(ROUGHER * usual, STRONG)]


def _tilted(rests: Sequence[Rest], start: float, end: float) -> bool:
    """Say whether the phone lies at another angle after a motion between two rests than before it."""
    before = [r for r in rests if r.end <= start]
    after = [r for r in rests if r.start >= end]
    return bool(before and after) and angle(before[-1].mean, after[0].mean) >= LIFTED


def _upright(phone: Phone, rests: tuple[Rest, ...] | list[Rest]) -> Array:
    """Motion along the vertical, or along its main line where gravity is out; the sign does not matter here."""
    values = phone.main.values
    middle = np.mean([r.mean for r in rests], axis=0) if rests else np.median(values, axis=0)
    away = values - middle
    if values.shape[1] == 1:
        return away[:, 0]
    line = middle / np.linalg.norm(middle) if phone.gravity_in else np.linalg.eigh(away.T @ away)[1][:, -1]
    return np.asarray(away @ line)


def _smooth(values: Array) -> Array:
    """Three-sample means, so that one bad sample is no motion."""
    if values.size < 3:
        return values
    return np.asarray((values[:-2] + values[1:-1] + values[2:]) / 3.0)


def _ask(source: Source, found: str, *kinds: Kind) -> ReadError:
    return source.refuse(
        f"must show whether it is {' or '.join(_CALLED[k] for k in kinds)}",
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
    lifts = shown.tilts if shown.rings <= FEW_RINGS else 0
    if shown.airs and shown.rings - lifts <= len(shown.airs):
        return (
            "flight",
            f"{_times(len(shown.airs), 'airtime')} in which the specific force vanishes ({airs})",
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
    if shown.still > 0.97:
        reads = "gravity" if phone.gravity_in else "zero (it fell all the time, or gravity was taken out)"
        raise source.refuse(
            "must show a motion",
            f"the acceleration reads {reads} and nothing else in {shown.still:.0%} of the time",
            "Check that the recording covers the test, and that the right columns were chosen.",
        )
    raise _ask(
        source,
        f"it shows neither an airtime nor a bounce between rests ({shown.still:.0%} of it is at rest, the longest "
        f"motion lasts {shown.longest:.0f} s)",
        "bounce",
        "flight",
    )


def kind_by_sensor(source: Source) -> tuple[Kind, str]:
    """Tell a drive from a bounce in a travel sensor's recording; refuses with the choice when neither shows."""
    trace = _glance(source)
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


def _glance(source: Source) -> SensorTrace:
    """Read the sensor, of a long recording only every so many rows; what these refuse the whole recording says."""
    every = source.sheet.rows // MANY
    if every >= 2 and len(source.sheet.blocks) == 1:
        thin = replace(source.sheet, blocks=(source.sheet.table.part(slice(0, None, every)),))
        try:
            return read_sensor(replace(source, sheet=thin, decided=[], settled={}))
        except InputRefused:
            pass
    return read_sensor(source)


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
        return [Note("free-fall", times=tuple(Estimate.exact(a.start, "s") for a in shown.airs[:5]))]
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
