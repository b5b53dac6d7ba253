"""Speed from position: local polynomials, never plain differences of noisy samples.

Takes time and position; gives speed, shape (n,).

Source: Savitzky and Golay, *Analytical Chemistry* 36 (1964); some of the tables printed there are wrong,
so the weights are always computed from the least-squares problem itself. scipy.signal.savgol_filter gives the
same numbers, but takes half a second to import, as long as half of a whole `tuner fit` of a bench file.
"""

from __future__ import annotations

import itertools

import numpy as np

from tuner.errors import require
from tuner.estimates import Array


def derivative_weights(points: int, order: int = 2, derivative: int = 1, at: int | None = None) -> Array:
    """Weights w, shape (points,), so that sum(w * y) is the derivative of the local polynomial fit.

    Parameters
    ----------
    points : int
        Evenly spaced samples, one unit apart; more than `order`.
    order : int
        Degree of the polynomial.
    derivative : int
        0 smooths, 1 gives the slope.
    at : int, optional
        Sample at which the polynomial is evaluated; the middle one by default.
    """
    require(points > order >= derivative >= 0, "points", f"more than the order {order}", points)
    middle = (points - 1) / 2.0 if at is None else float(at)
    scale = max(points / 2.0, 1.0)
    offset = (np.arange(points) - middle) / scale
    powers = np.vander(offset, order + 1, increasing=True)
    q, r = np.linalg.qr(powers)
    # row `derivative` of the pseudo-inverse, times derivative!
    pick = np.zeros(order + 1)
    pick[derivative] = 1.0
    weights = q @ np.linalg.solve(r.T, pick)
    factorial = float(np.prod(np.arange(1, derivative + 1)))
    return np.asarray(weights * factorial / scale**derivative)


def even_derivative(values: Array, step: float, points: int, order: int = 3, derivative: int = 1) -> Array:
    """Differentiate evenly spaced `values`, shape (n,), by a moving polynomial, up to the very ends.

    `points` is made odd and at most n. Exact for polynomials up to `order`.
    """
    n = values.size
    points = min(points | 1, n if n % 2 else n - 1)
    order = min(order, points - 1)
    require(points > derivative, "the record", "longer than the polynomial", n)
    half = points // 2
    out = np.empty(n)
    inner = derivative_weights(points, order, derivative)
    out[half : n - half] = np.convolve(values, inner[::-1], mode="valid")
    for i in range(half):
        weights = derivative_weights(points, order, derivative, at=i)
        out[i] = weights @ values[:points]
        weights = derivative_weights(points, order, derivative, at=points - 1 - i)
        out[n - 1 - i] = weights @ values[n - points :]
    return out / step**derivative


def noise_of(values: Array) -> float:
    """Estimate the sd of white noise on a smooth signal from its fourth differences (robust, shape (n,))."""
    if values.size < 9:
        return 0.0
    part = values if values.size <= 200_000 else values[:200_000]
    fourth = np.diff(part, 4)
    return float(np.median(np.abs(fourth)) / 0.6745 / np.sqrt(70.0))


def velocity_from_travel(time: Array, travel: Array, period: float, *, wanted: float = 0.005) -> Array:
    """Speed [m/s] from travel [m] by a moving cubic, the times may be uneven.

    The window is the shortest that brings the noise of the speed below `wanted` of the typical speed, at
    least five samples and at most a fifth of `period` [s], the shortest period of motion in the record.
    """
    n = time.size
    require(n >= 5, "time", "at least five samples", n)
    step = float(np.median(np.diff(time)))
    grid_size = round((time[-1] - time[0]) / step) + 1
    grid_size = int(min(max(grid_size, n), 4 * n))
    grid = np.linspace(time[0], time[-1], grid_size)
    even = np.interp(grid, time, travel)
    grid_step = float(grid[1] - grid[0])
    longest = max(5, int(period / 5.0 / grid_step) | 1)
    typical = 2.0 * float(np.ptp(travel)) / max(period, 3 * grid_step)
    resolution = float(np.min(np.abs(np.diff(np.unique(travel[:5000]))), initial=np.inf))
    noise = max(noise_of(even), min(resolution, float(np.ptp(travel))) / np.sqrt(12.0))
    points = 5
    while points < longest:
        gain = float(np.sqrt(np.sum(derivative_weights(points, 3, 1) ** 2))) / grid_step
        if noise * gain <= wanted * typical:
            break
        points = min(longest, int(points * 1.3 + 1) | 1)
    return np.interp(time, grid, even_derivative(even, grid_step, points))


