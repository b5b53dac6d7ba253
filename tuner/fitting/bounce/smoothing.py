"""Fewer and calmer samples: means of neighbours, and a filter against an engine that runs.

Takes a problem; gives one with fewer samples whose computed values are averaged in the same way.

Means of neighbouring samples are carried by the closed form itself (`blur`); the filter is a matrix that is applied to
the measured and to the computed samples alike, so that it bends nothing.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tuner.estimates import Array
from tuner.fitting.bounce.problem import Filter, Problem

WIDTH = 0.012  # standard deviation of the Gaussian filter [s]: half at 16 Hz, a tenth at 28 Hz
REACH = 3.0  # standard deviations
ALIKE = 1.2  # files whose rates differ by more than that are not averaged together


def _step(time: Array, weight: Array) -> float:
    return float(np.median(np.diff(time[weight > 0])))


def thinned(problem: Problem, rate: float) -> Problem:
    """Means of neighbouring samples so that about `rate` [Hz] remain; weights follow."""
    steps = [_step(t, w) for t, w in zip(problem.time, problem.weight, strict=True)]
    step = float(np.median(steps))
    fold = round(1.0 / (rate * step))
    if fold < 2 or max(steps) > ALIKE * min(steps) or problem.filter is not None:
        return problem
    n = problem.time.shape[1] // fold * fold
    shape = (problem.bounces, n // fold, fold)
    weight = problem.weight[:, :n].reshape(shape)
    total = weight.sum(axis=2)
    full = (weight > 0).all(axis=2)
    time = problem.time[:, :n].reshape(shape).mean(axis=2)
    value = problem.value[:, :n].reshape(shape).mean(axis=2)
    blur = problem.blur + step**2 * (fold**2 - 1) / 24.0
    return replace(problem, time=time, value=value, weight=np.where(full, total, 0.0), blur=blur)


def calmed(problem: Problem) -> Problem:
    """Filter everything faster than the corner itself away, so that a running engine no longer counts as noise."""
    rows: list[tuple[Array, Array]] = []
    for time, weight in zip(problem.time, problem.weight, strict=True):
        own = time[weight > 0]
        centres = np.arange(own[0] + WIDTH, own[-1] - WIDTH, WIDTH)
        away = (own[None, :] - centres[:, None]) / WIDTH
        kernel = np.where(np.abs(away) < REACH, np.exp(-0.5 * away**2), 0.0)
        rows.append((centres, kernel / kernel.sum(axis=1, keepdims=True)))
    longest = max(len(centres) for centres, _ in rows)
    matrix = np.zeros((problem.bounces, longest, problem.time.shape[1]))
    time, value, weight = (np.zeros((problem.bounces, longest)) for _ in range(3))
    for b, (centres, kernel) in enumerate(rows):
        m, n = kernel.shape
        matrix[b, :m, :n] = kernel
        time[b, :m], time[b, m:] = centres, centres[-1]
        value[b, :m] = kernel @ problem.value[b, :n]
        weight[b, :m] = float(problem.weight[b].max())
    inner = Filter(problem.time, matrix)
    return replace(problem, time=time, value=value, weight=weight, filter=inner)
