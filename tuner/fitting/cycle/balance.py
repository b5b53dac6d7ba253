"""The force balance of all strokes together: gas, friction, oil compression, a free curve for each side.

Takes `StrokeTable`; gives `Balance`.

F = gas(x) + friction sign(v) + (1 + e) D(u), u = v - d/dt s(F). While the force rises the compressed oil takes up
part of the shaft's speed; s is soft at low force (entrained air) and stiff at high force. D is a spline through
zero on each side, so no law has to be right here; what the laws cannot follow stays in D. e is the stroke's own
deviation: strokes, not samples, are the independent units, so each stroke has one, drawn from a normal
distribution whose width the record itself gives (a mixed model; Laird and Ware, *Biometrics* 38, 1982).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tuner.errors import FitError
from tuner.estimates import Array
from tuner.fitting.cycle import spline
from tuner.fitting.cycle.strokes import StrokeTable

Mask = NDArray[np.bool_]

SCATTER = (
    0.01  # relative scatter from cycle to cycle that is expected before looking; common practice, no source
)
SCATTER_WORTH = 4.0  # how many strokes that expectation is worth
AIR_FORCE = 120.0  # force at which entrained air is half compressed away [N]; common practice, no source
CREEP = 0.006  # below this speed friction rises towards breakaway [m/s]; common practice, no source
BREAKAWAY = 0.3  # width of the prior on that rise, as a share of the friction
SOFT_PRIOR = 1.5e-6  # width of the prior on both compliances [m/N]: stiffness of 0.7 kN/mm and above
FRICTION_PRIOR = 40.0  # width of the prior on dry friction [N]; seals of dampers 5-50 N, common practice
FADE_PRIOR = 0.05  # width of the prior on the fade over one test
# what the model leaves open, as sd: share of the oil's part, of the peak speed, of the friction at creep, of the force;
# sizes at which the intervals of the table of known truths (tests/benchmarks) are as wide as its errors
OPEN_OIL, OPEN_SPEED, OPEN_CREEP, OPEN_FORCE = 0.06, 0.001, 0.05, 0.001
# slope changes of the curve from knot to knot, as a share of the secant there: at low speed the leak rules and
# the curve is nearly straight; further up a valve may open within one or two knots
BEND_SLOW, BEND_FAST, SLOW = 0.06, 0.5, 0.06
TAIL = 4  # coefficients behind the curves: breakaway, fade, compliance at high force, extra at low force


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """The joint answer.

    coefficients : (p,) gas terms, friction, compression curve, rebound curve, breakaway [N], fade [-], compliance at
    high force and extra compliance at low force [m/N]; covariance : (p, p). deviation : (s,) e of every stroke, 0
    where unused; scatter : its standard deviation for one cycle, and scatter_df what that rests on.
    gas, effective, damping : (s, m) gas force, speed u along the stroke, force without gas and friction, + when it
    brakes. use : (s, m) parts that the answer rests on.
    """

    coefficients: Array
    covariance: Array
    deviation: Array
    scatter: float
    scatter_df: float
    use: Mask
    gas: Array
    effective: Array
    damping: Array
    knots: tuple[Array, Array]
    gas_terms: int
    explained: float  # share of the force's variance in the used parts

    @property
    def friction(self) -> float:
        """Dry friction [N]."""
        return float(self.coefficients[self.gas_terms])

    @property
    def fade(self) -> float:
        """Relative change of the damping force over one test."""
        return float(self.coefficients[-3])

    @property
    def compliance(self) -> tuple[float, float]:
        """Compliance of the oil at high force, and what is added at no force [m/N]."""
        return float(self.coefficients[-2]), float(self.coefficients[-1])

    def curve_slice(self, direction: float) -> slice:
        """Place of that side's curve among the coefficients."""
        start = self.gas_terms + 1
        middle = start + spline.size(self.knots[0])
        return slice(start, middle) if direction > 0 else slice(middle, middle + spline.size(self.knots[1]))

    def curve_rows(self, direction: float, speed: Array) -> Array:
        """Rows that give the damping force of one side at `speed`, (k, p)."""
        out = np.zeros((speed.size, self.coefficients.size))
        knots = self.knots[0 if direction > 0 else 1]
        out[:, self.curve_slice(direction)] = spline.basis(speed, knots)
        return out

    def force_at(self, direction: float, speed: Array) -> Array:
        """Damping force of one side at `speed` (k,) [N]."""
        return np.asarray(self.curve_rows(direction, speed) @ self.coefficients)

    def force_sd(self, direction: float, speed: Array) -> Array:
        """Give the standard error of that force [N]."""
        rows = self.curve_rows(direction, speed)
        return np.asarray(np.sqrt(np.maximum(np.sum((rows @ self.covariance) * rows, axis=1), 0.0)))

    def elastic(self, force: Array) -> Array:
        """Distance [m] by which the oil gives at damping `force` [N]."""
        high, low = self.compliance
        return np.asarray(high * force + low * AIR_FORCE * np.arctan(force / AIR_FORCE))