def harmonic_velocity(time: Array, travel: Array, bounds: Array, *, harmonics: int = 5) -> Array | None:
    """Speed [m/s] from a sine and its harmonics fitted to blocks of a periodic motion; None where it is not.

    Parameters
    ----------
    time, travel : (n,)
    bounds : (k,)
        Times one whole cycle apart, rising; a block runs over up to eight cycles. The frequency of each
        block is fitted too. Long blocks are fitted on means of neighbouring samples.
    """
    if bounds.size < 2:
        return None
    out = np.empty(time.size)
    edges = np.unique(np.concatenate((bounds[:-1][::8], bounds[-1:])))
    places = np.searchsorted(time, edges)
    places[0], places[-1] = 0, time.size
    noise = max(noise_of(travel), 1e-9 * float(np.ptp(travel)))
    period = float(np.median(np.diff(bounds)))
    for start, end in itertools.pairwise(places):
        t, x = time[start:end], travel[start:end]
        cycles = (t[-1] - t[0]) / period if t.size > 1 else 0.0
        known = min(harmonics, int(t.size / max(cycles, 0.5) / 6.0))
        if known < 1 or t.size < 4 * known + 4:
            return None
        bunch = int(max(1.0, t.size / (cycles * SAMPLES_PER_CYCLE)))
        whole = t.size // bunch * bunch
        mean_t, mean_x = (v[:whole].reshape(-1, bunch).mean(axis=1) for v in (t, x))
        series = _series(mean_t, mean_x, 2.0 * np.pi / period, known)
        middle, omega, answer, rest = series
        if float(np.std(rest)) > 1.5 * noise / np.sqrt(bunch) + 5e-4 * float(np.ptp(x)):
            return None
        grid = np.linspace(0.0, 2.0 * np.pi, 2049)
        angle = np.multiply.outer(grid, np.arange(1, known + 1))
        order = np.arange(1, known + 1) * omega
        shape = (np.cos(angle) * order) @ answer[1 : known + 1] - (np.sin(angle) * order) @ answer[
            known + 1 :
        ]
        out[start:end] = np.interp(np.mod(omega * (t - middle), 2.0 * np.pi), grid, shape)
    return out


SAMPLES_PER_CYCLE = 256  # as many as a fit of a few harmonics can use


def _series(t: Array, x: Array, omega: float, known: int) -> tuple[float, float, Array, Array]:
    """Fit constant, sines and cosines, and their frequency: middle time, frequency, coefficients, residuals."""
    middle = 0.5 * float(t[0] + t[-1])
    order = np.arange(1, known + 1)
    for _ in range(6):
        angle = np.multiply.outer(omega * (t - middle), order)
        sine, cosine = np.sin(angle), np.cos(angle)
        base = np.hstack((np.ones((t.size, 1)), sine, cosine))
        gram = np.linalg.inv(base.T @ base + 1e-9 * t.size * np.eye(base.shape[1]))
        answer = gram @ (base.T @ x)
        answer = answer + gram @ (base.T @ (x - base @ answer))
        rest = x - base @ answer
        slope = (cosine * order) @ answer[1 : known + 1] - (sine * order) @ answer[known + 1 :]
        lever = (t - middle) * slope
        lever = lever - base @ (gram @ (base.T @ lever))
        change = float(lever @ rest / max(float(lever @ lever), 1e-300))
        if abs(change) < 1e-9 * omega:
            break
        omega += change
    return middle, omega, answer, rest


def smooth_between(time: Array, values: Array, at: Array) -> Array:
    """Values between samples by cubics with the samples' own slopes (Hermite); straight on beyond the ends.

    time, values : (n,), n >= 2; at : (k,). Exact for a parabola on even samples. scipy.interpolate's
    CubicHermiteSpline does the same inside; its import takes 0.18 s, a sixth of a `tuner fit`.
    """
    slope = np.gradient(values, time, edge_order=2 if time.size > 2 else 1)
    place = np.clip(np.searchsorted(time, at, side="right") - 1, 0, time.size - 2)
    width = time[place + 1] - time[place]
    share = (at - time[place]) / width
    s = np.clip(share, 0.0, 1.0)
    start, end = values[place], values[place + 1]
    first, last = slope[place] * width, slope[place + 1] * width
    between = (
        start * (1 + 2 * s) * (1 - s) ** 2
        + end * s**2 * (3 - 2 * s)
        + first * s * (1 - s) ** 2
        + last * s**2 * (s - 1)
    )
    return np.asarray(between + (share - s) * np.where(share < 0, first, last))
