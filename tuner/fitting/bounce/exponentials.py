"""Sums of complex exponentials: their rates, the sums in real arithmetic, and what averaging samples does to them.

Takes polynomials, complex rates and factors; gives real arrays whose products add up to such sums.

Rates stand with those of conjugate pairs first, one for each pair with twice its factor, then the real ones.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tuner.estimates import Array

Complex = NDArray[np.complex128]

MOST_AVERAGED = 0.12


def polished(polynomial: Array, roots: Complex, rounds: int) -> Complex:
    """Polish roots (p, j) of monic polynomials (p, d)."""
    scale = polynomial[:, -1] ** (1.0 / polynomial.shape[1])
    x = roots / scale[:, None]
    c = polynomial / scale[:, None] ** np.arange(1, polynomial.shape[1] + 1)
    for _ in range(rounds):
        value, slope = np.ones_like(x), np.zeros_like(x)
        for k in range(c.shape[1]):
            slope = slope * x + value
            value = value * x + c[:, k, None]
        good = np.abs(slope) > 1e-7
        x = np.where(good, x - value / np.where(good, slope, 1.0), x)
    return np.asarray(x * scale[:, None])


def rates_of(polynomial: Array) -> tuple[Complex, Array]:
    """Give roots, one of each conjugate pair, and weights (p, d): first 2 for a pair, then 1 real, 0 left out."""
    degree = polynomial.shape[1]
    scale = polynomial[:, -1] ** (1.0 / degree)
    if degree == 2:
        half = 0.5 * polynomial[:, 0]
        root = np.sqrt((half**2 - polynomial[:, 1]).astype(complex))
        # a double root has no two shapes: part it by a hair, far below anything that can be measured
        root = np.where(np.abs(root) < 1e-6 * scale, 1e-6 * scale, root)
        roots = np.stack([-half + root, -half - root], axis=1)
    else:
        companion = np.zeros((len(polynomial), degree, degree))
        companion[:, 0, :] = -polynomial / scale[:, None] ** np.arange(1, degree + 1)
        companion[:, np.arange(1, degree), np.arange(degree - 1)] = 1.0
        roots = polished(polynomial, np.linalg.eigvals(companion).astype(complex) * scale[:, None], 2)
        order = np.argsort(roots.real + 1e-3 * np.abs(roots.imag), axis=1)
        roots = np.take_along_axis(roots, order, axis=1)
        close = np.abs(np.diff(roots, axis=1)) < 1e-6 * scale[:, None]
        roots[:, 1:] = np.where(close, roots[:, 1:] * (1.0 + 2e-6), roots[:, 1:])
    tiny = 1e-9 * np.abs(roots)
    weight = np.where(roots.imag > tiny, 2.0, np.where(roots.imag < -tiny, 0.0, 1.0))
    roots = np.where(weight == 1.0, roots.real, roots)
    order = np.argsort(-weight, axis=1, kind="stable")
    weight = np.take_along_axis(weight, order, axis=1)
    roots = np.where(weight > 0, np.take_along_axis(roots, order, axis=1), -scale[:, None])
    return roots, weight


def parts(values: Complex, pairs: int) -> Array:
    """Real parts (..., j) of complex factors, followed by the imaginary ones of the first `pairs`, (..., j + pairs).

    `parts` of the factors times `waves` add up to Re(sum factor e^(rate t)).
    """
    return np.concatenate([values.real, values.imag[..., :pairs]], axis=-1)


def real_product(left: Complex, right: Complex, pairs: int) -> Array:
    """Re(sum of left times right over the exponentials), (..., n, m) from (..., n, j) and (..., m, j)."""
    return np.asarray(parts(left, pairs) @ parts(right.conj(), pairs).swapaxes(-1, -2))


def waves(rate: Complex, time: Array, pairs: int) -> Array:
    """e^(rate t) in real parts, the first `pairs` of the rates complex; (..., j + pairs) from rates (..., j)."""
    time = time[..., None]
    size = np.exp(rate.real * time)
    angle, fore = rate.imag[..., :pairs] * time, size[..., :pairs]
    return np.concatenate([fore * np.cos(angle), size[..., pairs:], fore * -np.sin(angle)], axis=-1)


def averaged(rate: Complex, blur: float) -> Complex:
    """Give by what averaging over neighbouring samples changes an exponential.

    blur : half the variance of their times [s**2]. sinh(x)/x = 1 + x**2/6 + x**4/120 with x**2/6 = rate**2 blur; held
    near 1 for rates too fast for the samples.
    """
    part = rate**2 * blur
    size = np.abs(part)
    part = part * np.where(size > MOST_AVERAGED, MOST_AVERAGED / np.maximum(size, 1e-30), 1.0)
    return np.asarray(1.0 + part + 0.3 * part**2)
