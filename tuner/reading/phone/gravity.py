"""The vertical where gravity was taken out: from columns of gravity or orientation, the settings, or the motion's line.

Takes a `Phone`; gives up in its axes, and doubts.
"""

from __future__ import annotations

import numpy as np

from tuner.estimates import Array, Estimate, Note
from tuner.reading.phone.orientation import angle, axis_of, named, sign_of_start
from tuner.reading.phone.sensors import Phone
from tuner.reading.table.columns import Source

NEAR = np.radians(20.0)  # how far the line of the motion may lie from the vertical
ALONG = 0.75  # share of the motion that must run along one line when that line shall be the vertical


def up_without_gravity(source: Source, phone: Phone) -> tuple[Array, list[Note], tuple[str, ...]]:
    """Give up (3,), doubts, and the other sensors that told it; raises ReadError when nothing tells it."""
    values = phone.main.values
    notes: list[Note] = []
    asked = source.options.choice("up_axis")
    if asked.strip("+-"):
        up = axis_of(asked)
        source.decided.append(f"up is the phone's {asked} axis, as the settings say")
        return up, _against_start(source, phone, values @ up), ()
    if "gravity" in phone.streams:
        gravity = phone.streams["gravity"].values
        mean = np.median(gravity, axis=0)
        few = gravity[:: max(1, len(gravity) // 2000)]
        spread = float(np.degrees(np.median([angle(mean, g) for g in few])))
        if spread > 10.0:
            notes.append(Note("phone-turned", by=Estimate.exact(float(np.radians(spread)), "rad")))
        up = np.asarray(mean / np.linalg.norm(mean))
        source.decided.append(f"up is {named(up)}: so the columns of gravity say")
        return up, notes, ("gravity",)
    if "orientation" in phone.streams:
        return _by_orientation(source, phone), notes, ("orientation",)
    return _dominant(source, phone), notes, ()


def _against_start(source: Source, phone: Phone, signal: Array) -> list[Note]:
    """Hold the setting `up_axis` against the setting `start`; note that nothing else does."""
    start = source.options.choice("start")
    if not start:
        return [Note("up-not-checked")]
    if sign_of_start(source, signal, phone, start) < 0:
        raise source.refuse(
            f"must begin with a {start}, as the settings say",
            f"with {source.options.choice('up_axis')} up the first bounce begins the other way",
            "Leave up_axis out, or correct start.",
        )
    return []


def _main_line(phone: Phone) -> tuple[Array, float]:
    """Line of the strongest motion, and the share of the motion along it."""
    values = phone.main.values - np.median(phone.main.values, axis=0)
    size, lines = np.linalg.eigh(values.T @ values)
    return np.asarray(lines[:, -1]), float(size[-1] / size.sum())


def _by_orientation(source: Source, phone: Phone) -> Array:
    """World's up in the phone's axes from the quaternion; which way it turns is told by the line of the motion.

    For a unit quaternion q the third row of its rotation matrix is the world's z seen from the phone, the third column
    is that of the opposite turn. They differ only in the signs of x and y.
    """
    w, x, y, z = np.median(phone.streams["orientation"].values, axis=0)
    size = float(np.sqrt(w * w + x * x + y * y + z * z))
    if not 0.9 < size < 1.1:
        raise source.refuse(
            "must have a quaternion of size 1 in its columns of orientation", f"its size is {size:.3g}", ""
        )
    row = np.array([2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)]) / size**2
    column = row * np.array([-1.0, -1.0, 1.0]) + 4.0 * z * np.array([x, y, 0.0]) / size**2
    line, share = _main_line(phone)
    up = max((row, column), key=lambda v: abs(float(v @ line)))
    if share < ALONG or abs(float(up @ line)) < np.cos(NEAR):
        raise source.refuse(
            "must show where up is",
            "gravity was taken out of it, and the motion does not run along the vertical of its columns of orientation",
            "Record with gravity in, or say which axis of the phone points up (--set up_axis=+z).",
        )
    source.decided.append(f"up is {named(up)}: so the columns of orientation say")
    return np.asarray(up)


def _dominant(source: Source, phone: Phone) -> Array:
    """Line of the strongest motion; its sign from how the first bounce began."""
    values = phone.main.values - np.median(phone.main.values, axis=0)
    line, share = _main_line(phone)
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
    if not start:
        name = named(line).replace("+", "").replace("-", "")
        raise source.refuse(
            "must show where up is",
            f"gravity was taken out of it; the motion runs along {name}, but either end can be up",
            hint,
        )
    up = line * sign_of_start(source, values @ line, phone, start)
    source.decided.append(
        f"up is {named(up)}: the motion runs along that line ({share:.0%}), and the first bounce began with a {start}"
    )
    return up
