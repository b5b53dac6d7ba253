"""The ways in which the invented builders' phones and loggers write their files down.

Takes time and channels in SI and the house's signs; gives bytes. Uses: numpy. Every style is the scenario's own and
differs in delimiter, decimal mark, units, headers, kind of time, gravity, rates or layout.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from sample_data.damper_model import GRAVITY, Array

INCH = 0.0254
START = 1_748_771_402_317  # ms since 1970: a morning of the story

Streamed = tuple[Array, Array]


def _comma(text: str) -> str:
    return text.replace(".", ",")


def stamped_phone(time: Array, force: Array, title: Sequence[str]) -> bytes:
    """Comma, comment lines, time in ms since 1970 without a unit, m/s**2, gravity in."""
    lines = [f"# {line}" for line in title]
    lines.append("timestamp,ax (m/s2),ay (m/s2),az (m/s2)")
    lines += [
        f"{START + t * 1e3:.0f},{x:.3f},{y:.3f},{z:.3f}" for t, (x, y, z) in zip(time, force, strict=True)
    ]
    return ("\n".join(lines) + "\n").encode("ascii")


def german_phone(force: Streamed, rate: Streamed, rng: Any, title: Sequence[str]) -> bytes:
    """Semicolon, decimal comma, German headers, g, two sensors with rates of their own and blanks.

    Some rows were written twice, and a third of a second is missing.
    """
    lines = [
        *title,
        "Zeit [ms];Beschleunigung X [g];Beschleunigung Y [g];Beschleunigung Z [g];" + _gyro_names(),
    ]
    rows = [
        (t, f"{t * 1e3:.2f};" + ";".join(f"{v / GRAVITY:.4f}" for v in f) + ";;;")
        for t, f in zip(*force, strict=True)
    ]
    rows += [(t, f"{t * 1e3:.2f};;;;" + ";".join(f"{v:.3f}" for v in w)) for t, w in zip(*rate, strict=True)]
    rows.sort(key=lambda row: row[0])
    hole = 0.5 * rows[-1][0]
    kept: list[str] = []
    for t, row in rows:
        if hole < t < hole + 0.33:
            continue
        kept.append(row)
        if rng.uniform() < 0.001:
            kept.append(row)
    return ("\r\n".join(lines + [_comma(row) for row in kept]) + "\r\n").encode("latin-1")


def _gyro_names() -> str:
    return "Drehrate X [rad/s];Drehrate Y [rad/s];Drehrate Z [rad/s]"


def us_sensor(time: Array, travel: Array, title: Sequence[str]) -> bytes:
    """Tab, a row of units, inches; the length of the shaft that still shows, so it falls in compression."""
    visible = 0.210 - travel
    lines = [*title, "Visible shaft length: positive = extension", "", "Time\tShaft position", "sec\tin"]
    lines += [f"{t:.4f}\t{x / INCH:.3f}" for t, x in zip(time, visible, strict=True)]
    return ("\n".join(lines) + "\n").encode("ascii")


def volts(time: Array, travel: Array, points: Sequence[tuple[float, float]], title: Sequence[str]) -> bytes:
    """Comma, volts of a linear sensor, its two calibration points in the title, time in ms."""
    (low, at_low), (high, at_high) = points
    slope = (high - low) / (at_high - at_low)
    volt = np.round((low + slope * (travel - at_low)) / 0.001) * 0.001
    lines = [f"# {line}" for line in title]
    lines.append(f"# calibration: {low:.2f} V = {at_low * 1e3:.0f} mm, {high:.2f} V = {at_high * 1e3:.0f} mm")
    lines.append("time_ms,rear_pot_V")
    lines += [f"{t * 1e3:.1f},{v:.3f}" for t, v in zip(time, volt, strict=True)]
    return ("\n".join(lines) + "\n").encode("ascii")


def clock_sensor(time: Array, travel: Array, title: Sequence[str]) -> bytes:
    """Semicolon, decimal comma, French headers, clock times, mm."""
    lines = [*title, "Heure;Enfoncement (mm)"]
    begin = 10 * 3600 + 41 * 60 + 37.5
    for t, x in zip(time, travel, strict=True):
        hours, rest = divmod(begin + t, 3600.0)
        minutes, seconds = divmod(rest, 60.0)
        lines.append(f"{hours:02.0f}:{minutes:02.0f}:{seconds:07.4f};" + _comma(f"{x * 1e3:.2f}"))
    return ("\n".join(lines) + "\n").encode("utf-8")


def long_phone(force: Streamed, rate: Streamed, title: Sequence[str]) -> bytes:
    """Tab, long form: one row per sample and sensor, the sensor's name in a column, time in ns, no units."""
    lines = [f"% {line}" for line in title]
    lines.append("t\tsensor\tx\ty\tz")
    start = 81_734_000_000_000
    rows = [(t, f"accelerometer\t{x:.3f}\t{y:.3f}\t{z:.3f}") for t, (x, y, z) in zip(*force, strict=True)]
    rows += [(t, f"gyroscope\t{x:.3f}\t{y:.3f}\t{z:.3f}") for t, (x, y, z) in zip(*rate, strict=True)]
    rows.sort(key=lambda row: row[0])
    lines += [f"{start + t * 1e9:.0f}\t{row}" for t, row in rows]
    return ("\n".join(lines) + "\n").encode("ascii")


def wide_phone(force: Streamed, rate: Streamed, title: Sequence[str]) -> bytes:
    """Comma, quoted names, seconds, g and deg/s, everything at one rate."""
    lines = [f'"{line}"' for line in title]
    lines.append(
        '"Time (s)","Accel X (g)","Accel Y (g)","Accel Z (g)","Gyro X (deg/s)","Gyro Y (deg/s)","Gyro Z (deg/s)"'
    )
    turns = np.column_stack([np.interp(force[0], rate[0], axis) for axis in rate[1].T])
    lines += [
        f"{t:.4f},"
        + ",".join(f"{v / GRAVITY:.4f}" for v in f)
        + ","
        + ",".join(f"{np.degrees(v):.2f}" for v in w)
        for t, f, w in zip(*force, turns, strict=True)
    ]
    return ("\n".join(lines) + "\n").encode("ascii")
