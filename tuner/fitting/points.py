"""Single points of both sides, balanced together: a free curve for each side, gas force and friction.

Takes speeds and forces, and what is known of gas force and friction; gives `PointBalance`.

Bench sweep and hung weights obey the same balance, compression F = D(v) + friction + gas and rebound
F = D(v) + friction - gas, F and v counted positive. D runs straight between knots at the tested speeds, starts at
zero, and bends as a random walk: little below 0.06 m/s, where the leak rules, more above, where valves open
(common practice, no source; the same measure as in the cycle fit). So no law has to be right, and what few points
leave open shows in the interval.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tuner.estimates import NORMAL_95, Array, Estimate, student_95

SLOW, BEND_SLOW, BEND_FAST, BEND_STEP = 0.06, 0.1, 0.3, 1.35
FRICTION, FRICTION_SD = (
    15.0,
    10.0,
)  # dry friction before looking [N]: seals of dampers, common practice, no source
ZERO_SD = (
    20.0  # error of a load cell that was zeroed with the gas force on it [N]; common practice, no source
)
CLEAR = 3.0  # standard errors from which a gas force counts as seen
SCATTER_WORTH = 3.0  # how many points the expected scatter is worth
LEARNED = 0.5  # friction counts as told when its error fell below this share of what was thought before


@dataclass(frozen=True, slots=True)
class ScaleReading:
    """A force read at rest: gas * gas_force + friction * friction force = value, with its error [N]."""

    gas: float
    friction: float
    value: float
    sd: float


@dataclass(frozen=True, slots=True, eq=False)
class PointBalance:
    """The answer: coefficients (gas force, friction, compression curve, rebound curve) with their covariance.

    scattered : (p, p) the part of the covariance that the points' scatter makes; the rest is what they leave open.
    knots : of both curves, each with 0 first; scatter : relative error of one point; df : what it rests on.
    gas_told, friction_told : whether the points told them; else they are what was thought before, and the errors of
    the curves hold what that leaves open.
    """

    coefficients: Array
    covariance: Array
    scattered: Array
    knots: tuple[Array, Array]
    scatter: float
    df: float
    gas_told: bool
    friction_told: bool

    def rows(self, direction: float, speed: Array) -> Array:
        """Rows that give the damping force of one side at `speed`, (k, p)."""
        out = np.zeros((speed.size, self.coefficients.size))
        first = 2 if direction > 0 else 1 + self.knots[0].size
        knots = self.knots[0 if direction > 0 else 1]
        out[:, first : first + knots.size - 1] = _hats(speed, knots)
        return out

    def half_width(self, rows: Array) -> Array:
        """Half of the 95 % interval of `rows` (k, p): Student's t for the scatter, normal for what is left open."""
        total = np.maximum(np.sum((rows @ self.covariance) * rows, axis=1), 0.0)
        scattered = np.clip(np.sum((rows @ self.scattered) * rows, axis=1), 0.0, total)
        squares = student_95(self.df) ** 2 * scattered + NORMAL_95**2 * (total - scattered)
        return np.asarray(np.sqrt(squares))

    def force(self, direction: float, speed: Array) -> tuple[Array, Array]:
        """Damping force of one side at `speed` [N] and half of its 95 % interval, (k,) each."""
        rows = self.rows(direction, speed)
        return rows @ self.coefficients, self.half_width(rows)

    def offsets(self) -> tuple[Estimate, Estimate]:
        """Gas force and friction [N]; friction is no less than nothing, and a note says where readings contradict."""
        half = self.half_width(np.eye(2, self.coefficients.size))
        gas, friction = float(self.coefficients[0]), float(self.coefficients[1])
        return (
            Estimate(gas, gas - float(half[0]), gas + float(half[0]), "N"),
            Estimate(friction, friction - float(half[1]), friction + float(half[1]), "N").not_negative(),
        )

    def offset(self, direction: float) -> float:
        """Force of that side that is not damping [N]: friction and gas force, as far as they were told."""
        return float(self.coefficients[1] + direction * self.coefficients[0])

    def offset_sd(self, direction: float) -> float:
        """Give the standard error of that force [N]."""
        return math.sqrt(float(self._offset_row(direction) @ self.covariance @ self._offset_row(direction)))

    def per_offset(self, direction: float, speed: float) -> float:
        """Change of the damping force at `speed` for a newton more taken off: -1 at a tested speed, less below."""
        row = self._offset_row(direction)
        across = self.rows(direction, np.array([speed]))[0] @ self.covariance @ row
        return float(across / (row @ self.covariance @ row))

    def scattered_sd(self, direction: float, speed: float) -> float:
        """Give the part of the damping force's error that the points' scatter makes [N], as a normal error."""
        row = self.rows(direction, np.array([speed]))[0]
        return student_95(self.df) / NORMAL_95 * math.sqrt(max(float(row @ self.scattered @ row), 0.0))

    def _offset_row(self, direction: float) -> Array:
        row = np.zeros(self.coefficients.size)
        row[0], row[1] = direction, 1.0
        return row


