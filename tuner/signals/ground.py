"""Line up two drives over the same ground by the records themselves.

Takes two travel traces; gives which stretch of one belongs to which stretch of the other. Uses: numpy only.

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
    grid = np.arange(time[0], time[-1], 1.0 / RATE)
    # average before thinning, so that a fast sensor's hop does not fold into slow motion
    width = max(1, round(1.0 / RATE / float(np.median(np.diff(time)))))
    total = np.concatenate([[0.0], np.cumsum(travel)])
    low = np.maximum(np.arange(travel.size) - width // 2, 0)
    high = np.minimum(low + width, travel.size)
    y = np.interp(grid, time, (total[high] - total[low]) / (high - low))
    slow = np.convolve(np.pad(y, int(RATE) // 2, mode="edge"), np.ones(int(RATE)) / RATE, mode="valid")[
        : y.size
    ]
    return grid, y - slow


def _match(piece: Array, within: Array) -> tuple[int, float]:
    """Best place of `piece` in `within` and its normalised correlation; (0, -1) when it does not fit in."""
    n = piece.size
    if within.size < n or n < 10:
        return 0, -1.0
    p = piece - piece.mean()
    size = 1 << int(np.ceil(np.log2(within.size + n)))
    cross = np.fft.irfft(np.fft.rfft(within, size) * np.conj(np.fft.rfft(p, size)), size)[
        : within.size - n + 1
    ]
    total = np.concatenate([[0.0], np.cumsum(within)])
    squares = np.concatenate([[0.0], np.cumsum(within**2)])
    mean = (total[n:] - total[:-n]) / n
    variance = np.maximum(squares[n:] - squares[:-n] - n * mean**2, 1e-30)
    score = cross / np.sqrt(variance * float(p @ p) + 1e-30)
    best = int(np.argmax(score))
    return best, float(score[best])


def line_up(time_a: Array, travel_a: Array, time_b: Array, travel_b: Array) -> tuple[SameGround, ...]:
    """Find the stretches of run B that go over the same ground as run A.

    time_a, travel_a : (n,) [s], [m]; time_b, travel_b : (m,). Stretches follow each other in both runs; those that
    do not look alike are left out, and an empty tuple means that the runs do not share their ground.
    """
    ta, a = _lively(time_a, travel_a)
    tb, b = _lively(time_b, travel_b)
    width = int(STRETCH * RATE)
    typical = float(a.std())
    found: list[SameGround] = []
    after = 0  # index in b behind the last stretch found
    for start in range(0, a.size - width + 1, width):
        piece = a[start : start + width]
        if piece.std() < 0.3 * typical:
            continue  # smooth ground has no face of its own
        best: tuple[float, int, int] = (-1.0, 0, 0)
        for pace in PACES:
            n = int(width / pace)
            stretched = np.interp(np.linspace(0, width - 1, n), np.arange(width), piece)
            place, score = _match(stretched, b[after:])
            if score > best[0]:
                best = (score, after + place, n)
        if best[0] >= ALIKE:
            _, place, n = best
            end_b = tb[min(place + n, tb.size) - 1]
            found.append(
                SameGround(ta[start], ta[start + width - 1], float(tb[place]), float(end_b), best[0])
            )
            after = place + int(0.8 * n)
    return tuple(found)
