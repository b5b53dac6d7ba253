"""Does a fitted bounce hold water: which ring-downs do not move like a free corner, and what the noise is like.

Takes a problem and a parameter vector; gives verdicts per bounce, weights, and the colour of the noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.problem import STARTS, Problem, residuals

FREE_ENOUGH = 0.85  # of the variance explained, or it is no free corner
BIN = 0.025  # width of the means in which a misfit is looked for [s]
MISFIT = 0.12  # of the swing's size: a mean residual above this does not belong to a free corner
SIGNIFICANT = 4.5  # standard deviations of such a mean
ENOUGH = 0.7  # of a bounce is worth keeping [s]
LATE_SHARE = 0.5  # a bounce whose misfit ends within this share of it may start later
BAND = 15.0  # [Hz] the corner's own motion is slower; noise above it hardly matters
SHAKING = 0.5  # [m/s**2] beside the corner's own motion
MOSTLY_FAST = 0.4  # colour below which the noise lies above the corner's own motion
QUIET = 0.25  # length of the windows in which a recording may be quiet [s]
QUIETEST = 0.15  # share of the windows that are
LEAST_DOF = 40.0  # of the noise within the band, to believe that it is smaller than the rest


@dataclass(frozen=True, slots=True)
class Verdict:
    """How one bounce fits: share of its variance that is explained, and from when until when it does not fit [s].

    `misfit_until` 0 means that nothing misfits.
    """

    explained: float
    misfit_from: float
    misfit_until: float
    length: float

    @property
    def sound(self) -> bool:
        """Whether nothing speaks against it."""
        return self.misfit_until == 0.0

    @property
    def better_later(self) -> bool:
        """Whether the misfit lies at its beginning, so that the hands may still have been on."""
        return 0.0 < self.misfit_until < LATE_SHARE * self.length

    @property
    def better_shorter(self) -> bool:
        """Whether the misfit lies at its end, so that somebody may have been at it again."""
        return self.misfit_until > 0.0 and self.misfit_from > max(ENOUGH, 0.3 * self.length)


def verdicts(problem: Problem, x: Array) -> list[Verdict]:
    """Look at every bounce at the vector x (size,)."""
    rest = residuals(problem, x[None])
    found = []
    for b in range(problem.bounces):
        used = problem.weight[b] > 0
        time, left, value = problem.time[b][used], rest[0, b][used], problem.value[b][used]
        own = value - value.mean()
        place = ((time - time[0]) / BIN).astype(np.intp)
        count = np.bincount(place)
        means = np.bincount(place, weights=left) / np.maximum(count, 1)
        sigma = roughness(left) / np.sqrt(np.maximum(count, 1))
        limit = np.maximum(MISFIT * np.abs(own).max(), SIGNIFICANT * sigma)
        wrong = np.flatnonzero(np.abs(means) > limit)
        begin = int(wrong[0]) * BIN if wrong.size else 0.0
        until = (int(wrong[-1]) + 1) * BIN if wrong.size else 0.0
        noise = float((sigma**2).sum() / len(sigma))
        slow = np.bincount(place, weights=own) / np.maximum(count, 1)
        explained = 1.0 - max(float((means**2).mean()) - noise, 0.0) / max(float((slow**2).mean()), 1e-30)
        if explained < FREE_ENOUGH and until == 0.0:
            until = float(time[-1])
        found.append(Verdict(explained, begin, until, float(time[-1])))
    return found


def roughness(value: Array) -> float:
    """Give the standard deviation of the noise from sample to sample, whatever moves slowly left out."""
    bends = np.diff(value, 2)
    return max(1.4826 * float(np.median(np.abs(bends - np.median(bends)))) / math.sqrt(6.0), 1e-12)


def quiet_noise(time: Array, value: Array) -> float:
    """Give the noise of a recording where it moves least: what is left beside a parabola in short windows."""
    length = max(int(QUIET / float(np.median(np.diff(time)))), 8)
    count = len(value) // length
    if count == 0:
        return roughness(value)
    place = np.linspace(-1.0, 1.0, length)
    basis, _ = np.linalg.qr(np.stack([place**0, place, place**2], axis=1))
    windows = value[: count * length].reshape(count, length)
    rest = windows - (windows @ basis) @ basis.T
    return max(float(np.quantile(np.sqrt((rest**2).sum(axis=1) / (length - 3)), QUIETEST)), 1e-12)


def reweighted(problem: Problem, x: Array) -> Problem:
    """Give the same problem with each file's variance taken from its residuals at x (size,)."""
    rest = residuals(problem, x[None])[0]
    weight = problem.weight.copy()
    for f in range(problem.files):
        mine = (problem.file == f)[:, None] & (problem.weight > 0)
        free = problem.shared + STARTS * int((problem.file == f).sum())
        variance = float((rest[mine] ** 2).sum()) / max(float(mine.sum()) - free, 1.0)
        weight[mine] = 1.0 / max(variance, 1e-18)
    return replace(problem, weight=weight)


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise of one file: standard deviation, the share of its density within the band, and its strongest pitch [Hz]."""

    sigma: float
    colour: float  # density within the band over the mean density; 1 = white
    pitch: float

    @property
    def shaking(self) -> bool:
        """Whether most of it is faster than the corner, and not small: an engine that runs."""
        return self.sigma > SHAKING and self.colour < MOSTLY_FAST


def noise_of(problem: Problem, x: Array) -> list[Noise]:
    """Colour of each file's residuals at x (size,): what matters is the noise where the corner itself moves."""
    rest = residuals(problem, x[None])[0]
    noises = []
    for f in range(problem.files):
        low = total = 0.0
        low_count = count = 0.0
        spectra: list[tuple[Array, Array]] = []
        free = 0.5 * problem.shared
        for b in np.flatnonzero(problem.file == f):
            used = problem.weight[b] > 0
            left, time = rest[b][used], problem.time[b][used]
            n, step = len(left), float(np.median(np.diff(time)))
            power = np.abs(np.fft.rfft(left - left.mean())) ** 2 / n
            pitch: Array = np.asarray(np.fft.rfftfreq(n, step), dtype=float)
            band = (pitch > 0) & (pitch <= BAND)
            low += float(power[band].sum())
            low_count += float(band.sum())
            total += float(power[1:].sum())
            count += float(len(power) - 1)
            free += 0.5 * (STARTS + 1)
            spectra.append((pitch, power))
        inside = low / max(low_count - free, 0.5 * low_count, 1.0)
        overall = total / max(count - free, 1.0)
        colour = inside / max(overall, 1e-30)
        dof = 2.0 * (low_count - free)
        if dof < LEAST_DOF:
            colour = max(colour, 1.0)
        strongest = max(spectra, key=lambda s: float(s[1].max()))
        sigma = float(np.sqrt(overall))
        noises.append(
            Noise(
                sigma, float(np.clip(colour, 0.02, 50.0)), float(strongest[0][int(np.argmax(strongest[1]))])
            )
        )
    return noises


def coloured(problem: Problem, noises: list[Noise]) -> Problem:
    """Weights that count the noise at the frequencies at which the corner moves."""
    scale = np.array([1.0 / noise.colour for noise in noises])
    return replace(problem, weight=problem.weight * scale[problem.file][:, None])