def balance_points(
    direction: Array,
    speed: Array,
    force: Array,
    *,
    extra_speeds: tuple[float, ...] = (),
    speed_error: Array | None = None,
    scatter: float = 0.01,
    readings: tuple[ScaleReading, ...] = (),
    zeroed: bool = False,
) -> PointBalance:
    """Balance single points.

    Parameters
    ----------
    direction, speed, force : (n,)
        +1 compression or -1 rebound; speed > 0 [m/s]; force counted positive [N].
    extra_speeds
        Further knots, such as the reference speeds; used inside the tested range only.
    speed_error : (n,)
        Relative error of each speed; it acts through the slope of the curve (errors in variables).
    scatter : float
        Relative error of one force that is expected before looking.
    readings
        Forces read at rest.
    zeroed : bool
        The load cell may have been zeroed with the gas force on it: a gas force that does not clearly show is
        taken as zero.
    """
    wide = 10.0 * float(np.max(force))
    free = _solve(direction, speed, force, extra_speeds, speed_error, scatter, readings, gas_sd=wide)
    gas, gas_sd = float(free.coefficients[0]), float(np.sqrt(free.covariance[0, 0]))
    if zeroed and abs(gas) < CLEAR * gas_sd:
        free = _solve(direction, speed, force, extra_speeds, speed_error, scatter, readings, gas_sd=ZERO_SD)
        return replace(free, gas_told=False)
    return free


def _solve(
    direction: Array,
    speed: Array,
    force: Array,
    extra_speeds: tuple[float, ...],
    speed_error: Array | None,
    scatter: float,
    readings: tuple[ScaleReading, ...],
    *,
    gas_sd: float,
) -> PointBalance:
    knots = (_knots(speed[direction > 0], extra_speeds), _knots(speed[direction < 0], extra_speeds))
    sizes = [k.size - 1 for k in knots]
    size = 2 + sum(sizes)
    design = np.zeros((speed.size, size))
    design[:, 0], design[:, 1] = direction, 1.0
    places = (slice(2, 2 + sizes[0]), slice(2 + sizes[0], size))
    for sign, k, place in zip((1.0, -1.0), knots, places, strict=True):
        design[direction == sign, place] = _hats(speed[direction == sign], k)
    error = np.zeros(speed.size) if speed_error is None else speed_error
    average = {s: _average(speed[direction == s], force[direction == s]) for s in (1.0, -1.0)}
    state = np.zeros(size)
    now, df = scatter, SCATTER_WORTH
    inverse = seen_points = np.zeros((size, size))
    for turn in range(25):
        prior = np.zeros((size, size))
        prior[0, 0] = 1.0 / gas_sd**2
        prior[1, 1] = 1.0 / FRICTION_SD**2
        slope = np.zeros(speed.size)
        level = np.zeros(speed.size)
        for sign, k, place in zip((1.0, -1.0), knots, places, strict=True):
            if k.size < 2:
                continue
            curve = state[place] if turn else average[sign] * k[1:]
            prior[place, place] = _bends(k, curve, average[sign])
            mine = direction == sign
            steps = np.diff(np.concatenate(([0.0], curve))) / np.diff(k)
            slope[mine] = steps[np.clip(np.searchsorted(k, speed[mine]) - 1, 0, k.size - 2)]
            level[mine] = np.interp(speed[mine], k, np.concatenate(([0.0], curve)))
        # a load cell far off its zero can turn a force round; its error is still that of its size
        level = np.maximum(level, np.maximum(0.2 * np.abs(force), 1e-3 * float(np.max(np.abs(force)))))
        variance = (now * level) ** 2 + (error * speed * np.maximum(slope, 0.0)) ** 2
        right = design.T @ (force / variance)
        right[1] += FRICTION / FRICTION_SD**2
        seen_points = design.T @ (design * ((now * level) ** 2 / variance**2)[:, None])
        gram = design.T @ (design / variance[:, None]) + prior
        for reading in readings:
            row = np.zeros(size)
            row[0], row[1] = reading.gas, reading.friction
            gram += np.outer(row, row) / reading.sd**2
            right += row * reading.value / reading.sd**2
        scale = np.sqrt(np.diag(gram))
        inverse = np.linalg.inv(gram / np.outer(scale, scale)) / np.outer(scale, scale)
        new = inverse @ right
        residual = force - design @ new
        spread = np.sum((design @ inverse) * design, axis=1)
        # expectation and maximisation of the scatter, with a mild expectation
        share = (now * level) ** 2 / variance
        seen = float(np.sum(share * (residual**2 + spread) / level**2))
        weight = float(np.sum(share))
        now = float(np.sqrt((seen + SCATTER_WORTH * scatter**2) / (weight + SCATTER_WORTH)))
        df = SCATTER_WORTH + float(np.sum(share * np.maximum(1.0 - spread / variance, 0.0)))
        moved = float(np.max(np.abs(new - state)))
        state = new
        if moved < 1e-7 * float(np.max(force)):
            break
    sds = np.sqrt(np.diag(inverse)[:2])
    gas_told = bool(sds[0] < 0.25 * float(np.max(force)))
    return PointBalance(
        state,
        inverse,
        inverse @ seen_points @ inverse,
        knots,
        now,
        df,
        gas_told,
        bool(sds[1] < LEARNED * FRICTION_SD),
    )


