"""The ways in which the invented shops and builders write their files down.

Takes traces, sweeps and weights in the house's signs and SI; gives bytes. Uses: bench_model. Every style is
the scenario's own and differs in delimiter, decimal mark, units, headers, encoding, signs or layout.
"""

from __future__ import annotations

import gzip
from collections.abc import Sequence

import numpy as np

from sample_data.bench_model import Drops, Trace
from sample_data.damper_model import Array

LBF = 4.4482216152605
INCH = 0.0254
POUND = 0.45359237


def _comma(text: str) -> str:
    return text.replace(".", ",")


def shop_cycles(traces: Sequence[Trace], title: Sequence[str]) -> bytes:
    """Comma, BOM, CRLF, a title block, English headers with units, one column with the test's number."""
    lines = [*title, "", "Test,Time (s),Travel from full extension (mm),Force (N)"]
    for number, trace in enumerate(traces, start=1):
        lines += [
            f"{number},{t:.4f},{x * 1e3:.2f},{f:.1f}"
            for t, x, f in zip(trace.time, trace.travel, trace.force, strict=True)
        ]
    return ("\ufeff" + "\r\n".join(lines) + "\r\n").encode("utf-8")


def french_cycles(traces: Sequence[Trace], title: Sequence[str]) -> bytes:
    """Semicolon, decimal comma, Latin-1, French headers, milliseconds, a header again before each test."""
    lines = list(title)
    for trace in traces:
        lines += ["", "Temps [ms];Course [mm];Effort [N]"]
        lines += [
            _comma(f"{t * 1e3:.1f};{x * 1e3:.2f};{f:.1f}")
            for t, x, f in zip(trace.time, trace.travel, trace.force, strict=True)
        ]
    return ("\n".join(lines) + "\n").encode("latin-1")


def spanish_cycles(traces: Sequence[Trace], title: Sequence[str], length: float) -> bytes:
    """Tab, Spanish headers, a row of units, comment lines, gz; travel and force counted + in extension.

    The position is the visible length of the shaft, `length` at full extension [m], so it falls in
    compression; the force is positive when the damper pulls. The velocity stands in a column of its own.
    """
    lines = [f"# {line}" for line in title]
    lines += ["Ensayo\tTiempo\tPosición\tVelocidad\tFuerza", "\ts\tmm\tm/s\tN"]
    for number, trace in enumerate(traces, start=1):
        lines += [
            f"{number}\t{t:.4f}\t{(length - x) * 1e3:.2f}\t{-v:.4f}\t{-f:.1f}"
            for t, x, v, f in zip(trace.time, trace.travel, trace.velocity, trace.force, strict=True)
        ]
    return gzip.compress(("\n".join(lines) + "\n").encode("utf-8"), mtime=0)


def us_sweep(velocity: Array, force: Array, title: Sequence[str]) -> bytes:
    """Comma, quoted fields, US units, wide: one row per speed, a column per side, both positive."""
    half = velocity.size // 2
    lines = [f'"{line}"' for line in title]
    lines += ['"Speed (in/s)","Compression force (lbf)","Rebound force (lbf)"']
    lines += [
        f"{v / INCH:.3f},{c / LBF:.2f},{-r / LBF:.2f}"
        for v, c, r in zip(velocity[:half], force[:half], force[half:], strict=True)
    ]
    return ("\n".join(lines) + "\n").encode("ascii")


def german_sweep(velocity: Array, force: Array, title: Sequence[str]) -> bytes:
    """Semicolon, decimal comma, UTF-16, German headers, long: one row per speed and side, sides in words."""
    lines = [*title, "", "Richtung;Geschwindigkeit / mm/s;Kraft / N"]
    order = np.lexsort((velocity < 0, np.abs(velocity)))
    for v, f in zip(velocity[order], force[order], strict=True):
        side = "Druck" if v > 0 else "Zug"
        lines.append(_comma(f"{side};{abs(v) * 1e3:.1f};{abs(f):.1f}"))
    return ("\r\n".join(lines) + "\r\n").encode("utf-16")


def weights_table(drops: Drops, title: Sequence[str], frame_rate: float) -> bytes:
    """Comma, comment lines, one row per drop with camera frames, scale readings in rows of their own."""
    lines = [f"# {line}" for line in title]
    lines += ["Direction,Mass (kg),Distance (mm),First frame,Last frame,Scale (N)"]
    for number, (m, x, t, d) in enumerate(
        zip(drops.mass, drops.distance, drops.duration, drops.direction, strict=True)
    ):
        word, first = ("compression" if d > 0 else "extension"), 112 + 37 * number
        lines.append(f"{word},{m:.1f},{x * 1e3:.0f},{first},{first + round(t * frame_rate)},")
    for push, back in zip(drops.push, drops.back, strict=True):
        lines += [f"slow push,,,,,{push:.0f}", f"slow return,,,,,{back:.0f}"]
    return ("\n".join(lines) + "\n").encode("utf-8")
