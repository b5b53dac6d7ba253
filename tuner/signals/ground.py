"""Line up two drives over the same ground by the records themselves.

Takes two travel traces; gives which stretch of one belongs to which stretch of the other.

Each stretch of the first run is looked for in the second by normalised cross-correlation of the lively part of the
travel, in order, since the ground does not turn back. The driving speed may differ between the runs: stretches are
short enough that a few per cent do no harm, and a stretch is tried somewhat longer and shorter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuner.estimates import Array

RATE = 50.0  # both runs are compared at this rate [Hz]: wheel hop and slower
STRETCH = 8.0  # length of one stretch [s]
PACES = tuple(0.84 + 0.02 * i for i in range(17))  # driving speed of the second run over that of the first
NEAR = 6  # a stretch is looked for within so many lengths first
PATIENCE = 4  # every so many stretches in vain, everywhere behind the last one
PROBES = 12  # stretches of a long drive that must not all be strange to the other
ALIKE = 0.7  # correlation above which two stretches count as the same ground (common practice, no source)


@dataclass(frozen=True, slots=True)
class SameGround:
    """A stretch of run A [s] and the stretch of run B over the same ground [s], with their correlation."""

    start_a: float
    end_a: float
    start_b: float
    end_b: float
    correlation: float


def _lively(time: Array, travel: Array) -> tuple[Array, Array]:
    """Travel at 50 Hz with the slow part (about 1 s) taken off: (m,) time, (m,) lively travel."""
    from scipy import ndimage

    grid = np.arange(time[0], time[-1], 1.0 / RATE)
    # average before thinning, so that a fast sensor's hop does not fold into slow motion
    width = max(1, round(1.0 / RATE / float(np.median(np.diff(time)))))
    total = np.concatenate([[0.0], np.cumsum(travel)])
    low = np.maximum(np.arange(travel.size) - width // 2, 0)
    high = np.minimum(low + width, travel.size)
    y = np.interp(grid, time, (total[high] - total[low]) / (high - low))
    return grid, y - ndimage.uniform_filter1d(y, int(RATE), mode="nearest")


def _match(piece: Array, within: Array) -> tuple[float, int, int]:
    """Best correlation of `piece`, as driven at any of the paces, in `within`; where it begins, how long it is there.

    (-1, 0, 0) when it does not fit in.
    """
    width = piece.size
    lengths = [int(width / pace) for pace in PACES]
    lengths = [n for n in lengths if n <= within.size]
    best: tuple[float, int, int] = (-1.0, 0, 0)
    if not lengths or width < 10:
        return best
    size = 1 << int(np.ceil(np.log2(within.size + max(lengths))))
    spectrum = np.fft.rfft(within, size)
    total = np.concatenate([[0.0], np.cumsum(within)])
    squares = np.concatenate([[0.0], np.cumsum(within**2)])
    for n in lengths:
        p = np.interp(np.linspace(0, width - 1, n), np.arange(width), piece)
        p = p - p.mean()
        cross = np.fft.irfft(spectrum * np.conj(np.fft.rfft(p, size)), size)[: within.size - n + 1]
        mean = (total[n:] - total[:-n]) / n
        variance = np.maximum(squares[n:] - squares[:-n] - n * mean**2, 1e-30)
        score = cross / np.sqrt(variance * float(p @ p) + 1e-30)
        at = int(np.argmax(score))
        if score[at] > best[0]:
            best = (float(score[at]), at, n)
    return best


def _find(piece: Array, b: Array, after: int, missed: int) -> tuple[float, int, int]:
    """Look for a stretch soon behind the last one, and farther away when that fails, but not every time."""
    near = _match(piece, b[after : after + NEAR * piece.size])
    if near[0] >= ALIKE or missed % PATIENCE or after + NEAR * piece.size >= b.size:
        return near
    return _match(piece, b[after:])


def line_up(time_a: Array, travel_a: Array, time_b: Array, travel_b: Array) -> tuple[SameGround, ...]:
    """Find the stretches of run B that go over the same ground as run A.

    time_a, travel_a : (n,) [s], [m]; time_b, travel_b : (m,). Stretches follow each other in both runs; those that
    do not look alike are left out, and an empty tuple means that the runs do not share their ground.
    """
    ta, a = _lively(time_a, travel_a)
    tb, b = _lively(time_b, travel_b)
    width = int(STRETCH * RATE)
    typical = float(a.std())
    # smooth ground has no face of its own
    starts = [s for s in range(0, a.size - width + 1, width) if a[s : s + width].std() >= 0.3 * typical]
    probes = starts[:: max(1, len(starts) // PROBES)]
    if len(starts) > 2 * PROBES and all(_match(a[s : s + width], b)[0] < ALIKE for s in probes):
        return ()  # long drives that have nothing in common are given up early
    found: list[SameGround] = []
    after = missed = 0  # index in b behind the last stretch found, stretches looked for in vain since
    for start in starts:
        score, place, n = _find(a[start : start + width], b, after, missed)
        if score < ALIKE:
            missed += 1
            continue
        first, last = after + place, min(after + place + n, tb.size) - 1
        found.append(
            SameGround(
                float(ta[start]), float(ta[start + width - 1]), float(tb[first]), float(tb[last]), score
            )
        )
        after, missed = first + int(0.8 * n), 0
    return tuple(found)