def solve(table: StrokeTable, use: Mask, *, gas_terms: int = 4, start: Balance | None = None) -> Balance:
    """Solve the balance over the parts marked in `use` (s, m), by Gauss-Newton from stiff oil or from `start`.

    Raises FitError where too little is marked.
    """
    if int(use.sum()) < 12:
        raise FitError(
            "too little of the strokes can be used to tell damping from gas force and friction",
            hint="Record several whole cycles at one speed or more.",
        )
    problem = _Problem(table, use, gas_terms)
    state = np.zeros(problem.size)
    if start is not None and start.gas_terms == gas_terms and start.coefficients.size == problem.size:
        state = np.array(start.coefficients)
    for _ in range(14):
        before = state
        state = problem.step(state)
        moved = np.abs(problem.speed_shift(state) - problem.speed_shift(before))
        if np.max(moved) < 1e-6 and np.max(np.abs(state - before)[: gas_terms + 1]) < 1e-3:
            break
    return problem.answer(state)


class _Problem:
    """Arrays of one balance that do not change between its steps, and the stroke scatter that does."""

    def __init__(self, table: StrokeTable, use: Mask, gas_terms: int) -> None:
        self.table, self.use, self.gas_terms = table, use, gas_terms
        middle = 0.5 * float(table.travel.max() + table.travel.min())
        self.half = 0.5 * float(np.ptp(table.travel)) or 1.0
        self.z = (table.travel - middle) / self.half
        self.gas_base = np.vander(self.z.ravel(), gas_terms, increasing=True)
        self.direction = np.broadcast_to(table.direction[:, None], use.shape)
        self.rows = np.nonzero(use)[0]
        self.starts = np.flatnonzero(np.concatenate(([True], np.diff(self.rows) > 0)))
        self.strokes = self.rows[self.starts]
        self.d, self.force = self.direction[use], table.force[use]
        self.creep = np.exp(-((np.abs(table.velocity[use]) / CREEP) ** 2))
        self.progress = np.broadcast_to(table.progress[:, None], use.shape)[use] - 0.5
        along = self.direction * table.velocity
        knots = []
        for sign in (1.0, -1.0):
            chosen = use & (self.direction == sign)
            top = float(np.quantile(along[chosen], 0.999)) if chosen.any() else 1.0
            low = float(along[chosen].min()) if chosen.any() else top
            knots.append(spline.knots_for(top, low))
        self.knots = (knots[0], knots[1])
        self.both = bool((self.d > 0).any() and (self.d < 0).any())
        self.size = gas_terms + 1 + sum(spline.size(k) for k in knots) + TAIL
        groups = table.test * 2 + (table.direction < 0)
        alike = np.bincount(groups[self.strokes], minlength=int(groups.max()) + 1)
        self.alike = alike[groups][self.rows].astype(float)  # strokes that share a systematic error
        self.scatter, self.scatter_df = SCATTER, SCATTER_WORTH
        self.covariance = np.zeros((self.size, self.size))
        self.explained = 0.0
        self.deviation = np.zeros(use.shape[0])

    def _slices(self) -> tuple[slice, slice]:
        start = self.gas_terms + 1
        middle = start + spline.size(self.knots[0])
        return slice(start, middle), slice(middle, middle + spline.size(self.knots[1]))

    def _parts(self, state: Array) -> tuple[Array, Array, Array, Array]:
        """Gas force, damping force, its rate, share of the soft compliance; all (s, m)."""
        table, d = self.table, self.direction
        gas = (self.gas_base @ state[: self.gas_terms]).reshape(self.use.shape)
        slope_of_gas = np.zeros(self.use.shape)
        for power in range(1, self.gas_terms):
            slope_of_gas += power * state[power] * self.z ** (power - 1) / self.half
        damping = d * (table.force - gas) - state[self.gas_terms]
        rate = d * (table.force_rate - slope_of_gas * table.velocity)
        soft = 1.0 / (1.0 + (damping / AIR_FORCE) ** 2)
        return gas, damping, rate, soft

    def speed_shift(self, state: Array) -> Array:
        """Speed that the oil takes up in every used part [m/s]."""
        _, _, rate, soft = self._parts(state)
        return np.asarray((state[-2] + state[-1] * soft[self.use]) * rate[self.use])

    def step(self, state: Array) -> Array:
        """Make one Gauss-Newton step; keeps covariance and stroke deviations of the new point."""
        g, use, table = self.gas_terms, self.use, self.table
        first = not np.any(state)
        _, damping, rates, softs = self._parts(state)
        rate, soft = rates[use], softs[use]
        along = (self.direction * table.velocity)[use]
        u = np.maximum(along - (state[-2] + state[-1] * soft) * rate, 0.0)
        design = np.zeros((u.size, self.size))
        design[:, :g] = self.gas_base[use.ravel()]
        design[:, g] = self.d
        curve, slope = np.zeros(u.size), np.zeros(u.size)
        for sign, knots, place in zip((1.0, -1.0), self.knots, self._slices(), strict=True):
            mine = self.d == sign
            base, bent = spline.basis_and_slope(u[mine], knots)
            design[mine, place] = sign * base
            curve[mine] = base @ state[place]
            slope[mine] = bent @ state[place]
        if first:
            curve = np.abs(damping[use])
        slope = np.maximum(slope, 0.0)
        design[:, -4] = self.d * self.creep
        if not first:
            design[:, -3] = self.d * curve * self.progress
            design[:, -2] = -self.d * slope * rate
            design[:, -1] = -self.d * slope * rate * soft
        target = self.force + design[:, -2:] @ state[-2:]
        weight = self._weights(state, u, curve, slope, rate, soft)
        coefficients, _ = self._mixed(design, target, weight, self.d * curve, self._prior(state))
        # compliance cannot be negative: hold what would be, and solve again without it
        negative = [i for i in (-2, -1) if coefficients[i] < 0.0]
        if negative:
            held = self._prior(state)
            for i in negative:
                held[i, i] = 1e30
            coefficients, _ = self._mixed(design, target, weight, self.d * curve, held)
            coefficients[-2:] = np.maximum(coefficients[-2:], 0.0)
            coefficients[negative] = 0.0
        return coefficients

    def _mixed(
        self, design: Array, target: Array, weight: Array, lever: Array, prior: Array
    ) -> tuple[Array, Array]:
        """Solve the weighted problem with one random deviation per stroke (lever is its column)."""
        count = self.table.count[self.strokes]
        weighted = design * weight[:, None]
        gram = design.T @ weighted + prior
        right = weighted.T @ target
        across = np.add.reduceat(weighted * lever[:, None], self.starts, axis=0)  # (strokes, p)
        own = np.add.reduceat(weight * lever * lever, self.starts)
        own_right = np.add.reduceat(weight * lever * target, self.starts)
        variance = self.scatter**2 / count
        inner = 1.0 / (own + 1.0 / variance)
        reduced = gram - across.T @ (across * inner[:, None])
        reduced_right = right - across.T @ (own_right * inner)
        scale = np.sqrt(np.maximum(np.diag(gram), 1e-300))
        inverse = np.linalg.inv(reduced / np.outer(scale, scale) + 1e-14 * np.eye(scale.size))
        inverse = inverse / np.outer(scale, scale)
        coefficients = inverse @ reduced_right
        deviation = inner * (own_right - across @ coefficients)
        spread = inner + inner**2 * np.sum((across @ inverse) * across, axis=1)
        # the width of the deviations, by one step of expectation and maximisation with a mild expectation
        # a stroke far off its like must not widen what is expected of all others
        seen = float(np.sum(np.minimum((deviation**2 + spread) * count, (3.0 * self.scatter) ** 2)))
        strokes = float(count.size)
        self.scatter = float(np.sqrt((seen + SCATTER_WORTH * SCATTER**2) / (strokes + SCATTER_WORTH)))
        self.scatter_df = float(np.sum(1.0 - np.minimum(spread / variance, 1.0))) + SCATTER_WORTH
        self.covariance = inverse
        own_part = lever * np.repeat(deviation, np.diff(np.append(self.starts, lever.size)))
        rest = target - design @ coefficients - own_part
        self.explained = 1.0 - float(np.var(rest)) / max(float(np.var(self.force)), 1e-300)
        self.deviation = np.zeros(self.use.shape[0])
        self.deviation[self.strokes] = deviation
        return coefficients, inverse

    def _prior(self, state: Array) -> Array:
        """Give the information that is there before the record is looked at, (p, p)."""
        g = self.gas_terms
        prior = np.zeros((self.size, self.size))
        friction = max(abs(float(state[g])), 5.0)
        prior[-4, -4] = 1.0 / (BREAKAWAY * friction) ** 2
        prior[-3, -3] = 1.0 / FADE_PRIOR**2
        prior[-2, -2] = prior[-1, -1] = 1.0 / SOFT_PRIOR**2
        strength = float(np.quantile(np.abs(self.force), 0.98))
        swing = 0.5 * float(np.ptp(np.quantile(self.force, [0.01, 0.99])))
        prior[g, g] = 1.0 / FRICTION_PRIOR**2
        # gas: its level is free where both sides are seen; over one stroke it bends little (polytropic, the
        # quadratic term is (n+1)/2 times the relative rise of the linear one, at most some 0.3 of it)
        level = 10.0 if self.both else 0.5
        prior[0, 0] = 1.0 / (level * strength) ** 2
        if g > 1:
            prior[1, 1] = 1.0 / strength**2
        if g > 2:
            prior[2, 2] = 1.0 / (0.3 * abs(float(state[1])) + 0.005 * strength) ** 2
        if g > 3:
            prior[3, 3] = 1.0 / (0.3 * abs(float(state[2])) + 0.001 * strength) ** 2
        for knots, place in zip(self.knots, self._slices(), strict=True):
            average = swing / max(float(knots[-1]), 1e-6)
            centre = spline.centres(knots)[1:-1]
            if np.any(state):
                secant = (spline.basis(centre, knots) @ state[place]) / np.maximum(centre, 1e-9)
            else:
                secant = np.full(centre.size, average)
            secant = np.clip(secant, average, 8.0 * average)
            bend = np.where(centre < SLOW, BEND_SLOW, BEND_FAST) * secant
            rows = spline.bends(knots) / bend[:, None]
            prior[place, place] = rows.T @ rows + 1e-12 * np.eye(spline.size(knots))
        return prior

    def _weights(self, state: Array, u: Array, curve: Array, slope: Array, rate: Array, soft: Array) -> Array:
        """Give 1 over the variance of each part [N^-2]: sensor noise, and what the model leaves open.

        What is left open is shared by all strokes of a test, so it must not shrink with their number.
        """
        table, use = self.table, self.use
        noise = np.broadcast_to((table.noise / np.sqrt(table.count))[:, None], use.shape)[use]
        if not np.any(state):
            slope = curve / np.maximum(u, 0.02)
        oil = np.maximum(state[-2] + state[-1] * soft, 1.5e-7)
        peak = np.broadcast_to(table.peak[:, None], use.shape)[use]
        # a travel of few digits errs alike over a whole stroke, so it counts in full for each of its parts
        coarse = np.broadcast_to(table.coarseness[:, None], use.shape)[use]
        friction = max(abs(float(state[self.gas_terms])), 5.0)
        left_open = (
            (OPEN_OIL * oil * rate * slope) ** 2
            + (np.hypot(OPEN_SPEED, coarse) * peak * slope) ** 2
            + (OPEN_CREEP * friction * self.creep) ** 2
            + (OPEN_FORCE * curve) ** 2
        )
        smallest = 1e-6 * float(np.mean(np.abs(self.force))) + 1e-12
        return np.asarray(1.0 / (noise**2 + left_open * self.alike + smallest**2))

    def answer(self, state: Array) -> Balance:
        """Put the last point into a `Balance`."""
        gas, damping, rate, soft = self._parts(state)
        effective = self.direction * self.table.velocity - (state[-2] + state[-1] * soft) * rate
        return Balance(
            coefficients=state,
            covariance=self.covariance,
            deviation=self.deviation,
            scatter=self.scatter,
            scatter_df=self.scatter_df,
            use=self.use,
            gas=gas,
            effective=effective,
            damping=damping,
            knots=self.knots,
            gas_terms=self.gas_terms,
            explained=self.explained,
        )
