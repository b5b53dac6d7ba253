"""The knee: two (or three) straight lines that meet, found exactly.

Takes speed and force; gives the place of the knee, the slopes and their errors.

The sum of squares as a function of the knee's place is smooth between two neighbouring samples. Between them
its lowest point is the crossing of the two separate lines, when that lies there; else the best is at a sample.
Both are closed forms from running sums, so every interval is tried and the answer is the global one; no start
value exists.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from tuner.errors import FitError, require
from tuner.estimates import Array
from tuner.fitting.regression import covariance_at, gauss_newton, linear_fit

POLISH_ROUNDS = 8


@dataclass(frozen=True, slots=True, eq=False)
class BrokenStick:
    """Straight pieces that meet.

    intercept : value at 0 (0 when the stick goes through the origin); slopes : (k+1,); knees : (k,) rising.
    covariance : over (intercept if free, slopes..., knees...); df : its degrees of freedom; rss : weighted.
    """

    intercept: float
    slopes: tuple[float, ...]
    knees: tuple[float, ...]
    covariance: Array
    df: float
    rss: float
    residuals: Array
    jacobian: Array


def _running(values: Array) -> Array:
    return np.concatenate(([0.0], np.cumsum(values)))


def _hinge(x: Array, knee: float) -> Array:
    return np.maximum(x - knee, 0.0)


def _best_knee(x: Array, y: Array, w: Array, *, intercept: bool) -> tuple[float, float]:
    """Place of the best knee and its RSS; x sorted. Infinite RSS when no place is possible."""
    sums = {
        name: _running(values)
        for name, values in {
            "w": w,
            "x": w * x,
            "y": w * y,
            "xx": w * x * x,
            "xy": w * x * y,
            "yy": w * y * y,
        }.items()
    }
    total = {name: s[-1] for name, s in sums.items()}
    new_value = np.concatenate(([True], np.diff(x) > 0))
    distinct = np.cumsum(new_value)  # distinct values among x[:i+1]
    below_needed = 2 if intercept else 1
    # a split before sample i: x[:i] below, x[i:] above
    split = np.flatnonzero(new_value)
    split = split[split > 0]
    split = split[(distinct[split - 1] >= below_needed) & (distinct[-1] - distinct[split - 1] >= 2)]
    if split.size == 0:
        return float("nan"), float("inf")
    low = {name: s[split] for name, s in sums.items()}
    high = {name: total[name] - low[name] for name in total}

    def line(part: dict[str, Array], *, free: bool) -> tuple[Array, Array, Array]:
        if not free:
            slope = part["xy"] / part["xx"]
            return np.zeros_like(slope), slope, part["yy"] - slope * part["xy"]
        mean_x, mean_y = part["x"] / part["w"], part["y"] / part["w"]
        spread = part["xx"] - mean_x * part["x"]
        common = part["xy"] - mean_x * part["y"]
        slope = common / spread
        return mean_y - slope * mean_x, slope, part["yy"] - mean_y * part["y"] - slope * common

    with np.errstate(all="ignore"):
        low_start, low_slope, low_rss = line(low, free=intercept)
        high_start, high_slope, high_rss = line(high, free=True)
        crossing = (high_start - low_start) / (low_slope - high_slope)
    inside = np.isfinite(crossing) & (crossing > x[split - 1]) & (crossing < x[split])
    crossing_rss = np.where(inside, low_rss + high_rss, np.inf)

    # knee at a sample: hinge regression by running sums
    at = np.flatnonzero(new_value)
    at = at[
        (distinct[at] >= below_needed)
        & (distinct[-1] - distinct[at] >= 1)
        & (x[at] > (-np.inf if intercept else 0.0))
    ]
    best_place, best_rss = float("nan"), np.inf
    if crossing_rss.size and np.isfinite(np.min(crossing_rss)):
        i = int(np.argmin(crossing_rss))
        best_place, best_rss = float(crossing[i]), float(crossing_rss[i])
    if at.size:
        above = {name: total[name] - s[at + 1] for name, s in sums.items()}
        k = x[at]
        h1 = above["x"] - k * above["w"]
        hx = above["xx"] - k * above["x"]
        hh = hx - k * h1
        hy = above["xy"] - k * above["y"]
        one = np.ones_like(k)
        if intercept:
            matrix = np.stack(
                [
                    np.stack([total["w"] * one, total["x"] * one, h1], axis=-1),
                    np.stack([total["x"] * one, total["xx"] * one, hx], axis=-1),
                    np.stack([h1, hx, hh], axis=-1),
                ],
                axis=-2,
            )
            target = np.stack([total["y"] * one, total["xy"] * one, hy], axis=-1)
        else:
            matrix = np.stack(
                [np.stack([total["xx"] * one, hx], axis=-1), np.stack([hx, hh], axis=-1)], axis=-2
            )
            target = np.stack([total["xy"] * one, hy], axis=-1)
        determinant = np.linalg.det(matrix)
        good = np.abs(determinant) > 1e-13 * np.abs(np.prod(np.diagonal(matrix, axis1=-2, axis2=-1), axis=-1))
        if good.any():
            solution = np.linalg.solve(matrix[good], target[good][..., None])[..., 0]
            rss = total["yy"] - np.sum(solution * target[good], axis=-1)
            j = int(np.argmin(rss))
            if rss[j] < best_rss:
                best_place, best_rss = float(k[good][j]), float(rss[j])
    return best_place, float(best_rss)


def _finish(
    x: Array, y: Array, w: Array | None, knees: tuple[float, ...], clusters: Array | None, *, intercept: bool
) -> BrokenStick:
    columns = [np.ones_like(x)] if intercept else []
    columns += [x, *(_hinge(x, knee) for knee in knees)]
    linear = linear_fit(np.column_stack(columns), y, w)
    offset = 1 if intercept else 0
    changes = linear.coefficients[offset + 1 :]
    slopes = linear.coefficients[offset] + np.concatenate(([0.0], np.cumsum(changes)))
    # parameters (intercept, slope_0..slope_k, knee_1..knee_k)
    bounds = (None, *knees, None)
    pieces = []
    for low, high in itertools.pairwise(bounds):
        start = x if low is None else _hinge(x, low)
        pieces.append(start if high is None else start - _hinge(x, high))
    steps = [-change * (x > knee) for change, knee in zip(changes, knees, strict=True)]
    jacobian = np.column_stack(([np.ones_like(x)] if intercept else []) + pieces + steps)
    covariance, df = covariance_at(jacobian, linear.residuals, w, clusters)
    return BrokenStick(
        intercept=float(linear.coefficients[0]) if intercept else 0.0,
        slopes=tuple(float(s) for s in slopes),
        knees=tuple(float(k) for k in knees),
        covariance=covariance,
        df=df,
        rss=linear.rss,
        residuals=linear.residuals,
        jacobian=jacobian,
    )


def broken_stick(
    x: Array,
    y: Array,
    weights: Array | None = None,
    clusters: Array | None = None,
    *,
    intercept: bool = False,
) -> BrokenStick:
    """Fit two straight lines that meet; the global optimum.

    Parameters
    ----------
    x, y, weights, clusters : (n,)
        In any order.
    intercept : bool
        False: the first line goes through the origin (x > 0 then).

    Raises
    ------
    FitError
        With too few different speeds for a knee.
    """
    order = np.argsort(x, kind="stable")
    xs, ys = x[order], y[order]
    ws = np.ones_like(xs) if weights is None else weights[order]
    shift = float(np.mean(xs)) if intercept else 0.0
    scale = float(np.max(np.abs(xs - shift))) or 1.0
    place, rss = _best_knee(
        (xs - shift) / scale, ys - (float(np.mean(ys)) if intercept else 0.0), ws, intercept=intercept
    )
    require(
        bool(np.isfinite(rss) and np.isfinite(place)),
        "points",
        "at different speeds on both sides of a knee",
        f"{np.unique(xs).size} different speeds",
        error=FitError,
    )
    return _finish(x, y, weights, (place * scale + shift,), clusters, intercept=intercept)


def two_knees(
    x: Array, y: Array, weights: Array | None = None, clusters: Array | None = None, *, most: int = 48
) -> BrokenStick:
    """Fit three straight lines that meet, the first through the origin; x > 0, (n,).

    Every pair of up to `most` places (quantiles of x) is tried in closed form; the best is then polished.
    """
    order = np.argsort(x, kind="stable")
    xs, ys = x[order], y[order]
    ws = np.ones_like(xs) if weights is None else weights[order]
    values = np.unique(xs)
    require(values.size >= 6, "points", "at six different speeds or more", values.size, error=FitError)
    inner = values[1:-1]
    places = (
        inner if inner.size <= most else inner[np.round(np.linspace(0, inner.size - 1, most)).astype(int)]
    )
    base = np.column_stack([xs, *(_hinge(xs, p) for p in places)])
    gram = base.T @ (ws[:, None] * base)
    target = base.T @ (ws * ys)
    first, second = np.triu_indices(places.size, k=1)
    # at least two different speeds between the knees and above the second
    rank = np.searchsorted(values, places)
    ok = (rank[second] - rank[first] >= 2) & (values.size - 1 - rank[second] >= 1)
    first, second = first[ok] + 1, second[ok] + 1
    require(first.size > 0, "points", "enough for two knees", values.size, error=FitError)
    index = np.stack([np.zeros_like(first), first, second], axis=-1)
    matrices = gram[index[:, :, None], index[:, None, :]]
    targets = target[index]
    scale = np.sqrt(np.diagonal(matrices, axis1=-2, axis2=-1))
    scaled = matrices / scale[:, :, None] / scale[:, None, :]
    good = np.linalg.det(scaled) > 1e-12
    require(bool(good.any()), "points", "enough for two knees", values.size, error=FitError)
    solution = np.linalg.solve(scaled[good], (targets / scale)[good][..., None])[..., 0]
    gain = np.sum(solution * (targets / scale)[good], axis=-1)
    best = int(np.argmax(gain))
    knees = [float(places[first[good][best] - 1]), float(places[second[good][best] - 1])]
    return _polish_two(x, y, weights, clusters, knees)


def _polish_two(
    x: Array, y: Array, w: Array | None, clusters: Array | None, knees: list[float]
) -> BrokenStick:
    """Move both knees to the lowest sum of squares near where they start, one after the other."""
    values = np.unique(x)

    def rss_at(pair: list[float]) -> float:
        if not values[0] < pair[0] < pair[1] < values[-1]:
            return float("inf")
        base = root * np.stack((x, _hinge(x, pair[0]), _hinge(x, pair[1])))
        gram, target = base @ base.T, base @ wanted
        scale = np.sqrt(np.diag(gram))
        if not scale.all():
            return float("inf")
        scaled = gram / np.outer(scale, scale)
        if np.linalg.det(scaled) < 1e-12:
            return float("inf")
        rest = wanted - (np.linalg.solve(scaled, target / scale) / scale) @ base
        return float(rest @ rest)

    root = np.ones_like(x) if w is None else np.sqrt(w)
    wanted = root * y
    place, lowest = list(knees), rss_at(knees)
    # golden sections: Gauss-Newton alone ends above them in 142 of 400 random cases, Nelder-Mead of scipy.optimize
    # (0.24 s more to import) in 13 of 150
    golden = 0.5 * (5.0**0.5 - 1.0)
    for _ in range(POLISH_ROUNDS):
        before = lowest
        for which in (0, 1):
            near = int(np.searchsorted(values, place[which]))
            low, high = float(values[max(near - 2, 0)]), float(values[min(near + 2, values.size - 1)])
            for _ in range(20):
                inner = [high - golden * (high - low), low + golden * (high - low)]
                costs = []
                for candidate in inner:
                    trial = list(place)
                    trial[which] = candidate
                    costs.append(rss_at(trial))
                    if costs[-1] < lowest:
                        lowest, best = costs[-1], candidate
                        place[which] = best
                if costs[0] <= costs[1]:
                    high = inner[1]
                else:
                    low = inner[0]
        if before - lowest <= 1e-10 * before:
            break

    def model(p: Array) -> tuple[Array, Array]:
        c0, c1, c2, k1, k2 = p
        h1, h2 = _hinge(x, k1), _hinge(x, k2)
        prediction = c0 * x + (c1 - c0) * h1 + (c2 - c1) * h2
        jacobian = np.column_stack((x - h1, h1 - h2, h2, -(c1 - c0) * (x > k1), -(c2 - c1) * (x > k2)))
        return prediction, jacobian

    start = _finish(x, y, w, (place[0], place[1]), None, intercept=False)
    point, _, _ = gauss_newton(model, np.array([*start.slopes, *place]), y, w, steps=30)
    last = [float(point[3]), float(point[4])]
    if rss_at(last) < lowest:
        place = last
    return _finish(x, y, w, (place[0], place[1]), clusters, intercept=False)