def _average(speed: Array, force: Array) -> float:
    """Force over speed, least squares through the origin; 1 where there is no point."""
    return max(float(speed @ force / (speed @ speed)), 1e-6) if speed.size else 1.0


def _knots(speed: Array, extra: tuple[float, ...]) -> Array:
    if speed.size == 0:
        return np.array([0.0])
    low, high = float(speed.min()), float(speed.max())
    inside = [v for v in extra if low < v < high]
    values = np.unique(np.concatenate((speed, inside)))
    keep = np.concatenate(([True], np.diff(values) > 1e-3 * high))
    return np.concatenate(([0.0], values[keep]))


def _hats(speed: Array, knots: Array) -> Array:
    """Rows of a curve that runs straight between knots and starts at zero, (n, knots - 1)."""
    out = np.zeros((speed.size, knots.size - 1))
    if knots.size < 2:
        return out
    place = np.clip(np.searchsorted(knots, speed, side="right") - 1, 0, knots.size - 2)
    share = (speed - knots[place]) / (knots[place + 1] - knots[place])
    rows = np.arange(speed.size)
    out[rows, place] = share
    inner = place > 0
    out[rows[inner], place[inner] - 1] = 1.0 - share[inner]
    return out


def _walked(speed: Array) -> Array:
    """Variance of the relative change of slope that is expected from 0 up to `speed`."""
    slow = BEND_SLOW**2 * np.minimum(speed / SLOW, 1.0)
    fast = BEND_FAST**2 * np.log(np.maximum(speed / SLOW, 1.0)) / np.log(BEND_STEP)
    return np.asarray(slow + fast)


def _bends(knots: Array, curve: Array, average: float) -> Array:
    """Information of the prior on the bends of one curve, (k, k)."""
    k = knots.size - 1
    if k < 2:
        return 1e-12 * np.eye(k)
    rows = np.zeros((k - 1, k))
    walked = _walked(knots)
    secant = np.clip(curve / knots[1:], average, 8.0 * average)
    for i in range(1, k):
        before, after = knots[i] - knots[i - 1], knots[i + 1] - knots[i]
        row = np.zeros(k + 1)
        row[i - 1], row[i], row[i + 1] = 1.0 / before, -1.0 / before - 1.0 / after, 1.0 / after
        sd = secant[i - 1] * np.sqrt(0.5 * (walked[i + 1] - walked[i - 1]))
        rows[i - 1] = row[1:] / sd
    return np.asarray(rows.T @ rows + 1e-12 * np.eye(k))
